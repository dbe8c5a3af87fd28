"""Drainage against the published definitions, a plain referee, and what nobody knows."""

from __future__ import annotations

import math

import numpy as np
import pytest
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS
from scipy.stats import percentileofscore

from fieldmap.grid import Grid
from fieldmap.terrain.drainage import (
    Drainage,
    drainage,
    under_stage,
    wet_rank,
    wetness_index,
)

UTM = CRS.from_epsg(32615)
WEST, NORTH = 500_000.0, 4_500_000.0
SIDES = [(row, column) for row in (-1, 0, 1) for column in (-1, 0, 1) if (row, column) != (0, 0)]


def heights(values: object, *, cell_m: float = 10.0) -> Grid:
    transform = Affine(cell_m, 0, WEST, 0, -cell_m, NORTH)
    return Grid(np.asarray(values, np.float32), transform, UTM, "m", "elevation")


def drained(values: object, *, cell_m: float = 10.0, stream_ha: float = 0.05) -> Drainage:
    return drainage(heights(values, cell_m=cell_m), crs=UTM, stream_ha=stream_ha, least_tan=0.001)


def grown(seed: int, rows: int = 12, columns: int = 14) -> np.ndarray:
    """Random ground without pits: it grows from the rim inwards, each cell higher than one before.

    No two cells are of one height.
    """
    rng = np.random.default_rng(seed)
    z = np.full((rows, columns), np.nan)
    z[[0, -1]] = rng.uniform(0, 3, (2, columns))
    z[:, [0, -1]] = rng.uniform(0, 3, (rows, 2))
    waiting = [(int(i), int(j)) for i, j in np.argwhere(~np.isnan(z))]
    while waiting:
        i, j = waiting[rng.integers(len(waiting))]
        free = [
            (i + k, j + m)
            for k, m in SIDES
            if 0 <= i + k < rows and 0 <= j + m < columns and np.isnan(z[i + k, j + m])
        ]
        if not free:
            waiting.remove((i, j))
            continue
        cell = free[rng.integers(len(free))]
        z[cell] = z[i, j] + rng.uniform(0.05, 1.0)
        waiting.append(cell)
    return z.astype(np.float32)


def rough(seed: int, size: int = 14) -> np.ndarray:
    """Random ground with many pits, no two cells of one height."""
    rng = np.random.default_rng(seed)
    return rng.permutation(np.linspace(0, 5, size * size)).reshape(size, size).astype(np.float32)


@pytest.mark.parametrize(
    ("a_m", "tan_b", "index"),
    [
        (100.0, math.tan(math.radians(5.0)), 7.041416),
        (500.0, 0.10, 8.517193),
        (1000.0, 0.02, 10.819778),
    ],
)
def test_wetness_index_referee(a_m: float, tan_b: float, index: float) -> None:
    """Referee: ln(a / tan b) of Beven & Kirkby (1979), worked out apart from this project."""
    assert float(wetness_index(a_m, tan_b, least_tan=0.001)) == pytest.approx(index, abs=1e-6)


def test_level_ground_has_the_floor_by_hand() -> None:
    """By hand: tan b of 0 counts as the floor; a slope nobody knows stays unknown."""
    found = wetness_index(
        np.array([50.0, 50.0, 50.0]), np.array([0.0, 1e-6, np.nan]), least_tan=0.01
    )
    assert found[:2] == pytest.approx(math.log(5000.0))
    assert np.isnan(found[2])


ACROSS = [101, 102, 103, 101, 100, 101, 103, 102, 101]


def valley() -> np.ndarray:
    """Falls to the south; ridges either side, and ground that falls away beyond them."""
    return np.array(ACROSS, float) - 0.1 * np.arange(9)[:, None]


def test_valley_referee() -> None:
    """Referee: the flow path 103 -> 101 -> 100 has 3, 1 and 0 m (Nobre et al. 2011: definition)."""
    found = drained(valley())
    assert found.hand_m.values[4, 2:7] == pytest.approx([3, 1, 0, 1, 3], abs=1e-5)
    assert (found.stream.values[1:, 4] == 1).all()
    assert found.channel_deg.values[4, 2:7] == pytest.approx(180.0)
    assert (found.cut.values[4, [2, 3, 5, 6]] == 0).all()


