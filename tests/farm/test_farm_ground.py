"""The farm's elevation as a whole: its error, its drainage, a flood by its depth; any system."""

from __future__ import annotations

import math
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from pyproj import CRS, Transformer

from fieldmap.assessment import Assessment, assess
from fieldmap.farm import Farm, load_farm
from fieldmap.farm_ground import drained, height_error, with_stage
from fieldmap.finding import rank

UTM = CRS.from_epsg(32615)
WEST, SOUTH = 500_000.0, 4_500_000.0
DAY = date(2026, 6, 9)
FIELD = shapely.box(WEST + 40, SOUTH + 40, WEST + 160, SOUTH + 160)


def slope_east(x: Any, y: Any) -> Any:
    """Heights (m) that rise 8 % to the east and fall 1 % to the north, from the field's corner."""
    return 20.0 + 0.08 * (x - WEST) - 0.01 * (y - SOUTH)


def raster(
    path: Path, transform: Affine, shape: tuple[int, int], crs: CRS, *, unit: str = "m"
) -> None:
    """Those heights on cells of any system, in metres or feet."""
    column, row = np.meshgrid(np.arange(shape[1]) + 0.5, np.arange(shape[0]) + 0.5)
    x, y = transform @ (column, row)
    if crs != UTM:
        x, y = Transformer.from_crs(crs, UTM, always_xy=True).transform(x, y)
    values = slope_east(x, y) / (0.3048 if unit == "ft" else 1.0)
    with rasterio.open(
        path, "w", driver="GTiff", width=shape[1], height=shape[0], count=1, dtype="float32",
        nodata=-9999.0, crs=rasterio.CRS.from_wkt(crs.to_wkt()), transform=transform,
    ) as file:  # fmt: skip
        file.write(values.astype(np.float32), 1)
        file.units = (unit,)


def farm_on(
    folder: Path, files: str = "", more: str = "", fields: tuple[shapely.Geometry, ...] = (FIELD,)
) -> Farm:
    """A farm of these fields on elevation.tif."""
    names = [f"F{number}" for number in range(len(fields))]
    gpd.GeoDataFrame({"field_id": names}, geometry=list(fields), crs=UTM).to_crs(4326).to_file(
        folder / "fields.geojson"
    )
    text = f'name = "A"\ncrs = "EPSG:32615"\n[files]\nfields = "fields.geojson"\n{files}\n{more}'
    (folder / "farm.toml").write_text(text, "utf-8")
    return load_farm(folder)


ELEVATION = 'elevation = "elevation.tif"\nelevation_error_m = 0.1'
METRES = Affine(5, 0, WEST - 300, 0, -5, SOUTH + 500)


def asked(folder: Path, files: str = ELEVATION, more: str = "", **given: Any) -> Assessment:
    return assess(farm_on(folder, files, more, **given), day=DAY)


def test_error_of_the_elevation_by_hand(tmp_path: Path) -> None:
    """By hand: the farm's own figure, else the named product's, else nothing is known."""
    raster(tmp_path / "elevation.tif", METRES, (160, 160), UTM)
    own = height_error(farm_on(tmp_path, ELEVATION))
    assert own == (0.1, "farm")
    name = 'elevation = "elevation.tif"\nelevation_product = "{}"'
    tables = farm_on(tmp_path, 'elevation = "elevation.tif"').tables
    row = next(iter(tables.rows("elevation_products")))
    product = height_error(farm_on(tmp_path, name.format(row.key.split(".", 1)[1])))
    assert product == (row.value, row.source)
    assert math.isnan(height_error(farm_on(tmp_path, 'elevation = "elevation.tif"')).metres)


LON, LAT = Transformer.from_crs(UTM, 4326, always_xy=True).transform(WEST - 300, SOUTH + 500)
EAST, NORTH = Transformer.from_crs(UTM, 32614, always_xy=True).transform(WEST - 250, SOUTH + 420)
SYSTEMS = {
    "turned by 30 deg": (
        Affine.translation(WEST + 100, SOUTH + 100)
        @ Affine.rotation(-30)
        @ Affine.scale(5, -5)
        @ Affine.translation(-100, -100),
        (200, 200),
        UTM,
        "m",
    ),
    "turned by a quarter": (Affine(0, 5, WEST - 300, 5, 0, SOUTH - 300), (160, 160), UTM, "m"),
    "south up": (Affine(5, 0, WEST - 300, 0, 5, SOUTH - 300), (160, 160), UTM, "m"),
    "degrees": (Affine(6e-5, 0, LON, 0, -4.5e-5, LAT), (160, 160), CRS.from_epsg(4326), "m"),
    "feet": (METRES, (160, 160), UTM, "ft"),
    "another zone": (Affine(5, 0, EAST, 0, -5, NORTH), (200, 240), CRS.from_epsg(32614), "m"),
}


@pytest.fixture(scope="module")
def straight(tmp_path_factory: pytest.TempPathFactory) -> Assessment:
    place = tmp_path_factory.mktemp("straight")
    raster(place / "elevation.tif", METRES, (160, 160), UTM)
    return asked(place)


