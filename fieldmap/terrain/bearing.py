"""Compass bearings in bulk: an arctangent without branches, with a stated error."""

from __future__ import annotations

import numpy as np
from numba import njit

#: Largest error of the polynomial below, in degrees. Four bytes hold a bearing near a full turn to
#: 1.5e-5 degrees, so that it is not seen. A test measures it against numpy.
LARGEST_ERROR_DEG = 6e-8
# Odd polynomial for the arctangent in degrees on 0..1, fitted here by least squares with weights
# moved until the largest errors were alike (Lawson's method).
_C0, _C1, _C2, _C3, _C4 = (
    57.29577839927492, -19.098505533374002, 11.457114342148255, -8.163057235639364,
    6.232640272877432,
)  # fmt: skip
_C5, _C6, _C7, _C8, _C9 = (
    -4.706137855591926, 3.152876304102133, -1.6323995558323912, 0.548167304063548,
    -0.08647649323978124,
)  # fmt: skip


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _eighth_deg(t: float) -> float:
    """Arctangent in degrees of a number from 0 to 1."""
    s = t * t
    low = _C0 + s * (_C1 + s * (_C2 + s * (_C3 + s * _C4)))
    high = _C5 + s * (_C6 + s * (_C7 + s * (_C8 + s * _C9)))
    return t * (low + s * s * s * s * s * high)


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def bearing_deg(east: float, north: float) -> np.float32:
    """Compass bearing of a direction, 0 <= bearing < 360; NaN for none.

    Parameters
    ----------
    east, north : float
        Parts of the direction; any length.

    Notes
    -----
    The arctangent of the lesser part over the greater gives the angle inside an eighth of the
    circle; three choices put it into the right eighth. 0 / 0 is NaN: level ground faces nowhere.

    Examples
    --------
    >>> [float(bearing_deg(*way)) for way in ((0., 1.), (1., 0.), (0., -2.), (-3., 0.), (0., 0.))]
    [0.0, 90.0, 180.0, 270.0, nan]
    """
    wide, high = abs(east), abs(north)
    more = max(wide, high)
    less = min(wide, high)
    angle = _eighth_deg(less / more)
    angle = 90.0 - angle if wide > high else angle
    angle = 180.0 - angle if north < 0.0 else angle
    angle = 360.0 - angle if east < 0.0 else angle
    stored = np.float32(angle)
    return np.float32(0.0) if stored >= np.float32(360.0) else stored  # rounded up to a full turn
