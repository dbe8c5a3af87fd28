"""How far a machine runs before it stands, how fast it may go to stop in time, and its turns."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldmap.units import GRAVITY

_KMH_PER_MS = 3.6


def stopping_distance_m(
    speed_kmh: ArrayLike, *, grade: ArrayLike, reaction_s: ArrayLike, friction: ArrayLike
) -> NDArray[np.float64]:
    """Distance from seeing a thing to standing still.

    Parameters
    ----------
    speed_kmh : float or ndarray
        From 0 up.
    grade : float or ndarray
        Rise over run along the way of travel, climbing positive.
    reaction_s : float or ndarray
        From seeing to braking.
    friction : float or ndarray
        Deceleration on level ground over gravity: a / g.

    Returns
    -------
    ndarray, of the shape that the arguments make together
        Metres. Infinity where friction and grade leave nothing to brake with; NaN where anything
        is unknown.

    Notes
    -----
    v t + v^2 / (2 g (f + G)), the stopping sight distance of AASHTO's geometric design policy
    without its rounded constants. The published deceleration is a car's; what a tractor with a
    towed machine can do is less.

    Examples
    --------
    >>> lazy = {"reaction_s": 2.5, "friction": 0.2}
    >>> [round(float(stopping_distance_m(12.0, grade=g, **lazy)), 2) for g in (0.0, -0.1, -0.2)]
    [11.17, 14.0, inf]
    >>> float(stopping_distance_m(float("nan"), grade=-0.3, **lazy))
    nan
    """
    speed = _figures(speed_kmh) / _KMH_PER_MS
    hold = _figures(friction) + _figures(grade)
    none = hold <= 0.0
    braking = speed**2 / (2.0 * GRAVITY * np.where(none, 1.0, hold))
    far = speed * _figures(reaction_s) + braking
    return np.where(none & ~np.isnan(far), np.inf, far)[()]


def stopping_speed_kmh(
    sight_m: ArrayLike, *, grade: ArrayLike, reaction_s: ArrayLike, friction: ArrayLike
) -> NDArray[np.float64]:
    """The speed from which a machine just stops within what is seen.

    Parameters
    ----------
    sight_m : float or ndarray
        Distance seen ahead, from 0 up; infinity where nothing hides the ground.
    grade, reaction_s, friction : float or ndarray
        As in :func:`stopping_distance_m`, which this turns round.

    Returns
    -------
    ndarray, of the shape that the arguments make together
        0 where friction and grade leave nothing to brake with, however far one sees. Infinity
        for endless sight. NaN where anything is unknown.

    Examples
    --------
    >>> lazy = {"reaction_s": 2.5, "friction": 0.2}
    >>> round(float(stopping_speed_kmh(11.17, grade=0.0, **lazy)), 1)
    12.0
    >>> float(stopping_speed_kmh(50.0, grade=-0.25, **lazy))
    0.0
    >>> [float(v) for v in stopping_speed_kmh([np.inf, np.nan, 0.0], grade=0.0, **lazy)]
    [inf, nan, 0.0]
    """
    hold = _figures(friction) + _figures(grade)
    none = hold <= 0.0
    slowing = GRAVITY * np.where(none, 1.0, hold)
    lost = slowing * _figures(reaction_s)
    speed = _KMH_PER_MS * (np.sqrt(lost**2 + 2.0 * slowing * _figures(sight_m)) - lost)
    return np.where(none & ~np.isnan(speed), 0.0, speed)[()]


def turning_speed_kmh(
    *, limit_deg: ArrayLike, slope_deg: ArrayLike, radius_m: ArrayLike
) -> NDArray[np.float64]:
    """The speed at which a turn on a side slope leans on the machine like a given side slope.

    Parameters
    ----------
    limit_deg : float or ndarray
        The side slope that turn and ground together may make up, 0 to 90.
    slope_deg : float or ndarray
        Side slope of the ground, the outside of the turn downhill; its sign does not matter.
    radius_m : float or ndarray
        Of the turn.

    Returns
    -------
    ndarray, of the shape that the arguments make together
        0 where the ground alone reaches the limit; NaN where anything is unknown.

    Notes
    -----
    v = sqrt(g R tan(limit - slope)): statics of a rigid machine, no tyre squash.

    Examples
    --------
    >>> round(float(turning_speed_kmh(limit_deg=14.0, slope_deg=8.5, radius_m=6.0)), 2)
    8.57
    >>> [float(v) for v in turning_speed_kmh(limit_deg=14.0, slope_deg=[14.0, np.nan],
    ...                                      radius_m=6.0)]
    [0.0, nan]
    """
    room = np.maximum(_figures(limit_deg) - np.abs(_figures(slope_deg)), 0.0)
    pull = GRAVITY * _figures(radius_m) * np.tan(np.radians(room))
    return (_KMH_PER_MS * np.sqrt(pull))[()]


def lateral_angle_deg(speed_kmh: ArrayLike, radius_m: ArrayLike) -> NDArray[np.float64]:
    """The side slope that a turn on level ground is like: atan(v^2 / (g R)), in degrees.

    NaN where speed or radius is unknown; 0 for a straight line, an infinite radius.

    Examples
    --------
    >>> round(float(lateral_angle_deg(8.0, 6.0)), 3)
    4.797
    >>> [float(angle) for angle in lateral_angle_deg([0.0, 8.0, np.nan], [0.0, np.inf, 6.0])]
    [0.0, 0.0, nan]
    """
    speed = _figures(speed_kmh) / _KMH_PER_MS
    return np.degrees(np.arctan2(speed**2, GRAVITY * _figures(radius_m)))[()]


def _figures(given: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(given, np.float64)
