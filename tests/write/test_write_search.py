"""A planned search as files; a GeoPackage that two runs write into."""

from __future__ import annotations

import csv
import dataclasses
import hashlib
import json
import math
import re
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import gpxpy
import pandas as pd
import pyogrio
import pytest
import shapely

from fieldmap.errors import InputError
from fieldmap.farm import Farm, load_farm
from fieldmap.read.gpx import read_tracks
from fieldmap.search import Search, plan_search
from fieldmap.write.outputs import MANIFEST, Outputs
from fieldmap.write.search import LAYER, search_json, search_payload, write_search

UTM = "EPSG:32615"
WEST, SOUTH = 500_000.0, 4_500_000.0
FIELDS = {"A": (0, 0, 150, 120), "B/2": (200, 0, 260, 50), "C": (400, 0, 410, 10)}


def put(shape: shapely.Geometry) -> shapely.Geometry:
    return shapely.affinity.translate(shape, WEST, SOUTH)


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Farm:
    """Three fields, a gate, a line down in the first, and one that covers the third."""
    folder = tmp_path_factory.mktemp("farm")
    boxes = [put(shapely.box(*box)) for box in FIELDS.values()]
    fields = gpd.GeoDataFrame({"field_id": list(FIELDS)}, geometry=boxes, crs=UTM)
    fields.to_file(folder / "fields.gpkg")
    words = f'name = "Small"\nunits = "metric"\ntime_zone = "UTC"\ncrs = "{UTM}"\n[files]\n'
    (folder / "farm.toml").write_text(words + 'fields = "fields.gpkg"\nhazards = "log.gpkg"\n')
    marks = gpd.GeoDataFrame(
        {"hazard_id": ["H1", "H2"], "kind": ["line_down", "drum"], "note": ["<b>low</b>", ""],
         "height_m": math.nan, "radius_m": math.nan},
        geometry=[put(shapely.Point(75, 60)), put(shapely.Point(405, 5))],
        crs=UTM,
    )  # fmt: skip
    gates = gpd.GeoDataFrame(
        {"gate_id": ["G1"], "field_id": ["A"], "width_m": [4.0]},
        geometry=[put(shapely.Point(0, 0))],
        crs=UTM,
    )
    return dataclasses.replace(load_farm(folder), hazards=marks, gates=gates)


@pytest.fixture(scope="module")
def search(farm: Farm) -> Search:
    return plan_search(farm, day=date(2026, 6, 9), kind="post", walkers=2)


def digests(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file()
    }


def manifest(folder: Path) -> dict[str, dict[str, str]]:
    return json.loads((folder / MANIFEST).read_text("utf-8"))


def assessed(folder: Path, number: int = 3) -> None:
    """A GeoPackage as an assessment writes it: two layers, written on an earlier day."""
    places = gpd.points_from_xy(range(number), range(number))
    times = pd.Series([pd.Timestamp("2026-06-01 07:30", tz="UTC"), *[pd.NaT] * (number - 1)])
    marks = gpd.GeoDataFrame(
        {"note": ["a", *[None] * (number - 1)], "time": times}, geometry=places
    )
    shapes = [shapely.MultiPolygon([shapely.box(0, 0, 1, 1)])] * number
    zones = gpd.GeoDataFrame({"area_ha": [0.1] * number}, geometry=shapes)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2026-06-02T00:00:00.000Z"})
    with Outputs(folder, group="assess") as files:
        path = files.path("farm.gpkg")
        for name, table in (("hazards", marks), ("zones", zones)):
            kind = "Unknown" if name == "hazards" else None
            pyogrio.write_dataframe(
                table.set_crs(UTM), path, layer=name, driver="GPKG",
                append=path.exists(), geometry_type=kind,
            )  # fmt: skip
        files.text("fields.csv", "field_id\n")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def layers(path: Path) -> dict[str, Any]:
    return {name: pyogrio.read_dataframe(path, layer=name) for name, _ in pyogrio.list_layers(path)}


