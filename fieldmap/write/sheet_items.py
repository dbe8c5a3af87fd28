"""What stands on a cab sheet: settings in the order in which they are made, marks, ground."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from fieldmap.finding import rank, worst
from fieldmap.units import M2_PER_HECTARE, shown
from fieldmap.write import page_items as on_map
from fieldmap.write.lie_items import small_area
from fieldmap.write.page_findings import said, worst_first

Item = dict[str, Any]
Payload = Mapping[str, Any]

YARD, BEFORE, MOWING = "yard", "before", "mowing"
GROUPS = {
    YARD: "At the yard: engine off, key out",
    BEFORE: "Before the first swath",
    MOWING: "While mowing",
}
#: What a setting begins with, in the order in which people make them, and its group.
_ORDER = {
    "knives since": YARD,
    "hits since": YARD,
    "knife": YARD,
    "skid shoe": YARD,
    "cut height": YARD,
    "cutterbar tilt": YARD,
    "cutterbar float": YARD,
    "cutterbar": YARD,
    "conditioner": YARD,
    "roll gap to start with": YARD,
    "roll gap": YARD,
    "leaf lost": YARD,
    "axle": YARD,
    "tyre": YARD,
    "power": YARD,
    "": YARD,
    "set-up compared": YARD,
    "nitrate": BEFORE,
    "regrowth": BEFORE,
    "field speed": MOWING,
    "speed": MOWING,
    "work rate": MOWING,
}
_HEADING = "side slope on the best heading"
#: Findings that stand in for a setting nobody worked out.
_INSTEAD = {"field speed": "field speed limit", "work rate": "runs and turns"}
#: Findings of the ground that a driver meets; said when they are not ok.
_WHILE = (
    "turning on the headland",
    "slope straight up and down",
    "sight ahead",
    "drop-offs and bench edges",
)
#: What the settings begin with that are made anew for each field.
_SHORT = ("knife", "cut height", "cutterbar", "conditioner", "roll gap to start", "nitrate",
          "regrowth", "field speed")  # fmt: skip
_DRIVEN = ("keep out", "up and down only", "slow", "raise the cut", "pick up first", "go and look")


def place_of(what: str) -> tuple[str, int]:
    """Group of a setting and its place in the order; an unknown one goes to the yard.

    Examples
    --------
    >>> place_of("roll gap check")[0], place_of("Nitrate test")[0], place_of("hitch height")[0]
    ('yard', 'before', 'yard')
    >>> place_of("tyres, front axle")[1] > place_of("Knife")[1]
    True
    """
    words = what.lower()
    key = max((key for key in _ORDER if words.startswith(key)), key=len)
    return _ORDER[key], list(_ORDER).index(key)


def is_short(what: str) -> bool:
    """Whether a setting is made anew for each field, so that it is said whatever its level.

    Examples
    --------
    >>> is_short("cut height and skid shoe"), is_short("tyre speed"), is_short("field speed limit")
    (True, False, False)
    """
    words = what.lower()
    return words.startswith(_SHORT) and words not in _INSTEAD.values()


def in_order(settings: Iterable[Payload]) -> list[Payload]:
    """Settings in the order in which people make them."""
    return sorted(settings, key=lambda one: place_of(one["what"])[1])


def chosen(payload: Payload) -> dict[str, list[Payload]]:
    """The findings that are printed, by group, in their order there."""
    settings = in_order({**one, "is_setting": True} for one in payload["settings"])
    held: dict[str, list[Payload]] = {key: [] for key in GROUPS}
    for one in settings:
        held[place_of(one["what"])[0]].append(one)
    by_what = {one["what"]: one for one in payload["findings"]}
    begun = {one["what"].lower() for one in held[MOWING]}
    for key, what in _INSTEAD.items():
        if what in by_what and not any(words.startswith(key) for words in begun):
            held[MOWING].append(by_what[what])
    if _HEADING in by_what:
        held[MOWING].insert(0, by_what[_HEADING])
    bad = [by_what[what] for what in _WHILE if what in by_what and by_what[what]["level"] != "ok"]
    held[MOWING] += bad
    return held


def unprinted(payload: Payload, held: Mapping[str, list[Payload]]) -> list[Payload]:
    """Findings that are not ok and not among the entries, the worst first."""
    there = {id(one) for group in held.values() for one in group}
    left = [one for one in payload["findings"] if id(one) not in there]
    return [one for one in worst_first(left) if one["level"] != "ok"]


def marks(payload: Payload) -> list[Item]:
    """Logged hazards, numbered as on the field's page, with their kind."""
    features = payload["hazards"]["features"]
    held = on_map.items(payload["hazards"], "h", payload["units"], on_map.hazard_item)
    return [
        {**item, "kind": one["properties"]["kind"]}
        for item, one in zip(held, features, strict=True)
    ]


