"""Shares of cells: areas by hand, another program's, and what holds for any polygon."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from affine import Affine
from exactextract.exact_extract import exact_extract
from exactextract.raster import NumPyRasterSource
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from fieldmap.terrain.bearing import LARGEST_ERROR_DEG, _eighth_deg, bearing_deg
from fieldmap.terrain.coverage import coverage

UNIT = Affine.identity()


def star(
    x: float, y: float, radii: list[float], *, hole: float = 0.0, turn: float = 0.0
) -> shapely.Polygon:
    """A polygon with a corner a radius away in each of evenly spread directions, and a hole."""
    around = turn + 2 * math.pi * np.arange(len(radii)) / len(radii)
    ring = np.column_stack([np.cos(around), np.sin(around)])
    middle = np.array([x, y])
    outer = middle + ring * np.array(radii)[:, None]
    inner = middle + ring * (hole * min(radii) * math.cos(math.pi / len(radii)))
    return shapely.Polygon(outer, [inner] if hole else [])


stars = st.builds(
    star,
    st.floats(3, 17),
    st.floats(3, 12),
    st.lists(st.floats(0.05, 9.0), min_size=3, max_size=12),
    hole=st.sampled_from([0.0, 0.3, 0.8]),
    turn=st.floats(0, 1.5),
)


def clipped_one_by_one(shape: shapely.Geometry, rows: int, columns: int) -> NDArray[np.float64]:
    """The same by cutting the polygon with every cell."""
    row, column = np.indices((rows, columns))
    cells = shapely.box(column, row, column + 1, row + 1)
    return shapely.area(shapely.intersection(cells, shape))


def test_coverage_by_hand() -> None:
    """By hand: a box over parts of four cells, and one of which a corner is cut off."""
    box = coverage(shapely.box(0.75, 0.5, 1.5, 1.75), UNIT, (2, 3))
    assert box == pytest.approx(np.array([[0.125, 0.25, 0], [0.1875, 0.375, 0]]), abs=1e-15)
    half = coverage(shapely.Polygon([(0, 0), (2, 0), (0, 2)]), UNIT, (2, 2))
    assert half == pytest.approx(np.array([[1, 0.5], [0.5, 0]]), abs=1e-15)


def test_holes_and_parts_by_hand() -> None:
    """By hand: a hole takes its area away, whichever way round it is drawn; parts add up."""
    hole = [(1, 1), (2, 1), (2, 1.5), (1, 1.5)]
    for ring in (hole, hole[::-1]):
        for shell in ([(0, 0), (3, 0), (3, 3), (0, 3)], [(0, 3), (3, 3), (3, 0), (0, 0)]):
            found = coverage(shapely.Polygon(shell, [ring]), UNIT, (3, 3))
            assert found[1, 1] == pytest.approx(0.5, abs=1e-15)
            assert found.sum() == pytest.approx(8.5, abs=1e-14)
    two = shapely.MultiPolygon([shapely.box(0, 0, 1, 0.5), shapely.box(0, 0.75, 1, 1)])
    assert coverage(two, UNIT, (1, 1))[0, 0] == pytest.approx(0.75, abs=1e-15)


def test_beyond_the_grid_by_hand() -> None:
    """By hand: what reaches beyond on any side is not counted, what is inside is."""
    big = shapely.box(-5, -5, 50, 50)
    assert (coverage(big, UNIT, (3, 4)) == 1.0).all()
    assert coverage(shapely.box(10, 10, 12, 12), UNIT, (3, 4)).sum() == 0.0
    slanting = shapely.Polygon([(-3, -1), (6, 2), (5, 9), (-4, 4)])
    assert coverage(slanting, UNIT, (3, 4)) == pytest.approx(
        clipped_one_by_one(slanting, 3, 4), abs=1e-12
    )


def test_nowhere_is_refused_by_hand() -> None:
    """By hand: a corner at infinity, as a lost projection leaves it, covers no cell."""
    lost = shapely.Polygon([(0, 0), (np.inf, 0), (1, 1)])
    with pytest.raises(ValueError, match="nowhere"):
        coverage(lost, UNIT, (2, 2))


@given(shape=stars)
def test_coverage_exactextract_referee(shape: shapely.Polygon) -> None:
    """Referee: exactextract's own shares, to the 1e-6 that its four bytes hold."""
    rows, columns = 16, 20
    source = NumPyRasterSource(np.zeros((rows, columns)), 0, -rows, columns, 0)
    # there y runs up
    theirs = {"type": "Feature", "properties": {}}
    theirs["geometry"] = shapely.geometry.mapping(shapely.transform(shape, lambda xy: xy * (1, -1)))
    (found,) = exact_extract(source, theirs, ["cell_id", "coverage"], include_geom=False)
    expected = np.zeros(rows * columns)
    # where nothing of the grid is touched it gives nothing
    expected[np.asarray(found["properties"]["cell_id"], int)] = found["properties"]["coverage"]
    ours = coverage(shape, UNIT, (rows, columns))
    assert np.abs(ours - expected.reshape(rows, columns)).max() < 1e-6


