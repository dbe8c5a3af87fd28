"""Road checks by hand: what is read, and every fault at once."""

from __future__ import annotations

from datetime import date

import pytest

from fieldmap.errors import InputError
from fieldmap.read.road_checks import Known, read_road_checks
from fieldmap.read.road_kinds import KINDS, sort_of
from fieldmap.roads.measured import KINDS as LAID

HEAD = "place,kind,value,who,when\n"
WIDE = "place,kind,value,unit,who,when,machine,note\n"


def write(tmp_path, text):
    file = tmp_path / "road_checks.csv"
    file.write_text(text, encoding="utf-8")
    return file


def faults(tmp_path, *rows, head=WIDE, known=None):
    with pytest.raises(InputError) as caught:
        read_road_checks(
            write(tmp_path, head + "\n".join(rows)), **({} if known is None else {"known": known})
        )
    return [(one.where.rpartition(" ")[2], one.what) for one in caught.value.faults]


def test_by_hand_rows_are_read(tmp_path):
    table = read_road_checks(
        write(
            tmp_path, HEAD + "way/12,width,4.1,Ann,2026-05-02\nleg/12-3,mass, 9000 ,Bo,2026-05-03\n"
        )
    )
    assert table["place"].tolist() == ["way/12", "leg/12-3"]
    assert table["value"].tolist() == [4.1, 9000.0]
    assert table["when"].dt.day.tolist() == [2, 3]
    assert table["machine"].tolist() == ["", ""]


#: A place, a figure as it is written and what it is inside (m, kg; 1 is yes).
EVERY_KIND = {
    "width": ("way/1", "13.5,ft", 4.1148),
    "opening": ("node/1", "16,ft", 4.8768),
    "height": ("leg/1-0", "162,in", 4.1148),
    "width_limit": ("way/1", "3.2,m", 3.2),
    "height_limit": ("way/1", "3.8,", 3.8),
    "length_limit": ("way/1", "12,", 12.0),
    "mass": ("way/1", "8,t", 8000.0),
    "axle": ("way/1", "16000,lb", 7257.47792),
    "access": ("node/1", "yes,", 1.0),
    "ford": ("way/1", "No,", 0.0),
    "surface": ("way/1", "y,", 1.0),
    "turn": ("turn/1-0/2-3", "yes,", 1.0),
    "grade": ("leg/1-0", "no,", 0.0),
}


def test_by_hand_every_kind_in_its_units(tmp_path):
    rows = "".join(
        f"{place},{kind},{figure},Ann,2026-05-02,m,\n"
        for kind, (place, figure, _) in EVERY_KIND.items()
    )
    table = read_road_checks(write(tmp_path, WIDE + rows))
    assert table["kind"].tolist() == list(KINDS) == list(EVERY_KIND)
    assert table["value"].tolist() == pytest.approx([one for *_, one in EVERY_KIND.values()])


def test_by_hand_what_is_read_is_what_is_laid():
    assert set(KINDS) == set(LAID)


def test_by_hand_another_programs_manner(tmp_path):
    """By hand: semicolons, a decimal comma, another order, a mark, an own column, a guard."""
    text = "Kind;By;Place;Day;Figure;Units;weather;guard\nwidth;'=Ann;way/12;20.5.2026;4,1;m;wet;'"
    file = tmp_path / "road_checks.csv"
    file.write_bytes(b"\xef\xbb\xbf" + text.encode())
    (row,) = read_road_checks(file).to_dict("records")
    assert (row["place"], row["kind"], row["value"], row["who"]) == ("way/12", "width", 4.1, "=Ann")
    assert row["when"].date() == date(2026, 5, 20)


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
    found = faults(tmp_path, *rows, head=HEAD)
    assert [row for row, _ in found[:7]] == [str(n) for n in range(2, 9)]
    assert [row for row, _ in found[7:]] == ["9"] * 3  # kind, who and when are missing


@pytest.mark.parametrize(
    ("row", "what"),
    [
        ("way/1,width,8,,A,2026-05-02,,", "may not be in m"),  # 8 ft would be 2.4 m
        ("way/1,length_limit,40,,A,2026-05-02,,", "may not be in m"),
        ("way/1,axle,9,,A,2026-05-02,,", "may not be in kg"),
        ("way/1,width,4,t,A,2026-05-02,,", "not a unit for a width"),
        ("way/1,width,400,ft,A,2026-05-02,,", "not a width in ft"),
        ('way/1,width,"1,250",m,A,2026-05-02,,', "thousands"),
        ("way/1,access,4.2,,A,2026-05-02,,", "neither yes nor no"),
        ("way/1,access,yes,m,A,2026-05-02,,", "a unit for a yes or no"),
        ("node/1,surface,yes,,A,2026-05-02,,", "no use for"),
        ("way/1,turn,yes,,A,2026-05-02,m,", "no use for"),
        ("turn/1-0/2-0,width,4,m,A,2026-05-02,,", "no use for"),
        ("turn/1-0/2-0,turn,yes,,A,2026-05-02,,", "no machine named"),
        ("leg/1-0,grade,yes,,A,2026-05-02,,", "no machine named"),
        ("leg/1-0,grade,yes,,A,2026-05-02,other,", "no such machine"),
        ("leg/1-0,grade,yes,,A,2026-05-02,m/flat,", "no such machine"),
        ("way/1,width,4,m,A,2026-06-02,,", "has not come yet"),
        ("way/1,width,4,m,A,1026-06-02,,", "not a day"),
    ],
)
def test_by_hand_one_fault_a_row(tmp_path, row, what):
    known = Known(("m", "m/folded"), date(2026, 6, 1))
    ((number, told),) = faults(tmp_path, row, known=known)
    assert number == "2"
    assert what in told


@pytest.mark.parametrize(
    "row",
    ["leg/1-0,grade,no,,A,2026-05-02,,", "turn/1-0/2-0,turn,yes,,A,2026-06-01,m/folded,"],
)
def test_by_hand_what_needs_no_more(tmp_path, row):
    """By hand: a no holds for every machine; a state may be named."""
    known = Known(("m", "m/folded"), date(2026, 6, 1))
    assert len(read_road_checks(write(tmp_path, WIDE + row), known=known)) == 1


def test_by_hand_missing_columns_are_named(tmp_path):
    with pytest.raises(InputError, match="value, who, when"):
        read_road_checks(write(tmp_path, "place,kind\nway/1,width\n"))
    with pytest.raises(InputError, match="cannot be read"):
        read_road_checks(tmp_path / "none.csv")


def test_by_hand_columns_that_would_mislead(tmp_path):
    """By hand: feet in a column that is not read, two columns for one, a decimal comma cut up."""
    row = "way/1,width,4,A,2026-05-02"
    assert faults(tmp_path, row + ",ft", head="place,kind,value,who,when,unit of it\n")[0][1] == (
        "not our column for units"
    )
    told = faults(tmp_path, row + ",A", head="place,kind,value,who,when,By\n")
    assert told[0][1] == "two columns that mean the same"
    assert "more cells" in faults(tmp_path, "way/1,width,A,2026-05-02,4,2", head=HEAD)[0][1]


@pytest.mark.parametrize("place", ["way/", "way/-1", "Way/1", "leg/1", "node/1-0", "turn/1-0", ""])
def test_by_hand_no_place(place):
    assert sort_of(place) == ""
