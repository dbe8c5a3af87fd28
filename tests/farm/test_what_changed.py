"""Two answers held side by side: what counts as worse, as better, as a difference."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.finding import LEVELS, Finding, rank
from fieldmap.what_changed import (
    CHANGES,
    FIGURES,
    difference,
    field_row,
    finding_changes,
    in_reading_order,
    way_of,
)

STONE = Finding(
    level="stop", what="stone", where="A", why="One.", basis="measured", value=2.0, unit="count",
    sources=("log",),
)  # fmt: skip
KNIFE = Finding(
    level="care", what="knife", where="A", why="Rough.", basis="assumed", choice="low-lift",
    sources=("practice",),
)  # fmt: skip
ROW = {
    "field_id": "A", "name": "West", "level": "stop", "reason": "Do first: stone.",
    "marks": 2, "heading_deg": 175.0, "cut_height_m": None, "skid_shoe": "base",
}  # fmt: skip


def answer(*findings: Finding, settings: tuple[Finding, ...] = ()) -> Any:
    return SimpleNamespace(field_id="A", findings=findings, settings=settings)


def test_by_hand_a_finding_that_goes_comes_and_stays() -> None:
    """By hand: a stop that goes is better, one that comes is worse, words alone are nothing."""
    knife = dataclasses.replace(KNIFE, why="Other words.")
    (gone,) = finding_changes(answer(STONE, settings=(KNIFE,)), answer(settings=(knife,)))
    assert (gone.what, gone.way, gone.level_before, gone.level_after) == (
        "stone",
        "better",
        "stop",
        "",
    )
    assert (gone.value_before, gone.value_after, gone.sources) == (2.0, None, ("log",))
    unknown = dataclasses.replace(KNIFE, level="unknown")
    told = finding_changes(answer(settings=(KNIFE,)), answer(STONE, settings=(unknown,)))
    assert [(one.what, one.way) for one in told] == [("stone", "worse"), ("knife", "worse")]
    fewer = dataclasses.replace(STONE, value=1.0)
    (same_level,) = finding_changes(answer(STONE), answer(fewer))
    assert (same_level.way, same_level.value_after) == ("figures", 1.0)


def test_by_hand_two_findings_of_one_name_are_told_apart() -> None:
    """By hand: two tyres, of which the second got worse."""
    one = dataclasses.replace(KNIFE, what="tyre", level="ok")
    other = dataclasses.replace(one, value=3.0)
    bad = dataclasses.replace(other, level="stop")
    (told,) = finding_changes(answer(one, other), answer(one, bad))
    assert (told.way, told.level_after) == ("worse", "stop")


def test_by_hand_a_range_that_moves_is_told() -> None:
    """By hand: the value stays and its upper end moves: that is no unchanged finding."""
    wide = dataclasses.replace(STONE, high=9.0)
    (told,) = finding_changes(answer(STONE), answer(wide))
    assert told.way == "figures"
    nan = dataclasses.replace(STONE, high=float("nan"))
    assert finding_changes(answer(STONE), answer(nan)) == []  # not known either way


def test_by_hand_a_row() -> None:
    """By hand: figures of both tables side by side; what only one has is left out."""
    after = ROW | {"level": "care", "heading_deg": 5.0, "cut_height_m": 0.05, "marks": 0}
    after |= {"strikes": 1.0}
    row = field_row(ROW, after, [])
    assert (row["change"], row["level_before"], row["level_after"]) == ("better", "stop", "care")
    assert (row["marks_before"], row["marks_after"], row["marks_difference"]) == (2, 0, -2)
    assert row["heading_deg_difference"] == pytest.approx(10.0)
    assert row["cut_height_m_difference"] is None  # it was not known before
    assert not any(key.startswith("strikes") for key in row)
    assert field_row(ROW, dict(ROW), [])["change"] == "none"
    assert field_row(ROW, ROW | {"skid_shoe": "high"}, [])["change"] == "figures"


def test_by_hand_the_order_of_reading() -> None:
    """By hand: worse, better, figures, none; in each the worst answer first."""
    table = pd.DataFrame(
        {
            "field_id": list("abcdef"),
            "change": ["none", "figures", "better", "worse", "worse", "figures"],
            "level_after": ["stop", "care", "ok", "care", "stop", "care"],
            "findings_worse": [0, 0, 0, 1, 1, 2],
        }
    )
    assert in_reading_order(table)["field_id"].tolist() == ["e", "d", "c", "f", "b", "a"]


@given(st.sampled_from(["", *LEVELS]), st.sampled_from(["", *LEVELS]))
def test_property_there_and_back(one: Any, other: Any) -> None:
    """Property: what is worse one way is better the other; unknown is never better than care."""
    opposite = {"worse": "better", "better": "worse", "figures": "figures"}
    assert way_of(other, one) == opposite[way_of(one, other)]
    if one and other and rank(other) > rank(one):
        assert way_of(one, other) == "worse"


angles = st.floats(0, 180, exclude_max=True)


@given(angles, angles)
def test_property_a_line_turns_by_a_quarter_at_most(one: float, other: float) -> None:
    """Property: turned by the difference the first line is the second, either way round."""
    step = difference(one, other, line=True)
    assert step is not None
    assert -90 <= step <= 90
    apart = (one + step - other) % 180
    assert min(apart, 180 - apart) == pytest.approx(0, abs=1e-9)
    assert difference(one, other) == other - one


def test_by_hand_the_lists_name_each_thing_once() -> None:
    columns = [figure.column for figure in FIGURES]
    assert len(set(columns)) == len(columns)
    assert len(set(CHANGES)) == 4
