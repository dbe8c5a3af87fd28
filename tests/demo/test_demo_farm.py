"""Fields, ground, machines, finds and walks of the demo: each special thing is really there."""

from __future__ import annotations

import csv
import json
import tomllib
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

import geopandas
import gpxpy
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from shapely.geometry import LineString, Point, shape

from fieldmap.crs import WGS84, metric_crs, transformer
from fieldmap.machine import Machine
from fieldmap.tables import load_tables

DEMO = Path(__file__).resolve().parents[2] / "demo_geodata"
METRES = metric_crs("EPSG:26915")
TO_METRES = transformer(WGS84, METRES)
FLOOD = datetime(2026, 5, 28, tzinfo=UTC)
KINDS = {
    "stone", "rock_outcrop", "loose_wire", "twine", "post", "sheet_metal", "drum", "glass",
    "timber", "tyre", "carcass", "hole", "washout", "silt", "guy_wire", "well", "overhead_line",
    "litter", "unknown",
}  # fmt: skip
CROPS = {
    "alfalfa", "clover", "orchardgrass", "tall_fescue", "timothy", "bromegrass", "grass_alfalfa",
    "mixed_grass", "native_warm_season", "bermudagrass", "sorghum_sudan", "pearl_millet",
    "cereal_rye",
}  # fmt: skip
MARKUP = '<script>alert("note")</script> ${1+1} `tick`'


def metres(geometry: shapely.Geometry) -> shapely.Geometry:
    return shapely.transform(geometry, TO_METRES.transform, interleaved=False)


@pytest.fixture(scope="module")
def fields() -> geopandas.GeoDataFrame:
    return geopandas.read_file(DEMO / "fields.gpkg").set_index("FLD_NO")


@pytest.fixture(scope="module")
def flood() -> shapely.Geometry:
    one = json.loads((DEMO / "flood.geojson").read_text(encoding="utf-8"))["features"][0]
    assert one["properties"]["date"] == "2026-05-28"
    return metres(shape(one["geometry"]))


@pytest.fixture(scope="module")
def finds() -> pd.DataFrame:
    """All finds in metres, with the file they stand in."""
    table = json.loads((DEMO / "found/after_flood.geojson").read_text(encoding="utf-8"))
    rows = [
        {**one["properties"], "at": metres(shape(one["geometry"]))} for one in table["features"]
    ]
    with (DEMO / "found/ridge_walk.csv").open(encoding="utf-8", newline="") as page:
        rows += [
            {**one, "at": metres(Point(float(one["lon"]), float(one["lat"])))}
            for one in csv.DictReader(page)
        ]
    gpx = gpxpy.parse((DEMO / "found/phone.gpx").read_text(encoding="utf-8"))
    for one in gpx.waypoints:
        at = metres(Point(one.longitude, one.latitude))
        told = {"id": one.name, "kind": one.type, "note": one.description}
        rows.append({**told, "time": str(one.time).replace(" ", "T"), "at": at})
    return pd.DataFrame(rows)


@pytest.fixture(scope="module")
def walks() -> dict[str, tuple[datetime, LineString]]:
    out = {}
    for path in sorted((DEMO / "walks").glob("*.gpx")):
        spots = gpxpy.parse(path.read_text(encoding="utf-8")).tracks[0].segments[0].points
        line = LineString([(spot.longitude, spot.latitude) for spot in spots])
        assert spots[0].time is not None
        out[path.stem] = spots[0].time, metres(line)
    return out


def test_fields_are_enough_and_well_formed(fields: geopandas.GeoDataFrame) -> None:
    """By hand: 12 valid fields of 3 to 25 ha in metres, none upon another."""
    assert len(fields) == 12
    assert fields.index.is_unique
    assert fields.crs == METRES
    assert fields.is_valid.all()
    assert fields.area.between(3e4, 25e4).all()
    assert set(fields.crop.dropna()) <= CROPS
    assert fields.crop.nunique() >= 6
    pairs = shapely.STRtree(fields.geometry).query(fields.geometry, predicate="intersects")
    assert (pairs[0] == pairs[1]).all()


