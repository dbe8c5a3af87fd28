"""The loader: the farm's figures win and say so; what is wrong is refused, all at once."""

from __future__ import annotations

import shutil
from importlib import resources
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.errors import InputError, MisuseError
from fieldmap.tables import load_tables, loader

TABLES = load_tables()
FIGURES = sorted(key for key, row in TABLES.constants.items() if row.value is not None)
KINDS = sorted(row.key for row in TABLES.rows("hazard_kinds"))
WORDS_ONLY = sorted(key for key, row in TABLES.constants.items() if row.value is None)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A copy of the tables that a test may spoil; the loader reads it."""
    shipped = resources.files("fieldmap.tables")
    for entry in shipped.iterdir():
        if entry.name.endswith((".csv", ".toml")):
            shutil.copy(Path(str(entry)), tmp_path / entry.name)
    monkeypatch.setattr(loader, "resources", SimpleNamespace(files=lambda _package: tmp_path))
    return tmp_path


def _append(file, line):
    with file.open("a", encoding="utf-8") as out:
        out.write(line + "\n")


def _load():
    return loader.load_tables.__wrapped__()


def test_the_farms_own_figure_wins_and_is_marked():
    """By hand: value, source and mark change; the shipped tables do not."""
    own = TABLES.with_overrides({"clearances.side_m": 0.75}, where="farm.toml")
    row = own["clearances.side_m"]
    assert (row.number(), row.source, row.place, row.overridden) == (
        0.75,
        "farm",
        "farm.toml",
        True,
    )
    assert (row.low, row.high, row.unit) == (None, None, "m")
    assert own.source_of("clearances.side_m", "clearances.snap_m") == ("farm", "own")
    assert TABLES.number("clearances.side_m") == 0.5
    assert not TABLES["clearances.side_m"].overridden


def test_an_override_keeps_the_words_of_its_row():
    """By hand: a farm's own height for wire leaves it wire."""
    own = TABLES.with_overrides({"hazard_kinds.loose_wire": 0.2})
    assert own["hazard_kinds.loose_wire"].words == TABLES["hazard_kinds.loose_wire"].words


@given(key=st.sampled_from(FIGURES), figure=st.floats(0, 1e6) | st.integers(0, 10**6))
def test_any_finite_figure_may_be_overridden_and_nothing_else_moves(key, figure):
    """Property: one row changes, all others are the shipped ones, order and all."""
    own = TABLES.with_overrides({key: figure})
    assert own.number(key) == float(figure)
    assert list(own.constants) == list(TABLES.constants)
    changed = [k for k, row in own.constants.items() if row != TABLES.constants[k]]
    assert changed == [key]
    assert [k for k, row in own.constants.items() if row.overridden] == [key]


@given(
    row=st.sampled_from(KINDS),
    column=st.sampled_from(["sweep_short_m", "sweep_tall_m"]),
    figure=st.floats(0, 1e6) | st.integers(0, 10**6),
    nested=st.booleans(),
)
def test_a_column_of_metres_may_be_overridden_and_nothing_else_moves(row, column, figure, nested):
    """Property: one cell of one row changes; the row says whose it is, and what it was from."""
    table, name = row.split(".")
    spelt = {table: {name: {column: figure}}} if nested else {f"{row}.{column}": figure}
    own = TABLES.with_overrides(spelt)
    changed, was = own[row], TABLES[row]
    assert float(changed.words[column]) == float(figure)
    assert {key: held for key, held in changed.words.items() if key != column} == {
        key: held for key, held in was.words.items() if key != column
    }
    assert (changed.value, changed.low, changed.high) == (was.value, was.low, was.high)
    assert (changed.source, changed.overridden) == ("farm", True)
    assert column in changed.place
    assert was.place in changed.place
    assert [key for key, held in own.constants.items() if held != TABLES.constants[key]] == [row]


@pytest.mark.parametrize(
    ("key", "near"),
    [
        ("hazard_kinds.stone.sweep_tal_m", "hazard_kinds.stone.sweep_tall_m"),
        ("hazard_kinds.stone.label", ""),
        ("hazard_kinds.stone.moves_in_flood", ""),
        ("hazard_kinds.stone.sweep_tall", ""),
        ("hazard_kinds.stoone.sweep_tall_m", "hazard_kinds.stone.sweep_tall_m"),
        ("hazard_kinds.stone.high", ""),
        ("looking.valid_days.sweep_tall_m", ""),
    ],
)
def test_columns_of_words_and_columns_that_are_not_there_are_refused(key, near):
    """By hand: only what is in metres is a figure; a slip is answered with what was meant."""
    with pytest.raises(InputError) as caught:
        TABLES.with_overrides({key: 4})
    (fault,) = caught.value.faults
    assert (fault.what, fault.value) == ("override of an unknown trade constant", key)
    assert near in fault.mend


def test_a_column_that_is_no_figure_is_refused_in_metres_and_height_and_width_go_together():
    """By hand: the unit of the column; and a kind's height and sweep width in one file."""
    with pytest.raises(InputError) as caught:
        TABLES.with_overrides({"hazard_kinds.stone.sweep_tall_m": "wide"})
    assert caught.value.faults[0].mend == "give a number in m"
    own = TABLES.with_overrides({"hazard_kinds.stone.sweep_tall_m": 4, "hazard_kinds.stone": 0.2})[
        "hazard_kinds.stone"
    ]
    assert (own.value, float(own.words["sweep_tall_m"]), own.overridden) == (0.2, 4.0, True)


