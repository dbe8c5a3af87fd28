"""What every row of every table must hold, whatever it says."""

from __future__ import annotations

import csv
import math
import re
from importlib import resources

import pytest

from fieldmap.tables import Constant, load_tables
from fieldmap.tables.loader import FARM_SOURCE
from fieldmap.units import shown

MARKS = {"seen", "secondary", "memory", "computed", "own", "practice"}
UNITS = {
    "", "m", "m cut", "m gap", "m2", "kg", "%", "deg", "count", "days", "h", "s", "ha", "N", "km/h",
    "/ha", "t/ha per cm", "t/ha", "t", "money", "money/t", "things", "ha/h", "kPa", "kW", "kW/m",
    "points", "points per cm", "min",
}  # fmt: skip
COLUMNS = ["key", "value", "low", "high", "unit", "source", "place", "note"]
ROWS = list(load_tables().constants.values())
FILES = sorted(
    (
        entry
        for entry in resources.files("fieldmap.tables").iterdir()
        if entry.name.endswith(".csv")
    ),
    key=lambda entry: entry.name,
)


def _cited(row: Constant) -> set[str]:
    """The row's source and those behind its caution."""
    return {row.source, *filter(None, row.words.get("caution_source", "").split(";"))}


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_a_file_begins_with_the_contract_columns_and_its_rows_fit_them(file):
    """By hand: the columns that the design names, in their order, and no cell left over."""
    header, *lines = csv.reader(file.read_text("utf-8").splitlines())
    assert header[: len(COLUMNS)] == COLUMNS
    assert len(set(header)) == len(header)
    assert lines
    assert [line[0] for line in lines if len(line) != len(header)] == []


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_a_key_is_a_plain_word_and_stands_once(file):
    """By hand: keys are what code and farm folders write."""
    keys = [line["key"] for line in csv.DictReader(file.read_text("utf-8").splitlines())]
    assert len(set(keys)) == len(keys)
    assert [key for key in keys if not re.fullmatch(r"[a-z][a-z0-9_]*", key)] == []


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.key)
def test_a_row_names_its_source_and_the_place_in_it(row):
    """By hand: no figure stands without one."""
    assert _cited(row) <= set(load_tables().sources)
    assert len(row.place) > 5


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.key)
def test_what_is_recalled_or_habit_or_our_own_says_so_in_its_place(row):
    """By hand: a reader of one row must see what it rests on."""
    say = {"memory": "from memory", "practice": "common practice", "own": "own "}
    mark = load_tables().sources[row.source].mark
    assert say.get(mark, "") in row.place


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.key)
def test_figures_are_finite_and_in_order(row):
    """By hand: low <= value <= high; a range has a value inside it."""
    figures = [figure for figure in (row.low, row.value, row.high) if figure is not None]
    assert all(math.isfinite(figure) and figure >= 0 for figure in figures)
    assert figures == sorted(figures)
    assert row.value is not None or not figures


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.key)
def test_a_unit_is_one_of_the_few_and_can_be_shown(row):
    """By hand: SI inside; no inch, foot or pound may enter a table."""
    assert row.unit in UNITS
    if row.value is not None:
        assert shown(row.value, row.unit, "us") != "unknown"


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.key)
def test_no_row_promises_anything(row):
    """By hand: the tool never says safe."""
    text = " ".join([row.note, row.place, *row.words.values()])
    assert not re.search(r"\b(safe|safely|harmless|guaranteed?)\b", text, re.IGNORECASE)


def test_every_source_is_used():
    """By hand: the farm's own source is the one the loader hands out, all others stand in a row."""
    used = set().union(*(_cited(row) for row in ROWS))
    assert set(load_tables().sources) - used == {FARM_SOURCE}


def test_the_special_sources_are_there():
    """By hand: the four that are not a publication, each with its own mark."""
    marks = {key: load_tables().sources[key].mark for key in ("own", "memory", "practice", "farm")}
    assert marks == {"own": "own", "memory": "memory", "practice": "practice", "farm": "own"}


@pytest.mark.parametrize("source", load_tables().sources.values(), ids=lambda source: source.key)
def test_a_source_can_be_looked_up(source):
    """By hand: a page that was seen has an address and a publisher; a year is a year."""
    assert source.mark in MARKS
    assert source.title
    assert re.fullmatch(r"(|(19|20)\d\d)", source.year)
    assert re.fullmatch(r"(|https?://\S+)", source.url)
    if source.mark == "seen":
        assert source.url
        assert source.publisher
