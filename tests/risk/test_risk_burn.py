"""Shapes laid onto cells: a whole and its part at once, polygons as plain lists."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS
from rasterio.features import rasterize

from fieldmap.crs import WGS84, moved
from fieldmap.grid import Grid
from fieldmap.risk.burn import Burner

UTM = CRS.from_epsg(32615)
GROUND = np.zeros((40, 40), np.float32)
METRES = Grid(GROUND, Affine(5, 0, 499_900, 0, -5, 4_500_100), UTM, "m", "z")
DEGREES = Grid(GROUND, Affine(6e-5, 0, -93.0012, 0, -6e-5, 40.6518), WGS84, "m", "z")
GRIDS = pytest.mark.parametrize("grid", [METRES, DEGREES], ids=["metres", "degrees"])


def fields(sides: int, ring: bool) -> shapely.Geometry:
    field = shapely.buffer(shapely.Point(500_003, 4_500_002), 80.3, quad_segs=sides)
    pond = shapely.box(499_980, 4_499_985, 500_011, 4_500_019)
    return shapely.difference(field, pond) if ring else field


@GRIDS
@given(sides=st.integers(1, 6), ring=st.booleans(), width_m=st.floats(0.5, 90.0))
def test_a_whole_and_its_part_are_what_each_touches(
    grid: Grid, sides: int, ring: bool, width_m: float
) -> None:
    """Property: a field and its headland burnt at once are the two burnt one by one."""
    field = fields(sides, ring)
    headland = shapely.difference(field, shapely.buffer(field, -width_m))
    burn = Burner(grid, UTM)
    inside, along = burn.whole_and_part(field, headland)
    assert np.array_equal(inside, burn.touched(field))
    assert np.array_equal(along, burn.touched(headland))


@GRIDS
def test_shapes_on_cells_are_rasterios(grid: Grid) -> None:
    """Referee: rasterio.features.rasterize on the shapes themselves, with a hole and parts."""
    shapes = [
        fields(3, ring=True),
        shapely.MultiPolygon([shapely.box(499_950, 4_499_950, 499_962, 4_499_962)]),
        shapely.Point(500_050, 4_500_050),
        shapely.box(500_060, 4_500_060, 500_066, 4_500_066),
    ]
    pairs = [(moved(shape, UTM, grid.crs), number) for number, shape in enumerate(shapes, 1)]
    theirs = rasterize(
        pairs, grid.shape, transform=grid.transform, fill=0, all_touched=True, dtype="int16"
    )
    burn = Burner(grid, UTM)
    assert np.array_equal(burn.numbered(shapes), theirs)
    assert set(np.unique(theirs)) == {0, 1, 2, 3, 4}
    assert np.array_equal(burn.numbered(shapes[:1]) == 1, burn.touched(shapes[0]))
    assert not burn.touched().any()
    assert not burn.touched(shapely.Polygon()).any()
