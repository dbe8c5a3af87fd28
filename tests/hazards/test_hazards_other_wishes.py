"""What the lines would take for other things and other chances."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.hazards.chance import hardest_kind, looked_for_kinds, sweep_width_m
from fieldmap.hazards.looked import FieldLooking
from fieldmap.hazards.other_wishes import OtherWish, kinds_to_tell, other_wishes, walking_hours
from fieldmap.hazards.walks import Steps
from fieldmap.tables import load_tables

TABLES = load_tables()
FIELD = shapely.box(0, 0, 200, 100)


def looked(xy: list[list[float]], *, sward_m: float = math.nan) -> FieldLooking:
    steps = Steps(np.array(xy, float).reshape(-1, 4), np.zeros(len(xy), "datetime64[us]"))
    return FieldLooking(FIELD, steps, (), sward_m, 1.0, 0.9)


def wishes(known: FieldLooking, *, kind: str = "", chance: float = 0.9) -> list[OtherWish]:
    planned = kind or hardest_kind(known.sward_m, TABLES)
    return list(other_wishes(known, FIELD, TABLES, kind=planned, chance=chance))


def test_twenty_hectares_at_ninety_percent() -> None:
    """By hand: 20 ha x 2.3026 / 3 m = 153.5 km, at 4 km/h 38.4 h."""
    hours = walking_hours(200_000, chance=0.9, sweep_m=3.0, walk_kmh=4.0)
    assert hours == pytest.approx(200_000 * math.log(10) / 3 / 4000)
    assert hours == pytest.approx(38.4, abs=0.05)


def test_a_low_chance_is_walked_a_sweep_width_apart() -> None:
    """By hand: the plan lays no wider lines, so that 20 percent takes what 60 percent takes."""
    told = [walking_hours(12_000, chance=p, sweep_m=3.0, walk_kmh=4.0) for p in (0.2, 0.6)]
    assert told == [pytest.approx(1.0)] * 2


@given(low=st.floats(0.01, 0.99), more=st.floats(0, 0.9), sweep_m=st.floats(0.5, 60))
def test_more_chance_never_takes_less_and_wider_sweep_never_more(
    low: float, more: float, sweep_m: float
) -> None:
    """Property."""
    high = low + more * (0.999 - low)

    def hours(chance: float, width_m: float) -> float:
        return walking_hours(1000, chance=chance, sweep_m=width_m, walk_kmh=4)

    assert hours(high, sweep_m) >= hours(low, sweep_m) * (1 - 1e-12)
    assert hours(low, 2 * sweep_m) == pytest.approx(hours(low, sweep_m) / 2)


@pytest.mark.parametrize("sward_m", [None, 0.1, 0.3])
def test_kinds_run_from_the_hardest_to_the_easiest(sward_m: float | None) -> None:
    """Property: the ends are the ends of the table's things; nothing is told that hides."""
    told = kinds_to_tell(sward_m, TABLES, planned=hardest_kind(sward_m, TABLES))
    widths = [sweep_width_m(kind, sward_m, TABLES) for kind in told]
    things = [
        kind for kind in looked_for_kinds(TABLES)
        if TABLES[f"hazard_kinds.{kind}"].words["lies"] != "area"
    ]  # fmt: skip
    assert len(told) == len(set(told)) == 3
    assert widths == sorted(widths)
    assert told[0] == hardest_kind(sward_m, TABLES)
    assert widths[-1] == max(sweep_width_m(kind, sward_m, TABLES) for kind in things)
    assert set(told) <= set(looked_for_kinds(TABLES))


def test_the_planned_kind_is_told_too() -> None:
    """By hand: one that a walker cannot be expected to see comes in, at its place."""
    hidden = looked_for_kinds(TABLES, looked_for=False)
    narrow = min(hidden, key=lambda kind: sweep_width_m(kind, None, TABLES) or math.inf)
    assert kinds_to_tell(None, TABLES, planned=narrow)[0] == narrow


def test_nobody_looked_is_the_whole_of_the_ground() -> None:
    """By hand: 2 ha, three kinds and two chances; the planned one by the formula."""
    told = wishes(looked([]))
    assert [one.chance for one in told] == [0.6, 0.9] * 3
    assert told[1].hours == pytest.approx(20_000 * math.log(10) / told[1].sweep_m / 4000)


def test_one_chance_when_the_wish_is_the_lower_one() -> None:
    """By hand: a wish of 60 percent is one column."""
    assert [one.chance for one in wishes(looked([]), chance=0.6)] == [0.6] * 3


def test_ground_walked_well_enough_takes_no_hours_and_less_known_never_fewer() -> None:
    """Property: dropping the walk, or the height, raises or keeps every figure of the hardest."""
    lines = [[0, y, 200, y] for y in np.arange(0.5, 50, 1.0)]
    short = wishes(looked(lines, sward_m=0.1))
    tall, none = wishes(looked(lines)), wishes(looked([], sward_m=0.1))
    for walked, unknown, unwalked in zip(short[:2], tall[:2], none[:2], strict=True):
        assert walked.hours <= unknown.hours
        assert walked.hours < unwalked.hours
    assert short[0].hours == pytest.approx(none[0].hours / 2, rel=0.1)


def test_ground_that_nobody_may_walk_on_is_left_out() -> None:
    """By hand: half of the field, half of the hours."""
    known, kind = looked([]), hardest_kind(None, TABLES)
    half = other_wishes(known, shapely.box(0, 0, 100, 100), TABLES, kind=kind, chance=0.9)
    for one, whole in zip(half, wishes(known), strict=True):
        assert one.hours == pytest.approx(whole.hours / 2)
