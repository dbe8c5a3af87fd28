"""The exported log: five formats, each read by somebody else's program, whole or not at all."""

from __future__ import annotations

import json
import os
import re
import sqlite3
from datetime import date
from pathlib import Path
from xml.etree.ElementTree import Element

import geopandas as gpd
import gpxpy
import numpy as np
import pyogrio
import pytest
import shapely
from defusedxml.ElementTree import parse
from hypothesis import given, settings
from log_pieces import (
    APART,
    DAY,
    MARKS,
    NASTY,
    SHAPES,
    SQUARE,
    SUFFIXES,
    TABLES,
    WORDS,
    cells,
    export,
    mark,
    marks,
)

from fieldmap.errors import InputError, MisuseError, StoreError
from fieldmap.read.csv_guard import GUARD, guarded, unguarded

GPX = "{http://www.topografix.com/GPX/1/1}"
LOG = "{urn:fieldmap:log:1}"
KML = "{http://www.opengis.net/kml/2.2}"
#: GPX 1.1 schema, types wptType, rteType, gpxType and metadataType: children in this order.
GPX_ORDER = {
    "wpt": "ele time magvar geoidheight name cmt desc src link sym type fix sat hdop vdop pdop "
    "ageofdgpsdata dgpsid extensions",
    "rte": "name cmt desc src link number type extensions rtept",
    "gpx": "metadata wpt rte trk extensions",
    "metadata": "name desc author copyright link time keywords bounds extensions",
}
#: KML 2.2 schema, AbstractFeatureType then PlacemarkType.
KML_ORDER = (
    "name visibility open author link address AddressDetails phoneNumber Snippet description "
    "AbstractView TimeStamp styleUrl Style Region ExtendedData Point LineString Polygon "
    "MultiGeometry"
)
EVERY_SHAPE = marks([{"hazard_id": name, "geometry": held} for name, held in SHAPES.items()])


def local(element: Element) -> str:
    return element.tag.rsplit("}", 1)[-1]


def in_order(element: Element, order: str) -> bool:
    places = [order.split().index(local(child)) for child in element]
    return places == sorted(places)


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_property_same_input_same_bytes(tmp_path: Path, suffix: str) -> None:
    """Twice, under two names in two folders, and from another coordinate system."""
    (tmp_path / "two").mkdir()
    export(EVERY_SHAPE, tmp_path / f"one{suffix}", note="invented")
    export(EVERY_SHAPE, tmp_path / "two" / f"b{suffix.upper()}", note="invented")
    export(EVERY_SHAPE.to_crs(32632), tmp_path / f"metric{suffix}", note="invented")
    first, *others = (path.read_bytes() for path in sorted(tmp_path.rglob("*.*")))
    assert len(others) == 2
    assert all(held == first for held in others)


@pytest.mark.parametrize("suffix", [".gpkg", ".geojson", ".gpx", ".kml"])
def test_referee_gdal_reads_every_shape(tmp_path: Path, suffix: str) -> None:
    """Referee: GDAL's own readers (pyogrio); GPX by layer, since it splits shapes."""
    path = tmp_path / f"a{suffix}"
    table = EVERY_SHAPE if suffix != ".gpx" else EVERY_SHAPE.iloc[[0, 1, 2]]
    export(table, path)
    layers = pyogrio.list_layers(path)[:, 0]
    held = [gpd.read_file(path, layer=name) for name in layers if name in WANTED_LAYERS]
    shapes = [shape for one in held for shape in one.geometry]
    assert len(shapes) == len(table)
    for shape, wanted in zip(shapes, table.geometry, strict=True):
        line = wanted.exterior if suffix == ".gpx" and wanted.geom_type == "Polygon" else wanted
        assert shapely.hausdorff_distance(shapely.force_2d(shape), line) < 1e-7
        assert shapely.get_num_coordinates(shape) == shapely.get_num_coordinates(line)


WANTED_LAYERS = ("hazards", f"hazards {DAY.isoformat()}", "waypoints", "routes")


def test_referee_gdal_reads_words_of_kml(tmp_path: Path) -> None:
    """Referee: GDAL's LIBKML gives the columns back as they were."""
    table = marks([{"hazard_id": f"n{at}", "note": note} for at, note in enumerate(NASTY)])
    export(table, tmp_path / "a.kml")
    held = gpd.read_file(tmp_path / "a.kml", engine="pyogrio")
    # that reader trims blanks and takes a carriage return for a line end; the signs are what counts
    flat = [re.sub(r"\s+", " ", text).strip() for text in held["note"].fillna("")]
    assert flat == [re.sub(r"\s+", " ", text).strip() for text in NASTY]
    assert held["who"].tolist() == ["Ann"] * len(NASTY)


