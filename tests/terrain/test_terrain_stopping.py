"""Stopping and turning against the published tables of road design and plain statics.

The published formulas print rounded constants (1.47, 1.075, 30; 0.278, 0.039, 254). To hold ours
to their columns, reaction time, friction and grade are scaled by what that rounding makes of them.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.terrain.stopping import (
    lateral_angle_deg,
    stopping_distance_m,
    stopping_speed_kmh,
    turning_speed_kmh,
)
from fieldmap.units import METRE_PER_FOOT, METRE_PER_MILE

G = 9.80665
KMH_PER_MPH = METRE_PER_MILE / 1000
FT_S_PER_MPH = 5280 / 3600
G_FT = G / METRE_PER_FOOT
REACTION_S, CAR_FT_S2, CAR_M_S2 = 2.5, 11.2, 3.4


def feet(mph: float, *, grade: float = 0.0, reaction_s: float, friction: float) -> float:
    far = stopping_distance_m(
        mph * KMH_PER_MPH, grade=grade, reaction_s=reaction_s, friction=friction
    )
    return float(far) / METRE_PER_FOOT


#: what the printed 1.47, 1.075 and 30 make of a second, a deceleration and a share of gravity
AS_PRINTED_S = 1.47 / FT_S_PER_MPH
AS_PRINTED_DECELERATION = FT_S_PER_MPH**2 / (2 * 1.075)
AS_PRINTED_HOLD = 30 * FT_S_PER_MPH**2 / (2 * G_FT)

TABLE = [
    (15, 76.7, 80), (20, 111.9, 115), (25, 151.9, 155), (30, 196.7, 200), (35, 246.2, 250),
    (40, 300.6, 305), (45, 359.8, 360), (50, 423.8, 425), (55, 492.4, 495), (60, 566.0, 570),
]  # fmt: skip


@pytest.mark.parametrize(("mph", "printed", "design"), TABLE)
def test_the_design_table_referee(mph: int, printed: float, design: int) -> None:
    """Referee: AASHTO Exhibit 3-1 (piping-designer.com, stopping sight distance), 15 to 60 mph.

    The printed column sums rounded parts: 0.15 ft. The design column is exact, with the rounded
    constants and with true ones.
    """
    found = feet(
        mph,
        reaction_s=REACTION_S * AS_PRINTED_S,
        friction=CAR_FT_S2 / G_FT * AS_PRINTED_DECELERATION,
    )
    assert found == pytest.approx(printed, abs=0.15)
    assert 5 * math.ceil(found / 5) == design
    plain = feet(mph, reaction_s=REACTION_S, friction=CAR_FT_S2 / G_FT)
    assert 5 * math.ceil(plain / 5) == design


@pytest.mark.parametrize(
    ("kmh", "printed", "design"),
    [
        (20, 18.5, 20), (30, 31.2, 35), (40, 46.2, 50), (50, 63.5, 65), (60, 83.0, 85),
        (70, 104.9, 105), (80, 129.0, 130), (90, 155.5, 160), (100, 184.2, 185), (110, 215.2, 220),
    ],
)  # fmt: skip
def test_the_metric_table_referee(kmh: int, printed: float, design: int) -> None:
    """Referee: AASHTO metric values (doi.org/10.1007/s12544-016-0208-6, table 4; under 60 memory).

    0.278 V t + 0.039 V^2 / a with 2.5 s and 3.4 m/s2.
    """
    scale = 1 / (3.6**2 * 2 * 0.039)
    found = stopping_distance_m(
        kmh, grade=0.0, reaction_s=2.5 * 0.278 * 3.6, friction=CAR_M_S2 / G * scale
    )
    assert float(found) == pytest.approx(printed, abs=0.1)
    assert 5 * math.ceil(found / 5) == design


@pytest.mark.parametrize(
    ("mph", "grade", "expected"),
    [
        (30, -0.09, 226.6), (30, -0.06, 214.5), (30, -0.03, 204.6),
        (30, 0.03, 189.7), (30, 0.06, 183.8), (30, 0.09, 178.8), (60, -0.06, 637.4),
    ],
)  # fmt: skip
def test_grades_referee(mph: int, grade: float, expected: float) -> None:
    """Referee: AASHTO with grade, 1.47 V t + V^2 / (30 (a / 32.2 + G)): 227, 215, 205 ft printed
    going down at 30 mph, 638 at 60; 190, 184, 179 going up (from memory)."""
    found = feet(
        mph,
        grade=grade * AS_PRINTED_HOLD,
        reaction_s=REACTION_S * AS_PRINTED_S,
        friction=CAR_FT_S2 / 32.2 * AS_PRINTED_HOLD,
    )
    assert found == pytest.approx(expected, abs=0.06)


@pytest.mark.parametrize(("kmh", "grade", "expected"), [(50, -0.09, 73.1), (80, -0.06, 143.5)])
def test_grades_in_metres_referee(kmh: int, grade: float, expected: float) -> None:
    """Referee: AASHTO metric with grade, 0.278 V t + V^2 / (254 (a / 9.81 + G)); 144 m printed."""
    scale = 254 / (2 * G * 3.6**2)
    found = stopping_distance_m(
        kmh,
        grade=grade * scale,
        reaction_s=2.5 * 0.278 * 3.6,
        friction=CAR_M_S2 / 9.81 * scale,
    )
    assert float(found) == pytest.approx(expected, abs=0.06)


@pytest.mark.parametrize(("grade", "expected"), [(0.0, 563.36), (-0.07, 649.07)])
def test_textbook_referee(grade: float, expected: float) -> None:
    """Referee: worked example (sciemce.com, PU1wx3xDBXTn; Garber & Hoel): 60 mph, a / g 0.35."""
    found = feet(
        60,
        grade=grade * AS_PRINTED_HOLD,
        reaction_s=REACTION_S * AS_PRINTED_S,
        friction=0.35 * AS_PRINTED_HOLD,
    )
    assert found == pytest.approx(expected, abs=0.01)


def test_less_friction_referee() -> None:
    """Referee: 20 mph with 0.2 g, 6.44 ft/s2, by AASHTO's formula: 140.3 ft for 111.9."""
    found = feet(
        20,
        reaction_s=REACTION_S * AS_PRINTED_S,
        friction=6.44 / G_FT * AS_PRINTED_DECELERATION,
    )
    assert found == pytest.approx(140.3, abs=0.06)


