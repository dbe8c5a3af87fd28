"""Share of passes in which a bar meets a thing of one height, or of a law of heights.

A bar set at one height strays up and down over uneven ground, by a normal law.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit, vectorize
from numpy.typing import ArrayLike, NDArray

_FAR = 9.0  # beyond so many spreads the normal law leaves less than 1e-18
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)
_ROOT_HALF = math.sqrt(0.5)
_PEAK = 1.0 / math.sqrt(2.0 * math.pi)


def struck_share(
    height_m: ArrayLike, cut_m: ArrayLike, *, spread_m: ArrayLike
) -> NDArray[np.float64]:
    """Share of passes in which a bar meets a thing of one height.

    Parameters
    ----------
    height_m, cut_m, spread_m : array_like
        Height of the thing and of the bar over the ground, and one standard deviation of their
        difference; they broadcast. Without a spread a thing as high as the bar is struck.

    Returns
    -------
    ndarray
        From 0 to 1; NaN where something is unknown.

    Examples
    --------
    As high as the bar: every second time. One spread higher: 84 of 100.

    >>> struck_share([0.08, 0.10], 0.08, spread_m=0.02).round(4)
    array([0.5   , 0.8413])
    >>> struck_share([0.07, 0.08, float("nan")], 0.08, spread_m=0.0)
    array([ 0.,  1., nan])
    """
    return np.asarray(_point_shares(*_floats(height_m, cut_m, spread_m)))


def struck_share_of_law(
    low_m: ArrayLike, mode_m: ArrayLike, high_m: ArrayLike, cut_m: ArrayLike, spread_m: ArrayLike
) -> NDArray[np.float64]:
    """The same averaged over a triangular law of heights, in closed form.

    Parameters
    ----------
    low_m, mode_m, high_m : array_like
        Ends and peak of the law, ``low_m <= mode_m <= high_m``; all equal is one height.
    cut_m, spread_m : array_like
        As :func:`struck_share` takes them.

    Notes
    -----
    A triangular law is two ramps, met with the weight of their widths. Over a ramp the mean of
    Phi follows from its antiderivatives z Phi + phi and ((z^2 + 1) Phi + z phi) / 2; a ramp
    narrower than the spread is summed at eight Gauss-Legendre points instead, since there the
    antiderivatives differ by less than their rounding.

    Examples
    --------
    Without a spread it is the share of the law above the bar:

    >>> struck_share_of_law(0.0, 0.0, 0.2, [0.0, 0.1, 0.2], 0.0)
    array([1.  , 0.25, 0.  ])
    """
    return np.asarray(_law_shares(*_floats(low_m, mode_m, high_m, cut_m, spread_m)))


def _floats(*given: ArrayLike) -> list[NDArray[np.float64]]:
    return [np.asarray(one, np.float64) for one in given]


@njit(cache=True, nogil=True, error_model="numpy")
def point_share(height: float, cut: float, spread: float) -> float:
    """One figure of :func:`struck_share`."""
    if math.isnan(height + cut + spread):
        return np.nan
    over = height - cut
    if spread <= 0.0:
        return 1.0 if over >= 0.0 else 0.0
    return 0.5 * math.erfc(-_ROOT_HALF * over / spread)


@njit(cache=True, nogil=True, error_model="numpy")
def _once(over: float, spread: float) -> float:
    """Mean of what a normal law of this spread stands over nothing: first antiderivative."""
    if over >= _FAR * spread:
        return over
    if over <= -_FAR * spread:
        return 0.0
    z = over / spread
    return spread * (z * 0.5 * math.erfc(-_ROOT_HALF * z) + _PEAK * math.exp(-0.5 * z * z))


@njit(cache=True, nogil=True, error_model="numpy")
def _twice(over: float, spread: float) -> float:
    """Second antiderivative: half the mean square of the same."""
    if over >= _FAR * spread:
        return 0.5 * (over * over + spread * spread)
    if over <= -_FAR * spread:
        return 0.0
    z = over / spread
    under = 0.5 * math.erfc(-_ROOT_HALF * z)
    return 0.5 * spread * spread * ((z * z + 1.0) * under + z * _PEAK * math.exp(-0.5 * z * z))


@njit(cache=True, nogil=True, error_model="numpy")
def _ramp(foot: float, peak: float, spread: float) -> float:
    """Chance to stand over 0 with a height that thins out from its peak down to its foot.

    The density rises from nothing at ``foot`` to ``peak``, or falls from it when the foot is the
    greater; both are heights over the bar.
    """
    width = abs(peak - foot)
    if width <= spread:
        total = 0.0
        for k in range(len(_NODES)):
            part = 0.5 * (1.0 + _NODES[k])
            total += _WEIGHTS[k] * part * point_share(foot + part * (peak - foot), 0.0, spread)
        return total
    side = -1.0 if foot < peak else 1.0
    twice = _twice(side * foot, spread) - _twice(side * peak, spread)
    under = 2.0 * (twice / width - _once(side * peak, spread)) / width
    return 1.0 - under if foot < peak else under


@njit(cache=True, nogil=True, error_model="numpy")
def law_share(low: float, mode: float, high: float, cut: float, spread: float) -> float:
    """One figure of :func:`struck_share_of_law`."""
    if math.isnan(low + mode + high + cut + spread):
        return np.nan
    if high <= low:
        return point_share(mode, cut, spread)
    if low - cut >= _FAR * spread:
        return 1.0
    if high - cut < -_FAR * spread:
        return 0.0
    share = 0.0
    if mode > low:
        share += (mode - low) * _ramp(low - cut, mode - cut, spread)
    if high > mode:
        share += (high - mode) * _ramp(high - cut, mode - cut, spread)
    return min(max(share / (high - low), 0.0), 1.0)


@vectorize(cache=True)
def _point_shares(height: float, cut: float, spread: float) -> float:
    return point_share(height, cut, spread)


@vectorize(cache=True)
def _law_shares(low: float, mode: float, high: float, cut: float, spread: float) -> float:
    return law_share(low, mode, high, cut, spread)
