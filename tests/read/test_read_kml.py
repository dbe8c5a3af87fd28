"""KML and KMZ: what is drawn in other programs, never a link followed, nothing half read."""

from __future__ import annotations

import io
import struct
import time
import zipfile
from pathlib import Path
from zoneinfo import ZoneInfo

import geopandas as gpd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS
from small_geodata import two_fields

from fieldmap.errors import Fault, InputError
from fieldmap.read.fields import read_fields, read_gates
from fieldmap.read.finds import read_finds
from fieldmap.read.flood import read_flood
from fieldmap.read.kml import plain_text, read_placemarks
from fieldmap.read.vectors import Layer, read_layer
from fieldmap.tables import load_tables

TABLES = load_tables()
UTM = CRS.from_epsg(32632)
HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="http://www.opengis.net/kml/2.2">'
SQUARE = "11.5,49.9,3 11.51,49.9,3 11.51,49.91,3 11.5,49.91,3 11.5,49.9,3"
HOLE = "11.502,49.902 11.502,49.904 11.504,49.904 11.504,49.902 11.502,49.902"
AREA = (
    f"<Polygon><outerBoundaryIs><LinearRing><coordinates>{SQUARE}</coordinates></LinearRing>"
    f"</outerBoundaryIs><innerBoundaryIs><LinearRing><coordinates>{HOLE}</coordinates>"
    "</LinearRing></innerBoundaryIs></Polygon>"
)
POINT = "<Point><coordinates>11.5,49.9,120</coordinates></Point>"
LINE = (
    "<LineString><tessellate>1</tessellate>"
    "<coordinates>11.5,49.9\n 11.6,49.9</coordinates></LineString>"
)


def mark(inside: str, name: str = "") -> str:
    return f"<Placemark><name>{name}</name>{inside}</Placemark>"


def kml(path: Path, *marks: str, head: str = HEAD) -> Path:
    path.write_text(f"{head}<Document><Folder>{''.join(marks)}</Folder></Document></kml>", "utf-8")
    return path


