"""Is a leg wide enough: an interval of width against what the machine needs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldmap.roads.facts import OnRoad, Places
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
LIMIT_KEYS = ("maxwidth", "maxwidth:physical")


def span(row: Constant) -> tuple[float, float]:
    """Low and high end of a table row; its value stands in for an end that is not given."""
    value = np.nan if row.value is None else row.value
    return (value if row.low is None else row.low, value if row.high is None else row.high)


def assumed_width(
    places: Places, kinds: NDArray[np.object_], one_way: Mask, *, tables: Tables
) -> tuple[Floats, Floats]:
    """Low and high width (m) by class, one-way share and lanes; NaN for a class without a row.

    A count of lanes is a least count, so it never narrows the high end. Two lanes and more
    raise the low end; one lane lowers it.
    """
    known = {row.key.partition(".")[2]: span(row) for row in tables.rows("road_widths")}
    nothing = (np.nan, np.nan)
    ends = np.array([known.get(kind, nothing) for kind in kinds], dtype=float).reshape(-1, 2)
    share_low, share_high = known["oneway_share"]
    low = np.where(one_way, ends[:, 0] * share_low, ends[:, 0])
    high = np.where(one_way, ends[:, 1] * share_high, ends[:, 1])
    lanes = places.least(("lanes",), length_m).value
    lane_low, lane_high = known["lane"]
    many = np.where(lanes >= 2, np.fmax(lanes * lane_low, low), lanes * lane_low)
    counted = np.isfinite(lanes)
    return np.where(counted, many, low), np.where(counted, np.fmax(lanes * lane_high, high), high)


def width_check(
    places: Places,
    kinds: NDArray[np.object_],
    one_way: Mask,
    *,
    machine: OnRoad,
    measured_m: Floats,
    tables: Tables,
) -> Verdict:
    """Hold each leg's width against the machine's with its clearance on both sides.

    Measured wins over all; then the mapped width; then a mapper's estimate, which can refuse
    but never let through more than the class would; then lanes and class. Posted limits
    stand on top of all but a measurement.

    Parameters
    ----------
    places : Places
    kinds : ndarray of str
        Road class of each leg.
    one_way : ndarray of bool
    machine : OnRoad
    measured_m : ndarray
        Measured widths, NaN where there is none.
    tables : Tables
    """
    count = len(kinds)
    need = np.full(count, machine.width_m + 2.0 * tables.number("clearances.side_m"))
    posted = places.least(LIMIT_KEYS, length_m)
    mapped = places.least(WIDTH_KEYS, length_m)
    guess = places.least(("est_width",), length_m)
    low, high = assumed_width(places, kinds, one_way, tables=tables)
    at_best = np.fmin(guess.value, np.where(np.isfinite(low), low, -np.inf))
    everywhere = np.ones(count, dtype=bool)
    rules = [
        Rule(np.isnan(need), UNKNOWN, ASSUMED, "The machine's transport width is not known."),
        figure(measured_m, need, MEASURED, "The width was measured."),
        too_small(posted.value, need, "A posted or physical width limit leaves too little room."),
        too_small(mapped.value, need, "The mapped width is too small."),
        Rule(
            posted.doubt | mapped.doubt,
            UNKNOWN,
            MAPPED,
            "A width stands on the map but cannot be read.",
        ),
        figure(mapped.value, need, MAPPED, "The mapped width was taken."),
        Rule(
            np.isfinite(guess.value),
            held(at_best, guess.value, need),
            ASSUMED,
            "The width is a mapper's estimate.",
            np.where(np.isfinite(at_best), at_best, np.nan),
            guess.value,
        ),
        Rule(guess.doubt, UNKNOWN, MAPPED, "An estimated width cannot be read."),
        Rule(
            everywhere,
            held(low, high, need),
            ASSUMED,
            "No width is mapped; the range is what roads of this class and lanes have.",
            low,
            high,
        ),
    ]
    return first_that_holds("width", "m", rules, need=need)
