"""Ground still to be looked at, cut out of cells; spacing and passes for a chance."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.hazards.chance import coverage_for
from fieldmap.hazards.looked import Cells
from fieldmap.hazards.search_plan import Left, by_looking, ground_left, lay, spacing_for

FIELD = shapely.box(0, 0, 100, 60)
X, Y = (held.ravel() for held in np.meshgrid(np.arange(0.5, 100), np.arange(0.5, 60)))
CELLS = Cells(X, Y, 1.0, 1.0, np.zeros(len(X), np.int16))


def left(done: np.ndarray, *, walkable: shapely.Geometry = FIELD) -> Left:
    return ground_left(FIELD, walkable, CELLS, done, spacing_m=4, sliver_m2=100)


def test_ninety_percent_by_the_cautious_formula() -> None:
    """Referee: coverage 2.3026 for 90 percent (trade facts 9.1): a 6 m sweep in 2.606 m lines."""
    assert spacing_for(coverage_for(0.9), 6.0) == (pytest.approx(6 / 2.302585, abs=1e-5), 1)


@given(chance=st.floats(0.001, 0.999), sweep_m=st.floats(0.5, 60))
def test_lines_are_from_a_third_of_the_sweep_width_up_to_all_of_it(
    chance: float, sweep_m: float
) -> None:
    """Property: and all passes together give the coverage that the chance asks for."""
    spacing_m, passes = spacing_for(coverage_for(chance), sweep_m)
    assert sweep_m / 3 - 1e-9 <= spacing_m <= sweep_m
    assert passes * sweep_m / spacing_m >= coverage_for(chance) - 1e-9


def test_nothing_done_leaves_the_field_itself() -> None:
    """By hand: the outline, not the stairs of its cells; and less what may not be walked on."""
    assert left(np.zeros(len(X), bool)).ground.equals(FIELD)
    west = left(np.zeros(len(X), bool), walkable=shapely.box(0, 0, 30, 60))
    assert (west.ground.area, west.kept_off_m2, west.slivers_m2) == (1800, 4200, 0)


def test_all_done_leaves_nothing() -> None:
    """By hand: no ground, no sliver."""
    found = left(np.ones(len(X), bool))
    assert found.ground.is_empty
    assert (found.slivers_m2, found.kept_off_m2) == (0, 0)


def test_a_strip_that_was_missed_is_left_and_a_hair_is_a_sliver() -> None:
    """By hand: 10 m of 100 not looked at: 600 m2 are left; a row of single cells is a sliver."""
    found = left(X < 90)
    assert found.ground.area == pytest.approx(600, rel=0.02)
    thin = left((Y < 20) | (Y > 21))
    assert thin.ground.is_empty
    assert thin.slivers_m2 == pytest.approx(100)


@given(
    done=st.lists(st.tuples(st.integers(0, 99), st.integers(0, 59), st.integers(1, 40)), max_size=5)
)
def test_every_bit_of_ground_is_counted(done: list[tuple[int, int, int]]) -> None:
    """Property: left, slivers and kept off add up to no less than the cells not done; what is
    left may be walked on."""
    seen = np.zeros(len(X), bool)
    for x, y, half in done:
        seen |= (np.abs(X - x) < half) & (np.abs(Y - y) < half)
    walkable = shapely.difference(FIELD, shapely.Point(30, 30).buffer(12))
    found = left(seen, walkable=walkable)
    told = found.ground.area + found.slivers_m2 + found.kept_off_m2
    assert told >= (~seen).sum() - 0.01
    assert shapely.difference(found.ground, shapely.buffer(walkable, 1e-6)).area < 1e-6


def test_ground_walked_and_not_walked_part_company() -> None:
    """By hand: the west was walked some: 6 m beyond it nobody came near. Together all of it."""
    chance = np.where(X < 40, 0.5, 0.0)
    fresh, walked = by_looking(FIELD, CELLS, chance, sweep_m=6, sliver_m2=100)
    assert walked.bounds == pytest.approx((0, 0, 46, 60), abs=0.4)
    assert fresh.area + walked.area == pytest.approx(6000)
    assert shapely.intersection(fresh, walked).area == pytest.approx(0)
    assert by_looking(FIELD, CELLS, 0 * chance, sweep_m=6, sliver_m2=100) == [FIELD]


@given(now=st.floats(0, 0.89), wish=st.floats(0.9, 0.999), sweep_m=st.floats(1.5, 30))
def test_the_wish_is_met_from_whatever_was_seen(now: float, wish: float, sweep_m: float) -> None:
    """Property: by the curve to the sides of a walk, edges and all; more seen, no more lines."""
    places = np.column_stack([X, Y])
    asked = {"wish": wish, "sweep_m": sweep_m, "line_chance": 0.9}
    laid = lay(FIELD, places, np.full(len(X), now), **asked)
    assert laid.chance_after >= wish
    assert laid.chance_now == pytest.approx(now)
    fresh = lay(FIELD, places, np.zeros(len(X)), **asked)
    total, most = (float(shapely.length(one.lines).sum()) for one in (laid, fresh))
    assert total <= most * 1.1 + 100
    assert not math.isnan(laid.bearing_deg)
