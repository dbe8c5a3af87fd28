"""The farm's water on a field's cells, and the ground that a flood of a given depth wets."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from affine import Affine
from pyproj import CRS, Transformer
from small_ground import SOUTH, TABLES, UTM, WEST, box, heights, layers_of, marks, mower, seen_in

from fieldmap.grid import Grid
from fieldmap.risk.layers import Site, field_layers
from fieldmap.risk.place_findings import place_findings
from fieldmap.risk.water import FarmWater, farm_water, stage_ground, water_cells
from fieldmap.tables import Tables

MINE = TABLES.with_overrides({"drainage.stream_ha": 0.5})
FIELDS = [box(40, 40, 160, 200), box(200, 40, 300, 200)]


def valley(cell_m: float = 10.0) -> Grid:
    """A valley that falls to the south, its channel at 180 m east; ridges 3 % above it."""
    rows, columns = round(240 / cell_m), round(360 / cell_m)
    row, column = np.indices((rows, columns), dtype=float)
    x, y = cell_m * (column + 0.5), 240 - cell_m * (row + 0.5)
    place = Affine(cell_m, 0, WEST, 0, -cell_m, SOUTH + 240)
    return Grid(risen(x, y).astype(np.float32), place, UTM, "m", "elevation")


def risen(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Heights of the valley at metres east and north."""
    off = np.abs(x - 180)
    return 0.03 * np.minimum(off, 140) + 0.01 * y - 0.1 * np.maximum(off - 140, 0)


def drained(grid: Grid, *, thinned: float = 1.0, tables: Tables = MINE) -> FarmWater:
    side = abs(grid.transform.a)
    return farm_water(grid, FIELDS, crs=UTM, cell_m=side, native_m=side / thinned, tables=tables)


def test_ranks_are_of_the_fields_alone_by_hand() -> None:
    """By hand: ranks only where a field is, from 0 to 1, the mean in the middle."""
    water = drained(valley())
    known = np.isfinite(water.rank.values)
    assert known[10, [8, 25]].all()
    assert not known[[10, 0], [18, 0]].any()
    ranks = water.rank.values[known]
    assert 0 <= ranks.min() < 0.1
    assert 0.9 < ranks.max() <= 1
    assert ranks.mean() == pytest.approx(0.5, abs=1e-6)


def test_cells_take_what_lies_under_their_middle_by_hand() -> None:
    """By hand: 5 m cells of a field on 10 m cells of the farm, shifted; none beyond the farm."""
    water = drained(valley())
    fine = Grid(
        np.zeros((4, 4), np.float32), Affine(5, 0, WEST + 60, 0, -5, SOUTH + 100), UTM, "m", "z"
    )
    found = water_cells(water, fine)
    under = water.rank.values[14:16, 6:8]
    assert (found.rank == np.repeat(np.repeat(under, 2, 0), 2, 1)).all()
    away = Grid(fine.values, Affine(5, 0, WEST + 355, 0, -5, SOUTH + 10), UTM, "m", "z")
    hand = water_cells(water, away).hand_m
    assert np.isnan(hand[:, 1:]).all()
    assert np.isnan(hand[2:]).all()
    cut = water_cells(water, away).cut
    assert np.isfinite(cut[:2, 0]).all()
    assert np.isnan(cut[2:]).all()
    aslant = Grid(fine.values, Affine(4, 0, WEST + 69, 0, -4, SOUTH + 100), UTM, "m", "z")
    assert (water_cells(water, aslant).rank[0, :2] == water.rank.values[14, 7]).all()
    assert np.isnan(water_cells(None, fine).rank).all()


