"""Side-slope limits: statics, whose limit wins, and what is unknown."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_ground import TABLES, heights, layers_of, mower, plane
from small_ground import box as box_of

from fieldmap.grid import Grid
from fieldmap.machine import Machine
from fieldmap.risk.side_slope import bump_roll_deg, limits_for, side_slope_use
from fieldmap.units import degrees_from_percent, percent_from_degrees


def test_static_stability_referee() -> None:
    """Referee: half the track over the height (NHTSA), 1.6 m and 0.9 m: .8889, 41.634 deg."""
    machine = mower(track_width_m=1.6, cg_height_m=0.9)
    assert machine.static_stability() == pytest.approx(0.8889, abs=1e-4)
    assert machine.static_tipping_deg() == pytest.approx(41.634, abs=1e-3)


@pytest.mark.parametrize(
    ("track", "height", "tips"),
    [(1.5, 0.9, 39.806), (1.83, 0.95, 43.925), (2.0, 1.0, 45.0), (1.8, 1.1, 39.289)],
)
def test_tipping_angles_by_hand(track: float, height: float, tips: float) -> None:
    """By hand: the arctangent of half the track over the height."""
    machine = mower(track_width_m=track, cg_height_m=height)
    assert machine.static_tipping_deg() == pytest.approx(tips, abs=1e-3)


def test_bump_roll_by_hand() -> None:
    """By hand: 0.15 m under one wheel of a 1.6 m track rolls the machine by 5.4 deg."""
    assert bump_roll_deg(mower(track_width_m=1.6), tables=TABLES) == pytest.approx(5.38, abs=5e-3)


def across(values: list[float]) -> Grid:
    ground = heights([values]).grid
    return ground.with_values(np.array([values]), unit="%", name="across_pct")


@given(track=st.floats(1.0, 4.0), height=st.floats(0.4, 2.0))
def test_use_is_one_where_it_tips_property(track: float, height: float) -> None:
    """Property: at the tipping angle less the bump roll the use is 1; it is level under it."""
    machine = mower(track_width_m=track, cg_height_m=height)
    tips = math.degrees(math.atan(track / 2 / height))
    roll = bump_roll_deg(machine, tables=TABLES)
    if tips <= roll:
        return
    there = percent_from_degrees(tips - roll)
    used = side_slope_use(across([there, -there, 0.5 * there]), machine, tables=TABLES).values[0]
    assert used[:2] == pytest.approx(1.0, rel=1e-5)
    assert used[2] < 1.0


def test_use_is_unknown_without_track_or_height_by_hand() -> None:
    """By hand: half a ratio is none."""
    for machine in (None, mower(track_width_m=None), mower(cg_height_m=None)):
        assert np.isnan(side_slope_use(across([0.0, 10.0]), machine, tables=TABLES).values).all()


def test_beyond_upright_is_all_used_up_by_hand() -> None:
    """By hand: a lean and a bump that pass 90 deg use more than everything; a gap stays a gap."""
    machine = mower(track_width_m=0.2, cg_height_m=0.1)
    used = side_slope_use(across([200.0, math.nan]), machine, tables=TABLES).values[0]
    assert used[0] == math.inf
    assert math.isnan(used[1])


# T 2.0, h 1.0: tips at 45 deg, bump roll 4.30 deg, margin 10 deg: 30.7 deg, 59.4 %.
# T 1.5, h 1.3: tips at 29.98 deg, bump roll 5.74, margin 10: 14.24 deg, 25.4 %.
# T 1.5, h 1.6: tips at 25.11 deg, bump roll 5.74, margin 10: 9.38 deg, 16.5 %.
@pytest.mark.parametrize(
    ("given", "care", "stop", "proven"),
    [
        ({}, 15.0, 25.0, math.inf),
        ({"side_slope_limit_pct": 20.0}, 12.0, 20.0, math.inf),
        ({"side_slope_limit_pct": 40.0}, 24.0, 40.0, math.inf),
        ({"side_slope_limit_pct": 90.0}, 35.6, 59.4, math.inf),
        ({"track_width_m": 1.5, "cg_height_m": 1.6}, 9.9, 16.5, math.inf),
        ({"track_width_m": 1.5, "cg_height_m": 1.3, "side_slope_limit_pct": 10.0}, 6, 10, math.inf),
        ({"cg_height_m": None}, 15.0, 25.0, 0.0),
        ({"track_width_m": None}, 15.0, 25.0, 0.0),
        ({"cg_height_m": None, "side_slope_limit_pct": 20.0}, 12.0, 20.0, 15.0),
        ({"cg_height_m": None, "side_slope_limit_pct": 10.0}, 6.0, 10.0, 15.0),
    ],
)
def test_whose_limit_wins_by_hand(
    given: dict[str, object], care: float, stop: float, proven: float
) -> None:
    """By hand: the user's own before the table's, the margin under tipping before both."""
    limits = limits_for(mower(**given), tables=TABLES)
    found = (limits.care_pct, limits.stop_pct, limits.proven_pct)
    assert found == pytest.approx((care, stop, proven), abs=0.06)


def test_a_machine_that_tips_on_a_bump_may_go_nowhere_by_hand() -> None:
    """By hand: with no room left under the tipping angle level ground stops too."""
    limits = limits_for(mower(track_width_m=1.0, cg_height_m=2.5), tables=TABLES)
    assert limits.stop_pct == 0.0
    layers = layers_of(
        box_of(20, 20, 90, 90),
        heights(plane(0.0, 0.0)),
        machine=mower(track_width_m=1.0, cg_height_m=2.5),
    )
    assert (layers.level.values[layers.inside] == 3).all()


def test_no_machine_is_nothing_known_by_hand() -> None:
    """By hand: of no machine nothing is proven; the tool's limits still stop the work."""
    limits = limits_for(None, tables=TABLES)
    assert (limits.care_pct, limits.stop_pct, limits.proven_pct) == (15.0, 25.0, 0.0)


