"""GPX as finds: waypoints, routes as lines and areas, and our own export come back. By hand."""

from __future__ import annotations

import math
from pathlib import Path
from zoneinfo import ZoneInfo

import gpxpy
import pytest
from small_geodata import GPX

from fieldmap.errors import Fault, InputError
from fieldmap.read.finds import read_finds
from fieldmap.read.gpx_finds import OWN
from fieldmap.read.vectors import Layer
from fieldmap.tables import load_tables

TABLES = load_tables()
CORNERS = ((49.9, 11.5), (49.9, 11.6), (50.0, 11.6), (49.9, 11.5))


def gpx(path: Path, body: str) -> Path:
    path.write_text(f"{GPX}{body}</gpx>", "utf-8")
    return path


def finds(tmp_path: Path, body: str) -> Layer:
    zone = ZoneInfo("America/Chicago")
    return read_finds(gpx(tmp_path / "w.gpx", body), tables=TABLES, zone=zone)


def faults(tmp_path: Path, body: str) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        finds(tmp_path, body)
    assert all(fault.mend and fault.why and fault.value for fault in caught.value.faults)
    return caught.value.faults


def own(**held: object) -> str:
    told = "".join(f"<f:{name}>{value}</f:{name}>" for name, value in held.items())
    return f'<extensions xmlns:f="{OWN}">{told}</extensions>'


def wpt(inside: str, lat: object = 49.9, lon: object = 11.5) -> str:
    return f'<wpt lat="{lat}" lon="{lon}">{inside}</wpt>'


def rte(inside: str, corners: tuple[tuple[float, float], ...] = CORNERS) -> str:
    points = "".join(f'<rtept lat="{lat}" lon="{lon}"/>' for lat, lon in corners)
    return f"<rte>{inside}{points}</rte>"


def test_by_hand_the_type_is_the_kind_then_the_name(tmp_path: Path) -> None:
    body = (
        wpt("<name>old wire</name><type>post</type><desc>leans</desc>")
        + wpt("<name>old wire</name><hdop>4</hdop>")
        + wpt("<name>Stone</name><cmt>big</cmt>")
    )
    table, _ = finds(tmp_path, body)
    assert table["kind"].tolist() == ["post", "loose_wire", "stone"]
    assert table["note"].tolist() == ["old wire - leans", "old wire", "big"]
    assert table["radius_m"].isna().all()


def test_by_hand_the_name_helps_where_the_type_names_no_kind(tmp_path: Path) -> None:
    body = "".join(
        wpt(f"<name>{name}</name><type>{kind}</type>")
        for name, kind in (("old wire", "user"), ("wire", "unknown"), ("wire", "removed"))
    )
    table, notes = finds(tmp_path, body)
    assert table["kind"].tolist() == ["loose_wire", "unknown", "unknown"]
    assert table["note"].tolist() == ["user - old wire", "wire", "removed - wire"]
    assert "w.gpx: 1 x 'user - old wire' taken as loose_wire" in notes


def test_by_hand_a_time_that_cannot_be_read_is_a_fault(tmp_path: Path) -> None:
    body = wpt("<time>soon</time>") + wpt("<name>A</name><time>01/06/2026</time>")
    found = faults(tmp_path, body + wpt("<time>2026-06-01T09:30:00Z</time>"))
    assert [fault.where for fault in found] == ["w.gpx waypoint 1", "w.gpx waypoint 2 (A)"]
    assert "write the year first" in found[1].mend


def test_by_hand_a_time_without_a_zone_is_utc(tmp_path: Path) -> None:
    table, _ = finds(tmp_path, wpt("<time>2026-06-01T09:30:00</time>"))
    assert table["time"].iloc[0].isoformat() == "2026-06-01T09:30:00+00:00"


def test_by_hand_every_bad_waypoint_at_once(tmp_path: Path) -> None:
    body = (
        wpt("", lat=91) + wpt("", lon="") + wpt("", lat="nan") + wpt("", lon="inf")
        + wpt("", lat="north") + wpt(own(radius_m="wide"))
        + rte("<name>R</name>", ((49.9, 11.5), (95, 11.5)))
        + rte(own(shape="circle")) + rte(own(shape="area"), CORNERS[:2])
    )  # fmt: skip
    found = faults(tmp_path, body)
    places = [f"w.gpx waypoint {n}" for n in range(1, 7)]
    places += ["w.gpx route 1 (R) point 2", "w.gpx route 2", "w.gpx route 3"]
    assert sorted(fault.where for fault in found) == sorted(places)


