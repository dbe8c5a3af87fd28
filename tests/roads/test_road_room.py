"""The room at one place, by hand: the widest machine that passes a check, and that it refuses."""

from __future__ import annotations

import numpy as np
import pytest

from fieldmap.roads.room import CLOSED, MOST_M, room_of, widths_that_pass
from fieldmap.roads.verdict import FAIL, MAPPED, PASS, UNKNOWN, Rule, first_that_holds


def asked_of(*rules):
    """A check with these rules (level, low, high), the first that holds decides."""

    def asked(widths_m):
        need = widths_m + 1.0
        made = [
            Rule(need > most, level, MAPPED, "why", low, high) for most, level, low, high in rules
        ]
        return first_that_holds("width", "m", [*made, Rule(need > -1, PASS, MAPPED, "")], need=need)

    return asked


@pytest.mark.parametrize(
    ("rules", "low", "high"),
    [
        ([], MOST_M, MOST_M),
        ([(4.0, FAIL, 4.0, 4.0)], 3.0, 3.0),
        ([(6.0, FAIL, 6.0, 6.0), (4.0, UNKNOWN, 4.0, 6.0)], 3.0, 5.0),
        ([(6.0, FAIL, 6.0, 6.0), (4.0, FAIL, 4.0, 4.0)], 3.0, 3.0),  # two figures, one behind
        ([(0.0, UNKNOWN, np.nan, np.nan)], 0.0, MOST_M),
        ([(0.0, FAIL, np.nan, np.nan)], CLOSED, CLOSED),
        ([(0.5, FAIL, 0.5, 0.5)], CLOSED, CLOSED),  # no room for the clearance alone
        ([(4.0, FAIL, 9.0, 9.0)], CLOSED, CLOSED),  # refused by no width: told to be closed
    ],
)
def test_by_hand_the_room_at_a_place(rules, low, high):
    found_low, found_high = widths_that_pass(asked_of(*rules), 2)
    assert found_low == pytest.approx([max(low, CLOSED if high < 0 else low)] * 2, abs=1e-6)
    assert found_high == pytest.approx([high] * 2, abs=1e-6)


def other(*levels):
    where = np.ones(len(levels), dtype=bool)
    rule = Rule(where, np.array(levels, dtype=np.int8), MAPPED, "why")
    return first_that_holds("access", "", [rule], need=np.full(len(levels), np.nan))


def test_by_hand_what_does_not_depend_on_the_width():
    """By hand: a place where leave is needed has no room that is sure; a shut one is closed."""
    asked = {"width": asked_of((4.0, FAIL, 4.0, 4.0))}
    room = room_of(asked, {"access": other(PASS, UNKNOWN, FAIL)}, 3)
    assert room.low == pytest.approx([3.0, 0.0, CLOSED], abs=1e-6)
    assert room.high == pytest.approx([3.0, 3.0, CLOSED], abs=1e-6)
    assert [room.names[row] for row in room.low_by] == ["width", "access", "access"]
    assert [room.names[row] for row in room.high_by] == ["width", "width", "access"]
