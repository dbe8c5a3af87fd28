"""Does a leg carry the machine: posted limits first, bridges without one are unknown."""

from __future__ import annotations

import numpy as np

from fieldmap.roads.facts import OnRoad, Places
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
    figure,
    first_that_holds,
    too_small,
)
from fieldmap.tables import Tables

#: Classes whose bridges are rated by a road authority as a rule.
RATED = frozenset(
    kind + link
    for kind in ("motorway", "trunk", "primary", "secondary", "tertiary")
    for link in ("", "_link")
)
#: Limits that need figures a machine's description does not have.
_OTHER_LIMITS = ("maxbogieweight", "maxweightrating")


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
    axle = np.full(len(need), machine.axle_kg)
    posted = places.least(("maxweight",), mass_kg)
    axles = places.least(("maxaxleload",), mass_kg)
    usual = tables.number("clearances.statutory_mass_kg")
    in_law = (need <= usual) & ~(axle > tables.number("clearances.single_axle_kg"))
    rules = [
        Rule(np.isnan(need), UNKNOWN, ASSUMED, "The machine's mass is not known."),
        figure(measured_kg, need, MEASURED, "The limit was read on the spot."),
        too_small(posted.value, need, "A posted mass limit is too low."),
        too_small(axles.value, axle, "A posted axle load is too low for an axle."),
        Rule(posted.doubt | axles.doubt, UNKNOWN, MAPPED, "A mass limit cannot be read."),
        Rule(
            places.has(*_OTHER_LIMITS, but=("none", "default", "unsigned")),
            UNKNOWN,
            MAPPED,
            "A limit for axle groups or for rated mass is posted; the machine's is not known.",
        ),
        Rule(
            np.isfinite(axles.value) & np.isnan(axle),
            UNKNOWN,
            MAPPED,
            "An axle load is posted and the machine's axles are not known.",
            axles.value,
            axles.value,
        ),
        Rule(
            np.isfinite(posted.value),
            PASS,
            MAPPED,
            "The posted mass limit is kept.",
            posted.value,
            posted.value,
        ),
        *_unposted(places, in_law, usual),
    ]
    return first_that_holds("mass", "kg", rules, need=need)


def _unposted(places: Places, in_law: Mask, usual: float) -> list[Rule]:
    """What holds where no limit is mapped: bridges off the main roads are unknown."""
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
        Rule(bridge, UNKNOWN, ASSUMED, "A bridge without a posted mass limit on the map."),
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
