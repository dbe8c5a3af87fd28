"""The knives' hectares and hits: counted by hand, and never less by what is added."""

from __future__ import annotations

import math

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_fields import TABLES, mower
from small_ledgers import AREA_OF, DAY, NO_HITS, Row, book, hits

from fieldmap.advice.knife_change import (
    HITS_SINCE,
    MOWN_SINCE,
    KnifeState,
    knife_change_findings,
    knife_state,
)
from fieldmap.finding import Finding, Level, rank, worst
from fieldmap.machine import Machine

OWNER = {"knife_interval_ha": 20.0, "knife_interval_strikes": 3}


def state(rows: pd.DataFrame, struck: pd.DataFrame | None = NO_HITS, name: str = "m") -> KnifeState:
    found = knife_state(name, rows, struck, day=DAY, area_of=AREA_OF)
    assert found is not None
    return found


def findings(
    rows: pd.DataFrame | None,
    struck: pd.DataFrame | None = NO_HITS,
    machine: Machine | None = None,
) -> dict[str, Finding]:
    told = knife_change_findings(
        machine or mower(**OWNER), rows, struck, day=DAY, area_of=AREA_OF, tables=TABLES
    )
    return {one.finding.what: one.finding for one in told}


def level(*given_: object, **more: object) -> Level:
    return worst(one.level for one in findings(*given_, **more).values())  # type: ignore[arg-type]


def test_hectares_since_the_last_change_or_turning_by_hand() -> None:
    """By hand: 4 before the turning; after it the whole of B, 2.5 of C, 3 elsewhere."""
    rows = book(
        (1, "m", "changed"), (2, "m", "mown", "A"), (3, "m", "turned"), (4, "m", "mown", "B"),
        (5, "m", "mown", "C", 2.5), (6, "m", "mown", "", 3.0), (6, "n", "mown", "C"),
    )  # fmt: skip
    found = state(rows)
    assert (found.did, found.day.day, found.mown_ha) == ("knives turned", 3, 15.5)
    assert state(rows.iloc[::-1]).mown_ha == 15.5
    assert knife_state("n", rows, NO_HITS, day=DAY, area_of=AREA_OF) is None


def test_later_days_do_not_count_and_are_told_by_hand() -> None:
    """By hand: asked about the 3rd, only the 2nd counts."""
    rows = book((1, "m", "changed"), (2, "m", "mown", "A"), (4, "m", "mown", "B"))
    third = DAY.replace(day=3)
    found = knife_state("m", rows, hits((5, ("A",))), day=third, area_of=AREA_OF)
    assert found is not None
    assert (found.mown_ha, found.hits, found.later) == (4.0, 0, 1)


@pytest.mark.parametrize(
    ("rows", "mown_ha"),
    [
        ([(1, "m", "changed"), (5, "m", "mown", "A"), (5, "m", "changed"), (6, "m", "mown", "C")],
         6),
        ([(1, "m", "changed"), (5, "m", "changed"), (5, "m", "mown", "A"), (6, "m", "mown", "C")],
         10),
        # written the newest first, or late: the order of that day says nothing
        ([(6, "m", "mown", "C"), (5, "m", "mown", "A"), (5, "m", "changed")], 10),
        ([(5, "m", "mown", "A"), (5, "m", "changed"), (4, "m", "mown", "B")], 4),
        ([(5, "m", "mown", "A"), (6, "m", "mown", "C"), (5, "m", "changed")], 10),
    ],
)  # fmt: skip
def test_of_one_day_the_order_of_the_rows_decides_where_it_can_by_hand(
    rows: list[Row], mown_ha: float
) -> None:
    """By hand: else the change counts as made before that day's mowing."""
    assert state(book(*rows)).mown_ha == mown_ha


