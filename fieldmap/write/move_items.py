"""What the page and the cab sheet of a move show, worded and in the reader's units."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldmap.roads.step_words import road_name
from fieldmap.units import METRE_PER_FOOT, System, shown
from fieldmap.write.corner_drawing import MOST, corner_views
from fieldmap.write.page_findings import said, signal
from fieldmap.write.page_items import LONG_WAY_M, way_length
from fieldmap.write.profile_drawing import profile_view

Item = dict[str, Any]
Payload = Mapping[str, Any]

_SIZE = (
    ("width", "width_m", "m"),
    ("height", "height_m", "m"),
    ("length", "length_m", "m"),
    ("mass", "mass_kg", "kg"),
    ("heaviest axle", "axle_kg", "kg"),
)
_LIGHT = {
    "dawn": "first light",
    "sunrise": "sunrise",
    "sunset": "sunset",
    "dusk": "last light",
    "at": "on the road at",
    "until": "there by",
}
_WHO = {"behind": "from behind", "oncoming": "towards you"}
_SHORT_MIN = 2.0
_TIME = slice(11, 16)  # of an ISO text: hours and minutes


def size_facts(payload: Payload) -> list[tuple[str, str]]:
    """The machine as it is held against the road; what is not known is said so."""
    size, units = payload.get("size") or {}, payload["units"]
    return [(name, shown(size.get(key), unit, units)) for name, key, unit in _SIZE]


def state_views(payload: Payload) -> list[Item]:
    """Transport states, each with its size and the level of its best way."""
    units = payload["units"]
    return [
        {
            **said(one["level"]),
            "name": one["name"],
            "here": one["here"],
            **{key: shown(one[f"{key}_m"], "m", units) for key in ("width", "height", "length")},
        }
        for one in payload.get("states") or ()
    ]


def step_views(payload: Payload) -> list[Item]:
    """Steps with their distances in words, and which places of the survey list lie on them."""
    units, numbers = payload["units"], _places(payload)
    return [
        {
            **said(one["level"]),
            "n": one["n"],
            "title": one["words"],
            "from": "" if not one["from_m"] else f"after {driven(one['from_m'], units)}",
            "length": driven(one["length_m"], units) if one["length_m"] else "",
            "arrival": not one["road"],
            "ways": list(one["ways"]),
            "measure": numbers.get(one["n"], []),
            "all_way": _all_way(one, payload),
            "met": _folded([met_view(met, one, payload) for met in one["met"]]),
        }
        for one in payload.get("steps") or ()
    ]


def _all_way(step: Payload, payload: Payload) -> bool:
    """Whether a step has its level from what is said of the whole way, and not from its own."""
    own = {met["level"] for met in step["met"]}
    whole = {one["level"] for one in payload.get("throughout") or ()}
    return step["level"] != "ok" and step["level"] not in own and step["level"] in whole


def _places(payload: Payload) -> dict[int, list[str]]:
    """Numbers of the survey list by step."""
    held: dict[int, list[str]] = {}
    for number, steps in enumerate(payload.get("places") or (), start=1):
        for step in steps:
            held.setdefault(step, []).append(f"M{number}")
    return held


def _folded(met: list[Item]) -> list[Item]:
    """Things of a step of which the same is said, as one with all its names and places."""
    held: dict[tuple[str, ...], list[Item]] = {}
    for one in met:
        key = (one["level"], one["words"], one["caution"]["text"], one["for"], one["ask"])
        held.setdefault(key if one["words"] else (*key, one["what"]), []).append(one)
    return [same[0] if len(same) == 1 else _joined(same) for same in held.values()]


def _joined(same: list[Item]) -> Item:
    """Several things as one: what is met twice is named once, with both its places."""
    places: dict[str, list[str]] = {}
    for one in same:
        places.setdefault(one["what"], []).append(one["at"])
    names = [f"{what} {_all_at(at)}".strip() for what, at in places.items()]
    return {**same[0], "what": "; ".join(names), "at": ""}


def _all_at(places: list[str]) -> str:
    """Where on a step, in order.

    Examples
    --------
    >>> _all_at(["at 200 ft"]), _all_at(["", "at 200 ft", "at 0.3 mi"])
    ('at 200 ft', 'where it begins, at 200 ft, at 0.3 mi')
    """
    if len(places) == 1:
        return places[0]
    return ", ".join(dict.fromkeys(place or "where it begins" for place in places))


def met_view(met: Payload, step: Payload, payload: Payload) -> Item:
    """One thing met on a step: where on it, what to do, the caution and whom to ask."""
    units, into_m = payload["units"], max(met["at_m"] - step["from_m"], 0.0)
    at = f"at {driven(into_m, units)}" if into_m >= 1.0 else ""
    return {
        **said(met["level"]),
        "what": met["what"],
        "at": at,
        "for": f"for {driven(met['long_m'], units)}" if met["long_m"] else "",
        "words": met["words"],
        "caution": signal(met["caution"]),
        "ask": met["ask"],
    }


def asked(payload: Payload) -> list[tuple[str, str]]:
    """Whom to ask, and about what at which steps: each of them once, in driving order."""
    held: dict[str, dict[str, list[str]]] = {}
    for step in payload.get("steps") or ():
        for met in step["met"]:
            if met["ask"] and met["level"] != "ok":
                about = held.setdefault(met["ask"], {}).setdefault(met["what"], [])
                about.append(str(step["n"]))
    return [
        (who, ", ".join(f"{what} ({_numbers(about)})" for what, about in things.items()))
        for who, things in held.items()
    ]


def _numbers(steps: list[str]) -> str:
    """Steps by number, each once.

    Examples
    --------
    >>> _numbers(["3"]), _numbers(["3", "3", "5"])
    ('step 3', 'steps 3, 5')
    """
    each = list(dict.fromkeys(steps))
    return f"{'step' if len(each) == 1 else 'steps'} {', '.join(each)}"


def driven(length_m: float | None, units: System) -> str:
    """A way to drive, as nearly as a driver can tell it.

    Examples
    --------
    >>> driven(123.4, "us"), driven(123.4, "metric"), driven(2.0, "us"), driven(1609.3, "us")
    ('400 ft', '125 m', '10 ft', '1.0 mi')
    """
    if length_m is None or length_m >= LONG_WAY_M:
        return way_length(length_m, units)
    step, name = (10, "ft") if units == "us" else (5, "m")
    figure = length_m / METRE_PER_FOOT if units == "us" else length_m
    return f"{max(round(figure / step), 1) * step:,d} {name}"


def light_view(payload: Payload) -> list[tuple[str, str]]:
    """Times of light of the day, by the farm's clock."""
    sun = payload.get("sun") or {}
    told = [(words, sun[key][_TIME]) for key, words in _LIGHT.items() if sun.get(key)]
    kind = sun.get("kind", "usual")
    return told if kind == "usual" else [("on this day", kind), *told]


