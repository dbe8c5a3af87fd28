"""The hazard log: append-only, all or nothing, and a GeoPackage that others can read."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldmap.errors import InputError, StoreError
from fieldmap.hazards.events import EVENT_COLUMNS, add_events, standing
from fieldmap.hazards.store import append, read_events

TEXT = st.text(st.characters(blacklist_categories=["Cs"]), max_size=30)


def finds(*rows: dict[str, object]) -> gpd.GeoDataFrame:
    given_ = {"hazard_id": "", "kind": "stone", "note": "", "who": "", "time": None}
    table = pd.DataFrame([given_ | {"radius_m": None, "height_m": None} | row for row in rows])
    table["time"] = pd.to_datetime(table["time"], utc=True).astype("datetime64[us, UTC]")
    table[["radius_m", "height_m"]] = table[["radius_m", "height_m"]].astype(float)
    shapes = [shapely.Point(11.5 + 0.001 * row, 49.9) for row in range(len(table))]
    return gpd.GeoDataFrame(table, geometry=shapes, crs=4326)


def events(*rows: dict[str, object], taken: set[str] | None = None) -> pd.DataFrame:
    return add_events(finds(*rows), file="walk.csv", taken=taken or set())


def test_by_hand_the_same_events_twice_add_nothing(tmp_path: Path) -> None:
    log = tmp_path / "hazards.gpkg"
    told = events({"hazard_id": "A"}, {"note": "second"})
    assert append(log, told) == 2
    before = log.read_bytes()
    assert append(log, told) == 0
    assert len(read_events(log)) == 2
    pd.testing.assert_frame_equal(
        read_events(log).astype(object), told.astype(object).where(told.notna(), None)
    )
    assert len(log.read_bytes()) == len(before)


def test_by_hand_finds_that_differ_only_in_their_id_are_two(tmp_path: Path) -> None:
    there = shapely.Point(11.5, 49.9)
    two = finds({"hazard_id": "A"}, {"hazard_id": "B"}).set_geometry([there, there], crs=4326)
    same = finds({}, {}).set_geometry([there, there], crs=4326)
    assert add_events(two, file="f", taken=set())["hazard_id"].tolist() == ["A", "B"]
    assert len(add_events(same, file="f", taken=set())) == 1


def test_by_hand_an_id_that_the_log_uses_is_made_different() -> None:
    (one,) = events({"hazard_id": "A"}, taken={"A"})["hazard_id"]
    assert one.startswith("A~")
    (two,) = events({"hazard_id": "A"}, taken={"A", one})["hazard_id"]
    assert two.startswith("A~")
    assert two not in {"A", one}


def test_by_hand_no_log_yet_is_no_events(tmp_path: Path) -> None:
    assert read_events(tmp_path / "none.gpkg").empty
    (tmp_path / "zero.gpkg").write_bytes(b"")
    assert read_events(tmp_path / "zero.gpkg").empty
    assert append(tmp_path / "zero.gpkg", events({})) == 1
    assert not (tmp_path / "none.gpkg").exists()


def test_referee_gdal_reads_the_log_as_an_attributes_table(tmp_path: Path) -> None:
    """Referee: GDAL's GeoPackage driver, and the identifiers of GeoPackage 1.3, clause 1.1.1."""
    log = tmp_path / "hazards.gpkg"
    append(log, events({"note": "a\nb <i>"}, {"kind": "post", "radius_m": 3.0}))
    names, kinds = pyogrio.list_layers(log).T
    assert list(names) == ["events"]
    assert list(kinds) == [None]
    table = pyogrio.read_dataframe(log, layer="events")
    assert table["note"].tolist() == ["a\nb <i>", ""]
    assert table["radius_m"].tolist()[1] == 3.0
    assert set(EVENT_COLUMNS) <= set(table.columns)
    with sqlite3.connect(log) as file:
        assert file.execute("PRAGMA application_id").fetchone() == (0x47504B47,)
        assert file.execute("PRAGMA user_version").fetchone()[0] >= 10200
        assert file.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert file.execute("PRAGMA foreign_key_check").fetchall() == []
        told = file.execute("SELECT table_name, data_type FROM gpkg_contents").fetchall()
        assert told == [("events", "attributes")]
        systems = {row[0] for row in file.execute("SELECT srs_id FROM gpkg_spatial_ref_sys")}
        assert {-1, 0, 4326} <= systems
    file.close()


def test_by_hand_a_foreign_database_is_left_alone(tmp_path: Path) -> None:
    log = tmp_path / "other.gpkg"
    file = sqlite3.connect(log)
    file.execute("CREATE TABLE events (id INTEGER, words TEXT)")
    file.commit()
    file.close()
    before = log.read_bytes()
    for action in (lambda: read_events(log), lambda: append(log, events({}))):
        with pytest.raises(InputError, match="not a hazard log"):
            action()
    assert log.read_bytes() == before


def test_by_hand_a_file_that_is_no_database(tmp_path: Path) -> None:
    log = tmp_path / "words.gpkg"
    log.write_text("these are only words, and enough of them to be looked at" * 20)
    with pytest.raises(InputError, match="not a hazard log"):
        read_events(log)


def test_by_hand_a_log_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(StoreError):
        append(tmp_path / "file" / "hazards.gpkg", events({}))
    (tmp_path / "folder.gpkg").mkdir()
    with pytest.raises(StoreError):
        append(tmp_path / "folder.gpkg", events({}))


def test_by_hand_a_locked_log_is_said_and_not_half_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = tmp_path / "hazards.gpkg"
    append(log, events({}))
    monkeypatch.setattr("fieldmap.hazards.store._BUSY_MS", 50)
    other = sqlite3.connect(log, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    try:
        with pytest.raises(StoreError, match="locked"):
            append(log, events({"note": "new"}))
    finally:
        other.execute("ROLLBACK")
        other.close()
    assert len(read_events(log)) == 1


def test_by_hand_a_bad_row_takes_the_good_ones_with_it(tmp_path: Path) -> None:
    log = tmp_path / "hazards.gpkg"
    append(log, events({}))
    broken = events({"note": "good"}, {"note": "bad"})
    broken.loc[1, "lon"] = None
    with pytest.raises(InputError):
        append(log, broken.assign(kind=[broken["kind"][0], None]))
    assert len(read_events(log)) == 1


@settings(max_examples=25, deadline=None)
@given(notes=st.lists(TEXT, min_size=1, max_size=4, unique=True))
def test_property_any_note_comes_back_as_it_went_in(
    tmp_path_factory: pytest.TempPathFactory, notes: list[str]
) -> None:
    log = tmp_path_factory.mktemp("log") / "hazards.gpkg"
    append(log, events(*({"note": note} for note in notes)))
    assert sorted(standing(read_events(log))["note"]) == sorted(notes)
