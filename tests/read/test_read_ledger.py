"""The ledger by hand: what is read, how spreadsheets write it, and every fault at once."""

from __future__ import annotations

import math
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.errors import InputError
from fieldmap.read.csv_guard import guarded
from fieldmap.read.ledger import COLUMNS, Known, read_ledger

HEAD = "date,machine,did,field_id,area_ha,note,who\n"
KNOWN = Known(("pull", "rear"), {"A": 4.0, "B": 10.0})


def write(folder: Path, text: str | bytes) -> Path:
    file = folder / "ledger.csv"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return file


def faults(folder: Path, text: str) -> list[tuple[str, str]]:
    with pytest.raises(InputError) as caught:
        read_ledger(write(folder, text), known=KNOWN)
    return [(one.where, one.what) for one in caught.value.faults]


def test_by_hand_rows_are_read_in_their_order(tmp_path: Path) -> None:
    text = (
        f"{HEAD}2026-06-05,pull,mown,B,2.5,east end,Ada\n2026-06-01, pull ,Knives Changed,,,,\n"
        "2026-06-02T17:30,rear,mowed,A,,,\n2026-06-03,pull,mown,,7,a neighbour's,\n"
        "2026-06-04,pull,looked at,,,,\n"
    )
    table, notes = read_ledger(write(tmp_path, text), known=KNOWN)
    assert notes == ()
    assert tuple(table.columns) == COLUMNS
    assert table["did"].tolist() == [
        "mown", "knives changed", "mown", "mown", "knives looked at",
    ]  # fmt: skip
    assert table["date"].dt.day.tolist() == [5, 1, 2, 3, 4]
    assert table["machine"].tolist() == ["pull", "pull", "rear", "pull", "pull"]
    assert table["field_id"].tolist() == ["B", "", "A", "", ""]
    assert table["area_ha"].iloc[0] == 2.5
    assert table["area_ha"].isna().tolist() == [False, True, True, False, True]
    assert (table["note"].iloc[0], table["who"].iloc[0]) == ("east end", "Ada")


def test_by_hand_an_empty_ledger_is_a_ledger(tmp_path: Path) -> None:
    table, notes = read_ledger(write(tmp_path, HEAD), known=KNOWN)
    assert (len(table), notes) == (0, ())
    assert pd.api.types.is_datetime64_dtype(table["date"])


@pytest.mark.parametrize(
    "text",
    [
        "DATE;Machine;Field;did;Area_ha;by;Notes\r\n20.11.2025;pull;B;mown;2,5;Ada;a; \r\n",
        "\ufeffday\tmachine\tdid\tfield\tarea ha\twho\n\n2025-11-20\tpull\tmown\tB\t2.5\tAda\n",
        '"date","machine","did","field_id","area_ha","who"\n11/20/2025,pull,mown,B,"2,5",Ada\n',
    ],
    ids=["semicolons", "tabs and a mark", "quotes"],
)
def test_by_hand_as_spreadsheets_save_it(tmp_path: Path, text: str) -> None:
    table, _ = read_ledger(write(tmp_path, text), known=KNOWN)
    (row,) = table.to_dict("records")
    assert row["date"] == pd.Timestamp("2025-11-20")
    assert (row["machine"], row["did"], row["field_id"]) == ("pull", "mown", "B")
    assert (row["area_ha"], row["who"]) == (2.5, "Ada")


def test_by_hand_utf16_as_a_spreadsheet_saves_unicode_text(tmp_path: Path) -> None:
    text = "date\tmachine\tdid\tfield_id\tnote\r\n2026-06-05\tpull\tmown\tA\tWiese früh\r\n"
    table, _ = read_ledger(write(tmp_path, text.encode("utf-16")), known=KNOWN)
    assert table["note"].tolist() == ["Wiese früh"]
    assert math.isnan(table["area_ha"].iloc[0])


