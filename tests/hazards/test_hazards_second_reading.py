"""The log, its fold and the looking read a second time: what was right and no test held."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from affine import Affine
from event_pieces import TABLES, adds, both, finds, folded, told
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from fieldmap.errors import StoreError
from fieldmap.farm import Farm, load_farm
from fieldmap.field_answer import history_on
from fieldmap.grid import Grid
from fieldmap.hazards import events as ev
from fieldmap.hazards import store
from fieldmap.hazards.exposure import exposure
from fieldmap.hazards.looked import FieldLooking, field_looking, looking
from fieldmap.hazards.news import news
from fieldmap.hazards.observers import double_observer
from fieldmap.hazards.reach import reach_m
from fieldmap.hazards.store import append, is_log, read_events, read_photos
from fieldmap.intake import take_in
from fieldmap.logbook import Place, Word, add, book, clear, say
from fieldmap.risk.left import left_findings
from fieldmap.risk.left_ground import Ground, Marks
from fieldmap.risk.seen import chance_cells

NOBODY = 65534
DAY = datetime(2026, 6, 9, 23, 59, tzinfo=UTC)
UTM = 32615
LON, LAT = -92.93, 40.612
ADA = Word("Ada", datetime(2026, 6, 3, 9, tzinfo=UTC))
ONE = adds({"hazard_id": "A", "note": "by the gate", "time": "2026-06-01T08:00:00Z"})


def test_by_hand_while_it_is_written_the_log_writes_ahead_and_flushes(tmp_path: Path) -> None:
    """By hand: SQLite's own numbers: 2 is FULL, a flush at every commit."""
    log = tmp_path / "hazards.gpkg"
    append(log, adds({"note": "one"}))
    with store._opened(log) as file:
        assert file.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert file.execute("PRAGMA synchronous").fetchone() == (2,)
        with store._transaction(file):
            file.execute("UPDATE events SET note = 'two'")
        assert (tmp_path / "hazards.gpkg-wal").stat().st_size > 0
    assert [path.name for path in tmp_path.iterdir()] == ["hazards.gpkg"]


@pytest.mark.parametrize(
    "name",
    ["a b", "100%", "q?mode=ro", "hash#1", "ümläut-日本", "a&b=c;d", "it's", "%20", ":memory:",
     "-dash", "back\\slash"],
)  # fmt: skip
def test_by_hand_a_log_of_any_name_is_that_file(tmp_path: Path, name: str) -> None:
    """By hand: no sign of a name is taken for a part of an address, in file or folder."""
    folder = tmp_path / name
    folder.mkdir()
    log = folder / f"{name}.gpkg"
    assert append(log, adds({"note": name})) == 1
    assert read_events(log)["note"].tolist() == [name]
    assert is_log(log)
    assert [path.name for path in folder.iterdir()] == [log.name]


def _killed_writing(log: Path) -> None:
    """A writer that had committed, and was killed before it made one file again."""
    child = os.fork()
    if child == 0:
        try:
            opened = store._opened(log)
            file = opened.__enter__()
            with store._transaction(file):
                file.execute("UPDATE events SET note = 'written ahead'")
        finally:
            os.kill(os.getpid(), signal.SIGKILL)
    os.waitpid(child, 0)


@pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")
@pytest.mark.parametrize("index", [True, False])
def test_by_hand_what_was_written_ahead_is_never_passed_over(tmp_path: Path, index: bool) -> None:
    """By hand: from a folder nobody may write in it is read, or refused; the older is not told."""
    folder = tmp_path / "medium"
    folder.mkdir()
    log = folder / "hazards.gpkg"
    append(log, adds({"note": "older"}))
    _killed_writing(log)
    assert (folder / "hazards.gpkg-wal").stat().st_size > 0
    if not index:
        (folder / "hazards.gpkg-shm").unlink()
    for parent in (tmp_path, *tmp_path.parents):
        if parent.stat().st_uid == os.geteuid() and parent != Path("/"):
            parent.chmod(parent.stat().st_mode | 0o055)
    for path in folder.iterdir():
        path.chmod(0o444)
    folder.chmod(0o555)
    root = os.geteuid() == 0
    if root:
        os.seteuid(NOBODY)
    try:
        if index:
            assert read_events(log)["note"].tolist() == ["written ahead"]
        else:
            with pytest.raises(StoreError):
                read_events(log)
    finally:
        if root:
            os.seteuid(0)
        folder.chmod(0o755)
    for path in folder.iterdir():
        path.chmod(0o644)
    assert read_events(log)["note"].tolist() == ["written ahead"]


