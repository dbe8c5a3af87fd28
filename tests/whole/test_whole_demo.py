"""The demo end to end: every output is there, whole, and says what the design promises."""

from __future__ import annotations

import csv
import hashlib
import json
from pathlib import Path

import geopandas as gpd
import gpxpy
import numpy as np
import pyogrio
import pytest
import rasterio

from fieldmap.cli.main import answer
from fieldmap.finding import LEVELS
from fieldmap.write.files import LAYERS


def test_outputs_are_all_there(demo_out: Path) -> None:
    """By hand: the list of DESIGN section 8 that this version makes."""
    names = {str(path.relative_to(demo_out)) for path in demo_out.rglob("*") if path.is_file()}
    assert {
        "index.html",
        "farm.gpkg",
        "fields.csv",
        "fields.json",
        "findings.csv",
        "run.json",
    } <= names
    fields = json.loads((demo_out / "fields.json").read_text("utf-8"))["fields"]
    assert len(fields) >= 8
    for field in fields:
        assert f"fields/{field['field_id']}.html" in names
        assert f"layers/{field['field_id']}.tif" in names
    moves = [name for name in names if name.startswith("moves/")]
    for ending in ("-sheet.html", ".gpx", ".json", ".csv"):
        assert sum(name.endswith(ending) for name in moves) == 2
    assert sum(name.endswith(".html") for name in moves) == 4


def test_layers_are_cloud_optimised_named_and_unit_bearing(demo_out: Path) -> None:
    """Referee: rasterio's own reading of the file's structure."""
    path = demo_out / "layers" / "S5.tif"
    with rasterio.open(path) as file:
        assert file.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert file.descriptions == (
            "slope_pct", "slope_low_pct", "slope_high_pct", "aspect_deg", "across_pct",
            "side_slope_use", "sight_ahead_m", "speed_limit_kmh", "speed_cause", "wet_rank",
            "above_drainage_m", "hollow_m", "looked_at", "strike_rate", "wrap_rate", "forage_risk",
            "consequence", "level", "governing_cause",
        )  # fmt: skip
        assert file.units[:4] == ("%", "%", "%", "deg")
        assert file.nodata == -9999.0
        level = file.read(18, masked=True)
        assert set(np.unique(level.compressed())) <= set(range(len(LEVELS)))
        assert {"governing_cause", "speed_cause"} <= set(file.tags())


def test_geopackage_layers_agree_with_the_tables(demo_out: Path) -> None:
    """Property: the summary in the GeoPackage is the one in the CSV."""
    layers = {name for name, _ in pyogrio.list_layers(demo_out / "farm.gpkg")}
    assert layers == {*LAYERS, "search_lines", "legs"}
    fields = gpd.read_file(demo_out / "farm.gpkg", layer="fields")
    with (demo_out / "fields.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert fields["field_id"].tolist() == [row["field_id"] for row in rows]
    assert fields["level"].tolist() == [row["level"] for row in rows]
    hazards = gpd.read_file(demo_out / "farm.gpkg", layer="hazards")
    assert len(hazards) >= 60


def test_findings_csv_holds_every_finding(demo_out: Path) -> None:
    """Property: as many rows as findings and settings in the JSON; none without basis or source."""
    fields = json.loads((demo_out / "fields.json").read_text("utf-8"))["fields"]
    told = sum(len(field["findings"]) + len(field["settings"]) for field in fields)
    with (demo_out / "findings.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == told > 100
    assert {row["basis"] for row in rows} <= {"measured", "mapped", "assumed"}
    assert all(row["why"] for row in rows)
    nameless = {row["what"] for row in rows if not row["sources"]}
    assert nameless <= {"elevation under the field"}


def test_run_json_names_inputs_versions_and_overrides(demo_out: Path) -> None:
    """By hand: digests of the inputs, both GDALs, the demo's one override."""
    run = json.loads((demo_out / "run.json").read_text("utf-8"))
    farm = demo_out / "farm"
    for name, facts in run["inputs"].items():
        assert hashlib.sha256((farm / name).read_bytes()).hexdigest() == facts["sha256"]
    assert {"gdal_raster", "gdal_vector", "geos", "proj", "fieldmap"} <= set(run["versions"])
    assert run["overrides"]["side_slopes.care_pct"]["value"] == 14.0
    assert run["crs"] == "EPSG:26915"


def test_moves_gpx_is_a_way_with_places_to_measure(demo_out: Path) -> None:
    """Referee: gpxpy reads back track, steps, and one waypoint a place of the survey list."""
    for path in (demo_out / "moves").glob("*.gpx"):
        gpx = gpxpy.parse(path.read_text("utf-8"))
        held = json.loads(path.with_suffix(".json").read_text("utf-8"))
        assert gpx.tracks[0].get_points_no() > 5
        placed = [row for row in held["survey"] if row["lon"] is not None]
        measured = [one for one in gpx.waypoints if " measure: " in one.name]
        assert len(measured) == len(placed)
        assert len(gpx.routes[0].points) == len(held["steps"]) > 2
        length_m = gpx.tracks[0].length_2d()
        assert length_m == pytest.approx(1000 * held["move"]["length_km"], rel=0.01)


def test_same_input_same_bytes(demo_out: Path, tmp_path: Path) -> None:
    """Property: a second run writes the same bytes, the GeoPackage and the pages among them."""
    assert answer(["demo", "--out", str(tmp_path)]) == 0
    compared = 0
    for first in sorted(demo_out.rglob("*")):
        name = first.relative_to(demo_out)
        # the log is a record of when things were logged, not an output of the run
        if first.is_file() and "hazards.gpkg" not in name.name and name.name not in (
            "run.json", ".fieldmap-written.json",
        ):  # fmt: skip
            assert first.read_bytes() == (tmp_path / name).read_bytes(), name
            compared += 1
    assert compared > 40


def test_unknown_is_never_called_fine(demo_out: Path) -> None:
    """By hand: no elevation, no crop, and ground nobody looked at come back as unknown or worse."""
    fields = {
        one["field_id"]: one
        for one in json.loads((demo_out / "fields.json").read_text("utf-8"))["fields"]
    }
    for field in fields.values():
        if field["looked_share"] < 0.9:
            assert field["level"] in ("unknown", "stop")
    levels = {finding["what"]: finding["level"] for finding in fields["S12"]["findings"]}
    assert levels["elevation under the field"] == "unknown"
    settings = {finding["what"]: finding["level"] for finding in fields["S10"]["settings"]}
    assert settings["cut height and skid shoe"] == "unknown"


def test_every_source_a_finding_names_can_be_found(demo_out: Path, demo_geodata: Path) -> None:
    """Property: a source is a row of sources.toml or a file of the farm."""
    from fieldmap.tables import load_tables

    known = set(load_tables().sources) | {path.name for path in (demo_out / "farm").rglob("*")}
    known |= {"tracks", "road_checks"}
    cited = set()
    for path in (demo_out / "fields.json", *(demo_out / "moves").glob("*.json")):
        held = json.loads(path.read_text("utf-8"))
        groups = held.get("fields", [held])
        cited |= {
            source
            for group in groups
            for finding in (
                *group["findings"],
                *group.get("settings", ()),
                *group.get("refusals", ()),
            )
            for source in finding["sources"]
        }
    assert cited <= known, cited - known