def test_channel_bearing_by_hand() -> None:
    """By hand: the valley turned a quarter: its water runs east."""
    found = drained(np.rot90(valley()))
    assert found.channel_deg.values[2:7, 4] == pytest.approx(90.0)


def test_channel_bearing_is_that_of_a_chord_by_hand() -> None:
    """By hand: a channel of steps east and south-east by turns runs two east to one south."""
    row, column = np.indices((14, 24))
    path = [(2 + k // 2, 2 + k) for k in range(22)]
    off = np.min([np.maximum(abs(row - i), abs(column - j)) for i, j in path], axis=0)
    z = 20.0 + off
    for k, cell in enumerate(path):
        z[cell] = 10 - 0.1 * k
    ground = heights(z)
    for steps, bearing in ((4, 90 + math.degrees(math.atan2(1, 2))), (1, 90.0), (2, 116.565)):
        found = drainage(ground, crs=UTM, stream_ha=0.02, least_tan=0.001, chord_cells=steps)
        assert found.stream.values[4, 6] == 1
        assert found.channel_deg.values[4, 6] == pytest.approx(bearing, abs=1e-3)


def test_beyond_the_ridge_by_hand() -> None:
    """By hand: one cell beyond a ridge the nearest stream is not the one the water goes to."""
    across = [112, 110, 112, 116, 115, 114, 113, 112, 111, 100, 111, 112, 101]
    found = drained(np.array(across, float) - 0.1 * np.arange(20)[:, None], stream_ha=0.3)
    row = 16
    streams = np.flatnonzero(found.stream.values[row] == 1)
    assert streams.tolist() == [1, 9]
    assert abs(4 - streams).argmin() == 0  # column 4 lies nearer to column 1
    drop_west, drop_east = across[4] - across[1], across[4] - across[9]
    assert found.hand_m.values[row, 4] == pytest.approx(drop_east, abs=0.31)  # some rows south
    assert abs(found.hand_m.values[row, 4] - drop_west) > 5
    assert found.hand_m.values[row, 2] == pytest.approx(across[2] - across[1], abs=0.11)


def roof() -> np.ndarray:
    """A ridge along the second row; south of it 10 % in cells of 10 m."""
    return np.array([90.0, 100.0, *(99.0 - np.arange(10))])[:, None] * np.ones(9)


def test_upslope_and_wetness_of_a_roof_by_hand() -> None:
    """By hand: k rows below the ridge k cells drain through each; a is k cells long."""
    found = drained(roof())
    for k in range(1, 8):
        row = 1 + k
        assert found.upslope_ha.values[row, 4] == pytest.approx(0.01 * k)
        if k > 1:  # the window of the row under the ridge holds the ridge's own slope
            assert found.wetness.values[row, 4] == pytest.approx(math.log(10.0 * k / 0.1), rel=1e-5)
    assert (found.cut.values[2:-1, 1:-1] == 0).all()
    assert np.isnan(found.wetness.values[0]).all()


@pytest.mark.parametrize(("epsg", "cell"), [(2288, 30.0), (4326, 1e-4)], ids=["feet", "degrees"])
def test_other_systems_referee(epsg: int, cell: float) -> None:
    """Referee: pyproj's own area on the ellipsoid of a cell in feet or degrees, within 0.3 %."""
    from pyproj import Geod, Transformer

    crs = CRS.from_epsg(epsg)
    x, y = Transformer.from_crs(4326, crs, always_xy=True).transform(-90.2, 45.0)
    transform = Affine(cell, 0, x, 0, -cell, y)
    grid = Grid(roof().astype(np.float32), transform, crs, "m", "elevation")
    found = drainage(grid, crs=UTM, stream_ha=0.05, least_tan=0.001)
    corners = [transform @ corner for corner in ((4, 4), (5, 4), (5, 5), (4, 5))]
    lon, lat = Transformer.from_crs(crs, 4326, always_xy=True).transform(
        *zip(*corners, strict=True)
    )
    area_m2 = abs(Geod(ellps="WGS84").polygon_area_perimeter(lon, lat)[0])
    assert found.upslope_ha.values[6, 4] == pytest.approx(5 * area_m2 / 1e4, rel=3e-3)
    assert (found.hand_m.values[7, 2:7] >= 0).all()


def below(z: np.ndarray, i: int, j: int) -> tuple[int, int] | None:
    """The neighbour down the steepest way, in square cells."""
    best, where = 0.0, None
    for k, m in SIDES:
        if 0 <= i + k < z.shape[0] and 0 <= j + m < z.shape[1]:
            steep = (float(z[i, j]) - float(z[i + k, j + m])) / math.hypot(k, m)
            if steep > best:
                best, where = steep, (i + k, j + m)
    return where


def plain(z: np.ndarray, *, cell_m: float, stream_ha: float) -> dict[str, np.ndarray]:
    """The definitions in plain Python, cell by cell, on ground without pits."""
    rows, columns = z.shape
    rim = {(i, j) for i in range(rows) for j in range(columns)
           if i in (0, rows - 1) or j in (0, columns - 1)}  # fmt: skip

    cells = [(i, j) for i in range(rows) for j in range(columns)]
    count, cut = np.ones((rows, columns)), np.zeros((rows, columns))
    for start in cells:
        here, certain = start, start not in rim
        cut[here] = max(cut[here], start in rim)
        while (under := below(z, *here)) is not None:
            here = under
            cut[here] = max(cut[here], start in rim)
            count[here] += certain
            certain &= here not in rim
    stream = count * cell_m**2 / 1e4 >= stream_ha - 1e-12
    hand = np.full((rows, columns), np.nan)
    for start in cells:
        here = start
        while not stream[here] and not cut[here]:
            here = below(z, *here)
        if stream[here]:
            hand[start] = max(float(z[start]) - float(z[here]), 0.0)
    return {"hand": hand, "upslope": count * cell_m**2 / 1e4, "cut": cut, "stream": stream}


@pytest.mark.parametrize("seed", range(25))
def test_definitions_in_plain_python_referee(seed: int) -> None:
    """Referee: D8 and height above drainage, cell by cell in plain Python."""
    z = grown(seed)
    known = plain(z, cell_m=10.0, stream_ha=0.05)
    found = drained(z)
    assert found.upslope_ha.values == pytest.approx(known["upslope"], rel=1e-5)
    assert (found.cut.values == known["cut"]).all()
    assert (found.stream.values == known["stream"]).all()
    assert found.hand_m.values == pytest.approx(known["hand"], abs=1e-5, nan_ok=True)
    assert np.isfinite(known["hand"]).sum() > 20


@given(seed=st.integers(0, 10_000), lift=st.integers(-3000, 3000))
@settings(max_examples=25)
def test_a_shift_leaves_all_property(seed: int, lift: int) -> None:
    """Property: the same ground at another height drains alike (heights in whole 1/64 m)."""
    z = np.round(rough(seed) * 64) / 64
    low, high = drained(z), drained(z + lift)
    for one, other in zip(low, high, strict=True):
        assert one.values == pytest.approx(other.values, nan_ok=True, rel=1e-6)


@given(seed=st.integers(0, 10_000), quarters=st.integers(1, 3))
@settings(max_examples=25)
def test_a_turn_leaves_hand_and_area_property(seed: int, quarters: int) -> None:
    """Property: turned by a quarter, without pits, every cell keeps height, area and cut."""
    z = grown(seed)
    plain_way, turned = drained(z), drained(np.rot90(z, quarters))
    for name in ("hand_m", "upslope_ha", "cut", "stream"):
        one = np.rot90(getattr(plain_way, name).values, quarters)
        assert getattr(turned, name).values == pytest.approx(one, nan_ok=True)
    one = np.rot90(plain_way.channel_deg.values, quarters)
    off = (turned.channel_deg.values + 90.0 * quarters - one + 180.0) % 360.0 - 180.0
    assert np.nanmax(np.abs(off), initial=0.0) < 1e-3
    assert (np.isnan(off) == np.isnan(one)).all()


holes = st.lists(st.tuples(st.integers(0, 11), st.integers(0, 11)), min_size=1, max_size=12)


@given(seed=st.integers(0, 100_000), where=holes, pits=st.booleans())
@settings(max_examples=150)
def test_nodata_never_improves_property(
    seed: int, where: list[tuple[int, int]], pits: bool
) -> None:
    """Property: unknown heights make no height above drainage known or other, and no cut whole."""
    z = rough(seed) if pits else grown(seed)
    holed = z.copy()
    for cell in where:
        holed[cell] = np.nan
    full, less = drained(z), drained(holed)
    hand, fewer = full.hand_m.values, less.hand_m.values
    told = np.isfinite(fewer)
    assert fewer[told] == pytest.approx(hand[told], abs=1e-5)
    assert (less.cut.values >= full.cut.values).all()
    known = np.isfinite(holed)
    assert (less.upslope_ha.values <= full.upslope_ha.values * (1 + 1e-6))[known].all()
    assert (np.isnan(less.upslope_ha.values) == ~known).all()


def test_unknown_ground_round_the_window_by_hand() -> None:
    """By hand: a window that reads beyond the end of the raster tells as much as one that ends."""
    z = rough(7)
    one = drained(z)
    other = drained(np.pad(z, ((3, 1), (0, 4)), constant_values=np.nan))
    for name in Drainage._fields:
        inner = getattr(other, name).values[3:-1, :-4]
        assert inner == pytest.approx(getattr(one, name).values, nan_ok=True)
    assert np.isfinite(one.hand_m.values).sum() > 50


def test_a_gap_in_the_stream_by_hand() -> None:
    """By hand: below a cell that nobody knows the valley may be a stream or not."""
    holed = valley()
    holed[4, 4] = np.nan
    found = drained(holed, stream_ha=0.15)
    assert np.isnan(found.hand_m.values[5, 2:7]).all()
    assert (found.cut.values[5:, 4] == 1).all()
    whole = drained(valley(), stream_ha=0.15)
    assert np.isfinite(whole.hand_m.values[5, 2:7]).all()


@pytest.mark.parametrize("size", [(1, 1), (1, 5), (2, 2), (3, 3), (6, 7)])
def test_nothing_known_by_hand(size: tuple[int, int]) -> None:
    """By hand: of heights that nobody knows nothing is told, and everything is cut."""
    found = drained(np.full(size, np.nan))
    for grid in found[:-1]:
        assert np.isnan(grid.values).all()
    assert (found.cut.values == 1).all()


@pytest.mark.parametrize("size", [(1, 1), (1, 5), (2, 2)])
def test_too_little_to_tell_by_hand(size: tuple[int, int]) -> None:
    """By hand: a window that is all rim has no wetness and no height above drainage."""
    found = drained(np.zeros(size), stream_ha=1.0)
    assert np.isnan(found.hand_m.values).all()
    assert np.isnan(found.wetness.values).all()
    assert (found.cut.values == 1).all()


def test_level_ground_by_hand() -> None:
    """By hand: on level ground every cell drains somewhere, and the floor holds the wetness."""
    found = drained(np.full((7, 7), 20.0))
    inside = (slice(1, -1), slice(1, -1))
    assert np.isfinite(found.wetness.values[inside]).all()
    assert found.wetness.values[inside].min() >= math.log(10.0 / 0.001) - 1e-5
    told = found.hand_m.values[np.isfinite(found.hand_m.values)]
    assert (told == 0).all()


def test_stage_by_hand() -> None:
    """By hand: at the stage is wet; unknown is neither; a depth that nobody gave tells nothing."""
    hand = np.array([[0.0, 1.5], [1.6, np.nan]])
    wet, unknown = under_stage(hand, 1.5)
    assert wet.tolist() == [[True, True], [False, False]]
    assert unknown.tolist() == [[False, False], [False, True]]
    wet, unknown = under_stage(hand, math.nan)
    assert not wet.any()
    assert unknown.all()


@given(
    sample=st.lists(st.integers(0, 9), min_size=1, max_size=30),
    values=st.lists(st.integers(-1, 10), min_size=1, max_size=10),
)
def test_rank_referee(sample: list[int], values: list[int]) -> None:
    """Referee: scipy.stats.percentileofscore, kind "mean"."""
    found = wet_rank(np.array([*values, np.nan]), of=np.array([*sample, np.nan], float))
    assert np.isnan(found[-1])
    expected = [percentileofscore(sample, one, kind="mean") / 100.0 for one in values]
    assert found[:-1] == pytest.approx(expected)


def test_rank_without_a_sample_by_hand() -> None:
    """By hand: a farm of which nothing is known ranks nothing."""
    assert np.isnan(wet_rank(np.array([1.0, 2.0]), of=np.array([np.nan]))).all()
