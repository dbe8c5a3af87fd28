"""Gates, bollards, grids, bars, humps and crossings: the nodes a machine has to pass."""

from __future__ import annotations

import numpy as np

from fieldmap.roads.facts import OnRoad, Places
from fieldmap.roads.limits import limit_of, limit_rules, what_fits
from fieldmap.roads.mass import LIMIT, other_mass_limits
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
    worse_of,
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
_GRIDS = frozenset(("cattle_grid",))
_NARROWS = frozenset(("chicane", "choker", "island"))
_BARS = frozenset(("height_restrictor",))
_BESIDE = frozenset(("passing_place", "turning_circle", "turning_loop", "turning_point"))
_OPEN_ABOVE = frozenset(("no", "arcade"))
_HUMPS = frozenset(("hump", "bump", "table", "cushion", "dip", "rumble_strip", "mini_bumps"))


def opening_check(
    places: Places, *, machine: OnRoad, measured_m: Floats, sign_m: Floats, tables: Tables
) -> Verdict:
    """Hold the opening at each node against the machine and the room a gate asks for.

    The ``width`` tag of a barrier that stops vehicles is the barrier's own, so only a limit
    or a measured opening lets a machine past it.

    Parameters
    ----------
    places : Places
    machine : OnRoad
    measured_m : ndarray
        Measured openings, NaN where there is none.
    sign_m : ndarray
        Width limits read off signs, NaN where nobody read one.
    tables : Tables
    """
    need = np.full(len(places.row), machine.width_m + tables.number("clearances.gate_width_m"))
    stops = places.any_of("barrier", STOPS)
    fits = what_fits(places, "maxwidth", length_m, machine, read_off=sign_m)
    own = places.least(("width",), length_m)
    guess = places.least(("est_width",), length_m)
    # a place to pull in or turn has a width of its own, which is not the road's
    aside = stops | places.any_of("highway", _BESIDE)
    by_own = ~aside & (own.doubt | (np.isfinite(own.value) & ~(own.value >= fits.value)))
    clear = np.where(aside, fits.value, np.fmin(fits.value, own.value))
    doubt = fits.doubt | (own.doubt & ~aside)
    tag = np.where(by_own, own.tag, fits.tag)
    there = places.has("barrier") | places.any_of("traffic_calming", _NARROWS)
    overhead = places.any_of("barrier", _BARS)
    named = places.texts("barrier", "traffic_calming")
    rules = [
        Rule(
            there & ~overhead & np.isnan(need),
            UNKNOWN,
            ASSUMED,
            "The machine's transport width is not known.",
        ),
        figure(measured_m, need, MEASURED, "The opening was measured."),
        too_small(clear, need, "The mapped opening is too narrow.", tag=tag),
        Rule(doubt, UNKNOWN, MAPPED, "An opening stands on the map but cannot be read.", tag=tag),
        figure(clear, need, MAPPED, "The mapped opening is wide enough.", tag=tag),
        Rule(stops, FAIL, MAPPED, "A barrier that is there to stop vehicles.", tag=named),
        Rule(
            ~aside & (guess.value < need),
            FAIL,
            ASSUMED,
            "The opening is too narrow by a mapper's estimate.",
            guess.value,
            guess.value,
            guess.tag,
        ),
        Rule(
            places.any_of("barrier", OPENINGS),
            UNKNOWN,
            ASSUMED,
            "The opening is not mapped.",
            tag=named,
        ),
        Rule(there & ~overhead, UNKNOWN, ASSUMED, "Something narrows the road here.", tag=named),
        Rule(~there | overhead, PASS, ASSUMED, "Nothing is mapped that narrows it."),
    ]
    return first_that_holds("opening", "m", rules, need=need)


def node_height_check(
    places: Places, *, machine: OnRoad, measured_m: Floats, sign_m: Floats, tables: Tables
) -> Verdict:
    """Hold bars and what fits under them against the machine with a gate's margin."""
    need = np.full(len(places.row), machine.height_m + tables.number("clearances.gate_height_m"))
    fits = what_fits(places, "maxheight", length_m, machine, read_off=sign_m)
    bar = places.any_of("barrier", _BARS) | places.has("covered", but=_OPEN_ABOVE)
    rules = [
        figure(measured_m, need, MEASURED, "The clear height was measured."),
        too_small(fits.value, need, "The mapped height leaves no margin.", tag=fits.tag),
        Rule(fits.doubt, UNKNOWN, MAPPED, "A height limit cannot be read.", tag=fits.tag),
        figure(fits.value, need, MAPPED, "The mapped height leaves the margin.", tag=fits.tag),
        Rule(
            bar,
            UNKNOWN,
            ASSUMED,
            "A bar or a roof over the road and no height is mapped.",
            tag=places.texts("barrier", "covered"),
        ),
        Rule(~bar, PASS, ASSUMED, "No bar is mapped."),
    ]
    return first_that_holds("height", "m", rules, need=need)


def node_mass_check(places: Places, *, machine: OnRoad, measured_kg: Floats) -> Verdict:
    """Hold mass limits at nodes against the machine; a cattle grid's load is unknown."""
    need = np.full(len(places.row), machine.mass_kg)
    limit = limit_of(places, "maxweight", mass_kg, machine)
    grid = places.any_of("barrier", _GRIDS)
    rules = [
        *limit_rules(limit, need, measured_kg, LIMIT),
        Rule(
            grid,
            UNKNOWN,
            ASSUMED,
            "A cattle grid; what it carries is not mapped.",
            tag=places.texts("barrier"),
        ),
        Rule(~grid, PASS, ASSUMED, "Nothing is mapped that limits the mass."),
    ]
    found = first_that_holds("mass", "kg", rules, need=need)
    return worse_of(found, other_mass_limits(places, machine=machine, measured_kg=measured_kg))


def humps(places: Places) -> Mask:
    """Where a hump or a table is built across the road: passable, but low parts may ground."""
    return places.any_of("traffic_calming", _HUMPS)


def level_crossings(places: Places) -> Mask:
    """Where rails cross: passable, but long or low trains may ground there."""
    return places.any_of("railway", frozenset(("level_crossing", "tram_level_crossing")))