def test_fields_with_something_to_notice(fields: geopandas.GeoDataFrame) -> None:
    """By hand: one hole, two hollow outlines, one crop unknown, one partly off the raster."""
    holes = fields.geometry.map(lambda one: len(one.interiors))
    assert holes.to_dict() == {name: int(name == "S6") for name in fields.index}
    bulge = fields.area / fields.convex_hull.area
    assert sorted(bulge.index[bulge < 0.93]) == ["S2", "S3"]
    assert list(fields.index[fields.crop.isna()]) == ["S10"]
    assert fields.stoniness.isna().sum() == 1
    assert 0 < fields.lodged.isna().sum() < len(fields)


def test_ground_is_as_told(fields: geopandas.GeoDataFrame) -> None:
    """By hand: unit, cells, a hole inside S9, S12 partly outside and nothing else missing."""
    with rasterio.open(DEMO / "elevation.tif") as grid:
        assert grid.units == ("m",)
        assert grid.crs.to_epsg() == 26915
        assert grid.res == (5.0, 5.0)
        assert grid.dtypes == ("float32",)
        assert grid.nodata == -9999
        frame = shapely.box(*grid.bounds)
        height = grid.read(1, masked=True)
        rows, columns = np.nonzero(height.mask)
        x = grid.bounds.left + (columns + 0.5) * 5
        y = grid.bounds.top - (rows + 0.5) * 5
    assert 20 < len(x) < 200
    assert shapely.contains_xy(fields.geometry["S9"], x, y).all()
    inside = fields.intersection(frame).area / fields.area
    assert 0.2 < inside.pop("S12") < 0.8
    assert inside.min() == pytest.approx(1.0)


def _slopes_pct(field: shapely.Geometry) -> np.ndarray:
    """Slopes of a field's cells by plain differences, percent."""
    with rasterio.open(DEMO / "elevation.tif") as grid:
        height = grid.read(1).astype(float)
        left, top = grid.bounds.left, grid.bounds.top
    down, east = np.gradient(height, 5.0)
    rows, columns = np.indices(height.shape)
    here = shapely.contains_xy(field, left + (columns + 0.5) * 5, top - (rows + 0.5) * 5)
    return 100 * np.hypot(down, east)[here]


def test_flat_benches_and_hills_differ(fields: geopandas.GeoDataFrame) -> None:
    """By hand: a flat under 3 %, benches with flat treads and steep outslopes, hills between."""
    flat = _slopes_pct(fields.geometry["S1"])
    bench = _slopes_pct(fields.geometry["S7"])
    hill = _slopes_pct(fields.geometry["S8"])
    assert np.median(flat) < 1.5
    assert np.quantile(flat, 0.99) < 8
    assert np.median(bench) < 6
    assert 25 < np.quantile(bench, 0.97) < 50
    assert (bench > 25).mean() > 0.05
    assert 3 < np.median(hill) < 20


def test_flood_covers_the_flat_only(
    fields: geopandas.GeoDataFrame, flood: shapely.Geometry
) -> None:
    """By hand: S1 to S4 went under, the benches and hills did not."""
    assert flood.is_valid
    wet = fields.intersection(flood).area / fields.area
    assert (wet[["S1", "S2", "S3", "S4"]] > 0.9).all()
    assert (wet.drop(["S1", "S2", "S3", "S4"]) == 0).all()


def test_gates_stand_on_their_fields(fields: geopandas.GeoDataFrame) -> None:
    """By hand: one gate a field, on its boundary, one of unknown width."""
    gates = geopandas.read_file(DEMO / "gates.geojson").to_crs(METRES)
    assert sorted(gates.field_id) == sorted(fields.index)
    assert gates.gate_id.is_unique
    assert list(gates.field_id[gates.width_m.isna()]) == ["S7"]
    edges = fields.geometry.loc[gates.field_id].exterior.to_numpy()
    assert shapely.distance(gates.geometry.to_numpy(), edges).max() < 0.1


