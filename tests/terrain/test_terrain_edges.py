"""Drop-offs against made walls and banks, a plain referee, and what nobody knows."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import pytest
import shapely
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS
from scipy import ndimage

from fieldmap.grid import Grid
from fieldmap.tables import load_tables
from fieldmap.terrain.edges import EdgeLimits, drop_offs, least_seen_m
from fieldmap.terrain.slope import slope

UTM = CRS.from_epsg(32615)
WEST, NORTH = 500_000.0, 4_500_000.0
LIMITS = {
    "steep_pct": 50.0,
    "least_height_m": 1.5,
    "highwall_m": 6.0,
    "highwall_pct": 80.0,
    "buffer_m": 5.0,
    "buffer_heights": 0.0,
    "highwall_buffer_m": 30.0,
}


def heights(values: object, *, cell_m: float = 1.0) -> Grid:
    transform = Affine(cell_m, 0, WEST, 0, -cell_m, NORTH)
    return Grid(np.asarray(values, np.float32), transform, UTM, "m", "elevation")


def drops(values: object, *, cell_m: float = 1.0, **given: float) -> gpd.GeoDataFrame:
    limits = EdgeLimits(**{**LIMITS, **given})
    return drop_offs(heights(values, cell_m=cell_m), crs=UTM, limits=limits)


def box(west: float, south: float, east: float, north: float) -> shapely.Polygon:
    """A box in metres east and south of the window's corner."""
    return shapely.box(WEST + west, NORTH - south, WEST + east, NORTH - north)


def terrace(height_m: float, size: int = 40) -> np.ndarray:
    """Level ground that drops by so much between columns 19 and 20, in rows 10 to 29 only.

    North and south of it the ground falls over as many columns as it takes to be gentle.
    """
    column = np.arange(size)
    gentle = np.clip((29.5 - column) / 20.0, 0, 1) * height_m
    sharp = np.where(column < 20, height_m, 0.0)
    z = np.tile(gentle, (size, 1))
    z[10:30] = sharp
    return z


def test_a_wall_by_hand() -> None:
    """By hand: a wall all across: its steep cells are the two columns beside it."""
    z = np.tile(np.where(np.arange(40) < 20, 14.0, 10.0), (40, 1))
    (wall,) = drops(z).itertuples()
    assert wall.height_m == 4.0
    assert not wall.highwall
    assert not wall.open  # the heights at the rim are known
    assert wall.geometry.equals(
        shapely.LineString([(WEST + 19, NORTH - 1), (WEST + 19, NORTH - 39)])
    )
    assert wall.zone.symmetric_difference(box(19, 39, 21, 1).buffer(5)).area < 1e-6


@pytest.mark.parametrize(
    ("height_m", "highwall", "buffer_m"), [(5.9, False, 5.0), (6.0, True, 30.0), (9.0, True, 30.0)]
)
def test_a_highwall_by_hand(height_m: float, highwall: bool, buffer_m: float) -> None:
    """By hand: from 6 m on it is held for a highwall, and 30 m are kept."""
    z = np.full((60, 60), 10.0)
    z[20:40, 20:40] = 10.0 - height_m
    (pit,) = drops(z).itertuples()
    assert pit.height_m == pytest.approx(height_m)
    assert pit.highwall == highwall
    assert not pit.open
    ring = box(19, 41, 41, 19).difference(box(21, 39, 39, 21))
    assert pit.zone.symmetric_difference(ring.buffer(buffer_m)).area < 1e-6
    corners = [(19, 19), (41, 19), (41, 41), (19, 41)]
    rim = shapely.LinearRing([(WEST + x, NORTH - y) for x, y in corners])
    assert pit.geometry.symmetric_difference(rim).length < 1e-6  # on the upper side, all round


@pytest.mark.parametrize(
    ("slope_pct", "run_m", "highwall"), [(60, 20, False), (79, 20, False), (100, 8, True)]
)
def test_a_long_slope_is_no_highwall_by_hand(slope_pct: int, run_m: int, highwall: bool) -> None:
    """By hand: an outslope of 12 m at 60 % is steep and high, and no wall; one at 100 % may be."""
    z = np.tile(np.clip((45 - np.arange(60)) * slope_pct / 100, 0, run_m * slope_pct / 100), (9, 1))
    (edge,) = drops(z).itertuples()
    assert edge.height_m > 6
    assert edge.highwall == highwall


def test_the_buffer_grows_with_the_height_by_hand() -> None:
    """By hand: as far from an edge as it is high, where that is more than the least."""
    column = np.arange(80)
    for height_m, kept_m in ((4.0, 5.0), (9.0, 9.0)):
        z = np.tile(np.where(column < 40, height_m, 0.0), (9, 1))
        (wall,) = drops(z, buffer_heights=1.0, highwall_pct=1e3).itertuples()
        assert wall.zone.bounds[2] == pytest.approx(WEST + 41 + kept_m)


