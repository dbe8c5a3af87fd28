"""Slopes of whole fields: by hand, beside two other programs, and what may never happen."""

from __future__ import annotations

import math
import subprocess
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from exactextract import exact_extract
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from fieldmap.grid import Grid
from fieldmap.terrain.coverage import coverage
from fieldmap.terrain.field_slopes import FieldSlopes, field_slopes, weighted_quantile
from fieldmap.terrain.slope import slope

UTM = CRS.from_epsg(32615)
WEST, NORTH, CELL = 500_000.0, 4_500_000.0, 10.0
BREAKS = (3.0, 8.0, 16.0, 30.0, 60.0)
USES = (0.25, 0.5, 0.75)


def grid(values: NDArray[np.floating]) -> Grid:
    place = Affine(CELL, 0, WEST, 0, -CELL, NORTH)
    return Grid(values.astype(np.float32), place, UTM, "m", "elevation")


def plane(east: float, north: float, size: int = 12) -> Grid:
    row, column = np.indices((size, size), dtype=float)
    return grid(CELL * (east * column - north * row))


def hills(size: int = 40, seed: int = 3) -> Grid:
    rng = np.random.default_rng(seed)
    row, column = np.indices((size, size), dtype=float)
    return grid(20 * np.sin(row / 5) * np.cos(column / 7) + rng.normal(0, 0.5, (size, size)))


def box(left: float, top: float, right: float, bottom: float) -> shapely.Polygon:
    """A box given in cells."""
    return shapely.box(
        WEST + CELL * left, NORTH - CELL * bottom, WEST + CELL * right, NORTH - CELL * top
    )


def blob(column: float, row: float, radii: NDArray[np.float64]) -> shapely.Polygon:
    around = np.linspace(0, 2 * math.pi, len(radii), endpoint=False)
    return shapely.Polygon(
        np.column_stack(
            [
                WEST + CELL * (column + radii * np.cos(around)),
                NORTH - CELL * (row + radii * np.sin(around)),
            ]
        )
    )


def some_fields(count: int, size: int, seed: int = 5) -> NDArray[np.object_]:
    rng = np.random.default_rng(seed)
    places = rng.uniform(0.3 * size, 0.7 * size, (count, 2))
    shapes = [blob(*place, rng.uniform(0.08, 0.25, 17) * size) for place in places]
    return np.array([shape.difference(box(18, 18, 20.5, 19.5)) for shape in shapes], object)


def asked(shapes: object, heights: Grid, **more: object) -> FieldSlopes:
    fields = np.atleast_1d(np.asarray(shapes, dtype=object))
    return field_slopes(fields, heights, crs=UTM, breaks_pct=BREAKS, **more)


@pytest.mark.parametrize(("steep", "among"), [(3, 1), (16, 3), (60, 5), (0, 0), (29, 3), (30, 4)])
def test_a_plane_by_hand(steep: int, among: int) -> None:
    """By hand: on a plane mean, 95 % value and steepest are one; a break is the steeper class.

    Whole metres on cells of 100 m: four bytes hold them, so that a break is met and not missed.
    """
    column = np.indices((12, 12), dtype=float)[1]
    place = Affine(100, 0, WEST, 0, -100, NORTH)
    heights = Grid((steep * column).astype(np.float32), place, UTM, "m", "elevation")
    found = asked(shapely.box(WEST + 150, NORTH - 900, WEST + 925, NORTH - 150), heights)
    for figure in (found.mean_pct, found.p95_pct, found.max_pct):
        assert figure[0] == pytest.approx(steep, rel=1e-9)
    assert found.class_shares[0] == pytest.approx(np.eye(6)[among], abs=1e-12)
    assert (found.known_share[0], found.unknown_share[0]) == (1.0, 0.0)
    assert found.cell_m[0] == pytest.approx(100.0)


def test_two_slopes_by_hand() -> None:
    """By hand: a quarter of a field at 20 % and the rest level; the fold between weighs a cell."""
    column = np.indices((12, 20), dtype=float)[1]
    heights = grid(2.0 * np.maximum(column - 10, 0))
    # columns 3..9 are level, 10 is the fold (10 %), 11 on are 20 %
    found = asked(box(3, 2, 13, 8), heights)
    assert found.mean_pct[0] == pytest.approx(0.1 * 10 + 0.2 * 20, rel=1e-5)
    assert found.p95_pct[0] == pytest.approx(20.0, rel=1e-5)
    assert found.class_shares[0] == pytest.approx([0.7, 0, 0.1, 0.2, 0, 0], abs=1e-9)
    # a twentieth and less may be steeper than the 95 % value
    assert asked(box(3, 2, 11.2, 8), heights).p95_pct[0] == pytest.approx(10.0, rel=1e-5)


