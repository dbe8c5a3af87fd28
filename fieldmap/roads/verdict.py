"""A check's answer for many places at once: pass, unknown or refused, and why."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldmap.finding import Basis, Level

PASS, UNKNOWN, FAIL = 0, 1, 2
LEVEL_OF: tuple[Level, ...] = ("ok", "unknown", "stop")
ASSUMED, MAPPED, MEASURED = 0, 1, 2
BASIS_OF: tuple[Basis, ...] = ("assumed", "mapped", "measured")

Floats = NDArray[np.float64]
Codes = NDArray[np.int8]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Verdict:
    """One check over all places.

    ``level`` and ``basis`` are codes of this module; ``low`` and ``high`` what is there and
    ``need`` what the machine needs, all in ``unit`` and NaN where there is no figure; ``why``
    is a row of ``reasons``. Every array has one entry a place.
    """

    what: str
    unit: str
    level: Codes
    low: Floats
    high: Floats
    need: Floats
    basis: Codes
    why: NDArray[np.int16]
    reasons: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Rule:
    """What holds at some places: the level there, what it rests on and one sentence."""

    where: Mask
    level: int | Codes
    basis: int
    why: str
    low: Floats | float = np.nan
    high: Floats | float = np.nan


def held(low: Floats | float, high: Floats | float, need: Floats) -> Codes:
    """Pass when the low end suffices, refused when the high end does not, else unknown.

    Examples
    --------
    >>> held(np.array([3.0, 2.0, 2.0]), np.array([4.0, 2.5, 4.0]), np.array([3.0, 3.0, 3.0]))
    array([0, 2, 1], dtype=int8)
    >>> held(np.array([np.nan]), np.array([np.nan]), np.array([3.0]))
    array([1], dtype=int8)
    """
    level = np.full(np.broadcast(low, high, need).shape, UNKNOWN, dtype=np.int8)
    level[np.broadcast_to(np.less(high, need), level.shape)] = FAIL
    level[np.broadcast_to(np.greater_equal(low, need), level.shape)] = PASS
    return level


def figure(value: Floats, need: Floats, basis: int, why: str) -> Rule:
    """Where there is a figure, it decides."""
    return Rule(np.isfinite(value), held(value, value, need), basis, why, value, value)


def too_small(value: Floats, need: Floats, why: str) -> Rule:
    """Where a mapped figure is less than what is needed, it refuses."""
    return Rule(value < need, FAIL, MAPPED, why, value, value)


def first_that_holds(what: str, unit: str, rules: Iterable[Rule], *, need: Floats) -> Verdict:
    """The first rule that holds at a place decides; where none does it is unknown."""
    count = len(need)
    level = np.full(count, UNKNOWN, dtype=np.int8)
    basis = np.full(count, ASSUMED, dtype=np.int8)
    low, high = np.full(count, np.nan), np.full(count, np.nan)
    why = np.zeros(count, dtype=np.int16)
    reasons = ["Nothing is known about it."]
    left = np.ones(count, dtype=bool)
    for rule in rules:
        here = left & rule.where
        reasons.append(rule.why)
        why[here] = len(reasons) - 1
        basis[here] = rule.basis
        for target, source in ((level, rule.level), (low, rule.low), (high, rule.high)):
            target[here] = np.broadcast_to(np.asarray(source, dtype=target.dtype), count)[here]
        left &= ~here
    return Verdict(what, unit, level, low, high, need, basis, why, tuple(reasons))