def test_thinned_ground_says_so_by_hand() -> None:
    """By hand: the side of the larger cells is kept, and told; of the raster's own nothing."""
    grid = valley(2.0)
    assert np.isnan(water_cells(drained(grid), grid).cell_m)
    coarse = drained(valley(), thinned=5.0)
    assert water_cells(coarse, valley()).cell_m == 10.0
    layers = field_layers(
        box(60, 60, 140, 140), heights(grid.values, cell_m=2.0), marks(), seen_in(FIELDS[0]),
        crs=UTM, machine=mower(), tables=MINE, site=Site(water=coarse),
    )  # fmt: skip
    words = [
        one.finding.why
        for one in place_findings("F", layers, heights(grid.values, cell_m=2.0), tables=MINE)
        if one.finding.what == "wet ground"
    ]
    assert "thinned to cells of 10 m" in words[0]


def test_a_flood_by_its_depth_by_hand() -> None:
    """By hand: 1.5 m over the channel reach 50 m up 3 % on each side, to the cell."""
    wet, unknown = stage_ground(drained(valley()), 1.5, box(0, 0, 360, 240), crs=UTM)
    row = shapely.intersection(shapely.difference(wet, unknown), box(0, 95, 360, 96))
    west, _, east, _ = row.bounds
    assert (west - WEST, east - WEST) == pytest.approx((130, 230), abs=10)
    assert shapely.union(wet, unknown).area < 360 * 240


def test_ground_beyond_the_heights_is_not_known_to_stay_dry_regression() -> None:
    """Regression: a field that the elevation did not reach was held to be dry."""
    ground = box(300, 100, 500, 140)
    _, unknown = stage_ground(drained(valley()), 1.5, ground, crs=UTM)
    assert shapely.intersection(unknown, box(360, 100, 500, 140)).area == pytest.approx(140 * 40)
    wet, unknown = stage_ground(None, 1.5, ground, crs=UTM)
    assert wet.is_empty
    assert unknown.equals(ground)


def test_a_hole_in_the_heights_is_not_known_to_stay_dry_by_hand() -> None:
    """By hand: heights gone on a ridge: that ground is wet or not known."""
    grid = valley()
    values = grid.values.copy()
    values[8:12, 6:9] = np.nan
    water = drained(grid.with_values(values, unit="m", name="elevation"))
    wet, unknown = stage_ground(water, 0.2, FIELDS[0], crs=UTM)
    hole = box(60, 120, 90, 160)
    assert shapely.intersection(shapely.union(wet, unknown), hole).area == pytest.approx(hole.area)


def test_a_flood_on_a_raster_in_degrees_is_the_same_ground_property() -> None:
    """Property: wetted ground from a raster in degrees lies where that from metres does, to 8 %."""
    degrees = CRS.from_epsg(4326)
    metres = valley(5.0)
    there = Transformer.from_crs(UTM, degrees, always_xy=True)
    lon, lat = there.transform(WEST, SOUTH + 240)
    east, south = there.transform(WEST + 360, SOUTH)
    columns, rows = 72, 48
    transform = Affine((east - lon) / columns, 0, lon, 0, (south - lat) / rows, lat)
    column, row = np.meshgrid(np.arange(columns) + 0.5, np.arange(rows) + 0.5)
    back = Transformer.from_crs(degrees, UTM, always_xy=True)
    x, y = back.transform(*(transform @ (column, row)))
    z = risen(x - WEST, y - SOUTH)
    grid = Grid(z.astype(np.float32), transform, degrees, "m", "elevation")
    water = farm_water(grid, FIELDS, crs=UTM, cell_m=5.0, native_m=5.0, tables=MINE)
    ground = box(20, 20, 340, 200)
    one, other = (
        shapely.intersection(shapely.union_all(stage_ground(held, 1.5, ground, crs=UTM)), ground)
        for held in (drained(metres), water)
    )
    assert shapely.symmetric_difference(one, other).area < 0.08 * one.area


def test_a_field_without_drainage_is_not_ranked_by_hand() -> None:
    """By hand: nobody worked the farm's water out, so no field is said to be dry."""
    layers = layers_of(box(40, 40, 100, 100), heights(np.zeros((30, 30))))
    (wet,) = [
        one.finding
        for one in place_findings("F", layers, heights(np.zeros((30, 30))), tables=TABLES)
        if one.finding.what == "wet ground"
    ]
    assert wet.level == "unknown"