@pytest.mark.parametrize(
    ("rows", "struck", "count"),
    [
        ([(2, "m", "mown", "A")], [(2, ("A",)), (3, ("C",)), (4, ())], 3),
        ([(2, "m", "mown", "A")], [(None, ("A",))], 1),
        ([(2, "n", "mown", "A")], [(2, ("A",))], 0),  # the other machine's
        ([(2, "n", "mown", "A")], [(3, ("A",)), (2, ("A", "B")), (2, ("B",))], 2),
        ([(2, "n", "mown", "A"), (9, "m", "mown", "A")], [(2, ("A",))], 1),
        ([(2, "n", "mown", "A"), (9, "m", "mown", "", 3.0)], [(2, ("A",))], 1),
        ([], [(1, ("A",))], 1),  # before or after the change of that day, nobody knows
    ],
)
def test_which_hits_count_by_hand(
    rows: list[Row], struck: list[tuple[int | None, tuple[str, ...]]], count: int
) -> None:
    """By hand: all since the change, but for those that another machine surely made."""
    assert state(book((1, "m", "changed"), *rows), hits(*struck)).hits == count


def test_a_hit_in_the_mowing_before_the_change_of_that_day_by_hand() -> None:
    """By hand: changed because of it, written under it; mown again, it counts again."""
    rows = [(1, "m", "changed"), (5, "m", "mown", "A"), (5, "m", "changed")]
    assert state(book(*rows), hits((5, ("A",)))).hits == 0
    assert state(book(*rows, (5, "m", "mown", "B")), hits((5, ("A",)))).hits == 1


@pytest.mark.parametrize(
    ("hectares", "told"), [(0.0, "ok"), (19.99, "ok"), (20.0, "care"), (31.0, "care")]
)
def test_the_interval_in_hectares_by_hand(hectares: float, told: str) -> None:
    """By hand: reached is due."""
    found = findings(book((1, "m", "changed"), (2, "m", "mown", "", hectares)))[MOWN_SINCE]
    assert (found.level, found.value, found.limit) == (told, hectares, 20.0)
    assert (found.unit, found.where, found.basis) == ("ha", "the mower", "measured")
    assert "2026-06-01" in found.why
    assert "common practice" in TABLES["poor_cut.knives_worn"].place
    assert "practice" in found.sources


@pytest.mark.parametrize(
    ("looked", "count", "limit", "told"),
    [
        (False, 0, 3, "ok"),
        (False, 0, None, "ok"),
        (False, 1, 3, "care"),
        (True, 1, 3, "ok"),
        (True, 2, 3, "ok"),
        (True, 3, 3, "care"),
        (True, 1, None, "care"),
    ],
)
def test_the_interval_in_hits_by_hand(
    looked: bool, count: int, limit: int | None, told: str
) -> None:
    """By hand: a hit asks for a look, whatever the interval; mowing on is no look."""
    rows = [(1, "m", "changed"), (3, "m", "mown", "A"), (9, "m", "mown", "A")]
    rows += [(8, "m", "looked")] if looked else []
    machine = mower(knife_interval_ha=20.0, knife_interval_strikes=limit)
    found = findings(book(*rows), hits(*[(3, ("A",))] * count), machine)[HITS_SINCE]
    assert (found.level, found.value, found.limit) == (told, count, limit)


def test_what_is_not_known_by_hand() -> None:
    """By hand: no ledger, no change, no interval, no log, an area nobody knows."""
    rows = book((1, "m", "changed"), (2, "m", "mown", "A"))
    assert findings(None)[MOWN_SINCE].level == "unknown"
    assert "no ledger" in findings(None)[MOWN_SINCE].why
    assert "no change" in findings(book((2, "m", "mown", "A")))[MOWN_SINCE].why
    assert findings(rows, None)[HITS_SINCE].level == "unknown"
    bare = findings(rows, NO_HITS, mower())[MOWN_SINCE]
    assert (bare.level, bare.value, bare.limit) == ("unknown", 4.0, None)
    assert "none is published" in bare.why
    strange = findings(book((1, "m", "changed"), (2, "m", "mown", "Z"), (3, "m", "mown", "A")))
    assert (strange[MOWN_SINCE].level, strange[MOWN_SINCE].value) == ("unknown", None)
    (none,) = knife_change_findings(None, rows, NO_HITS, day=DAY, area_of=AREA_OF, tables=TABLES)
    assert none.finding.level == "unknown"


