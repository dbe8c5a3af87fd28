"""Hollows against made pits, a plain filling, and ground that nobody knows."""

from __future__ import annotations

import heapq
import math

import numpy as np
import pytest
import shapely
from affine import Affine
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from pyproj import CRS, Geod, Transformer
from scipy.ndimage import binary_dilation, label

from fieldmap.grid import Grid
from fieldmap.terrain.hollows import Hollows, hollows, outlines, patches

UTM = CRS.from_epsg(32615)
WEST, NORTH = 500_000.0, 4_500_000.0


def heights(values: object, *, cell_m: float = 1.0) -> Grid:
    transform = Affine(cell_m, 0, WEST, 0, -cell_m, NORTH)
    return Grid(np.asarray(values, np.float32), transform, UTM, "m", "elevation")


def dips(
    values: object, *, cell_m: float = 1.0, depth_m: float = 0.0, area_m2: float = 0.0
) -> Hollows:
    ground = heights(values, cell_m=cell_m)
    return hollows(ground, crs=UTM, least_depth_m=depth_m, least_area_m2=area_m2)


def test_a_cone_by_hand() -> None:
    """By hand: a cone 2 m deep and 20 m in radius: pi r2 and pi r2 h / 3 within 1 %."""
    row, column = np.indices((120, 120))
    off = np.hypot(row - 59.5, column - 59.5) * 0.5
    found = dips(np.where(off < 20, 8 + off / 10, 10.0), cell_m=0.5, depth_m=0.3, area_m2=25)
    (pit,) = found.table.itertuples()
    assert pit.depth_m == pytest.approx(2.0, abs=0.05)
    assert pit.area_m2 == pytest.approx(math.pi * 400, rel=0.01)
    assert pit.volume_m3 == pytest.approx(math.pi * 400 * 2 / 3, rel=0.01)
    assert not pit.open
    assert pit.geometry.area == pytest.approx(pit.area_m2)
    assert pit.geometry.centroid.distance(shapely.Point(WEST + 30, NORTH - 30)) < 0.1
    assert found.depth.values[59, 59] == pytest.approx(2.0, abs=0.05)
    assert found.depth.unit == "m"


def test_pits_in_a_pit_are_one_by_hand() -> None:
    """By hand: a box 1 m deep with two boxes 0.5 m deeper in it: 400 + 2 x 8 x 0.5 m3."""
    z = np.full((40, 40), 10.0)
    z[10:30, 10:30] = 9.0
    z[12:14, 12:16] = 8.5
    z[25:29, 20:22] = 8.5
    (pit,) = dips(z).table.itertuples()
    assert (pit.depth_m, pit.area_m2, pit.volume_m3) == pytest.approx((1.5, 400, 408))


def test_each_pit_has_its_own_spill_by_hand() -> None:
    """By hand: two boxes on a slope; each fills to the lowest ground beside it. Deepest first."""
    z = np.tile(20.0 - 0.1 * np.arange(30), (30, 1))  # falls to the east
    z[5:8, 5:8] = 19.0  # spill at column 8, or a corner of it: 19.2
    z[20:23, 20:23] = 16.0  # spill 17.7
    found = dips(z).table
    assert found["depth_m"].to_numpy() == pytest.approx([1.7, 0.2], abs=1e-5)
    assert found["area_m2"].to_numpy() == pytest.approx([9, 9])


def test_shallow_or_small_is_left_out_by_hand() -> None:
    """By hand: on a limit counts."""
    z = np.full((20, 20), 10.0)
    z[5:10, 5:10] = 9.5
    for depth, area, count in ((0.5, 25, 1), (0.51, 25, 0), (0.5, 25.1, 0)):
        assert len(dips(z, depth_m=depth, area_m2=area).table) == count


def test_beside_unknown_ground_by_hand() -> None:
    """By hand: a channel that ends at unknown ground may be a hollow: 1 m deep if it is dammed."""
    z = np.full((9, 9), 10.0)
    z[4, 2:] = 9.0
    assert len(dips(z).table) == 0
    z[3:6, 6] = np.nan
    found = dips(z)
    (pit,) = found.table.itertuples()
    assert pit.open
    assert (pit.depth_m, pit.area_m2) == pytest.approx((1.0, 4.0))
    assert np.isnan(found.depth.values[4, 6])


