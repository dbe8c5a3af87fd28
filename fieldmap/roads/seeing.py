"""How far one sees along a way: over its crests and round its bends. Compiled loops."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@numba.njit(cache=True, nogil=True)
def over_crests(  # type: ignore[no-untyped-def]
    metres, height_m, stretch, eye_m, seen_m, range_m
):
    """How far ahead a thing is seen over the ground along a way, from each of its places.

    Parameters
    ----------
    metres, height_m : ndarray of float
        Along the way, growing; ground there, NaN unknown.
    stretch : ndarray of int
        Nobody looks on into another stretch.
    eye_m, seen_m : float
        Eye and thing over the ground.
    range_m : float
        How far to look.

    Returns
    -------
    ndarray of float
        Metres to the last place at which the thing was still seen all the way; infinity where it
        never hides; NaN where an unknown height comes first.

    Notes
    -----
    The thing at distance d hides when (ground + seen - eye) / d is under the greatest rise
    (ground - eye) / distance before it.
    """
    count = len(metres)
    out = np.full(count, np.inf)
    for start in range(count):
        eye = height_m[start] + eye_m
        if np.isnan(eye):
            out[start] = np.nan
            continue
        steepest = -np.inf
        for at in range(start + 1, count):
            far = metres[at] - metres[start]
            if far > range_m or stretch[at] != stretch[start]:
                break
            if np.isnan(height_m[at]):
                out[start] = np.nan
                break
            rise = (height_m[at] - eye) / far
            if rise + seen_m / far < steepest:
                out[start] = metres[at - 1] - metres[start]
                break
            steepest = max(steepest, rise)
    return out


@numba.njit(cache=True, nogil=True)
def round_bends(  # type: ignore[no-untyped-def]
    metres, x, y, stretch, clear_m, range_m
):
    """How far along a way one sees when something stands beside it on the inside of its bends.

    Parameters
    ----------
    metres, x, y : ndarray of float
        Along the way, growing; where each place lies.
    stretch : ndarray of int
        Nobody looks on into another stretch.
    clear_m : ndarray of float
        From the driver's line to what hides, at each place; NaN counts as nothing clear.
    range_m : float
        How far to look.

    Returns
    -------
    ndarray of float
        Metres along the way to the last place seen all the way; infinity where none hides.

    Notes
    -----
    A place is seen while the way between lies nowhere farther from the straight line of sight
    than what is clear there. On a circle of radius R that is the middle ordinate of the geometric
    design policies, m = R (1 - cos(28.65 S / R)) with the angle in degrees.
    """
    count = len(metres)
    out = np.full(count, np.inf)
    for start in range(count):
        for at in range(start + 2, count):
            if metres[at] - metres[start] > range_m or stretch[at] != stretch[start]:
                break
            east, north = x[at] - x[start], y[at] - y[start]
            chord = np.hypot(east, north)
            hidden = False
            for between in range(start + 1, at):
                dx, dy = x[between] - x[start], y[between] - y[start]
                off = abs(east * dy - north * dx) / chord if chord > 0.0 else np.hypot(dx, dy)
                if not off <= clear_m[between]:
                    hidden = True
                    break
            if hidden:
                out[start] = metres[at - 1] - metres[start]
                break
    return out