def test_every_answer_carries_the_caution_by_hand() -> None:
    """By hand: key out before knives, whatever the level."""
    for rows in (None, book(), book((1, "m", "changed"))):
        for found in findings(rows).values():
            assert "take the key out" in found.caution
            assert "No interval is published" in found.caution


DIDS = st.sampled_from(["mown", "mown", "mown", "changed", "turned", "looked"])
ROWS = st.lists(
    st.tuples(
        st.integers(1, 9),
        st.sampled_from(["m", "m", "n"]),
        DIDS,
        st.sampled_from(["A", "B", "C"]),
        st.sampled_from([math.nan, 1.0, 8.0]),
    ),
    max_size=9,
)
HITS = st.lists(
    st.tuples(
        st.none() | st.integers(1, 9),
        st.sampled_from([(), ("A",), ("B", "C")]),
    ),
    max_size=4,
)
MOWERS = st.builds(
    lambda ha, strikes: mower(knife_interval_ha=ha, knife_interval_strikes=strikes),
    st.sampled_from([None, 5.0, 20.0]),
    st.sampled_from([None, 1, 3]),
)


@given(ROWS, HITS, MOWERS, st.integers(1, 30), st.sampled_from(["A", "B", "C", "", "Z"]))
def test_mowing_that_is_added_never_makes_it_better(
    rows: list[Row], struck: list[tuple], machine: Machine, day: int, field: str
) -> None:
    """Property: a row of mowing more, at the end of the ledger, of whatever day."""
    before = findings(book(*rows), hits(*struck), machine)
    after = findings(book(*rows, (day, "m", "mown", field, 2.0)), hits(*struck), machine)
    for what, found in before.items():
        assert rank(after[what].level) >= rank(found.level)
        if found.value is not None:
            assert after[what].value >= found.value


@given(ROWS, st.integers(0, 9), st.integers(1, 9))
def test_hectares_never_shrink_wherever_a_row_is_put(rows: list[Row], at: int, day: int) -> None:
    """Property: of the same day as the change, between two rows, or out of order."""
    more = [*rows[:at], (day, "m", "mown", "A", math.nan), *rows[at:]]
    before = knife_state("m", book(*rows), None, day=DAY, area_of=AREA_OF)
    after = knife_state("m", book(*more), None, day=DAY, area_of=AREA_OF)
    assert (before is None) == (after is None)
    if before is not None and after is not None:
        assert (after.mown_ha or 0.0) >= (before.mown_ha or 0.0)


@given(ROWS, HITS, MOWERS, st.none() | st.integers(1, 30), st.sampled_from([(), ("A",), ("B",)]))
def test_a_hit_that_is_added_never_makes_it_better(
    rows: list[Row], struck: list[tuple], machine: Machine, day: int | None, at: tuple[str, ...]
) -> None:
    """Property: whenever and wherever it was."""
    before = level(book(*rows), hits(*struck), machine)
    assert rank(level(book(*rows), hits(*struck, (day, at)), machine)) >= rank(before)


@given(ROWS, HITS, MOWERS)
def test_what_is_taken_away_never_makes_it_better(
    rows: list[Row], struck: list[tuple], machine: Machine
) -> None:
    """Property: the ledger, the log, either interval, the fields' areas, all changes."""
    table, log = book(*rows), hits(*struck)
    before = rank(level(table, log, machine))
    assert rank(level(None, log, machine)) >= before
    assert rank(level(table, None, machine)) >= before
    for key in OWNER:
        assert rank(level(table, log, machine.model_copy(update={key: None}))) >= before
    kept = table[~table["did"].isin(["knives changed", "knives turned"])]
    assert rank(level(kept, log, machine)) >= before
    told = knife_change_findings(machine, table, log, day=DAY, area_of={}, tables=TABLES)
    assert rank(worst(one.finding.level for one in told)) >= before
