"""Ways in which a mark was once lost, each closed. By hand."""

from __future__ import annotations

import shutil
import sqlite3
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest
import shapely
from event_pieces import TABLES, adds, both, finds, folded, told

from fieldmap.errors import InputError, MisuseError
from fieldmap.farm import load_farm
from fieldmap.hazards import events as ev
from fieldmap.hazards.news import news
from fieldmap.hazards.store import append
from fieldmap.intake import take_in
from fieldmap.logbook import Place, Word, add, clear, merge, say

ADA = Word("Ada", datetime(2026, 6, 3, 9, tzinfo=UTC))
HERE = (-92.93, 40.612)


@pytest.fixture
def folder(demo_geodata: Path, tmp_path: Path) -> Path:
    shutil.copy(demo_geodata / "fields.gpkg", tmp_path)
    words = 'name = "Own"\ntime_zone = "America/Chicago"\n[files]\nfields = "fields.gpkg"\n'
    (tmp_path / "farm.toml").write_text(words + '[columns.fields]\nfield_id = "FLD_NO"\n', "utf-8")
    return tmp_path


@pytest.mark.parametrize("time", [None, "2026-06-08"])
@pytest.mark.parametrize("kind", ["drum", "stone"])
def test_next_weeks_file_numbers_its_rows_anew(time: str | None, kind: str) -> None:
    known = adds({"hazard_id": "1", "kind": "drum", "who": "Ada"}, file="finds.csv")
    row = {"hazard_id": "1", "kind": kind, "who": "Bo", "time": time, "at": (11.6, 49.8)}
    new = news(finds(row), known, file="finds.csv", tables=TABLES)
    assert new.events["verb"].tolist() == [ev.ADD]
    assert folded(known, new.events)["stands"].tolist() == [True, True]


@pytest.mark.parametrize("verb", [ev.SEEN_AGAIN, ev.HIT])
def test_what_was_seen_at_the_old_place_beside_a_move_stands_there_too(verb: str) -> None:
    find = adds({"hazard_id": "A"})
    there = told(ev.MOVED, find, lon=11.6, lat=49.8)
    again = told(verb, find)
    placed = folded(find, there, again).geometry.iloc[0]
    assert placed.equals(shapely.MultiPoint([(11.5, 49.9), (11.6, 49.8)]))
    gone = told(ev.CLEARED, both(find, there))
    (row,) = folded(find, there, again, gone).to_dict("records")
    assert (row["stands"], row["geometry"]) == (True, shapely.Point(11.5, 49.9))


def test_no_note_is_swallowed() -> None:
    find = adds({"note": "live"})
    more = told(ev.NOTE, find, note="by the delivery lane")
    assert folded(find, more)["note"].tolist() == ["live / by the delivery lane"]
    again = told(ev.SEEN_AGAIN, find)
    gone = told(ev.CLEARED, find)
    assert folded(find, again, gone)["note"].tolist() == ["live"]


def test_a_kind_nobody_here_knows_is_not_hidden_by_a_milder_one() -> None:
    find = adds({"kind": "silt"})
    strange = told(ev.SEEN_AGAIN, find, kind="gas_main")
    other = told(ev.SEEN_AGAIN, find, kind="silt")
    assert folded(find, strange, other)["kind"].tolist() == ["gas_main"]


def test_a_short_start_of_an_id_clears_nothing(folder: Path) -> None:
    (mark,) = add(load_farm(folder), "drum", Place(*HERE), ADA).marks
    for name in (mark[:1], mark[:7]):
        with pytest.raises(MisuseError, match="no such mark"):
            clear(load_farm(folder), [name], ADA)
    assert clear(load_farm(folder), [mark], ADA).new == 1


def test_an_emptied_log_is_no_log(folder: Path) -> None:
    add(load_farm(folder), "drum", Place(*HERE), ADA)
    assert load_farm(folder).log_read
    (folder / "hazards.gpkg").write_bytes(b"")
    assert not load_farm(folder).log_read


def test_a_kind_said_with_words_that_keep_none_is_refused(folder: Path) -> None:
    (mark,) = add(load_farm(folder), "stone", Place(*HERE), ADA).marks
    word = Word("Bo", ADA.time, "look out")
    for verb in (ev.NOTE, ev.NOT_FOUND):
        with pytest.raises(MisuseError, match="seen again"):
            say(load_farm(folder), verb, mark, word, words="power line down")


def test_merging_asks_for_marks_that_stand_and_says_what_speaks_against_it(folder: Path) -> None:
    one = add(load_farm(folder), "stone", Place(*HERE, 9.0), ADA).marks[0]
    far = add(load_farm(folder), "drum", Place(HERE[0] + 0.01, HERE[1], 1.0), ADA).marks[0]
    with pytest.raises(MisuseError, match="different kinds: drum or cylinder, stone"):
        merge(load_farm(folder), [one, far], ADA)
    notes = merge(load_farm(folder), [one, far], ADA, unlike_kinds=True).notes
    assert "different kinds: drum, stone" in notes[0]
    assert "m apart" in notes[1]
    gone = add(load_farm(folder), "post", Place(*HERE, 0.5), ADA).marks[0]
    clear(load_farm(folder), [gone], ADA)
    with pytest.raises(MisuseError, match="cleared"):
        merge(load_farm(folder), [one, gone], ADA)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("kind = 'gas_main'", "gas_main"),
        ("verb = 'stolen'", "stolen"),
        ("time = 'soon'", "cannot be read"),
        ("lon = lat, lat = lon", "not on earth"),
        ("lon = 11.5, lat = 49.9", "far from every field"),
        ("wkt = 'POINT (here)'", "cannot be read"),
    ],
)
def test_another_log_is_held_to_what_this_farm_can_live_with(
    folder: Path, tmp_path: Path, change: str, said: str
) -> None:
    log = tmp_path / "theirs.gpkg"
    append(log, adds({"kind": "drum", "at": HERE, "time": "2026-06-01"}))
    file = sqlite3.connect(log)
    file.execute(f"UPDATE events SET {change}")  # noqa: S608 - words of this test
    file.commit()
    file.close()
    with pytest.raises(InputError, match=said):
        take_in(load_farm(folder), [log])
    assert not (folder / "hazards.gpkg").exists()


def test_a_copied_track_is_no_second_walk() -> None:
    import geopandas as gpd

    from fieldmap.hazards.walks import looking

    line = shapely.LineString([(x, 0.0) for x in range(0, 100, 10)])
    begun = datetime(2026, 6, 8, 9, tzinfo=UTC)

    def steps(*starts: datetime) -> int:
        held = {"started": pd.Series(list(starts)).astype("datetime64[us, UTC]")}
        tracks = gpd.GeoDataFrame(held, geometry=[line] * len(starts), crs=32615)
        none = {"date": pd.Series([], dtype="datetime64[us, UTC]")}
        water = gpd.GeoDataFrame(none, geometry=gpd.GeoSeries([], crs=32615))
        day = datetime(2026, 6, 9, tzinfo=UTC)
        return len(looking(tracks, water, day=day, tables=TABLES).steps.xy)

    assert steps(begun) == steps(begun, begun) == 9
    assert steps(begun, begun.replace(hour=10)) == 18
