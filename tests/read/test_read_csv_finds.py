"""CSV as people keep it: other names, other decimal signs, dates that could be two, shapes."""

from __future__ import annotations

import math
import time
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from fieldmap.errors import Fault, InputError
from fieldmap.read.cells import CellError, figure, moment
from fieldmap.read.finds import read_finds
from fieldmap.read.vectors import Layer
from fieldmap.tables import load_tables

TABLES = load_tables()
CHICAGO = ZoneInfo("America/Chicago")


def layer(tmp_path: Path, text: str, encoding: str = "utf-8", **options: object) -> Layer:
    path = tmp_path / "f.csv"
    path.write_bytes(text.encode(encoding))
    return read_finds(path, tables=TABLES, zone=CHICAGO, **options)


def faults(tmp_path: Path, text: str, encoding: str = "utf-8") -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        layer(tmp_path, text, encoding)
    assert all(fault.mend and fault.why and fault.value for fault in caught.value.faults)
    return caught.value.faults


def test_by_hand_the_plain_names_people_give_columns(tmp_path: Path) -> None:
    text = (
        "LNG,Latitude,What,Remarks,Reported by,Date,Time,Accuracy (m),Height,Heading_deg,plot\n"
        "-92.93,40.62,old wire,by the gate,Ines,2026-06-01,09:30,5,0.3,360,7\n"
    )
    table, notes = layer(tmp_path, text)
    row = table.iloc[0]
    assert (row["kind"], row["note"], row["who"]) == (
        "loose_wire",
        "old wire - by the gate",
        "Ines",
    )
    assert row["time"].isoformat() == "2026-06-01T14:30:00+00:00"
    factor = TABLES.number("looking.accuracy_factor")
    assert row["radius_m"] == pytest.approx(5 * factor)
    assert (row["height_m"], row["heading_deg"], row["photo"]) == (0.3, 0.0, b"")
    assert "f.csv: columns not used: plot" in notes
    assert f"f.csv: 1 x accuracy times {factor:g} taken as the 95 % radius" in notes
    assert "f.csv: 1 times without a zone taken as America/Chicago time" in notes


def test_by_hand_a_radius_wins_over_an_accuracy_and_zero_accuracy_is_unknown(
    tmp_path: Path,
) -> None:
    text = "lon,lat,radius_m,accuracy\n-92,40,3,5\n-92,40,,0\n-92,40,,\n"
    table, notes = layer(tmp_path, text)
    assert table["radius_m"].iloc[0] == 3
    assert table["radius_m"].iloc[1:].isna().all()
    assert not any("accuracy" in note for note in notes)


def test_by_hand_two_columns_of_one_meaning(tmp_path: Path) -> None:
    (fault,) = faults(tmp_path, "lon,lat,note,Remarks\n-92,40,a,b\n")
    assert fault.value == "note, Remarks"
    (fault,) = faults(tmp_path, "lon,longitude,lat\n-92,-92,40\n")
    assert fault.value == "lon, longitude"
    table, _ = layer(tmp_path, "lon,lat,note,Remarks\n-92,40,,b\n")  # an empty column is none
    assert table["note"].tolist() == ["b"]


@pytest.mark.parametrize("text", ["lon;lat;radius_m\n-92,93;40,62;2,5\n",
                                  'lon,lat,radius_m\n"-92,93","40,62","2,5"\n',
                                  "lon\tlat\tradius_m\n-92,93\t40,62\t2,5\n"])  # fmt: skip
def test_by_hand_decimal_commas(tmp_path: Path, text: str) -> None:
    table, _ = layer(tmp_path, text)
    assert (table.geometry.iloc[0].x, table.geometry.iloc[0].y) == (-92.93, 40.62)
    assert table["radius_m"].tolist() == [2.5]


def test_by_hand_figures_that_may_be_thousands(tmp_path: Path) -> None:
    text = "lon;lat;radius_m;height_m\n-92,936;40,623;1,250;0,125\n-92;40;1.250,5;1_0\n"
    found = faults(tmp_path, text)
    assert [fault.value for fault in found] == ["1,250", "1.250,5", "1_0"]
    assert "thousands" in found[0].what
    assert math.isnan(figure(" "))
    assert figure("0,125") == 0.125
    with pytest.raises(CellError):
        figure(True)


