"""A check's answer for many places at once: pass, unknown or refused, and why."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

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
    is a row of ``reasons``. ``tag`` is what of the map the answer rests on (``maxwidth=2.3``),
    "" where it rests on no tag; ``None`` when no place has one. Every array has one entry a
    place.
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
    tag: NDArray[np.object_] | None = None

    def sentences(self, rows: NDArray[np.integer[Any]]) -> list[str]:
        """Why, for some of the places: the reason, and the tag behind it in brackets."""
        reasons = [self.reasons[row] for row in self.why[rows].tolist()]
        if self.tag is None:
            return reasons
        tags = self.tag[rows].tolist()
        return [with_tag(why, tag) for why, tag in zip(reasons, tags, strict=True)]


@dataclass(frozen=True, eq=False)
class Rule:
    """What holds at some places: the level there, what it rests on and one sentence.

    ``tag`` is the tag that the sentence speaks of, one for all places or one each; ``need``
    what is needed there when it is not what the check needs elsewhere.
    """

    where: Mask
    level: int | Codes
    basis: int
    why: str
    low: Floats | float = np.nan
    high: Floats | float = np.nan
    tag: NDArray[np.object_] | str = ""
    need: Floats | float | None = None


def with_tag(why: str, tag: str) -> str:
    """A sentence with the tag it speaks of.

    Examples
    --------
    >>> with_tag("The mapped width is too small.", "width=2.5")
    'The mapped width is too small (width=2.5).'
    >>> with_tag("No ford is mapped.", "")
    'No ford is mapped.'
    """
    return f"{why.removesuffix('.')} ({tag})." if tag else why


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


def figure(
    value: Floats, need: Floats, basis: int, why: str, *, tag: NDArray[np.object_] | str = ""
) -> Rule:
    """Where there is a figure, it decides."""
    return Rule(np.isfinite(value), held(value, value, need), basis, why, value, value, tag)


def too_small(
    value: Floats, need: Floats, why: str, *, tag: NDArray[np.object_] | str = ""
) -> Rule:
    """Where a mapped figure is less than what is needed, it refuses."""
    return Rule(value < need, FAIL, MAPPED, why, value, value, tag)


def answered(said: Floats, yes: str, no: str) -> list[Rule]:
    """Where somebody answered yes (1) or no (0), that decides."""
    return [Rule(said == 0.0, FAIL, MEASURED, no), Rule(said == 1.0, PASS, MEASURED, yes)]


def first_that_holds(what: str, unit: str, rules: Iterable[Rule], *, need: Floats) -> Verdict:
    """The first rule that holds at a place decides; where none does it is unknown."""
    count = len(need)
    level = np.full(count, UNKNOWN, dtype=np.int8)
    basis = np.full(count, ASSUMED, dtype=np.int8)
    low, high, needed = np.full(count, np.nan), np.full(count, np.nan), need.astype(float)
    why = np.zeros(count, dtype=np.int16)
    tag = np.full(count, "", dtype=object)
    reasons = ["Nothing is known about it."]
    left = np.ones(count, dtype=bool)
    for rule in rules:
        here = left & rule.where
        reasons.append(rule.why)
        if not here.any():
            continue
        why[here] = len(reasons) - 1
        basis[here] = rule.basis
        for target, source in (
            (level, rule.level),
            (low, rule.low),
            (high, rule.high),
            (needed, needed if rule.need is None else rule.need),
            (tag, rule.tag),
        ):
            target[here] = np.broadcast_to(np.asarray(source, dtype=target.dtype), count)[here]
        left &= ~here
    return Verdict(what, unit, level, low, high, needed, basis, why, tuple(reasons), tag)


def worse_of(one: Verdict, other: Verdict) -> Verdict:
    """Of two verdicts on the same places the worse at each; between equals the first."""
    other_is = other.level > one.level
    count = len(one.level)
    ours, theirs = (
        np.full(count, "", dtype=object) if each.tag is None else each.tag for each in (one, other)
    )
    return Verdict(
        one.what,
        one.unit,
        np.where(other_is, other.level, one.level),
        np.where(other_is, other.low, one.low),
        np.where(other_is, other.high, one.high),
        np.where(other_is, other.need, one.need),
        np.where(other_is, other.basis, one.basis),
        np.where(other_is, other.why + len(one.reasons), one.why).astype(np.int16),
        (*one.reasons, *other.reasons),
        np.where(other_is, theirs, ours),
    )
