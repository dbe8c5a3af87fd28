"""The turn from one run into the next: its way, the headland it takes, its time.

Forward only, a machine that never backs: straight lines and arcs of its least turning radius.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldmap.errors import Fault, raise_all

Floats = NDArray[np.float64]

_METRE_PER_KM = 1000.0
_SECOND_PER_HOUR = 3600.0


class Turn(NamedTuple):
    """One turn: metres driven, and metres of headland taken beyond the end of the run."""

    length_m: Floats
    depth_m: Floats


def turn(spacing_m: ArrayLike, *, radius_m: ArrayLike, width_m: ArrayLike | None = None) -> Turn:
    """The shortest forward turn through half the compass into the run beside.

    Parameters
    ----------
    spacing_m : array_like
        From the middle of one run to the middle of the next.
    radius_m : array_like
        Least turning radius, of whatever in the train turns widest; 0 turns on the spot.
    width_m : array_like, optional
        Working width; the spacing where it is not given.

    Returns
    -------
    Turn
        Arrays of the broadcast shape. Unknown in, unknown out: NaN. The depth holds the way's
        farthest point and half the working width beyond it.

    Raises
    ------
    InputError
        A spacing or width is not above 0, or a radius is below 0.

    Notes
    -----
    Runs at least two radii apart, w >= 2R: a quarter circle, a line, a quarter circle; the length
    is pi R + (w - 2R), the depth of the way R. Nearer runs: an arc outward by a, one round by
    pi + 2a the other way, one back in by a. The three circles touch, so their middles lie 2R
    apart: cos a = (R + w/2) / 2R. The length is R (pi + 4a), the depth of the way R + 2R sin a.
    Both are the shortest forward way between the two ends (Dubins 1957, On curves of minimal
    length with a constraint on average curvature, American Journal of Mathematics 79(3), 497-516).

    Examples
    --------
    >>> [round(float(one), 3) for one in turn(10.0, radius_m=5.0)]
    [15.708, 10.0]
    >>> [round(float(one), 3) for one in turn(4.0, radius_m=6.0)]
    [39.035, 16.944]

    A machine whose turning radius nobody knows:

    >>> float(turn(4.0, radius_m=float("nan")).length_m)
    nan
    """
    spacing, radius = np.broadcast_arrays(*(np.asarray(x, float) for x in (spacing_m, radius_m)))
    width = spacing if width_m is None else np.asarray(width_m, float)
    raise_all(
        [
            *above_nought("a spacing of runs", spacing, "m"),
            *([] if width_m is None else above_nought("a working width", width, "m")),
            *above_nought("a turning radius", radius, "m", or_nought=True),
        ]
    )
    roomy = spacing >= 2.0 * radius
    least = np.where(radius > 0.0, radius, 1.0)  # roomy anyway, kept from dividing by nought
    cosine = (least + spacing / 2.0) / (2.0 * least)
    out = np.where(roomy, 0.0, np.arccos(np.where(cosine > 1.0, 1.0, cosine)))
    line = np.where(roomy, spacing - 2.0 * radius, 0.0)
    depth = radius * (1.0 + 2.0 * np.sin(out)) + width / 2.0
    return Turn(radius * (np.pi + 4.0 * out) + line, depth)


def turn_s(length_m: ArrayLike, *, turn_kmh: ArrayLike, fixed_s: ArrayLike) -> Floats:
    """Seconds of one turn: its way at the turning speed, and the lifting and lowering.

    Raises
    ------
    InputError
        A speed is not above 0.

    Examples
    --------
    36 m at 7.2 km/h (2 m/s), and 5 s for lifting and lowering:

    >>> float(turn_s(36.0, turn_kmh=7.2, fixed_s=5.0))
    23.0
    >>> float(turn_s(float("nan"), turn_kmh=7.2, fixed_s=5.0))
    nan
    """
    raise_all(above_nought("a turning speed", turn_kmh, "km/h"))
    metre_per_s = np.asarray(turn_kmh, float) * _METRE_PER_KM / _SECOND_PER_HOUR
    return np.asarray(length_m, float) / metre_per_s + np.asarray(fixed_s, float)


def above_nought(what: str, value: ArrayLike, unit: str, *, or_nought: bool = False) -> list[Fault]:
    """A fault where a figure that must be above 0 is not; NaN is unknown, and no fault.

    Examples
    --------
    >>> print(*above_nought("a working width", -3.0, "m"))
    a working width that is not above 0: -3 m; nothing can be driven with it; to mend: give
    a finite figure above 0, or leave it out if it is not known
    >>> above_nought("a working width", float("nan"), "m")
    []
    """
    figures = np.atleast_1d(np.asarray(value, float))
    bad = np.isinf(figures) | ((figures < 0.0) if or_nought else (figures <= 0.0))
    if not bad.any():
        return []
    wanted = "from 0 up" if or_nought else "above 0"
    return [
        Fault(
            f"{what} that is not {wanted}",
            f"{figures[bad][0]:g} {unit}",
            "nothing can be driven with it",
            f"give a finite figure {wanted}, or leave it out if it is not known",
        )
    ]