def test_by_hand_geopackage_columns_and_layer(tmp_path: Path) -> None:
    export(marks([{"photo": "ab12"}]), tmp_path / "a.gpkg", note="invented")
    info = pyogrio.read_info(tmp_path / "a.gpkg", layer="hazards")
    assert info["geometry_type"] == "Unknown"
    held = gpd.read_file(tmp_path / "a.gpkg")
    assert list(held.columns) == [
        "hazard_id", "kind", "label", "level", "do", "call", "note", "who", "time", "last_seen",
        "radius_m", "height_m", "heading_deg", "hits", "not_found", "photo_id", "geometry",
    ]  # fmt: skip
    words = TABLES["hazard_kinds.loose_wire"].words
    row = held.iloc[0]
    assert (row["label"], row["do"], row["call"]) == (
        words["label"],
        words["action"],
        words["call"],
    )
    assert row["photo_id"] == "ab12"
    with sqlite3.connect(tmp_path / "a.gpkg") as base:
        ((changed, told),) = base.execute("select last_change, description from gpkg_contents")
    base.close()
    assert (changed, told) == ("2026-06-02T00:00:00.000Z", "invented")


def test_referee_geojson_is_rfc_7946(tmp_path: Path) -> None:
    """Referee: RFC 7946, 3.1.6 (outer rings anticlockwise, by shapely) and 4 (no crs member)."""
    left = marks([{"geometry": shapely.reverse(SQUARE)}, {"hazard_id": "b", "geometry": APART}])
    export(left, tmp_path / "a.geojson", note="invented")
    held = json.loads((tmp_path / "a.geojson").read_text("utf-8"))
    assert (held["type"], held["note"]) == ("FeatureCollection", "invented")
    assert "crs" not in held
    for feature in held["features"]:
        assert set(feature) == {"type", "properties", "geometry"}
        for area in shapely.get_parts(shapely.geometry.shape(feature["geometry"])):
            assert area.exterior.is_ccw
            assert not any(hole.is_ccw for hole in area.interiors)
            assert area.exterior.coords[0] == area.exterior.coords[-1]


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_property_nothing_moves_by_a_centimetre(tmp_path: Path, suffix: str) -> None:
    """A point at 15 decimals; a degree is at most 111.7 km, so 1e-8 is 1.1 mm."""
    exact = shapely.Point(-91.123456789012345, 43.098765432109876)
    export(marks([{"geometry": exact}]), tmp_path / f"a{suffix}")
    if suffix == ".csv":
        lon, lat = (float(cell) for cell in cells(tmp_path / "a.csv")[1][:2])
    else:
        layer = pyogrio.list_layers(tmp_path / f"a{suffix}")[0, 0]
        (held,) = gpd.read_file(tmp_path / f"a{suffix}", layer=layer).geometry
        lon, lat = held.x, held.y
    assert np.hypot(lon - exact.x, lat - exact.y) * 111_700 < 0.002


def test_referee_gpxpy_reads_standard_elements(tmp_path: Path) -> None:
    """Referee: gpxpy's parser."""
    done = export(EVERY_SHAPE, tmp_path / "a.gpx", note="invented <data>")
    gpx = gpxpy.parse((tmp_path / "a.gpx").read_text("utf-8"))
    assert (gpx.version, gpx.description, len(gpx.tracks)) == ("1.1", "invented <data>", 0)
    point = gpx.waypoints[0]
    assert (point.name, point.type, point.description) == ("point", "loose_wire", "by the gate")
    assert point.time.isoformat() == "2026-06-01T09:30:00+00:00"
    names = [one.name for one in (*gpx.waypoints, *gpx.routes)]
    assert names == [
        "point", "points (1 of 2)", "points (2 of 2)", "mixed (1 of 2)", "line", "area",
        "holed (1 of 2)", "holed (2 of 2)", "lines (1 of 2)", "lines (2 of 2)",
        "apart (1 of 3)", "apart (2 of 3)", "apart (3 of 3)", "mixed (2 of 2)",
    ]  # fmt: skip
    assert any("5 hazards written piece by piece" in note for note in done.notes)
    assert any("4 written as closed routes" in note for note in done.notes)


def test_referee_gpx_schema_order(tmp_path: Path) -> None:
    """Referee: the order of elements in the GPX 1.1 schema, longitudes under 180."""
    edge = mark(hazard_id="edge", geometry=shapely.Point(180, 0), note="")
    rows = [*EVERY_SHAPE.to_dict("records"), edge]
    export(marks(rows), tmp_path / "a.gpx", note="invented")
    root = parse(tmp_path / "a.gpx").getroot()
    for element in root.iter():
        if local(element) in GPX_ORDER and element.tag.startswith(GPX):
            assert in_order(element, GPX_ORDER[local(element)])
        if local(element) in ("wpt", "rtept"):
            assert -180 <= float(element.attrib["lon"]) < 180
    for held in root.iter(f"{GPX}extensions"):
        assert all(child.tag.startswith(LOG) for child in held)  # any, ##other namespace