@pytest.mark.parametrize("name", SYSTEMS)
def test_any_system_says_the_same_of_a_plane_property(
    tmp_path: Path, name: str, straight: Assessment
) -> None:
    """Property: slope, heading, levels of findings and thinning, whatever the raster's cells."""
    transform, shape, crs, unit = SYSTEMS[name]
    raster(tmp_path / "elevation.tif", transform, shape, crs, unit=unit)
    few = "[tables]\ndrainage.most_cells = 4000\n"
    for more in ("", few):
        found = asked(tmp_path, more=more)
        (one,), (other,) = found.answers, straight.answers
        held = {finding.what: finding.level for finding in other.findings}
        assert {finding.what: finding.level for finding in one.findings} == held
        (row,), (like,) = found.table.to_dict("records"), straight.table.to_dict("records")
        assert row["slope_max_pct"] == pytest.approx(100 * math.hypot(0.08, 0.01), rel=0.01)
        assert row["heading_deg"] == like["heading_deg"]
        assert row["speed_limit_kmh"] == pytest.approx(like["speed_limit_kmh"], rel=2e-3)


def test_a_raster_made_from_coarser_cells_by_hand(tmp_path: Path) -> None:
    """By hand: 5 m cells made from 40 m see no bank, and call nothing gentle."""
    raster(tmp_path / "elevation.tif", METRES, (160, 160), UTM)
    (one,) = asked(tmp_path, f"{ELEVATION}\nelevation_made_from_cell_m = 40").answers
    (cell,) = [held for held in one.findings if held.what == "cell of the elevation"]
    assert (cell.level, cell.value) == ("unknown", 40.0)


def test_thinned_cells_are_told_in_metres_by_hand(tmp_path: Path) -> None:
    """By hand: 160 x 160 cells of 5 m made 4,000: every three by three, on rows that run north."""
    raster(tmp_path / "elevation.tif", *SYSTEMS["turned by a quarter"][:3])
    farm = farm_on(tmp_path, ELEVATION, "[tables]\ndrainage.most_cells = 4000\n")
    water = drained(farm)
    assert water is not None
    assert (water.cell_m, water.native_m) == pytest.approx((15.0, 5.0))


FLOOD = f"{ELEVATION}\nflood_depth_m = 0.5\nflood_date = 2026-05-28"


def test_a_flood_by_its_depth_by_hand(tmp_path: Path) -> None:
    """By hand: on a plane without a channel no height over one is known: all counts as wetted."""
    raster(tmp_path / "elevation.tif", METRES, (160, 160), UTM)
    found = asked(tmp_path, FLOOD)
    assert found.table["flooded_share"].tolist() == [1.0]
    assert any("reckoned from 0.5 m over the channel" in note for note in found.farm.notes)
    assert asked(tmp_path).table["flooded_share"].tolist() == [0.0]


def test_a_field_the_elevation_does_not_reach_is_not_dry_regression(tmp_path: Path) -> None:
    """Regression: ground beyond the raster was in neither of wetted and unknown, and so dry."""
    raster(tmp_path / "elevation.tif", METRES, (160, 160), UTM)
    away = shapely.box(WEST + 600, SOUTH + 40, WEST + 700, SOUTH + 160)
    half = shapely.box(WEST + 450, SOUTH + 200, WEST + 550, SOUTH + 300)
    found = asked(tmp_path, FLOOD, fields=(FIELD, away, half))
    assert found.table["flooded_share"].tolist() == [1.0, 1.0, 1.0]
    assert [one.level for one in found.answers] == ["unknown"] * 3


def test_without_drainage_all_fields_count_as_flooded_by_hand(tmp_path: Path) -> None:
    """By hand: a depth over a channel that nobody can reckon says nothing of any field."""
    raster(tmp_path / "elevation.tif", METRES, (160, 160), UTM)
    farm = farm_on(tmp_path, FLOOD)
    (flood,) = with_stage(farm, None).flood.geometry
    assert shapely.difference(FIELD, flood).area == pytest.approx(0.0, abs=0.1)
    assert with_stage(farm_on(tmp_path, ELEVATION), None).flood.empty


def test_the_end_of_the_raster_hides_highwalls_by_hand(tmp_path: Path) -> None:
    """By hand: heights that end 20 m beyond the boundary: within 30 m of there nobody knows."""
    raster(tmp_path / "elevation.tif", Affine(5, 0, WEST + 20, 0, -5, SOUTH + 500), (160, 160), UTM)
    (one,) = asked(tmp_path).answers
    (edges,) = [held for held in one.findings if held.what == "drop-offs and bench edges"]
    assert edges.level == "unknown"
    raster(tmp_path / "elevation.tif", Affine(5, 0, WEST, 0, -5, SOUTH + 500), (160, 160), UTM)
    (one,) = asked(tmp_path).answers
    (edges,) = [held for held in one.findings if held.what == "drop-offs and bench edges"]
    assert edges.level == "ok"


def test_odd_fields_are_answered_by_hand(tmp_path: Path) -> None:
    """By hand: two parts, a hole, less than a cell, more than the raster: each has an answer."""
    raster(tmp_path / "elevation.tif", METRES, (160, 160), UTM)
    speck = shapely.box(WEST + 201.1, SOUTH + 41.1, WEST + 201.8, SOUTH + 41.7)
    large = shapely.box(WEST - 900, SOUTH + 200, WEST + 900, SOUTH + 900)
    pond = shapely.box(WEST + 80, SOUTH + 80, WEST + 120, SOUTH + 120)
    parts = shapely.union(speck, shapely.difference(FIELD, pond))
    found = asked(tmp_path, fields=(parts, speck, large))
    shares = found.table["slope_known_share"].tolist()
    assert shares[:2] == [1.0, 1.0]
    assert 0 < shares[2] < 1
    assert all(rank(one.level) >= rank("unknown") for one in found.answers)