@pytest.mark.parametrize("ending", ["-wal", "-journal"])
def test_by_hand_rubbish_beside_a_log_changes_nothing_in_it(tmp_path: Path, ending: str) -> None:
    """By hand: bytes that no SQLite wrote, under the name of its side files."""
    log = tmp_path / "hazards.gpkg"
    append(log, adds({"note": "one"}))
    (tmp_path / f"hazards.gpkg{ending}").write_bytes(bytes(range(256)) * 20)
    assert read_events(log)["note"].tolist() == ["one"]
    assert append(log, adds({"note": "two"})) == 1
    assert read_events(log)["note"].tolist() == ["one", "two"]
    assert [path.name for path in tmp_path.iterdir()] == ["hazards.gpkg"]


def test_by_hand_a_link_to_a_log_is_that_log(tmp_path: Path) -> None:
    """By hand: made through a link that leads nowhere yet; the link stays one."""
    (tmp_path / "shared").mkdir()
    link, real = tmp_path / "hazards.gpkg", tmp_path / "shared" / "log.gpkg"
    link.symlink_to(real)
    assert append(link, adds({"note": "one"})) == 1
    assert link.is_symlink()
    assert read_events(real)["note"].tolist() == ["one"]


def test_by_hand_a_reader_beside_the_writer_keeps_what_it_saw(tmp_path: Path) -> None:
    """By hand: another program with the log open for reading; nobody waits, one file at the end."""
    log = tmp_path / "hazards.gpkg"
    append(log, adds({"note": "one"}))
    other = sqlite3.connect(f"{log.as_uri()}?mode=ro", uri=True)
    assert other.execute("SELECT count(*) FROM events").fetchone() == (1,)
    assert append(log, adds({"note": "two"})) == 1
    assert other.execute("SELECT count(*) FROM events").fetchone() == (2,)
    other.close()
    append(log, adds({"note": "three"}))
    assert [path.name for path in tmp_path.iterdir()] == ["hazards.gpkg"]


def test_by_hand_finds_a_metre_apart_or_with_another_picture_are_two() -> None:
    """By hand: 0.00001 degree is about a metre."""
    assert len(adds({"at": (11.5, 49.9)}, {"at": (11.5, 49.90001)})) == 2
    there: dict[str, object] = {"at": (11.5, 49.9)}
    assert len(adds(there | {"photo": b"one"}, there | {"photo": b"two"})) == 2


def test_by_hand_a_ring_of_words_keeps_a_place() -> None:
    """By hand: the ring of two moves of the fold's tests; both places are kept, not none."""
    one = told(ev.MOVED, ONE, lon=11.6, lat=49.8)
    two = told(ev.MOVED, one, lon=11.7, lat=49.7)
    ring = one.assign(seen=two["event_id"].iloc[0])
    (place,) = folded(ring, two).geometry
    assert place.equals(shapely.MultiPoint([(11.6, 49.8), (11.7, 49.7)]))


def test_by_hand_the_last_who_cleared_is_named_and_the_moment_itself_is_cleared() -> None:
    """By hand: Ada, then Bo who knew of it; at the very moment of the clearing it is gone."""
    first = told(ev.CLEARED, ONE, who="Ada", time="2026-06-02T10:00:00+00:00")
    then = told(ev.CLEARED, both(ONE, first), who="Bo", time="2026-06-04T10:00:00+00:00")
    assert folded(ONE, first, then)["closed_by"].tolist() == ["Bo"]
    moment = datetime(2026, 6, 2, 10, tzinfo=UTC)
    assert folded(ONE, first, closed_by=moment)["stands"].tolist() == [False]