def test_by_hand_gpx_extensions(tmp_path: Path) -> None:
    wild = mark(geometry=SHAPES["holed"], who='<b>"&', height_m=float("nan"), photo="ab")
    done = export(marks([wild]), tmp_path / "a.gpx")
    root = parse(tmp_path / "a.gpx").getroot()
    held = [{local(child): child.text for child in one} for one in root.iter(f"{GPX}extensions")]
    assert [one["shape"] for one in held] == ["area", "hole"]
    assert [(one["part"], one["parts"]) for one in held] == [("1", "2"), ("2", "2")]
    assert held[0]["who"] == '<b>"&'
    assert held[0]["time"] == "2026-06-01T09:30:00Z"
    assert (held[0]["radius_m"], held[0]["heading_deg"]) == ("5.0", "270.0")
    assert not {"height_m", "photo_id", "note"} & set(held[0])
    assert "1 photos stay in the log" in done.notes


def test_referee_kml_schema_order(tmp_path: Path) -> None:
    """Referee: the order of elements in the KML 2.2 schema; rings anticlockwise."""
    export(EVERY_SHAPE, tmp_path / "a.kml", note="invented")
    root = parse(tmp_path / "a.kml").getroot()
    places = list(root.iter(f"{KML}Placemark"))
    assert len(places) == len(SHAPES)
    assert all(in_order(place, KML_ORDER) for place in places)
    rings = root.findall(f".//{KML}outerBoundaryIs/{KML}LinearRing/{KML}coordinates")
    for ring in rings:
        corners = [tuple(map(float, pair.split(","))) for pair in ring.text.split()]
        assert shapely.LinearRing(corners).is_ccw
    assert len(root.findall(f".//{KML}innerBoundaryIs")) == 2


def test_by_hand_a_note_is_no_markup_in_a_viewer(tmp_path: Path) -> None:
    """A viewer reads the description as HTML: undone once by XML, it must still hold no tag."""
    export(marks([{"note": "<img src=x> & co"}]), tmp_path / "a.kml")
    place = parse(tmp_path / "a.kml").getroot().find(f".//{KML}Placemark")
    assert place.findtext(f"{KML}description") == "&lt;img src=x&gt; &amp; co"
    data = {one.attrib["name"]: one.findtext(f"{KML}value") for one in place.iter(f"{KML}Data")}
    assert data["note"] == "<img src=x> & co"


@settings(max_examples=60)
@given(words=WORDS)
def test_property_xml_is_well_formed_for_any_words(
    tmp_path_factory: pytest.TempPathFactory, words: str
) -> None:
    folder = tmp_path_factory.mktemp("xml")
    wild = marks([{"note": words, "who": words, "hazard_id": words or "x"}])
    for suffix in (".gpx", ".kml"):
        export(wild, folder / f"a{suffix}", note=words)
        assert parse(folder / f"a{suffix}").getroot() is not None


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_by_hand_what_a_format_cannot_hold_is_replaced_and_told(
    tmp_path: Path, suffix: str
) -> None:
    """A bell has no place in XML, a zero and half a pair have none anywhere."""
    done = export(marks([{"note": "a\x07b", "who": "\ud83dx\x00"}]), tmp_path / f"a{suffix}")
    changed = 2 if suffix in (".gpx", ".kml") else 1
    assert done.notes[0].startswith(f"{changed} texts with characters that {suffix} cannot hold")
    text = (tmp_path / f"a{suffix}").read_bytes().decode("utf-8", "replace")
    assert ("a\ufffdb" in text) == (changed == 2)
    assert "\ufffdx\ufffd" in text


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_by_hand_an_empty_log_is_a_valid_empty_file(tmp_path: Path, suffix: str) -> None:
    done = export(marks([]), tmp_path / f"a{suffix}")
    assert done.marks == 0
    assert "a clear log is no clear field" in done.notes[0]
    if suffix == ".csv":
        (head,) = cells(tmp_path / "a.csv")
        assert head[:4] == ["lon", "lat", "hazard_id", "kind"]
    elif suffix in (".gpx", ".kml"):
        root = parse(tmp_path / f"a{suffix}").getroot()
        assert not [one for one in root.iter() if local(one) in ("wpt", "rte", "Placemark")]
    else:
        assert len(gpd.read_file(tmp_path / f"a{suffix}")) == 0