grades = st.floats(-0.6, 0.6)
frictions = st.floats(0.05, 0.8)
seconds = st.floats(0.0, 5.0)


@given(kmh=st.floats(0.0, 120.0), grade=grades, friction=frictions, reaction_s=seconds)
def test_distance_and_speed_undo_each_other_property(
    kmh: float, grade: float, friction: float, reaction_s: float
) -> None:
    """Property: who needs just what is seen goes just as fast; where nothing brakes, not at all."""
    given_figures = {"grade": grade, "reaction_s": reaction_s, "friction": friction}
    far = float(stopping_distance_m(kmh, **given_figures))
    back = float(stopping_speed_kmh(far, **given_figures))
    if friction + grade <= 0:
        assert (far, back) == (math.inf, 0.0)
    else:
        assert back == pytest.approx(kmh, rel=1e-6, abs=1e-5)


@given(
    sight=st.floats(0.0, 300.0), grade=grades, friction=frictions, reaction_s=seconds,
    more=st.floats(0.0, 100.0),
)  # fmt: skip
def test_seeing_farther_or_climbing_never_slows_property(
    sight: float, grade: float, friction: float, reaction_s: float, more: float
) -> None:
    """Property: with more sight, more climb or more grip the speed is never lower."""
    given_figures = {"grade": grade, "reaction_s": reaction_s, "friction": friction}
    here = float(stopping_speed_kmh(sight, **given_figures))
    assert float(stopping_speed_kmh(sight + more, **given_figures)) >= here
    eased = given_figures | {"grade": grade + more / 100}
    assert float(stopping_speed_kmh(sight, **eased)) >= here - 1e-6
    later = given_figures | {"reaction_s": reaction_s + more / 100}
    assert float(stopping_speed_kmh(sight, **later)) <= here + 1e-6