def test_its_deepest_cell_unknown_by_hand() -> None:
    """By hand: a hollow stays in the table when nobody knows its middle any more."""
    z = np.full((11, 11), 10.0)
    z[3:8, 3:8] = 9.9
    z[5, 5] = 9.0
    (pit,) = dips(z, depth_m=0.3, area_m2=25).table.itertuples()
    assert not pit.open
    z[5, 5] = np.nan
    (pit,) = dips(z, depth_m=0.3, area_m2=25).table.itertuples()
    assert pit.open
    assert (pit.depth_m, pit.area_m2) == pytest.approx((0.1, 24.0), abs=1e-5)
    assert len(dips(z, depth_m=0.3, area_m2=26).table) == 0


def test_at_the_rim_by_hand() -> None:
    """By hand: water runs off over the rim; a hollow beside it may go on; the rim is unknown."""
    z = np.full((8, 8), 10.0)
    z[1:3, 4] = 9.0
    z[6, 0] = 9.0
    found = dips(z)
    assert found.table["open"].tolist() == [True]
    assert np.isnan(found.depth.values[6, 0])
    assert found.depth.values[1, 4] == 1.0
    rim = np.ones((8, 8), bool)
    rim[1:-1, 1:-1] = False
    assert (np.isnan(found.depth.values) == rim).all()


def test_shut_in_by_hand() -> None:
    """By hand: of ground that unknown ground shuts in all round nobody knows where it spills."""
    z = np.full((9, 9), 10.0)
    z[2:7, 2:7] = np.nan
    z[3:6, 3:6] = [[1, 2, 3], [4, 1, 4], [3, 2, 1]]
    found = dips(z)
    assert np.isnan(found.depth.values[3:6, 3:6]).all()
    assert len(found.table) == 0


def test_unknown_to_the_end_of_the_window_is_its_rim_by_hand() -> None:
    """By hand: heights cut to a boundary have their hollows as heights that simply end there."""
    inner = np.full((10, 10), 10.0)
    inner[4:6, 4:6] = 9.0
    inner[7, 1:4] = 8.0
    cut = np.pad(inner, 4, constant_values=np.nan)
    one, other = dips(inner), dips(cut)
    assert other.depth.values[4:-4, 4:-4] == pytest.approx(one.depth.values, nan_ok=True)
    columns = ["depth_m", "area_m2", "volume_m3", "open"]
    assert one.table[columns].equals(other.table[columns])
    assert one.table["open"].tolist() == [True, False]


@pytest.mark.parametrize("size", [(1, 1), (1, 6), (2, 2), (3, 3), (9, 9)])
@pytest.mark.parametrize("value", [4.0, math.nan])
def test_flat_or_unknown_by_hand(size: tuple[int, int], value: float) -> None:
    """By hand: level ground has no hollow; unknown ground has no depth."""
    found = dips(np.full(size, value))
    assert len(found.table) == 0
    assert found.table.crs == UTM
    inner = found.depth.values[1:-1, 1:-1]
    assert np.isnan(inner).all() if math.isnan(value) else (inner == 0).all()


def test_over_corners_by_hand() -> None:
    """By hand: water goes over corners too: a pit of three cells corner to corner is one hollow."""
    z = np.full((7, 7), 10.0)
    z[[2, 3, 4], [2, 3, 4]] = 9.0
    (pit,) = dips(z).table.itertuples()
    assert pit.geometry.is_valid
    assert pit.geometry.area == pytest.approx(3.0)
    assert len(pit.geometry.geoms) == 3


def test_an_island_stays_dry_by_hand() -> None:
    """By hand: a knoll in a hollow is a hole of its outline."""
    z = np.full((9, 9), 10.0)
    z[2:7, 2:7] = 9.0
    z[4, 4] = 11.0
    (pit,) = dips(z).table.itertuples()
    assert pit.geometry.area == pytest.approx(24.0)
    assert not pit.geometry.contains(shapely.Point(WEST + 4.5, NORTH - 4.5))


def test_area_in_degrees_referee() -> None:
    """Referee: pyproj's area on the ellipsoid, within 0.3 %: projecting stretches by 0.08 %."""
    z = np.full((9, 9), 10.0, np.float32)
    z[3:6, 3:7] = 9.0
    place = Affine(1e-4, 0, -90.2, 0, -1e-4, 45.0)
    grid = Grid(z, place, CRS.from_epsg(4326), "m", "elevation")
    (pit,) = hollows(grid, crs=UTM, least_depth_m=0.3, least_area_m2=25).table.itertuples()
    corners = [place @ corner for corner in ((3, 3), (7, 3), (7, 6), (3, 6))]
    area_m2 = abs(Geod(ellps="WGS84").polygon_area_perimeter(*zip(*corners, strict=True))[0])
    assert pit.area_m2 == pytest.approx(area_m2, rel=3e-3)
    assert pit.geometry.area == pytest.approx(area_m2, rel=3e-3)
    assert pit.volume_m3 == pytest.approx(area_m2, rel=3e-3)
    lon, lat = Transformer.from_crs(UTM, 4326, always_xy=True).transform(*pit.geometry.centroid.xy)
    assert (lon[0], lat[0]) == pytest.approx((-90.1995, 44.99955), abs=1e-6)


