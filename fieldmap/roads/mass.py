"""Does a leg carry the machine: posted limits first, bridges without one are unknown."""

from __future__ import annotations

import numpy as np

from fieldmap.roads.facts import OnRoad, Places
from fieldmap.roads.limits import Words, limit_of, limit_rules, unposted
from fieldmap.roads.tags import mass_kg
from fieldmap.roads.verdict import (
    ASSUMED,
    MAPPED,
    MEASURED,
    PASS,
    UNKNOWN,
    Floats,
    Mask,
    Rule,
    Verdict,
    first_that_holds,
    worse_of,
)
from fieldmap.tables import Tables

#: Classes whose bridges are rated by a road authority as a rule.
RATED = frozenset(
    kind + link
    for kind in ("motorway", "trunk", "primary", "secondary", "tertiary")
    for link in ("", "_link")
)
LIMIT = Words("mass limit", "mass")
_TRAIN = Words("mass limit for whole trains", "mass")
#: Limits by what a vehicle is rated for, which a machine's description does not have.
_RATED_MASS = ("maxweightrating", "maxgcweightrating")


def mass_check(places: Places, *, machine: OnRoad, measured_kg: Floats, tables: Tables) -> Verdict:
    """Hold the mass of the whole train against each leg.

    Parameters
    ----------
    places : Places
    machine : OnRoad
    measured_kg : ndarray
        What somebody read off a sign or was told by the road office, NaN where nothing.
    tables : Tables
    """
    need = np.full(len(places.row), machine.mass_kg)
    limit = limit_of(places, "maxweight", mass_kg, machine)
    rules = [
        Rule(np.isnan(need), UNKNOWN, ASSUMED, "The machine's mass is not known."),
        *limit_rules(limit, need, measured_kg, LIMIT),
        *_unposted(places, need, tables.number("clearances.statutory_mass_kg")),
    ]
    found = first_that_holds("mass", "kg", rules, need=need)
    return worse_of(found, other_mass_limits(places, machine=machine, measured_kg=measured_kg))


def other_mass_limits(places: Places, *, machine: OnRoad, measured_kg: Floats) -> Verdict:
    """Posted limits for whole trains, and for what a vehicle is rated for.

    The rated mass of a machine is not known; so such a limit is unknown, unless somebody read
    the sign or asked.
    """
    need = np.full(len(places.row), machine.mass_kg)
    seen = Rule(np.isfinite(measured_kg), PASS, MEASURED, "The limit was read on the spot.")
    nobody = np.full(len(need), np.nan)
    train = limit_of(places, "maxgcweight", mass_kg, machine)
    found = first_that_holds(
        "mass",
        "kg",
        [seen, *limit_rules(train, need, nobody, _TRAIN), *unposted(train, _TRAIN)],
        need=need,
    )
    for key in _RATED_MASS:
        rated = limit_of(places, key, mass_kg, machine)
        there = rated.is_there() | rated.doubt
        rules = [
            seen,
            Rule(
                there,
                UNKNOWN,
                MAPPED,
                "A limit for what a vehicle is rated for; the machine's is not known.",
                tag=np.where(
                    rated.doubt,
                    rated.doubt_tag,
                    np.where(rated.tag != "", rated.tag, rated.maybe_tag),
                ),
            ),
            Rule(~there, PASS, ASSUMED, "No limit for rated mass is mapped."),
        ]
        found = worse_of(found, first_that_holds("mass", "kg", rules, need=need))
    return found


def mass_is_kept(places: Places, *, machine: OnRoad, measured_kg: Floats) -> Mask:
    """Where a limit on the whole mass is posted, or was read on the spot, and is surely kept."""
    need = np.full(len(places.row), machine.mass_kg)
    posted = limit_of(places, "maxweight", mass_kg, machine).kept(need)
    return np.where(np.isfinite(measured_kg), need <= measured_kg, posted)


def _unposted(places: Places, need: Floats, usual: float) -> list[Rule]:
    """What holds where no limit is mapped: bridges off the main roads are unknown."""
    in_law = need <= usual
    bridge = places.has("bridge")
    return [
        Rule(
            bridge & in_law & places.any_of("highway", RATED),
            PASS,
            ASSUMED,
            "No limit is mapped on this bridge of a main road; the statutory mass was taken.",
            usual,
            usual,
        ),
        Rule(
            bridge,
            UNKNOWN,
            ASSUMED,
            "A bridge without a posted mass limit on the map.",
            tag=places.texts("bridge"),
        ),
        Rule(
            in_law,
            PASS,
            ASSUMED,
            "No mass limit is mapped and the machine keeps the statutory mass.",
            usual,
            usual,
        ),
        Rule(~in_law, UNKNOWN, ASSUMED, "The machine is over the statutory mass.", usual, usual),
    ]