def test_by_hand_figures_out_of_range_are_named_by_their_line(tmp_path: Path) -> None:
    text = "lon,lat,radius_m,height_m,heading_deg\n-92,40,inf,-1,\n-92,40,3,0.1,361\n"
    found = faults(tmp_path, text)
    assert [(fault.value, fault.where) for fault in found] == [
        ("inf", "f.csv line 2"), ("-1", "f.csv line 2"), ("361", "f.csv line 3"),
    ]  # fmt: skip


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig"])
@pytest.mark.parametrize("order", ["utf-16-le", "utf-16-be"])
def test_by_hand_byte_order_marks(tmp_path: Path, encoding: str, order: str) -> None:
    text = "lon,lat,note\n-92,40,Grünland\n"
    used = order if encoding == "utf-16" else "utf-8-sig"
    mark = "\ufeff" if encoding == "utf-16" else ""
    assert layer(tmp_path, mark + text, used).table["note"].tolist() == ["Grünland"]


def test_by_hand_utf_16_cut_in_half_and_binary(tmp_path: Path) -> None:
    path = tmp_path / "f.csv"
    for held in ("lon,lat\n-92,40\n".encode("utf-16")[:-1], b"lon,lat\n\0\0\1\2", b"\x89\xff\xfe"):
        path.write_bytes(held)
        with pytest.raises(InputError, match="not UTF-8"):
            read_finds(path, tables=TABLES)


def test_by_hand_minutes_and_seconds_are_shown(tmp_path: Path) -> None:
    cell = '"40°37\'26.5""N 92°55\'54""W"'
    text = "position,kind\n" + f"{cell},stone\n" * 7
    table, notes = layer(tmp_path, text)
    assert table.geometry.iloc[0].y == pytest.approx(40.6240278, abs=1e-7)
    assert table.geometry.iloc[0].x == pytest.approx(-92.9316667, abs=1e-7)
    shown = [note for note in notes if "read as" in note or "more like it" in note]
    assert shown[0].startswith("f.csv line 2: 40°37'26.5\"N 92°55'54\"W read as 40.624028, -92.93")
    assert len(shown) == 6
    assert shown[-1] == "f.csv: and 2 more like it"


def test_by_hand_minutes_in_two_columns(tmp_path: Path) -> None:
    table, notes = layer(tmp_path, "lat,lon\n40 37.5 N,92 30 W\n40.5,-92.25\n")
    assert [(shape.x, shape.y) for shape in table.geometry] == [(-92.5, 40.625), (-92.25, 40.5)]
    assert "f.csv line 2: 40 37.5 N read as 40.625000" in notes
    assert "f.csv line 2: 92 30 W read as -92.500000" in notes


def test_by_hand_swapping_leaves_what_names_its_hemisphere(tmp_path: Path) -> None:
    table, _ = layer(tmp_path, "lat,lon\n40 37.5 N,92 30 W\n-92.5,40.625\n", swap_xy=True)
    assert [(shape.x, shape.y) for shape in table.geometry] == [(-92.5, 40.625)] * 2