def plain_rim(z: np.ndarray) -> np.ndarray:
    """Known cells beside what lies beyond the window or hangs together with it: scipy's labels."""
    unknown = np.pad(np.isnan(z), 1, constant_values=True)
    labels, _ = label(unknown, structure=np.ones((3, 3)))
    beyond = binary_dilation(labels == labels[0, 0], structure=np.ones((3, 3)))
    return beyond[1:-1, 1:-1] & np.isfinite(z)


def plainly_filled(z: np.ndarray) -> np.ndarray:
    """Filled from the rim inwards with a heap of Python's own; unknown cells are walls."""
    rows, columns = z.shape
    level = np.full(z.shape, np.nan)
    heap = [(z[i, j], i, j) for i, j in np.argwhere(plain_rim(z))]
    heapq.heapify(heap)
    while heap:
        height, i, j = heapq.heappop(heap)
        if not np.isnan(level[i, j]):
            continue
        level[i, j] = height
        for row in range(max(i - 1, 0), min(i + 2, rows)):
            for column in range(max(j - 1, 0), min(j + 2, columns)):
                if np.isnan(level[row, column]) and not np.isnan(z[row, column]):
                    heapq.heappush(heap, (max(height, z[row, column]), row, column))
    return level


grounds = st.builds(
    lambda z, holes: np.where(holes < 2, np.nan, z).astype(np.float32),
    arrays.arrays(float, (12, 15), elements=st.integers(0, 12).map(float)),
    arrays.arrays(int, (12, 15), elements=st.integers(0, 20)),
)


@given(z=grounds)
@settings(max_examples=150)
def test_filling_referee(z: np.ndarray) -> None:
    """Referee: a filling in plain Python with the standard library's heap, rim by scipy."""
    found = dips(z).depth.values
    expected = np.where(plain_rim(z), np.nan, plainly_filled(z) - z)
    assert found == pytest.approx(expected, nan_ok=True)


@given(z=grounds)
@settings(max_examples=100)
def test_the_table_is_the_cells_property(z: np.ndarray) -> None:
    """Property: areas and volumes of all hollows are those of the cells; outlines are sound."""
    found = dips(z, cell_m=2.0)
    depth = np.nan_to_num(found.depth.values)  # what is unknown is in no hollow
    assert found.table["area_m2"].sum() == pytest.approx(4.0 * (depth > 0).sum())
    assert found.table["volume_m3"].sum() == pytest.approx(4.0 * depth.sum())
    assert found.table.geometry.is_valid.all()
    assert found.table.geometry.area.to_numpy() == pytest.approx(found.table["area_m2"].to_numpy())


@given(z=grounds, lift=st.integers(-500, 500))
@settings(max_examples=60)
def test_a_shift_changes_nothing_property(z: np.ndarray, lift: int) -> None:
    """Property: the same ground higher up has the same hollows."""
    low, high = dips(z), dips(z + np.float32(lift))
    assert np.array_equal(low.depth.values, high.depth.values, equal_nan=True)
    assert low.table.equals(high.table)


@given(z=grounds, row=st.integers(1, 10), column=st.integers(1, 13))
@settings(max_examples=150)
def test_nodata_makes_nothing_shallower_property(z: np.ndarray, row: int, column: int) -> None:
    """Property: without the height of a cell inside no other cell's hollow is shallower."""
    holed = z.copy()
    holed[row, column] = np.nan
    assume((plain_rim(holed) <= plain_rim(z)).all())  # else it only moves the rim inwards
    full, less = dips(z).depth.values, dips(holed).depth.values
    known = np.isfinite(less)
    assert (less[known] >= full[known]).all()


def test_patches_by_hand() -> None:
    """By hand: three patches, numbered in reading order."""
    where = np.array([[1, 0, 0, 1], [0, 1, 0, 0], [0, 0, 0, 1]], bool)
    labels, count = patches(where)
    assert count == 3
    assert labels.tolist() == [[1, 0, 0, 2], [0, 1, 0, 0], [0, 0, 0, 3]]
    ground = outlines(labels, np.array([3, 1]), heights(where), UTM)
    assert shapely.area(ground).tolist() == [1.0, 2.0]