def changed(path: Path) -> dict[str, str]:
    held = pyogrio.read_dataframe(
        path, sql="SELECT table_name, last_change FROM gpkg_contents", read_geometry=False
    )
    return {
        name: str(moment)[:10]
        for name, moment in zip(held["table_name"], held["last_change"], strict=True)
    }


def test_what_is_written(search: Search, tmp_path: Path) -> None:
    """By hand: a GPX for each field with a walk, JSON, CSV, the GeoPackage, and nothing else."""
    written = write_search(search, tmp_path)
    names = {path.relative_to(tmp_path).as_posix() for path in written}
    assert names | {MANIFEST} == set(digests(tmp_path))
    assert {"search.json", "search.csv", "farm.gpkg", "search/A.gpx"} <= names
    gpx = sorted(name for name in names if name.endswith(".gpx"))
    assert len(gpx) == 2  # nothing of C may be walked
    assert gpx[1].startswith("search/B-2-")


def test_the_gpx_has_a_track_a_walker_and_says_what_to_keep_off(
    search: Search, tmp_path: Path
) -> None:
    """By hand: two tracks that start at the gate; the line down with its caution and caller."""
    write_search(search, tmp_path)
    gpx = gpxpy.parse((tmp_path / "search" / "A.gpx").read_text("utf-8"))
    assert [track.name for track in gpx.tracks] == ["A, walker 1 of 2", "A, walker 2 of 2"]
    assert [spot.name for spot in gpx.waypoints] == ["start", "keep away: power line down"]
    words = search.farm.tables["hazard_kinds.line_down"].words
    told = gpx.waypoints[1].description
    assert words["caution"] in told
    assert f"Call: {words['call']}." in told
    assert "keep 40.19 m away" in told
    for track, part in zip(gpx.tracks, search.fields[0].walk.parts, strict=True):
        points = [(point.longitude, point.latitude) for point in track.segments[0].points]
        line = gpd.GeoSeries([shapely.LineString(points)], crs=4326).to_crs(UTM)
        assert line.iloc[0].hausdorff_distance(part) < 0.02
        start = gpx.waypoints[0]
        assert points[0] == (start.longitude, start.latitude)


def test_a_plan_among_the_walks_counts_as_walked_by_nobody(search: Search, tmp_path: Path) -> None:
    """By hand: every track is left out, with a word; a time would make it ground looked at."""
    write_search(search, tmp_path)
    plans = sorted((tmp_path / "search").glob("*.gpx"))
    tracks, notes = read_tracks(plans, crs=search.farm.crs)
    assert tracks.empty
    assert len(notes) == 4
    assert all("no time says" in note for note in notes)


def test_json_and_csv_hold_the_same_figures(search: Search, tmp_path: Path) -> None:
    """By hand: each figure of a row stands in both; what has no plan is null, not 0."""
    write_search(search, tmp_path)
    told = json.loads((tmp_path / "search.json").read_text("utf-8"))
    rows = list(csv.DictReader((tmp_path / "search.csv").read_text("utf-8").splitlines()))
    assert (told["schema"], told["day"], told["walkers"]) == ("fieldmap/1", "2026-06-09", 2)
    assert [row["field_id"] for row in rows] == list(FIELDS)
    for row, held in zip(rows, told["fields"], strict=True):
        for name in ("left_ha", "walk_m", "minutes", "kept_off_ha"):
            assert float(row[name]) == held[name]
    last = told["fields"][2]
    assert (last["spacing_m"], last["chance_after"], last["level"]) == (None, None, "unknown")
    assert rows[2]["spacing_m"] == ""
    first = told["fields"][0]
    assert [mark["hazard_id"] for mark in first["avoided"]] == ["H1"]
    assert first["walks_m"] == [round(part.length, 1) for part in search.fields[0].walk.parts]
    assert sum(part["area_ha"] for part in first["parts"]) == pytest.approx(first["left_ha"])


