"""What people found, out of any file: nothing lost, nothing half read, no guess unsaid."""

from __future__ import annotations

import csv
import json
import re
import warnings
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from small_geodata import GPX, feature, geojson, point, ring, square, two_fields

from fieldmap.errors import Fault, InputError
from fieldmap.read.finds import UNKNOWN_KIND, distant, kind_of, read_finds
from fieldmap.tables import load_tables
from fieldmap.words import plain_words

TABLES = load_tables()
KINDS = {row.key.split(".", 1)[1] for row in TABLES.rows("hazard_kinds")}
WORDS = st.text(st.characters(blacklist_categories=["Cs"], blacklist_characters="\x00"))
PLACES = st.tuples(
    st.floats(-180, 180, allow_nan=False).map(lambda held: round(held, 7)),
    st.floats(-90, 90, allow_nan=False).map(lambda held: round(held, 7)),
)


def finds(path: Path, **options: object) -> pd.DataFrame:
    return read_finds(path, tables=TABLES, **options).table


def faults_of(path: Path) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        read_finds(path, tables=TABLES)
    assert all(fault.mend and fault.why and fault.value for fault in caught.value.faults)
    return caught.value.faults


def csv_file(path: Path, text: str, encoding: str = "utf-8") -> Path:
    path.write_bytes(text.encode(encoding))
    return path


def test_by_hand_a_quoted_note_keeps_its_line_ends_commas_and_quotes(tmp_path: Path) -> None:
    text = 'lon,lat,kind,note\r\n11.5,49.9,stone,"two\r\nlines, ""quoted"" <script>x</script> "\r\n'
    table = finds(csv_file(tmp_path / "n.csv", text))
    assert table["note"].tolist() == ['two\r\nlines, "quoted" <script>x</script> ']
    assert table["kind"].tolist() == ["stone"]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_by_hand_list_separators(tmp_path: Path, separator: str) -> None:
    text = "Lon,Lat,Kind,Note\n11.5,49.9,wire,old\n".replace(",", separator)
    table = finds(csv_file(tmp_path / "s.csv", text))
    assert table["kind"].tolist() == ["loose_wire"]
    assert table.geometry.iloc[0].coords[0] == (11.5, 49.9)


def test_by_hand_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    table = finds(csv_file(tmp_path / "b.csv", "lon,lat,kind\n11.5,49.9,stone\n", "utf-8-sig"))
    assert len(table) == 1


def test_by_hand_another_encoding_is_refused(tmp_path: Path) -> None:
    text = "lon,lat,kind,note\n11.5,49.9,stone,Grünland\n"
    (fault,) = faults_of(csv_file(tmp_path / "l.csv", text, "latin-1"))
    assert "UTF-8" in fault.mend


@pytest.mark.parametrize("text", ["", "\n\n", "lon,lat,kind\n", "name,what\na,b\n"])
def test_by_hand_a_csv_without_finds_or_places(tmp_path: Path, text: str) -> None:
    (fault,) = faults_of(csv_file(tmp_path / "e.csv", text))
    assert fault.what in ("no finds in the file", "no columns for the position")
    assert fault.where.endswith("e.csv")


def test_by_hand_every_bad_row_of_a_csv_is_named_at_once(tmp_path: Path) -> None:
    text = (
        "lon,lat,kind,note\n"
        "11.5,49.9,stone,fine\n"
        "11.5,,stone,no place\n"
        '11.5,49.9,stone,"two\nlines"\n'
        "11,5,49,9,stone,comma\n"
        "east,north,stone,words\n"
    )
    faults = faults_of(csv_file(tmp_path / "r.csv", text))
    assert [fault.where for fault in faults] == ["r.csv line 3", "r.csv line 6", "r.csv line 7"]
    assert faults[1].what == "more cells than columns"


def test_by_hand_an_open_quote_does_not_swallow_the_rest(tmp_path: Path) -> None:
    text = 'lon,lat,note\n11.5,49.9,"open\n11.5,49.9,lost\n'
    (fault,) = faults_of(csv_file(tmp_path / "q.csv", text))
    assert "close every quote" in fault.mend
    assert fault.where == "q.csv line 2"


