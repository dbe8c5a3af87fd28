"""May a farm machine use a leg or pass a node, as far as tags say or somebody was told."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldmap.roads.access import (
    ASK,
    FREE,
    HIERARCHY,
    NONE,
    NOT_FOR_VEHICLES,
    OPENED,
    READ,
    SHUT,
    access_of,
)
from fieldmap.roads.facts import WAYS, OnRoad, Places, Texts
from fieldmap.roads.verdict import (
    ASSUMED,
    FAIL,
    MAPPED,
    PASS,
    UNKNOWN,
    Codes,
    Floats,
    Rule,
    Verdict,
    answered,
    first_that_holds,
)

#: Keys that say something of farm machines or what they draw, though not whether it is this one.
_NEAR = ("trailer", "tractor", "agricultural_vehicles")
_BARRED_CLASSES = frozenset(("motorway", "motorway_link"))
_SOMEBODYS = frozenset(
    ("driveway", "parking_aisle", "drive-through", "private", "emergency_access")
)
#: Keys of roads that not every machine or not every day finds open.
_NOT_EVERYBODY = ("minspeed", "ferry", "toll", "seasonal", "ice_road", "winter_road")
_ONE_WAY_ONLY = tuple(f"{key}{way}" for key in HIERARCHY for way in WAYS[2:])
_LEAVE = ("Leave to pass was given.", "Leave to pass was refused.")


@dataclass(frozen=True, eq=False)
class _Held:
    """:class:`Access` of many places, one entry a place."""

    code: Codes
    tag: Texts
    shuts: Texts
    opens: Texts


def _held(places: Places, machine: OnRoad) -> _Held:
    found = {row: access_of(places.tags[row], machine) for row in places.rows_with(*READ)}
    return _Held(
        places.spread({row: one.code for row, one in found.items()}, NONE, np.int8),
        places.spread({row: one.tag for row, one in found.items()}, "", object),
        places.spread({row: one.shuts for row, one in found.items()}, "", object),
        places.spread({row: one.opens for row, one in found.items()}, "", object),
    )


def access_check(places: Places, *, machine: OnRoad, leave: Floats) -> Verdict:
    """Hold the access tags of each leg; what stands on a sign by the hour is unknown.

    Parameters
    ----------
    places : Places
    machine : OnRoad
        For conditions that name a size.
    leave : ndarray
        Whether leave was given to pass: 1 yes, 0 no, NaN nobody asked.
    """
    held = _held(places, machine)
    motorway = places.any_of("highway", _BARRED_CLASSES)
    rules = [
        Rule(
            motorway | places.has("motorroad"),
            FAIL,
            MAPPED,
            "Motorways and motor roads are barred to slow machines.",
            tag=np.where(motorway, places.texts("highway"), places.texts("motorroad")),
        ),
        *answered(leave, *_LEAVE),
        *_said(held),
        Rule(
            places.has(*_NEAR, but=FREE),
            UNKNOWN,
            MAPPED,
            "A sign speaks of tractors or trailers; whether it means this machine is open.",
            tag=places.texts(*_NEAR),
        ),
        Rule(
            places.has(*_NOT_EVERYBODY) | places.any_of("route", frozenset(("ferry",))),
            UNKNOWN,
            MAPPED,
            "Not every machine may use it, or not on every day.",
            tag=places.texts(*_NOT_EVERYBODY, "route"),
        ),
        Rule(
            held.code == OPENED,
            PASS,
            MAPPED,
            "The map says that farm machines may use it.",
            tag=held.tag,
        ),
        *_unsaid(places),
    ]
    return first_that_holds("access", "", rules, need=np.full(len(places.row), np.nan))


def _said(held: _Held) -> list[Rule]:
    """What access tags and signs with conditions say against passing."""
    may_open = (held.opens != "") & ((held.code == SHUT) | (held.code == NONE))
    return [
        Rule(may_open, UNKNOWN, MAPPED, "A sign opens it under conditions only.", tag=held.opens),
        Rule(
            held.code == SHUT,
            FAIL,
            MAPPED,
            "The map says that farm machines may not use it.",
            tag=held.tag,
        ),
        Rule(
            held.code == ASK,
            UNKNOWN,
            MAPPED,
            "Somebody's leave is needed or the sign is not clear.",
            tag=held.tag,
        ),
        Rule(
            held.shuts != "",
            UNKNOWN,
            MAPPED,
            "It is open under conditions that a sign gives.",
            tag=held.shuts,
        ),
    ]


def _unsaid(places: Places) -> list[Rule]:
    """What the kind of road says where no access tag does."""
    return [
        Rule(
            places.any_of("service", _SOMEBODYS),
            UNKNOWN,
            ASSUMED,
            "A drive or aisle, most likely private; nothing says that it may be used.",
            tag=places.texts("service"),
        ),
        Rule(
            places.any_of("highway", NOT_FOR_VEHICLES),
            UNKNOWN,
            ASSUMED,
            "A path that is not made for vehicles.",
            tag=places.texts("highway"),
        ),
        Rule(
            np.ones(len(places.row), dtype=bool),
            PASS,
            ASSUMED,
            "Nothing is mapped against using it.",
        ),
    ]


def node_access_check(places: Places, *, machine: OnRoad, leave: Floats) -> Verdict:
    """Hold access tags, locks and tolls at nodes."""
    held = _held(places, machine)
    rules = [
        *answered(leave, *_LEAVE),
        *_said(held),
        Rule(
            places.has("locked", "toll") | places.any_of("barrier", frozenset(("toll_booth",))),
            UNKNOWN,
            MAPPED,
            "A key or a toll may be asked for.",
            tag=places.texts("locked", "toll", "barrier"),
        ),
        Rule(
            places.has(*_ONE_WAY_ONLY, but=FREE),
            UNKNOWN,
            MAPPED,
            "It may be shut from one side.",
            tag=places.texts(*_ONE_WAY_ONLY),
        ),
        Rule(
            np.ones(len(places.row), dtype=bool),
            PASS,
            ASSUMED,
            "Nothing is mapped against passing.",
        ),
    ]
    return first_that_holds("access", "", rules, need=np.full(len(places.row), np.nan))
