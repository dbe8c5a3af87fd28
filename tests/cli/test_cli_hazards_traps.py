"""Slips of the people who keep the log: told before they do harm. By hand."""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cli_printed import Printed
from PIL import Image
from test_cli_hazards_say import PLACE, THERE, added, features, held

from fieldmap.hazards import store

Run = Callable[..., Printed]
FAR_IN_FIELDS = ("--lon", "-92.971", "--lat", "40.6131")  # another field of the demo
SOON = (datetime.now(UTC) + timedelta(days=4)).strftime("%Y-%m-%dT%H:%M")
FARM = (
    'name = "Own"\ntime_zone = "America/Chicago"\n[files]\nfields = "fields.gpkg"\n{more}'
    '[columns.fields]\nfield_id = "FLD_NO"\n'
)


def refused(printed: Printed, *words: str, code: int = 2) -> None:
    assert printed.code == code, printed.out
    for word in words:
        assert word in printed.err, printed.err


def drive(kmh: float, *, timed: bool = True) -> str:
    """A straight way of 400 m, a fix a second."""
    step, at = kmh / 3.6 / 84_500, datetime(2026, 6, 8, 12, tzinfo=UTC)
    fixes = []
    for n in range(int(400 / 84_500 / step)):
        time = f"<time>{at + timedelta(seconds=n):%Y-%m-%dT%H:%M:%SZ}</time>" if timed else ""
        time = time or ("<time>2026-06-08T12:00:00Z</time>" if n == 0 else "")
        fixes.append(f'<trkpt lat="40.612" lon="{-92.931 + step * n:.7f}">{time}</trkpt>')
    head = '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
    return f"{head}<trk><trkseg>{''.join(fixes)}</trkseg></trk></gpx>"


def test_a_drive_and_a_track_without_times_are_no_look_and_it_is_said(
    run: Run, own_farm: Path
) -> None:
    (own_farm / "farm.toml").write_text(FARM.format(more='tracks = ["new/*.gpx"]\n'), "utf-8")
    search = ("search", own_farm, "--date", "2026-06-09", "--field", "S12", "--json")
    none = run(*search)
    assert any("no file fits tracks 'new/*.gpx'" in one for one in none.json()["warnings"])
    (own_farm / "new").mkdir()
    for name, text, said in (
        ("drive", drive(90), "faster than 12 km/h"),
        ("bare", drive(4, timed=False), "nobody can tell a walk from a drive"),
    ):
        (own_farm / "new" / "one.gpx").write_text(text, "utf-8")
        printed = run(*search)
        assert any(said in one for one in printed.json()["warnings"]), name
        for key in ("looked_share", "chance_now"):
            before, after = (one.json()["result"]["fields"][0][key] for one in (none, printed))
            assert before == after == 0.0, name


def test_a_kind_that_no_word_names_is_refused_with_near_words(run: Run, own_farm: Path) -> None:
    mark = added(run, own_farm, "wire", *PLACE)
    refused(run("hazards", "say", own_farm, "seen-again", mark, "--kind", "wier"), "loose_wire")
    assert features(run, own_farm)[0]["kind"] == "loose_wire"
    anew = run("hazards", "say", own_farm, "seen-again", mark, "--kind", "unknown")
    assert "from stop to unknown" in anew.err
    odd = run("hazards", "add", own_farm, "wier", *THERE)
    assert (odd.code, "perhaps loose_wire" in odd.err) == (0, True)


def test_marks_of_two_kinds_become_one_only_when_asked(run: Run, own_farm: Path) -> None:
    one, two = added(run, own_farm, "wire", *PLACE), added(run, own_farm, "tyre", *THERE)
    refused(run("hazards", "merge", own_farm, one, two), "different kinds", "--unlike-kinds")
    assert len(features(run, own_farm)) == 2
    held(run("hazards", "merge", own_farm, one, two, "--unlike-kinds", "--json"), "hazards merge")
    (row,) = features(run, own_farm)
    assert (row["kind"], row["level"]) == ("loose_wire", "stop")
    assert "told as loose wire and as tyre" in row["note"]
    for name in (one, two):  # either name finds it still
        assert run("hazards", "say", own_farm, "seen-again", name).code == 0


def test_a_move_out_of_the_field_is_told_and_a_place_elsewhere_refused(
    run: Run, own_farm: Path
) -> None:
    mark = added(run, own_farm, "stone", *PLACE)
    far = run("hazards", "say", own_farm, "moved", mark, "--lon", "-82.93", "--lat", "40.612")
    refused(far, "far from every field")
    for verb in ("hit", "seen-again", "not-found"):
        refused(run("hazards", "say", own_farm, verb, mark, *THERE), f"'{verb.replace('-', ' ')}'")
    refused(run("hazards", "say", own_farm, "hit", mark, "--radius-m", "3"), "no place")
    near = run("hazards", "say", own_farm, "moved", mark, *THERE)
    assert (near.code, near.err) == (0, "")
    away = run("hazards", "say", own_farm, "moved", mark, *FAR_IN_FIELDS)
    assert away.code == 0
    assert "moved 34" in away.err
    assert "it lay in" in away.err