@given(
    key=st.sampled_from(FIGURES),
    given_value=st.sampled_from(
        [float("nan"), float("inf"), -float("inf"), True, "12 ft", None, [1.0], {"value": 1.0}]
    ),
)
def test_what_is_no_figure_is_refused_with_key_and_unit(key, given_value):
    """Property: NaN, infinities, truth values and words never become a limit."""
    with pytest.raises(InputError) as caught:
        TABLES.with_overrides({key: given_value})
    (fault,) = caught.value.faults
    assert key in fault.what
    assert (TABLES[key].unit or "plain units") in fault.mend
    assert "[tables]" in fault.where


def test_all_bad_overrides_are_told_at_once_and_the_good_one_does_not_hide_them():
    """By hand: three faults in one error, in the order they stand."""
    with pytest.raises(InputError) as caught:
        TABLES.with_overrides(
            {
                "clearances.side_mm": 1.0,
                "side_slopes.stop_pct": float("nan"),
                "clearances.snap_m": 200,
                "terrain.break_1": "steep",
            }
        )
    faults = caught.value.faults
    assert len(faults) == 3
    assert (faults[0].value, "clearances.side_m" in faults[0].mend) == ("clearances.side_mm", True)
    assert ["stop_pct" in faults[1].what, "break_1" in faults[2].what] == [True, True]


@pytest.mark.parametrize("key", WORDS_ONLY)
def test_a_row_of_words_has_no_figure_to_ask_for_or_override(key):
    """By hand: asking is an error, never a nought."""
    with pytest.raises(ValueError, match="has no value"):
        TABLES.number(key)
    with pytest.raises(InputError):
        TABLES.with_overrides({key: 1.0})


@pytest.mark.parametrize("key", FIGURES)
def test_a_slip_of_the_pen_is_answered_with_the_key_that_was_meant(key):
    """Property over all keys: the last letter struck twice."""
    slip = key + key[-1]
    if slip in TABLES.constants:
        pytest.fail(f"{slip} and {key} differ in one letter only")
    with pytest.raises(MisuseError) as caught:
        TABLES[slip]
    assert key in caught.value.faults[0].mend


def test_a_key_like_no_other_points_at_the_list_of_values():
    """By hand."""
    with pytest.raises(MisuseError, match="fieldmap values"):
        TABLES["zzzzzzzz"]


def test_tables_are_read_once():
    """By hand: the same object comes back."""
    assert load_tables() is load_tables()


def test_rows_of_one_table_come_in_the_order_of_the_file(folder):
    """By hand: the first columns of the file, and no rows of a table with a longer name."""
    lines = (folder / "looking.csv").read_text("utf-8").splitlines()[1:]
    keys = [row.key for row in _load().rows("looking")]
    assert keys == [f"looking.{line.split(',')[0]}" for line in lines]
    assert list(_load().rows("look")) == []


def test_a_new_kind_is_one_row(folder):
    """By hand: a newcomer's row is there with all its words, and nothing else was touched."""
    before = len(list(_load().rows("hazard_kinds")))
    _append(
        folder / "hazard_kinds.csv",
        "beehive,0.5,0.3,0.8,m,own,own estimate,,bee hive,hive;bees,people,point,keep out,stop,"
        "landowner,no,yes,no,30,25,yes,,Leave it to its owner.,memory",
    )
    row = _load()["hazard_kinds.beehive"]
    assert len(list(_load().rows("hazard_kinds"))) == before + 1
    assert (row.low, row.value, row.high) == (0.3, 0.5, 0.8)
    assert (row.words["label"], row.words["aliases"]) == ("bee hive", "hive;bees")
    assert row.words["endangers"] == "people"
    assert (row.words["sweep_tall_m"], row.words["caution_source"]) == ("25", "memory")


def test_rows_without_a_source_and_keys_that_stand_twice_are_told_together(folder):
    """By hand: both faults with file and line."""
    _append(folder / "looking.csv", "new_figure,1,,,m,hearsay,somewhere,")
    _append(folder / "looking.csv", "valid_days,9,,,days,own,own default,")
    with pytest.raises(InputError) as caught:
        _load()
    unsourced, twice = caught.value.faults
    last = len((folder / "looking.csv").read_text("utf-8").splitlines())
    assert (unsourced.value, unsourced.where) == ("hearsay", f"looking.csv line {last - 1}")
    assert (twice.value, twice.where) == ("looking.valid_days", f"looking.csv line {last}")


def test_a_figure_that_is_no_number_is_refused_by_its_key(folder):
    """By hand: a unit written into the cell."""
    rows = len((folder / "looking.csv").read_text("utf-8").splitlines())
    _append(folder / "looking.csv", "walk,3 m,,,m,own,own default,")
    with pytest.raises(InputError) as caught:
        _load()
    assert (caught.value.faults[0].value, caught.value.faults[0].where) == (
        "3 m",
        f"looking.csv line {1 + rows}",
    )
