"""The cab sheet of a road move: the way step by step, in big letters, on paper."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from fieldmap.units import shown
from fieldmap.write import move_items as items
from fieldmap.write.cautions import brief, gathered
from fieldmap.write.frame import render_still
from fieldmap.write.move_map import move_map
from fieldmap.write.page_findings import said
from fieldmap.write.page_items import items as numbered
from fieldmap.write.page_items import points, survey_item
from fieldmap.write.sheet_fit import BOLD, GAP_MM, HEIGHT_MM, SPARE_MM, WIDTH_MM, flowed, lines

Item = dict[str, Any]
Payload = Mapping[str, Any]

#: What every sheet ends with.
FOOT = (
    "The map is volunteer data; signs win. This is no permit: the road authority, the police and "
    "the people on the ground decide. Look at every place on the day."
)
_SCALE, _BIG = 1.06 * 10.5 / 9.0, BOLD * 13.0 / 9.0  # wider than plain 9 pt, some of it bold
_LINE_MM, _BIG_MM, _HEAD_MM = 4.7, 5.6, 10.6
_TOP_MM, _FOOT_MM, _SCALE_MM = 42.0, 16.0, 9.0
_BREAK_MM = 14.0  # left at the foot of a page by a step that goes on the next one
_MAP_TALL = 300.0  # pixels


class _Room(NamedTuple):
    """How much is said: of each step, of each thing met, and how tall the map is (pixels)."""

    big: bool  # every step in big letters, also one that only takes another name
    fine: bool  # also what is met with nothing against it
    whole: bool  # whole sentences, else the first of each
    why: bool  # why a place is to be measured
    map_px: float


_ROOMS = (
    _Room(big=True, fine=True, whole=True, why=True, map_px=_MAP_TALL),
    _Room(big=False, fine=True, whole=True, why=True, map_px=_MAP_TALL),
    _Room(big=False, fine=True, whole=True, why=False, map_px=260.0),
    _Room(big=False, fine=True, whole=False, why=False, map_px=220.0),
    _Room(big=False, fine=False, whole=False, why=False, map_px=180.0),
)
_STRAIGHT = "Straight on"


def move_sheet(payload: Payload) -> str:
    """The cab sheet of a move as one page without any script.

    It is fitted to one side of paper, or two, by saying less of each thing; no step, no place to
    measure and no caution is ever left out, so a long way may take more.

    Parameters
    ----------
    payload : mapping
        As for :func:`fieldmap.write.pages.move_page`.

    Returns
    -------
    str
        HTML; the same payload gives the same bytes.
    """
    return render_still("move_sheet.html.j2", _fullest(payload), ("sheet.css", "move_sheet.css"))


def _fullest(payload: Payload) -> Item:
    """The fullest view that takes one page, else two; the shortest when none does."""
    views = [_view(payload, room) for room in _ROOMS]
    drawing = None
    tall = []
    for view, room in zip(views, _ROOMS, strict=True):
        if drawing is None or drawing["height"] > room.map_px:
            drawing = move_map(payload, most_height=room.map_px)
        view["drawing"] = drawing
        tall.append(_tall(view))
    for most in (HEIGHT_MM - SPARE_MM, 2.0 * HEIGHT_MM - _BREAK_MM):
        fits = [view for view, high in zip(views, tall, strict=True) if high <= most]
        if fits:
            return fits[0]
    return views[-1]


def _view(payload: Payload, room: _Room) -> Item:
    """What the template shows when there is so much room."""
    move, units = payload["move"], payload["units"]
    survey = numbered(points(payload["survey"]), "m", units, survey_item)
    steps = [_step(one, room) for one in items.step_views(payload)]
    return {
        "title": f"{payload['title']}: sheet for the cab",
        "name": payload["title"],
        **{key: payload[key] for key in ("farm", "note", "made")},
        **said(move["level"]),
        "headline": items.headline(payload),
        "reason": move["reason"],
        "machine": move["machine"],
        "state": move["state"],
        "facts": [
            f"{shown(move['length_km'], 'km', units)} on mapped roads",
            f"about {shown(move['minutes'], 'min', units)}" if move["minutes"] else "",
        ],
        "size": items.size_facts(payload),
        "light": items.light_view(payload),
        "survey": _wanted(survey, room),
        "steps": steps,
        "throughout": [_throughout(one, room) for one in payload.get("throughout") or ()],
        "cautions": _cautions(payload),
        "ask": items.asked(payload),
        "better": payload.get("better", ""),
        "refused_direct": bool(payload["direct"]["features"]),
        "links": {"index": "", "page": "", **payload.get("links", {})},
        "foot": FOOT,
    }


def _wanted(survey: list[Item], room: _Room) -> list[Item]:
    """Places to measure, those of one measure and figure under one head."""
    held: dict[tuple[str, str, str], list[Item]] = {}
    for one in survey:
        sort, _, rest = one["where"].partition("/")
        key = one["where"] if rest and sort != "turn" else ""
        told = (one["measure"], one["wanted"], one["why"] if room.why else "")
        held.setdefault(told, []).append({"n": one["n"], "title": one["title"], "key": key})
    return [
        {"measure": measure, "wanted": wanted, "why": why, "places": places}
        for (measure, wanted, why), places in held.items()
    ]


def _step(step: Item, room: _Room) -> Item:
    met = [one for one in step["met"] if room.fine or one["level"] != "ok" or one["words"]]
    said_of = [one if room.whole else {**one, "words": brief(one["words"])} for one in met]
    slim = not room.big and step["title"].startswith(_STRAIGHT) and step["level"] == "ok"
    return {**step, "met": said_of, "slim": slim and not met}


def _throughout(finding: Payload, room: _Room) -> Item:
    why = finding["why"] if room.whole else brief(finding["why"])
    return {**said(finding["level"]), "what": finding["what"], "why": why}


def _cautions(payload: Payload) -> list[Item]:
    """Every caution once, what may kill first, with the steps it belongs to."""
    told = [(text, "") for text in payload["cautions"]]
    for step in payload.get("steps") or ():
        told += [(met["caution"], str(step["n"])) for met in step["met"]]
    held = gathered(told)
    return [{**one, "of": [step for step in one["of"] if step]} for one in held]


def _tall(view: Item) -> float:
    """Height of the sheet on paper where it is tightest (mm)."""
    wide = (WIDTH_MM - GAP_MM) / 2.0
    drawing = view["drawing"]
    drawn = [] if drawing is None else [drawing["height"] / drawing["width"] * wide + _SCALE_MM]
    flows = (
        [high for one in view["survey"] for high in _wanted_mm(one, wide)],
        [*drawn, *(_step_mm(one, wide) for one in view["steps"])],
        [_row(f"W {one['what']} {one['word']} {one['why']}", wide) for one in view["throughout"]],
        [_row(f"WARNING {one['text']} Steps {one['of']}", wide) + 2.0 for one in view["cautions"]],
        [_written(f"{who}: {what}", wide) for who, what in view["ask"]],
    )
    top = _TOP_MM + max(lines(view["reason"], wide, scale=_SCALE) - 2, 0) * _LINE_MM
    return top + _FOOT_MM + sum(_HEAD_MM + flowed(held) for held in flows if held)


def _wanted_mm(one: Item, wide_mm: float) -> list[float]:
    """A head with its first place, which it is never parted from, and the other places."""
    beside = (wide_mm - 10.0) * 0.62
    rows = [
        max(lines(f"{at['n']} {at['title']} {at['key']}", beside, scale=_SCALE) * _LINE_MM, 5.6)
        + 1.3
        for at in one["places"]
    ]
    above = _row(f"{one['measure']}; {one['wanted']} {one['why']}", wide_mm) + 1.0
    return [above + rows[0], *rows[1:]]


def _row(text: str, wide_mm: float) -> float:
    return lines(text, wide_mm - 4.0, scale=_SCALE) * _LINE_MM + 1.3


def _written(text: str, wide_mm: float) -> float:
    """A row with a line under it to write on."""
    return _row(text, wide_mm - 4.0) + 6.0


def _step_mm(step: Item, wide_mm: float) -> float:
    inside = wide_mm - 11.0
    if step["slim"]:
        text = f"{step['title']} {step['from']}; then {step['length']}"
        return lines(text, inside, scale=_SCALE) * _LINE_MM + 3.0
    words = lines(step["title"], inside, scale=_BIG) * _BIG_MM + 2.6
    far = _LINE_MM * bool(step["from"] or step["length"]) + _LINE_MM * (step["level"] != "ok")
    met = sum(
        lines(f"W {one['what']} {one['at']} {one['for']}: {one['words']}", inside, scale=_SCALE)
        * _LINE_MM
        + 0.5
        for one in step["met"]
    )
    return words + far + met
