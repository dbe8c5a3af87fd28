"""The risk matrix: cell by cell, its bands, and the severities of the kinds."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_ground import TABLES

from fieldmap.errors import MisuseError
from fieldmap.risk.matrix import ORDER, SEVERITIES, likelihood, rated, rating, severity_of

KINDS = list(TABLES.rows("hazard_kinds"))
LEVELS = "ABCDEF"
#: Table III of the standard, severity 1 to 4 from left to right.
PUBLISHED = {
    "A": ("High", "High", "Serious", "Medium"),
    "B": ("High", "High", "Serious", "Medium"),
    "C": ("High", "Serious", "Medium", "Low"),
    "D": ("Serious", "Medium", "Medium", "Low"),
    "E": ("Medium", "Medium", "Medium", "Low"),
    "F": ("Eliminated",) * 4,
}


@pytest.mark.parametrize("severity", SEVERITIES)
@pytest.mark.parametrize("level", LEVELS)
def test_a_cell_of_the_matrix_referee(level: str, severity: int) -> None:
    """Referee: MIL-STD-882E (2012), table III, from memory, all 24 cells but the disputed one."""
    if (level, severity) != ("E", 3):
        assert rating(severity, level, tables=TABLES) == PUBLISHED[level][severity - 1]
        assert TABLES[f"risk_matrix.{level.lower()}_{severity}"].words["other_reading"] == ""


def test_the_disputed_cell_referee() -> None:
    """Referee: E and 3: Medium from memory, a public digest prints Low; the graver is taken."""
    words = TABLES["risk_matrix.e_3"].words
    assert {words["rating"], words["other_reading"]} == {"Medium", "Low"}
    assert rating(3, "E", tables=TABLES) == PUBLISHED["E"][2] == "Medium"


# the least of each band of table II, and just under it
@pytest.mark.parametrize(
    ("number", "level"),
    [
        (5.0, "A"), (0.1, "A"), (0.0999, "B"), (0.01, "B"), (0.00999, "C"), (0.001, "C"),
        (0.000999, "D"), (1e-6, "D"), (9.99e-7, "E"), (1e-300, "E"), (0.0, "F"),
    ],
)  # fmt: skip
def test_a_number_has_the_published_level_referee(number: float, level: str) -> None:
    """Referee: MIL-STD-882E, table II, rates A >= 1e-1, B, C >= 1e-3, D >= 1e-6, E under it."""
    assert likelihood(number, tables=TABLES) == level


def test_only_what_is_not_there_is_eliminated_by_hand() -> None:
    """By hand: a mean of none with an upper end is improbable; unknown is as bad as frequent."""
    assert likelihood(0.0, high=0.0, tables=TABLES) == "F"
    assert likelihood(0.0, high=1.0, tables=TABLES) == "E"
    assert likelihood(math.nan, tables=TABLES) == "A"
    assert likelihood(0.0, high=math.nan, tables=TABLES) == "A"


def test_a_cell_that_is_not_there_by_hand() -> None:
    """By hand: there is no severity 5 and no likelihood G."""
    for severity, level in ((5, "A"), (1, "G"), (0, "A")):
        with pytest.raises(MisuseError):
            rating(severity, level, tables=TABLES)


def test_the_matrix_is_monotone_property() -> None:
    """Property: graver or likelier never rates lower; the gravest never rates Low."""
    at = {
        (severity, level): ORDER.index(rating(severity, level, tables=TABLES))
        for severity in SEVERITIES
        for level in LEVELS
    }
    for graver, less in pairwise(SEVERITIES):
        assert all(at[graver, level] >= at[less, level] for level in LEVELS)
    for likelier, rarer in pairwise(LEVELS):
        assert all(at[severity, likelier] >= at[severity, rarer] for severity in SEVERITIES)
    assert all(rating(1, level, tables=TABLES) != "Low" for level in LEVELS)
    assert {level for _, level in at if at[1, level] == 0} == {"F"}


@given(fewer=st.floats(0, 10), more=st.floats(0, 10), kind=st.sampled_from(KINDS))
def test_more_things_never_rate_lower_property(fewer: float, more: float, kind: object) -> None:
    """Property: in the number, and an upper end above it changes nothing but none at all."""
    low, high = sorted((fewer, more))
    name = kind.key.partition(".")[2]
    ranks = [ORDER.index(rated(name, one, tables=TABLES).rating) for one in (low, high)]
    assert ranks[0] <= ranks[1]
    assert rated(name, low, high=high, tables=TABLES).rank >= rated(name, low, tables=TABLES).rank


@pytest.mark.parametrize("row", KINDS, ids=lambda row: row.key)
def test_every_kind_says_how_grave_it_is_by_hand(row: object) -> None:
    """By hand: one of the four; what flies or carries current, or what nobody named, is a 1."""
    assert row.words["severity"] in {"1", "2", "3", "4"}
    assert severity_of(row) == int(row.words["severity"])
    if row.words["level"] == "unknown":
        assert severity_of(row) == 1


def test_the_kinds_in_order_by_hand() -> None:
    """By hand: what is thrown or electric before what burns, before what spoils the bale."""
    grave = {
        kind: severity_of(TABLES[f"hazard_kinds.{kind}"])
        for kind in ("stone", "loose_wire", "line_down", "twine", "glass")
    }
    assert grave == {"stone": 1, "loose_wire": 1, "line_down": 1, "twine": 2, "glass": 3}


def test_a_row_that_does_not_say_is_the_gravest_by_hand() -> None:
    """By hand: unknown is not fine."""
    assert severity_of(TABLES["strikes.raked_in"]) == 1


def test_how_a_rating_is_said_and_sorted_by_hand() -> None:
    """By hand: the worst last."""
    ratings = [rated("glass", 1.0, tables=TABLES), rated("stone", 1.0, tables=TABLES),
               rated("stone", 0.02, tables=TABLES), rated("twine", 2.0, tables=TABLES)]  # fmt: skip
    said = [one.words for one in sorted(ratings, key=lambda one: one.rank)]
    assert said == [
        "serious by the risk matrix (3A)",
        "serious by the risk matrix (1D)",
        "high by the risk matrix (2B)",
        "high by the risk matrix (1C)",
    ]