def test_other_wishes_are_told_where_there_is_ground(search: Search) -> None:
    """By hand: what is planned comes near the plan's own lines; nothing where nothing is walked."""
    told = [one["other_wishes"] for one in search_json(search)["fields"]]
    one = search.fields[0]
    planned = [wish for wish in told[0] if (wish["kind"], wish["chance"]) == ("post", 0.9)]
    assert planned[0]["sweep_width_m"] == one.wanted.sweep_m
    assert planned[0]["hours"] == pytest.approx(one.walk.lines_m / 4000, rel=0.15)
    assert told[2] == []


def test_the_page_comes_first_and_links_to_what_is_there(search: Search, tmp_path: Path) -> None:
    """By hand: no farm page, no link; one beside it or about to come, a link; user text escaped."""
    written = write_search(search, tmp_path)
    assert written[0] == tmp_path / "search" / "index.html"
    text = written[0].read_text("utf-8")
    assert "../index.html" not in text
    assert "<b>low</b>" not in text
    for name in re.findall(r'href="([^"]+)" download', text):
        assert (written[0].parent / name).is_file()
    assert len(re.findall(r'href="[^"]+" download', text)) == 2
    write_search(search, tmp_path, index_follows=True)
    assert "../index.html" in written[0].read_text("utf-8")
    (tmp_path / "index.html").write_text("")
    write_search(search, tmp_path)
    assert "../index.html" in written[0].read_text("utf-8")


def test_flood_cautions_are_rows_of_the_table(search: Search) -> None:
    """Property: only kinds people keep away from and that a flood moves; each with its source."""
    told = search_payload(search)
    rows = {row.words["label"]: row.words for row in search.farm.tables.rows("hazard_kinds")}
    assert len(told["cautions"]) >= 3
    for one in told["cautions"]:
        words = rows[one["label"]]
        assert (words["touch"], words["action"], words["moves_in_flood"]) == (
            "no", "keep out", "yes",
        )  # fmt: skip
        assert one["caution"] == words["caution"]
        assert set(one["sources"]) <= set(told["sources"])


def test_the_layer_holds_lines_and_walks(search: Search, tmp_path: Path) -> None:
    """By hand: as many lines as planned, numbered as they are walked; two walks a field."""
    write_search(search, tmp_path)
    table = pyogrio.read_dataframe(tmp_path / "farm.gpkg", layer=LAYER)
    assert table.crs == UTM
    one = search.fields[0]
    lines = table[(table["field_id"] == "A") & (table["what"] == "line")]
    assert lines["n"].tolist() == list(range(1, len(one.walk.lines) + 1))
    assert lines["length_m"].sum() == pytest.approx(one.walk.lines_m, abs=0.01 * len(lines))
    walks = table[(table["field_id"] == "A") & (table["what"] == "walk")]
    assert walks["walker"].tolist() == [1, 2]
    assert "C" not in set(table["field_id"])


def test_an_empty_plan_still_has_its_layer(farm: Farm, tmp_path: Path) -> None:
    """By hand: only the field where nothing may be walked."""
    search = plan_search(farm, day=date(2026, 6, 9), field_ids=["C"])
    write_search(search, tmp_path)
    assert pyogrio.read_dataframe(tmp_path / "farm.gpkg", layer=LAYER).empty
    assert [path.name for path in (tmp_path / "search").iterdir()] == ["index.html"]
    assert json.dumps(search_payload(search), allow_nan=False)


def test_same_plan_same_bytes_first_or_second_time(search: Search, tmp_path: Path) -> None:
    """Property: written twice into one folder, and once into another, beside an assessment."""
    for name in ("one", "two"):
        assessed(tmp_path / name)
        write_search(search, tmp_path / name)
    first = digests(tmp_path / "one")
    write_search(search, tmp_path / "one")
    assert digests(tmp_path / "one") == first == digests(tmp_path / "two")