def test_by_hand_two_columns_of_one_name(tmp_path: Path) -> None:
    (fault,) = faults_of(csv_file(tmp_path / "t.csv", "lon,lat,note,Note\n11.5,49.9,a,b\n"))
    assert fault.value == "note"


def test_by_hand_positions_off_the_earth(tmp_path: Path) -> None:
    text = "lon,lat\n678000,5532000\n49.9,111.5\nnan,49.9\n11.5,49.9\n"
    faults = faults_of(csv_file(tmp_path / "p.csv", text))
    assert [fault.where for fault in faults] == ["p.csv line 2", "p.csv line 3", "p.csv line 4"]
    assert "--swap-xy" in faults[1].mend
    assert "--swap-xy" not in faults[0].mend


def test_by_hand_swap_xy_puts_them_right(tmp_path: Path) -> None:
    path = csv_file(tmp_path / "p.csv", "lon,lat,kind\n49.9,111.5,stone\n")
    shape = finds(path, swap_xy=True).geometry.iloc[0]
    assert (shape.x, shape.y) == (111.5, 49.9)


def test_by_hand_times_and_figures_that_are_not(tmp_path: Path) -> None:
    text = (
        "lon,lat,time,radius_m,height_m\n"
        "11.5,49.9,yesterday,3,0.1\n"
        "11.5,49.9,0001-01-01T00:00:00+14:00,wide,0.1\n"
        "11.5,49.9,2026-06-01,,\n"
    )
    faults = faults_of(csv_file(tmp_path / "t.csv", text))
    assert {fault.value for fault in faults} == {"yesterday", "0001-01-01T00:00:00+14:00", "wide"}


def test_by_hand_a_time_without_a_zone_is_the_farms_and_that_is_said(tmp_path: Path) -> None:
    text = "lon,lat,time\n11.5,49.9,2026-06-01 09:30\n11.5,49.9,2026-06-01T09:30:00Z\n"
    zone = ZoneInfo("America/Chicago")
    layer = read_finds(csv_file(tmp_path / "z.csv", text), tables=TABLES, zone=zone)
    assert [moment.isoformat() for moment in layer.table["time"]] == [
        "2026-06-01T14:30:00+00:00",
        "2026-06-01T09:30:00+00:00",
    ]
    assert any("1 times without a zone taken as America/Chicago" in note for note in layer.notes)


def test_by_hand_duplicate_ids(tmp_path: Path) -> None:
    (fault,) = faults_of(csv_file(tmp_path / "d.csv", "id,lon,lat\nA,11,49\n,11,49\nA,12,49\n"))
    assert (fault.value, fault.where) == ("A", "d.csv line 4")


def test_by_hand_kinds_come_from_the_persons_own_words_and_it_is_said(tmp_path: Path) -> None:
    text = "lon,lat,kind\n" + "11.5,49.9,old fence wire\n" * 2 + "11.5,49.9,\n11.5,49.9,frog\n"
    layer = read_finds(csv_file(tmp_path / "k.csv", text), tables=TABLES)
    assert layer.table["kind"].tolist() == ["loose_wire", "loose_wire", "unknown", "unknown"]
    assert layer.notes == (
        "k.csv: 2 x 'old fence wire' taken as loose_wire",
        "k.csv: 1 without a kind, logged as unknown",
        "k.csv: 1 x 'frog' taken as unknown",
    )


def test_by_hand_the_note_never_names_the_kind(tmp_path: Path) -> None:
    table = finds(csv_file(tmp_path / "k.csv", "lon,lat,note\n11.5,49.9,a big stone\n"))
    assert table["kind"].tolist() == [UNKNOWN_KIND]


def test_by_hand_geojson_cells_of_every_type(tmp_path: Path) -> None:
    path = geojson(
        tmp_path / "g.geojson",
        feature(point(), kind="stone", note="2026/06/01", id=1, who=["Ines"], radius_m=3),
        feature(point(), Remarks="", kind="post", note=None, id=None, who=None, radius_m=None),
    )
    table = finds(path)
    assert table["kind"].tolist() == ["stone", "post"]
    assert table["note"].tolist() == ["2026/06/01", ""]
    assert table["hazard_id"].tolist() == ["1", ""]


def test_by_hand_two_columns_that_mean_the_same_are_refused(tmp_path: Path) -> None:
    path = geojson(tmp_path / "g.geojson", feature(point(), Kind="STONE", kind="post"))
    (fault,) = faults_of(path)
    assert (fault.what, fault.value) == ("two columns that mean the same", "Kind, kind")


