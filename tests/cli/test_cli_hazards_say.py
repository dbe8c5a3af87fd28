"""``fieldmap hazards`` add, say, clear, twins, merge, unmerge: what people say. By hand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from cli_printed import Printed
from json_schemas import document
from jsonschema import Draft202012Validator

Run = Callable[..., Printed]
PLACE = ("--lon", "-92.93", "--lat", "40.612")
THERE = ("--lon", "-92.93002", "--lat", "40.612")


def held(printed: Printed, command: str) -> dict:
    Draft202012Validator(document(command)).validate(printed.json())
    assert printed.code == 0, printed.out
    return printed.json()["result"]


def added(run: Run, folder: Path, *words: str) -> str:
    result = held(run("hazards", "add", folder, *words, "--json"), "hazards add")
    return result["marks"][0]


def features(run: Run, folder: Path, *words: str) -> list[dict]:
    result = held(run("hazards", "list", folder, "--json", *words), "hazards list")
    return [one["properties"] for one in result["hazards"]["features"]]


def test_by_hand_a_day_in_the_life_of_a_mark(run: Run, own_farm: Path) -> None:
    told = ("--who", "Ada", "--time", "2026-06-01T08:00", "--radius-m", "3", "--height-m", "0.3")
    mark = added(run, own_farm, "old fence wire", *PLACE, *told, "--note", "by the oak")
    (row,) = features(run, own_farm)
    assert row["kind"] == "loose_wire"
    assert row["time"] == "2026-06-01T13:00:00+00:00"  # the farm's clock: five hours behind
    assert (row["radius_m"], row["height_m"], row["who"]) == (3.0, 0.3, "Ada")
    said = run("hazards", "say", own_farm, "not-found", mark, "--who", "Bo", "--json")
    assert held(said, "hazards say")["marks"] == [mark]
    assert "still stands" in said.json()["warnings"][0]
    assert "looked for and not found 1x" in run("hazards", "list", own_farm).out
    gone = run("hazards", "clear", own_farm, mark, "--who", "Ada", "--json")
    assert held(gone, "hazards clear")["new"] == 1
    assert features(run, own_farm) == []
    (row,) = features(run, own_farm, "--cleared")
    assert (row["stands"], row["closed_by"]) == (False, "Ada")
    assert "by Ada" in run("hazards", "list", own_farm, "--cleared").out
    assert features(run, own_farm, "--on", "2026-06-02")[0]["hazard_id"] == mark
    assert features(run, own_farm, "--on", "2026-05-01") == []


def test_by_hand_two_marks_become_one_and_two_again(run: Run, own_farm: Path) -> None:
    one = added(run, own_farm, "stone", *PLACE, "--who", "Ada")
    two = added(run, own_farm, "stone", *THERE, "--who", "Bo")
    (pair,) = held(run("hazards", "twins", own_farm, "--json"), "hazards twins")["twins"]
    assert {pair["one"], pair["other"]} == {one, two}
    assert "1 pairs nearer" in run("hazards", "twins", own_farm).out
    merged = held(run("hazards", "merge", own_farm, one, two, "--json"), "hazards merge")
    assert set(merged["marks"]) == {one, two}
    (row,) = features(run, own_farm)
    apart = run("hazards", "unmerge", own_farm, row["hazard_id"], "--json")
    held(apart, "hazards unmerge")
    assert len(features(run, own_farm)) == 2


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("add", "stone"), "--lon or --lat is not given"),
        (("add", "stone", "--lon", "-92.93"), "half a position"),
        (("add", "stone", "--lon", "40.612", "--lat", "-92.93"), "earth"),
        (("add", "stone", "--lon", "11.5", "--lat", "49.9"), "nobody mows"),
        (("add", "stone", *PLACE, "--radius-m", "-1"), "radius-m"),
        (("add", "stone", *PLACE, "--time", "tomorrow"), "2026-06-01T09:30"),
        (("add", "stone", *PLACE, "--time", "1026-11-20"), "2026-06-01T09:30"),
        (("add", "stone", *PLACE, "--time", "0001-01-01T00:00"), "2026-06-01T09:30"),
        (("clear", "nosuch", "--who", "Ada"), "no such mark"),
        (("say", "stolen", "x"), "use one of"),
        (("say", "note", "x"), "note without words"),
        (("merge", "a", "b"), "no such mark"),
        (("export", "marks.xyz"), ".gpkg"),
        (("list", "--on", "soon"), "2026"),
    ],
)
def test_by_hand_misuse_is_told_and_writes_nothing(
    run: Run, own_farm: Path, words: tuple[str, ...], said: str
) -> None:
    verb, *more = words
    printed = run("hazards", verb, own_farm, *more)
    assert printed.code == 2
    assert said in printed.err
    assert not (own_farm / "hazards.gpkg").exists()


def test_by_hand_a_look_shows_and_writes_nothing(run: Run, own_farm: Path) -> None:
    path = own_farm / "marks.csv"
    path.write_text("lon,lat,kind,id\n-92.93,40.612,big old tires,T1\n", "utf-8")
    printed = run("hazards", "import", own_farm, path, "--look")
    assert printed.code == 0
    assert "T1  tyre  40.612000  -92.930000" in printed.out
    assert "nothing was written" in printed.out
    assert not (own_farm / "hazards.gpkg").exists()


def test_by_hand_anothers_log_is_joined(run: Run, own_farm: Path, tmp_path: Path) -> None:
    mark = added(run, own_farm, "stone", *PLACE)
    theirs = tmp_path / "theirs.gpkg"
    (own_farm / "hazards.gpkg").rename(theirs)
    printed = run("hazards", "import", own_farm, theirs, "--json")
    (taken,) = held(printed, "hazards import")["files"]
    assert (taken["read"], taken["new"]) == (1, 1)
    assert features(run, own_farm)[0]["hazard_id"] == mark


@pytest.mark.parametrize("ending", ["gpkg", "geojson", "gpx", "kml", "csv"])
def test_by_hand_what_is_exported_is_read_back_and_known(
    run: Run, own_farm: Path, tmp_path: Path, ending: str
) -> None:
    added(run, own_farm, "odd thing", *PLACE, "--who", "Ada", "--note", "=1+1; <b>")
    file = tmp_path / f"out.{ending}"
    result = held(run("hazards", "export", own_farm, file, "--json"), "hazards export")
    assert result["marks"] == 1
    refused = run("hazards", "export", own_farm, file)
    assert refused.code == 3
    assert run("hazards", "export", own_farm, file, "--overwrite").code == 0
    (taken,) = held(run("hazards", "import", own_farm, file, "--json"), "hazards import")["files"]
    assert (taken["read"], taken["new"]) == (1, 0)


def test_by_hand_an_export_never_goes_over_the_farms_own_files(run: Run, own_farm: Path) -> None:
    added(run, own_farm, "stone", *PLACE)
    for name in ("hazards.gpkg", "fields.gpkg"):
        before = (own_farm / name).read_bytes()
        refused = run("hazards", "export", own_farm, own_farm / name, "--overwrite")
        assert refused.code == 2
        assert "own files" in refused.err
        assert (own_farm / name).read_bytes() == before
