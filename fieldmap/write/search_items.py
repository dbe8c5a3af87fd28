"""What stands on the map of a search and in its tables; rows and figures as they are said."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from itertools import chain
from typing import Any

import numpy as np

from fieldmap.finding import rank
from fieldmap.units import METRE_PER_MILE, System, shown
from fieldmap.write.page_findings import said
from fieldmap.write.page_items import Collection, Item, inside, way_length

Plot = Mapping[str, Any]

#: With more corners than this all walks together are too much for a phone: a few lines show them.
MOST_CORNERS = 60_000
#: So many lines show the way that the lines of a field run where they are too close to be drawn.
FEW_LINES = 8
_MINUTE_PER_HOUR = 60.0
_METRE_PER_KM = 1000.0
_SHORT_MIN = 90.0
_NONE_LEFT_H = 0.005
_AT_THE_GATE_M = 1.0
_FINE_SHARE, _ONE = 0.001, 0.01
_ROUNDING = 1e-7


def most_first(plot: Plot) -> tuple[int, float, float]:
    """Order of fields: the worst first, and among these the most ground not looked at."""
    level = said(plot["level"])["level"]
    return (-rank(level), -plot["left_ha"], -plot["kept_off_ha"])  # type: ignore[arg-type]


def plots(held: Iterable[Plot]) -> Collection:
    """The fields' boundaries with their figures."""
    return {
        "features": [
            {"properties": plot, "geometry": _first(plot["boundary"])["geometry"]} for plot in held
        ]
    }


def shapes(held: Iterable[Plot], key: str) -> Collection:
    """One collection of every field's shapes of a sort."""
    return {"features": list(chain.from_iterable(plot[key]["features"] for plot in held))}


def starts(held: Iterable[Plot]) -> Collection:
    """Where the walks start, each with its field's figures."""
    return {
        "features": [
            {"properties": plot, "geometry": one["geometry"]}
            for plot in held
            for one in plot["start"]["features"]
        ]
    }


def marks(held: Iterable[Plot]) -> Collection:
    """The marks to keep away from, each once and by kind, with the fields it stands by."""
    found: dict[str, dict[str, Any]] = {}
    near: dict[str, list[str]] = {}
    for plot in held:
        for one in plot["avoided_marks"]["features"]:
            name = one["properties"]["hazard_id"]
            found.setdefault(name, one)
            near.setdefault(name, []).append(plot["name"])
    by_kind = sorted(found.items(), key=lambda one: _kind_first(one[1]["properties"]))
    return {
        "features": [
            {**one, "properties": {**one["properties"], "fields": ", ".join(near[name])}}
            for name, one in by_kind
        ]
    }


def _kind_first(mark: Mapping[str, Any]) -> tuple[str, ...]:
    return (mark["label"], mark["call"], mark["caution"])


def walks(held: Sequence[Plot]) -> tuple[list[Item], bool]:
    """The walks, one a walker, and whether they are drawn in full.

    Each field's first has a few lines, ``sketch``, to stand for all where they would be nearer
    together than can be drawn; where all walks would be too much, they stand alone.
    """
    features = [(plot, one) for plot in held for one in plot["walks"]["features"]]
    corners = sum(len(one["geometry"]["coordinates"]) for _, one in features)
    whole = corners <= MOST_CORNERS
    return [
        _walk(number, plot, one, whole=whole)
        for number, (plot, one) in enumerate(features, start=1)
        if whole or one["properties"]["walker"] == 1
    ], whole


def _walk(number: int, plot: Plot, one: Mapping[str, Any], *, whole: bool) -> Item:
    walker = one["properties"]["walker"]
    sketch, few_apart_m = _sketch(plot) if walker == 1 else (None, 0.0)
    apart_m = min((part["spacing_m"] for part in plot["parts"]), default=0.0)
    return {
        "id": f"w{number}",
        **said("ok"),
        "word": "",
        "n": f"W{walker}",
        "title": f"Walk {walker}",
        "lines": [],
        "walker": walker,
        "several": whole and len(plot["walks"]["features"]) > 1,
        "geometry": one["geometry"] if whole else sketch,
        "sketch": sketch if whole else None,
        "spacing_m": apart_m if whole else few_apart_m,
        "sketch_m": few_apart_m,
    }