def test_an_edge_into_the_unknown_may_be_a_highwall_by_hand() -> None:
    """By hand: where the patch meets ground of unknown height, 30 m may have to be kept."""
    z = np.tile(np.where(np.arange(80) < 40, 14.0, 10.0), (80, 1))
    (known,) = drops(z).itertuples()
    assert known.perhaps.is_empty
    z[38:42, 36:44] = np.nan
    edges = list(drops(z).itertuples())
    assert all(edge.open and not edge.highwall for edge in edges)
    assert max(edge.perhaps.bounds[2] for edge in edges) == pytest.approx(WEST + 41 + 30)


def test_a_bank_by_hand() -> None:
    """By hand: a bank of 100 % over 3 m, in cells of 0.5 m, is 3 m high; its crest is its top."""
    column = (np.arange(60) + 0.5) * 0.5
    bank = 10 - np.clip(column - 12, 0, 3)
    z = np.tile(bank, (60, 1))
    (found,) = drops(z, cell_m=0.5).itertuples()
    assert found.height_m == pytest.approx(3.0)
    west, _, east, _ = found.geometry.bounds
    assert west == east == pytest.approx(WEST + 12, abs=0.5)


def test_low_or_gentle_is_left_out_by_hand() -> None:
    """By hand: a step of 1.4 m is too low; 40 % is no drop-off however high."""
    z = np.full((30, 30), 10.0)
    z[10:20, 10:20] = 8.6
    assert len(drops(z)) == 0
    assert len(drops(z, least_height_m=1.39)) == 1
    assert len(drops(np.tile(0.4 * np.arange(50.0), (50, 1)))) == 0


@pytest.mark.parametrize("cell_m", [0.5, 1.0, 5.0, 10.0])
@pytest.mark.parametrize("steep_pct", [30.0, 50.0, 100.0])
def test_least_seen_by_hand(cell_m: float, steep_pct: float) -> None:
    """By hand: made walls just above and just under it; H / (2 w) is Horn's rise over a wall."""
    least = least_seen_m(cell_m, steep_pct)
    assert least == pytest.approx(2 * cell_m * steep_pct / 100)
    for share, seen in ((1.01, 1), (0.99, 0)):
        for at in (20.0, 19.5):  # between two cells, and in the middle of one
            part = np.clip(at - np.arange(40), 0, 1)
            z = np.tile(part * least * share, (40, 1))
            found = drops(z, cell_m=cell_m, steep_pct=steep_pct, least_height_m=0.0)
            assert len(found) == seen


def test_coarse_cells_cannot_show_the_default_edge_by_hand() -> None:
    """By hand: cells of 10 m see no wall under 10 m, so the 1.5 m of the table need 1.5 m cells."""
    steep = load_tables().number("edges.steep_pct")
    assert least_seen_m(10.0, steep) == 10.0
    assert least_seen_m(1.5, steep) == load_tables().number("edges.least_height_m")


def test_beside_unknown_ground_by_hand() -> None:
    """By hand: an edge that goes on into unknown ground is kept however low, and says so."""
    z = terrace(1.4)
    assert len(drops(z)) == 0
    z[15:18, 19:21] = np.nan
    found = drops(z)
    assert len(found) == 2  # north and south of the gap
    assert found["open"].all()
    assert found["height_m"].to_numpy() == pytest.approx([1.4, 1.4])


@pytest.mark.parametrize("size", [(1, 1), (1, 6), (2, 2), (3, 3), (9, 9)])
@pytest.mark.parametrize("value", [4.0, math.nan])
def test_flat_or_unknown_by_hand(size: tuple[int, int], value: float) -> None:
    """By hand: no slope, no edge; the table keeps its columns."""
    found = drops(np.full(size, value))
    assert len(found) == 0
    assert set(found.columns) == {"height_m", "highwall", "open", "zone", "perhaps", "geometry"}
    assert found.crs == UTM


def test_in_degrees_by_hand() -> None:
    """By hand: a wall of 4 m in cells of 1e-5 degrees, about 1 m, lies where it was made."""
    z = np.tile(np.where(np.arange(40) < 20, 14.0, 10.0), (40, 1)).astype(np.float32)
    grid = Grid(z, Affine(1e-5, 0, -92.9, 0, -1e-5, 40.6), CRS.from_epsg(4326), "m", "elevation")
    (wall,) = drop_offs(grid, crs=UTM, limits=EdgeLimits(**LIMITS)).itertuples()
    back = gpd.GeoSeries([wall.geometry], crs=UTM).to_crs(4326).iloc[0]
    assert back.bounds == pytest.approx((-92.89981, 40.59961, -92.89981, 40.59999), abs=1e-8)
    assert wall.height_m == 4.0


def hills(seed: int, size: int = 24) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return ndimage.gaussian_filter(rng.normal(0, 6, (size, size)), 1.2).astype(np.float32)


EIGHT = np.ones((3, 3))