def test_by_hand_swapping_with_rows_that_have_no_place(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        layer(tmp_path, "lon,lat\n40,-92\nhere,there\n", swap_xy=True)
    assert [fault.where for fault in caught.value.faults] == ["f.csv line 3"]


def test_by_hand_positions_that_are_refused_all_at_once(tmp_path: Path) -> None:
    text = (
        "lat,lon\n40°75'N,92°W\n92°W,40°N\n91,10\n40,\nNaN,10\n40 37 26s,92 W\n40.5,-92.5\n"
        "100°00'N,10\n"
    )
    found = faults(tmp_path, text)
    assert sorted(fault.where for fault in found) == [
        f"f.csv line {n}" for n in (2, 3, 4, 5, 6, 7, 9)
    ]
    assert "60 or more minutes" in found[0].what
    assert found[0].value == "92°W, 40°75'N"


def test_by_hand_metres_of_no_system(tmp_path: Path) -> None:
    (fault,) = faults(tmp_path, "Easting,Northing,kind\n506000,4497000,stone\n")
    assert fault.value == "Easting, Northing"
    assert "WGS 84" in fault.mend
    table, _ = layer(tmp_path, "Easting,Northing,lon,lat\n506000,4497000,-92.9,40.6\n")
    assert table.geometry.iloc[0].x == -92.9


def test_by_hand_shapes_beside_points(tmp_path: Path) -> None:
    text = (
        "lon,lat,wkt,kind\n-92,40,,stone\n"
        ',,"LINESTRING Z (-92 40 5, -92.1 40 5)",wire\n'
        '-92,40,"GEOMETRYCOLLECTION (POLYGON ((-92 40, -92.1 40, -92 40.1, -92 40)))",silt\n'
    )
    table, _ = layer(tmp_path, text)
    assert table.geometry.geom_type.tolist() == ["Point", "LineString", "Polygon"]
    assert not table.geometry.has_z.any()
    alone, _ = layer(tmp_path, "wkt\nPOINT (-92 40)\n")
    assert alone.geometry.iloc[0].x == -92


def test_by_hand_shapes_that_are_none(tmp_path: Path) -> None:
    text = (
        'wkt\n"LINESTRING (-92 40"\nPOINT EMPTY\nPOINT (-92 91)\n"SRID=4326;POINT (1 2)"\n'
        '"GEOMETRYCOLLECTION (POINT (1 2), LINESTRING (1 2, 3 4))"\nPOINT (inf 4)\n'
    )
    found = faults(tmp_path, text)
    assert sorted(fault.where for fault in found) == [f"f.csv line {n}" for n in range(2, 8)]
    assert any("points, lines and areas in one find" in fault.what for fault in found)


@pytest.mark.parametrize(
    ("written", "mend"),
    [
        ("03/04/2026", "2026-03-04 or 2026-04-03"),
        ("31.02.2026", "write it as"),
        ("31.13.2026", "write year, month, day"),
        ("1.6.2026 09:30", "2026-01-06 or 2026-06-01"),
        ("03/04/26", "write year, month, day"),
        ("1712010600000", "write it as"),
        ("2026-02-30", "write it as"),
        ("2026-06", "write it as"),
        ("09:30", "write it as"),
    ],
)
def test_by_hand_days_that_are_not_guessed(tmp_path: Path, written: str, mend: str) -> None:
    (fault,) = faults(tmp_path, f"lon,lat,time\n-92,40,{written}\n")
    assert mend in fault.mend
    assert fault.value == written


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("20.11.2026", "2026-11-20T00:00:00"),
        ("25/12/2026", "2026-12-25T00:00:00"),
        ("12/25/2026", "2026-12-25T00:00:00"),
        ("6.6.2026", "2026-06-06T00:00:00"),
        ("20.11.2026 9:30", "2026-11-20T09:30:00"),
        ("20-11-2026T09:30:15Z", "2026-11-20T09:30:15+00:00"),
    ],
)
def test_by_hand_days_that_can_be_only_one(written: str, read: str) -> None:
    """By hand: no month has a number over 12, and of two equal numbers either is the month."""
    assert moment(written).isoformat() == read  # type: ignore[union-attr]


def test_by_hand_times_that_are_read() -> None:
    for text in ("2026-06-01T09:30:00-05:00", "2026-06-01 09:30:00.5+00", "20260601T093000Z"):
        assert moment(text).tzinfo is not None  # type: ignore[union-attr]
    assert moment("2026/06/01").isoformat() == "2026-06-01T00:00:00"  # type: ignore[union-attr]
    assert moment("9:30", "2026-06-01").hour == 9  # type: ignore[union-attr]
    assert moment("2026-06-01T09:30", "2026-06-01").minute == 30  # type: ignore[union-attr]
    assert moment("", "2026-06-01T09:30").hour == 9  # type: ignore[union-attr]
    with pytest.raises(CellError, match="different days"):
        moment("2026-06-02T09:30", "2026-06-01")


def test_by_hand_ten_thousand_faults_are_counted(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        layer(tmp_path, "lon,lat\n" + "east,north\n" * 10_000)
    assert len(caught.value.faults) == 10_000
    assert str(caught.value).count("\n") == 50


def test_by_hand_ten_thousand_rows_of_ten_thousand_words(tmp_path: Path) -> None:
    """By hand: reading is linear; a second's work is given eight before it counts as broken."""
    rows = (f"-92.{n:05d},40.6,old fence wire {n} by post,n{n},2026-06-01" for n in range(10_000))
    start = time.perf_counter()
    table, notes = layer(tmp_path, "lon,lat,kind,note,time\n" + "\n".join(rows) + "\n")
    assert time.perf_counter() - start < 8
    assert (table["kind"] == "loose_wire").all()
    assert len(notes) < 60
