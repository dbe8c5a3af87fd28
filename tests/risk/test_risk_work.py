"""Runs, laps and headland of a field, from a machine of which not all is known."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from small_ground import TABLES, box, mower

from fieldmap.risk.work import MOST_HEADINGS, field_speeds, usual_turn_kmh, work_over

FIELD = box(0, 0, 100, 60)


def test_laps_and_headland_by_hand() -> None:
    """By hand: 4 m wide, 2 m radius: a half circle takes 4 m, two laps are driven in any case."""
    work = work_over(FIELD, mower(turning_radius_m=2.0), tables=TABLES)
    assert work.laps == 2
    assert work.headland.area == pytest.approx(100 * 60 - 84 * 44)
    assert work.lap_m == pytest.approx(2 * (96 + 56) + 2 * (88 + 48))
    assert work.inner.area == pytest.approx(84 * 44)
    assert work.runs[9 * 2] == 11  # east and west: 44 m in strips of 4 m
    assert work.turns[9 * 2] == 10


def test_headland_round_a_hole_by_hand() -> None:
    """By hand: laps go round the pond too, rounded at its corners."""
    pond = box(40, 20, 60, 40)
    work = work_over(shapely.difference(FIELD, pond), mower(turning_radius_m=2.0), tables=TABLES)
    ring = 100 * 60 - 84 * 44
    assert work.headland.area == pytest.approx(ring + 4 * 20 * 8 + math.pi * 8**2, rel=2e-3)


def test_what_is_too_narrow_for_its_lap_is_headland_by_hand() -> None:
    """By hand: a strip of 3 m under 4 m of mower, by itself and as a neck between two blocks."""
    strip = work_over(box(0, 0, 100, 3), mower(turning_radius_m=2.0), tables=TABLES)
    assert strip.headland.area == pytest.approx(300)
    assert strip.inner.area == pytest.approx(300)
    neck = shapely.union(shapely.union(box(0, 0, 60, 60), box(60, 28, 90, 31)), box(90, 0, 150, 60))
    work = work_over(neck, mower(turning_radius_m=2.0), tables=TABLES)
    middle = box(65, 28, 85, 31)
    assert shapely.intersection(work.headland, middle).area == pytest.approx(60)


def test_without_a_width_all_is_headland_by_hand() -> None:
    """By hand: no width, no count of anything, and the machine may turn anywhere."""
    for machine in (None, mower(working_width_m=None)):
        work = work_over(FIELD, machine, tables=TABLES)
        assert work.headland.equals(FIELD)
        assert work.laps is None
        assert np.isnan([*work.runs, *work.turns, *work.length_m, *work.minutes]).all()


def test_an_unknown_radius_is_reckoned_as_wide_by_hand() -> None:
    """By hand: 12 m under 4 m runs: cos a = 14 / 24, depth 12 (1 + 2 sin a) + 2 m: 9 laps."""
    unknown = work_over(box(0, 0, 400, 400), mower(turning_radius_m=None), tables=TABLES)
    assert math.isnan(unknown.radius_m)
    depth = 12 * (1 + 2 * math.sin(math.acos(14 / 24))) + 2
    assert unknown.laps == math.ceil(depth / 4) == 9


def test_speeds_by_hand() -> None:
    """By hand: the machine's own, else 11 km/h to count with and 19 to stop from; turns at 8."""
    assert field_speeds(mower(field_speed_kmh=7.0), TABLES) == (7.0, 7.0, True)
    assert field_speeds(mower(field_speed_kmh=None), TABLES) == (11.0, 19.0, False)
    assert field_speeds(None, TABLES) == (11.0, 19.0, False)
    mine = TABLES.with_overrides({"stopping.field_kmh": 25, "passes.turn_kmh": 4})
    assert field_speeds(None, mine) == (25.0, 25.0, False)
    assert (usual_turn_kmh(TABLES), usual_turn_kmh(mine)) == (8.0, 4.0)


def test_more_laps_than_a_field_has_room_for_regression() -> None:
    """Regression: a farm's 1e12 laps were driven one by one; so was a turn wider than the field."""
    mine = TABLES.with_overrides({"passes.laps_least": 1e12})
    work = work_over(FIELD, mower(turning_radius_m=2.0), tables=mine)
    assert work.laps == 9
    assert work.inner.area == pytest.approx(44 * 4)  # the last lap has no middle line
    assert work.headland.area == pytest.approx(FIELD.area)
    wide = work_over(FIELD, mower(turning_radius_m=59.0, working_width_m=0.5), tables=TABLES)
    assert wide.laps == 61
    none = TABLES.with_overrides({"passes.laps_least": 0})
    assert work_over(FIELD, mower(turning_radius_m=0.1), tables=none).laps == 1


def test_more_headings_than_anybody_needs_regression() -> None:
    """Regression: 1e12 lines of travel did not fit in memory."""
    mine = TABLES.with_overrides({"side_slopes.headings": 1e12})
    assert len(work_over(FIELD, None, tables=mine).lines_deg) == MOST_HEADINGS


@given(
    width=st.floats(1.0, 12.0),
    radius=st.none() | st.floats(0.5, 15.0),
    holes=st.lists(st.tuples(st.floats(5, 80), st.floats(5, 50), st.floats(1, 20)), max_size=3),
)
@settings(max_examples=40, deadline=None)
def test_a_wider_turn_never_leaves_less_headland_property(
    width: float, radius: float | None, holes: list[tuple[float, float, float]]
) -> None:
    """Property: headland and runs make up the field; a radius nobody knows leaves no less of it."""
    field = FIELD
    for x, y, size in holes:
        field = shapely.difference(field, box(x, y, x + size, y + size))
    work = work_over(field, mower(working_width_m=width, turning_radius_m=radius), tables=TABLES)
    both = shapely.union(work.headland, work.inner).area
    assert both == pytest.approx(field.area, rel=0.02, abs=3 * width**2)
    wider = work_over(field, mower(working_width_m=width, turning_radius_m=16.0), tables=TABLES)
    assert wider.headland.area >= work.headland.area - 1e-6