def test_by_hand_csv_columns(tmp_path: Path) -> None:
    export(marks([{}, {"hazard_id": "b", "geometry": SQUARE, "time": None}]), tmp_path / "a.csv")
    data = (tmp_path / "a.csv").read_bytes()
    assert data.startswith(b"lon,lat,hazard_id,")
    head, first, second = cells(tmp_path / "a.csv")
    point, area = dict(zip(head, first, strict=True)), dict(zip(head, second, strict=True))
    assert (point["lon"], point["lat"], point["wkt"]) == ("11.5", "49.9", "")
    assert (point["time"], point["radius_m"]) == ("2026-06-01T09:30:00Z", "5.0")
    assert area["time"] == ""
    assert shapely.from_wkt(area["wkt"]).equals(SQUARE)
    assert SQUARE.contains(shapely.Point(float(area["lon"]), float(area["lat"])))


def _runs(cell: str) -> bool:
    """Whether a spreadsheet may take a cell for a formula: a sign first, and no number."""
    bare = cell.strip().lstrip('" \t\r\n')
    return bare.startswith(("=", "+", "-", "@")) and not re.fullmatch(r"[+-]?[\d.]+", bare)


@settings(max_examples=150)
@given(words=WORDS)
def test_property_no_cell_runs_in_a_spreadsheet(
    tmp_path_factory: pytest.TempPathFactory, words: str
) -> None:
    """Whatever the program's list separator: comma, semicolon or tab."""
    path = tmp_path_factory.mktemp("csv") / "a.csv"
    export(marks([{"note": words, "who": words.strip(), "hazard_id": words or "x"}]), path)
    for delimiter in ",;\t":
        assert not [cell for row in cells(path, delimiter) for cell in row if _runs(cell)]


@given(words=WORDS)
def test_property_guarded_words_come_back(words: str) -> None:
    assert unguarded(guarded(words)) == words


def test_by_hand_only_rows_that_need_it_are_guarded(tmp_path: Path) -> None:
    table = marks([{}, {"hazard_id": "b", "note": "=1+1"}, {"hazard_id": "-2"}])
    done = export(table, tmp_path / "a.csv")
    head, *rows = cells(tmp_path / "a.csv")
    assert [row[head.index("guard")] for row in rows] == ["", GUARD, GUARD]
    assert [row[head.index("note")] for row in rows] == ["by the gate", "'=1+1", "by the gate"]
    assert "2 rows hold words that a spreadsheet would run: see column guard" in done.notes


@pytest.mark.parametrize("name", ["a.shp", "a.txt", "a", ".gpx", "a.kmz"])
def test_by_hand_another_suffix_is_misuse(tmp_path: Path, name: str) -> None:
    with pytest.raises(MisuseError) as caught:
        export(EVERY_SHAPE, tmp_path / name)
    assert all(suffix in str(caught.value) for suffix in SUFFIXES)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_by_hand_never_over_a_file_unless_told(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"a{suffix}"
    path.write_text("mine", "utf-8")
    with pytest.raises(InputError) as caught:
        export(EVERY_SHAPE, path)
    assert caught.value.faults[0].value == path.name
    assert path.read_text("utf-8") == "mine"
    done = export(EVERY_SHAPE, path, overwrite=True)
    assert done.path == path
    assert b"mine" not in path.read_bytes()[:4]
    assert [one.name for one in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_by_hand_a_full_disk_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, suffix: str
) -> None:
    path = tmp_path / f"a{suffix}"
    path.write_text("old", "utf-8")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StoreError, match="No space left"):
        export(EVERY_SHAPE, path, overwrite=True)
    assert path.read_text("utf-8") == "old"
    assert [one.name for one in tmp_path.iterdir()] == [path.name]


def test_by_hand_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(StoreError):
        export(EVERY_SHAPE, tmp_path / "none" / "a.csv")


def test_by_hand_the_day_is_the_only_date_in_a_geopackage(tmp_path: Path) -> None:
    """Another day, other bytes; the clock of the machine has no part in it."""
    from fieldmap.write.log_export import export_log

    export(EVERY_SHAPE, tmp_path / "a.gpkg")
    export_log(EVERY_SHAPE, tmp_path / "b.gpkg", tables=TABLES, day=date(2026, 6, 3))
    one, two = ((tmp_path / name).read_bytes() for name in ("a.gpkg", "b.gpkg"))
    assert one != two
    assert one.replace(b"2026-06-02T", b"2026-06-03T") == two


@settings(max_examples=25)
@given(table=MARKS)
def test_property_any_marks_can_be_written(
    tmp_path_factory: pytest.TempPathFactory, table: gpd.GeoDataFrame
) -> None:
    folder = tmp_path_factory.mktemp("any")
    for suffix in SUFFIXES:
        assert export(table, folder / f"a{suffix}").marks == len(table)
