"""The corner: by hand, against polygons, and what must only ever go one way."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldmap.roads.corner import (
    DIFFERENCE_M,
    WIDEST_M,
    Kerb,
    _least,
    _least_widths,
    best_line,
    needs,
)
from fieldmap.roads.corner_shape import MOST_POINTS, Place, draw
from fieldmap.roads.train import Body, Link, Train, Trains
from fieldmap.roads.turn_room import Corners, held_against, kerbs_of
from fieldmap.tables import load_tables

TABLES = load_tables()
EVEN = len(DIFFERENCE_M) // 2
ROUND = math.sqrt(2.0)
PULLED = Train(2.75, (Link(0.9, 5.4),), (Body(0, 4.5, 0.9, 1.5), Body(1, 5.4, 1.6, 1.5)), 5.4)
HUNG = Train(2.4, (), (Body(0, 4.9, 2.2, 1.2),), 4.6)
STEERED_BEHIND = Train(0.0, (), (Body(0, 3.0, 5.0, 1.6),), 3.0)
TRAINS = {"pulled": PULLED, "hung": HUNG, "steered behind": STEERED_BEHIND}


def told(train, *kerbs, clear=0.0, careful=True, sharpest=135.0):
    return needs(train, tuple(kerbs), clear_m=clear, sharpest_deg=sharpest, careful=careful)


def need(train, deflection, kerb, **more):
    found = told(train, kerb, **more)
    return found.need(int(deflection // 5) - 1, 0)


@pytest.mark.parametrize(("kerb", "wide"), [(0.0, 5.1716), (2.0, 4.5858)])
def test_by_hand_a_ring_of_four_to_eight_metres_round_a_square_corner(kerb, wide):
    """b = Ro - [r + (Ri - r) / sqrt 2] (trade facts 12.2): 5.1716 sharp, 4.5858 rounded by 2 m."""
    # a quarter ring drawn out into straights; the lines of the path meet at 0, 0
    bearing = np.radians(np.arange(0.0, 90.01, 0.25))
    x = {radius: 8.0 - radius * np.cos(bearing) for radius in (4.0, 8.0)}
    y = {radius: radius * np.sin(bearing) - 8.0 for radius in (4.0, 8.0)}
    run = np.arange(40.0, 0.0, -0.1)
    a = np.concatenate(
        [
            [[-0.0, -4.0]] * len(run),
            -np.column_stack([x[8.0], x[4.0]]),
            [[-8 - one, -8 - one] for one in run[::-1]],
        ]
    )
    c = np.concatenate(
        [
            [[-8 - one, -8 - one] for one in run],
            np.column_stack([y[8.0], y[4.0]]),
            [[-0.0, -4.0]] * len(run),
        ]
    )
    made = np.full(len(DIFFERENCE_M), np.inf)
    _least_widths(a, c, math.pi / 2, kerb, math.inf, 0.0, made)
    # shifts are tried every 0.1 m and places told apart by 0.05 m: at most that much too wide
    assert wide - 1e-6 <= made[EVEN] <= wide + 0.15


def test_by_hand_a_point_needs_no_road_and_a_bar_its_own_width():
    point = Train(0.0, (), (Body(0, 0.0, 0.0, 0.0),), 1.0)
    bar = Train(0.0, (), (Body(0, 0.0, 0.0, 1.25),), 3.0)
    assert need(point, 90, Kerb(10.0, math.inf)) == pytest.approx(0.0, abs=0.11)
    assert need(bar, 90, Kerb(10.0, math.inf)) == pytest.approx(2.5, abs=0.16)
    # with half a metre on both sides the kerb is as good as half a metre rounder
    assert need(bar, 90, Kerb(10.0, math.inf), clear=0.5) == pytest.approx(3.5, abs=0.16)


def test_by_hand_a_bar_round_a_sharp_square_corner():
    """It may not cut in: a circle of 3 m round a point of land leaves 3 (1 - 1/sqrt 2) outside."""
    bar = Train(0.0, (), (Body(0, 0.0, 0.0, 0.0),), 3.0)
    assert need(bar, 90, Kerb(0.0, math.inf)) == pytest.approx(3 * (1 - 1 / ROUND), abs=0.11)


def test_by_hand_clearance_is_kept_from_the_corner_of_land_too():
    """A line of 3 m with half a metre at both sides is a ring of 2.5 to 3.5 m: 3.5 - 2.5/sqrt 2."""
    point = Train(0.0, (), (Body(0, 0.0, 0.0, 0.0),), 3.0)
    exact = 3.5 - 2.5 / ROUND
    assert exact - 1e-6 <= need(point, 90, Kerb(0.0, math.inf), clear=0.5) <= exact + 0.12


@pytest.mark.parametrize("name", TRAINS)
@pytest.mark.parametrize("deflection", [15, 40, 90, 120])
@pytest.mark.parametrize("kerb", [Kerb(0.0, 1.0), Kerb(3.0, ROUND), Kerb(10.0, 1e6)])
def test_referee_polygons_hold_the_train_at_its_width_and_not_below(name, deflection, kerb):
    """shapely: the swept outline lies in the drawn lanes with its clearance, or sticks out."""
    train, clear = TRAINS[name], 0.5
    wide = need(train, deflection, kerb, clear=clear, careful=False)
    careful = need(train, deflection, kerb, clear=clear)
    assert careful >= wide - 1e-9
    assert _over(train, deflection, kerb, careful + 0.01, clear - 0.04) < 0.01
    assert _over(train, deflection, kerb, wide - 0.5, clear) > 0.01


def _over(train, deflection, kerb, wide, clear):
    """Square metres of the swept area with its clearance that are outside the lanes."""
    lanes = ((wide, wide), kerb)
    drawing = draw(Place(deflection, 0.0), lanes, lanes, train=train, clear_m=0.5)
    near = shapely.Point(0, 0).buffer(21.0)
    swept = shapely.Polygon(drawing.swept).buffer(clear, quad_segs=16).intersection(near)
    return swept.difference(shapely.Polygon(drawing.lane_low).buffer(0.05)).area


@pytest.mark.parametrize("name", TRAINS)
def test_property_a_sharper_corner_and_a_sharper_kerb_never_need_less(name):
    kerbs = tuple(Kerb(one, math.inf) for one in (12.0, 6.0, 3.0, 1.0, 0.0))
    for careful in (True, False):
        least = told(TRAINS[name], *kerbs, clear=0.5, careful=careful).least_m
        assert np.isfinite(least).all()
        assert (np.diff(least, axis=0) >= 0).all()
        assert (np.diff(least, axis=1) >= -0.11).all()


@pytest.mark.parametrize("name", TRAINS)
def test_property_a_wider_road_out_never_asks_for_a_wider_road_in(name):
    least = told(TRAINS[name], Kerb(2.0, ROUND), Kerb(0.0, 1.0), clear=0.5).least_m
    assert (np.diff(least, axis=2) <= 1e-9).all()
    # and a wider road in never for a wider road out
    assert (np.diff(least + DIFFERENCE_M, axis=2) >= -1e-9).all()


@given(
    st.floats(1.0, 2.0),
    st.floats(0.1, 1.0),
    st.floats(0.0, 2.0),
    st.sampled_from([Kerb(0.0, 1.0), Kerb(3.0, ROUND), Kerb(12.0, math.inf)]),
)
@settings(max_examples=6, deadline=None)
def test_property_a_wider_or_longer_train_never_needs_less(half, more, tail, kerb):
    def pulled(half_m, tail_m):
        bodies = (Body(0, 4.5, 0.9, half_m), Body(1, 5.4, 1.0 + tail_m, half_m))
        return Train(2.75, (Link(0.9, 5.4),), bodies, 5.4)

    slim, wide, long = (
        told(one, kerb, clear=0.5, sharpest=100.0).least_m
        for one in (pulled(half, 0.0), pulled(half + more, 0.0), pulled(half, tail))
    )
    assert (wide - slim >= -0.02).all()
    assert (long - slim >= -0.02).all()


@pytest.mark.parametrize("deflection", [12.5, 47.2, 91.0, 93.7, 128.0])
def test_property_between_the_figures_that_are_reckoned_the_careful_one_counts(deflection):
    """What is asked before a pass is never less than what that very corner needs, by any side."""
    trains = Trains(PULLED, PULLED, ())
    lanes = np.array([[wide, wide + more] for wide in (4.0, 7.0) for more in (-1.93, 0.0, 2.27)])
    count = len(lanes)
    corners = Corners(
        np.full(count, deflection),
        lanes,
        lanes,
        np.full(count, 3),
        np.zeros(count, dtype=np.int64),
        np.zeros(count, dtype=bool),
        *(np.full(count, np.nan),) * 3,
    )
    verdict = held_against(corners, trains, tables=TABLES)
    kerb = kerbs_of(TABLES).careful[3]
    exact = _least(PULLED, deflection, (kerb,), 0.5)[0]
    assert (verdict.need >= exact[EVEN] - 1e-9).all()
    for (one, other), low, need_m in zip(lanes, verdict.low, verdict.need, strict=True):
        # the even width that leaves as much room: as much wider than needed as the real road is
        true = one - np.interp(other - one, DIFFERENCE_M, exact)
        assert low - need_m <= true + 0.01
        assert low - need_m >= true - 0.6


def test_by_hand_needs_are_remembered_and_go_to_the_widest_road():
    assert told(HUNG, Kerb(1.0, ROUND)) is told(HUNG, Kerb(1.0, ROUND))
    assert (DIFFERENCE_M[0], DIFFERENCE_M[EVEN], DIFFERENCE_M[-1]) == (-WIDEST_M, 0.0, WIDEST_M)


@pytest.mark.parametrize(("deflection", "side"), [(70.0, 1.0), (-70.0, -1.0)])
def test_by_hand_a_turn_is_drawn_the_way_it_runs(deflection, side):
    """Coming in eastward, a turn to the right ends south of the corner, one to the left north."""
    lanes = ((7.0, 6.0), Kerb(2.0, ROUND)), ((9.0, 9.0), Kerb(8.0, math.inf))
    drawing = draw(Place(deflection, 90.0), *lanes, train=PULLED, clear_m=0.5)
    first, last = drawing.path[0], drawing.path[-1]
    assert first[0] < -10
    assert abs(first[1]) < 3.5
    assert last[1] * side < -10
    for one in drawing[:3]:
        assert 4 <= len(one) <= MOST_POINTS + 1
        assert shapely.Polygon(one).is_valid
    low, high = shapely.Polygon(drawing.lane_low), shapely.Polygon(drawing.lane_high)
    assert high.buffer(0.01).contains(low)
    assert low.contains(shapely.Point(0, 0))


def test_by_hand_what_is_not_known_is_not_drawn():
    unknown = ((math.nan, 5.0), Kerb(1.0, ROUND))
    known = ((5.0, 5.0), Kerb(1.0, ROUND))
    drawing = draw(Place(90.0, 0.0), unknown, known, train=HUNG, clear_m=0.5)
    assert drawing.lane_low == drawing.swept == drawing.path == []
    assert len(drawing.lane_high) > 6
    assert draw(Place(90.0, 0.0), known, known, train=None, clear_m=0.5).swept == []
    assert draw(Place(179.0, 0.0), known, known, train=HUNG, clear_m=0.5).lane_low == []


def test_by_hand_the_best_line_of_a_wide_corner_keeps_clear_of_the_land():
    line = best_line(HUNG, 90.0, Kerb(0.0, ROUND), widths_m=(9.0, 9.0), clear_m=0.5)
    assert line.radius_m >= HUNG.radius_m
    assert min(line.in_m, line.out_m) >= 1.2 + 0.5 - 1e-6
