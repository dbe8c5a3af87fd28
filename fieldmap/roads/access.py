"""May a farm machine use the leg, as far as tags say; and does it ford water."""

from __future__ import annotations

import numpy as np

from fieldmap.roads.facts import Places, Tags
from fieldmap.roads.verdict import (
    ASSUMED,
    FAIL,
    MAPPED,
    PASS,
    UNKNOWN,
    Rule,
    Verdict,
    first_that_holds,
)

#: From the general to the special; the last one that is tagged counts.
HIERARCHY = ("access", "vehicle", "motor_vehicle", "agricultural")
_OPEN = frozenset(("yes", "permissive", "designated", "agricultural"))
_BARRED_CLASSES = frozenset(("motorway", "motorway_link"))
_NOT_FOR_VEHICLES = frozenset(("footway", "path", "cycleway", "bridleway", "pedestrian", "busway"))
_SOMEBODYS = frozenset(
    ("driveway", "parking_aisle", "drive-through", "private", "emergency_access")
)
_NONE, _OPENED, _SHUT, _ASK = 0, 1, 2, 3


def said_of_access(tags: Tags) -> int:
    """0 nothing said, 1 open, 2 shut, 3 somebody has to be asked.

    Examples
    --------
    >>> said_of_access({}), said_of_access({"access": "no", "agricultural": "yes"})
    (0, 1)
    >>> said_of_access({"motor_vehicle": "forestry"}), said_of_access({"access": "private"})
    (2, 3)
    """
    key = next((one for one in reversed(HIERARCHY) if one in tags), None)
    if key is None:
        return _NONE
    who = {one.strip() for one in tags[key].split(";")}
    if who <= {"no", "forestry"}:
        return _SHUT
    if key == "access" and tags.get("highway") in _NOT_FOR_VEHICLES:
        return _ASK
    return _OPENED if who & _OPEN else _ASK


def access_check(places: Places) -> Verdict:
    """Hold the access tags of each leg; what stands on a sign by the hour is unknown."""
    said = np.array([said_of_access(one) for one in places.tags], dtype=np.int8)[places.row]
    nothing = np.full(len(said), np.nan)
    by_hour = places.has(*(f"{key}:conditional" for key in HIERARCHY), "minspeed")
    rules = [
        Rule(
            places.any_of("highway", _BARRED_CLASSES) | places.has("motorroad"),
            FAIL,
            MAPPED,
            "Motorways and motor roads are barred to slow machines.",
        ),
        Rule(said == _SHUT, FAIL, MAPPED, "The map says that farm machines may not use it."),
        Rule(said == _ASK, UNKNOWN, MAPPED, "Somebody's leave is needed or the sign is not clear."),
        Rule(by_hour, UNKNOWN, MAPPED, "It is open under conditions that a sign gives."),
        Rule(said == _OPENED, PASS, MAPPED, "The map says that farm machines may use it."),
        Rule(
            places.any_of("service", _SOMEBODYS),
            UNKNOWN,
            ASSUMED,
            "A drive or aisle, most likely private; nothing says that it may be used.",
        ),
        Rule(
            places.any_of("highway", _NOT_FOR_VEHICLES),
            UNKNOWN,
            ASSUMED,
            "A path that is not made for vehicles.",
        ),
        Rule(said == _NONE, PASS, ASSUMED, "Nothing is mapped against using it."),
    ]
    return first_that_holds("access", "", rules, need=nothing)


def water_check(places: Places) -> Verdict:
    """Where a leg goes through water the depth is unknown."""
    wet = places.has("ford")
    rules = [
        Rule(wet, UNKNOWN, MAPPED, "A ford; its depth and bed are unknown today."),
        Rule(~wet, PASS, ASSUMED, "No ford is mapped."),
    ]
    return first_that_holds("water", "", rules, need=np.full(len(wet), np.nan))
