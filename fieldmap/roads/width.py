"""Is a leg wide enough, and does a sign let a machine of this width pass.

Two checks: what fits (an interval of width against the machine with its clearances), and what
a posted limit allows (against the machine itself). A measured width settles the first only.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldmap.roads.facts import WAYS, OnRoad, Places
from fieldmap.roads.limits import Words, limit_of, limit_rules, unposted, what_fits
from fieldmap.roads.tags import length_m
from fieldmap.roads.verdict import (
    ASSUMED,
    MAPPED,
    MEASURED,
    UNKNOWN,
    Floats,
    Mask,
    Rule,
    Verdict,
    figure,
    first_that_holds,
    held,
    too_small,
)
from fieldmap.tables import Constant, Tables

WIDTH_KEYS = ("width:carriageway", "width")
_PHYSICAL = tuple(f"maxwidth:physical{way}" for way in WAYS)
LIMIT = Words("width limit", "transport width")


def span(row: Constant) -> tuple[float, float]:
    """Low and high end of a table row; its value stands in for an end that is not given."""
    value = np.nan if row.value is None else row.value
    return (value if row.low is None else row.low, value if row.high is None else row.high)


def assumed_width(
    places: Places, kinds: NDArray[np.object_], one_way: Mask, *, tables: Tables
) -> tuple[Floats, Floats]:
    """Low and high width (m) by class, one-way share and lanes; NaN for a class without a row.

    A count of lanes is a least count, so it never narrows the high end. Two lanes and more
    raise the low end where they are marked; one lane lowers it.
    """
    known = {row.key.partition(".")[2]: span(row) for row in tables.rows("road_widths")}
    nothing = (np.nan, np.nan)
    ends = np.array([known.get(kind, nothing) for kind in kinds], dtype=float).reshape(-1, 2)
    share_low, share_high = known["oneway_share"]
    low = np.where(one_way, ends[:, 0] * share_low, ends[:, 0])
    high = np.where(one_way, ends[:, 1] * share_high, ends[:, 1])
    lanes = places.least(("lanes",), length_m).value
    lane_low, lane_high = known["lane"]
    marked = ~places.any_of("lane_markings", frozenset(("no",)))
    many = np.where(
        lanes >= 2, np.where(marked, np.fmax(lanes * lane_low, low), low), lanes * lane_low
    )
    counted = np.isfinite(lanes)
    return np.where(counted, many, low), np.where(counted, np.fmax(lanes * lane_high, high), high)


def width_check(
    places: Places,
    kinds: NDArray[np.object_],
    one_way: Mask,
    *,
    machine: OnRoad,
    measured_m: Floats,
    sign_m: Floats,
    tables: Tables,
) -> Verdict:
    """Hold each leg's width against the machine's with its clearance on both sides.

    Measured wins over all; then the least of the mapped widths and of what a tag says fits;
    then a mapper's estimate, which can refuse but never let through more than the class would;
    then lanes and class. A posted limit alone stands for what fits as well: the wiki asks for
    the lesser of both.

    Parameters
    ----------
    places : Places
    kinds : ndarray of str
        Road class of each leg.
    one_way : ndarray of bool
    machine : OnRoad
    measured_m : ndarray
        Measured widths, NaN where there is none.
    sign_m : ndarray
        Limits read off signs on the spot, NaN where nobody read one.
    tables : Tables
    """
    count = len(kinds)
    need = np.full(count, machine.width_m + 2.0 * tables.number("clearances.side_m"))
    posted = what_fits(places, "maxwidth", length_m, machine, read_off=sign_m)
    mapped = places.least((*WIDTH_KEYS, *_PHYSICAL), length_m)
    rules = [
        Rule(np.isnan(need), UNKNOWN, ASSUMED, "The machine's transport width is not known."),
        figure(measured_m, need, MEASURED, "The width was measured."),
        too_small(posted.value, need, "A width limit leaves too little room.", tag=posted.tag),
        too_small(mapped.value, need, "The mapped width is too small.", tag=mapped.tag),
        Rule(
            posted.doubt | mapped.doubt,
            UNKNOWN,
            MAPPED,
            "A width stands on the map but cannot be read.",
            tag=np.where(mapped.doubt, mapped.tag, posted.tag),
        ),
        figure(mapped.value, need, MAPPED, "The mapped width was taken.", tag=mapped.tag),
        *_unmapped(places, assumed_width(places, kinds, one_way, tables=tables), need),
    ]
    return first_that_holds("width", "m", rules, need=need)


def _unmapped(places: Places, of_class: tuple[Floats, Floats], need: Floats) -> list[Rule]:
    """What holds where no width is mapped: an estimate, or the range of class and lanes."""
    low, high = of_class
    # narrower than its class, nobody knows by how much
    low = np.where(places.has("narrow"), np.nan, low)
    guess = places.least(("est_width",), length_m)
    at_best = np.fmin(guess.value, np.where(np.isfinite(low), low, -np.inf))
    return [
        Rule(
            np.isfinite(guess.value),
            held(at_best, guess.value, need),
            ASSUMED,
            "The width is a mapper's estimate.",
            np.where(np.isfinite(at_best), at_best, np.nan),
            guess.value,
            guess.tag,
        ),
        Rule(guess.doubt, UNKNOWN, MAPPED, "An estimated width cannot be read.", tag=guess.tag),
        Rule(
            np.ones(len(need), dtype=bool),
            held(low, high, need),
            ASSUMED,
            "No width is mapped; the range is what roads of this class and lanes have.",
            low,
            high,
            places.texts("highway", "lanes", "narrow"),
        ),
    ]


def width_limit_check(places: Places, *, machine: OnRoad, measured_m: Floats) -> Verdict:
    """Hold posted width limits against the machine's transport width.

    Parameters
    ----------
    places : Places
        Directed legs or nodes.
    machine : OnRoad
    measured_m : ndarray
        Limits read off signs, NaN where nobody read one.
    """
    need = np.full(len(places.row), machine.width_m)
    limit = limit_of(places, "maxwidth", length_m, machine)
    rules = [*limit_rules(limit, need, measured_m, LIMIT), *unposted(limit, LIMIT)]
    return first_that_holds("width_limit", "m", rules, need=need)