@given(shape=stars)
def test_coverage_polygon_clipping_referee(shape: shapely.Polygon) -> None:
    """Referee: shapely's cut of the polygon with each cell, to 1e-9."""
    assert shape.is_valid
    expected = clipped_one_by_one(shape, 16, 20)
    assert np.abs(coverage(shape, UNIT, (16, 20)) - expected).max() < 1e-9


@given(shape=stars, turn=st.floats(0, 360), east=st.floats(0.1, 30.0), north=st.floats(0.1, 30.0))
def test_shares_make_up_the_area_property(
    shape: shapely.Polygon, turn: float, east: float, north: float
) -> None:
    """Property: shares times the cell's area are the polygon's area, on turned oblong cells too."""
    cells = Affine.translation(500.0, -300.0) @ Affine.rotation(turn) @ Affine.scale(east, -north)
    shift = Affine.translation(-30, -30)  # a grid wide enough for any of the stars
    grid = cells @ shift
    ground = shapely.affinity.affine_transform(
        shape, [cells.a, cells.b, cells.d, cells.e, cells.c, cells.f]
    )
    shares = coverage(ground, grid, (80, 80))
    assert ((shares >= 0) & (shares <= 1)).all()
    assert shares.sum() * east * north == pytest.approx(ground.area, rel=1e-7, abs=1e-6)


@given(shape=stars, quarters=st.integers(1, 3))
def test_a_quarter_turn_turns_the_shares_property(shape: shapely.Polygon, quarters: int) -> None:
    """Property: turning polygon and grid by right angles turns the shares, and changes none."""
    plain = coverage(shape, UNIT, (20, 20))
    turned = shapely.affinity.rotate(shape, -90 * quarters, origin=(10, 10))
    assert np.rot90(plain, quarters) == pytest.approx(coverage(turned, UNIT, (20, 20)), abs=1e-9)


def test_bearing_polynomial_referee() -> None:
    """Referee: numpy's arctangent at half a million places; the stated error holds."""
    t = np.linspace(0.0, 1.0, 500_001)
    ours = np.array([_eighth_deg(one) for one in t[::50]])
    assert np.abs(ours - np.degrees(np.arctan(t[::50]))).max() <= LARGEST_ERROR_DEG


@given(angle=st.floats(0, 2 * math.pi), size=st.floats(1e-30, 1e30))
def test_bearing_referee(angle: float, size: float) -> None:
    """Referee: numpy's arctan2; within the polynomial's error and four bytes of 360 degrees."""
    east, north = size * math.sin(angle), size * math.cos(angle)
    ours = float(bearing_deg(east, north))
    assert 0.0 <= ours < 360.0
    off = (ours - math.degrees(math.atan2(east, north)) + 180.0) % 360.0 - 180.0
    assert abs(off) <= LARGEST_ERROR_DEG + 360.0 * 2.0**-24