def test_by_hand_plain_names_and_shapes_of_a_layer(tmp_path: Path) -> None:
    parts = [point(), point(11.6)]
    rows = [
        feature({"type": "Point", "coordinates": [11.5, 49.9, 7]}, Type="wire", Remarks="old",
                Observer="Ines", When="2026-06-01T09:30:00Z", Accuracy=5, plot="7"),
        feature({"type": "GeometryCollection", "geometries": parts}, Type="post"),
    ]  # fmt: skip
    table, notes = read_finds(geojson(tmp_path / "g.geojson", *rows), tables=TABLES)
    assert table["kind"].tolist() == ["loose_wire", "post"]
    assert (table["note"].iloc[0], table["who"].iloc[0]) == ("wire - old", "Ines")
    assert table["radius_m"].iloc[0] == pytest.approx(5 * 2.0789)
    assert table.geometry.geom_type.tolist() == ["Point", "MultiPoint"]
    assert not table.geometry.has_z.any()
    assert "g.geojson: columns not used: plot" in notes


def test_by_hand_a_shapefile_cuts_names_after_ten_characters(tmp_path: Path) -> None:
    held = two_fields().set_geometry(two_fields().representative_point())
    held = held.assign(kind="stone", description="by the gate", heading_deg=90.0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the writer says that it cuts the names
        held.to_file(tmp_path / "s.shp", engine="pyogrio")
    table = finds(tmp_path / "s.shp")
    assert table["note"].tolist() == ["by the gate"] * 2
    assert table["heading_deg"].tolist() == [90.0] * 2


def test_by_hand_every_bad_shape_of_a_layer_at_once(tmp_path: Path) -> None:
    mixed = {"type": "GeometryCollection", "geometries": [point(), square()]}
    rows = [feature(shape, kind="stone") for shape in (None, mixed, point(), point())]
    rows[3]["properties"]["radius_m"] = -1
    found = faults_of(geojson(tmp_path / "g.geojson", *rows))
    assert [fault.where for fault in found] == [f"g.geojson row {n}" for n in (1, 2, 4)]


def test_by_hand_geojson_with_broken_shapes(tmp_path: Path) -> None:
    rows = [feature(None, kind="stone"), feature(point(), kind="stone")]
    (fault,) = faults_of(geojson(tmp_path / "g.geojson", *rows))
    assert fault.where == "g.geojson row 1"


def test_by_hand_a_crossed_area_is_mended_and_said(tmp_path: Path) -> None:
    bow = ring((11.5, 49.9), (11.51, 49.91), (11.51, 49.9), (11.5, 49.91), (11.5, 49.9))
    layer = read_finds(geojson(tmp_path / "a.geojson", feature(bow, kind="silt")), tables=TABLES)
    assert layer.table.geometry.is_valid.all()
    assert "mended" in layer.notes[0]


def test_by_hand_an_empty_layer(tmp_path: Path) -> None:
    (fault,) = faults_of(geojson(tmp_path / "e.geojson"))
    assert fault.what == "no finds in the file"


def test_by_hand_waypoints_are_utc_whatever_the_farm(tmp_path: Path) -> None:
    body = (
        '<wpt lat="49.9" lon="11.5"><time>2026-06-01T09:30:00Z</time><type>post</type></wpt>'
        '<wpt lat="49.9" lon="11.6"><name>bo-1</name><desc>&lt;script&gt; &amp; more</desc></wpt>'
    )
    path = tmp_path / "w.gpx"
    path.write_text(f"{GPX}{body}</gpx>")
    table = finds(path, zone=ZoneInfo("America/Chicago"))
    assert table["kind"].tolist() == ["post", "unknown"]
    assert table["time"].iloc[0].isoformat() == "2026-06-01T09:30:00+00:00"
    assert pd.isna(table["time"].iloc[1])
    assert table["note"].iloc[1] == "bo-1 - <script> & more"


def test_by_hand_far_rows_are_named() -> None:
    places = two_fields().to_crs(32632)
    table = two_fields().set_geometry(two_fields().representative_point())
    rows, cured = distant(table.set_geometry(table.translate(5, 0)), places, beyond_m=50_000)
    assert (rows, cured) == ((1, 2), False)
    near, _ = distant(table, places, beyond_m=50_000)
    assert near == ()


def test_by_hand_swapping_would_cure(tmp_path: Path) -> None:
    path = csv_file(tmp_path / "s.csv", "lon,lat\n49.905,11.505\n11.505,49.905\n")
    rows, cured = distant(finds(path), two_fields().to_crs(32632), beyond_m=50_000)
    assert (rows, cured) == ((1,), True)


def slowly(words: str) -> str:
    """The rule said plainly: of every name that stands in the words, the longest, the first."""
    text = plain_words(words)
    if re.search(r"\b(no|not|none|without|removed|cleared|gone|picked up|taken away)\b", text):
        return UNKNOWN_KIND
    best, length = UNKNOWN_KIND, 0
    for row in TABLES.rows("hazard_kinds"):
        key = row.key.split(".", 1)[1]
        for name in map(plain_words, (key, row.words["label"], *row.words["aliases"].split(";"))):
            if len(name) > length and re.search(rf"\b{re.escape(name)}s?\b", text):
                best, length = key, len(name)
    return best


def a_note(words: str) -> str:
    """The rule said plainly: every character of a note is kept; blanks alone are no note."""
    return "" if words.isspace() else words


@pytest.mark.parametrize(
    ("note", "kept"),
    [("\r", ""), (" \t\n", ""), ("\x85\xa0", ""), ("\x07", "\x07"), (" \x07\r", " \x07\r")],
)
def test_by_hand_blanks_alone_are_no_note_in_any_row(tmp_path: Path, note: str, kept: str) -> None:
    """By hand: the same in a file of its own and beside a row with a note, CSV and GeoJSON."""
    for others in ([], ["fine"]):
        rows = [f'11.5,49.9,stone,"{text}"' for text in (note, *others)]
        text = "\n".join(["lon,lat,kind,note", *rows])
        table = finds(csv_file(tmp_path / f"n{len(others)}.csv", text))
        assert table["note"].tolist() == [kept, *others]
        told = [feature(point(), kind="stone", note=text) for text in (note, *others)]
        table = finds(geojson(tmp_path / f"n{len(others)}.geojson", *told))
        assert table["note"].tolist() == [kept, *others]


NAMES = [
    name for row in TABLES.rows("hazard_kinds")
    for name in (row.words["label"], *row.words["aliases"].split(";"))
]  # fmt: skip


@given(words=st.lists(st.sampled_from([*NAMES, "by", "the", "old", "s", "no"]), max_size=5))
def test_property_one_pass_finds_what_every_name_alone_would(words: list[str]) -> None:
    for between in (" ", "_", "s "):
        assert kind_of(between.join(words), TABLES) == slowly(between.join(words))


@given(words=st.text())
def test_property_kind_of_gives_a_kind_of_the_table(words: str) -> None:
    assert kind_of(words, TABLES) in KINDS


@settings(max_examples=40, deadline=None)
@given(rows=st.lists(st.tuples(WORDS, PLACES), min_size=1, max_size=5))
@example(rows=[("\r", (0.0, 0.0))])
def test_property_csv_round_trip(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[str, tuple[float, float]]]
) -> None:
    path = tmp_path_factory.mktemp("csv") / "any.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["lon", "lat", "kind", "note"])
        writer.writerows([lon, lat, "stone", note] for note, (lon, lat) in rows)
    table = finds(path)
    assert table["note"].tolist() == [a_note(note) for note, _ in rows]
    assert [(shape.x, shape.y) for shape in table.geometry] == [place for _, place in rows]


@settings(max_examples=40, deadline=None)
@given(rows=st.lists(st.tuples(WORDS, PLACES), min_size=1, max_size=5))
def test_property_geojson_round_trip(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[str, tuple[float, float]]]
) -> None:
    path = tmp_path_factory.mktemp("geojson") / "any.geojson"
    geojson(path, *[feature(point(*place), kind="stone", note=note) for note, place in rows])
    assert json.loads(path.read_text("utf-8"))["features"]
    table = finds(path)
    assert table["note"].tolist() == [a_note(note) for note, _ in rows]
    assert [(shape.x, shape.y) for shape in table.geometry] == [place for _, place in rows]