def test_by_hand_every_fault_at_once_with_its_line(tmp_path: Path) -> None:
    rows = (
        "2026-06-05,pull,greased,,,,",
        "6/5/2026,pull,mown,A,,,",
        "2026-06-05,plough,mown,A,,,",
        "2026-06-05,pull,mown,Z,,,",
        "2026-06-05,pull,mown,,,,",
        "2026-06-05,pull,mown,A,lots,,",
        "2026-06-05,pull,mown,A,-1,,",
        "2026-06-05,pull,mown,A,nan,,",
        "2026-06-05,pull,mown,A,9.9,,",
        "2026-06-05,pull,knives changed,,3,,",
        "2062-06-05,pull,mown,A,,,",
        "1962-06-05,pull,mown,A,,,",
        "2026-06-05,pull,mown,A,,a,b,c",
        ",,,,,,x",
    )
    assert faults(tmp_path, HEAD + "\n".join(rows)) == [
        ("ledger.csv line 2", "nothing that is kept here"),
        ("ledger.csv line 3", "a day and month that may be exchanged"),
        ("ledger.csv line 4", "no such machine"),
        ("ledger.csv line 5", "no such field"),
        ("ledger.csv line 6", "mowing without its ground"),
        ("ledger.csv line 7", "an area that is not a number"),
        ("ledger.csv line 8", "not an area"),
        ("ledger.csv line 9", "not an area"),
        ("ledger.csv line 10", "an area that may be acres"),
        ("ledger.csv line 11", "an area on a row about knives"),
        ("ledger.csv line 13", "not a day"),
        ("ledger.csv line 14", "more cells than the first line names"),
        ("ledger.csv line 15", "nothing that is kept here"),
        ("ledger.csv line 15", "not a day"),
        ("ledger.csv line 15", "no machine named"),
    ]


def test_by_hand_acres_of_a_whole_field_are_asked_about(tmp_path: Path) -> None:
    """By hand: 10 ha are 24.7 acres; the field mown one and a half times over may be right."""
    text = f"{HEAD}2026-06-05,pull,mown,B,24.7,,\n"
    assert faults(tmp_path, text) == [("ledger.csv line 2", "an area that may be acres")]
    table, _ = read_ledger(write(tmp_path, text.replace("24.7", "15")), known=KNOWN)
    assert table["area_ha"].tolist() == [15.0]


def test_by_hand_the_head_is_told_whole(tmp_path: Path) -> None:
    assert faults(tmp_path, "machine,day,date,note,Notes\n") == [
        (str(tmp_path / "ledger.csv"), "columns are missing"),
        (str(tmp_path / "ledger.csv"), "two columns that mean the same"),
    ]
    assert faults(tmp_path, "")[0][1] == "columns are missing"


@pytest.mark.parametrize(
    ("held", "said"),
    [
        (b"date,machine,did\n\xff\xfe", "is no utf-8 text"),
        (b"date,machine,did\n\0", "holds a zero"),
        (b'date,machine,did\n"2026', "unexpected end of data"),
    ],
)
def test_by_hand_what_is_no_table_is_refused(tmp_path: Path, held: bytes, said: str) -> None:
    with pytest.raises(InputError, match=said):
        read_ledger(write(tmp_path, held), known=KNOWN)


def test_by_hand_a_file_that_is_a_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="the ledger cannot be read"):
        read_ledger(tmp_path, known=KNOWN)


def test_by_hand_twins_and_unused_columns_are_told(tmp_path: Path) -> None:
    row = "2026-06-05,pull,mown,A,,,,2.5\n"
    table, notes = read_ledger(
        write(tmp_path, HEAD.replace("\n", ",acres\n") + row + row.replace("A,", "B,") + row),
        known=KNOWN,
    )
    assert len(table) == 3
    assert notes[0] == "ledger.csv: columns not used: acres"
    assert notes[1].startswith("ledger.csv: lines 2 and 4 say the same, and both count")
    assert len(notes) == 2


def test_by_hand_without_machines_and_fields_any_may_be_named(tmp_path: Path) -> None:
    file = write(tmp_path, f"{HEAD}2026-06-05,plough,mown,Z,500,,\n")
    table, _ = read_ledger(file, known=Known())
    assert table["machine"].tolist() == ["plough"]


@given(st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=12))
def test_property_a_guarded_note_is_read_as_it_was_written(
    tmp_path_factory: pytest.TempPathFactory, note: str
) -> None:
    """Property: what a spreadsheet would run is kept from it and given back."""
    quoted = guarded(note).replace('"', '""')
    text = f'date,machine,did,note,guard\n2026-06-05,pull,knives turned,"{quoted}",\'\n'
    table, _ = read_ledger(write(tmp_path_factory.mktemp("n"), text), known=KNOWN)
    assert table["note"].iloc[0] == note.strip()
