"""``fieldmap day``: what it prints, writes and refuses. By hand, unless a test says otherwise.

The invented farm without its heights and log: what the plan itself does is in tests/farm.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from cli_printed import DAY, Printed
from json_schemas import document
from jsonschema import Draft202012Validator

Run = Callable[..., Printed]
TOML = """
name = "Sallow Bottom"
note = "Invented demo farm"
units = "us"
time_zone = "America/Chicago"
crs = "EPSG:26915"
[files]
fields = "fields.gpkg"
gates = "gates.geojson"
roads = "roads.osm.pbf"
road_checks = "road_checks.csv"
machines = "machines.toml"
[columns.fields]
field_id = "FLD_NO"
[places]
home = [-92.931837, 40.625206]
Withy = [-92.921915, 40.632144]
"""
ASKED = ("--machine", "rear-3", "--fields", "S1,S4,S8", "--date", DAY)


@pytest.fixture(scope="module")
def farm(demo_geodata: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Tests must not write into it."""
    folder = tmp_path_factory.mktemp("day") / "farm"
    folder.mkdir()
    for name in (
        "fields.gpkg",
        "gates.geojson",
        "roads.osm.pbf",
        "road_checks.csv",
        "machines.toml",
    ):
        shutil.copy(demo_geodata / name, folder)
    (folder / "farm.toml").write_text(TOML, "utf-8")
    return folder


@pytest.fixture(scope="module")
def outputs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("outputs")


def result_of(printed: Printed) -> dict:
    """The result, held to its schema."""
    found = printed.json()
    Draft202012Validator(document("day")).validate(found)
    assert found["ok"], found["errors"]
    return found["result"]


def test_what_it_prints_fits_its_schema_and_every_field_is_somewhere(
    run: Run, farm: Path, outputs: Path
) -> None:
    result = result_of(run("day", farm, *ASKED, "--out", outputs, "--json"))
    (day,) = result["machines"]
    assert day["stops"] == []  # without heights nobody knows how steep a way is
    assert day["home"] is None
    assert [one["field_id"] for one in result["left"]] == ["S1", "S4", "S8"]
    assert [one["kind"] for held in result["left"] for one in held["reasons"]] == ["road"] * 3
    assert (result["day"]["fields"], result["day"]["left"]) == (0, 3)
    assert result["day"]["level"] == "unknown"
    assert result["survey"]


def test_times_are_the_farm_s_and_follow_one_another(run: Run, farm: Path, outputs: Path) -> None:
    words = ("--with-unknown", "--start", "07:00", "--out", outputs, "--json")
    result = result_of(run("day", farm, *ASKED, *words))
    (day,) = result["machines"]
    assert len(day["stops"]) == 2  # a day is too short for the third
    times = [result["day"]["from"]]
    for stop in day["stops"]:
        drive = stop["drive"]
        times += [drive["leave"], drive["arrive"], stop["mow_from"], stop["mow_to"], stop["leave"]]
    times += [day["home"]["leave"], day["home"]["arrive"], result["day"]["to"]]
    assert times == sorted(times)
    assert times[0] == f"{DAY}T07:00-05:00"  # Chicago in June
    assert result["day"]["with_unknown"]
    assert result["day"]["level"] == "unknown"


def test_the_files_say_the_same_and_the_same_day_gives_the_same_bytes(
    run: Run, farm: Path, tmp_path: Path
) -> None:
    words = ("day", farm, *ASKED, "--with-unknown", "--json")
    result = result_of(run(*words, "--out", tmp_path / "one"))
    files = [Path(name) for name in result["files"]]
    assert [one.suffix for one in files] == [".html", ".csv", ".json"]
    assert {one.parent.name for one in files} == {"days"}
    assert {one.stem for one in files} == {f"{DAY}-rear-3"}
    told = json.loads(files[2].read_text("utf-8"))
    assert told == {key: held for key, held in result.items() if key != "files"}
    table = pd.read_csv(files[1])
    mown = table[table["what"] == "mow"]
    assert list(mown["field_id"]) == [one["field_id"] for one in told["machines"][0]["stops"]]
    (day,) = told["machines"]
    for column in ("mow_from", "mow_to"):
        assert list(mown[column]) == [one[column] for one in day["stops"]]
    for column in ("leave", "arrive"):
        drives = [*(one["drive"] for one in day["stops"]), day["home"]]
        assert list(table[column].dropna()) == [one[column] for one in drives]
    assert run(*words, "--out", tmp_path / "two").code == 0
    for one in files:
        assert (tmp_path / "two" / "days" / one.name).read_bytes() == one.read_bytes()


def test_what_is_left_out_is_in_the_table_with_its_reason(
    run: Run, farm: Path, outputs: Path
) -> None:
    result = result_of(run("day", farm, *ASKED, "--out", outputs, "--json"))
    table = pd.read_csv(result["files"][1])
    left = table[table["what"] == "not in the day"]
    assert list(left["field_id"]) == [one["field_id"] for one in result["left"]]
    assert list(left["left_for"]) == ["road"] * 3
    assert list(left["left_level"]) == ["unknown"] * 3
    assert left["left_why"].str.contains("something unknown").all()


