"""The best line of travel: by hand on planes, and turned with the landscape."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from small_ground import TABLES, UTM, box, heights, layers_of, mower, plane

from fieldmap.risk.ground import slope_findings
from fieldmap.risk.side_slope import Heading, best_heading, limits_for
from fieldmap.risk.work import work_over
from fieldmap.terrain.slope import slope

SQUARE = box(20, 20, 100, 100)
#: a turn of 2 m radius with 4 m working width takes 4 m: one lap
ONE_LAP = TABLES.with_overrides({"passes.laps_least": 1})


def headed(
    values: np.ndarray, field: shapely.Geometry = SQUARE, *, width_m: float | None = None
) -> Heading | None:
    ground = slope(heights(values).grid, crs=UTM)
    inside = np.ones(ground.percent.shape, bool)
    machine = mower(working_width_m=width_m, turning_radius_m=2.0)
    work = work_over(field, machine, tables=ONE_LAP)
    return best_heading(ground, inside, work, limits_for(machine, tables=TABLES))


@pytest.mark.parametrize(
    ("east", "north", "line"), [(0.3, 0.0, 90.0), (0.0, 0.3, 0.0), (0.3, 0.3, 45.0)]
)
def test_straight_up_and_down_by_hand(east: float, north: float, line: float) -> None:
    """By hand: a plane too steep to cross is best run straight up and down."""
    found = headed(plane(east, north))
    assert found is not None
    assert found.degrees == line
    assert line in found.ties
    assert (line + 90.0) % 180.0 not in found.ties
    assert (found.stop_share, found.care_share) == (0.0, 0.0)


def test_ties_stay_under_the_care_limit_by_hand() -> None:
    """By hand: on 31 %, up to 28.9 deg off the fall line, asin(15 / 31), is under 15 % across."""
    found = headed(plane(0.0, 0.31))
    assert found is not None
    assert set(found.ties) == {0, 5, 10, 15, 20, 25, 155, 160, 165, 170, 175}


def test_level_ground_takes_fewest_runs_by_hand() -> None:
    """By hand: 80 m by 20 m at 4 m: inside one lap 72 m by 12 m, 3 runs the long way, 18 across."""
    found = headed(plane(0.0, 0.0), box(20, 20, 100, 40), width_m=4.0)
    assert found is not None
    assert (found.degrees, found.runs, found.turns, found.ties) == (90.0, 3, 2, (90.0,))


def test_minutes_by_hand() -> None:
    """By hand: a lap of 184 m and 3 runs of 72 m at 11 km/h; 2 turns of 2 pi at 5 km/h and 5 s."""
    found = headed(plane(0.0, 0.0), box(20, 20, 100, 40), width_m=4.0)
    assert found is not None
    driving = (2 * (76 + 16) + 3 * 72) / (11_000 / 60)
    turning = 2 * (2 * np.pi / (5_000 / 60) + 5 / 60)
    assert found.minutes == pytest.approx(driving + turning, rel=1e-3)


def test_parts_are_mown_by_themselves_by_hand() -> None:
    """By hand: two strips 20 m wide with 40 m between: 3 runs each in a lap, not 20 in all."""
    strips = shapely.union(box(0, 0, 20, 100), box(60, 0, 80, 100))
    found = headed(plane(0.0, 0.0), strips, width_m=4.0)
    assert found is not None
    assert (found.degrees, found.runs) == (0.0, 6)


def test_a_hole_splits_the_runs_by_hand() -> None:
    """By hand: 40 m by 100 m with a pond of 12 m by 20 m, one lap round each: inside lie 8 strips.

    The pond with its lap takes 20 m of the 32 m: four strips lie wholly beside it and are cut in
    two; the one at each side of it keeps 2 m of ground and goes on.
    """
    pond = shapely.difference(box(0, 0, 40, 100), box(14, 40, 26, 60))
    found = headed(plane(0.0, 0.0), pond, width_m=4.0)
    assert found is not None
    assert (found.degrees, found.runs) == (0.0, 4 + 2 * 4)


def test_runs_are_not_known_without_a_width_by_hand() -> None:
    """By hand: no width, no count; and not a count of none."""
    found = headed(plane(0.0, 0.0))
    assert found is not None
    assert (found.runs, found.turns, found.minutes) == (None, None, None)
    assert len(found.ties) == 36


def test_nothing_known_has_no_heading_by_hand() -> None:
    """By hand: no slope, no best way."""
    assert headed(np.full((24, 24), np.nan)) is None


def test_partly_known_ground_is_said_so_by_hand() -> None:
    """By hand: with a corner without elevation the heading is given, the level is unknown."""
    values = plane(0.0, 0.05)
    values[:12, :12] = np.nan
    ground = heights(values)
    layers = layers_of(SQUARE, ground)
    told = {
        one.finding.what: one.finding
        for one in slope_findings("F", layers, ground, mower(), tables=TABLES)
    }
    side = told["side slope on the best heading"]
    assert side.level == "unknown"
    assert side.choice.startswith("run ")
    assert "whose slope is known" in side.why
    assert told["slope straight up and down"].level == "unknown"
    assert told["elevation under the field"].level == "unknown"


@given(seed=st.integers(0, 10_000), steep=st.floats(0.5, 6.0))
@settings(max_examples=30, deadline=None)
def test_turning_the_landscape_turns_the_heading_property(seed: int, steep: float) -> None:
    """Property: ground and field turned by 90 deg have the same lines of travel, turned."""
    rng = np.random.default_rng(seed)
    rough = np.cumsum(np.cumsum(rng.normal(0, 0.02 * steep, (24, 24)), axis=0), axis=1)
    first = headed(rough, box(20, 20, 100, 60), width_m=4.0)
    turned = headed(np.rot90(rough, -1), box(20, 20, 60, 100), width_m=4.0)
    assert first is not None
    assert turned is not None
    assert {(line + 90.0) % 180.0 for line in first.ties} == set(turned.ties)
    assert (first.stop_share, first.care_share) == pytest.approx(
        (turned.stop_share, turned.care_share), abs=1e-9
    )
    assert first.runs == turned.runs


def test_no_headings_asked_for_still_tries_one_regression() -> None:
    """Regression: a farm that set the count of headings to 0 broke the run."""
    mine = TABLES.with_overrides({"side_slopes.headings": 0})
    ground = slope(heights(plane(0.1, 0.0)).grid, crs=UTM)
    inside = np.ones(ground.percent.shape, bool)
    limits = limits_for(mower(), tables=mine)
    work = work_over(SQUARE, mower(), tables=mine)
    found = best_heading(ground, inside, work, limits)
    assert found is not None
    assert found.ties == (0.0,)
