"""How wide a machine gets past each place: surely by the low ends, possibly by the high ends."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldmap.roads.verdict import FAIL, UNKNOWN, Floats, Verdict

#: No machine is wider (m); a place with this room limits nothing.
MOST_M = 60.0
#: Room at a place where nothing may pass.
CLOSED = -1.0
_JUST_M = 1e-9  # a machine this much narrower than what refuses it passes
_ROUNDS = 8  # a check has fewer rules than this that a width can fail

Asked = Callable[[Floats], Verdict]


@dataclass(frozen=True, eq=False)
class Room:
    """Widths (m) of the machine that gets past each place.

    Up to ``low`` every check passes; up to ``high`` none refuses. 0 where no machine surely
    passes, ``CLOSED`` where none may, ``MOST_M`` where nothing limits it. ``low_by`` and
    ``high_by`` are rows of ``names``: the check that decides.
    """

    low: Floats
    high: Floats
    low_by: NDArray[np.int64]
    high_by: NDArray[np.int64]
    names: tuple[str, ...]


def widths_that_pass(asked: Asked, count: int) -> tuple[Floats, Floats]:
    """The widest machine that surely passes and the widest that is not refused, place by place.

    A check is asked with wide machines first; the figure that it holds against them is the
    next width to ask with. Because a wider machine never passes where a narrower one is
    refused, what is left when nothing refuses any more is the widest.

    Parameters
    ----------
    asked : callable
        Widths of a machine (m), one a place -> the check's verdict on them.
    count : int
        Number of places.
    """
    high = _narrowed(asked, np.full(count, MOST_M), against=FAIL, none=CLOSED)
    return _narrowed(asked, high, against=UNKNOWN, none=0.0), high


def _narrowed(asked: Asked, widths: Floats, *, against: int, none: float) -> Floats:
    """Widths made smaller until no verdict is at or above a level."""
    found = widths.copy()
    for _ in range(_ROUNDS):
        verdict = asked(np.fmax(found, 0.0))
        bad = (verdict.level >= against) & (found > 0.0)
        if not bad.any():
            return found
        there = verdict.high if against == FAIL else verdict.low
        left = there - (verdict.need - found) - _JUST_M
        smaller = (left > 0.0) & (left < found)  # a NaN is not
        found = np.where(bad, np.where(smaller, left, none), found)
    bad = (asked(np.fmax(found, 0.0)).level >= against) & (found > 0.0)
    return np.where(bad, none, found)


def room_of(asked: Mapping[str, Asked], others: Mapping[str, Verdict], count: int) -> Room:
    """The room at each place by the checks of width, where all the others let through.

    Parameters
    ----------
    asked : mapping
        Name of a check -> the check, as :func:`widths_that_pass` takes it.
    others : mapping
        Verdicts that do not depend on the width; what is unknown by them leaves no room that
        is sure, what they refuse is closed.
    count : int
        Number of places.
    """
    names = (*asked, *others)
    low, high = np.full(count, MOST_M), np.full(count, MOST_M)
    low_by, high_by = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int64)
    for row, name in enumerate(asked):
        sure, possible = widths_that_pass(asked[name], count)
        sure = np.where(possible < 0.0, CLOSED, sure)
        _least(low, low_by, sure, row)
        _least(high, high_by, possible, row)
    for row, name in enumerate(others, start=len(asked)):
        level = others[name].level
        shut = np.where(level == FAIL, CLOSED, MOST_M)
        _least(low, low_by, np.where(level == UNKNOWN, 0.0, shut), row)
        _least(high, high_by, shut, row)
    return Room(low, high, low_by, high_by, names)


def _least(held: Floats, by: NDArray[np.int64], other: Floats, row: int) -> None:
    less = other < held
    held[less] = other[less]
    by[less] = row