def test_what_is_dated_later_than_now_is_refused_or_told(run: Run, own_farm: Path) -> None:
    refused(run("hazards", "add", own_farm, "stone", *PLACE, "--time", SOON), "has not come yet")
    seen = (datetime.now(UTC) - timedelta(days=30)).date()
    mark = added(run, own_farm, "stone", *PLACE, "--time", f"{seen}T09:30")
    gone = ("hazards", "clear", own_farm, mark, "--who", "Ada", "--time")
    refused(run(*gone, SOON), "has not come yet")
    refused(run(*gone, str(seen - timedelta(days=9))), "before the thing was last seen")
    assert len(features(run, own_farm)) == 1
    file = own_farm / "soon.csv"
    file.write_text(f"lon,lat,kind,time\n-92.93,40.6121,post,{SOON}\n", "utf-8")
    assert "1 dated later than now" in run("hazards", "import", own_farm, file).err
    assert run(*gone, str(seen)).code == 0  # the same day, whatever the hour


@pytest.mark.parametrize("written", ["20.11.2025", "2025-11-20", "11/20/2025"])
def test_degrees_and_days_as_people_write_them(run: Run, own_farm: Path, written: str) -> None:
    place = ("--lon", "-92,93", "--lat", "40°36'43.2\"N")
    added(run, own_farm, "stone", *place, "--time", written)
    (row,) = features(run, own_farm)
    assert row["time"].startswith("2025-11-20T06:00")
    for value, said in (("east", "decimal degrees"), ("40°75'", "60 or more minutes")):
        words = ("hazards", "add", own_farm, "stone", "--lon", value, "--lat", "40.6")
        refused(run(*words), "--lon", said)


def test_the_list_names_fields_and_places(run: Run, own_farm: Path) -> None:
    mark = added(run, own_farm, "wire", *PLACE)
    other = added(run, own_farm, "stone", *FAR_IN_FIELDS)
    fields = {row["hazard_id"]: row["field_ids"] for row in features(run, own_farm)}
    (field,) = fields[mark]
    assert field not in fields[other]
    printed = run("hazards", "list", own_farm, "--field", field)
    assert f"{mark}  loose_wire  stop   {field}" in printed.out
    assert "40.612000  -92.930000" in printed.out
    assert other not in printed.out
    refused(run("hazards", "list", own_farm, "--field", "XX"), "no such field", "use one of")
    assert features(run, own_farm, "--kind", "old wire")[0]["hazard_id"] == mark
    refused(run("hazards", "list", own_farm, "--on", "soon"), "--on is not a day")


def test_a_search_of_one_field_leaves_the_others_files(run: Run, own_farm: Path) -> None:
    day = ("--date", "2026-06-09")
    assert run("search", own_farm, "--field", "S11", "--field", "S12", *day).code == 0
    both = own_farm / "outputs" / "only-S11-S12" / "search"
    assert (both / "S11.gpx").is_file()
    printed = run("search", own_farm, "--field", "S12", *day, "--json")
    files = [Path(name) for name in printed.json()["result"]["files"]]
    assert {path.parents[1].name for path in files if path.suffix == ".gpx"} == {"only-S12"}
    assert (both / "S11.gpx").is_file()


def test_a_photo_without_a_place_is_left_out_when_asked(run: Run, own_farm: Path) -> None:
    photo, good = own_farm / "IMG_1.jpg", own_farm / "good.csv"
    Image.new("RGB", (8, 8)).save(photo)
    good.write_text("lon,lat,kind\n-92.93,40.612,post\n", "utf-8")
    refused(run("hazards", "import", own_farm, photo, good), "without a position", code=3)
    assert not (own_farm / "hazards.gpkg").exists()
    printed = run("hazards", "import", own_farm, photo, good, "--skip-unplaced", "--json")
    result = held(printed, "hazards import")
    assert result["left_out"] == ["IMG_1.jpg"]
    assert [one["file"] for one in result["files"]] == ["good.csv"]
    assert "IMG_1.jpg left out: a photo without a position" in printed.json()["warnings"][-1]
    (own_farm / "broken.jpg").write_bytes(photo.read_bytes()[:100])
    broken = run("hazards", "import", own_farm, own_farm / "broken.jpg", "--skip-unplaced")
    assert broken.code == 3


def test_a_cleared_mark_that_a_file_brings_back_is_told(run: Run, own_farm: Path) -> None:
    mark = added(run, own_farm, "stone", *PLACE)
    out = own_farm / "out.geojson"
    assert run("hazards", "export", own_farm, out).code == 0
    assert run("hazards", "clear", own_farm, mark, "--who", "Ada").code == 0
    told = json.loads(out.read_text("utf-8"))
    told["features"][0]["properties"]["note"] = "by the oak"
    out.write_text(json.dumps(told), "utf-8")
    printed = run("hazards", "import", own_farm, out)
    assert f"had been cleared, and stands again by this file: {mark}" in printed.err
    assert [row["hazard_id"] for row in features(run, own_farm)] == [mark]


def test_a_locked_log_is_told_of_soon_and_is_no_bad_input(
    run: Run, own_farm: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """By hand: a short patience here; the exit code is that of a lock, the words name the file."""
    monkeypatch.setattr(store, "_READING_S", 0.4)
    monkeypatch.setattr(store, "_SILENT_S", 0.2)
    added(run, own_farm, "stone", *PLACE)
    shutil.copy(own_farm / "hazards.gpkg", own_farm / "kept.gpkg")
    other = sqlite3.connect(own_farm / "hazards.gpkg", isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    refused(run("hazards", "list", own_farm), "database is locked", code=5)
    assert "another program has hazards.gpkg locked: waiting up to 0 s" in caplog.text
    other.close()
    assert len(features(run, own_farm)) == 1