def test_an_assessments_layers_stay_as_they_were(search: Search, tmp_path: Path) -> None:
    """By hand: rows, types, kinds of shape and dates of the other layers; the new one beside."""
    assessed(tmp_path)
    before = layers(tmp_path / "farm.gpkg")
    kinds = dict(pyogrio.list_layers(tmp_path / "farm.gpkg"))
    write_search(search, tmp_path)
    after = layers(tmp_path / "farm.gpkg")
    assert list(after) == ["hazards", "zones", LAYER]
    for name, table in before.items():
        pd.testing.assert_frame_equal(after[name], table)
        assert after[name].crs == UTM
    assert dict(pyogrio.list_layers(tmp_path / "farm.gpkg")) == kinds | {LAYER: "LineString"}
    dates = changed(tmp_path / "farm.gpkg")
    assert dates == {"hazards": "2026-06-02", "zones": "2026-06-02", LAYER: "2026-06-09"}


def test_a_file_goes_to_the_group_that_wrote_it_last(search: Search, tmp_path: Path) -> None:
    """By hand: assess, search, assess, search: each may write over the other's file, the manifest
    has it once, and nothing that is still somebody's is taken away."""
    for number in (3, 5):
        assessed(tmp_path, number)
        assert "farm.gpkg" in manifest(tmp_path)["assess"]
        assert LAYER not in layers(tmp_path / "farm.gpkg")
        write_search(search, tmp_path)
        held = manifest(tmp_path)
        assert "farm.gpkg" in held["search"]
        assert set(held["assess"]) == {"fields.csv"}
        assert len(layers(tmp_path / "farm.gpkg")["hazards"]) == number
    with Outputs(tmp_path, group="assess") as files:  # one that writes no GeoPackage
        files.text("index.html", "")
    assert (tmp_path / "farm.gpkg").is_file()
    assert not (tmp_path / "fields.csv").exists()


def test_old_plans_are_taken_away_but_not_what_another_group_took_over(
    farm: Farm, search: Search, tmp_path: Path
) -> None:
    """By hand: a plan for one field only leaves no track of the other beside it."""
    write_search(search, tmp_path)
    assessed(tmp_path, 3)
    write_search(plan_search(farm, day=date(2026, 6, 9), field_ids=["A"], kind="post"), tmp_path)
    assert sorted(path.name for path in (tmp_path / "search").iterdir()) == ["A.gpx", "index.html"]
    assert "hazards" in layers(tmp_path / "farm.gpkg")


def test_a_changed_geopackage_is_not_written_over(search: Search, tmp_path: Path) -> None:
    """By hand: somebody drew in it: refused, all of the run; --overwrite starts it anew."""
    assessed(tmp_path)
    path = tmp_path / "farm.gpkg"
    mine = gpd.GeoDataFrame({"a": [1]}, geometry=[shapely.Point(0, 0)], crs=UTM)
    pyogrio.write_dataframe(mine, path, layer="mine", append=True)
    before = digests(tmp_path)
    with pytest.raises(InputError, match=r"farm\.gpkg"):
        write_search(search, tmp_path)
    assert digests(tmp_path) == before
    write_search(search, tmp_path, overwrite=True)
    assert list(layers(path)) == [LAYER]


def test_the_payload_is_plain_and_in_place(search: Search) -> None:
    """By hand: JSON without NaN, user text untouched, shapes in degrees near the field."""
    held = json.loads(json.dumps(search_payload(search), allow_nan=False))
    one = held["fields"][0]
    assert one["avoided"][0]["note"] == "<b>low</b>"
    counts = {
        name: len(one[name]["features"])
        for name in ("boundary", "ground", "search_lines", "walks", "avoided_marks", "keep_off")
    }
    lines = len(search.fields[0].walk.lines)
    assert counts == {"boundary": 1, "ground": 1, "search_lines": lines, "walks": 2,
                      "avoided_marks": 1, "keep_off": 1}  # fmt: skip
    assert [gate["properties"]["gate_id"] for gate in one["gates"]["features"]] == ["G1"]
    ground = shapely.geometry.shape(one["ground"]["features"][0]["geometry"])
    back = gpd.GeoSeries([ground], crs=4326).to_crs(UTM).iloc[0]
    assert back.area == pytest.approx(search.fields[0].left.ground.area, rel=1e-3)
    assert held["fields"][1]["gates"]["features"] == []