def test_by_hand_words_of_one_mark_do_not_pass_over_another_marks_place() -> None:
    """By hand: two marks merged, moved as one, taken apart: the other is where it was last."""
    one = adds({"note": "a"})
    other = adds({"note": "b", "at": (11.51, 49.9)})
    put = told(ev.MOVED, other, lon=11.52, lat=49.9)
    known = both(one, other, put)
    merge = told(ev.MERGED, known, others=ev.joined([*one["hazard_id"], *other["hazard_id"]]))
    moved = told(ev.MOVED, both(known, merge), lon=11.6, lat=49.8)
    apart = told(ev.UNMERGED, merge)
    table = folded(known, merge, moved, apart).set_index("key")
    assert table.geometry[other["hazard_id"].iloc[0]] == shapely.Point(11.52, 49.9)
    assert table.geometry[one["hazard_id"].iloc[0]] == shapely.Point(11.6, 49.8)


def test_by_hand_a_merged_mark_cleared_by_one_who_knew_half_of_it_stands() -> None:
    """By hand: Bo's log held one of the two; the other's finder is still heard."""
    one, other = adds({"note": "a"}), adds({"note": "b"})
    names = ev.joined([*one["hazard_id"], *other["hazard_id"]])
    merge = told(ev.MERGED, both(one, other), others=names)
    for half in (one, other):
        (row,) = folded(one, other, merge, told(ev.CLEARED, half, who="Bo")).to_dict("records")
        assert row["stands"] is True


def test_by_hand_the_radius_of_a_merged_mark_is_the_one_the_merge_gave() -> None:
    """By hand: places known to 3 m and 9 m; who merged took the better."""
    one, other = adds({"note": "a", "radius_m": 3.0}), adds({"note": "b", "radius_m": 9.0})
    names = ev.joined([*one["hazard_id"], *other["hazard_id"]])
    merge = told(ev.MERGED, both(one, other), others=names, radius_m=3.0)
    assert folded(one, other, merge)["radius_m"].tolist() == [3.0]
    blind = told(ev.MERGED, both(one, other), others=names)
    assert folded(one, other, blind)["radius_m"].tolist() == [9.0]


def test_by_hand_marks_of_one_name_and_nearly_one_id_have_labels_of_their_own() -> None:
    """By hand: ids that share five digits."""
    log = adds({"hazard_id": "1"}, {"hazard_id": "1", "note": "b"})
    log["hazard_id"] = ["abcde0" + "0" * 10, "abcde1" + "0" * 10]
    assert folded(log)["hazard_id"].tolist() == ["1~abcde0", "1~abcde1"]


# finds against the log


def test_by_hand_nobody_at_no_time_is_not_one_telling() -> None:
    """By hand: two files without names and times, each with a "1": two things."""
    known = ev.add_events(finds({"hazard_id": "1", "at": (11.5, 49.9)}), file="a.csv")
    other = finds({"hazard_id": "1", "at": (11.6, 49.9)})
    new = news(other, known, file="b.csv", tables=TABLES)
    assert (new.edits, new.events["verb"].tolist()) == (0, [ev.ADD])


def test_by_hand_a_step_of_a_metre_moves_a_mark_and_a_picture_is_news() -> None:
    """By hand: 0.00001 degree north; and the same place with a photo that it had not."""
    row: dict[str, object] = {"hazard_id": "A", "who": "Ada", "at": (11.5, 49.9)}
    known = adds(row)
    changes: dict[str, dict[str, object]]
    changes = {ev.MOVED: {"at": (11.5, 49.90001)}, ev.SEEN_AGAIN: {"photo": b"p"}}
    for verb, change in changes.items():
        new = news(finds(row | change), known, file="walk.csv", tables=TABLES)
        assert new.events["verb"].tolist() == [verb]


# the farm's own log


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
    return load_farm(folder, with_roads=False)


