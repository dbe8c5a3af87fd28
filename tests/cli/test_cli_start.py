"""``fieldmap start``: whole or not at all, with the person's own file names in every fault."""

from __future__ import annotations

import json
import shutil
import tomllib
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from cli_printed import Printed
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldmap.write.folder import start_folder

Run = Callable[..., Printed]


@pytest.fixture
def boxes(tmp_path: Path) -> Path:
    """A GeoPackage with two layers of one field each, and a shapefile of the same."""
    table = gpd.GeoDataFrame(
        {"field_id": ["a"]}, geometry=[shapely.box(11.5, 49.9, 11.51, 49.91)], crs=4326
    )
    table.to_file(tmp_path / "farm.gpkg", layer="north")
    table.to_file(tmp_path / "farm.gpkg", layer="south")
    table.to_file(tmp_path / "one.shp")
    return tmp_path


def test_by_hand_a_whole_farm_from_files(run: Run, demo_geodata: Path, tmp_path: Path) -> None:
    folder = tmp_path / "deep" / "Äcker und Wiesen"
    words: list[str | Path] = ["start", folder, "--field-id", "FLD_NO", "--units", "us"]
    for key, name in (
        ("fields", "fields.gpkg"), ("elevation", "elevation.tif"), ("roads", "roads.osm.pbf"),
        ("road-checks", "road_checks.csv"), ("gates", "gates.geojson"),
        ("machines", "machines.toml"), ("flood", "flood.geojson"),
    ):  # fmt: skip
        words += [f"--{key}", demo_geodata / name]
    printed = run(*words, "--time-zone", "America/Chicago")
    assert printed.code == 0
    assert printed.out.splitlines() == [
        f"made {folder / 'farm.toml'}",
        f"next: fieldmap assess '{folder}'",
    ]
    notes = printed.err.splitlines()
    assert [note.split(":")[1].split(" (")[0].strip() for note in notes] == [
        "no hazard log",
        "no ledger",
        "no tracks in farm.toml",
    ]
    held = tomllib.loads((folder / "farm.toml").read_text("utf-8"))
    assert held["name"] == "Äcker und Wiesen"
    assert run("check", folder).code == 0
    assert run("start", folder, "--fields", demo_geodata / "fields.gpkg").code == 2
    assert sorted(one.name for one in folder.parent.iterdir()) == [folder.name]


def bad_words(where: Path) -> dict[str, tuple[tuple[str | Path, ...], int]]:
    return {
        "no such file": (("--fields", where / "none.gpkg"), 3),
        "several layers": (("--fields", where / "farm.gpkg"), 3),
        "no such layer": (("--fields", f"{where / 'farm.gpkg'}:east"), 3),
        "that is not read": (("--fields", where / "words.txt"), 3),
        "time_zone": (("--fields", where / "one.shp", "--time-zone", "Mars/X"), 3),
        "does not have: NOPE": (("--fields", where / "one.shp", "--field-id", "NOPE"), 3),
        "--units": (("--fields", where / "one.shp", "--units", "imperial"), 2),
        "--elevation-unit": (("--fields", where / "one.shp", "--elevation-unit", "yd"), 2),
    }


@pytest.mark.parametrize("said", list(bad_words(Path())))
def test_by_hand_bad_input_leaves_nothing_behind(run: Run, boxes: Path, said: str) -> None:
    (boxes / "words.txt").write_text("words")
    words, code = bad_words(boxes)[said]
    before = sorted(boxes.rglob("*"))
    printed = run("start", boxes / "new" / "deep" / "farm", *words)
    assert printed.code == code
    assert said in printed.err
    assert "partial" not in printed.err
    assert printed.out == ""
    assert sorted(boxes.rglob("*")) == before


def test_by_hand_every_missing_file_is_named(run: Run, tmp_path: Path) -> None:
    printed = run("start", tmp_path / "x", "--fields", "a.gpkg", "--roads", "b.osm", "--json")
    assert [fault["where"] for fault in printed.faults()] == ["fields", "roads"]


def test_by_hand_a_folder_with_files_of_the_same_name(run: Run, boxes: Path) -> None:
    (boxes / "farm").mkdir()
    (boxes / "farm" / "one.shp").write_text("mine")
    printed = run("start", boxes / "farm", "--fields", boxes / "one.shp", "--json")
    assert printed.code == 3
    assert [fault["value"] for fault in printed.faults()] == ["one.shp"]
    assert (boxes / "farm" / "one.shp").read_text() == "mine"
    assert [one.name for one in (boxes / "farm").iterdir()] == ["one.shp"]


