"""Slope and side-slope use of many fields: the page for somebody who looks at them all at once."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date
from itertools import pairwise
from typing import Any, Literal

import numpy as np
import pandas as pd

from fieldmap import __version__
from fieldmap.farm import Farm
from fieldmap.machine import Machine
from fieldmap.risk.told import SLOPE_CAUTION
from fieldmap.units import System, shown
from fieldmap.write import page_items as on_map
from fieldmap.write import tints
from fieldmap.write.files import plain
from fieldmap.write.frame import render
from fieldmap.write.lie_items import share_words
from fieldmap.write.names import page_name
from fieldmap.write.page_findings import footnotes, said, signal, source_list
from fieldmap.write.payload import described, named

Payload = Mapping[str, Any]
Order = Literal["slope", "use"]

#: The page's name, beside ``index.html``.
PAGE = "slopes.html"
_SLOPE, _USE = "share_slope_{}", "share_use_{}"
_FIGURES = ("area_ha", "slope_known_share", "slope_mean_pct", "slope_p95_pct", "slope_max_pct")
_STEEPNESS_DIGITS = 6  # adding up in another order must not decide which field stands first
_NEAR_NONE = 1e-6  # a rest this small is what adding up leaves
_DIGITS = {"area_ha": 3, "cell_m": 3, "slope_mean_pct": 2, "slope_p95_pct": 2, "slope_max_pct": 2}
_SHARE_DIGITS = 4
_THIN = 0.03
_STEEPER = 3.0


def slopes_csv(table: pd.DataFrame) -> str:
    """``slopes.csv``: one row a field, the survey's columns in its order; unknown is empty.

    Parameters
    ----------
    table : DataFrame
        Columns of ``Survey.table``.
    """
    numbers = map(str, table.select_dtypes("number"))
    digits = {name: _DIGITS.get(name, _SHARE_DIGITS) for name in numbers}
    return str(table.round(digits).to_csv(index=False, lineterminator="\n"))


def slopes_payload(
    farm: Farm,
    table: pd.DataFrame,
    *,
    machine: Machine | None,
    day: date,
    best_heading: bool,
    levels: Mapping[str, str] | None = None,
    order: Order = "slope",
) -> dict[str, Any]:
    """What :func:`slopes_page` is given.

    Parameters
    ----------
    farm : Farm
    table : DataFrame
        Columns of ``Survey.table``: ``field_id, area_ha, slope_known_share, slope_mean_pct,
        slope_p95_pct, slope_max_pct, share_slope_0..5, share_use_0..3, cell_m``; shares are of the
        whole field, so that what is unknown is in no class.
    machine : Machine or None
        Whose side-slope use it is.
    day : date
    best_heading : bool
        Use is on each field's best line of travel; else whatever the heading.
    levels : mapping, optional
        Level by field id, when an assessment stands beside; those fields get a link to their page.
    order : {"slope", "use"}
        What the worst-first order goes by.
    """
    settings = farm.settings
    breaks, use_breaks = (
        [farm.tables.number(f"{key}_{number}") for number in range(1, _count(table, column))]
        for key, column in (("terrain.break", _SLOPE), ("survey.use_break", _USE))
    )
    names = farm.fields.set_index("field_id")["name"]
    rows = [
        _field(row, names.get(row["field_id"]), len(breaks), len(use_breaks), levels or {})
        for row in table.to_dict("records")
    ]
    elevation = settings.files.elevation
    cited = farm.tables.source_of(
        "terrain.break_1", "survey.use_break_1", "side_slopes.bump_rise_m"
    )
    return {
        "title": f"{settings.name}: slopes of all fields",
        "farm": settings.name,
        "note": settings.note,
        "units": settings.units,
        "made": {"date": day.isoformat(), "version": __version__},
        "machine": {"id": "", "name": "no machine named"}
        if machine is None
        else {"id": machine.id, "name": machine.name},
        "sources": described(farm, [*([elevation] if elevation else []), *cited]),
        "fields": rows,
        "slope_breaks_pct": breaks,
        "use_breaks": list(use_breaks),
        "best_heading": best_heading,
        "order": order,
        "caution": SLOPE_CAUTION,
        "ground": _ground(table, settings.units),
        "links": {"index": "" if levels is None else "index.html"},
    }


def slopes_page(payload: Payload) -> str:
    """All fields, the steepest first: area by slope class and by use of the machine's limit.

    Parameters
    ----------
    payload : mapping
        As :func:`slopes_payload` makes it, JSON types only.
    """
    units = payload["units"]
    slope_words = tints.slope_words(payload["slope_breaks_pct"])
    use_words = _use_words(payload["use_breaks"])
    fields = sorted(payload["fields"], key=lambda row: -_steepness(row, payload["order"]))
    rows = [_row(row, slope_words, use_words, units) for row in fields]
    every = _all_ground(payload["fields"], len(slope_words), len(use_words))
    page = {key: payload[key] for key in ("title", "farm", "note", "made", "machine", "links")}
    page |= {
        "map": "",
        "credit": "",
        "rows": [{**row, "id": f"f{number}"} for number, row in enumerate(rows, start=1)],
        "every": _row(every, slope_words, use_words, units) | {"p95": ""},
        "levelled": any(row["level"] for row in payload["fields"]),
        "order": payload["order"],
        "best_heading": payload["best_heading"],
        "use_known": every["use_shares"] is not None,
        "caution": signal(payload["caution"]),
        "keys": [
            ("Slope", _legend(slope_words, tints.SLOPE)),
            ("Side-slope use, share of the tipping limit", _legend(use_words, tints.USE)),
        ],
        "ground": payload["ground"],
        "sources": source_list(footnotes([]), payload["sources"]),
    }
    return render("slopes.html.j2", page, {"units": units}, mapped=False)


def _count(table: pd.DataFrame, column: str) -> int:
    """How many classes the survey has."""
    start = column.format("")
    return sum(str(name).startswith(start) for name in table.columns)


def _field(
    row: Mapping[Any, Any], name: Any, breaks: int, use_breaks: int, levels: Mapping[str, str]
) -> dict[str, Any]:
    field_id = str(row["field_id"])
    return {
        "field_id": field_id,
        "name": named(name, field_id),
        **{key: plain(row[key]) for key in _FIGURES},
        "slope_shares": _shares(row, _SLOPE, breaks + 1),
        "use_shares": _shares(row, _USE, use_breaks + 1),
        "level": levels.get(field_id, ""),
        "page": f"fields/{page_name(field_id)}.html" if field_id in levels else "",
    }


def _shares(row: Mapping[Any, Any], column: str, count: int) -> list[float] | None:
    """Shares of the classes; ``None`` as soon as one of them is unknown."""
    held = [plain(row[column.format(number)]) for number in range(count)]
    return None if any(one is None for one in held) else [float(one) for one in held]


def _ground(table: pd.DataFrame, units: System) -> list[str]:
    """What the elevation cannot tell of these fields."""
    cells = table["cell_m"].to_numpy(float)
    cells = cells[np.isfinite(cells)]
    none = int((~(table["slope_known_share"].to_numpy(float) > 0)).sum())
    told = []
    if none:
        told.append(f"Of {none} of {len(table)} fields no slope is known.")
    if cells.size:
        told.append(
            f"Slope is over cells of {shown(float(cells.max()), 'm', units)}: banks, ditches and "
            "holes that are narrower than two of them do not show, and a slope that is short comes "
            "out gentler than it is."
        )
    return told


def _steepness(row: Mapping[str, Any], order: str) -> float:
    """A field's ground, each class weighing so much more than the one below; unknown as the last.

    So a field of which less is known never stands lower.
    """
    shares = row["use_shares"] if order == "use" else row["slope_shares"]
    if shares is None:
        return math.inf
    weights = [_STEEPER**at for at in range(len(shares))]
    known = sum(weight * share for weight, share in zip(weights, shares, strict=True))
    unknown = max(0.0, 1.0 - sum(shares))
    return round(float(known + weights[-1] * unknown), _STEEPNESS_DIGITS)


def _rest(shares: Sequence[float] | None) -> float:
    """The unknown share."""
    if shares is None:
        return 1.0
    left = 1.0 - sum(shares)
    return left if left > _NEAR_NONE else 0.0


def _all_ground(
    rows: Sequence[Mapping[str, Any]], slope_classes: int, use_classes: int
) -> dict[str, Any]:
    """All fields as one; a field without figures adds its ground to the unknown."""
    area = sum(row["area_ha"] or 0.0 for row in rows)
    known = [row["slope_max_pct"] for row in rows if row["slope_max_pct"] is not None]
    means = [
        (row["area_ha"] * row["slope_known_share"], row["slope_mean_pct"])
        for row in rows
        if row["slope_mean_pct"] is not None and row["slope_known_share"]
    ]
    weight = sum(one for one, _ in means)
    return {
        "field_id": "",
        "name": "All ground",
        "area_ha": area,
        "slope_known_share": weight / area if area else None,
        "slope_mean_pct": sum(one * mean for one, mean in means) / weight if weight else None,
        "slope_p95_pct": None,
        "slope_max_pct": max(known, default=None),
        "slope_shares": _pooled(rows, "slope_shares", slope_classes, area),
        "use_shares": _pooled(rows, "use_shares", use_classes, area),
        "level": "",
        "page": "",
    }


def _pooled(
    rows: Sequence[Mapping[str, Any]], key: str, classes: int, area: float
) -> list[float] | None:
    held = [(row["area_ha"] or 0.0, row[key]) for row in rows if row[key] is not None]
    if not held or not area:
        return None
    return [sum(ground * shares[at] for ground, shares in held) / area for at in range(classes)]


def _row(
    row: Mapping[str, Any], slope_words: list[str], use_words: list[str], units: System
) -> dict[str, Any]:
    known = (row["slope_known_share"] or 0.0) >= 1.0 - _NEAR_NONE
    steepest = shown(row["slope_max_pct"], "%", units)
    return {
        **(said(row["level"]) if row["level"] else {"level": "", "word": ""}),
        "title": row["name"],
        "page": on_map.inside(row["page"]),
        "area": shown(row["area_ha"], "ha", units),
        "mean": shown(row["slope_mean_pct"], "%", units),
        "p95": shown(row["slope_p95_pct"], "%", units),
        "steepest": steepest if known or row["slope_max_pct"] is None else f"{steepest} or more",
        "slope": _bar(row["slope_shares"], slope_words, tints.SLOPE),
        "use": _bar(row["use_shares"], use_words, tints.USE),
    }


def _bar(
    shares: Sequence[float] | None, words: list[str], colours: Sequence[tints.Tint]
) -> dict[str, Any]:
    """The pieces of one bar from left to right, its words, and in short its far end."""
    rest = _rest(shares)
    pieces, told, at = [], [], 0.0
    for share, text, tint in zip(shares or (), words, colours, strict=False):
        if share > 0:
            pieces.append(_piece(at, share, tints.hex_of(tint)))
            told.append(f"{text}: {share_words(share)}")
            at += share
    if rest > 0:
        pieces.append(_piece(at, rest, ""))
        told.append(f"unknown: {share_words(rest)}")
    return {"pieces": pieces, "words": "; ".join(told), "short": _short(shares, words, rest)}


def _short(shares: Sequence[float] | None, words: list[str], rest: float) -> str:
    """The class at the far end that has ground, and what is unknown."""
    last = max((at for at, share in enumerate(shares or ()) if share > 0), default=None)
    told = []
    if shares is not None and last is not None:
        told.append(f"{words[last].partition(' (')[0]}: {share_words(shares[last])}")
    if rest > 0:
        told.append("unknown" if rest >= 1 else f"unknown: {share_words(rest)}")
    return ", ".join(told)


def _piece(at: float, share: float, fill: str) -> dict[str, Any]:
    """Where a piece begins and how wide it is; a thin one has no rim that would hide it."""
    return {"x": _pct(at), "width": _pct(share), "fill": fill, "thin": share < _THIN}


def _pct(share: float) -> str:
    return f"{100 * share:.2f}%"


def _use_words(breaks: Sequence[float]) -> list[str]:
    """Classes of use as shares of the limit.

    Examples
    --------
    >>> _use_words([0.5, 1.0])
    ['under half of the limit', '50 to 100% of the limit', 'the limit and over']
    """
    edges = [f"{100 * one:.0f}" for one in breaks]
    first = "under half of the limit" if breaks[0] == 0.5 else f"under {edges[0]}% of the limit"
    between = [f"{low} to {high}% of the limit" for low, high in pairwise(edges)]
    last = "the limit and over" if breaks[-1] == 1 else f"{edges[-1]}% of the limit and over"
    return [first, *between, last]


def _legend(words: list[str], colours: Sequence[tints.Tint]) -> list[dict[str, Any]]:
    told = [
        {"colour": tints.hex_of(tint), "text": text, "hatched": False}
        for text, tint in zip(words, colours, strict=False)
    ]
    return [*told, {"colour": "", "text": "unknown", "hatched": True}]
