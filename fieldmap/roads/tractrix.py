"""Where the axles of a train go when its leading axle is driven along a path.

A trailed point is pulled straight at its hitch (a tractrix). Over one straight step of the hitch
the angle between unit and pull shrinks exactly: tan(f/2) becomes tan(f/2) exp(-step / length).
So the only error is that of taking the path for a chain of chords. A circle that is too tight
for a steady state is no special case.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numba
import numpy as np

from fieldmap.roads.train import Link, Train
from fieldmap.roads.verdict import Floats


class Path(NamedTuple):
    """Points (m, x east, y north) and the bearing of the path at each (radians from north)."""

    x: Floats
    y: Floats
    bearing: Floats


def corner_path(
    deflection_deg: float,
    radius_m: float,
    *,
    run_in_m: float,
    run_out_m: float,
    step_m: float,
) -> Path:
    """Straight, an arc to the right, straight: northward in, the two lines meeting at 0, 0.

    Parameters
    ----------
    deflection_deg : float
        Change of heading, over 0 and, for the lines to meet, under 180. A half circle and more
        begins at 0, 0 instead.
    radius_m : float
    run_in_m, run_out_m : float
        Length of the straights.
    step_m : float
        At most this far from point to point.

    Examples
    --------
    >>> path = corner_path(90, 5, run_in_m=1, run_out_m=1, step_m=10)
    >>> [(round(float(x), 3), round(float(y), 3)) for x, y in zip(path.x, path.y)]
    [(0.0, -6.0), (0.0, -5.0), (5.0, 0.0), (6.0, 0.0)]
    """
    turn = math.radians(deflection_deg)
    tangent = radius_m * math.tan(turn / 2.0) if deflection_deg < 180 else 0.0
    run_in = _fractions(run_in_m, step_m)[:-1] * run_in_m
    along = _fractions(radius_m * turn, step_m) * turn
    run_out = _fractions(run_out_m, step_m)[1:] * run_out_m
    end_x = radius_m * (1.0 - math.cos(turn))
    end_y = radius_m * math.sin(turn) - tangent
    x = (
        np.zeros_like(run_in),
        radius_m * (1.0 - np.cos(along)),
        end_x + run_out * math.sin(turn),
    )
    y = (
        run_in - run_in_m - tangent,
        radius_m * np.sin(along) - tangent,
        end_y + run_out * math.cos(turn),
    )
    bearing = (np.zeros_like(run_in), along, np.full_like(run_out, turn))
    return Path(np.concatenate(x), np.concatenate(y), np.concatenate(bearing))


def _fractions(length_m: float, step_m: float) -> Floats:
    return np.linspace(0.0, 1.0, max(1, math.ceil(length_m / step_m - 1e-9)) + 1)


def driven(train: Train, path: Path) -> Floats:
    """Axle and bearing of every unit at every point of the path.

    Parameters
    ----------
    train : Train
    path : Path
        What the leading axle follows; the train begins drawn out straight.

    Returns
    -------
    ndarray
        One row a point, one column a unit: x and y of its axle (m), bearing (radians).
    """
    hitch = np.array([link.hitch_m for link in train.links], dtype=float)
    tongue = np.array([link.tongue_m for link in train.links], dtype=float)
    poses: Floats = _poses(path.x, path.y, path.bearing, train.lead_m, hitch, tongue)
    return poses


def steady_radii(radius_m: float, lead_m: float, links: tuple[Link, ...]) -> list[float]:
    """Radius of each unit's axle on an endless circle (m); NaN where there is no steady state.

    The sum of squares: each tongue takes its square from, each hitch offset adds its square to
    the square of the radius before it.

    Examples
    --------
    >>> [round(one, 4) for one in steady_radii(10, 2.7, (Link(0.9, 5.0),))]
    [9.6286, 8.2777]
    >>> steady_radii(13, 5, (Link(0, 12.5),))
    [12.0, nan]
    """
    square = radius_m**2 - lead_m**2
    squares = [square]
    for link in links:
        square += link.hitch_m**2 - link.tongue_m**2
        squares.append(square)
    return [math.sqrt(one) if one >= 0.0 else math.nan for one in squares]


def ring_width_m(train: Train, radius_m: Floats) -> Floats:
    """How wide a ring the train sweeps when it goes round and round (m).

    Parameters
    ----------
    train : Train
    radius_m : ndarray
        Of the circle that its leading axle follows.

    Returns
    -------
    ndarray
        Infinite where the circle is too tight, or has no steady state.

    Examples
    --------
    >>> from fieldmap.roads.train import Body
    >>> bar = Train(0.0, (), (Body(0, 0.0, 0.0, 1.5),), 4.0)
    >>> ring_width_m(bar, np.array([3.0, 20.0, np.inf]))
    array([inf,  3.,  3.])
    """
    lengths = [(0.0, train.lead_m), *((link.hitch_m, link.tongue_m) for link in train.links)]
    squares = [hitch**2 - tongue**2 for hitch, tongue in lengths]
    width = np.full(radius_m.shape, 2.0 * max(body.half_m for body in train.bodies))
    here = (radius_m >= train.radius_m) & np.isfinite(radius_m)
    circle = radius_m[here]
    axles = [
        np.sqrt(np.maximum(circle**2 + sum(squares[: unit + 1]), 0.0))
        for unit in range(len(squares))
    ]
    outer = [
        np.hypot(axles[body.unit] + body.half_m, max(body.ahead_m, body.behind_m))
        for body in train.bodies
    ]
    inner = [axles[body.unit] - body.half_m for body in train.bodies]
    ring = np.max(outer, axis=0) - np.min(inner, axis=0)
    ring[np.min(inner, axis=0) <= 0.0] = np.inf
    width[here] = ring
    width[radius_m < train.radius_m] = np.inf
    return width


@numba.njit(cache=True, nogil=True)
def _pulled(bearing, from_x, from_y, to_x, to_y, length):  # type: ignore[no-untyped-def]
    """The bearing of a unit after its hitch went straight from one point to another."""
    step = math.hypot(to_x - from_x, to_y - from_y)
    if step == 0.0:
        return bearing
    pull = math.atan2(to_x - from_x, to_y - from_y)
    half = math.tan((bearing - pull) / 2.0) * math.exp(-step / length)
    return pull + 2.0 * math.atan(half)


@numba.njit(cache=True, nogil=True)
def _poses(x, y, bearing, lead, hitch, tongue):  # type: ignore[no-untyped-def]
    units = len(tongue) + 1
    poses = np.empty((len(x), units, 3))
    before = np.full(units, bearing[0])
    hooks = np.empty((units, 2))
    for row in range(len(x)):
        hook_x, hook_y = x[row], y[row]
        for unit in range(units):
            length = lead if unit == 0 else tongue[unit - 1]
            if length <= 0.0:
                now = bearing[row]
            elif row == 0:
                now = before[unit]
            else:
                now = _pulled(before[unit], hooks[unit, 0], hooks[unit, 1], hook_x, hook_y, length)
            hooks[unit, 0], hooks[unit, 1] = hook_x, hook_y
            before[unit] = now
            axle_x = hook_x - length * math.sin(now)
            axle_y = hook_y - length * math.cos(now)
            poses[row, unit, 0], poses[row, unit, 1], poses[row, unit, 2] = axle_x, axle_y, now
            if unit < units - 1:
                hook_x = axle_x - hitch[unit] * math.sin(now)
                hook_y = axle_y - hitch[unit] * math.cos(now)
    return poses
