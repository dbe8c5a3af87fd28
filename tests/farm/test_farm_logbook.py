"""Writing in a farm's log from Python. By hand."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from fieldmap.errors import MisuseError
from fieldmap.farm import Farm, load_farm
from fieldmap.intake import take_in
from fieldmap.logbook import (
    Place,
    Word,
    add,
    book,
    book_on,
    clear,
    merge,
    proposed_twins,
    say,
    unmerge,
)

LON, LAT = -92.93, 40.612
HERE = Place(LON, LAT, 3.0)
ADA = Word("Ada", datetime(2026, 6, 3, 9, tzinfo=UTC))
BO = Word("Bo", datetime(2026, 6, 3, 8, tzinfo=UTC), "by the levee")


@pytest.fixture
def folder(demo_geodata: Path, tmp_path: Path) -> Path:
    shutil.copy(demo_geodata / "fields.gpkg", tmp_path)
    (tmp_path / "farm.toml").write_text(
        'name = "Own"\ntime_zone = "America/Chicago"\n[files]\nfields = "fields.gpkg"\n'
        '[columns.fields]\nfield_id = "FLD_NO"\n',
        "utf-8",
    )
    return tmp_path


def farm(folder: Path) -> Farm:
    return load_farm(folder)


def only(folder: Path) -> dict:
    (row,) = book(farm(folder)).to_dict("records")
    return row


def test_a_find_is_logged_under_the_start_of_its_id_with_its_own_words(folder: Path) -> None:
    done = add(farm(folder), "an old tire", HERE, BO, height_m=0.2)
    row = only(folder)
    assert done.marks == (row["hazard_id"],)
    assert done.notes == ("'an old tire' taken as tyre",)
    assert (row["kind"], row["note"]) == ("tyre", "an old tire - by the levee")
    assert (row["who"], row["radius_m"], row["height_m"]) == ("Bo", 3.0, 0.2)
    assert farm(folder).log_read


def test_the_same_find_told_twice_is_one(folder: Path) -> None:
    assert add(farm(folder), "stone", HERE, ADA).new == 1
    assert add(farm(folder), "stone", HERE, ADA).new == 0


def test_a_hit_where_nothing_was_known_is_a_mark(folder: Path) -> None:
    add(farm(folder), "something", HERE, ADA, hit=True)
    row = only(folder)
    assert (row["kind"], row["hits"], row["stands"]) == ("unknown", 1, True)


def test_clear_needs_a_name_and_stays_cleared(folder: Path) -> None:
    (mark,) = add(farm(folder), "stone", HERE, ADA).marks
    with pytest.raises(MisuseError, match="who cleared it"):
        clear(farm(folder), [mark], Word(" ", ADA.time))
    assert clear(farm(folder), [mark], ADA).new == 1
    again = clear(farm(folder), [mark], ADA)
    assert (again.new, again.notes) == (0, (f"{mark} was cleared before",))
    assert only(folder)["closed_by"] == "Ada"
    back = say(farm(folder), "seen again", mark, BO)
    assert back.notes == (f"{mark} had been cleared and stands again",)
    assert only(folder)["stands"]


def test_clearing_what_nobody_may_touch_says_whose_word_it_takes(folder: Path) -> None:
    (mark,) = add(farm(folder), "power line down", HERE, ADA).marks
    (note,) = clear(farm(folder), [mark], ADA).notes
    assert "electric utility" in note
    assert "only on their word" in note


def test_a_clearer_closes_only_what_his_log_held(folder: Path, tmp_path: Path) -> None:
    """Two copies of one log: one sees it again, the other clears it; joined, it stands."""
    (mark,) = add(farm(folder), "stone", HERE, ADA).marks
    other = tmp_path / "copy"
    other.mkdir()
    for name in ("farm.toml", "fields.gpkg", "hazards.gpkg"):
        shutil.copy(folder / name, other)
    say(farm(other), "seen-again".replace("-", " "), mark, BO)
    clear(farm(folder), [mark], ADA)
    assert not only(folder)["stands"]
    shutil.copy(other / "hazards.gpkg", tmp_path / "bo.gpkg")
    taken = take_in(farm(folder), [tmp_path / "bo.gpkg"])
    assert [(one.read, one.new) for one in taken.files] == [(2, 1)]
    assert only(folder)["stands"]
    assert take_in(farm(folder), [tmp_path / "bo.gpkg"]).files[0].new == 0


def test_words_that_cannot_be_said_are_told_together(folder: Path) -> None:
    (mark,) = add(farm(folder), "stone", HERE, ADA).marks
    for verb, words in (("stolen", "use one of"), ("moved", "--lon"), ("note", "--note")):
        with pytest.raises(MisuseError, match=words):
            say(farm(folder), verb, mark, ADA)
    with pytest.raises(MisuseError, match="hazards list"):
        say(farm(folder), "hit", "nosuch", ADA)
    for place, words in ((Place(200, 0), "earth"), (Place(LAT, LON), "earth|swapped")):
        with pytest.raises(MisuseError, match=words):
            add(farm(folder), "stone", place, ADA)
    assert len(farm(folder).events) == 1


def test_moved_hit_not_found_and_note(folder: Path) -> None:
    (mark,) = add(farm(folder), "stone", HERE, ADA).marks
    missed = say(farm(folder), "not found", mark, BO)
    assert missed.notes == (f"{mark} still stands: 'clear' it when it is known to be gone",)
    assert only(folder)["not_found"] == 1
    say(farm(folder), "hit", mark, ADA)
    say(farm(folder), "moved", mark, ADA, place=Place(LON + 0.001, LAT, 2.0))
    say(farm(folder), "seen again", mark, ADA, words="drum", height_m=0.9)
    row = only(folder)
    assert (row["hits"], row["not_found"], row["kind"]) == (1, 0, "drum")
    assert (row["geometry"].x, row["height_m"], row["radius_m"]) == (LON + 0.001, 0.9, 2.0)
    assert row["note"] == "by the levee"


def test_twins_are_proposed_merged_and_taken_apart(folder: Path) -> None:
    one = add(farm(folder), "stone", HERE, ADA).marks[0]
    two = add(farm(folder), "stone", Place(LON + 0.00002, LAT, 1.0), BO).marks[0]
    (pair,) = proposed_twins(farm(folder)).to_dict("records")
    assert {pair["one"], pair["other"]} == {one, two}
    merge(farm(folder), [one, two], ADA)
    row = only(folder)
    assert row["geometry"].x == LON + 0.00002  # the place known best
    with pytest.raises(MisuseError, match="two marks"):
        merge(farm(folder), [row["hazard_id"]], ADA)
    unmerge(farm(folder), row["hazard_id"], BO)
    assert len(book(farm(folder))) == 2
    assert proposed_twins(farm(folder)).empty
    with pytest.raises(MisuseError, match="not a merged mark"):
        unmerge(farm(folder), one, BO)


def test_the_log_as_it_stood(folder: Path) -> None:
    (mark,) = add(farm(folder), "stone", HERE, ADA).marks
    clear(farm(folder), [mark], Word("Bo", datetime(2026, 6, 9, tzinfo=UTC)))
    held = farm(folder)
    assert book_on(held, datetime(2026, 5, 1, tzinfo=UTC)).empty
    assert book_on(held, datetime(2026, 6, 5, tzinfo=UTC))["stands"].tolist() == [True]
    assert book_on(held, datetime(2026, 6, 10, tzinfo=UTC))["stands"].tolist() == [False]
    # a clock a day ahead: the find still counts on the evening before
    assert len(book_on(held, datetime(2026, 6, 2, 9, tzinfo=UTC))) == 1


def test_two_of_one_name_are_asked_back(folder: Path) -> None:
    for who in ("ada", "bo"):
        path = folder / f"{who}.csv"
        east = LON + 0.001 * (who == "bo")
        path.write_text(f"lon,lat,kind,id,who\n{east},{LAT},stone,1,{who}\n", "utf-8")
        take_in(farm(folder), [path])
    with pytest.raises(MisuseError, match="several marks of this name") as caught:
        clear(farm(folder), ["1"], ADA)
    first = book(farm(folder))["hazard_id"].iloc[0]
    assert first in str(caught.value.faults[0])
    assert clear(farm(folder), [first], ADA).new == 1