def test_by_hand_what_stood_on_an_evening_is_told_by_the_farms_clock(folder: Path) -> None:
    """By hand: cleared on 3 June at 23:30 in Chicago, which is 4 June in Greenwich."""
    (mark,) = add(farm(folder), "stone", Place(LON, LAT), ADA).marks
    clear(farm(folder), [mark], Word("Bo", datetime(2026, 6, 4, 4, 30, tzinfo=UTC)))
    held = farm(folder)
    stood = [history_on(held, date(2026, 6, day))["stands"].tolist() for day in (2, 3, 4)]
    assert stood == [[True], [False], [False]]


def test_by_hand_another_logs_pictures_come_with_it(folder: Path) -> None:
    table = finds({"photo": b"\xff\xd8one", "at": (LON, LAT)})
    pictures = ev.photos_of(table)
    append(folder / "bo.gpkg", ev.add_events(table, file="f"), photos=pictures)
    take_in(farm(folder), [folder / "bo.gpkg"])
    assert read_photos(folder / "hazards.gpkg", set(pictures)) == pictures


def test_by_hand_two_files_of_one_import_are_held_against_each_other(folder: Path) -> None:
    """By hand: the second is the first with a word more, and edits its mark."""
    row = f"A,{LON},{LAT},Ada,2026-06-01T08:00:00Z"
    for place, kind in (("one", "stone"), ("two", "drum")):
        (folder / place).mkdir()
        text = f"id,lon,lat,who,time,kind\n{row},{kind}\n"
        (folder / place / "walk.csv").write_text(text, "utf-8")
    taken = take_in(farm(folder), [folder / place / "walk.csv" for place in ("one", "two")])
    assert [(one.new, one.edits) for one in taken.files] == [(1, 0), (1, 1)]
    assert book(farm(folder))["kind"].tolist() == ["drum"]


def test_by_hand_a_wire_that_was_moved_lies_at_the_place_it_was_moved_to(folder: Path) -> None:
    wire = shapely.LineString([(LON, LAT), (LON + 0.001, LAT)])
    append(folder / "hazards.gpkg", adds({"kind": "loose_wire", "shape": wire}))
    (mark,) = book(farm(folder))["hazard_id"]
    say(farm(folder), "moved", mark, ADA, place=Place(LON, LAT + 0.001))
    assert book(farm(folder)).geometry.tolist() == [shapely.Point(LON, LAT + 0.001)]


# looking


def _looked(
    walked: datetime, path: list[tuple[float, float]], flooded: list[datetime]
) -> FieldLooking:
    tracks = gpd.GeoDataFrame(
        {"started": pd.Series([walked], dtype="datetime64[us, UTC]")},
        geometry=[shapely.LineString(path)],
        crs=UTM,
    )
    flood = gpd.GeoDataFrame(
        {"date": pd.Series(flooded, dtype="datetime64[us, UTC]")},
        geometry=[shapely.box(0, 0, 5, 10)] * len(flooded),
        crs=UTM,
    )
    return field_looking(
        shapely.box(0, 0, 10, 10), looking(tracks, flood, day=DAY, tables=TABLES), sward_m=0.05
    )


def test_by_hand_the_last_moment_that_counts_counts() -> None:
    """By hand: a walk just as old as is allowed; a flood dated at the very end of the day."""
    path = [(0.0, 5.0), (10.0, 5.0)]
    old = timedelta(days=TABLES.number("looking.valid_days"))
    assert _looked(DAY - old, path, []).walked
    assert not _looked(DAY - old - timedelta(seconds=1), path, []).walked
    assert (_looked(DAY, path, [DAY]).cells.flood == 1).sum() == 50
    longest = TABLES.number("looking.longest_step_m")
    assert _looked(DAY, [(0.0, 5.0), (longest, 5.0)], []).walked
    assert not _looked(DAY, [(0.0, 5.0), (longest + 0.01, 5.0)], []).walked


