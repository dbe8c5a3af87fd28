"""Walks and waypoints out of GPX: no document type, no walk without a time. By hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from pyproj import CRS
from small_geodata import GPX

from fieldmap.errors import InputError
from fieldmap.read.finds import read_finds
from fieldmap.read.gpx import read_tracks
from fieldmap.tables import load_tables

TABLES = load_tables()
UTM = CRS.from_epsg(32632)
TIME = "<time>2026-06-01T10:00:00Z</time>"


def gpx(path: Path, body: str) -> Path:
    path.write_text(f"{GPX}{body}</gpx>", "utf-8")
    return path


def walk(*points: tuple[object, object], time: str = TIME) -> str:
    told = "".join(f'<trkpt lat="{lat}" lon="{lon}">{time}</trkpt>' for lat, lon in points)
    return f"<trk><trkseg>{told}</trkseg></trk>"


def test_by_hand_a_walk(tmp_path: Path) -> None:
    path = gpx(tmp_path / "w.gpx", walk((49.9, 11.5), (49.901, 11.5)))
    table, notes = read_tracks([path], crs=UTM)
    assert notes == ()
    assert table["started"].iloc[0].isoformat() == "2026-06-01T10:00:00+00:00"
    # a thousandth of a degree of latitude at 49.9 N: 111.2 m
    assert table.geometry.length.iloc[0] == pytest.approx(111.2, abs=0.2)


@pytest.mark.parametrize(
    "time", ["", "<time>soon</time>", "<time>9999-12-31T23:59:59-10:00</time>"]
)
def test_by_hand_a_walk_without_a_time_is_left_out_and_said(tmp_path: Path, time: str) -> None:
    path = gpx(tmp_path / "w.gpx", walk((49.9, 11.5), (49.901, 11.5), time=time))
    table, notes = read_tracks([path], crs=UTM)
    assert table.empty
    assert notes == ("w.gpx segment 1 left out: no time says when it was walked",)


def test_by_hand_nothing_walked_is_said(tmp_path: Path) -> None:
    empty = gpx(tmp_path / "a.gpx", "")
    lone = gpx(tmp_path / "b.gpx", walk((49.9, 11.5)))
    table, notes = read_tracks([empty, lone], crs=UTM)
    assert table.empty
    assert [note.split(":")[0] for note in notes] == ["a.gpx", "b.gpx segment 1 left out"]


@pytest.mark.parametrize("lat", ["500", "nan"])
def test_by_hand_every_point_off_the_earth_is_named(tmp_path: Path, lat: str) -> None:
    one = gpx(tmp_path / "a.gpx", walk((49.9, 11.5), (lat, 11.5)))
    two = gpx(tmp_path / "b.gpx", walk((lat, 11.5), (49.9, 11.5)))
    with pytest.raises(InputError) as caught:
        read_tracks([one, two], crs=UTM)
    assert [fault.where for fault in caught.value.faults] == ["a.gpx segment 1", "b.gpx segment 1"]


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"hello",
        b"<gpx>",
        b"<gpx>\0</gpx>",
        b"<html></html>",
        b'<?xml version="1.0" encoding="nosuch"?><gpx/>',
        b'<?xml version="1.0" encoding="shift_jis"?><gpx/>',
        '<?xml version="1.0" encoding="utf-16"?><gpx/>'.encode("utf-16"),
        f'{GPX}<wpt lat="abc" lon="1"/></gpx>'.encode(),
        f'{GPX}<wpt lon="1"/></gpx>'.encode(),
    ],
)
def test_by_hand_garbage(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "g.gpx").write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_finds(tmp_path / "g.gpx", tables=TABLES)
    assert caught.value.faults[0].where.removesuffix(" waypoint 1").endswith("g.gpx")


@pytest.mark.parametrize(
    "declared",
    [
        "<!DOCTYPE gpx>",
        '<!DOCTYPE gpx SYSTEM "file:///etc/hostname">',
        '<!DOCTYPE gpx [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>',
    ],
)
def test_by_hand_any_document_type_is_refused(tmp_path: Path, declared: str) -> None:
    text = f'<?xml version="1.0"?>{declared}<gpx version="1.1"><wpt lat="1" lon="1"/></gpx>'
    (tmp_path / "d.gpx").write_text(text)
    for read in (
        lambda path: read_finds(path, tables=TABLES),
        lambda path: read_tracks([path], crs=UTM),
    ):
        with pytest.raises(InputError, match="XML with a document type"):
            read(tmp_path / "d.gpx")


def test_by_hand_a_track_alone_holds_no_finds(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no waypoints"):
        read_finds(gpx(tmp_path / "w.gpx", walk((49.9, 11.5), (49.901, 11.5))), tables=TABLES)
