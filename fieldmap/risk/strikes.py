"""How many things one cut of a field meets: strikes, wraps, and what ends in the forage.

A bar set at one height strays up and down over uneven ground. A thing is struck where it stands
higher than the bar comes; how often that is follows from the normal law of the straying, averaged
over the heights that such things have.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from fieldmap.risk.struck import law_share, point_share, struck_share, struck_share_of_law
from fieldmap.tables import Constant, Tables

__all__ = [
    "Expected", "Things", "expected", "joined", "kept", "met", "no_things", "span",
    "struck_share", "struck_share_of_law",
]  # fmt: skip


class Things(NamedTuple):
    """What a mower may meet in a field; arrays of shape (things,).

    ``kind`` is a row of ``hazard_kinds.csv``; ``logged`` a mark of the log, else what is
    reckoned to lie unseen. ``count`` is how many lie there, between ``count_low`` and
    ``count_high`` (1 for a mark). ``low_m``, ``mode_m`` and ``high_m`` are the triangular law of
    the height over the ground, all equal where a height was ``measured``, NaN where none is
    known; ``spread_m`` is the standard error of a told height. ``knives``, ``rotor`` and
    ``forage`` say what it endangers, ``passed`` whether the mower passes over it.
    """

    kind: NDArray[np.object_]
    logged: NDArray[np.bool_]
    count: NDArray[np.float64]  # type: ignore[assignment]
    count_low: NDArray[np.float64]
    count_high: NDArray[np.float64]
    low_m: NDArray[np.float64]
    mode_m: NDArray[np.float64]
    high_m: NDArray[np.float64]
    spread_m: NDArray[np.float64]
    measured: NDArray[np.bool_]
    knives: NDArray[np.bool_]
    rotor: NDArray[np.bool_]
    forage: NDArray[np.bool_]
    passed: NDArray[np.bool_]


class Expected(NamedTuple):
    """Things met in one cut: the last axis is low, value, high; ``forage`` counts things too."""

    strikes: NDArray[np.float64]
    wraps: NDArray[np.float64]
    forage: NDArray[np.float64]


def no_things() -> Things:
    """Nothing to meet.

    Examples
    --------
    >>> len(no_things().kind)
    0
    """
    none, figures = np.empty(0, bool), np.empty(0)
    held = (np.empty(0, object), none, *[figures] * 7, *[none] * 5)
    return Things._make(held)


def joined(*things: Things) -> Things:
    """Several lots of things as one, in the order given."""
    if not things:
        return no_things()
    return Things._make(np.concatenate(held) for held in zip(*things, strict=True))


def kept(things: Things, where: NDArray[np.bool_]) -> Things:
    """The things of a mask of shape (things,)."""
    return Things._make(held[where] for held in things)


def expected(
    things: Things, cut_m: NDArray[np.float64], lift_m: NDArray[np.float64], *, tables: Tables
) -> Expected:
    """What one cut of the field meets, for several settings of the mower.

    Parameters
    ----------
    things : Things
    cut_m : ndarray, shape (options,)
        Height of the bar over the ground.
    lift_m : ndarray, shape (options,)
        How far below the bar the knives reach for light things: ``strikes.lift_high_lift`` or
        ``strikes.lift_low_lift``.
    tables : Tables
        ``knives.following_error``, ``strikes.wraps_on_contact``, ``strikes.raked_in``.

    Returns
    -------
    Expected
        Arrays (options, 3). An unknown cut height or reach gives NaN.

    Notes
    -----
    The sum of :func:`met` over the things. Low ends and high ends are summed as they are, as if
    all erred to one side: the range is rather too wide than too narrow.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> expected(no_things(), np.array([0.08]), np.array([0.01]), tables=load_tables()).strikes
    array([[0., 0., 0.]])
    """
    each = met(things, cut_m, lift_m, tables=tables)
    bar = 0.0 * np.asarray(cut_m, float)[:, np.newaxis]  # NaN where the height is not known
    light = bar + 0.0 * np.asarray(lift_m, float)[:, np.newaxis]
    sums = (held.sum(axis=1) for held in each)
    return Expected(*(one + more for one, more in zip(sums, (bar, light, light), strict=True)))


def met(
    things: Things, cut_m: NDArray[np.float64], lift_m: NDArray[np.float64], *, tables: Tables
) -> Expected:
    """What one cut meets of each thing, for several settings: arrays (options, things, 3).

    Parameters
    ----------
    things, cut_m, lift_m, tables
        As :func:`expected` takes them.

    Notes
    -----
    The share struck is Phi((h - H) / spread) with spread the root of the squares of the bar's
    straying and of the height's own error, averaged over the law of the heights. It is reckoned
    with the low, middle and high straying; its range are the least and the greatest of the three.
    A mark whose height nobody measured may stand up (high end: met), or be as low as its kind
    goes. A thing without any height is met (low end: not).

    A stone is struck at the height of the bar. What winds up or goes into the forage is light,
    and is met already where it stands over the bar less ``lift_m``. Wraps are the share
    ``strikes.wraps_on_contact`` of the contacts; into the forage goes what is met, and of the
    rest the share ``strikes.raked_in``.
    """
    settings = np.stack([np.asarray(cut_m, float), np.asarray(lift_m, float)], axis=1)
    laws = np.stack([things.low_m, things.mode_m, things.high_m, things.spread_m], axis=1)
    counts = np.stack([things.count_low, things.count, things.count_high], axis=1)
    harms = (harm & things.passed for harm in (things.knives, things.rotor, things.forage))
    flags = np.stack([*harms, things.logged & ~things.measured], axis=1)
    rows = ("knives.following_error", "strikes.wraps_on_contact", "strikes.raked_in")
    figures = np.stack([span(tables[row]) for row in rows])
    out = np.zeros((3, len(settings), len(laws), 3))
    _met(laws, counts, flags, settings, figures, out)
    return Expected(*out)


def span(row: Constant) -> NDArray[np.float64]:
    """Low, value and high of a row; an end that it does not have is its value."""
    value = row.number()
    low = value if row.low is None else row.low
    return np.array([low, value, value if row.high is None else row.high])


@njit(cache=True, nogil=True, error_model="numpy")
def _share_range(
    law: NDArray[np.float64],
    doubtful: bool,
    cut: float,
    strays: NDArray[np.float64],
    out: NDArray[np.float64],
) -> None:
    """Low, value and high of the share met; ``doubtful``: a mark that nobody measured."""
    if math.isnan(cut):
        out[:] = np.nan
        return
    if math.isnan(law[0] + law[1] + law[2]):
        out[0], out[1], out[2] = 0.0, 1.0, 1.0
        return
    out[0], out[2] = 1.0, 0.0
    for k in range(3):
        spread = math.hypot(strays[k], law[3])
        share = law_share(law[0], law[1], law[2], cut, spread)
        if k == 1:
            out[1] = share
        out[0], out[2] = min(out[0], share), max(out[2], share)
        if doubtful:
            out[0] = min(out[0], point_share(law[0], cut, spread))
    if doubtful:
        out[2] = 1.0


@njit(cache=True, nogil=True, error_model="numpy")
def _first_alike(laws: NDArray[np.float64], doubtful: NDArray[np.bool_]) -> NDArray[np.int64]:
    """For each thing the first one of the same law, which is often itself."""
    first = np.arange(len(laws))
    for i in range(len(laws)):
        for j in range(i):
            same = doubtful[i] == doubtful[j]
            for k in range(4):
                same = same and laws[i, k] == laws[j, k]
            if same:
                first[i] = j
                break
    return first


@njit(cache=True, nogil=True, error_model="numpy")
def _met(
    laws: NDArray[np.float64],
    counts: NDArray[np.float64],
    flags: NDArray[np.bool_],
    settings: NDArray[np.float64],
    figures: NDArray[np.float64],
    out: NDArray[np.float64],
) -> None:
    """Fills ``out`` of shape (outcomes, options, things, 3).

    Things of one law have one share. ``flags``: knives, rotor, forage, doubtful; ``figures``:
    straying, wraps, raked in.
    """
    first = _first_alike(laws, flags[:, 3])
    shares = np.zeros((len(laws), 2, 3))
    for j in range(len(settings)):
        bar, light = settings[j, 0], settings[j, 0] - settings[j, 1]
        for i in range(len(laws)):
            if first[i] == i:
                _share_range(laws[i], flags[i, 3], bar, figures[0], shares[i, 0])
                _share_range(laws[i], flags[i, 3], light, figures[0], shares[i, 1])
            share = shares[first[i]]
            for k in range(3):
                if flags[i, 0]:
                    out[0, j, i, k] = counts[i, k] * share[0, k]
                if flags[i, 1]:
                    out[1, j, i, k] = counts[i, k] * share[1, k] * figures[1, k]
                if flags[i, 2]:
                    in_all = share[1, k] + (1.0 - share[1, k]) * figures[2, k]
                    out[2, j, i, k] = counts[i, k] * in_all