def test_words_for_people_begin_with_the_day_and_end_with_who_decides(
    run: Run, farm: Path, outputs: Path
) -> None:
    printed = run("day", farm, *ASKED, "--with-unknown", "--out", outputs, "--strict")
    assert printed.code == 4  # something is unknown, and fields are left out
    lines = printed.out.splitlines()
    assert lines[0].startswith(f"{DAY}, 05:41 to 20:41 (America/Chicago): unknown")
    assert any(line.startswith("S1 ") and " mi, " in line for line in lines)
    assert any(" to S1  " in line for line in lines)
    assert any(line.startswith("S4") and "not beside the others" in line for line in lines)
    sure = run("day", farm, *ASKED, "--out", outputs)
    assert "--with-unknown plans with ways that have something unknown" in sure.out
    assert "--with-unknown" not in printed.out
    assert any(line.startswith("S4") and "Measure: " in line for line in sure.out.splitlines())
    assert "WARNING: this is an order on paper" in printed.out
    assert "your own law win over it" in printed.out
    assert "safe" not in printed.out.lower()


def test_two_machines_each_from_its_own_place(run: Run, farm: Path, outputs: Path) -> None:
    words = ("--machine", "wide-87", "--machine", "pull-39", "--from", "home", "--from", "Withy")
    dated = ("--fields", "S1,S8", "--date", DAY, "--with-unknown", "--out", outputs, "--json")
    result = result_of(run("day", farm, *words, *dated))
    assert [one["start"] for one in result["machines"]] == ["home", "Withy"]
    done = [stop["field_id"] for one in result["machines"] for stop in one["stops"]]
    assert sorted(done) == ["S1", "S8"]
    assert Path(result["files"][0]).stem == f"{DAY}-wide-87-pull-39"


def test_every_drive_gets_its_sheet_when_asked_for(run: Run, farm: Path, tmp_path: Path) -> None:
    words = ("--machine", "rear-3", "--fields", "S1", "--date", DAY, "--with-unknown")
    printed = run("day", farm, *words, "--sheets", "--out", tmp_path)
    sheets = sorted(path.name for path in (tmp_path / "moves").glob("*-sheet.html"))
    assert len(sheets) == 2  # out and home
    assert printed.out.count("sheet for the cab: ") == 2
    page = (tmp_path / "days" / f"{DAY}-rear-3.html").read_text("utf-8")
    assert all(f'href="../moves/{name}"' in page for name in sheets)


WRONG = [
    (("--machine", "nosuch"), 2, "no such machine"),
    (("--machine", "rear-3", "--machine", "rear-3"), 2, "the same machine twice"),
    (("--date", "junk"), 2, "--date is not a day"),
    (("--start", "25:00"), 2, "--start is not a time of day"),
    (("--start", "12:00", "--end", "08:00"), 2, "the day ends before it begins"),
    (("--from", "nosuch"), 2, "no such place"),
    (("--from", "40.0,-91.0"), 3, "too far from any road"),
    (("--from", "home", "--from", "Withy"), 2, "--from does not fit"),
    (("--state", "nosuch"), 2, "no such transport state"),
    (("--fields", "S1,S99"), 2, "no such field"),
]


@pytest.mark.parametrize(("words", "code", "said"), WRONG, ids=[" ".join(one[0]) for one in WRONG])
def test_wrong_words_are_told_and_nothing_is_written(
    run: Run, farm: Path, tmp_path: Path, words: tuple[str, ...], code: int, said: str
) -> None:
    more = [] if "--date" in words else ["--date", DAY]
    more += [] if "--fields" in words else ["--fields", "S1"]
    printed = run("day", farm, *words, *more, "--out", tmp_path / "no", "--json")
    assert printed.code == code
    assert said in str(printed.faults())
    assert not (tmp_path / "no").exists()


SETTINGS = [
    ('[day.windows]\nS1 = "16:00-10:00"', "ends before it begins"),
    ('[day.windows]\nS1 = "ten to four"', "is no hours"),
    ('[day.windows]\nS77 = "10:00-16:00"', "names a field that is not there"),
    ('[day]\nstart = "half past"', "write a time of day"),
    ('[day]\ndewoff = "10:00"', "did you mean dew_off"),
    ("[day]\nservice_min = -4", "service_min"),
]


@pytest.mark.parametrize(("lines", "said"), SETTINGS, ids=[said for _, said in SETTINGS])
def test_wrong_settings_are_faults(run: Run, own_farm: Path, lines: str, said: str) -> None:
    (own_farm / "farm.toml").write_text(f"{TOML}\n{lines}\n", "utf-8")
    printed = run("day", own_farm, "--date", DAY, "--json")
    assert printed.code == 3
    assert said in str(printed.faults())


def test_a_farm_without_roads_says_so(run: Run, own_farm: Path) -> None:
    printed = run("day", own_farm, "--from", "40.62,-92.93", "--date", DAY, "--json")
    assert printed.code == 3
    assert "the farm has no roads" in str(printed.faults())


def test_a_farm_without_places_must_be_told_where_the_machine_stands(
    run: Run, own_farm: Path
) -> None:
    printed = run("day", own_farm, "--date", DAY, "--json")
    assert printed.code == 2
    assert "no place to start from" in str(printed.faults())
