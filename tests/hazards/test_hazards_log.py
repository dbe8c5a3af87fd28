"""The log's file: append-only, all or nothing, one file, and a GeoPackage that others can read."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pandas as pd
import pyogrio
import pytest
import shapely
from event_pieces import TABLES, adds, both, finds, told
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.errors import InputError, StoreError
from fieldmap.hazards import events as ev
from fieldmap.hazards import layout
from fieldmap.hazards.fold import standing
from fieldmap.hazards.store import append, is_log, read_events, read_photos

TEXT = st.text(st.characters(blacklist_categories=["Cs"], blacklist_characters="\0"), max_size=30)
NOBODY = 65534


def test_by_hand_the_same_events_twice_add_nothing(tmp_path: Path) -> None:
    log = tmp_path / "hazards.gpkg"
    events = adds({"hazard_id": "A"}, {"note": "second"})
    assert append(log, events) == 2
    before = log.read_bytes()
    assert append(log, events) == 0
    held = read_events(log)
    told_ = held.drop(columns=["sequence", "device"])
    pd.testing.assert_frame_equal(told_, events.drop(columns=["sequence", "device"]))
    assert held["sequence"].tolist() == [1, 2]
    assert len(set(held["device"])) == 1
    assert len(log.read_bytes()) == len(before)


def test_by_hand_one_file_when_closed_and_numbers_go_on(tmp_path: Path) -> None:
    log = tmp_path / "hazards.gpkg"
    append(log, adds({"note": "one"}))
    append(log, adds({"note": "two"}))
    assert [path.name for path in tmp_path.iterdir()] == ["hazards.gpkg"]
    assert read_events(log)["sequence"].tolist() == [1, 2]
    assert log.read_bytes()[18:20] == b"\x01\x01"  # SQLite's own: not in write-ahead mode


def test_by_hand_another_logs_events_keep_their_own_device_and_number(tmp_path: Path) -> None:
    mine, yours = tmp_path / "mine.gpkg", tmp_path / "yours.gpkg"
    for number in range(4):
        append(yours, adds({"note": f"yours {number}"}))
    append(mine, adds({"note": "mine"}))
    theirs = read_events(yours)
    assert append(mine, theirs) == 4
    assert append(mine, theirs) == 0
    append(mine, adds({"note": "after"}))
    held = read_events(mine).set_index("note")
    assert held.loc["yours 3", "device"] == theirs["device"].iloc[0]
    assert held.loc["mine", "device"] == held.loc["after", "device"] != theirs["device"].iloc[0]
    assert held.loc["after", "sequence"] == 5  # one more than all it had seen


def test_by_hand_finds_that_differ_only_in_their_name_are_two() -> None:
    there = (11.5, 49.9)
    assert len(adds({"hazard_id": "A", "at": there}, {"hazard_id": "B", "at": there})) == 2
    assert len(adds({"at": there}, {"at": there})) == 1


def test_by_hand_no_log_yet_is_no_events(tmp_path: Path) -> None:
    assert read_events(tmp_path / "none.gpkg").empty
    (tmp_path / "zero.gpkg").write_bytes(b"")
    assert read_events(tmp_path / "zero.gpkg").empty
    assert append(tmp_path / "zero.gpkg", adds({})) == 1
    assert not (tmp_path / "none.gpkg").exists()
    assert not is_log(tmp_path / "none.gpkg")


def test_by_hand_a_making_that_was_broken_off_is_an_empty_log(tmp_path: Path) -> None:
    log = tmp_path / "hazards.gpkg"
    file = sqlite3.connect(log)
    file.execute("PRAGMA journal_mode = WAL")
    file.close()
    assert log.stat().st_size > 0
    assert read_events(log).empty
    assert append(log, adds({})) == 1


def test_referee_gdal_reads_the_log_as_an_attributes_table(tmp_path: Path) -> None:
    """Referee: GDAL's GeoPackage driver, and the identifiers of GeoPackage 1.3, clause 1.1.1."""
    log = tmp_path / "hazards.gpkg"
    append(log, adds({"note": "a\nb <i>"}, {"kind": "post", "radius_m": 3.0}))
    listed = dict(pyogrio.list_layers(log))
    assert listed == {"events": None, "photos": None}
    table = pyogrio.read_dataframe(log, layer="events")
    assert table["note"].tolist() == ["a\nb <i>", ""]
    assert table["radius_m"].tolist()[1] == 3.0
    assert set(ev.EVENT_COLUMNS) <= set(table.columns)
    with sqlite3.connect(log) as file:
        assert file.execute("PRAGMA application_id").fetchone() == (0x47504B47,)
        assert file.execute("PRAGMA user_version").fetchone() == (10300,)
        assert file.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert file.execute("PRAGMA foreign_key_check").fetchall() == []
        contents = file.execute("SELECT table_name, data_type FROM gpkg_contents").fetchall()
        assert contents == [("events", "attributes"), ("photos", "attributes")]
        systems = {row[0] for row in file.execute("SELECT srs_id FROM gpkg_spatial_ref_sys")}
        assert {-1, 0, 4326} <= systems
    file.close()


