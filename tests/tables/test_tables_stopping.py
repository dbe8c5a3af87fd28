"""The figures of seeing and stopping against the published ones, in their own units."""

from __future__ import annotations

import pytest

from fieldmap.tables import load_tables
from fieldmap.units import METRE_PER_FOOT

TABLES = load_tables()
G_FT = 9.80665 / METRE_PER_FOOT


def test_reaction_time_referee() -> None:
    """Referee: TxDOT Roadway Design Manual 4.11.1, after AASHTO: 2.5 s."""
    row = TABLES["stopping.reaction_s"]
    assert (row.number(), row.unit) == (2.5, "s")
    assert TABLES.sources[row.source].mark == "seen"


def test_friction_referee() -> None:
    """Referee: the same manual: a car's 11.2 ft/s2 is 0.35 g. Ours is lower, and reckoned with."""
    row = TABLES["stopping.friction"]
    assert row.high == pytest.approx(11.2 / G_FT, abs=0.005)
    assert row.number() == row.low == 0.2
    assert "assumption" in row.place
    assert TABLES.sources[row.source].mark == "own"


def test_the_eye_in_the_seat_by_hand() -> None:
    """By hand, from memory: 2.0 to 2.5 m; the low end counts, and is over that of a car, 3.5 ft."""
    row = TABLES["stopping.eye_m"]
    assert (row.low, row.number(), row.high) == (2.0, 2.0, 2.5)
    assert row.number() > 3.5 * METRE_PER_FOOT
    assert TABLES.sources[row.source].mark == "memory"


def test_own_defaults_are_in_an_order_that_makes_sense_by_hand() -> None:
    """By hand: crawling is slower than turning and rough ground, these no faster than mowing; a
    thing to be seen is lower than the eye."""
    least, rough, field = (
        TABLES.number(f"stopping.{key}_kmh") for key in ("least", "rough", "field")
    )
    assert 0 < least < rough <= field
    assert least < TABLES.number("passes.turn_kmh") <= field
    assert 0 < TABLES.number("stopping.target_m") < TABLES.number("stopping.eye_m")
    assert TABLES.number("stopping.farthest_m") > 50
    headings = TABLES.number("stopping.headings")
    assert headings == int(headings)
    assert headings % 4 == 0  # each way has its opposite and its right angles


@pytest.mark.parametrize(
    "key", ["target_m", "farthest_m", "headings", "rough_kmh", "field_kmh", "least_kmh"]
)
def test_what_is_ours_says_so_by_hand(key: str) -> None:
    """By hand: no publication stands behind these."""
    row = TABLES[f"stopping.{key}"]
    assert (row.source, row.place) == ("own", "own default")