def test_by_hand_of_a_cell_half_wet_the_lower_chance_counts() -> None:
    """By hand: one cell of 10 m; the wet west was walked to and fro, the dry east was not."""
    path = [(float(x), y) for x in (0, 1, 2) for y in ((0.0, 10.0) if x % 2 else (10.0, 0.0))]
    seen = _looked(DAY, path, [DAY - timedelta(days=2)])
    crs = CRS.from_epsg(UTM)
    grid = Grid(np.zeros((1, 1), np.float32), Affine(10, 0, 0, 0, -10, 10), crs, "", "any")
    inside, water = np.ones((1, 1), bool), np.ones((1, 1), np.int16)
    chance = seen.chance(2.0)
    wet = chance[seen.cells.flood == 1].mean()
    assert chance.mean() < wet
    held = chance_cells(grid, inside, water, seen, crs=crs, sweep_m=2.0)
    assert held[0, 0] == pytest.approx(chance.mean())


places = st.tuples(st.floats(-20, 20), st.floats(-20, 20))


@given(path=st.lists(places, min_size=2, max_size=6), at=st.lists(places, min_size=1, max_size=9))
def test_standing_still_and_great_coordinates_change_nothing_property(
    path: list[tuple[float, float]], at: list[tuple[float, float]]
) -> None:
    """Property: each fix written twice adds no look; far from the origin it is the same look."""
    fixes, points = np.array(path), np.array(at)
    once = exposure(points, np.hstack([fixes[:-1], fixes[1:]]), spread_m=1.5, strength=2.3)
    twice = np.repeat(fixes, 2, axis=0)
    still = exposure(points, np.hstack([twice[:-1], twice[1:]]), spread_m=1.5, strength=2.3)
    assert still == pytest.approx(once, abs=1e-12)
    far, points = fixes + np.array([5e5, 4.5e6]), points + np.array([5e5, 4.5e6])
    there = exposure(points, np.hstack([far[:-1], far[1:]]), spread_m=1.5, strength=2.3)
    # a point just within the end of a look may fall just without: 2.3 exp(-12.5) at the most
    assert there == pytest.approx(once, abs=2e-5)


def test_by_hand_a_radius_wider_than_the_tables_is_the_reach() -> None:
    """By hand: a machine that is not known is 12 m wide; 50 m, 1 m and no radius said."""
    marks = gpd.GeoDataFrame({"radius_m": [50.0, 1.0, np.nan]}, geometry=[shapely.Point()] * 3)
    assert reach_m(marks, None, tables=TABLES) == pytest.approx([56.0, 16.19, 16.19])


def test_by_hand_what_is_left_asks_for_care_by_its_mean() -> None:
    """By hand: 0.5 in 1 ha before; a tenth of (0.5 + found) / (1 + 0.9) is left of 1 ha."""
    ground = Ground(np.array([1e4]), np.array([False]), np.array([False]))
    for number, mean in ((0, 0.05 / 1.9), (3, 0.35 / 1.9)):  # of three the 95 % end is 1
        every = np.ones(number, bool)
        marks = Marks(np.array(["post"] * number, object), np.zeros(number, int), *[every] * 3)
        told_ = left_findings(
            "F", ground, lambda _sweep_m: np.array([0.9]), marks, stoniness=0.0, sward_m=None,
            log_name="log.gpkg", tables=TABLES,
        )  # fmt: skip
        (one,) = (held.finding for held in told_ if held.finding.what == "loose things left")
        assert one.value == pytest.approx(mean)
        assert one.level == "ok"


def test_by_hand_three_people_are_counted_by_the_two_who_found_most() -> None:
    """By hand: Ann 3, Cy 2, one of them both; Bo's one is there too: 4 x 3 / 2 - 1 = 5."""
    looks = double_observer(
        {"a": {"Ann"}, "b": {"Ann"}, "c": {"Ann", "Cy"}, "d": {"Cy"}, "e": {"Bo"}}
    )
    assert looks.people == ("Ann", "Cy")
    assert looks.counted is not None
    assert (looks.counted.chapman, looks.counted.found) == (5.0, 5)