def first_layout(log: Path) -> pd.DataFrame:
    """A log as the first layout had it, made by its own statements, with two events."""
    file = sqlite3.connect(log, isolation_level=None)
    layout.make(file)
    row = ("e1", "A", "add", "stone", "old", "Ada", "2026-05-01T08:00:00+00:00", 3.0, None, 11.5,
           49.9, "POINT (11.5 49.9)", "walk.csv")  # fmt: skip
    line = ("e2", "W", "add", "loose_wire", "", "", "", None, None, 11.5, 49.9,
            "LINESTRING (11.5 49.9, 11.6 49.9)", "walk.csv")  # fmt: skip
    names = ("event_id, hazard_id, verb, kind, note, who, time, radius_m, height_m, lon, lat, wkt, "
             "file")  # fmt: skip
    marks = ", ".join("?" * len(row))
    file.executemany(f"INSERT INTO events ({names}) VALUES ({marks})", (row, line))  # noqa: S608
    file.close()


def test_by_hand_an_older_log_is_read_and_becomes_a_newer_one(tmp_path: Path) -> None:
    log = tmp_path / "hazards.gpkg"
    first_layout(log)
    before = log.read_bytes()
    old = standing(read_events(log), tables=TABLES)
    assert log.read_bytes() == before  # reading changes nothing
    assert old["hazard_id"].tolist() == ["A", "W"]
    assert old.geometry.geom_type.tolist() == ["Point", "LineString"]
    assert append(log, adds({"note": "new"})) == 1
    held = read_events(log)
    assert held["sequence"].tolist() == [1, 2, 3]
    table = standing(held, tables=TABLES)
    assert set(table["hazard_id"]) > {"A", "W"}
    with sqlite3.connect(log) as file:
        assert file.execute("PRAGMA user_version").fetchone() == (10300,)
    file.close()


def test_by_hand_a_migration_that_breaks_off_leaves_the_older_log(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = tmp_path / "hazards.gpkg"
    first_layout(log)
    monkeypatch.setitem(layout._ADDED, "photo", ("TEXT NOT NULL", "no such column"))
    with pytest.raises(StoreError):
        append(log, adds({}))
    monkeypatch.undo()
    file = sqlite3.connect(log)
    assert layout.layout_of(file) == 1
    assert "device" not in {row[1] for row in file.execute("PRAGMA table_info(events)")}
    file.close()
    assert append(log, adds({})) == 1


def test_by_hand_a_newer_log_and_a_foreign_database_are_left_alone(tmp_path: Path) -> None:
    newer, other = tmp_path / "newer.gpkg", tmp_path / "other.gpkg"
    append(newer, adds({}))
    file = sqlite3.connect(newer)
    file.execute("UPDATE log_facts SET value = '99' WHERE key = 'layout'")
    file.commit()
    file.close()
    file = sqlite3.connect(other)
    file.execute("CREATE TABLE events (id INTEGER, words TEXT)")
    file.commit()
    file.close()
    for log, words in ((newer, "newer fieldmap"), (other, "no table of events")):
        before = log.read_bytes()
        for action in (lambda log=log: read_events(log), lambda log=log: append(log, adds({}))):
            with pytest.raises(InputError, match=words):
                action()
        assert log.read_bytes() == before
        assert not is_log(log)


def test_by_hand_a_file_that_is_no_database_or_a_damaged_one(tmp_path: Path) -> None:
    log = tmp_path / "words.gpkg"
    log.write_text("these are only words, and enough of them to be looked at" * 20)
    with pytest.raises(InputError, match="not a hazard log"):
        read_events(log)
    append(tmp_path / "h.gpkg", adds(*({"note": str(at)} for at in range(300))))
    whole = (tmp_path / "h.gpkg").read_bytes()
    (tmp_path / "h.gpkg").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputError, match="damaged"):
        read_events(tmp_path / "h.gpkg")


def test_by_hand_a_log_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(StoreError):
        append(tmp_path / "file" / "hazards.gpkg", adds({}))
    (tmp_path / "folder.gpkg").mkdir()
    for action in (lambda log: append(log, adds({})), read_events):
        with pytest.raises(StoreError, match="a folder stands"):
            action(tmp_path / "folder.gpkg")


