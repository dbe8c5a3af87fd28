"""The lie of a field on its page: what the map draws of it, its tables, the lines of travel."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from fieldmap.units import M2_PER_HECTARE, METRE_PER_FOOT, System, shown
from fieldmap.write import page_items as on_map
from fieldmap.write.page_findings import said

Item = dict[str, Any]
Props = Mapping[str, Any]
Payload = Mapping[str, Any]

#: Lines of travel listed after the best one and before the worst.
NEXT_BEST = 5
#: From this size on ground is said in acres or hectares (m2).
_WIDE_M2 = 2000.0
OPEN_WORDS = "it reaches ground of unknown height: it may be deeper or wider, or none"
_NO_SLOPE = (
    "No line of travel was chosen, since no slope is known in this field: hollows and drop-offs "
    "are not known either."
)
# The rose, in its own units: half a side, the rim, the blank middle.
_HALF, _RIM, _HUB = 110, 88, 6
_RINGS = (0.01, 0.02, 0.05, 0.1, 0.25, 0.5, 1.0)


def lie_groups(items: Mapping[str, list[Item]]) -> list[Item]:
    """Layers of the map that are under the marks; only the first places show from the start."""
    return [
        on_map.group("headland", "Headland", "headland", items["headland"], ticked=False),
        on_map.group("hollows", "Hollows", "area", items["hollows"], ticked=False),
        on_map.group("drops", "Drop-offs and their buffer", "drop", items["drops"], ticked=False),
        on_map.group("runs", "Runs on the best heading", "run", items["runs"], ticked=False),
        on_map.group("first", "First places to look after the flood", "first", items["first"]),
    ]


def lie_items(lie: Payload, units: System) -> dict[str, list[Item]]:
    """The items of each group, by its key; all empty when the payload has none."""
    held = {
        "headland": ("headland", "d", on_map.ground_item),
        "runs": ("runs", "r", run_item),
        "hollows": ("hollows", "o", hollow_item),
        "drops": ("drop_offs", "e", drop_item),
        "first": ("first_places", "p", place_item),
    }
    nothing: dict[str, Any] = {"features": []}
    return {
        key: on_map.items(lie.get(name) or nothing, prefix, units, describe)
        for key, (name, prefix, describe) in held.items()
    }


def lie_view(lie: Payload, items: Mapping[str, list[Item]], units: System) -> dict[str, Any]:
    """What the template shows under the lie of the land.

    Parameters
    ----------
    lie : mapping
        As :func:`fieldmap.write.lie_payload.lie_payload` makes it.
    items : mapping
        As :func:`lie_items` makes them.
    units : {"us", "metric"}

    Returns
    -------
    dict
        ``rows`` of the lines of travel, ``ties`` and ``held`` (sentences), ``rose`` (``None`` when
        no line meets a limit), ``instead`` (why there is no line, else ""), ``drawn`` (how the
        runs are drawn), and the items of each table.
    """
    way = lie.get("travel")
    view: dict[str, Any] = {name: items[name] for name in ("hollows", "drops", "first")}
    view |= {"rows": [], "ties": "", "held": "", "rose": None, "drawn": _drawn(items["runs"])}
    view |= {"instead": "", "open_words": OPEN_WORDS}
    if way is None:
        return view | {"instead": _NO_SLOPE if lie else ""}
    return view | {
        "rows": _rows(way, units),
        "worked": way["laps"] is not None,
        "ties": _ties(way),
        "held": f"Held against {shown(way['stop_pct'], '%', units)} across the line of travel, "
        f"care from {shown(way['care_pct'], '%', units)} on: {way['limit']}. Shares are of the "
        "ground whose slope is known; degrees count clockwise from grid north.",
        "rose": rose(way),
    }


def run_item(props: Props, number: str, units: System) -> Item:
    """All runs as one shape that is only drawn."""
    del number, units
    keep = ("spacing_m", "sketch_m", "sketch", "every", "count")
    return {**said("ok"), "n": "", "title": "Runs", "lines": [], **{k: props[k] for k in keep}}


def hollow_item(props: Props, number: str, units: System) -> Item:
    """A hollow: unknown until all of it was looked at."""
    depth = shown(props["depth_m"], "m", units)
    area = small_area(props["area_m2"], units)
    edge = OPEN_WORDS if props["open"] else ""
    return {
        **said("care" if props["looked"] else "unknown"),
        "n": f"H{number}",
        "title": f"Hollow, {depth} deep",
        "depth": depth,
        "area": area,
        "open": bool(props["open"]),
        "lines": [("Depth", depth), ("Area", area), ("But", edge)],
    }


def drop_item(props: Props, number: str, units: System) -> Item:
    """A drop-off with the ground to keep out of round it."""
    height = shown(props["height_m"], "m", units)
    kind = "highwall" if props["highwall"] else "bank or bench edge"
    keep = shown(props["keep_m"], "m", units)
    more = "it touches ground of unknown height: at least so high" if props["open"] else ""
    return {
        **said("stop"),
        "n": f"E{number}",
        "title": f"{kind.capitalize()}, {height} high",
        "height": f"{height} or more" if props["open"] else height,
        "kind": kind,
        "keep": keep,
        "crest": props["crest"],
        "lines": [("Height", height), ("Keep off by", keep), ("But", more)],
    }


def place_item(props: Props, number: str, units: System) -> Item:
    """A place to look at first after a flood."""
    size = _size(props, units)
    return {
        **said("unknown"),
        "n": f"L{number}",
        "title": str(props["kind"]).capitalize(),
        "reason": props["reason"],
        "size": size,
        "day": props["flood_day"] or "day not known",
        "lines": [("Why", props["reason"]), ("Size", size), ("Flood of", props["flood_day"])],
    }


def small_area(area_m2: float | None, units: System) -> str:
    """An area as a person reads it; a small one to two digits, for it comes from cells.

    Examples
    --------
    >>> small_area(100.0, "us"), small_area(100.0, "metric"), small_area(8000.0, "us")
    ('1,100 sq ft', '100 sq m', '2.0 ac')
    >>> small_area(None, "us")
    'unknown'
    """
    if area_m2 is None or math.isnan(area_m2):
        return "unknown"
    if area_m2 >= _WIDE_M2:
        return shown(area_m2 / M2_PER_HECTARE, "ha", units)
    small, name = (area_m2 / METRE_PER_FOOT**2, "sq ft") if units == "us" else (area_m2, "sq m")
    return f"{float(f'{small:.2g}'):,.0f} {name}"


def _size(props: Props, units: System) -> str:
    if props["area_m2"] is not None:
        return small_area(props["area_m2"], units)
    return _length(props["length_m"], units)


def _length(length_m: float | None, units: System) -> str:
    """Whole feet or metres: nobody walks tenths."""
    if length_m is None or math.isnan(length_m):
        return "unknown"
    feet = units == "us"
    return f"{length_m / METRE_PER_FOOT if feet else length_m:,.0f} {'ft' if feet else 'm'}"


def share_words(share: float) -> str:
    """A share that never rounds something away to nothing, nor a part up to all.

    Examples
    --------
    >>> share_words(0.0), share_words(0.004), share_words(0.123), share_words(0.998)
    ('none', 'under 1%', '12%', 'over 99%')
    """
    if share <= 0:
        return "none"
    if share < 0.01:
        return "under 1%"
    return "over 99%" if 0.99 < share < 1 else f"{100 * share:.0f}%"


def both_ways(deg: float) -> str:
    """A line of travel as the two headings it is driven in, in degrees.

    Examples
    --------
    >>> both_ways(40.0), both_ways(0.0)
    ('40 / 220', '0 / 180')
    """
    return f"{deg:.0f} / {deg + 180:.0f}"


def _rows(way: Payload, units: System) -> list[dict[str, str]]:
    """The best line, those that come next, and the worst."""
    lines = way["lines"]
    last = len(lines) - 1
    picked = [0, *range(1, min(NEXT_BEST + 1, last)), *([last] if last > 0 else [])]
    names = {0: "best", last: "worst"} if last else {0: "best"}
    return [_row(lines[at], names.get(at, ""), units) for at in picked]


def _row(line: Payload, rank: str, units: System) -> dict[str, str]:
    in_care = max(line["care_share"] - line["stop_share"], 0.0)
    return {
        "way": both_ways(line["deg"]),
        "rank": rank,
        "over": share_words(line["stop_share"]),
        "care": share_words(in_care),
        "runs": shown(line["runs"], "count", units),
        "turns": shown(line["turns"], "count", units),
        "minutes": shown(line["minutes"], "count", units),
    }


def _ties(way: Payload) -> str:
    """Lines that are as good as the best, in one sentence; "" without any."""
    best = way["lines"][0]["deg"]
    others = [deg for deg in way["ties"] if deg != best]
    if not others:
        return ""
    if len(others) == len(way["lines"]) - 1:
        return "All lines are alike in these figures; the best has the least side slope over all."
    named = ", ".join(both_ways(deg) for deg in others[:NEXT_BEST])
    more = f" and {len(others) - NEXT_BEST} more" if len(others) > NEXT_BEST else ""
    verb = "is" if len(others) == 1 else "are"
    return (
        f"As good as the best in these figures {verb} {named}{more} deg; the best has the least "
        "side slope over all."
    )


def _drawn(runs: list[Item]) -> str:
    """How the runs stand on the map."""
    if not runs:
        return ""
    one = runs[0]
    told = f"The map can show the {one['count']:,} runs along the best heading"
    if one["every"] > 1:
        told += f", one in {one['every']} of them"
    return f"{told}; from afar a few stand for all."


def rose(way: Payload) -> dict[str, Any] | None:
    """Lines of travel round the compass, as long as the share of ground that meets a limit.

    Returns
    -------
    dict or None
        ``None`` when no line has ground over the limit or in care. ``spokes`` hold the ends of
        the part in care and of the part over the limit, both through the middle; ``best`` the
        ends of the best line, rim to rim; ``ring`` and ``scale`` what the rim stands for;
        ``words`` the same as text.
    """
    lines = way["lines"]
    most = max(line["care_share"] for line in lines)
    if most <= 0:
        return None
    scale = next(ring for ring in _RINGS if most <= ring)
    best, worst = lines[0], lines[-1]
    return {
        "half": _HALF,
        "rim": _RIM,
        "scale": f"{100 * scale:.0f}%",
        "spokes": [
            {
                "care": _ends(line["deg"], line["care_share"] / scale),
                "over": _ends(line["deg"], line["stop_share"] / scale),
                "has_over": line["stop_share"] > 0,
            }
            for line in sorted(lines, key=lambda one: one["deg"])
        ],
        "best": _ends(best["deg"], 1.0),
        "words": f"Lines of travel round the compass. On the best, {both_ways(best['deg'])} deg, "
        f"{share_words(best['care_share'])} of the ground is over the limit or in care; on the "
        f"worst, {both_ways(worst['deg'])} deg, {share_words(worst['care_share'])}.",
    }


def _ends(deg: float, part: float) -> dict[str, float]:
    """The two ends of a line through the middle, y down."""
    reach = _HUB + (_RIM - _HUB) * min(max(part, 0.0), 1.0)
    east, north = math.sin(math.radians(deg)), math.cos(math.radians(deg))
    x, y = round(reach * east, 1), round(-reach * north, 1)
    return {"x1": -x, "y1": -y, "x2": x, "y2": y}