def test_side_slope_use_by_hand() -> None:
    """By hand: u = tan(atan(across) + bump roll) / (T / 2h) on a plane that falls to the west."""
    heights, field = plane(0.20, 0.0), box(2, 2, 9, 9)
    bump, stability = math.asin(0.15 / 1.6), 1.6 / (2 * 0.9)
    for heading, across in ((0.0, 0.2), (90.0, 0.0), (45.0, 0.2 * math.sqrt(0.5)), (math.nan, 0.2)):
        use = math.tan(math.atan(across) + bump) / stability
        above = [use * 0.999, use * 1.001]
        found = asked(
            field,
            heights,
            lines_deg=np.array([heading]),
            bump_roll_rad=bump,
            stability=stability,
            use_breaks=above,
        )
        assert found.use_shares[0] == pytest.approx([0.0, 1.0, 0.0], abs=1e-9), heading


def test_beyond_a_right_angle_all_is_used_by_hand() -> None:
    """By hand: a slope of 200 % and a roll of 60 degrees lean past upright."""
    found = asked(
        box(2, 2, 9, 9), plane(2.0, 0.0), bump_roll_rad=1.05, stability=50.0, use_breaks=(1e9,)
    )
    assert found.use_shares[0] == pytest.approx([0.0, 1.0])


@pytest.mark.parametrize(("bump", "stability"), [(math.nan, 0.9), (0.1, math.nan)])
def test_an_unknown_machine_uses_nothing_known_by_hand(bump: float, stability: float) -> None:
    """By hand: without track width or height of the centre of gravity the use is unknown, not 0."""
    found = asked(
        box(2, 2, 9, 9),
        plane(0.1, 0.0),
        bump_roll_rad=bump,
        stability=stability,
        use_breaks=USES,
    )
    assert np.isnan(found.use_shares).all()
    assert found.mean_pct[0] == pytest.approx(10.0, rel=1e-5)


def test_unknown_ground_by_hand() -> None:
    """By hand: nothing known is NaN and never 0; what reaches beyond the raster is unknown."""
    nothing = asked(box(2, 2, 9, 9), grid(np.full((12, 12), np.nan)))
    for figures in (nothing.mean_pct, nothing.p95_pct, nothing.max_pct, nothing.class_shares[0]):
        assert np.isnan(figures).all()
    assert (nothing.known_share[0], nothing.unknown_share[0]) == (0.0, 1.0)
    lost = shapely.box(0, 0, 1e30, 1e30)
    away = asked([box(30, 30, 40, 40), shapely.Polygon(), lost], plane(0.1, 0.0))
    assert (away.unknown_share == 1.0).all()
    assert np.isnan(away.class_shares).all()
    # rim cells have no slope: of columns -2..4 only 1..3 are known, half of the rows are outside
    rim = asked(box(-2, -4, 4, 6), plane(0.1, 0.0))
    assert rim.known_share[0] == pytest.approx(3 * 5 / 60)
    assert rim.class_shares[0].sum() == pytest.approx(3 * 5 / 60)
    assert rim.mean_pct[0] == pytest.approx(10.0, rel=1e-5)


def test_one_gap_by_hand() -> None:
    """By hand: an unknown height takes the nine slopes it belongs to."""
    heights = plane(0.1, 0.0).values.copy()
    heights[5, 5] = np.nan
    found = asked(box(2, 2, 10, 10), grid(heights))
    assert found.unknown_share[0] == pytest.approx(9 / 64)


def test_no_fields_by_hand() -> None:
    """By hand: no fields, no rows."""
    assert asked([], plane(0.1, 0.0)).mean_pct.shape == (0,)


def test_many_fields_are_each_their_own_property() -> None:
    """Property: 300 fields at once, over the seams of the threads' shares, are 300 fields alone."""
    shapes, heights = some_fields(300, 40), hills()
    together = asked(shapes, heights)
    for k in (0, 127, 128, 255, 256, 299):
        alone = asked(shapes[k], heights)
        for all_of_them, one in zip(together, alone, strict=True):
            np.testing.assert_array_equal(all_of_them[k], one[0])


