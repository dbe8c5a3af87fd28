"""The kernel: published design vehicles, the sum of squares, another integrator, properties."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.integrate
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldmap.roads.swept import outline, ring, side_points
from fieldmap.roads.tractrix import Path, corner_path, driven, ring_width_m, steady_radii
from fieldmap.roads.train import Body, Link, Train

STEP_FT = 0.02  # the design vehicles stay in feet: the kernel has no unit


def inner_radius(train: Train, deflection: float, step: float) -> float:
    """Least distance of the train's bodies from the middle of its arc."""
    path = corner_path(
        deflection,
        train.radius_m,
        run_in_m=1.0,
        run_out_m=8.0 * (train.reach_m() + 1.0),
        step_m=step,
    )
    tangent = train.radius_m * math.tan(math.radians(deflection) / 2) if deflection < 180 else 0.0
    points = side_points(driven(train, path), train.bodies, spacing_m=1.0)
    return ring(points, (train.radius_m, -tangent))[0]


def rig(lead: float, tongue: float, hitch: float, width: float, radius: float) -> Train:
    """A tractor with one trailed unit; the body counted is a bar over the last axle."""
    return Train(lead, (Link(hitch, tongue),), (Body(1, 0.0, 0.0, width / 2),), radius)


@pytest.mark.parametrize(
    ("train", "deflection", "reckoned_ft"),
    [
        # Inside radii of AASHTO's design vehicles WB-40 and WB-62: published 19.3 and 7.4 ft on a
        # half turn (US Army SDDC-TEA, turn characteristics; that page has its labels swapped).
        # Figures at 90 degrees and the second decimals: trade facts 12.2, integrated elsewhere.
        (rig(12.5, 25.5, 0.0, 8.0, 36.0), 180, 19.31),
        (rig(12.5, 25.5, 0.0, 8.0, 36.0), 90, 22.26),
        (rig(19.5, 41.0, 0.0, 8.5, 41.0), 180, 7.41),
        (rig(19.5, 41.0, 0.0, 8.5, 41.0), 90, 18.01),
    ],
)
def test_referee_design_vehicles_on_a_tangent_and_an_arc(train, deflection, reckoned_ft):
    assert inner_radius(train, deflection, STEP_FT) == pytest.approx(reckoned_ft, abs=0.05)


@pytest.mark.parametrize(
    ("wheelbase", "radius", "width", "published_ft", "reckoned_ft"),
    [
        (11.0, 21.0, 7.0, 14.4, 14.39),  # P; AASHTO 14.4 ft
        (20.0, 38.0, 8.0, 28.4, 28.31),  # SU-30; AASHTO 28.4 ft, published to a tenth
    ],
)
def test_referee_single_units_by_formula_and_by_the_kernel(
    wheelbase, radius, width, published_ft, reckoned_ft
):
    (rear,) = steady_radii(radius, wheelbase, ())
    assert rear - width / 2 == pytest.approx(reckoned_ft, abs=0.005)
    assert rear - width / 2 == pytest.approx(published_ft, abs=0.1)
    train = Train(wheelbase, (), (Body(0, 0.0, 0.0, width / 2),), radius)
    assert inner_radius(train, 1000, 0.05) == pytest.approx(reckoned_ft, abs=0.005)


def test_referee_a_train_without_a_steady_state_is_integrated():
    """WB-62 at 41 ft: the sum of squares has no root (trade facts 12.2), the path has an end."""
    assert math.isnan(steady_radii(41.0, 19.5, (Link(0.0, 41.0),))[-1])
    poses = driven(
        rig(19.5, 41.0, 0.0, 8.5, 41.0),
        corner_path(720, 41.0, run_in_m=1, run_out_m=1, step_m=0.1),
    )
    assert np.isfinite(poses).all()


@pytest.mark.parametrize(
    ("deflection", "reckoned_m"), [(45, 7.401), (90, 6.981), (180, 6.791), (360, 6.772)]
)
def test_referee_the_rig_on_its_way_into_the_circle(deflection, reckoned_m):
    """Tractor 2.7 m, hitch 0.9 m, tongue 5.0 m, 10 m, 3.0 m wide (trade facts 12.2)."""
    found = inner_radius(rig(2.7, 5.0, 0.9, 3.0, 10.0), deflection, 0.005)
    assert found == pytest.approx(reckoned_m, abs=0.004)


def test_by_hand_the_sum_of_squares_with_a_hitch_behind_the_axle():
    """sqrt(100 - 7.29 + 0.81 - 25) = 8.2777; sqrt(144 - 7.84 + 1 - 30.25) = 12 - 1.6603."""
    assert steady_radii(10.0, 2.7, (Link(0.9, 5.0),))[-1] == pytest.approx(8.2777, abs=5e-5)
    assert 12.0 - steady_radii(12.0, 2.8, (Link(1.0, 5.5),))[-1] == pytest.approx(1.6603, abs=5e-5)