def test_up_and_down_limits_by_hand() -> None:
    """By hand: 20 and 30 % from the table; the user's own 25 % and three fifths of it."""
    limits = limits_for(mower(), tables=TABLES)
    assert (limits.up_down_care_pct, limits.up_down_stop_pct) == (20.0, 30.0)
    own = limits_for(mower(up_down_limit_pct=25.0), tables=TABLES)
    assert (own.up_down_care_pct, own.up_down_stop_pct) == (15.0, 25.0)
    assert own.up_down_sources[0] == "farm"


@given(
    track=st.floats(1.0, 4.0),
    height=st.floats(0.3, 3.0),
    own=st.none() | st.floats(1.0, 99.0),
)
def test_never_nearer_than_the_margin_property(
    track: float, height: float, own: float | None
) -> None:
    """Property: no limit, whoever gave it, goes nearer to tipping than the margin."""
    machine = mower(track_width_m=track, cg_height_m=height, side_slope_limit_pct=own)
    limits = limits_for(machine, tables=TABLES)
    tips = machine.static_tipping_deg()
    assert tips is not None
    margin = TABLES.number("side_slopes.static_margin_deg")
    assert 0 <= limits.care_pct <= limits.stop_pct
    assert degrees_from_percent(limits.stop_pct) <= max(tips - margin, 0) + 1e-9


@given(
    track=st.floats(1.2, 4.0),
    height=st.floats(0.4, 1.2),
    own=st.none() | st.floats(1.0, 99.0),
)
def test_forgetting_the_machine_never_opens_ground_property(
    track: float, height: float, own: float | None
) -> None:
    """Property: a side slope that stops the machine is at least unknown without its figures.

    Holds for machines that may work the tool's own care limit at all (half the track at least
    half the height); of others nobody may say anything from a limit alone.
    """
    if track / 2 / height < 0.5:
        return
    known = limits_for(
        mower(track_width_m=track, cg_height_m=height, side_slope_limit_pct=own), tables=TABLES
    )
    less = limits_for(mower(cg_height_m=None, side_slope_limit_pct=own), tables=TABLES)
    assert min(less.stop_pct, less.proven_pct) <= known.stop_pct + 1e-9


def test_who_said_so_by_hand() -> None:
    """By hand: a figure of the user's own is cited as the farm's, a default as the tool's own."""
    assert "farm" not in limits_for(mower(), tables=TABLES).sources
    assert limits_for(mower(side_slope_limit_pct=20.0), tables=TABLES).sources[0] == "farm"
    for key in ("care_pct", "stop_pct", "static_margin_deg", "bump_rise_m"):
        mine = TABLES.with_overrides({f"side_slopes.{key}": 12.0})
        assert "farm" in limits_for(mower(), tables=mine).sources, key
    mine = TABLES.with_overrides({"side_slopes.up_down_care_pct": 12.0})
    assert "farm" in limits_for(mower(), tables=mine).up_down_sources


def test_a_bare_machine_by_hand() -> None:
    """By hand: a machine of which only the name is known is like none."""
    bare = Machine(id="a", name="a", kind="rear-mounted")
    assert limits_for(bare, tables=TABLES) == limits_for(None, tables=TABLES)