def test_the_layers_give_the_same_figures_referee() -> None:
    """Referee: numpy over ``slope()`` and ``coverage()``; its quantile is definition 1 as well."""
    heights = hills()
    percent = slope(heights, crs=UTM).percent.values.astype(float)
    shapes = some_fields(40, 40)
    found = asked(shapes, heights)
    for k, shape in enumerate(shapes):
        share = coverage(shape, heights.transform, heights.shape)
        known = np.isfinite(percent) & (share > 0)
        values, weights = percent[known], share[known]
        assert found.mean_pct[k] == pytest.approx(np.average(values, weights=weights), rel=1e-9)
        expected = np.quantile(values, 0.95, weights=weights, method="inverted_cdf")
        assert found.p95_pct[k] == pytest.approx(expected, rel=1e-6)
        assert found.max_pct[k] == pytest.approx(values.max(), rel=1e-6)
        assert found.known_share[k] == pytest.approx(weights.sum() / share.sum(), rel=1e-9)
        classes = np.bincount(np.digitize(values, BREAKS), weights, minlength=6) / share.sum()
        assert found.class_shares[k] == pytest.approx(classes, abs=1e-9)


@pytest.mark.gdaldem
def test_gdaldem_and_exactextract_referee(gdaldem: str, tmp_path: Path) -> None:
    """Referee: gdaldem's slope (GDAL 3.6.2), summed up by exactextract (0.2.2 on).

    Mean to 1e-4 percentage points and the steepest to 1e-3: both hold slopes in four bytes, and
    gdaldem works them out in four bytes too.
    """
    heights, shapes = hills(), some_fields(40, 40)
    source, target = tmp_path / "e.tif", tmp_path / "s.tif"
    with rasterio.open(
        source, "w", driver="GTiff", dtype="float32", count=1, width=40, height=40,
        crs="EPSG:32615", transform=heights.transform,
    ) as file:  # fmt: skip
        file.write(heights.values, 1)
    subprocess.run([gdaldem, "slope", "-p", "-q", source, target], check=True, timeout=60)
    table = gpd.GeoDataFrame(geometry=list(shapes), crs="EPSG:32615")
    with rasterio.open(target) as file:
        theirs = exact_extract(file, table, ["mean", "max", "count"], output="pandas")
    found = asked(shapes, heights)
    assert np.abs(found.mean_pct - theirs["mean"]).max() < 1e-4
    assert np.abs(found.max_pct - theirs["max"]).max() < 1e-3
    cells = found.known_share * shapely.area(shapes) / CELL**2
    assert np.abs(cells - theirs["count"]).max() < 1e-3


