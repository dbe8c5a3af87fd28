"""What a cut height and a knife do to yield, to soil in the hay and to the stand.

Figures with a range are arrays whose last axis is low, value, high.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Figures = NDArray[np.float64]

_CM_PER_M = 100.0


def per_cut(first: float, season: float, cuttings: float, cutting: int | None) -> Figures:
    """Yield given up in one cutting, by a figure for the first and one for the season.

    Parameters
    ----------
    first, season : float
        t/ha for each centimetre: of the first cutting, and of all ``cuttings`` together.
    cuttings : float
        Cuttings in that season.
    cutting : int or None
        Which one this is; ``None`` gives the range over first and later ones.

    Returns
    -------
    ndarray, shape (3,)

    Examples
    --------
    >>> per_cut(0.115, 0.441, 3, 2).round(3)
    array([0.163, 0.163, 0.163])
    >>> per_cut(0.115, 0.441, 3, None).round(3)
    array([0.115, 0.139, 0.163])
    """
    later = max(season - first, 0.0) / max(cuttings - 1.0, 1.0)
    if cutting == 1:
        return np.full(3, first)
    if cutting is not None:
        return np.full(3, later)
    return np.array([min(first, later), (first + later) / 2.0, max(first, later)])


def yield_given_up(
    cut_m: Figures,
    *,
    from_m: float,
    t_ha_cm: Figures,
    measured_m: tuple[float, float],
    elsewhere: Figures | None,
) -> Figures:
    """Dry matter left standing by a cut higher than the lowest that the crop stands.

    Parameters
    ----------
    cut_m : ndarray, shape (options,)
    from_m : float
        The lowest height of the crop's own range, from which it is counted.
    t_ha_cm : ndarray, shape (3,)
        t/ha for each centimetre.
    measured_m : (float, float)
        Heights between which the figure was measured: outside them the low end counts nothing.
    elsewhere : ndarray, shape (3,), or None
        For a crop on which nothing was measured: times the figure. ``None`` for the crop it
        was measured on.

    Returns
    -------
    ndarray, shape (options, 3)
        t/ha.

    Examples
    --------
    Alfalfa cut at 3 instead of 2 in, first cutting:

    >>> rate = np.full(3, 0.115)
    >>> yield_given_up(np.array([0.0762]), from_m=0.0508, t_ha_cm=rate,
    ...                measured_m=(0.0508, 0.1524), elsewhere=None).round(3)
    array([[0.292, 0.292, 0.292]])

    A cut below the range gives nothing up; a height nobody knows is unknown:

    >>> yield_given_up(np.array([0.03, np.nan]), from_m=0.0508, t_ha_cm=rate,
    ...                measured_m=(0.0508, 0.1524), elsewhere=None)
    array([[ 0.,  0.,  0.],
           [nan, nan, nan]])
    """
    over_cm = _CM_PER_M * np.maximum(cut_m - from_m, 0.0)
    low_m, high_m = measured_m
    inside_cm = _CM_PER_M * np.maximum(np.clip(cut_m, low_m, high_m) - max(from_m, low_m), 0.0)
    counted = np.stack([np.minimum(inside_cm, over_cm), over_cm, over_cm], axis=1) * t_ha_cm
    return counted if elsewhere is None else counted * elsewhere


def ash_points(
    cut_m: Figures,
    high_lift: NDArray[np.bool_],
    *,
    lift: Figures,
    per_cm: Figures,
    floor_m: Figures,
    times: Figures,
) -> Figures:
    """Points of ash that the knife and a cut under the floor add.

    Parameters
    ----------
    cut_m : ndarray, shape (options,)
    high_lift : ndarray of bool, shape (options,)
    lift : ndarray, shape (3,)
        Points that high-lift knives add.
    per_cm : ndarray, shape (3,)
        Points for each centimetre under the floor.
    floor_m : ndarray, shape (3,)
        The height under which dirt rises.
    times : ndarray, shape (3,)
        How many times as much it is on silted ground; ones elsewhere.

    Returns
    -------
    ndarray, shape (options, 3)

    Examples
    --------
    >>> ones = np.ones(3)
    >>> ash_points(np.array([0.05, 0.08]), np.array([False, True]), lift=0.8 * ones,
    ...            per_cm=0.5 * ones, floor_m=0.07 * ones, times=ones)
    array([[1. , 1. , 1. ],
           [0.8, 0.8, 0.8]])
    """
    under_cm = _CM_PER_M * np.maximum(floor_m - cut_m[:, np.newaxis], 0.0)
    return times * (lift * high_lift[:, np.newaxis] + per_cm * under_cm)


def stand_left(cut_m: Figures, *, heights_m: Figures, left_pct: Figures) -> Figures:
    """Share of the stand left when it is cut at a height again and again.

    Parameters
    ----------
    cut_m : ndarray, shape (options,)
    heights_m : ndarray, shape (points,), rising
    left_pct : ndarray, shape (points, 3)
        What was measured there.

    Returns
    -------
    ndarray, shape (options, 3)
        Percent, on straight lines between the points; NaN beyond them, where nobody measured.

    Examples
    --------
    >>> points = np.array([[20.0, 20.0, 20.0], [50.0, 50.0, 50.0]])
    >>> stand_left(np.array([0.02, 0.03]), heights_m=np.array([0.01, 0.03]), left_pct=points)
    array([[35., 35., 35.],
           [50., 50., 50.]])
    >>> stand_left(np.array([0.2]), heights_m=np.array([0.01, 0.03]), left_pct=points)
    array([[nan, nan, nan]])
    """
    columns = [
        np.interp(cut_m, heights_m, column, left=np.nan, right=np.nan) for column in left_pct.T
    ]
    return np.stack(columns, axis=1)