def meeting_view(payload: Payload) -> Item:
    """Stretches on which a car may find no room, in order, and places to pull in."""
    meeting, units = payload.get("meeting") or {}, payload["units"]
    held = meeting.get("runs") or ()
    surely = [run for run in held if run["sure"] == "surely"]
    runs = [
        {
            **said("care"),
            "where": road_name(run["where"]),
            "from": driven(run["from_m"], units) if run["from_m"] else "the start",
            "length": driven(run["length_m"], units),
            "surely": _within(run, surely, units),
            "minutes": "" if run["minutes"] is None else _lasts(run["minutes"], units),
        }
        for run in held
        if run["sure"] == "possibly"
    ]
    spots = [
        {
            "what": f"{spot['kind']}, {road_name(spot['where'])}",
            "maybe": spot["sure"] != "surely",
            "from": driven(spot["at_m"], units) if spot["at_m"] else "the start",
        }
        for spot in meeting.get("pull_ins") or ()
    ]
    return {"runs": runs, "pull_ins": spots, "sight": _sight_views(meeting, units)}


def _sight_views(meeting: Payload, units: System) -> list[Item]:
    """Crests and bends at which cars come into sight late, in driving order."""
    held = sorted(meeting.get("sight") or (), key=lambda one: float(one["from_m"]))
    return [
        {
            "from": driven(one["from_m"], units) if one["from_m"] else "the start",
            "where": road_name(one["where"]),
            "kind": one["kind"],
            "who": _WHO.get(one["who"], one["who"]),
            "sight": driven(one["sight_m"], units),
            "need": driven(one["need_m"], units),
            "maybe": one["sure"] != "surely",
        }
        for one in held
    ]


def _lasts(minutes: float, units: System) -> str:
    """A time on the road; a short one in seconds."""
    if minutes < _SHORT_MIN:
        return shown(60.0 * minutes, "s", units)
    return shown(minutes, "min", units)


def _within(run: Payload, surely: list[Payload], units: System) -> str:
    """How much of a stretch that may be single file surely is; nothing for none."""
    inside = [
        max(min(one["to_m"], run["to_m"]) - max(one["from_m"], run["from_m"]), 0.0)
        for one in surely
    ]
    return driven(sum(inside), units) if sum(inside) else ""


def both_ways(payload: Payload) -> Item:
    """The way told beside the direct one: how long, and what refuses on that."""
    units, refusals = payload["units"], payload.get("refusals") or ()
    return {
        "direct": shown(payload.get("direct_km"), "km", units),
        "own": shown(payload["move"]["length_km"], "km", units),
        "is_direct": payload.get("is_direct", False),
        "refused": bool(refusals),
        "unknown": len(payload["survey"]),
    }


def headline(payload: Payload) -> str:
    """What stands on top of a move that is not settled; nothing for one that is."""
    level, count = payload["move"]["level"], len(payload["survey"])
    if level == "stop":
        return "REFUSED"
    if level == "unknown" and count:
        return f"NOT SETTLED: {count} {'place' if count == 1 else 'places'} to measure first"
    return "NOT SETTLED" if level == "unknown" else ""


def move_view(payload: Payload) -> Item:
    """Everything on the page beyond its tables of legs, places and findings."""
    corners = corner_views(payload.get("corners") or (), payload["units"])
    steps = step_views(payload)
    return {
        "headline": headline(payload),
        "steps": steps,
        "throughout": [
            {**said(one["level"]), "what": one["what"], "why": one["why"]}
            for one in payload.get("throughout") or ()
        ],
        "size": size_facts(payload) if payload.get("size") else [],
        "states": state_views(payload),
        "corners": corners,
        "drawn": [one for one in corners if one["drawing"]][:MOST],
        "undrawn": [one for one in corners if not one["drawing"]],
        "meeting": meeting_view(payload),
        "light": light_view(payload),
        "profile": profile_view(
            payload.get("profile"), payload.get("steep_pct", 6.0), payload["units"]
        ),
        "both": both_ways(payload),
        "ask": asked(payload),
    }