def mark_lines(held: list[Item], *, single: bool) -> list[Item]:
    """Marks for the key: one line each with its note, or one for all of a kind alike.

    Each line has ``numbers``, ``level``, ``word``, ``title``, ``words``, ``note``, ``count`` and
    ``noted``, how many notes it leaves out.
    """
    alike: dict[tuple[str, ...], list[Item]] = {}
    for item in held:
        own = item["n"] if single and item["note"] else ""
        words = (item["level"], item["title"], item["action"], item["call"], own)
        alike.setdefault(words, []).append(item)
    ordered = sorted(alike.values(), key=lambda group: -rank(group[0]["level"]))
    return [_mark_line(group, single=single) for group in ordered]


def _mark_line(group: list[Item], *, single: bool) -> Item:
    one = group[0]
    do = one["action"] or "no step named"
    return {
        **said(one["level"]),
        "numbers": runs_of([int(item["n"]) for item in group]),
        "title": one["title"],
        "words": f"{one['title']}: {do}" + (f" ({one['call']})" if one["call"] else ""),
        "note": one["note"] if single else "",
        "count": len(group),
        "noted": 0 if single else sum(bool(item["note"]) for item in group),
    }


def runs_of(numbers: list[int]) -> str:
    """Rising numbers, three and more in a row as a run.

    Examples
    --------
    >>> runs_of([1, 2, 4, 5, 6, 9]), runs_of([])
    ('1, 2, 4 to 6, 9', '')
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    words = [f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs]
    return ", ".join(words)


def steps(payload: Payload, held: list[Item]) -> list[str]:
    """What to do first, without what the lines of the marks say already."""
    told = {f"{item['action']}|{item['title']}".lower() for item in held}
    return [
        step.replace("as numbered on the map", "as numbered on the field page's map")
        for step in payload["to_change"]
        if _of_a_mark(step) not in told
    ]


def _of_a_mark(step: str) -> str:
    """``keep out|washout`` of "Keep out: 2 x washout (landowner)"; else nothing."""
    found = re.match(r"([^:]+): \d+ x (.+) \(", step)
    return f"{found[1]}|{found[2]}".lower() if found else ""


def zones(payload: Payload, held: list[Item]) -> list[Item]:
    """Pieces of ground with a letter each; ground round a mark goes by the mark's number.

    The letters go by what to do there, in the order of the key.
    """
    kinds = {item["kind"] for item in held}
    units = payload["units"]
    found = on_map.items(payload["zones"], "z", units, on_map.zone_item)
    areas = [one["properties"]["area_ha"] for one in payload["zones"]["features"]]
    for zone, area_ha in zip(found, areas, strict=True):
        zone["small"] = small_area(None if area_ha is None else area_ha * M2_PER_HECTARE, units)
    order = sorted(found, key=lambda zone: _place(zone["title"]))
    count = 0
    for zone in order:
        zone["letter"] = ""
        if zone["cause"] not in kinds and zone["level"] != "ok":
            zone["letter"] = letter(count)
            count += 1
    return order


def letter(number: int) -> str:
    """A, B ... Z, AA, AB ...

    Examples
    --------
    >>> letter(0), letter(25), letter(26), letter(53)
    ('A', 'Z', 'AA', 'BB')
    """
    first, last = divmod(number, 26)
    return (letter(first - 1) if first else "") + chr(ord("A") + last)


def _place(action: str) -> int:
    words = action.lower()
    return _DRIVEN.index(words) if words in _DRIVEN else len(_DRIVEN)


def zone_lines(held: list[Item]) -> list[Item]:
    """The key of the letters: one line for each thing to do, with all its pieces."""
    by_action: dict[str, list[Item]] = {}
    for zone in held:
        if zone["letter"]:
            by_action.setdefault(zone["title"], []).append(zone)
    return [
        {
            **said(worst(zone["level"] for zone in group)),
            "action": action,
            "pieces": [
                {"letter": zone["letter"], "area": zone["small"], "words": zone["reason"]}
                for zone in group
            ],
        }
        for action, group in by_action.items()
    ]


def facts(payload: Payload) -> list[str]:
    """Crop, area, machine and day, as the head of the sheet says them."""
    field, units = payload["field"], payload["units"]
    machine = (payload.get("machine") or {}).get("name", "no machine named")
    day = payload["made"]["date"]
    area = shown(field["area_ha"], "ha", units)
    return [field["crop"] or "crop not given", area, machine, f"for {day}"]
