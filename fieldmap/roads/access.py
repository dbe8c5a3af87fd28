"""What access tags say of using a leg or a node with a farm machine."""

from __future__ import annotations

from typing import NamedTuple

from fieldmap.roads.conditional import clauses
from fieldmap.roads.facts import HERE, OnRoad, Tags, as_said, parts_of

#: From the general to the special; the last one that is tagged counts. What is said of lorries,
#: buses or cars alone says nothing of a farm machine.
HIERARCHY = ("access", "vehicle", "motor_vehicle", "agricultural")
_OPEN = frozenset(("yes", "permissive", "designated", "agricultural"))
#: Open to whoever is named in the key.
FREE = frozenset(("yes", "permissive", "designated"))
_SHUTS = frozenset(("no", "forestry"))
#: Classes of ways that are made for feet, hooves, bicycles or buses.
NOT_FOR_VEHICLES = frozenset(("footway", "path", "cycleway", "bridleway", "pedestrian", "busway"))
_CONDITIONAL = tuple(f"{key}{way}:conditional" for key in HIERARCHY for way in ("", HERE))
#: Every key that is read here.
READ = (*HIERARCHY, *(f"{key}{HERE}" for key in HIERARCHY), *_CONDITIONAL)
#: Codes of :class:`Access`.
NONE, OPENED, SHUT, ASK = 0, 1, 2, 3


class Access(NamedTuple):
    """What tags say of using a place.

    ``code`` is 0 nothing said, 1 open, 2 shut, 3 somebody has to be asked; ``tag`` what stands
    behind it; ``shuts`` and ``opens`` are signs with conditions that may hold, in their own words.
    """

    code: int
    tag: str = ""
    shuts: str = ""
    opens: str = ""


def access_of(tags: Tags, machine: OnRoad) -> Access:
    """Read the access tags of one road in the direction driven.

    The most special key counts; bound to the direction driven it beats itself without one.
    """
    key = _deciding(tags)
    if not key:
        return Access(NONE, "", *_by_hour(tags, machine))
    return Access(_code(tags, key), as_said(key, tags[key]), *_by_hour(tags, machine))


def _deciding(tags: Tags) -> str:
    names = (name for key in reversed(HIERARCHY) for name in (f"{key}{HERE}", key))
    return next((one for one in names if one in tags), "")


def _code(tags: Tags, key: str) -> int:
    who = parts_of(tags[key])
    if who <= _SHUTS:
        return SHUT
    if key.removesuffix(HERE) == "access" and tags.get("highway") in NOT_FOR_VEHICLES:
        return ASK
    return OPENED if who & _OPEN else ASK


def _by_hour(tags: Tags, machine: OnRoad) -> tuple[str, str]:
    """Conditional tags that may shut it for the machine, and that may open it."""
    shuts = opens = ""
    for name in _CONDITIONAL:
        if name not in tags:
            continue
        held = clauses(tags[name])
        told = as_said(name, tags[name])
        if held is None or any(one.may_bind(machine) for one in held if one.value not in FREE):
            shuts = shuts or told
        if held is None or any(not one.is_for_others() for one in held if one.value in FREE):
            opens = opens or told
    return shuts, opens


def said_of_access(tags: Tags) -> int:
    """0 nothing said, 1 open, 2 shut, 3 somebody has to be asked.

    Examples
    --------
    >>> said_of_access({}), said_of_access({"access": "no", "agricultural": "yes"})
    (0, 1)
    >>> said_of_access({"motor_vehicle": "forestry"}), said_of_access({"access": "private"})
    (2, 3)
    >>> said_of_access({"vehicle": "no", "vehicle:here": "yes"}), said_of_access({"hgv": "no"})
    (1, 0)
    """
    key = _deciding(tags)
    return _code(tags, key) if key else NONE
