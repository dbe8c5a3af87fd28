"""Turns between neighbouring runs against circles drawn by number and against Dubins' six ways."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.errors import InputError
from fieldmap.tables import load_tables
from fieldmap.terrain.passes import laps_for
from fieldmap.terrain.turns import turn, turn_s

NAN = float("nan")
FULL = 2.0 * math.pi
PAIRS = [(4.0, 6.0), (3.9, 5.5), (9.0, 6.0), (1.0, 6.0), (11.99, 6.0), (12.0, 6.0), (20.0, 6.0)]


def bearing(centre: np.ndarray, place: np.ndarray) -> float:
    return math.atan2(place[1] - centre[1], place[0] - centre[0])


def arc(centre: np.ndarray, radius: float, start: float, end: float) -> np.ndarray:
    angle = np.linspace(start, end, 50_001)
    return centre + radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def drawn(spacing: float, radius: float) -> np.ndarray:
    """The way from (0, 0), going up, to (spacing, 0), going down, as very many points.

    The outer circles stand left and right; the third is let down on them, its height found by
    halving, and the ways touch where the circles do.
    """
    left, right = np.array([-radius, 0.0]), np.array([spacing + radius, 0.0])
    low, high = 0.0, 2.0 * radius
    for _ in range(100):
        middle = np.array([spacing / 2.0, (low + high) / 2.0])
        apart = np.linalg.norm(middle - left) >= 2.0 * radius
        low, high = (low, middle[1]) if apart else (middle[1], high)
    first, last = (left + middle) / 2.0, (right + middle) / 2.0
    begin, end = bearing(middle, first) % FULL, bearing(middle, last)
    return np.concatenate(
        [
            arc(left, radius, 0.0, bearing(left, first)),
            arc(middle, radius, begin, end),
            arc(right, radius, bearing(right, last), math.pi),
        ]
    )


def shortest(x: float, y: float, facing: float) -> float:
    """Dubins' shortest way for radius 1 from (0, 0) facing east, by trying all his six families.

    Written for this test alone: each family is driven, with its three pieces solved from where
    the circles stand, and only a way that really arrives counts.
    """
    lengths = []
    for one, three in product((1, -1), (1, -1)):  # 1 turns left, -1 right
        start = np.array([0.0, float(one)])
        end = np.array([x - three * math.sin(facing), y + three * math.cos(facing)])
        gap, line = float(np.linalg.norm(end - start)), bearing(start, end)
        if one == three:
            lengths.append(driven((one, 0, three), line, line, gap, facing))
            if 0.0 < gap <= 4.0:
                tilt = math.acos(gap / 4.0)
                for side in (tilt, -tilt):
                    # the middles of circle one and of the middle circle lie along line + side
                    touch = line + side + one * math.pi / 2.0
                    leave = line - side + one * math.pi / 2.0 + math.pi
                    lengths.append(driven((one, -one, one), touch, leave, 0.0, facing))
        elif gap >= 2.0:
            way = line + one * math.asin(2.0 / gap)
            lengths.append(driven((one, 0, three), way, way, math.sqrt(gap * gap - 4.0), facing))
    for _, *at in lengths:
        assert np.hypot(at[0] - x, at[1] - y) < 1e-6
    return min(length for length, *_ in lengths)


def driven(
    turns: tuple[int, int, int], first: float, second: float, line: float, facing: float
) -> tuple[float, float, float]:
    """Length and end of a way by the three bearings at which its pieces end."""
    at, way, length = np.zeros(2), 0.0, 0.0
    for side, to in zip(turns, (first, second, facing), strict=True):
        if side == 0:
            at = at + line * np.array([math.cos(way), math.sin(way)])
            length += line
            continue
        bend = (side * (to - way)) % FULL
        bend = 0.0 if bend > FULL - 1e-9 else bend
        centre = at + side * np.array([-math.sin(way), math.cos(way)])
        way += side * bend
        at = centre - side * np.array([-math.sin(way), math.cos(way)])
        length += bend
    return length, float(at[0]), float(at[1])


def test_dubins_reference_by_hand() -> None:
    """By hand: straight on, half a circle, and the known 7/3 pi for turning about on the spot."""
    assert shortest(5.0, 0.0, 0.0) == pytest.approx(5.0)
    assert shortest(0.0, 2.0, math.pi) == pytest.approx(math.pi)
    assert shortest(0.0, 1e-9, math.pi) == pytest.approx(7.0 * math.pi / 3.0)


@pytest.mark.parametrize(("spacing", "radius"), [pair for pair in PAIRS if pair[0] <= 12.0])
def test_three_touching_circles_referee(spacing: float, radius: float) -> None:
    """Referee: the way drawn point by point; length, farthest point, and that it is smooth."""
    way = drawn(spacing, radius)
    steps = np.diff(way, axis=0)
    found = turn(spacing, radius_m=radius)
    assert np.linalg.norm(steps, axis=1).sum() == pytest.approx(float(found.length_m), rel=1e-6)
    assert way[:, 1].max() + spacing / 2.0 == pytest.approx(float(found.depth_m), rel=1e-6)
    assert way[[0, -1]].ravel() == pytest.approx([0.0, 0.0, spacing, 0.0], abs=1e-9)
    steps = steps[np.linalg.norm(steps, axis=1) > 1e-9]
    bend = np.diff(np.unwrap(np.arctan2(steps[:, 1], steps[:, 0])))
    assert np.abs(bend).max() < 2e-4


@given(spacing=st.floats(0.05, 40.0), radius=st.floats(1.0, 15.0))
def test_dubins_shortest_way_referee(spacing: float, radius: float) -> None:
    """Referee: L. E. Dubins (1957), American Journal of Mathematics 79(3), 497-516: the shortest
    way of bounded curvature is one of six; ours must be as short as the shortest of them."""
    known = radius * shortest(0.0, -spacing / radius, math.pi)
    assert float(turn(spacing, radius_m=radius).length_m) == pytest.approx(known, rel=1e-6)


def test_turns_by_hand() -> None:
    """By hand: 12 m runs at 6 m radius are half a circle, 20 m runs add 8 m of line, and runs of
    no distance need 7/3 pi R; 4 m runs have cos a = 16/24, so 6 (pi + 4 x 0.84107) = 39.035."""
    assert float(turn(12.0, radius_m=6.0).length_m) == pytest.approx(6.0 * math.pi)
    assert float(turn(20.0, radius_m=6.0).length_m) == pytest.approx(6.0 * math.pi + 8.0)
    assert float(turn(1e-9, radius_m=6.0).length_m) == pytest.approx(14.0 * math.pi)
    assert float(turn(4.0, radius_m=6.0).length_m) == pytest.approx(39.035, abs=1e-3)
    assert float(turn(20.0, radius_m=6.0).depth_m) == 16.0
    assert float(turn(20.0, radius_m=6.0, width_m=5.0).depth_m) == 8.5
    assert float(turn(4.0, radius_m=0.0).length_m) == 4.0


@given(spacing=st.floats(0.5, 30.0), radius=st.floats(0.5, 15.0), more=st.floats(0.01, 5.0))
def test_a_clumsier_machine_never_turns_shorter_property(
    spacing: float, radius: float, more: float
) -> None:
    """Property: a larger radius makes no turn shorter or shallower, nor the laps fewer."""
    one, other = turn(spacing, radius_m=radius), turn(spacing, radius_m=radius + more)
    assert float(other.length_m) >= float(one.length_m) - 1e-9
    assert float(other.depth_m) >= float(one.depth_m) - 1e-9
    assert laps_for(spacing, radius + more, least=2) >= laps_for(spacing, radius, least=2)
    assert float(laps_for(spacing, radius, least=2)) * spacing >= float(one.depth_m) - 1e-6


@pytest.mark.parametrize(("spacing", "radius"), [(NAN, 6.0), (4.0, NAN), (NAN, NAN)])
def test_unknown_stays_unknown_by_hand(spacing: float, radius: float) -> None:
    """By hand: a radius or a width that nobody knows gives no length, no depth, no laps."""
    found = turn(spacing, radius_m=radius)
    assert np.isnan([found.length_m, found.depth_m, laps_for(spacing, radius, least=2)]).all()


def test_unknown_figures_do_not_spread_by_hand() -> None:
    """By hand: of two machines the known one keeps its answer; unknown least laps are unknown."""
    found = turn([4.0, 4.0], radius_m=[NAN, 6.0])
    assert np.isnan(found.length_m).tolist() == [True, False]
    assert found.length_m[1] == pytest.approx(39.035, abs=1e-3)
    assert np.isnan(turn(4.0, radius_m=2.0, width_m=NAN).depth_m)
    assert np.isnan(laps_for(4.0, 6.0, least=NAN))
    assert np.isnan(turn_s(20.0, turn_kmh=NAN, fixed_s=5.0))
    assert np.isnan(turn_s(20.0, turn_kmh=5.0, fixed_s=NAN))


def test_laps_by_hand() -> None:
    """By hand: 12 m wide at 6 m needs 6 + 6 m, one lap; two are the least; 4 m wide needs 16.94
    m, five laps; a turn of just three widths (2 m radius would do) takes no fourth."""
    assert laps_for([12.0, 4.0], [6.0, 6.0], least=[2, 2]).tolist() == [2.0, 5.0]
    assert float(laps_for(12.0, 6.0, least=0)) == 1.0
    assert float(laps_for(2.0, 5.0, least=0, spacing_m=10.0)) == 3.0


def test_seconds_by_hand() -> None:
    """By hand: the table's own figures: 39.035 m at 5 km/h is 28.1 s, and 5 s beside."""
    tables = load_tables()
    seconds = turn_s(
        turn(4.0, radius_m=6.0).length_m,
        turn_kmh=tables.number("passes.turn_kmh"),
        fixed_s=tables.number("passes.turn_fixed_s"),
    )
    assert float(seconds) == pytest.approx(39.035 / (5.0 / 3.6) + 5.0, abs=1e-2)


def test_figures_that_cannot_be_are_refused_by_hand() -> None:
    """By hand: all faults at once, each with the figure seen."""
    with pytest.raises(InputError) as caught:
        turn(-4.0, radius_m=-1.0)
    assert [fault.value for fault in caught.value.faults] == ["-4 m", "-1 m"]
    with pytest.raises(InputError, match="turning speed"):
        turn_s(20.0, turn_kmh=0.0, fixed_s=5.0)
    with pytest.raises(InputError, match="inf m"):
        turn(4.0, radius_m=math.inf)