def kmz(path: Path, *members: tuple[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, held in members:
            archive.writestr(name, held)
    return path


def finds(path: Path, **options: object) -> Layer:
    return read_finds(path, tables=TABLES, **options)


def faults(path: Path) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        finds(path)
    assert all(fault.mend and fault.why and fault.value for fault in caught.value.faults)
    return caught.value.faults


def test_by_hand_every_shape(tmp_path: Path) -> None:
    ring = f"<LinearRing><coordinates>{SQUARE}</coordinates></LinearRing>"
    deep = f"<MultiGeometry>{POINT}<MultiGeometry>{POINT}</MultiGeometry></MultiGeometry>"
    table, _ = finds(kml(tmp_path / "a.kml", *map(mark, (POINT, LINE, ring, AREA, deep))))
    kinds = ["Point", "LineString", "LineString", "Polygon", "MultiPoint"]
    assert table.geometry.geom_type.tolist() == kinds
    assert not table.geometry.has_z.any()
    assert table.geometry.iloc[0].wkt == "POINT (11.5 49.9)"
    assert shapely.get_num_interior_rings(table.geometry.iloc[3]) == 1


def test_referee_the_layout_of_the_standards_extended_data(tmp_path: Path) -> None:
    """Referee: elements as OGC 07-147r2, 9.2 to 9.5 lays them out (Data, SchemaData with a Schema,
    any other vocabulary); the content is invented."""
    schema = '<Schema name="s" id="s"><SimpleField type="string" name="Reported_by"/></Schema>'
    data = (
        '<ExtendedData xmlns:own="http://invented.example/own">'
        '<Data name="what"><displayName>Kind</displayName><value>old fence wire</value></Data>'
        '<SchemaData schemaUrl="#s"><SimpleData name="Reported_by">Ines</SimpleData></SchemaData>'
        "<own:radius_m>2,5</own:radius_m></ExtendedData>"
    )
    span = "<TimeSpan><begin>2026-06-01T09:30:00</begin><end>2026-06-02</end></TimeSpan>"
    stamp = "<TimeStamp><when>2026-06-01T09:30:00Z</when></TimeStamp>"
    path = kml(
        tmp_path / "a.kml", schema, mark(data + span + POINT, "A"), mark(stamp + POINT, "post")
    )
    table, notes = finds(path, zone=ZoneInfo("America/Chicago"))
    row = table.iloc[0]
    assert (row["kind"], row["who"], row["radius_m"]) == ("loose_wire", "Ines", 2.5)
    assert row["note"] == "old fence wire - A"
    hours = [moment.isoformat() for moment in table["time"]]
    assert hours == ["2026-06-01T14:30:00+00:00", "2026-06-01T09:30:00+00:00"]
    assert table["kind"].iloc[1] == "post"
    assert "a.kml: 1 times without a zone taken as America/Chicago time" in notes


def test_by_hand_html_in_a_description_is_words(tmp_path: Path) -> None:
    html = "<![CDATA[<p>By the <b>gate</b>&nbsp;&amp; ditch</p><script>alert(1)</script>]]>"
    path = kml(tmp_path / "a.kml", mark(f"<description>{html}</description>{POINT}", "stone"))
    assert finds(path).table["note"].tolist() == ["By the gate & ditch"]


@given(text=st.text(st.characters(blacklist_categories=["Cs"], blacklist_characters="<>&")))
def test_property_words_without_markup_stay(text: str) -> None:
    assert plain_text(text) == text
    assert plain_text(f"<div>{text}</div>") == " ".join(text.split())


@pytest.mark.parametrize("piece", ["<script>", "<!--", "<b", "</script>", "<style><script>"])
def test_by_hand_markup_without_an_end_takes_no_words_and_no_time(piece: str) -> None:
    start = time.perf_counter()
    assert plain_text(piece * 50_000 + "<br>wire").endswith("wire")
    assert time.perf_counter() - start < 5


def test_by_hand_what_is_passed_over_is_told(tmp_path: Path) -> None:
    link = "<NetworkLink><Link><href>file:///etc/hostname</href></Link></NetworkLink>"
    path = kml(tmp_path / "a.kml", link, mark("", "look here"), mark(POINT, "stone"))
    table, notes = finds(path)
    assert len(table) == 1
    assert "a.kml placemark 1 (look here): left out, it has no shape" in notes
    assert any("1 links to other files not followed" in note for note in notes)
    (fault,) = faults(kml(tmp_path / "b.kml", link))
    assert "1 links" in fault.value


def test_by_hand_a_boundary_file_may_not_hide_ground_behind_a_link(tmp_path: Path) -> None:
    link = "<NetworkLink><Link><href>more.kml</href></Link></NetworkLink>"
    path = kml(tmp_path / "f.kml", link, mark(AREA, "north"))
    with pytest.raises(InputError, match="links to other files"):
        read_layer(path, what="field boundaries")


def test_by_hand_every_bad_placemark_at_once(tmp_path: Path) -> None:
    bad = {
        "blank": "<Point><coordinates>11.5, 49.9</coordinates></Point>",
        "words": "<Point><coordinates>east,north</coordinates></Point>",
        "nan": "<Point><coordinates>nan,49</coordinates></Point>",
        "none": "<Point/>",
        "two": "<Point><coordinates>1,2 3,4</coordinates></Point>",
        "short": "<LineString><coordinates>1,2</coordinates></LineString>",
        "thin": AREA.replace(SQUARE, "1,2 3,4"),
        "empty": "<Polygon/>",
        "model": "<Model/>",
        "off": "<Point><coordinates>11,91</coordinates></Point>",
        "mixed": f"<MultiGeometry>{POINT}{LINE}</MultiGeometry>",
        "twice": f'<ExtendedData><Data name="a"><value>1</value></Data><Data name="a"><value>2'
        f"</value></Data></ExtendedData>{POINT}",
    }
    path = kml(tmp_path / "a.kml", *[mark(inside, name) for name, inside in bad.items()])
    named = {fault.where.rpartition("(")[2].rstrip(")") for fault in faults(path)}
    assert named == set(bad)


def test_by_hand_what_this_tool_wrote_comes_back_as_it_was(tmp_path: Path) -> None:
    data = "".join(
        f'<Data name="{name}"><value>{held}</value></Data>'
        for name, held in (("hazard_id", "h1"), ("kind", "post"), ("note", "leans"))
    )
    inside = f"<description>post, leans; ask Ines</description><ExtendedData>{data}</ExtendedData>"
    row = finds(kml(tmp_path / "a.kml", mark(inside + POINT, "Post 1"))).table.iloc[0]
    assert (row["hazard_id"], row["kind"], row["note"]) == ("h1", "post", "leans")


def test_by_hand_a_document_type_and_things_that_are_not_kml(tmp_path: Path) -> None:
    bomb = '<!DOCTYPE kml [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>'
    held = {
        b"": "not what the file's name says",
        b"\x00\x01\x02": "not what the file's name says",
        f"<?xml version='1.0'?>{bomb}<kml>&b;</kml>".encode(): "document type",
        b"<kml><Document>": "cannot be parsed",
        b"<html/>": "not a KML file",
        b"<kml/>": "no finds in the file",
    }
    path = tmp_path / "a.kml"
    for content, words in held.items():
        path.write_bytes(content)
        with pytest.raises(InputError, match=words):
            finds(path)
    inside = kmz(tmp_path / "a.kmz", ("doc.kml", f"<?xml version='1.0'?>{bomb}<kml/>".encode()))
    with pytest.raises(InputError, match="document type"):
        finds(inside)


def test_by_hand_a_collection_a_hundred_thousand_deep(tmp_path: Path) -> None:
    deep = 100_000
    inside = "<MultiGeometry>" * deep + POINT + "</MultiGeometry>" * deep
    path = kml(tmp_path / "a.kml", mark(inside, "stone"))
    try:
        kinds = finds(path).table["kind"].tolist()
    except InputError as error:  # a parser with a limit of its own says so
        kinds = [fault.what for fault in error.faults]
    assert kinds in (["stone"], ["XML that cannot be parsed"])


def test_by_hand_an_archive_gives_its_one_kml(tmp_path: Path) -> None:
    body = kml(tmp_path / "a.kml", mark(POINT, "stone")).read_bytes()
    for members in (
        [("doc.kml", body), ("other.kml", b"<kml/>"), ("files/icon.png", b"x")],
        [("layer.KML", body)],
    ):
        assert finds(kmz(tmp_path / "a.kmz", *members)).table["kind"].tolist() == ["stone"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.kml", "a.kmz"]


@pytest.mark.parametrize(
    ("members", "words"),
    [
        ([("a.kml", b"<kml/>"), ("b.kml", b"<kml/>")], "several KML files"),
        ([("readme.txt", b"x")], "without a KML file"),
        ([("../doc.kml", b"<kml/>")], "leads out of it"),
        ([("doc.kml", b"<kml/>"), ("..\\x", b"")], "leads out of it"),
        ([("/doc.kml", b"<kml/>")], "leads out of it"),
        ([("C:/doc.kml", b"<kml/>")], "leads out of it"),
        ([("doc.kml", b"<kml>" + b" " * 2_000_000 + b"</kml>")], "unpacks too far"),
    ],
)
def test_by_hand_archives_that_are_refused(
    tmp_path: Path, members: list[tuple[str, bytes]], words: str
) -> None:
    with pytest.raises(InputError, match=words):
        finds(kmz(tmp_path / "a.kmz", *members))


def test_by_hand_archives_that_lie_or_are_cut(tmp_path: Path) -> None:
    body = kml(tmp_path / "a.kml", *[mark(POINT, f"stone {n}") for n in range(50)]).read_bytes()
    held = kmz(tmp_path / "a.kmz", ("doc.kml", body)).read_bytes()
    path = tmp_path / "b.kmz"
    central = held.index(b"PK\1\2")
    small = held[: central + 24] + struct.pack("<I", 9) + held[central + 28 :]  # size told: 9 bytes
    locked = held[: central + 8] + b"\1\0" + held[central + 10 :]
    for content in (held[:-30], held[:200], small, held[:100] + b"\xff" * 20 + held[120:], locked):
        path.write_bytes(content)
        with pytest.raises(InputError, match="archive"):
            finds(path)
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_LZMA) as archive:
        archive.writestr("doc.kml", body)
    path.write_bytes(buffer.getvalue())
    with pytest.raises(InputError, match="not read"):
        finds(path)


def test_by_hand_fields_are_read_from_an_archive(tmp_path: Path) -> None:
    inside = f'<ExtendedData><Data name="FLD_NO"><value>N1</value></Data></ExtendedData>{AREA}'
    body = kml(tmp_path / "f.kml", mark(inside, "North")).read_bytes()
    path = kmz(tmp_path / "f.kmz", ("doc.kml", body))
    table, _ = read_fields(path, columns={"field_id": "FLD_NO"})
    assert (table["field_id"].iloc[0], table["name"].iloc[0]) == ("N1", "North")
    spot = kml(tmp_path / "g.kml", mark(AREA, "North"), mark(POINT, "label"), mark("", "bare"))
    with pytest.raises(InputError) as caught:
        read_fields(spot)
    assert [fault.value for fault in caught.value.faults] == ["point", "no shape, or a broken one"]


def test_by_hand_gates_and_floods_are_read_too(tmp_path: Path) -> None:
    def data(name: str, held: str) -> str:
        return f'<ExtendedData><Data name="{name}"><value>{held}</value></Data></ExtendedData>'

    gates = read_gates(kml(tmp_path / "g.kml", mark(data("width_m", "4.2") + POINT)), crs=UTM)
    assert gates["width_m"].tolist() == [4.2]
    flood = read_flood(kml(tmp_path / "f.kml", mark(data("date", "2026-05-28") + AREA)), crs=UTM)
    assert flood["date"].iloc[0].isoformat().startswith("2026-05-28T23:59")
    with pytest.raises(InputError, match="without a date"):
        read_flood(kml(tmp_path / "f.kml", mark(AREA)), crs=UTM)


def same_corners(ours: gpd.GeoDataFrame, theirs: gpd.GeoDataFrame) -> bool:
    flat = shapely.force_2d(theirs.geometry.to_numpy())
    equal = shapely.equals_exact(ours.geometry.to_numpy(), flat, 1e-9)
    return len(flat) > 0 and bool(equal.all())


def test_referee_gdal_writes_and_reads_the_same(tmp_path: Path) -> None:
    """Referee: GDAL's KML driver (pyogrio) writes shapes and names; both readers must agree."""
    shapes = [
        shapely.Point(11.5, 49.9),
        shapely.LineString([(11.5, 49.9), (11.6, 49.9)]),
        shapely.box(11.5, 49.9, 11.6, 50).difference(shapely.box(11.52, 49.92, 11.53, 49.93)),
        shapely.MultiPoint([(11.5, 49.9), (11.6, 49.9)]),
    ]
    written = gpd.GeoDataFrame({"Name": list("abcd"), "what": "wire"}, geometry=shapes, crs=4326)
    path = tmp_path / "a.kml"
    written.to_file(path, driver="KML", engine="pyogrio")
    theirs = gpd.read_file(path, engine="pyogrio")
    ours = read_layer(path, what="hazards")
    assert same_corners(ours, theirs)
    assert ours["name"].tolist() == theirs["Name"].tolist()
    assert finds(path).table["kind"].tolist() == ["loose_wire"] * 4


def test_referee_gdal_reads_what_we_take_from_a_layer(tmp_path: Path) -> None:
    """Referee: GDAL's KML driver reads the same corners from placemarks written by hand."""
    path = kml(tmp_path / "a.kml", mark(AREA, "North"), mark(AREA, "South"))
    theirs = gpd.read_file(path, engine="pyogrio")
    ours = read_layer(path, what="fields")
    assert ours.crs == theirs.crs == two_fields().crs
    assert same_corners(ours, theirs)


def test_property_ten_thousand_placemarks(tmp_path: Path) -> None:
    path = kml(tmp_path / "a.kml", *[mark(POINT, f"stone {n}") for n in range(10_000)])
    assert len(read_placemarks(path).rows) == 10_000
    broken = kml(tmp_path / "b.kml", *[mark("<Point/>", "x")] * 10_000)
    assert len(faults(broken)) == 10_000
