"""Slope and aspect against the handbook, against planes, and at the rim of what is known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from fieldmap.grid import Grid
from fieldmap.terrain.slope import Slope, slope

UTM = CRS.from_epsg(32615)
WEST, NORTH = 500_000.0, 4_500_000.0


def heights(values: object, *, cell_m: float) -> Grid:
    transform = Affine(cell_m, 0, WEST, 0, -cell_m, NORTH)
    return Grid(np.asarray(values, np.float32), transform, UTM, "m", "elevation")


def plane(east: float, north: float, *, cell_m: float, size: int = 5) -> Grid:
    """A plane that rises by ``east`` and ``north`` metres in a metre."""
    row, column = np.indices((size, size), dtype=float)
    return heights(cell_m * (east * column - north * row), cell_m=cell_m)


def degrees(found: Slope, row: int, column: int) -> float:
    return math.degrees(math.atan(float(found.percent.values[row, column]) / 100.0))


def test_handbook_window_referee() -> None:
    """Referee: Burrough & McDonnell (1998) after the "How Slope works" page: 75.257658 deg.

    The second-order formula of Zevenbergen & Thorne (1987) gives 74.054604 on the same window:
    this tells that ours is Horn's.
    """
    found = slope(heights([[50, 45, 50], [30, 30, 30], [8, 10, 10]], cell_m=5.0), crs=UTM)
    assert degrees(found, 1, 1) == pytest.approx(75.257658, abs=1e-4)
    assert float(found.percent.values[1, 1]) == pytest.approx(380.0329, abs=1e-3)
    assert abs(degrees(found, 1, 1) - 74.054604) > 1.0


def test_handbook_aspect_referee() -> None:
    """Referee: the aspect example of the same handbook series, 92.6425 deg: just south of east."""
    window = [[101, 92, 85], [101, 92, 85], [101, 91, 84]]
    found = slope(heights(window, cell_m=1.0), crs=UTM)
    assert float(found.aspect.values[1, 1]) == pytest.approx(92.6425, abs=1e-3)


@pytest.mark.parametrize(
    ("east", "north", "percent", "deg", "aspect"),
    [
        (0.20, 0.0, 20.0, 11.309932, 270.0),
        (-0.10, -0.10, 14.142136, 8.0495, 45.0),
        (0.0, 0.05, 5.0, 2.862405, 180.0),
        (0.0, -0.05, 5.0, 2.862405, 0.0),
    ],
)
def test_planes_by_hand(
    east: float, north: float, percent: float, deg: float, aspect: float
) -> None:
    """By hand: a plane has one slope, and faces away from where it climbs to."""
    found = slope(plane(east, north, cell_m=10.0), crs=UTM)
    assert found.percent.values[1:-1, 1:-1] == pytest.approx(percent, rel=1e-5)
    assert degrees(found, 2, 2) == pytest.approx(deg, abs=1e-3)
    turn = (found.aspect.values[1:-1, 1:-1] - aspect + 180.0) % 360.0 - 180.0
    assert np.abs(turn).max() < 1e-3


gradients = st.floats(0.001, 2.0) | st.floats(-2.0, -0.001) | st.just(0.0)


@given(east=gradients, north=gradients, cell_m=st.floats(0.25, 1000.0))
def test_any_plane_is_exact_property(east: float, north: float, cell_m: float) -> None:
    """Property: on any plane, in any cell size, slope and aspect are the plane's own (float32)."""
    found = slope(plane(east, north, cell_m=cell_m), crs=UTM)
    steep = math.hypot(east, north)
    inside = (slice(1, -1), slice(1, -1))
    assert found.percent.values[inside] == pytest.approx(100 * steep, rel=1e-4)
    facing = found.aspect.values[inside]
    if steep == 0:
        assert np.isnan(facing).all()
        return
    assert ((facing >= 0) & (facing < 360)).all()
    off = np.radians(facing) - math.atan2(-east, -north)
    assert np.abs(np.sin(off)).max() < 1e-3
    assert np.cos(off).min() > 0


def test_flat_ground_faces_nowhere_by_hand() -> None:
    """By hand: level ground has slope 0, which is known, and no aspect."""
    found = slope(plane(0.0, 0.0, cell_m=3.0), crs=UTM)
    assert (found.percent.values[1:-1, 1:-1] == 0).all()
    assert np.isnan(found.aspect.values).all()


@given(row=st.integers(0, 8), column=st.integers(0, 8))
def test_a_gap_spreads_one_cell_property(row: int, column: int) -> None:
    """Property: an unknown height makes its neighbours' slope unknown, and nothing farther."""
    full = plane(0.1, 0.2, cell_m=10.0, size=9)
    holed = full.values.copy()
    holed[row, column] = np.nan
    unknown = np.isnan(slope(heights(holed, cell_m=10.0), crs=UTM).percent.values)
    rows, columns = np.indices((9, 9))
    near = (np.abs(rows - row) <= 1) & (np.abs(columns - column) <= 1)
    rim = (rows % 8 == 0) | (columns % 8 == 0)
    assert (unknown == (near | rim)).all()


def test_aspect_stays_under_a_full_turn_regression() -> None:
    """Regression: 359.999999 degrees became 360 when it was stored with four bytes."""
    found = slope(plane(1e-8, -1.0, cell_m=1.0), crs=UTM)
    assert found.aspect.values[2, 2] < 360.0


def test_slope_does_not_see_a_shift_property() -> None:
    """Property: the same ground a hundred metres higher has the same slope (float32)."""
    low = plane(0.07, -0.11, cell_m=5.0)
    high = heights(low.values + 100.0, cell_m=5.0)
    assert slope(high, crs=UTM).percent.values[1:-1, 1:-1] == pytest.approx(
        slope(low, crs=UTM).percent.values[1:-1, 1:-1], abs=1e-3
    )