def test_by_hand_a_file_where_the_folder_should_be(run: Run, boxes: Path) -> None:
    (boxes / "file").write_text("mine")
    for folder in (boxes / "file", boxes / "file" / "farm"):
        printed = run("start", folder, "--fields", boxes / "one.shp")
        assert printed.code == 5
        assert "cannot be made" in printed.err
    assert (boxes / "file").read_text() == "mine"


def test_by_hand_a_full_disk_leaves_nothing(
    run: Run, boxes: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(shutil, "copyfile", full)
    before = sorted(boxes.rglob("*"))
    assert run("start", boxes / "new", "--fields", boxes / "one.shp").code == 5
    assert sorted(boxes.rglob("*")) == before


def test_by_hand_a_layer_and_every_part_of_a_shapefile(run: Run, boxes: Path) -> None:
    assert run("start", boxes / "n", "--fields", f"{boxes / 'farm.gpkg'}:north").code == 0
    held = tomllib.loads((boxes / "n" / "farm.toml").read_text())
    assert held["files"]["fields"] == "farm.gpkg:north"
    (boxes / "one.tif").write_text("not a part of it")
    assert run("start", boxes / "s", "--fields", boxes / "one.shp").code == 0
    found = {one.suffix for one in (boxes / "s").iterdir() if one.stem == "one"}
    assert found == {".shp", ".shx", ".dbf", ".prj", ".cpg"}


def test_by_hand_names_that_clash_are_kept_apart(run: Run, boxes: Path) -> None:
    for folder in ("a", "b"):
        (boxes / folder).mkdir()
    shutil.copy(boxes / "farm.gpkg", boxes / "a" / "hazards.gpkg")
    point = gpd.GeoDataFrame({"gate_id": ["G"]}, geometry=[shapely.Point(11.5, 49.9)], crs=4326)
    point.to_file(boxes / "b" / "hazards.gpkg", layer="gates")
    printed = run(
        "start", boxes / "farm", "--fields", f"{boxes / 'a' / 'hazards.gpkg'}:north",
        "--gates", boxes / "b" / "hazards.gpkg",
    )  # fmt: skip
    assert printed.code == 0
    held = tomllib.loads((boxes / "farm" / "farm.toml").read_text())["files"]
    assert (held["fields"], held["gates"]) == ("fields_hazards.gpkg:north", "gates_hazards.gpkg")
    assert not (boxes / "farm" / "hazards.gpkg").exists()


def test_by_hand_swapped_fields_are_offered_the_cure(run: Run, tmp_path: Path) -> None:
    corners = [[49.9, 111.5], [49.91, 111.5], [49.91, 111.51], [49.9, 111.5]]
    shape = {"type": "Polygon", "coordinates": [corners]}
    one = {"type": "Feature", "properties": {"field_id": "a"}, "geometry": shape}
    (tmp_path / "f.geojson").write_text(
        json.dumps({"type": "FeatureCollection", "features": [one]})
    )
    words = ("start", tmp_path / "farm", "--fields", tmp_path / "f.geojson")
    printed = run(*words)
    assert printed.code == 3
    assert "--swap-xy" in printed.err
    assert run(*words, "--swap-xy").code == 0
    assert run("check", tmp_path / "farm").code == 0
    assert 'swap_xy = ["fields"]' in (tmp_path / "farm" / "farm.toml").read_text()


def test_by_hand_the_folder_one_stands_in(
    run: Run, boxes: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (boxes / "here").mkdir()
    monkeypatch.chdir(boxes / "here")
    assert run("start", ".", "--fields", "../one.shp").code == 0
    assert tomllib.loads((boxes / "here" / "farm.toml").read_text())["name"] == "here"


@settings(max_examples=15, deadline=None)
@given(name=st.text(st.characters(blacklist_categories=["Cs"]), min_size=1, max_size=20))
def test_property_any_name_is_written_as_toml_can_read(
    tmp_path_factory: pytest.TempPathFactory, name: str
) -> None:
    folder = tmp_path_factory.mktemp("names")
    fields = gpd.GeoDataFrame(geometry=[shapely.box(11.5, 49.9, 11.51, 49.91)], crs=4326)
    fields.to_file(folder / "one.geojson")
    made, _ = start_folder(
        folder / "farm",
        {"fields": folder / "one.geojson"},
        name=name,
        units="metric",
        time_zone="UTC",
        settings={},
    )
    assert tomllib.loads(made.read_text("utf-8"))["name"] == name
