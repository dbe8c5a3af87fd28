"""What a mower may meet: the marks of the log, and what is reckoned to lie unseen."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from fieldmap.hazards.density import Estimate
from fieldmap.risk.causes import KEEP_OUT
from fieldmap.risk.left_words import STONES
from fieldmap.risk.strikes import Things, joined, no_things
from fieldmap.tables import Constant, Tables

Mixes = Mapping[str, Sequence[tuple[str, float]]]
_HARMS = ("knives", "rotor", "forage")


class _Kind(NamedTuple):
    """What one row of ``hazard_kinds.csv`` says: the law of heights, the harms, mown over."""

    law_m: tuple[float, float, float]
    harms: tuple[bool, ...]
    mown_over: bool


def logged_things(marks: gpd.GeoDataFrame, *, tables: Tables) -> Things:
    """The marks of a field's log, one thing each, in the table's order.

    Parameters
    ----------
    marks : GeoDataFrame
        Columns ``kind`` and ``height_m``, NaN where nobody measured it.
    tables : Tables
        ``hazard_kinds.*``, ``strikes.height_error``.

    Notes
    -----
    A mark that is to be kept out of is mown round, as long as it is marked: the mower does not
    pass over it. A height that was told has the error ``strikes.height_error``.
    """
    kinds = marks["kind"].to_numpy(object)
    if len(kinds) == 0:
        return no_things()
    rows = {kind: kind_of(tables[f"hazard_kinds.{kind}"]) for kind in set(kinds)}
    told_m = marks["height_m"].to_numpy(float)
    measured = np.isfinite(told_m)
    law_m = np.array([rows[kind].law_m for kind in kinds])
    law_m[measured] = told_m[measured, np.newaxis]
    return _things(
        kinds,
        [rows[kind] for kind in kinds],
        counts=np.ones((3, len(kinds))),
        law_m=law_m,
        spread_m=np.where(measured, tables.number("strikes.height_error"), 0.0),
        measured=measured,
    )


def left_things(
    estimates: Iterable[Estimate], *, tables: Tables, made_of: Mixes | None = None
) -> Things:
    """What is reckoned to lie unseen, split over the kinds that its source is made of.

    Parameters
    ----------
    estimates : iterable of Estimate
        As :func:`fieldmap.risk.left.what_is_left` gives them.
    tables : Tables
        ``unseen_kinds.*``, ``hazard_kinds.*``, and ``unseen_heights.*`` where what nobody has
        marked stands less high than what somebody saw.
    made_of : Mixes, optional
        What :func:`mixes` gives of these tables, where it is at hand.

    Notes
    -----
    Nobody knows of these, so the mower passes over all of them, also over what would be kept
    out of were it marked. The mix of kinds is taken as it stands, without a range of its own:
    the range is that of the number. Of a small number the 95 % end may be none while the mean is
    above it; then the mean is the high end.
    """
    held = mixes(tables) if made_of is None else made_of
    return joined(
        *(_of_source(one, held[mix_key(one.source_of_things)], tables) for one in estimates)
    )


def mixes(tables: Tables) -> Mixes:
    """Of each source of things the kinds that it is made of, with their shares, which sum to 1.

    A source that ends in a class of stoniness is under "stones".

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> held = mixes(load_tables())
    >>> held["stones"], [kind for kind, _ in held["road_litter"]]
    ([('stone', 1.0)], ['glass', 'tyre', 'litter'])
    """
    weights: dict[str, list[tuple[str, float]]] = {}
    for row in tables.rows("unseen_kinds"):
        held = weights.setdefault(row.words["source_of_things"], [])
        held.append((row.words["kind"], row.number()))
    return {source: _shares(held) for source, held in weights.items()}


def _shares(weights: list[tuple[str, float]]) -> list[tuple[str, float]]:
    """Weights that are all 0 are taken for equal: nobody said what lies there."""
    total = sum(weight for _, weight in weights)
    if total <= 0.0:
        return [(kind, 1.0 / len(weights)) for kind, _ in weights]
    return [(kind, weight / total) for kind, weight in weights]


def mix_key(source_of_things: str) -> str:
    """Where :func:`mixes` has a row of ``density.csv``.

    Examples
    --------
    >>> mix_key("stones_3"), mix_key("flood_debris")
    ('stones', 'flood_debris')
    """
    return STONES.rstrip("_") if source_of_things.startswith(STONES) else source_of_things


def kind_of(row: Constant) -> _Kind:
    """What a kind's row says of its height, of what it endangers, and whether it is mown over."""
    endangered = row.words["endangers"].split(";")
    harms = tuple(harm in endangered for harm in _HARMS)
    return _Kind(_law(row), harms, row.words["action"] != KEEP_OUT and any(harms))


def _unseen(kind: str, tables: Tables) -> _Kind:
    """A kind as it lies where nobody has marked it: mown over, and by its own law of heights."""
    held = kind_of(tables[f"hazard_kinds.{kind}"])._replace(mown_over=True)
    row = tables.constants.get(f"unseen_heights.{kind}")
    return held if row is None else held._replace(law_m=_law(row))


def _law(row: Constant) -> tuple[float, float, float]:
    """The triangular law of a kind's height; without an end there is none, unless the farm says.

    The farm's own figure is one height, with no ends to it.
    """
    if row.value is None:
        return math.nan, math.nan, math.nan
    if row.overridden and row.low is None and row.high is None:
        return row.value, row.value, row.value
    if row.low is None or row.high is None:
        return math.nan, math.nan, math.nan
    return row.low, row.value, row.high


def _of_source(one: Estimate, mix: Sequence[tuple[str, float]], tables: Tables) -> Things:
    kinds = np.array([kind for kind, _ in mix], object)
    rows = [_unseen(kind, tables) for kind in kinds]
    numbers = np.array([min(one.left_low, one.left), one.left, max(one.left_high, one.left)])
    shares = np.array([share for _, share in mix])
    return _things(
        kinds,
        rows,
        counts=numbers[:, np.newaxis] * shares,
        law_m=np.array([row.law_m for row in rows]),
        spread_m=np.zeros(len(kinds)),
        measured=None,
    )


def _things(
    kinds: NDArray[np.object_],
    rows: Sequence[_Kind],
    *,
    counts: NDArray[np.float64],
    law_m: NDArray[np.float64],
    spread_m: NDArray[np.float64],
    measured: NDArray[np.bool_] | None,
) -> Things:
    """The arrays of :class:`Things`; ``measured`` is ``None`` for what nobody has seen."""
    harms = np.array([row.harms for row in rows])
    none = np.zeros(len(kinds), bool)
    known = none if measured is None else measured
    logged = none if measured is None else ~none
    low, value, high = counts
    over = np.array([row.mown_over for row in rows])
    held = (kinds, logged, value, low, high, *law_m.T, spread_m, known, *harms.T, over)
    return Things._make(held)
