"""What every command prints with ``--json`` is held to its schema, also on failure."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from cli_printed import DAY, Printed
from json_schemas import ENVELOPE, RESULTS, document
from jsonschema import Draft202012Validator

Run = Callable[..., Printed]


def held(printed: Printed, command: str) -> dict:
    """The result of a command that went well, held to its schema."""
    found = printed.json()
    Draft202012Validator(document(command)).validate(found)
    assert found["ok"] is (printed.code in (0, 4))
    assert found["result"] is not None
    return found["result"]


@pytest.mark.parametrize("command", sorted(RESULTS))
def test_by_hand_the_schemas_are_schemas_and_refuse_strangers(command: str) -> None:
    Draft202012Validator.check_schema(document(command))
    good = {"schema": "fieldmap/1", "ok": False, "warnings": [], "errors": [], "result": None}
    judge = Draft202012Validator(document(command))
    assert judge.is_valid(good)
    assert not judge.is_valid(good | {"more": 1})
    assert not judge.is_valid(good | {"result": {"nosuch": 1}})
    assert not judge.is_valid({key: good[key] for key in list(good)[1:]})


def test_by_hand_version_values_and_check(run: Run, demo_farm: Path) -> None:
    versions = held(run("version", "--json"), "version")["versions"]
    assert {"fieldmap", "gdal_raster", "gdal_vector", "proj", "geos"} <= set(versions)
    values = held(run("values", "looking", "--json"), "values")["values"]
    assert all(one["source"]["title"] for one in values)
    assert len(held(run("values", "--json"), "values")["values"]) > len(values)
    assert held(run("check", demo_farm, "--json"), "check") == {"faults": 0, "notes": []}


def test_by_hand_assess(run: Run, demo_farm: Path, tmp_path: Path) -> None:
    words = ("assess", demo_farm, "--date", DAY, "--machine", "pull-39", "--out", tmp_path)
    result = held(run(*words, "--no-pages", "--json"), "assess")
    assert result["day"] == DAY
    assert sum(result["counts"].values()) == len(result["fields"]) == 12
    assert all(Path(name).is_file() for name in result["files"])


def test_by_hand_slopes(run: Run, demo_farm: Path, tmp_path: Path) -> None:
    result = held(run("slopes", demo_farm, "--out", tmp_path, "--rasters", "--json"), "slopes")
    assert len(result["fields"]) == 12
    names = [Path(name).name for name in result["files"]]
    assert names == ["slopes.html", "slopes.csv", "slope_pct.tif", "aspect_deg.tif"]
    assert all(Path(name).is_file() for name in result["files"])
    again = run("slopes", demo_farm, "--out", tmp_path, "--rasters", "--json")
    assert held(again, "slopes") == result  # over its own files without being asked twice
    refused = run("slopes", demo_farm, "--field", "S99", "--out", tmp_path / "no", "--json")
    assert refused.code == 2
    assert not (tmp_path / "no").exists()


def test_by_hand_search(run: Run, demo_farm: Path, tmp_path: Path) -> None:
    words = ("search", demo_farm, "--date", DAY, "--field", "S4", "--field", "S1")
    printed = run(*words, "--walkers", "2", "--out", tmp_path, "--json", "--strict")
    result = held(printed, "search")
    assert printed.code == 4  # S1 stood under water and nobody walked it since
    assert [one["field_id"] for one in result["fields"]] == ["S1", "S4"]
    assert len(result["fields"][0]["walks_m"]) == 2
    assert all(Path(name).is_file() for name in result["files"])
    for wrong, said in (
        (("--chance", "1.2"), "chance"),
        (("--kind", "frogs"), "frogs"),
        (("--field", "S99"), "S99"),
        (("--walkers", "0"), "walker"),
    ):
        refused = run("search", demo_farm, "--out", tmp_path / "no", *wrong, "--json")
        assert refused.code == 2
        assert said in str(refused.faults())
        assert not (tmp_path / "no").exists()
    assert (
        held(
            run(
                "search",
                demo_farm,
                "--kind",
                "old tire",
                "--field",
                "S4",
                "--out",
                tmp_path,
                "--json",
            ),
            "search",
        )["fields"][0]["kind"]
        == "tyre"
    )


@pytest.mark.parametrize(
    ("machine", "goal"), [("rear-3", "S1"), ("wide-87", "S5"), ("wide-87", "S12"), (None, "Withy")]
)
def test_by_hand_move(
    run: Run, demo_farm: Path, tmp_path: Path, machine: str | None, goal: str
) -> None:
    words = ["move", demo_farm, "--from", "home", "--to", goal, "--out", tmp_path, "--json"]
    printed = run(*words, *(() if machine is None else ("--machine", machine)), "--strict")
    result = held(printed, "move")
    assert printed.code == (4 if result["move"]["level"] in ("stop", "unknown") else 0)
    assert all(Path(name).is_file() for name in result["files"])


def test_by_hand_hazards(run: Run, demo_farm: Path, own_farm: Path) -> None:
    listed = held(run("hazards", "list", demo_farm, "--json"), "hazards list")
    features = listed["hazards"]["features"]
    stones = held(run("hazards", "list", demo_farm, "--kind", "stone", "--json"), "hazards list")
    assert 0 < len(stones["hazards"]["features"]) < len(features)
    assert all(one["properties"]["time"].endswith("+00:00") for one in features)
    empty = run("hazards", "list", own_farm, "--json")
    assert held(empty, "hazards list")["hazards"]["features"] == []
    assert empty.json()["warnings"] == ["there is no hazard log yet"]
    words = ("hazards", "import", own_farm, own_farm / "found" / "ridge_walk.csv", "--json")
    (taken,) = held(run(*words), "hazards import")["files"]
    assert taken["new"] == taken["read"] > 0
    (again,) = held(run(*words), "hazards import")["files"]
    assert (again["read"], again["new"]) == (taken["read"], 0)


def test_by_hand_start(run: Run, demo_geodata: Path, tmp_path: Path) -> None:
    words = ("start", tmp_path / "new", "--fields", demo_geodata / "fields.gpkg", "--json")
    result = held(run(*words), "start")
    assert Path(result["farm"]).is_file()
    assert any("no elevation" in note for note in result["notes"])


def test_by_hand_demo(run: Run, tmp_path: Path) -> None:
    printed = run("demo", "--out", tmp_path / "d", "--json")
    result = held(printed, "demo")
    assert "reading the invented farm" in printed.err
    assert Path(result["open"]).is_file()
    assert sum(result["counts"].values()) == 12
    (tmp_path / "d" / "farm" / "farm.toml").write_text("mine")
    refused = run("demo", "--out", tmp_path / "d", "--json")
    assert refused.code == 2
    assert (tmp_path / "d" / "farm" / "farm.toml").read_text() == "mine"


def test_by_hand_failures_keep_the_envelope(run: Run, tmp_path: Path) -> None:
    for words in (
        ("nosuch",),
        ("check", tmp_path),
        ("assess", tmp_path),
        ("move", tmp_path),
        ("values", "nosuch"),
        ("hazards", "import", tmp_path, "x"),
        ("start", tmp_path / "x", "--fields", "none.gpkg"),
    ):
        printed = run(*words, "--json")
        found = printed.json()
        Draft202012Validator(ENVELOPE).validate(found)
        assert printed.code in (2, 3)
        assert found["ok"] is False
        assert found["errors"]