def _sketch(plot: Plot) -> tuple[dict[str, Any], float]:
    """A few of a field's longer lines, spread over the ground, and about how far apart in metres.

    They stand in the order of their middles along the axis over which these spread the more.
    """
    lines = [one["geometry"]["coordinates"] for one in plot["search_lines"]["features"]]
    ends = np.array([[line[0], line[-1]] for line in lines]).reshape(-1, 2, 2)
    long = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    kept = np.flatnonzero(long >= np.median(long)) if lines else np.empty(0, int)
    middles = ends[kept].mean(axis=1)
    axis = int(np.argmax(np.ptp(middles, axis=0))) if len(kept) else 0
    kept = kept[np.argsort(middles[:, axis], kind="stable")]
    step = max(1, math.ceil(len(kept) / FEW_LINES))
    few = [lines[at] for at in kept[(step - 1) // 2 :: step]]
    apart_m = min((part["spacing_m"] for part in plot["parts"]), default=0.0)
    return {"type": "MultiLineString", "coordinates": few}, apart_m * len(lines) / max(len(few), 1)


def plot_item(props: Plot, number: str, units: System) -> Item:
    """A field: one row of the table, one block of what else it would take."""
    del number
    walk = bool(props["walk_m"])
    row = {
        "looked": _percent(props["looked_share"]),
        "left": shown(props["left_ha"], "ha", units),
        "chance": _percent(props["chance_now"]),
        "spacing": _spacing(props, units) if walk else "",
        "walk": way_length(props["walk_m"], units) if walk else "",
        "each": time_words(props["minutes"]) if walk else "",
        "start": _start(props, units) if walk else "",
    }
    return {
        **said(props["level"]),
        "n": "",
        "title": named(props),
        **row,
        "field_id": props["field_id"],
        "why": props["why"],
        "walkers": props["walkers"],
        "gpx": inside(props["gpx"]),
        "others": _others(props, units),
        "lines": [
            ("To look at", row["left"]),
            ("Looked at", row["looked"]),
            ("Chance now", row["chance"]),
            ("Lines", row["spacing"]),
            ("Walk", row["walk"]),
            ("Each", row["each"]),
            ("Start", row["start"]),
        ],
    }


def mark_item(props: Mapping[str, Any], number: str, units: System) -> Item:
    """A mark that people must keep away from."""
    keep = shown(props["keep_m"], "m", units)
    return {
        **said(props["level"]),
        "n": number,
        "title": str(props["label"] or props["kind"]),
        "keep": keep,
        "note": props["note"],
        "call": props["call"],
        "caution": {"word": "WARNING", "text": props["caution"]},
        "fields": props["fields"],
        "lines": [
            ("Keep away", keep),
            ("Call", props["call"]),
            ("Warning", props["caution"]),
            ("Note", props["note"]),
            ("By", props["fields"]),
        ],
    }


def start_item(props: Plot, number: str, units: System) -> Item:
    """Where a field's walk starts."""
    del number
    start = _start(props, units)
    return {
        "level": "ok",
        "word": "",
        "n": "",
        "title": f"Start of the walk in {named(props)}",
        "lines": [("At", start), ("Walk", way_length(props["walk_m"], units))],
    }


def left_item(props: Mapping[str, Any], number: str, units: System) -> Item:
    """Ground to look at, drawn only."""
    del props, units
    return {**said("unknown"), "n": number, "title": "", "lines": []}


def keep_item(props: Mapping[str, Any], number: str, units: System) -> Item:
    """Ground round a mark, drawn only."""
    del props, units
    return {**said("stop"), "n": number, "title": "", "lines": []}


def named(plot: Plot) -> str:
    """A field as people and the command line know it."""
    name, field_id = plot["name"], plot["field_id"]
    return f"{name} ({field_id})" if name and name != field_id else field_id


def time_words(minutes: float | None) -> str:
    """Minutes, or hours from an hour and a half on.

    Examples
    --------
    >>> time_words(42.4), time_words(2289.4), time_words(None)
    ('42 min', '38.2 h', 'unknown')
    """
    if minutes is None or minutes < _SHORT_MIN:
        return shown(minutes, "min", "metric")
    return f"{minutes / _MINUTE_PER_HOUR:,.1f} h"


def summary(held: Sequence[Plot], payload: Mapping[str, Any]) -> dict[str, Any]:
    """The answer above the tables: how much of how many fields, how long, for what."""
    units = payload["units"]
    left = [plot for plot in held if said(plot["level"])["level"] != "ok"]
    worst = max((said(plot["level"])["level"] for plot in held), key=rank, default="unknown")  # type: ignore[arg-type]
    walk_km = sum(plot["walk_m"] for plot in held) / _METRE_PER_KM
    tall = [named(plot) for plot in left if plot["sward_m"] is None]
    kept_ha = sum(plot["kept_off_ha"] for plot in held)
    return {
        **said(worst),
        "fields": len(held),
        "left": len(left),
        "area": shown(sum(plot["left_ha"] for plot in held), "ha", units),
        "kept_off": shown(kept_ha, "ha", units) if kept_ha > 0 else "",
        "time": time_words(_MINUTE_PER_HOUR * walk_km / payload["figures"]["walk_kmh"]),
        "walk": shown(walk_km, "km", units),
        "walkers": payload["walkers"],
        "tall": tall,
        "for": [f"{label}, {_percent(chance)}" for label, chance in _wished(held)],
        "chance": max((plot["chance_wished"] for plot in held), default=0.0),
    }


def _wished(held: Iterable[Plot]) -> dict[tuple[str, float], None]:
    """What is looked for where there is something to walk, and the chance wished, each once."""
    return dict.fromkeys(
        (wish["label"], plot["chance_wished"])
        for plot in held
        for wish in plot["other_wishes"]
        if wish["kind"] == plot["kind"]
    )


def figures(held: Mapping[str, float], units: System) -> dict[str, str]:
    """What the plan was reckoned with, in words."""
    speed = held["walk_kmh"]
    mph = speed * _METRE_PER_KM / METRE_PER_MILE
    return {
        "speed": f"{mph:.1f} mph" if units == "us" else f"{speed:g} km/h",
        "line": _percent(held["line_chance"]),
        "enough": _percent(held["enough_chance"]),
        "missed": _missed(held["enough_chance"]),
        "days": shown(held["valid_days"], "days", units),
        "off": shown(held["stand_off_m"], "m", units),
    }


def _others(plot: Plot, units: System) -> dict[str, Any]:
    """What other wishes would take: a row a kind, a column a chance."""
    wishes = plot["other_wishes"]
    chances = sorted({wish["chance"] for wish in wishes})
    rows: dict[str, dict[str, Any]] = {}
    for wish in wishes:
        sweep = shown(wish["sweep_width_m"], "m", units)
        row = rows.setdefault(wish["kind"], {"label": wish["label"], "sweep": sweep, "hours": []})
        planned = wish["kind"] == plot["kind"] and wish["chance"] == plot["chance_wished"]
        row["hours"].append({"text": _hours(wish["hours"]), "planned": planned})
    return {
        "chances": [{"share": _percent(chance), "missed": _missed(chance)} for chance in chances],
        "rows": list(rows.values()),
        "tall": plot["sward_m"] is None,
        "sward": "" if plot["sward_m"] is None else shown(plot["sward_m"], "m cut", units),
    }


def _missed(chance: float) -> str:
    """Of a hundred things how many a walk with this chance does not see."""
    return f"{100.0 * (1.0 - chance):.3g}"


def _hours(hours: float) -> str:
    if hours < _NONE_LEFT_H:
        return "no line left"
    return time_words(_MINUTE_PER_HOUR * hours)


def _spacing(plot: Plot, units: System) -> str:
    told = [shown(part["spacing_m"], "m", units) for part in plot["parts"]]
    often = max((part["passes"] for part in plot["parts"]), default=1)
    return " and ".join(dict.fromkeys(told)) + (f", {often} times over" if often > 1 else "")


def _start(plot: Plot, units: System) -> str:
    if not plot["gate"]:
        return "no gate known: at the edge"
    off_m = plot["start_off_m"]
    gate = f"gate {plot['gate']}"
    return gate if off_m <= _AT_THE_GATE_M else f"{gate}, then {way_length(off_m, units)}"


def _percent(share: float) -> str:
    """A share in percent, never rounded up; what is not nothing is not shown as nothing.

    Examples
    --------
    >>> _percent(0.6), _percent(0.29), _percent(0.899), _percent(0.9996), _percent(1.0)
    ('60%', '29%', '89%', '99.9%', '100%')
    >>> _percent(0.0), _percent(0.0027)
    ('0%', '0.2%')
    >>> _percent(0.0004)
    'under 0.1%'
    """
    percent = 100.0 * share + _ROUNDING
    if 0 < share < _FINE_SHARE:
        return "under 0.1%"
    digits = 1 if 0 < share < _ONE or (percent > 99 and share < 1) else 0
    return f"{math.floor(percent * 10**digits) / 10**digits:.{digits}f}%"


def _first(collection: Collection) -> Mapping[str, Any]:
    return next(iter(collection["features"]), {"geometry": None})
