"""Road checks by hand: what is read, and every fault at once."""

from __future__ import annotations

import pytest

from fieldmap.errors import InputError
from fieldmap.read.road_checks import read_road_checks

HEAD = "place,kind,value,who,when\n"


def write(tmp_path, text):
    file = tmp_path / "road_checks.csv"
    file.write_text(text, encoding="utf-8")
    return file


def test_by_hand_rows_are_read(tmp_path):
    table = read_road_checks(
        write(
            tmp_path, HEAD + "way/12,width,4.1,Ann,2026-05-02\nleg/12-3,mass, 9000 ,Bo,2026-05-03\n"
        )
    )
    assert table["place"].tolist() == ["way/12", "leg/12-3"]
    assert table["value"].tolist() == [4.1, 9000.0]
    assert table["when"].dt.day.tolist() == [2, 3]


def test_by_hand_an_empty_list_is_a_list(tmp_path):
    assert len(read_road_checks(write(tmp_path, HEAD))) == 0


def test_by_hand_every_fault_at_once_with_its_row(tmp_path):
    rows = (
        "road/1,width,4,Ann,2026-05-02",
        "way/1,depth,4,Ann,2026-05-02",
        "way/1,width,wide,Ann,2026-05-02",
        "way/1,width,-1,Ann,2026-05-02",
        "way/1,width,nan,Ann,2026-05-02",
        "way/1,height,4,,2026-05-02",
        "node/1,opening,4,Ann,2.5.2026",
        "way/1",
    )
    with pytest.raises(InputError) as caught:
        read_road_checks(write(tmp_path, HEAD + "\n".join(rows)))
    wheres = [one.where for one in caught.value.faults]
    assert wheres[:7] == [f"road_checks.csv row {n}" for n in range(2, 9)]
    assert wheres[7:] == ["road_checks.csv row 9"] * 3  # kind, who and when are missing


def test_by_hand_missing_columns_are_named(tmp_path):
    with pytest.raises(InputError, match="value, who, when"):
        read_road_checks(write(tmp_path, "place,kind\nway/1,width\n"))
    with pytest.raises(InputError, match="cannot be read"):
        read_road_checks(tmp_path / "none.csv")
