"""Does a leg or a node go through water."""

from __future__ import annotations

import numpy as np

from fieldmap.roads.facts import Places
from fieldmap.roads.verdict import (
    ASSUMED,
    MAPPED,
    PASS,
    UNKNOWN,
    Floats,
    Rule,
    Verdict,
    answered,
    first_that_holds,
)

#: Bridges that the water goes over when it is high.
_LOW_BRIDGES = frozenset(("low_water_crossing",))


def water_check(places: Places, *, passable: Floats) -> Verdict:
    """Where a leg or node goes through water the depth is unknown, unless somebody looked.

    Parameters
    ----------
    places : Places
    passable : ndarray
        Whether somebody found it passable: 1 yes, 0 no, NaN nobody looked.
    """
    wet = places.has("ford")
    floods = places.has("flood_prone", "tidal") | places.any_of("bridge", _LOW_BRIDGES)
    rules = [
        *answered(passable, "Somebody found it passable.", "Somebody found it not passable."),
        Rule(
            wet,
            UNKNOWN,
            MAPPED,
            "A ford; its depth and bed are unknown today.",
            tag=places.texts("ford"),
        ),
        Rule(
            floods,
            UNKNOWN,
            MAPPED,
            "It may stand under water today.",
            tag=places.texts("flood_prone", "tidal", "bridge"),
        ),
        Rule(~wet & ~floods, PASS, ASSUMED, "No ford is mapped."),
    ]
    return first_that_holds("water", "", rules, need=np.full(len(wet), np.nan))
