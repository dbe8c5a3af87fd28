"""The ledger as part of a farm: when it is read, and which hits go with it. By hand."""

from __future__ import annotations

import dataclasses
import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import pandas as pd
import pytest

from fieldmap.advice.knife_change import HITS_SINCE, MOWN_SINCE
from fieldmap.errors import InputError, MisuseError
from fieldmap.farm import Farm, check_farm, load_farm
from fieldmap.ledger import hits_of, knives_on, new_rows
from fieldmap.logbook import Place, Word, add, say

DAY = date(2026, 6, 9)
HEAD = "date,machine,did,field_id,area_ha,note,who\n"
TOML = (
    'name = "Own"\ntime_zone = "America/Chicago"\n[files]\nfields = "fields.gpkg"\n'
    'machines = "machines.toml"\n{more}[columns.fields]\nfield_id = "FLD_NO"\n'
)


@pytest.fixture
def folder(demo_geodata: Path, tmp_path: Path) -> Path:
    for name in ("fields.gpkg", "machines.toml"):
        shutil.copy(demo_geodata / name, tmp_path)
    return tmp_path


def farm_of(folder: Path, more: str = "") -> Farm:
    (folder / "farm.toml").write_text(TOML.format(more=more), "utf-8")
    return load_farm(folder)


def test_by_hand_the_demo_farm(demo_geodata: Path) -> None:
    """By hand: since the turning 15 ha of S6 and the 6.04 ha of S4; the interval is 40."""
    farm = load_farm(demo_geodata, with_roads=False)
    told = {
        one.finding.what: one.finding for one in knives_on(farm, farm.machine("pull-39"), day=DAY)
    }
    assert told[MOWN_SINCE].value == pytest.approx(21.04, abs=0.005)
    assert (told[MOWN_SINCE].level, told[MOWN_SINCE].limit) == ("ok", 40.0)
    for name in ("rear-3", "wide-87"):
        (first, *_) = knives_on(farm, farm.machine(name), day=DAY)
        assert first.finding.level == "unknown"
        assert first.change


def test_by_hand_no_file_no_ledger(folder: Path) -> None:
    assert farm_of(folder).ledger is None
    _, notes = check_farm(folder)
    assert "no ledger (ledger.csv) yet: how much the knives have mown is unknown" in notes
    assert farm_of(folder, 'ledger = "book.csv"\n').ledger is None
    (told,) = knives_on(farm_of(folder), farm_of(folder).machine("pull-39"), day=DAY)
    assert told.finding.level == "unknown"


def test_by_hand_a_ledger_beside_farm_toml_is_read_without_a_key(folder: Path) -> None:
    (folder / "ledger.csv").write_text(f"{HEAD}2026-06-01,rear-3,mown,S1,,,\n", "utf-8")
    (folder / "book.csv").write_text(HEAD, "utf-8")
    beside = farm_of(folder).ledger
    named = farm_of(folder, 'ledger = "book.csv"\n').ledger
    assert beside is not None
    assert named is not None
    assert (len(beside), len(named)) == (1, 0)


def test_by_hand_its_faults_stand_beside_those_of_other_files(folder: Path) -> None:
    rows = "2026-06-01,plough,mown,S1,,,\n2026-06-01,rear-3,mown,S99,,,\n"
    (folder / "ledger.csv").write_text(HEAD + rows, "utf-8")
    with pytest.raises(InputError) as caught:
        farm_of(folder, 'gates = "none.geojson"\n')
    assert [Path(one.where).name for one in caught.value.faults] == [
        "none.geojson",
        "ledger.csv line 2",
        "ledger.csv line 3",
    ]
    assert "pull-39" in caught.value.faults[1].mend
    assert "S1, S2" in caught.value.faults[2].mend


def test_by_hand_hits_of_the_log_by_the_farms_clock_and_fields(folder: Path) -> None:
    """By hand: in S4 at 22:00 of the 3rd; told again without a place; far from every field."""
    farm = farm_of(folder)
    assert hits_of(farm, None) is None
    middle = farm.fields[farm.fields["field_id"] == "S4"].to_crs(4326).geometry.iloc[0].centroid
    there = Place(middle.x, middle.y, 2.0)
    late = datetime(2026, 6, 4, 3, 0, tzinfo=UTC)
    first = add(farm, "stone", there, Word("Ada", late), hit=True)
    add(farm, "post", there, Word("Ada", late))
    say(load_farm(folder), "hit", first.marks[0], Word("Bo", datetime(2026, 6, 5, 15, tzinfo=UTC)))
    farm = load_farm(folder)
    found = hits_of(farm, farm.machine("pull-39"))
    assert found is not None
    found = found.sort_values("day")
    assert found["day"].tolist() == [pd.Timestamp("2026-06-03"), pd.Timestamp("2026-06-05")]
    assert found["fields"].tolist() == [("S4",), ("S4",)]


def test_by_hand_a_hit_without_time_and_place_counts(folder: Path) -> None:
    rows = f"{HEAD}2026-06-01,pull-39,knives changed,,,,\n2026-06-02,rear-3,mown,S4,,,\n"
    (folder / "ledger.csv").write_text(rows, "utf-8")
    farm = farm_of(folder)
    add(
        farm, "stone", Place(-92.93, 40.61), Word("Ada", datetime(2026, 5, 1, tzinfo=UTC)), hit=True
    )
    farm = load_farm(folder)

    def told(**said: object) -> float | None:
        with_it = dataclasses.replace(farm, events=farm.events.assign(**said))
        found = knives_on(with_it, farm.machine("pull-39"), day=DAY)
        return next(one.finding.value for one in found if one.finding.what == HITS_SINCE)

    nan = float("nan")
    assert told() == 0
    assert told(time="") == 1
    assert told(time="2026-06-02T12:00:00+00:00", lon=nan, lat=nan) == 1


def test_by_hand_new_rows_put_the_knives_first(folder: Path) -> None:
    farm = farm_of(folder)
    rows = new_rows(farm, "rear-3", day=DAY, mown=["S1", "S4"], knives="turned", who=" Ada ")
    assert [row["did"] for row in rows] == ["knives turned", "mown", "mown"]
    assert {row["who"] for row in rows} == {"Ada"}
    assert {row["date"] for row in rows} == {"2026-06-09"}


@pytest.mark.parametrize(
    ("machine", "said", "words"),
    [
        (None, {"mown": ["S1"]}, "no machine named"),
        ("plough", {"mown": ["S1"]}, "no such machine"),
        ("rear-3", {"mown": ["S99", "S98"]}, "S98"),
        ("rear-3", {"mown": ["S1", "S2"], "area_ha": 1.0}, "2 fields"),
        ("rear-3", {"knives": "changed", "area_ha": 1.0}, "0 fields"),
        ("rear-3", {"mown": ["S4"], "area_ha": 14.9}, "may be acres"),
        ("rear-3", {"mown": ["S4"], "area_ha": -1.0}, "not an area"),
    ],
)
def test_by_hand_what_cannot_be_written_is_misuse(
    folder: Path, machine: str | None, said: dict, words: str
) -> None:
    with pytest.raises(MisuseError, match=words):
        new_rows(farm_of(folder), machine, day=DAY, **said)
