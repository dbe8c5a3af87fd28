"""What one cut is reckoned to meet, as findings: strikes, wraps, things in the forage."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldmap.finding import Finding, Level, worst
from fieldmap.risk.left import Left
from fieldmap.risk.left_words import STONES, few
from fieldmap.risk.matrix import GRAVE, Rated, rated
from fieldmap.risk.strikes import Things, kept, met
from fieldmap.risk.things import left_things
from fieldmap.risk.told import Told
from fieldmap.tables import Tables

_NAMED = 3
STRIKES = "expected strikes"
_NOT_FOR_KNIVES = (
    "Do not put knives on ground as stony as this: pick, rake or press the stones first, or leave "
    "it out; the stoniness class decides, so look whether it is right"
)
_BELOW_BAR = ("strikes.wraps_on_contact", "strikes.raked_in")


class _Outcome(NamedTuple):
    """One of the three: its name, which things it can come of, and the caution it has."""

    what: str
    harm: str
    rows: tuple[str, ...]
    caution: str


_OUTCOMES = (
    _Outcome(
        STRIKES,
        "knives",
        (),
        "WARNING: what the knives strike, or a piece of a knife, flies faster than anyone can step "
        "aside. Guards and curtains in place, nobody in the area, never throw towards people, "
        "roads or houses. A reckoned number is no promise: the machine's manual and the person "
        "who walked the ground decide.",
    ),
    _Outcome(
        "expected wraps",
        "rotor",
        _BELOW_BAR[:1],
        "WARNING: what winds up on a rotor heats and can start a fire. Stop the engine, take the "
        "key and wait until everything stands still before cutting any off.",
    ),
    _Outcome(
        "things that end in the forage",
        "forage",
        _BELOW_BAR,
        "CAUTION: what has gone into the bale cannot be sorted out again, and metal, glass or a "
        "carcass can kill the stock that eat it. Throw doubtful forage away; a veterinarian can "
        "advise.",
    ),
)


class ByClass(NamedTuple):
    """What the stoniness class by itself means: strikes at least, and whether too many.

    ``struck`` is the number in one cut from the least stones of the class, on ground not looked
    at; ``beyond`` whether the ground as it lies is not for knives.
    """

    struck: float = 0.0
    beyond: bool = False


NO_STONES = ByClass()


def strike_findings(
    field_id: str,
    things: Things,
    missing: Sequence[str],
    bar: tuple[float, float],
    *,
    unlooked: bool,
    stony: ByClass = NO_STONES,
    sources: Sequence[str] = (),
    tables: Tables,
) -> list[Told]:
    """Three findings for one cut of a field at one setting of the mower.

    Parameters
    ----------
    field_id : str
    things : Things
        Marked and unseen.
    missing : sequence of str
        What cannot be reckoned, in words: :attr:`fieldmap.risk.left.Left.missing`.
    bar : tuple of float
        Height of the bar, and how far below it the knives reach for light things; NaN unknown.
    unlooked : bool
        Whether ground that counts was not looked at.
    stony : ByClass
        What the stoniness class by itself means (:func:`by_class`).
    sources : sequence of str
        Where the things come from: the log's name, the sources of what is left.
    tables : Tables
        ``strikes.*``, ``knives.following_error``, ``unseen_kinds.*``, ``hazard_kinds.*``,
        ``risk_matrix.*``.

    Returns
    -------
    list of Told
        Things met, value and range. When something is missing there is neither a value nor an
        upper end: what nobody reckoned may be any number. Unknown findings are echoes of those
        that say what is missing.
    """
    cut_m, lift_m = bar
    each = met(things, np.array([cut_m]), np.array([lift_m]), tables=tables)
    told = []
    for outcome, held in zip(_OUTCOMES, each, strict=True):
        harmed = getattr(things, outcome.harm)
        kinds = _by_kind(things, harmed & things.passed, held[0], tables)
        unknown = tuple(missing)
        if math.isnan(cut_m) or (outcome.rows and math.isnan(lift_m)):
            unknown = (*unknown, "all of it, for the cut height or the knife is not known")
        ends = held[0].sum(axis=0).tolist()
        change, choice = "", ""
        level = _level(kinds, bool(unknown) or unlooked, tables)
        beyond = stony.beyond and outcome.what == STRIKES
        least = stony.struck if outcome.what == STRIKES else 0.0
        if least >= tables.number("strikes.care_in_a_cut"):
            level = worst((level, "care"))
        if beyond:
            level, change, choice = "stop", _NOT_FOR_KNIVES, "not for knives as it lies"
        finding = Finding(
            level=level,
            what=outcome.what,
            where=field_id,
            why=_why(kinds, ends, unknown) + _class_words(least, ends[1]) + _round(things, harmed),
            basis="assumed",
            sources=_sources(outcome, kept(things, harmed & things.passed), sources, tables),
            value=None if unknown or beyond else ends[1],
            low=None if (unknown and not beyond) or math.isnan(ends[0]) else ends[0],
            high=None if unknown or beyond else max(ends[2], least),
            unit="things",
            caution=outcome.caution,
            choice=choice,
        )
        told.append(Told(finding, change, echo=level == "unknown"))
    return told


def by_class(left: Left, cut_m: float, *, tables: Tables) -> ByClass:
    """Strikes on the least stones that a field's stoniness class stands for.

    Somebody who knows the ground told the class: a walk that wrote down no stone does not undo it.

    Parameters
    ----------
    left : Left
    cut_m : float
        Cut height; NaN strikes nothing here.
    tables : Tables
        ``strikes.too_many_per_ha``; ``density.stones_*``, ``unseen_heights``,
        ``knives.following_error``.
    """
    for one in left.estimates:
        row = tables[f"density.{one.source_of_things}"]
        if not one.source_of_things.startswith(STONES) or row.low is None or math.isnan(cut_m):
            continue
        unseen = row.low * (one.area_ha - one.looked_ha)
        counted = one._replace(left_low=unseen, left=unseen, left_high=unseen)
        stones = left_things([counted], tables=tables)
        held = met(stones, np.array([cut_m]), np.zeros(1), tables=tables).strikes
        struck = float(held[0, :, 1].sum())
        most = tables.number("strikes.too_many_per_ha") * one.area_ha
        return ByClass(struck, struck >= most)
    return ByClass()


class _Share(NamedTuple):
    """One kind: label, how many are met of what is marked and of what lies unseen, rating.

    ``likely`` is how many it is rated by: a mark that nobody measured counts as met.
    """

    label: str
    marked: float
    unseen: float
    likely: float
    rated: Rated


def _by_kind(
    things: Things, counts: NDArray[np.bool_], held: NDArray[np.float64], tables: Tables
) -> list[_Share]:
    """What is met of each kind."""
    likely = np.where(things.logged & ~things.measured, held[:, 2], held[:, 1])
    shares = []
    for kind in dict.fromkeys(things.kind[counts]):
        where = counts & (things.kind == kind)
        marked = float(held[where & things.logged, 1].sum())
        unseen = float(held[where & ~things.logged, 1].sum())
        high = float(held[where, 2].sum())
        number = float(likely[where].sum())
        one = rated(kind, number, high=high, tables=tables)
        label = tables[f"hazard_kinds.{kind}"].words["label"]
        shares.append(_Share(label, marked, unseen, number, one))
    return shares


def _level(kinds: list[_Share], unknown: bool, tables: Tables) -> Level:
    """Care where a kind is rated high, or much is met whatever its rating."""
    if unknown:
        return "unknown"
    grave = any(share.rated.rating == GRAVE for share in kinds)
    many = sum(share.likely for share in kinds) >= tables.number("strikes.care_in_a_cut")
    return "care" if grave or many else "ok"


def _why(kinds: list[_Share], ends: list[float], missing: tuple[str, ...]) -> str:
    words = ["Reckoned for one cut."]
    if missing:
        words.append(f"Not reckoned: {'; '.join(missing)}.")
        if not math.isnan(ends[1]):
            low, value, high = (few(end) for end in ends)
            words.append(f"Of the rest {value} ({low} to {high}).")
    words += _lists("Marked", [(share, share.marked) for share in kinds])
    words += _lists("Unseen", [(share, share.unseen) for share in kinds])
    if not kinds and not missing:
        words.append("Nothing marked or reckoned with comes into it.")
    return " ".join(words)


def _lists(name: str, shares: list[tuple[_Share, float]]) -> list[str]:
    """The kinds that matter most: the gravest first, and of these the most."""
    held = [pair for pair in shares if pair[1] > 0.0]
    held.sort(key=lambda pair: (pair[0].rated.rank, pair[1]), reverse=True)
    if not held:
        return []
    named = ", ".join(_named(share, number) for share, number in held[:_NAMED])
    more = len(held) - _NAMED
    if more > 0:
        named += " and 1 kind more" if more == 1 else f" and {more} kinds more"
    return [f"{name}: {named}."]


def _named(share: _Share, number: float) -> str:
    one = share.rated
    return f"{share.label} {few(number)} ({one.rating.lower()}, {one.severity}{one.likelihood})"


def _class_words(least: float, value: float) -> str:
    """What is said where the class means more than what was found and looked at does."""
    if math.isnan(value) or least <= max(value, 0.05):
        return ""
    return (
        f" The stoniness class by itself means {few(least)} strikes on stones or more: fewer were "
        "written down, so look whether the class is right or stones were passed by unwritten."
    )


def _round(things: Things, harmed: NDArray[np.bool_]) -> str:
    """What is said of marks that the mower goes round."""
    count = int((harmed & things.logged & ~things.passed).sum())
    if count == 0:
        return ""
    marks = "1 mark that is kept out of is" if count == 1 else f"{count} marks kept out of are"
    return f" {marks} not counted: mown round, as long as somebody sees where."


def _sources(
    outcome: _Outcome, things: Things, given: Sequence[str], tables: Tables
) -> tuple[str, ...]:
    keys = ["knives.following_error", *outcome.rows]
    if things.measured.any():
        keys.append("strikes.height_error")
    keys += [f"hazard_kinds.{kind}" for kind in dict.fromkeys(things.kind)]
    if not things.logged.all():
        keys += [row.key for row in tables.rows("unseen_kinds")]
    keys.append("risk_matrix.a_1")
    return tuple(dict.fromkeys((*given, *tables.source_of(*keys))))
