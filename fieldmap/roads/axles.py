"""Axle loads: posted limits, and the US bridge formula over every group of axles in a row.

``W = 500 (L N / (N - 1) + 12 N + 36)`` pounds for N axles over L feet, rounded to the nearest
500 lb, under the caps for single axles, tandems and the whole (23 CFR 658.17). A train may keep
the formula as a whole and break it in the middle, so every group is held against it. It is law
in one country only; elsewhere it says no more than that a bridge's owner should be asked.

L is taken as it is; the law's own practice of whole feet is not followed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from fieldmap.roads.facts import OnAxle, OnRoad, Places
from fieldmap.roads.limits import Limit, Words, limit_of, limit_rules, unposted
from fieldmap.roads.tags import mass_kg
from fieldmap.roads.verdict import (
    ASSUMED,
    MAPPED,
    PASS,
    UNKNOWN,
    Floats,
    Mask,
    Rule,
    Verdict,
    first_that_holds,
    worse_of,
)
from fieldmap.tables import Tables
from fieldmap.units import KG_PER_POUND, METRE_PER_FOOT

_STEP_LB = 500.0
_PAIR = 2
_ALMOST = 1e-9
AXLE = Words("axle load limit", "axle loads")
PAIR = Words("limit for two axles close together", "axle loads")


@dataclass(frozen=True, slots=True)
class Group:
    """Axles in a row, counted from 1: what they carry and what the formula allows (kg)."""

    first: int
    last: int
    length_m: float
    mass_kg: float
    allowed_kg: float

    def share(self) -> float:
        """Part of what is allowed; over 1 is too much."""
        return self.mass_kg / self.allowed_kg

    def is_over(self) -> bool:
        """Whether it carries more than it may; what a pound loses on its way to kilograms not."""
        return self.share() > 1.0 + _ALMOST


def formula_lb(length_ft: float, axles: int) -> float:
    """What the formula gives for a group, before rounding and caps (lb).

    Examples
    --------
    >>> formula_lb(4.0, 2), round(formula_lb(35.0, 4), 1)
    (34000.0, 65333.3)
    """
    return _STEP_LB * (length_ft * axles / (axles - 1) + 12.0 * axles + 36.0)


def allowed_kg(positions_m: Sequence[float], *, tables: Tables) -> float:
    """What a group of axles may carry: the rounded formula under the caps (kg).

    Parameters
    ----------
    positions_m : sequence of float
        Of the group's axles, from the front.
    tables : Tables
        ``clearances``: caps of one axle and of all; ``axle_groups``: tandems.
    """
    length, count = positions_m[-1] - positions_m[0], len(positions_m)
    if length < tables.number("axle_groups.single_within_m"):
        return tables.number("clearances.single_axle_kg")
    if length <= tables.number("axle_groups.tandem_within_m") + _ALMOST:
        return tables.number("axle_groups.tandem_kg")
    raw = formula_lb(length / METRE_PER_FOOT, count)
    rounded = math.floor(raw / _STEP_LB + 0.5 + _ALMOST) * _STEP_LB * KG_PER_POUND
    if _two_tandems(positions_m, tables):
        rounded = max(rounded, tables.number("axle_groups.two_tandems_kg"))
    return min(rounded, tables.number("clearances.statutory_mass_kg"))


def _two_tandems(positions_m: Sequence[float], tables: Tables) -> bool:
    if len(positions_m) != 2 * _PAIR:
        return False
    first, second, third, last = positions_m
    most = tables.number("axle_groups.tandem_within_m") + _ALMOST
    far = last - first >= tables.number("axle_groups.two_tandems_m") - _ALMOST
    return far and second - first <= most and last - third <= most


def groups(axles: Sequence[OnAxle], *, tables: Tables) -> list[Group]:
    """Every group of axles in a row, with what it carries and what it may carry."""
    found = []
    for first in range(len(axles)):
        for last in range(first, len(axles)):
            held = axles[first : last + 1]
            where = [one.position_m for one in held]
            carried = sum(one.mass_kg for one in held)
            allowed = allowed_kg(where, tables=tables)
            found.append(Group(first + 1, last + 1, where[-1] - where[0], carried, allowed))
    return found


def worst_group(machine: OnRoad, *, tables: Tables) -> Group | None:
    """The group nearest to or farthest over what it may carry; ``None`` when not known.

    A machine no heavier in all than one axle may be keeps the formula however it stands.
    """
    if machine.axles:
        return max(groups(machine.axles, tables=tables), key=Group.share)
    single = tables.number("clearances.single_axle_kg")
    if machine.mass_kg <= single:
        return Group(1, 1, 0.0, machine.mass_kg, single)
    return None


def heaviest_pair_kg(machine: OnRoad, *, tables: Tables) -> float:
    """The most that axles close together carry, at least one axle; NaN when not known (kg)."""
    if not machine.axles:
        return math.nan
    most = tables.number("axle_groups.tandem_within_m") + _ALMOST
    close = (one for one in groups(machine.axles, tables=tables) if one.length_m <= most)
    return max(one.mass_kg for one in close)


def axle_check(
    places: Places, *, machine: OnRoad, measured_kg: Floats, settled: Mask, tables: Tables
) -> Verdict:
    """Hold axles and groups of axles against posted limits, then against the formula.

    Parameters
    ----------
    places : Places
    machine : OnRoad
    measured_kg : ndarray
        Axle load limits read on the spot or told by an owner, NaN where nobody did.
    settled : ndarray of bool
        Where a limit on the whole mass is posted and kept: it beats the formula.
    tables : Tables
    """
    axle, pair = _both(places, machine, measured_kg, tables)
    formula = _by_formula(settled | pair.limit.kept(pair.need), machine, tables)
    return _worse(axle, pair, formula)


def posted_axle_check(
    places: Places, *, machine: OnRoad, measured_kg: Floats, tables: Tables
) -> Verdict:
    """Hold axles against posted limits only, at nodes."""
    axle, pair = _both(places, machine, measured_kg, tables)
    return _worse(axle, pair, [*unposted(axle.limit, AXLE)])


class _Limited(NamedTuple):
    limit: Limit
    need: Floats
    rules: list[Rule]


def _both(
    places: Places, machine: OnRoad, measured_kg: Floats, tables: Tables
) -> tuple[_Limited, _Limited]:
    pair_kg = heaviest_pair_kg(machine, tables=tables)
    nobody = np.full_like(measured_kg, np.nan)
    return (
        _limited(places, "maxaxleload", AXLE, machine, machine.axle_kg, measured_kg),
        _limited(places, "maxbogieweight", PAIR, machine, pair_kg, nobody),
    )


def _worse(axle: _Limited, pair: _Limited, otherwise: list[Rule]) -> Verdict:
    single = first_that_holds("axles", "kg", [*axle.rules, *otherwise], need=axle.need)
    close = [*pair.rules, *unposted(pair.limit, PAIR)]
    return worse_of(single, first_that_holds("axles", "kg", close, need=pair.need))


def _limited(
    places: Places, key: str, words: Words, machine: OnRoad, known_kg: float, measured: Floats
) -> _Limited:
    """A posted limit and its rules; of axles that are not known only the whole mass bounds them."""
    limit = limit_of(places, key, mass_kg, machine)
    known = not math.isnan(known_kg)
    need = np.full(len(places.row), known_kg if known else machine.mass_kg)
    rules = list(limit_rules(limit, need, measured, words))
    return _Limited(limit, need, rules if known else [_at_worst_unknown(one) for one in rules])


def _at_worst_unknown(rule: Rule) -> Rule:
    level = np.minimum(rule.level, UNKNOWN).astype(np.int8)
    if not np.any(level != rule.level):
        return rule
    why = f"{rule.why.removesuffix('.')}, if one axle carried it all; the axles are not known."
    return replace(rule, level=level, why=why)


def _by_formula(posted_and_kept: Mask, machine: OnRoad, tables: Tables) -> list[Rule]:
    everywhere = np.ones(len(posted_and_kept), dtype=bool)
    beaten = Rule(posted_and_kept, PASS, MAPPED, "A posted limit is kept; it beats any formula.")
    worst = worst_group(machine, tables=tables)
    if worst is None:
        why = "The machine's axle loads are not known."
        return [beaten, Rule(everywhere, UNKNOWN, ASSUMED, why, need=np.nan)]
    who = f"Axles {worst.first} to {worst.last}" if worst.last > worst.first else "One axle"
    over = (
        f"{who} over what the US bridge formula allows; your own law and the bridge's owner know."
    )
    kept = "No axle limit is mapped and every group of axles keeps the US bridge formula."
    fits = not worst.is_over()
    return [
        beaten,
        Rule(
            everywhere,
            PASS if fits else UNKNOWN,
            ASSUMED,
            kept if fits else over,
            worst.allowed_kg,
            worst.allowed_kg,
            need=worst.mass_kg,
        ),
    ]