def test_farm_toml_names_what_lies_there() -> None:
    """By hand: every file named is in the folder but the log, which import makes."""
    farm = tomllib.loads((DEMO / "farm.toml").read_text(encoding="utf-8"))
    assert farm["units"] == "us"
    assert farm["time_zone"] == "America/Chicago"
    assert farm["crs"] == "EPSG:26915"
    assert farm["columns"]["fields"] == {"field_id": "FLD_NO"}
    assert "elevation_unit" not in farm["files"]
    assert farm["files"].pop("hazards") == "hazards.gpkg"
    assert f"elevation_products.{farm['files'].pop('elevation_product')}" in load_tables().constants
    for named in farm["files"].values():
        for pattern in [named] if isinstance(named, str) else named:
            assert list(DEMO.glob(pattern)), pattern
    assert farm["road_rules"]["source"]
    assert len(farm["places"]) >= 4
    for lon, lat in farm["places"].values():
        assert -93.05 < lon < -92.85
        assert 40.55 < lat < 40.70


def test_machines_parse_and_one_lacks_a_height_of_gravity() -> None:
    """By hand: three machines; axles carry the whole mass; shoes low and high."""
    raw = tomllib.loads((DEMO / "machines.toml").read_text(encoding="utf-8"))["machine"]
    machines = {one["id"]: Machine.model_validate(one) for one in raw}
    assert [one.kind for one in machines.values()] == [
        "rear-mounted",
        "pull-type",
        "front-and-rear",
    ]
    assert [name for name, one in machines.items() if one.static_stability() is None] == ["wide-87"]
    for one in machines.values():
        assert sum(axle.mass_kg for axle in one.axles) == one.mass_kg
        assert len(one.transport) == 2
        assert one.skid_shoes[0].cut_height_m < one.skid_shoes[-1].cut_height_m
    first = {name: one.transport[0].width_m or 0.0 for name, one in machines.items()}
    assert 0 < first["rear-3"] < first["pull-39"] < first["wide-87"]


def test_finds_are_many_and_of_many_kinds(finds: pd.DataFrame) -> None:
    """By hand: 60 and more in three files, 12 kinds and more, their own words only by phone."""
    assert len(finds) >= 60
    assert finds.id.is_unique
    known = finds[finds.kind.isin(KINDS)]
    assert known.kind.nunique() >= 12
    own_words = finds[~finds.kind.isin(KINDS)]
    assert set(own_words.id.str[:3]) == {"bo-"}
    assert {"old fence wire", "big stone"} <= set(own_words.kind)
    assert Counter(one.geom_type for one in finds["at"]).keys() == {
        "Point",
        "LineString",
        "Polygon",
    }
    times = pd.to_datetime(finds.time, utc=True)
    assert times.min() > pd.Timestamp(FLOOD)
    assert times.max() < pd.Timestamp("2026-06-09", tz="UTC")


def test_notes_stay_as_they_were_written(finds: pd.DataFrame) -> None:
    """By hand: markup and another language in a note."""
    assert (finds.note == MARKUP).sum() == 1
    assert (finds.note == "Stacheldraht am Graben").sum() == 1


def test_finds_lie_in_fields_and_two_fields_have_none(
    fields: geopandas.GeoDataFrame, finds: pd.DataFrame
) -> None:
    """By hand: S8 and S11 have none; a drum stands in two people's files a few metres apart."""
    points = geopandas.GeoDataFrame(finds, geometry="at", crs=METRES)
    joined = points.sjoin(fields.reset_index()[["FLD_NO", "geometry"]], predicate="intersects")
    assert set(joined.id) == set(finds.id)
    assert set(fields.index) - set(joined.FLD_NO) == {"S8", "S11"}
    place = points.set_index("id").geometry
    assert 0 < place["F03"].distance(place["bo-001"]) < 10


def test_walks_look_at_what_the_readme_says(
    fields: geopandas.GeoDataFrame, walks: dict[str, tuple[datetime, LineString]]
) -> None:
    """By hand: lines 6 m apart leave nothing of S4, S5 and S8 4 m away; S2 in part."""
    assert [name for name, (start, _) in walks.items() if start < FLOOD] == ["before_flood"]
    after = shapely.union_all([line for start, line in walks.values() if start > FLOOD])
    near = after.simplify(0.3).buffer(4.5, quad_segs=2)
    seen = fields.intersection(near).area / fields.area
    assert (seen[["S4", "S5", "S8"]] > 0.97).all()
    assert 0.15 < seen["S2"] < 0.6
    assert (seen.drop(["S2", "S4", "S5", "S8"]) == 0).all()
    assert walks["before_flood"][1].within(fields.geometry["S1"].buffer(3))
