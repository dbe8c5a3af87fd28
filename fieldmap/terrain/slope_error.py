"""What the error of the heights does to a slope: its standard error and the band it lies in.

Errors are taken as normal and independent from cell to cell, the same in all directions. Errors
that go together over about three cells make a slope worse than that (Oksanen & Sarjakoski 2005);
errors that go together over many cells make it better.
"""

from __future__ import annotations

import functools
import math
from statistics import NormalDist
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldmap.errors import Fault, raise_all

_Law = Literal["length", "component"]
_Band = tuple[NDArray[np.float64], NDArray[np.float64]]
_FARTHEST = 20.0  # measured over error: beyond it the law is nearly normal
_STEP = 0.025  # between the rows of the table of quantiles
_TAIL = 6.5  # errors to each side that hold all but 1e-10 of the law
_NOTHING = 1e-9  # percent: an error up to this is none
_FINE = 0.02  # errors between two points of the integration


def gradient_sigma(error_m: float | None, *, cell_m: float, factor: float) -> float:
    """Standard error of one component of the slope, as rise over run.

    Parameters
    ----------
    error_m : float or None
        Standard error of one height.
    cell_m : float
        Side of a cell on the ground.
    factor : float
        Table row ``terrain.dem_slope_error_factor``: for Horn's window sqrt(12) / 8.

    Returns
    -------
    float
        ``factor * error_m / cell_m``; NaN when the error is not known.

    Examples
    --------
    >>> round(gradient_sigma(0.5, cell_m=10.0, factor=0.4330127), 5)
    0.02165
    >>> gradient_sigma(None, cell_m=10.0, factor=0.4330127)
    nan
    """
    if error_m is None or not (error_m >= 0.0 and cell_m > 0.0):
        return math.nan
    return factor * error_m / cell_m


def slope_band_pct(percent: ArrayLike, *, sigma: ArrayLike, share: float = 0.9) -> _Band:
    """The band in which the true slope lies, given the measured one.

    Parameters
    ----------
    percent : float or ndarray
        Measured slope in percent, from 0 up.
    sigma : float or ndarray
        Standard error of each of its two components, rise over run.
    share : float
        How often the band holds the truth, between 0 and 1; as often below it as above.

    Returns
    -------
    (ndarray, ndarray)
        Low and high end in percent, of the shape the arguments make together; NaN where slope or
        error is unknown.

    Raises
    ------
    InputError
        A share that is not between 0 and 1.

    Notes
    -----
    Every true gradient being equally likely beforehand, the true one is normal about the measured
    one, so that its length follows Rice's law. On level ground the band lies above the measured
    slope: 0 % seen through an error is most likely a little more than 0 %. Quantiles are read
    from a table made once, to 1e-3 ``sigma``.

    Examples
    --------
    >>> low, high = slope_band_pct(12.0, sigma=0.02165)
    >>> round(float(low), 1), round(float(high), 1)
    (8.7, 15.7)
    >>> [round(float(end), 1) for end in slope_band_pct(0.0, sigma=0.02165)]
    [0.7, 5.3]
    >>> [float(end) for end in slope_band_pct(12.0, sigma=float("nan"))]
    [nan, nan]
    """
    return _band(np.asarray(percent, np.float64), sigma, share, "length")


def across_band_pct(across: ArrayLike, *, sigma: ArrayLike, share: float = 0.9) -> _Band:
    """The band in which the size of one component lies: the true side slope along a heading.

    Parameters
    ----------
    across : float or ndarray
        Measured grade across the heading in percent, of either sign.
    sigma, share
        As in :func:`slope_band_pct`.

    Returns
    -------
    (ndarray, ndarray)
        Low and high end of its size in percent; NaN where grade or error is unknown.

    Raises
    ------
    InputError
        A share that is not between 0 and 1.

    Notes
    -----
    Quantiles of the folded normal law: the size of a normal figure about the measured one.

    Examples
    --------
    >>> low, high = across_band_pct(-12.0, sigma=0.02165)
    >>> round(float(low), 1), round(float(high), 1)
    (8.4, 15.6)
    """
    return _band(np.abs(np.asarray(across, np.float64)), sigma, share, "component")


def _band(percent: NDArray[np.float64], sigma: ArrayLike, share: float, law: _Law) -> _Band:
    if not 0.0 < share < 1.0:
        raise_all(
            [
                Fault(
                    "a share that is not between 0 and 1",
                    str(share),
                    "no band holds the slope so often",
                    "give a share such as 0.9",
                )
            ]
        )
    error = 100.0 * np.asarray(sigma, np.float64)
    low = _quantile(percent, error, (1.0 - share) / 2.0, law)
    return low, _quantile(percent, error, (1.0 + share) / 2.0, law)


def _quantile(
    percent: NDArray[np.float64], error: NDArray[np.float64], chance: float, law: _Law
) -> NDArray[np.float64]:
    """The figure that the law stays under with a chance; the measured one where the error is 0."""
    some = error > _NOTHING
    errors = percent / np.where(some, error, 1.0)
    far = np.maximum(errors, _FARTHEST)
    beyond = far + _off_the_middle(far, chance, law)
    near, rows = _table(chance, law)
    found = np.where(errors < _FARTHEST, np.interp(errors, near, rows), beyond)
    known = np.isfinite(percent) & np.isfinite(error) & (error >= 0.0)
    return np.where(known, np.where(some, found * error, percent), np.nan)[()]


def _off_the_middle(
    errors: NDArray[np.float64], chance: float, law: _Law
) -> NDArray[np.float64] | float:
    """Quantile less the measured figure, in errors, where that is large.

    A length has mean x + 1 / 2x and variance 1 - 1 / 2x^2 up to the third power of 1 / x: the
    expansion of sqrt((x + e)^2 + f^2) for normal e and f.
    """
    normal = NormalDist().inv_cdf(chance)
    if law == "component":
        return normal
    return 0.5 / errors + normal * np.sqrt(1.0 - 0.5 / errors**2)


@functools.lru_cache(maxsize=16)
def _table(chance: float, law: _Law) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Quantiles in errors for measured figures of 0 to ``_FARTHEST`` errors, by integration."""
    near = np.arange(round(_FARTHEST / _STEP) + 1, dtype=np.float64) * _STEP
    spread = np.arange(round(2 * _TAIL / _FINE) + 1, dtype=np.float64) * _FINE
    start = np.maximum(near - _TAIL, 0.0)  # nothing is shorter than 0
    at = start[:, np.newaxis] + spread
    density = _density(at, near[:, np.newaxis], law)
    under = np.zeros_like(density)
    np.cumsum((density[:, 1:] + density[:, :-1]) / 2, axis=1, out=under[:, 1:])
    wished = chance * under[:, -1:]
    after = np.argmax(under >= wished, axis=1)
    here = np.arange(near.size)
    below, above = under[here, after - 1], under[here, after]
    part = (wished[:, 0] - below) / (above - below)
    return near, at[here, after - 1] + part * _FINE


def _density(
    at: NDArray[np.float64], middle: NDArray[np.float64], law: _Law
) -> NDArray[np.float64]:
    """Rice's density (a length) or that of the folded normal (a component), but for a factor."""
    nearer = np.exp(-0.5 * (at - middle) ** 2)
    if law == "length":
        both = at * middle
        return at * nearer * np.i0(both) * np.exp(-both)
    return nearer + np.exp(-0.5 * (at + middle) ** 2)
