"""Numbered entries of a cab sheet; axles alike are one, what is only to know may be joined."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from fieldmap.write.page_findings import finding_view
from fieldmap.write.set_up_items import priced

Item = dict[str, Any]
Payload = Mapping[str, Any]

_AXLE = ", axle "
#: What is only to know where nothing was found against it: its heading, and what each part of it
#: is called under that.
_TO_KNOW = (
    (
        "since the last change",
        {"knives since the last change": "knives", "hits since the last change": "hits"},
    ),
    (
        "axles and tyres",
        {"axle load": "load", "tyre pressure": "pressure", "tyre speed": "speed"},
    ),
)


def entries(
    found: Iterable[Payload],
    payload: Payload,
    notes: Mapping[str, int],
    start: int,
    *,
    apart: bool,
) -> list[Item]:
    """Findings as numbered entries of a group; axles alike are one entry.

    Parameters
    ----------
    found : iterable of findings
        In the order in which they are printed.
    payload : mapping
        ``units`` and ``currency``.
    notes : mapping
        Number of each source.
    start : int
        The first number.
    apart : bool
        Whether what is only to know has entries of its own; else those of it that nothing was
        found against are joined, without their ranges, and ``unsaid`` counts the ranges.
    """
    units, currency = payload["units"], payload.get("currency", "")
    made: list[Item] = []
    for one in found:
        view = priced(finding_view(one, units=units, notes=notes), one["unit"], currency)
        told = {"caution": one["caution"], "is_setting": one.get("is_setting", False)}
        if made and _alike(made[-1], {**view, **told}):
            made[-1] = _joined(made[-1], view)
        else:
            made.append({**view, **told, "axles": [view], "unsaid": 0})
    for heading, parts in () if apart else _TO_KNOW:
        made = _folded(made, heading, parts)
    return [{**one, "number": number} for number, one in enumerate(made, start=start)]


def _alike(entry: Item, view: Item) -> bool:
    """Whether two settings are the same of two axles, with the same behind them."""
    kind, axle, _ = view["what"].partition(_AXLE)
    same = ("level", "notes", "limit", "caution")
    return (
        bool(axle)
        and entry["what"].startswith(kind)
        and all(entry[key] == view[key] for key in same)
    )


def _joined(entry: Item, view: Item) -> Item:
    """An entry with the same of one more axle."""
    axles = [*entry["axles"], view]
    answer = "; ".join(map(_of_axle, axles))
    kind = view["what"].partition(_AXLE)[0]
    more = {"what": kind, "answer": answer, "range": "", "why": "", "axles": axles}
    return {**entry, **more}


def _of_axle(view: Item) -> str:
    spread = f" ({view['range']})" if view["range"] else ""
    return f"axle {view['what'].partition(_AXLE)[2]} {view['answer']}{spread}"


def _folded(made: list[Item], heading: str, parts: Mapping[str, str]) -> list[Item]:
    """Entries with those of a family joined that nothing was found against."""
    split = {one["what"].partition(_AXLE)[0] for one in made if _AXLE in one["what"]}
    held = [
        one
        for one in made
        if one["what"] in parts and one["what"] not in split and one["level"] == "ok"
    ]
    if len(held) < 2:
        return made
    fold = {
        **held[0],
        "what": heading,
        "answer": "; ".join(f"{parts[one['what']]} {_figures(one['axles'])}" for one in held),
        "notes": sorted({note for one in held for note in one["notes"]}),
        "unsaid": sum(bool(view["range"]) for one in held for view in one["axles"]),
        "caution": "",
        "cautions": [one["caution"] for one in held],
    } | dict.fromkeys(("range", "limit", "why"), "")
    return [fold if one is held[0] else one for one in made if one is held[0] or one not in held]


def _figures(views: list[Item]) -> str:
    """The figure of every axle in turn, the unit said once.

    Examples
    --------
    >>> _figures([{"answer": "20 psi"}, {"answer": "19 psi"}]), _figures([{"answer": "0"}])
    ('20 / 19 psi', '0')
    >>> _figures([{"answer": "20 psi"}, {"answer": "unknown"}])
    '20 psi / unknown'
    """
    answers = [str(view["answer"]) for view in views]
    units = {answer.partition(" ")[2] for answer in answers}
    if len(units) > 1:
        return " / ".join(answers)
    unit = units.pop()
    return " / ".join(answer.partition(" ")[0] for answer in answers) + (f" {unit}" if unit else "")
