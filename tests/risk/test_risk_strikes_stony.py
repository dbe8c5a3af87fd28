"""Ground too stony for any setting, with a log and without one."""

from __future__ import annotations

import math

import pytest
from small_ground import TABLES
from test_risk_left_reckoned import left
from test_risk_strikes_findings import found, told

from fieldmap.hazards.density import estimate
from fieldmap.risk.left import Left
from fieldmap.risk.strike_findings import ByClass, by_class
from fieldmap.risk.strikes import joined
from fieldmap.risk.things import left_things

UNDER_ALL_M = -1.0  # a bar that everything stands over: every stone is struck


def ground(thing: str, *, area_ha: float = 1.0, chance: float = 0.0) -> Left:
    """So much ground of one class of stones, seen with this chance."""
    one = estimate(thing, "z", [1e4 * area_ha], [chance], found=0, hits=0, tables=TABLES)
    return Left([], (one,), (), (1.0,))


@pytest.mark.parametrize("area_ha", [0.3, 1.0, 40.0])
@pytest.mark.parametrize(
    ("thing", "chance", "stony"),
    [
        ("stones_1", 0.0, False),
        ("stones_2", 0.0, True),
        ("stones_2", 0.6, False),
        ("stones_3", 0.6, True),
        ("flood_debris", 0.0, False),
    ],
)
def test_the_least_of_a_class_decides_by_hand(
    thing: str, chance: float, stony: bool, area_ha: float
) -> None:
    """By hand: 20, 204, 6,112 stones a hectare at the least against 100, whatever the area.

    Of 204 a look that sees six in ten leaves 81. What is no stone has no class.
    """
    held = ground(thing, area_ha=area_ha, chance=chance)
    assert by_class(held, UNDER_ALL_M, tables=TABLES).beyond == stony


def test_a_bar_over_all_stones_or_of_no_known_height_strikes_none_by_hand() -> None:
    """By hand: the stones are no taller than 15 cm."""
    assert not by_class(ground("stones_5"), 1.0, tables=TABLES).beyond
    assert not by_class(ground("stones_5"), math.nan, tables=TABLES).beyond


def test_the_farms_own_number_of_stones_has_no_least_by_hand() -> None:
    """By hand: one figure in place of a class promises nothing."""
    mine = TABLES.with_overrides({"density.stones_5": 50_000.0})
    assert by_class(ground("stones_5"), UNDER_ALL_M, tables=TABLES).beyond
    assert not by_class(ground("stones_5"), UNDER_ALL_M, tables=mine).beyond


@pytest.mark.parametrize("stoniness", [None, float("nan"), 0.0, 1.0, 2.5, 3.0, 5.0])
def test_a_log_lost_takes_no_stone_away_property(stoniness: float | None) -> None:
    """Property: what is too stony with an empty log is too stony without one, and no less lies."""
    before, after = (left(walks={}, stoniness=stoniness, log=log) for log in (True, False))
    assert (
        by_class(after, 0.08, tables=TABLES).beyond == by_class(before, 0.08, tables=TABLES).beyond
    )
    assert after.missing
    stones = [one for one in before.estimates if one.source_of_things.startswith("stones")]
    assert [one.source_of_things for one in after.estimates] == [
        one.source_of_things for one in stones
    ]
    for one, less in zip(stones, after.estimates, strict=True):
        assert less.left == pytest.approx(one.left, rel=0.01)
        assert less.looked_ha == 0.0
    assert len(after.sweeps_m) == len(after.estimates)


def test_stony_ground_without_a_log_is_told_by_hand() -> None:
    """By hand: stop, with the least there is and no upper end; the rest was not reckoned."""
    held = left(walks={}, stoniness=5.0, log=False)
    things = left_things(held.estimates, tables=TABLES)
    strikes = found(things, *held.missing, stony=ByClass(0.0, True))[0]
    assert (strikes.level, strikes.value, strikes.high) == ("stop", None, None)
    assert strikes.low is not None
    assert strikes.low > 0
    assert "Not reckoned: all but the stones of the class told" in strikes.why
    assert "Unseen: stone " in strikes.why


def test_stony_ground_under_a_bar_of_unknown_height_has_no_figure_by_hand() -> None:
    """By hand: a stop without any number; never one that is not a number."""
    things = left_things(ground("stones_5").estimates, tables=TABLES)
    strikes = told(joined(things), stony=ByClass(0.0, True), cut_m=math.nan)[0].finding
    assert strikes.level == "stop"
    assert (strikes.low, strikes.value, strikes.high) == (None, None, None)


@pytest.mark.parametrize(
    ("struck", "level"), [(0.0, "ok"), (0.4, "ok"), (0.5, "care"), (80.0, "care")]
)
def test_a_class_that_nobody_bore_out_is_no_ok_by_hand(struck: float, level: str) -> None:
    """By hand: a walk that wrote down no stone; the class is the high end, from a half on care."""
    (strikes, *others) = found(joined(), stony=ByClass(struck))
    assert (strikes.level, strikes.high) == (level, struck)
    assert ("stoniness class by itself" in strikes.why) == (struck > 0)
    assert [one.level for one in others] == ["ok", "ok"]
    missing = found(joined(), "stones", stony=ByClass(struck))[0]
    assert (missing.level, missing.high) == ("unknown", None)


def test_how_many_the_class_means_by_hand() -> None:
    """By hand: 203.72 a hectare at least, of which a look that sees nine in ten leaves a tenth."""
    held = by_class(ground("stones_2", area_ha=2.0, chance=0.9), UNDER_ALL_M, tables=TABLES)
    assert held.struck == pytest.approx(203.72 * 0.2, rel=1e-3)