def test_degrees_and_metres_agree_referee() -> None:
    """Referee: a hill's own formula, sampled in degrees and in metres; within 0.1 points."""
    lon, lat = -90.2, 45.0
    east, north = Transformer.from_crs(4326, UTM, always_xy=True).transform(lon, lat)
    back = Transformer.from_crs(UTM, 4326, always_xy=True)

    def hill(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        return 0.05 * (x - east) + 25 * np.exp(-((x - east) ** 2 + (y - north) ** 2) / 2e4)

    row, column = np.indices((120, 120))
    degrees = Affine(1e-4, 0, lon - 0.006, 0, -1e-4, lat + 0.006)
    xs, ys = Transformer.from_crs(4326, UTM, always_xy=True).transform(
        *(degrees @ (column + 0.5, row + 0.5))
    )
    metres = Affine(8, 0, east - 480, 0, -8, north + 480)
    plain = Grid(
        hill(*(metres @ (column + 0.5, row + 0.5))).astype(np.float32), metres, UTM, "m", "e"
    )
    turned = Grid(hill(xs, ys).astype(np.float32), degrees, CRS.from_epsg(4326), "m", "e")
    field = shapely.Point(east, north).buffer(250)
    there = shapely.transform(field, lambda xy: np.column_stack(back.transform(*xy.T)))
    lines = np.array([30.0])
    rolls = {"lines_deg": lines, "bump_roll_rad": 0.05, "stability": 0.9, "use_breaks": USES}
    ours, theirs = asked(field, plain, **rolls), asked(there, turned, **rolls)
    assert ours.mean_pct[0] == pytest.approx(theirs.mean_pct[0], abs=0.1)
    assert ours.p95_pct[0] == pytest.approx(theirs.p95_pct[0], abs=0.1)
    assert ours.class_shares[0] == pytest.approx(theirs.class_shares[0], abs=0.01)
    assert ours.use_shares[0] == pytest.approx(theirs.use_shares[0], abs=0.01)


@given(quarters=st.integers(1, 3), east=st.integers(-50, 50), up=st.sampled_from([0.0, 256.0]))
def test_turning_and_shifting_leave_the_figures_property(
    quarters: int, east: int, up: float
) -> None:
    """Property: the landscape turned by right angles, moved and lifted has the same figures."""
    rng = np.random.default_rng(quarters)
    # heights in 64ths of a metre, so that lifting by 256 m loses no digit
    values = np.round(rng.normal(0, 2, (30, 30)) * 64) / 64
    field = blob(15, 15, rng.uniform(5, 11, 13))
    lines = np.array([37.0])
    machine = {"bump_roll_rad": 0.1, "stability": 0.9, "use_breaks": USES}
    plain = asked(field, grid(values), lines_deg=lines, **machine)
    middle = (WEST + 150, NORTH - 150)
    shifted = shapely.affinity.translate(
        shapely.affinity.rotate(field, 90 * quarters, origin=middle), CELL * east, 0
    )
    turned = grid(np.rot90(values, quarters) + up)
    place = Affine.translation(CELL * east, 0) @ turned.transform
    moved = Grid(turned.values, place, UTM, "m", "elevation")
    found = asked(shifted, moved, lines_deg=lines - 90 * quarters, **machine)
    for ours, theirs in zip(plain, found, strict=True):
        assert ours == pytest.approx(theirs, rel=1e-5, abs=1e-6)


@given(
    gaps=st.lists(st.tuples(st.integers(0, 19), st.integers(0, 19)), min_size=1, max_size=30),
    seed=st.integers(0, 5),
)
def test_less_known_never_tells_more_property(gaps: list[tuple[int, int]], seed: int) -> None:
    """Property: taking heights away never lowers the unknown share, and raises no class's share."""
    whole = hills(20, seed)
    values = whole.values.copy()
    field = blob(10, 10, np.random.default_rng(seed).uniform(2, 9, 9))
    machine = {"bump_roll_rad": 0.1, "stability": 0.9, "use_breaks": USES}
    before = asked(field, whole, **machine)
    values[tuple(np.array(gaps).T)] = np.nan
    after = asked(field, grid(values), **machine)
    assert after.unknown_share[0] >= before.unknown_share[0] - 1e-12
    for shares, full in (
        (after.class_shares[0], before.class_shares[0]),
        (after.use_shares[0], before.use_shares[0]),
    ):
        if after.known_share[0] == 0:
            assert np.isnan(shares).all()
            continue
        assert (shares <= full + 1e-12).all()
        assert shares.sum() == pytest.approx(after.known_share[0], abs=1e-9)
    if after.known_share[0] == 0:
        assert np.isnan([after.mean_pct, after.p95_pct, after.max_pct]).all()
    else:
        assert after.max_pct[0] <= before.max_pct[0]


@given(
    values=st.lists(st.floats(0, 300), min_size=1, max_size=400),
    share=st.floats(0.01, 1.0),
    seed=st.integers(0, 99),
)
def test_weighted_quantile_referee(values: list[float], share: float, seed: int) -> None:
    """Referee: sort everything and add up; the least value that the share does not exceed."""
    held = np.array(values)
    weights = np.random.default_rng(seed).integers(1, 9, len(held)).astype(float)
    order = np.argsort(held, kind="stable")
    sums = np.cumsum(weights[order])
    expected = held[order][np.searchsorted(sums, share * sums[-1] * (1 - 1e-12))]
    assert weighted_quantile(held, weights, share) == expected


def test_values_that_hardly_differ_regression() -> None:
    """Regression: a spread of 5e-324 made a bin of no number, and wrote beside the bins."""
    values = np.array([5e-324, 0.0, 5e-324])
    assert weighted_quantile(values, np.ones(3), 0.3) == 0.0
    assert weighted_quantile(values, np.ones(3), 0.9) == 5e-324