@pytest.mark.parametrize("place", range(4))
def test_unknown_stays_unknown_by_hand(place: int) -> None:
    """By hand: one unknown figure of the four makes the answer unknown, also where none brakes."""
    for grade in (0.0, -0.5):
        figures = [30.0, grade, 2.5, 0.3]
        figures[place] = math.nan
        first, climb, reaction_s, friction = figures
        rest = {"grade": climb, "reaction_s": reaction_s, "friction": friction}
        assert math.isnan(float(stopping_distance_m(first, **rest)))
        assert math.isnan(float(stopping_speed_kmh(first, **rest)))


def test_arrays_go_in_and_come_out_by_hand() -> None:
    """By hand: shapes are joined; endless sight allows any speed, but not where nothing brakes."""
    sight = np.array([[10.0, np.inf, np.nan]])
    grade = np.array([[0.0], [-0.3]])
    found = stopping_speed_kmh(sight, grade=grade, reaction_s=2.5, friction=0.2)
    assert found.shape == (2, 3)
    assert found[0, 0] > 0
    assert found[:, 1].tolist() == [math.inf, 0.0]
    assert np.isnan(found[:, 2]).all()
    assert found[1, 0] == 0.0


@pytest.mark.parametrize(
    ("stability", "slope_deg", "radius_m", "metres_a_second"),
    [
        (1.5 / 1.8, 0.0, 10.0, 9.040), (1.5 / 1.8, 10.0, 10.0, 7.495),
        (1.5 / 1.8, 15.0, 10.0, 6.732), (0.9, 10.0, 12.0, 8.573),
    ],
)  # fmt: skip
def test_turning_on_a_slope_referee(
    stability: float, slope_deg: float, radius_m: float, metres_a_second: float
) -> None:
    """Referee: statics, sqrt(g R tan(atan(T / 2h) - slope)), track 1.50 m over 0.90 m high."""
    limit = math.degrees(math.atan(stability))
    for side in (slope_deg, -slope_deg):
        found = turning_speed_kmh(limit_deg=limit, slope_deg=side, radius_m=radius_m)
        assert float(found) / 3.6 == pytest.approx(metres_a_second, abs=1e-3)


@pytest.mark.parametrize(
    ("kmh", "radius_m", "share"),
    [(10.0, 10.0, 0.07868), (20.0, 15.0, 0.20982), (25.0, 20.0, 0.24588),
     (20 * KMH_PER_MPH, 20.0, 0.40757)],
)  # fmt: skip
def test_pull_of_a_turn_referee(kmh: float, radius_m: float, share: float) -> None:
    """Referee: statics, v^2 / (g R) as a share of gravity."""
    angle = float(lateral_angle_deg(kmh, radius_m))
    assert math.tan(math.radians(angle)) == pytest.approx(share, abs=1e-5)


@given(
    limit=st.floats(1.0, 60.0), slope_deg=st.floats(-70.0, 70.0), radius_m=st.floats(2.0, 50.0)
)  # fmt: skip
def test_turn_and_slope_together_reach_the_limit_property(
    limit: float, slope_deg: float, radius_m: float
) -> None:
    """Property: slope and turn at that speed add up to the limit; over it no turn is left."""
    kmh = float(turning_speed_kmh(limit_deg=limit, slope_deg=slope_deg, radius_m=radius_m))
    if abs(slope_deg) >= limit:
        assert kmh == 0.0
    else:
        together = float(lateral_angle_deg(kmh, radius_m)) + abs(slope_deg)
        assert together == pytest.approx(limit, abs=1e-9)


def test_an_unknown_turn_stays_unknown_by_hand() -> None:
    """By hand: limit, slope and radius, one unknown at a time."""
    figures = {"limit_deg": 14.0, "slope_deg": 5.0, "radius_m": 6.0}
    for name in figures:
        assert math.isnan(float(turning_speed_kmh(**figures | {name: math.nan})))
    assert np.isnan(lateral_angle_deg([8.0, math.nan], [math.nan, 6.0])).all()
