"""Traps a person can fall into, found by people who tried: each stays shut. All by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldmap.errors import InputError, MisuseError
from fieldmap.farm import Farm, load_farm
from fieldmap.journey import plan_move
from fieldmap.read.finds import kind_of, read_finds
from fieldmap.read.road_checks import read_road_checks
from fieldmap.roads.rules import under_rules
from fieldmap.tables import load_tables

TABLES = load_tables()


@pytest.fixture(scope="module")
def farm(demo_out: Path) -> Farm:
    return load_farm(demo_out / "farm")


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        ("power line down", "line_down"),
        ("electric line on ground", "line_down"),
        ("downed line", "line_down"),
        ("live wire by the pole", "line_down"),
        ("power lines", "overhead_line"),
        ("propane bottle", "drum"),
        ("gas bottle in the grass", "drum"),
        ("bottle", "glass"),
        ("electric fence", "unknown"),
        ("old fence wire", "loose_wire"),
        ("no wire left", "unknown"),
        ("picked up wire", "unknown"),
        ("drum removed", "unknown"),
    ],
)
def test_words_are_read_for_the_worse_thing(words: str, kind: str) -> None:
    assert kind_of(words, TABLES) == kind


def test_a_line_on_the_ground_stops_and_nobody_is_sent_to_it() -> None:
    words = TABLES["hazard_kinds.line_down"].words
    assert (words["level"], words["touch"], words["action"]) == ("stop", "no", "keep out")
    assert "utility" in words["call"]


def test_the_finders_own_words_are_kept(tmp_path: Path) -> None:
    path = tmp_path / "finds.csv"
    path.write_text(
        "lon,lat,kind,note\n-92.95,40.62,bale string,by the gate\n-92.95,40.62,twine,\n"
        "-92.95,40.62,odd thing,\n",
        "utf-8",
    )
    notes = read_finds(path, tables=TABLES).table["note"].tolist()
    assert notes == ["bale string - by the gate", "", "odd thing"]


def test_feet_are_not_taken_for_metres_on_a_road(tmp_path: Path) -> None:
    path = tmp_path / "road_checks.csv"
    head = "place,kind,value,unit,who,when\n"
    path.write_text(head + "way/12,width,14.5,,Ada,2026-06-01\n", "utf-8")
    with pytest.raises(InputError, match="may not be in m"):
        read_road_checks(path)
    path.write_text(head + "way/12,width,14.5,ft,Ada,2026-06-01\n", "utf-8")
    assert read_road_checks(path)["value"].tolist() == [pytest.approx(4.4196)]
    path.write_text(head + "way/12,mass,8,t,Ada,2026-06-01\n", "utf-8")
    assert read_road_checks(path)["value"].tolist() == [8000.0]
    path.write_text(head + "way/12,mass,8,,Ada,2026-06-01\n", "utf-8")
    with pytest.raises(InputError, match="may not be in kg"):
        read_road_checks(path)


def test_a_figure_to_beat_stands_in_metres_too(demo_out: Path) -> None:
    page = next((demo_out / "moves").glob("home-to-S5*.html")).read_text("utf-8")
    assert "14.1 ft (4.30 m)" in page


def test_a_move_to_itself_is_refused(farm: Farm) -> None:
    for name in ("home", "S5"):
        with pytest.raises(MisuseError, match="to itself"):
            plan_move(farm, start=name, goal=name, machine_id="rear-3")


def test_a_field_is_known_by_its_name_too(farm: Farm) -> None:
    by_name = plan_move(farm, start="home", goal="Third Bench", machine_id="rear-3")
    by_id = plan_move(farm, start="home", goal="S5", machine_id="rear-3")
    assert by_name.length_m == by_id.length_m
    assert by_name.level == by_id.level


def test_your_own_rules_are_held_against_the_width_and_nothing_is_invented(farm: Farm) -> None:
    move = plan_move(farm, start="home", goal="S1", machine_id="rear-3")
    rules = {"source": "read 2026-05-02", "escort_over_width_m": 3.6, "barred_over_width_m": 5.0}
    told = {
        width: [one.level for one in under_rules(move, rules, width_m=width).findings
                if one.what == "your own road rules"]
        for width in (3.6, 3.61, 5.01, None)
    }  # fmt: skip
    assert told == {3.6: [], 3.61: ["care"], 5.01: ["care", "stop"], None: ["unknown", "unknown"]}
    assert under_rules(move, {}, width_m=9.0).findings == move.findings


def test_a_few_fields_alone_leave_the_farms_outputs_whole(demo_out: Path, tmp_path: Path) -> None:
    import shutil

    from fieldmap.cli.main import answer

    folder = tmp_path / "farm"
    shutil.copytree(demo_out / "farm", folder)
    assert answer(["assess", str(folder), "--date", "2026-06-09", "--no-pages"]) == 0
    before = {path.name: path.read_bytes() for path in (folder / "outputs").glob("*.csv")}
    words = ["assess", str(folder), "--field", "S5", "--date", "2026-06-09", "--no-pages"]
    assert answer(words) == 0
    assert {path.name: path.read_bytes() for path in (folder / "outputs").glob("*.csv")} == before
    alone = (folder / "outputs" / "only-S5" / "fields.csv").read_text("utf-8")
    assert alone.count("\n") == 2


def test_what_hurts_people_comes_first(demo_out: Path) -> None:
    import json

    fields = json.loads((demo_out / "fields.json").read_text("utf-8"))["fields"]
    first = next(one["to_change"][0] for one in fields if one["field_id"] == "S2")
    assert "drum or cylinder" in first


def test_every_demo_page_says_that_it_is_invented(demo_out: Path) -> None:
    pages = [
        *demo_out.glob("*.html"),
        *demo_out.glob("fields/*.html"),
        *demo_out.glob("moves/*.html"),
    ]
    assert len(pages) > 10
    for page in pages:
        assert "Invented demo farm" in page.read_text("utf-8")


def test_finds_outside_every_field_are_told_and_shown(farm: Farm, tmp_path: Path) -> None:
    import dataclasses

    from fieldmap.intake import take_in

    path = tmp_path / "lone.csv"
    path.write_text("lon,lat,kind\n-92.80,40.62,stone\n", "utf-8")
    elsewhere = dataclasses.replace(farm, folder=tmp_path)
    notes = take_in(elsewhere, [path]).notes
    assert any("1 of 1 finds reach no field" in note for note in notes)


def test_a_bad_line_does_not_hide_the_others(tmp_path: Path) -> None:
    path = tmp_path / "finds.csv"
    path.write_text(
        "lon,lat,kind,time,radius_m\n-92.95,40.62,stone,someday,3\n-92.95,40.62,stone,,wide\n"
        "here,there,stone,,\n-92.95,140.62,stone,,\n",
        "utf-8",
    )
    with pytest.raises(InputError) as caught:
        read_finds(path, tables=TABLES)
    assert [fault.value for fault in caught.value.faults] == [
        "here, there", "POINT (-92.95 140.62)", "someday", "wide",
    ]  # fmt: skip


def test_a_machine_of_unknown_height_still_hears_of_what_crosses_above(farm: Farm) -> None:
    import dataclasses

    wide = farm.machine("wide-87")
    states = tuple(one.model_copy(update={"height_m": None}) for one in wide.transport)
    blind = wide.model_copy(update={"transport": states})
    unknown = dataclasses.replace(farm, machines=(blind,))
    move = plan_move(unknown, start="home", goal="S5", machine_id="wide-87")
    over = [one for one in move.findings if one.why.startswith("Over the road: ")]
    legs = sum(bool(under) for under in move.legs["under"])
    assert len(over) == legs > 0
    assert {one.level for one in over} == {"unknown"}