def test_by_hand_a_locked_log_is_said_and_not_half_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = tmp_path / "hazards.gpkg"
    append(log, adds({}))
    monkeypatch.setattr("fieldmap.hazards.store._PATIENCE_S", 0.05)
    other = sqlite3.connect(log, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    try:
        with pytest.raises(StoreError, match="locked"):
            append(log, adds({"note": "new"}))
    finally:
        other.execute("ROLLBACK")
        other.close()
    assert len(read_events(log)) == 1


def test_by_hand_a_bad_row_takes_the_good_ones_with_it(tmp_path: Path) -> None:
    log = tmp_path / "hazards.gpkg"
    append(log, adds({}))
    broken = adds({"note": "good"}, {"note": "bad"})
    broken.loc[1, "lon"] = None
    with pytest.raises(InputError, match="lacks"):
        append(log, broken)
    assert len(read_events(log)) == 1


@contextmanager
def as_nobody() -> Iterator[None]:
    """Root may write anywhere: for a while, be somebody who may not."""
    root = os.geteuid() == 0
    if root:
        os.seteuid(NOBODY)
    try:
        yield
    finally:
        if root:
            os.seteuid(0)


def open_folder(tmp_path: Path) -> Path:
    """A folder that others can reach, under parents that let them through."""
    folder = tmp_path / "farm"
    folder.mkdir()
    for parent in (tmp_path, *tmp_path.parents):
        if parent.stat().st_uid == os.geteuid() and parent != Path("/"):
            parent.chmod(parent.stat().st_mode | 0o055)
    return folder


@pytest.mark.parametrize("mode", ["DELETE", "WAL"])
def test_by_hand_a_folder_that_cannot_be_written_is_read_and_refuses_plainly(
    tmp_path: Path, mode: str
) -> None:
    folder = open_folder(tmp_path)
    log = folder / "hazards.gpkg"
    append(log, adds({"note": "kept"}))
    file = sqlite3.connect(log)
    file.execute(f"PRAGMA journal_mode = {mode}")
    file.close()
    log.chmod(0o444)
    folder.chmod(0o555)
    before = log.read_bytes()
    with as_nobody():
        assert read_events(log)["note"].tolist() == ["kept"]
        with pytest.raises(StoreError, match="permission") as caught:
            append(log, adds({"note": "lost"}))
        with pytest.raises(StoreError):
            append(folder / "new.gpkg", adds({}))
    assert "nothing was added" in str(caught.value.faults[0])
    folder.chmod(0o755)
    log.chmod(0o644)
    assert log.read_bytes() == before
    assert [path.name for path in folder.iterdir()] == ["hazards.gpkg"]


def test_by_hand_pictures_come_along_once(tmp_path: Path) -> None:
    log = tmp_path / "hazards.gpkg"
    table = finds({"photo": b"\xff\xd8one"}, {"photo": b"\xff\xd8one"}, {})
    pictures = ev.photos_of(table)
    assert len(pictures) == 1
    append(log, ev.add_events(table, file="f"), photos=pictures)
    append(log, ev.add_events(table, file="f"), photos=pictures)
    wanted = set(read_events(log)["photo"]) - {""}
    assert read_photos(log, wanted | {"none"}) == pictures
    assert read_photos(tmp_path / "none.gpkg", wanted) == {}


@given(notes=st.lists(TEXT, min_size=1, max_size=4, unique=True))
def test_property_any_note_comes_back_as_it_went_in(
    tmp_path_factory: pytest.TempPathFactory, notes: list[str]
) -> None:
    """Property: letter by letter; blanks alone are no note."""
    log = tmp_path_factory.mktemp("log") / "hazards.gpkg"
    append(log, adds(*({"note": note} for note in notes)))
    told = ["" if note.isspace() else note for note in notes]
    assert sorted(standing(read_events(log), tables=TABLES)["note"]) == sorted(told)


shapes = st.sampled_from(
    [
        shapely.Point(11.5, 49.9),
        shapely.LineString([(11.5, 49.9), (11.6, 49.95)]),
        shapely.Polygon([(11.5, 49.9), (11.6, 49.9), (11.6, 49.95)]),
        shapely.MultiPoint([(11.5, 49.9), (11.6, 49.9)]),
    ]
)


@given(shape=shapes)
def test_property_any_shape_comes_back(
    tmp_path_factory: pytest.TempPathFactory, shape: shapely.Geometry
) -> None:
    log = tmp_path_factory.mktemp("log") / "hazards.gpkg"
    append(log, adds({"shape": shape}))
    append(log, told(ev.SEEN_AGAIN, read_events(log), note="more"))
    (back,) = standing(read_events(log), tables=TABLES).geometry
    assert back.equals(shape)


def test_by_hand_logs_joined_in_any_order_say_the_same(tmp_path: Path) -> None:
    """Three people, one clears what another found; joined in each order."""
    found = adds({"note": "wire", "kind": "loose_wire"}, {"note": "stone"})
    append(tmp_path / "ada.gpkg", found)
    append(tmp_path / "bo.gpkg", read_events(tmp_path / "ada.gpkg"))
    append(tmp_path / "bo.gpkg", told(ev.CLEARED, read_events(tmp_path / "bo.gpkg").iloc[:1]))
    append(tmp_path / "cy.gpkg", adds({"note": "post", "kind": "post"}))
    answers = set()
    for order in ("ada bo cy", "cy bo ada", "bo ada cy"):
        events = both(*(read_events(tmp_path / f"{name}.gpkg") for name in order.split()))
        joined = tmp_path / f"{order[:2]}-all.gpkg"
        append(joined, events)
        table = standing(read_events(joined), tables=TABLES)
        answers.add(tuple(sorted(table["note"])))
    assert answers == {("post", "stone")}