def test_by_hand_a_centred_machine_sweeps_its_width_and_its_off_tracking():
    """R 12, wheelbase 2.8, hitch 1.0, tongue 5.5, 3 m wide: at least 1.66 + 3 = 4.66 m.

    The tractor reaches half a metre beyond its front axle, as every tractor does.
    """
    train = Train(2.8, (Link(1.0, 5.5),), (Body(0, 3.3, 0.0, 1.5), Body(1, 0.0, 0.0, 1.5)), 12.0)
    path = corner_path(720, 12.0, run_in_m=1, run_out_m=1, step_m=0.01)
    late = driven(train, path)[len(path.x) // 2 : -200]
    inner, outer = ring(side_points(late, train.bodies, spacing_m=1.0), (12.0, 0.0))
    assert inner == pytest.approx(12.0 - 1.6603 - 1.5, abs=0.002)
    # the outer front corner: half a width out from the rear axle, wheelbase and nose ahead of it
    assert outer == pytest.approx(math.hypot(math.sqrt(144 - 2.8**2) + 1.5, 3.3), abs=0.002)
    assert 12.0 + 1.5 - inner == pytest.approx(4.66, abs=0.002)
    assert outer - inner >= 4.66


def test_referee_another_integrator_finds_the_same_pose():
    """scipy's Runge-Kutta on the equations of motion; bearings to a thousandth of a degree."""
    lead, hitch, tongue, radius = 2.75, 0.9, 5.4, 7.0

    def motion(s, bearings):
        front = s / radius
        tractor, mower = bearings
        turn = math.sin(front - tractor) / lead
        pull = math.cos(front - tractor)
        swing = pull * math.sin(tractor - mower) - hitch * turn * math.cos(tractor - mower)
        return [turn, swing / tongue]

    length = radius * math.radians(170)
    solved = scipy.integrate.solve_ivp(motion, (0, length), [0.0, 0.0], rtol=1e-10, atol=1e-12)
    train = rig(lead, tongue, hitch, 3.0, radius)
    path = corner_path(170, radius, run_in_m=1, run_out_m=1, step_m=0.002)
    arc_end = np.searchsorted(path.bearing, math.radians(170) - 1e-12)
    found = driven(train, path)[arc_end, :, 2]
    assert np.allclose(found, solved.y[:, -1], atol=2e-5)


def test_by_hand_a_machine_that_steers_behind_swings_its_tail_out():
    """Fixed axle on a 4 m circle, 3 m of tail, half width 1: a corner hypot(5, 3) away."""
    train = Train(0.0, (), (Body(0, 1.0, 3.0, 1.0),), 4.0)
    poses = driven(train, corner_path(360, 4.0, run_in_m=1, run_out_m=1, step_m=0.01))
    inner, outer = ring(side_points(poses[200:-200], train.bodies, spacing_m=0.1), (4.0, 0.0))
    assert (inner, outer) == pytest.approx((3.0, math.hypot(5, 3)), abs=0.002)


def test_by_hand_a_standing_path_leaves_the_train_straight():
    still = Path(np.zeros(3), np.zeros(3), np.zeros(3))
    poses = driven(rig(2.5, 4.0, 1.0, 3.0, 6.0), still)
    assert poses[-1].tolist() == [[0.0, -2.5, 0.0], [0.0, -7.5, 0.0]]


TRAINS = st.builds(
    rig,
    lead=st.floats(1.5, 4.0),
    tongue=st.floats(2.0, 6.0),
    hitch=st.floats(0.0, 1.5),
    width=st.floats(1.5, 4.0),
    radius=st.floats(8.0, 25.0),
)


@given(TRAINS)
@settings(max_examples=25, deadline=None)
def test_property_the_kernel_comes_to_the_sum_of_squares(train):
    steady = steady_radii(train.radius_m, train.lead_m, train.links)
    if not steady[-1] > 1.0:
        return
    path = corner_path(1500, train.radius_m, run_in_m=1, run_out_m=0.1, step_m=0.05)
    axles = driven(train, path)[-10]
    away = np.hypot(axles[:, 0] - train.radius_m, axles[:, 1])
    assert np.allclose(away, steady, atol=0.01)


@given(TRAINS, st.floats(10, 170))
@settings(max_examples=25, deadline=None)
def test_property_finer_steps_change_less_and_less(train, deflection):
    coarse, middle, fine = (inner_radius(train, deflection, one) for one in (0.2, 0.05, 0.0125))
    assert abs(middle - fine) <= max(0.5 * abs(coarse - fine), 1e-3)
    assert abs(middle - fine) < 0.01


@given(TRAINS, st.floats(10, 170))
@settings(max_examples=25, deadline=None)
def test_property_left_is_the_mirror_of_right(train, deflection):
    path = corner_path(deflection, train.radius_m, run_in_m=1, run_out_m=9, step_m=0.2)
    right = driven(train, path)
    left = driven(train, Path(-path.x, path.y, -path.bearing))
    assert np.allclose(right[..., :2] * [-1.0, 1.0], left[..., :2], atol=1e-9)
    assert np.allclose(np.sin(right[..., 2] + left[..., 2]), 0.0, atol=1e-9)


@given(TRAINS, st.floats(10, 170), st.floats(0.05, 1.0))
@settings(max_examples=15, deadline=None)
def test_property_a_wider_train_sweeps_all_that_a_narrower_one_does(train, deflection, more):
    path = corner_path(deflection, train.radius_m, run_in_m=1, run_out_m=12, step_m=0.25)
    poses = driven(train, path)
    half = train.bodies[0].half_m
    narrow, wide = (
        outline(poses, (Body(1, 1.0, 1.0, one),), within_m=0.001) for one in (half, half + more)
    )
    assert wide.buffer(0.01).contains(narrow)
    assert wide.area > narrow.area


LONG = Train(2.75, (Link(0.9, 5.4),), (Body(0, 4.5, 0.9, 1.5), Body(1, 5.4, 1.6, 1.5)), 5.4)


@given(st.floats(12.0, 80.0))
@settings(max_examples=10, deadline=None)
def test_property_a_ring_is_as_wide_as_the_kernel_sweeps_it(radius):
    path = corner_path(900, radius, run_in_m=1, run_out_m=1, step_m=0.1)
    late = driven(LONG, path)[len(path.x) // 2 : -100]
    inner, outer = ring(side_points(late, LONG.bodies, spacing_m=0.2), (radius, 0.0))
    assert ring_width_m(LONG, np.array([radius]))[0] == pytest.approx(outer - inner, abs=0.02)


def test_by_hand_a_ring_too_tight_has_no_width_and_none_has_the_trains():
    widths = ring_width_m(LONG, np.array([5.0, 7.0, np.inf]))
    assert np.isinf(widths[0])
    assert widths[1] > 5.0
    assert widths[2] == 3.0
    assert np.isinf(ring_width_m(rig(19.5, 41.0, 0.0, 8.5, 40.0), np.array([41.0]))[0])


@pytest.mark.parametrize("radius", [15.0, 25.0, 60.0])
@pytest.mark.parametrize("deflection", [30, 90, 150])
def test_referee_a_round_bend_of_even_width_holds_the_train(radius, deflection):
    """shapely: a road of that width along the bend, and the train on a line a little outside."""
    width = float(ring_width_m(LONG, np.array([radius]))[0])
    bend = corner_path(deflection, radius, run_in_m=30, run_out_m=30, step_m=0.1)
    road = shapely.LineString(np.column_stack(bend[:2])).buffer(width / 2 + 0.02, cap_style="flat")
    late = corner_path(900, radius, run_in_m=1, run_out_m=1, step_m=0.1)
    inner, outer = ring(
        side_points(driven(LONG, late)[-900:-100], LONG.bodies, spacing_m=0.5), (radius, 0.0)
    )
    out = radius - (inner + outer) / 2  # the ring's middle lies this much inside the line
    assert 0.0 < out < 1.5
    turn = math.radians(deflection)
    wider = corner_path(deflection, radius + out, run_in_m=30, run_out_m=30, step_m=0.1)
    middle = np.array([radius, -radius * math.tan(turn / 2)])
    shift = middle - np.array([radius + out, -(radius + out) * math.tan(turn / 2)])
    moved = Path(wider.x + shift[0], wider.y + shift[1], wider.bearing)
    swept = outline(driven(LONG, moved), LONG.bodies, within_m=0.01)
    on_arc = (
        shapely.Point(middle)
        .buffer(radius + 4)
        .intersection(
            shapely.Polygon(
                [middle, *(middle + 400 * _toward(one) for one in np.linspace(0, turn, 9))]
            )
        )
    )
    assert swept.intersection(on_arc).difference(road).area < 0.02


def _toward(bearing):
    """From the middle of the arc to where the path has this bearing."""
    return np.array([-math.cos(bearing), math.sin(bearing)])


def test_by_hand_the_outline_of_a_straight_drive_is_a_rectangle():
    """10 m forward with a body of 2 by 3 m sweeps 2 by 13 m."""
    path = Path(np.zeros(11), np.arange(11.0), np.zeros(11))
    train = Train(0.0, (), (Body(0, 2.0, 1.0, 1.0),), 5.0)
    area = outline(driven(train, path), train.bodies, within_m=0.01)
    assert area.bounds == pytest.approx((-1.0, -1.0, 1.0, 12.0))
    assert area.area == pytest.approx(26.0)