def test_by_hand_routes_are_lines_unless_we_said_area(tmp_path: Path) -> None:
    body = (
        rte("<name>wire</name>", CORNERS[:2])
        + rte("<type>washout</type>")
        + rte("<name>R</name>" + own(kind="silt", hazard_id="h3", shape="area", radius_m=3))
        + rte("", CORNERS[:1])
    )
    table, notes = finds(tmp_path, body)
    assert table.geometry.geom_type.tolist() == ["LineString", "LineString", "Polygon"]
    assert table["kind"].tolist() == ["loose_wire", "washout", "silt"]
    assert table["radius_m"].tolist()[2] == 3
    assert "w.gpx route 4 left out: fewer than two points" in notes


def test_by_hand_our_own_words_win(tmp_path: Path) -> None:
    mine = own(kind="drum", hazard_id="h1", who="Ines", height_m=0.4, heading_deg=90, radius_m=2)
    table, _ = finds(tmp_path, wpt(f"<name>Drum 1</name><desc>blue</desc><type>post</type>{mine}"))
    row = table.iloc[0]
    assert (row["hazard_id"], row["kind"], row["note"], row["who"]) == (
        "h1",
        "drum",
        "blue",
        "Ines",
    )
    assert (row["height_m"], row["heading_deg"], row["radius_m"]) == (0.4, 90, 2)


def test_by_hand_an_extension_of_others_says_nothing(tmp_path: Path) -> None:
    other = '<extensions xmlns:o="urn:other:1"><o:radius_m>9</o:radius_m></extensions>'
    table, _ = finds(tmp_path, wpt(f"<name>stone</name>{other}"))
    assert math.isnan(table["radius_m"].iloc[0])


def test_by_hand_the_parts_of_one_find_are_one(tmp_path: Path) -> None:
    def part(number: int, kind: str = "loose_wire", shape: str = "line", parts: int = 2) -> str:
        return own(kind=kind, hazard_id="h1", shape=shape, part=number, parts=parts)

    body = rte(part(2), CORNERS[:2]) + rte(part(1), CORNERS[1:3]) + wpt("<name>stone</name>")
    table, _ = finds(tmp_path, body)
    assert table.geometry.geom_type.tolist() == ["Point", "MultiLineString"]
    assert table.geometry.iloc[1].geoms[0].coords[0] == (11.6, 49.9)
    inside = ((49.92, 11.55), (49.92, 11.56), (49.93, 11.56), (49.92, 11.55))
    holed = rte(part(1, shape="area"), CORNERS) + rte(part(2, shape="hole"), inside)
    shape = finds(tmp_path, holed).table.geometry.iloc[0]
    assert (shape.geom_type, len(shape.interiors)) == ("Polygon", 1)


def test_by_hand_parts_that_do_not_fit(tmp_path: Path) -> None:
    def part(number: int, kind: str = "loose_wire", shape: str = "line", parts: int = 2) -> str:
        return own(kind=kind, hazard_id="h1", shape=shape, part=number, parts=parts)

    one = rte(part(1), CORNERS[:2])
    for bad, what in (
        (one, "missing or stand twice"),
        (one + one, "missing or stand twice"),
        (one + rte(part(2, kind="post"), CORNERS[1:3]), "different things"),
        (rte(part(1, shape="hole", parts=1), CORNERS), "without the area"),
        (one + wpt(part(2), lat=95), "not on earth"),
    ):
        (fault,) = faults(tmp_path, bad)
        assert what in fault.what
    twice = own(kind="post", hazard_id="h1")
    (fault,) = faults(tmp_path, wpt(twice) + wpt(twice))
    assert fault.what == "an id that stands twice"


def test_referee_gpxpy_reads_the_same_waypoints(tmp_path: Path) -> None:
    """Referee: gpxpy, an independent GPX parser, on the same file."""
    body = "".join(
        wpt(f"<name>stone {n}</name><time>2026-06-01T09:{n:02d}:00Z</time>", 49 + n / 100, n / 10)
        for n in range(30)
    )
    table, _ = finds(tmp_path, body)
    theirs = gpxpy.parse((tmp_path / "w.gpx").read_text("utf-8")).waypoints
    assert [(shape.x, shape.y) for shape in table.geometry] == [
        (point.longitude, point.latitude) for point in theirs
    ]
    assert [moment.timestamp() for moment in table["time"]] == [
        point.time.timestamp() for point in theirs if point.time
    ]


def test_by_hand_a_gpx_1_0_file_and_no_namespace(tmp_path: Path) -> None:
    path = tmp_path / "w.gpx"
    for head in ('<gpx version="1.0" xmlns="http://www.topografix.com/GPX/1/0">', "<gpx>"):
        path.write_text(f"{head}{wpt('<name>stone</name>')}</gpx>", "utf-8")
        assert read_finds(path, tables=TABLES).table["kind"].tolist() == ["stone"]


def test_by_hand_bad_figures_and_times_come_together(tmp_path: Path) -> None:
    body = wpt("<time>soon</time>" + own(radius_m=-1, height_m=99, heading_deg="north"))
    assert len(faults(tmp_path, body)) == 4