@given(seed=st.integers(0, 10_000))
@settings(max_examples=40)
def test_patches_and_falls_referee(seed: int) -> None:
    """Referee: scipy.ndimage labels the steep cells, and takes the range over each grown patch."""
    z = hills(seed)
    z[seed % 24, seed % 19] = np.nan
    percent = slope(heights(z), crs=UTM).percent.values
    labels, count = ndimage.label(percent >= 50.0, structure=EIGHT)
    slopes = np.pad(percent[1:-1, 1:-1], 1)  # the rim's own heights are known
    expected = []
    for number in range(1, count + 1):
        grown = ndimage.binary_dilation(labels == number, structure=EIGHT)
        fall = float(np.nanmax(z[grown]) - np.nanmin(z[grown]))
        opened = bool(np.isnan(slopes[grown]).any())
        if fall >= 1.5 or opened:
            expected.append((fall, opened, float((labels == number).sum())))
    found = drops(z)
    zones = drops(z, buffer_m=0.0, highwall_buffer_m=0.0)["zone"].area
    told = zip(found["height_m"], found["open"], zones, strict=True)
    for one, other in zip(sorted(told), sorted(expected), strict=True):
        assert one == pytest.approx(other, abs=1e-5)
    assert found["height_m"].is_monotonic_decreasing


@given(seed=st.integers(0, 10_000), quarters=st.integers(0, 3), lift=st.integers(-500, 500))
@settings(max_examples=25)
def test_a_turn_or_a_shift_leaves_all_property(seed: int, quarters: int, lift: int) -> None:
    """Property: turned by a quarter or higher up, the same edges; heights in whole 1/64 m."""
    z = np.round(hills(seed) * 64) / 64
    one = drops(z)
    other = drops(np.rot90(z, quarters) + np.float32(lift))
    assert sorted(one["height_m"]) == sorted(other["height_m"])
    assert sorted(one.geometry.length) == pytest.approx(sorted(other.geometry.length))
    assert sorted(one["zone"].area) == pytest.approx(sorted(other["zone"].area))


@given(seed=st.integers(0, 10_000), row=st.integers(0, 23), column=st.integers(0, 23))
@settings(max_examples=60)
def test_nodata_closes_no_edge_property(seed: int, row: int, column: int) -> None:
    """Property: what is not open without a height was there, just so, with it."""
    z = hills(seed)
    holed = z.copy()
    holed[row, column] = np.nan
    full, less = drops(z), drops(holed)
    whole = {
        (shape.wkb, height) for shape, height in zip(full.geometry, full["height_m"], strict=True)
    }
    shut = less[~less["open"]]
    told = zip(shut.geometry, shut["height_m"], strict=True)
    assert {(shape.wkb, height) for shape, height in told} <= whole


@given(seed=st.integers(0, 10_000), gaps=st.floats(0.0, 0.2))
@settings(max_examples=60)
def test_rough_ground_with_gaps_property(seed: int, gaps: float) -> None:
    """Property: every edge has a crest on its outline, also one without a side uphill."""
    rng = np.random.default_rng(seed)
    z = rng.normal(0, 1.5, (16, 16)).cumsum(axis=0)
    z[rng.random(z.shape) < gaps] = np.nan
    found = drops(z, buffer_m=0.0, highwall_buffer_m=0.0)
    outlines = found["zone"].boundary.buffer(1e-6)
    assert (found.geometry.length > 0).all()
    assert found.geometry.within(outlines).all()


def test_without_an_outer_side_uphill_by_hand() -> None:
    """By hand: a ridge between two ditches is steep only on its top: the crest is its outline."""
    z = np.tile([0.4, 0.4, 0.4, 0.1, 1.2, 1.2, 0.1, 0.4, 0.4, 0.4], (9, 1))
    (ridge,) = drops(z, least_height_m=0.0).itertuples()
    assert ridge.geometry.equals(box(4, 8, 6, 1).boundary)


@given(seed=st.integers(0, 10_000))
@settings(max_examples=25)
def test_the_crest_is_the_upper_side_property(seed: int) -> None:
    """Property: the crest lies on its patch, in the mean higher than the rest of it."""
    z = hills(seed)
    grid = heights(z)
    zones = drops(z, buffer_m=0.0, highwall_buffer_m=0.0)
    for one in zones[~zones["open"]].itertuples():
        outline = one.zone.boundary
        assert outline.buffer(1e-6).contains(one.geometry)
        rest = outline.difference(one.geometry.buffer(1e-6))
        assert mean_height(grid, one.geometry) > mean_height(grid, rest)


def mean_height(grid: Grid, line: shapely.Geometry) -> float:
    """Mean of the heights of the two cells beside a line, every half metre along it."""
    places = shapely.line_interpolate_point(line, np.arange(0.25, max(line.length, 0.3), 0.5))
    x, y = shapely.get_x(places) - WEST, NORTH - shapely.get_y(places)
    held = [
        grid.values[np.floor(y + step).astype(int), np.floor(x + step).astype(int)]
        for step in (-0.01, 0.01)
    ]
    return float(np.mean(held))
