"""Gates, bollards, grids, bars and crossings: the nodes a machine has to pass."""

from __future__ import annotations

import numpy as np

from fieldmap.roads.access import said_of_access
from fieldmap.roads.facts import OnRoad, Places
from fieldmap.roads.tags import length_m, mass_kg
from fieldmap.roads.verdict import (
    ASSUMED,
    FAIL,
    MAPPED,
    MEASURED,
    PASS,
    UNKNOWN,
    Floats,
    Mask,
    Rule,
    Verdict,
    figure,
    first_that_holds,
    too_small,
)
from fieldmap.tables import Tables

#: Barriers with an opening to drive through.
OPENINGS = frozenset(
    (
        "gate",
        "lift_gate",
        "swing_gate",
        "sliding_gate",
        "chain",
        "bump_gate",
        "hampshire_gate",
        "entrance",
        "toll_booth",
        "border_control",
        "sally_port",
        "sliding_beam",
        "cattle_grid",
        "wire_fence",
    )
)
#: Barriers that are there to stop vehicles.
STOPS = frozenset(
    (
        "bollard",
        "block",
        "cycle_barrier",
        "motorcycle_barrier",
        "jersey_barrier",
        "debris",
        "log",
        "kissing_gate",
        "stile",
        "turnstile",
        "fence",
        "wall",
        "hedge",
        "ditch",
        "guard_rail",
        "full-height_turnstile",
        "horse_stile",
        "planter",
        "rope",
        "bus_trap",
        "sump_buster",
    )
)
_NARROWS = frozenset(("chicane", "choker", "island"))
_LIMITS = ("maxwidth", "maxwidth:physical")
_HEIGHTS = ("maxheight", "maxheight:physical")


def opening_check(
    places: Places, *, machine: OnRoad, measured_m: Floats, tables: Tables
) -> Verdict:
    """Hold the opening at each node against the machine and the room a gate asks for.

    The ``width`` tag of a barrier that stops vehicles is the barrier's own, so only a limit
    or a measured opening lets a machine past it.
    """
    need = np.full(len(places.row), machine.width_m + tables.number("clearances.gate_width_m"))
    stops = places.any_of("barrier", STOPS)
    limit = places.least(_LIMITS, length_m)
    wide = places.least((*_LIMITS, "width"), length_m)
    clear = np.where(stops, limit.value, wide.value)
    doubt = np.where(stops, limit.doubt, wide.doubt)
    there = places.has("barrier") | places.any_of("traffic_calming", _NARROWS)
    overhead = places.any_of("barrier", frozenset(("height_restrictor",)))
    rules = [
        figure(measured_m, need, MEASURED, "The opening was measured."),
        too_small(clear, need, "The mapped opening is too narrow."),
        Rule(doubt, UNKNOWN, MAPPED, "An opening stands on the map but cannot be read."),
        figure(clear, need, MAPPED, "The mapped opening is wide enough."),
        Rule(stops, FAIL, MAPPED, "A barrier that is there to stop vehicles."),
        Rule(places.any_of("barrier", OPENINGS), UNKNOWN, ASSUMED, "The opening is not mapped."),
        Rule(there & ~overhead, UNKNOWN, ASSUMED, "Something narrows the road here."),
        Rule(~there | overhead, PASS, ASSUMED, "Nothing is mapped that narrows it."),
    ]
    return first_that_holds("opening", "m", rules, need=need)


def node_height_check(
    places: Places, *, machine: OnRoad, measured_m: Floats, tables: Tables
) -> Verdict:
    """Hold bars and height limits at nodes against the machine with a gate's margin."""
    need = np.full(len(places.row), machine.height_m + tables.number("clearances.gate_height_m"))
    posted = places.least(_HEIGHTS, length_m)
    bar = places.any_of("barrier", frozenset(("height_restrictor",)))
    rules = [
        figure(measured_m, need, MEASURED, "The clear height was measured."),
        too_small(posted.value, need, "The posted height is too low."),
        Rule(posted.doubt, UNKNOWN, MAPPED, "A height limit cannot be read."),
        figure(posted.value, need, MAPPED, "The posted height leaves the margin."),
        Rule(bar, UNKNOWN, ASSUMED, "A bar across the road and no height is mapped."),
        Rule(~bar, PASS, ASSUMED, "No bar is mapped."),
    ]
    return first_that_holds("height", "m", rules, need=need)


def node_mass_check(places: Places, *, machine: OnRoad, measured_kg: Floats) -> Verdict:
    """Hold mass limits at nodes against the machine; a cattle grid's load is unknown."""
    need = np.full(len(places.row), machine.mass_kg)
    posted = places.least(("maxweight",), mass_kg)
    grid = places.any_of("barrier", frozenset(("cattle_grid",)))
    rules = [
        figure(measured_kg, need, MEASURED, "The limit was read on the spot."),
        too_small(posted.value, need, "A posted mass limit is too low."),
        Rule(posted.doubt, UNKNOWN, MAPPED, "A mass limit cannot be read."),
        figure(posted.value, need, MAPPED, "The posted mass limit is kept."),
        Rule(grid, UNKNOWN, ASSUMED, "A cattle grid; what it carries is not mapped."),
        Rule(~grid, PASS, ASSUMED, "Nothing is mapped that limits the mass."),
    ]
    return first_that_holds("mass", "kg", rules, need=need)


def node_access_check(places: Places) -> Verdict:
    """Hold access tags and locks at nodes."""
    said = np.array([said_of_access(one) for one in places.tags], dtype=np.int8)[places.row]
    rules = [
        Rule(said == 2, FAIL, MAPPED, "The map says that farm machines may not pass."),
        Rule(
            (said == 3) | places.has("locked"),
            UNKNOWN,
            MAPPED,
            "Somebody's leave or a key is needed.",
        ),
        Rule(said <= 1, PASS, ASSUMED, "Nothing is mapped against passing."),
    ]
    return first_that_holds("access", "", rules, need=np.full(len(said), np.nan))


def node_water_check(places: Places) -> Verdict:
    """Where a node is a ford the depth is unknown."""
    wet = places.has("ford")
    rules = [
        Rule(wet, UNKNOWN, MAPPED, "A ford; its depth and bed are unknown today."),
        Rule(~wet, PASS, ASSUMED, "No ford is mapped."),
    ]
    return first_that_holds("water", "", rules, need=np.full(len(wet), np.nan))


def level_crossings(places: Places) -> Mask:
    """Where rails cross: passable, but long or low trains may ground there."""
    return places.any_of("railway", frozenset(("level_crossing",)))
