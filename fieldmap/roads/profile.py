"""Heights along lines, and how steeply each leg falls at its steepest, with the error of both.

A grade is taken over a length of road (``grades.base_m``): between two heights so far apart along
the leg. A leg shorter than that is taken as part of such a length of ground, straight on at both
ends. Under a bridge or over a tunnel the ground is not the road: there only the two ends count.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.crs import same_system, transformer
from fieldmap.grid import Grid

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

#: How often the band holds the truth; as often below it as above.
SHARE = 0.9
_MIDDLE = 0.1  # share of a leg on both sides of its middle that says which way it runs


@dataclass(frozen=True, slots=True)
class Reading:
    """How heights are read along legs: metres, all of them.

    ``error_m`` is the standard error of a height, NaN when nobody said; ``line_off_m`` that of
    a mapped line across the road; ``cell_m`` the side of a cell.
    """

    error_m: float
    cell_m: float
    base_m: float
    step_m: float
    line_off_m: float


@dataclass(frozen=True, eq=False)
class Steepest:
    """How steeply each directed leg falls at its steepest, in percent: both ends of the band.

    Falling is positive, climbing all the way negative. The climb of a directed leg is the fall
    of the other direction. NaN where it is not known; a known pitch of a leg that is not known
    whole counts in ``low_pct``.
    """

    low_pct: Floats
    high_pct: Floats


def heights_at(grid: Grid, crs: CRS, x: Floats, y: Floats) -> Floats:
    """Heights between the cells' middles (bilinear); NaN where one of the four is unknown.

    Parameters
    ----------
    grid : Grid
    crs : pyproj.CRS
        Of the places.
    x, y : ndarray

    Examples
    --------
    >>> from affine import Affine
    >>> plane = Grid(np.array([[0.0, 10.0], [0.0, 10.0]], np.float32),
    ...              Affine(10, 0, 0, 0, -10, 20), CRS(32615), "m", "elevation")
    >>> heights_at(plane, CRS(32615), np.array([5.0, 7.5, 1.0]), np.array([10.0, 10.0, 10.0]))
    array([0. , 2.5, nan])
    """
    if not same_system(crs, grid.crs):
        x, y = transformer(crs, grid.crs).transform(x, y)
    column, row = ~grid.transform @ (np.asarray(x, float), np.asarray(y, float))
    column, row = column - 0.5, row - 0.5
    rows, columns = grid.shape
    inside = (column >= 0) & (row >= 0) & (column <= columns - 1) & (row <= rows - 1)
    left = np.where(inside, column, 0).astype(np.int64)
    upper = np.where(inside, row, 0).astype(np.int64)
    right, lower = np.minimum(left + 1, columns - 1), np.minimum(upper + 1, rows - 1)
    across, down = np.where(inside, column - left, 0.0), np.where(inside, row - upper, 0.0)
    held = grid.values
    top = held[upper, left] * (1.0 - across) + held[upper, right] * across
    bottom = held[lower, left] * (1.0 - across) + held[lower, right] * across
    found: Floats = np.where(inside, top * (1.0 - down) + bottom * down, np.nan)
    return found


def steepest(
    lines: NDArray[np.object_],
    length_m: Floats,
    bridged: Mask,
    *,
    grid: Grid,
    crs: CRS,
    reading: Reading,
) -> Steepest:
    """The steepest fall of every directed leg.

    Parameters
    ----------
    lines : ndarray of LineString
        Of the legs, in ``crs``.
    length_m : ndarray
        Length of each leg on the ground, whatever the projection says.
    bridged : ndarray of bool
        Legs on bridges and in tunnels, of which only the ends count.
    grid : Grid
        Heights in metres.
    crs : pyproj.CRS
    reading : Reading

    Returns
    -------
    Steepest
        One entry a directed leg: along the line of a leg, then against it.

    Notes
    -----
    The error of a grade over s metres is sqrt(e1^2 + e2^2) / s, where e is the error of a height
    and, on a side slope, that of the line across it; errors are taken as normal and independent.
    The low end allows for the steepest of many pitches being the one with the luckiest error
    (Sidak): it is under the truth 95 times in 100 whatever the number of pitches.
    """
    if not len(lines):
        return Steepest(np.empty(0), np.empty(0))
    plan = _stations(lines, length_m, bridged, reading)
    height, wrong = _heights(plan, grid, crs, reading)
    fall, error, leg = _pitches(plan, height, wrong)
    count = np.bincount(leg, minlength=len(lines))
    low, high = np.empty((len(lines), 2)), np.empty((len(lines), 2))
    for side, sign in enumerate((1.0, -1.0)):
        low[:, side], high[:, side] = _band(sign * fall, error, leg, count)
    return Steepest(low.ravel(), high.ravel())


@dataclass(frozen=True, eq=False)
class _Stations:
    """Places along all legs one after another; ``first`` is the first of each leg.

    Leg ``r`` has ``pieces[r] + 1`` places ``apart_m[r]`` apart; a pitch is ``reach[r]`` pieces.
    """

    x: Floats
    y: Floats
    leg: Ints
    first: Ints
    pieces: Ints
    reach: Ints
    apart_m: Floats


def _stations(
    lines: NDArray[np.object_], length_m: Floats, bridged: Mask, reading: Reading
) -> _Stations:
    base_m = max(reading.base_m, reading.cell_m)
    step_m = max(reading.step_m, reading.cell_m)
    short = ~(length_m >= base_m)
    pieces = np.where(short, 1, np.ceil(length_m / step_m)).astype(np.int64)
    pieces = np.where(bridged, 1, np.maximum(pieces, 1))
    apart = np.where(short, base_m, length_m / pieces)
    reach = np.minimum(np.ceil(base_m / apart - 1e-9).astype(np.int64), pieces)
    first = np.concatenate([[0], np.cumsum(pieces + 1)[:-1]]).astype(np.int64)
    leg = np.repeat(np.arange(len(lines)), pieces + 1)
    share = (np.arange(len(leg)) - first[leg]) / pieces[leg]
    points = shapely.line_interpolate_point(lines[leg], share, normalized=True)
    x, y = shapely.get_x(points), shapely.get_y(points)
    if short.any():
        middle, heading = _straight_on(lines[short])
        for side, at in ((-0.5, first[short]), (0.5, first[short] + 1)):
            x[at] = middle[:, 0] + side * base_m * heading[:, 0]
            y[at] = middle[:, 1] + side * base_m * heading[:, 1]
    return _Stations(x, y, leg, first, pieces, reach, apart)


def _straight_on(lines: NDArray[np.object_]) -> tuple[Floats, Floats]:
    """The middle of each line and which way it runs there; NaN for a line without length."""
    ends = [
        shapely.get_coordinates(shapely.line_interpolate_point(lines, 0.5 + side, normalized=True))
        for side in (0.0, -_MIDDLE, _MIDDLE)
    ]
    run = ends[2] - ends[1]
    far = np.hypot(run[:, 0], run[:, 1])[:, np.newaxis]
    return ends[0], run / np.where(far > 0.0, far, np.nan)


def _heights(plan: _Stations, grid: Grid, crs: CRS, reading: Reading) -> tuple[Floats, Floats]:
    """Height at each place and the square of its error, the line's own error in it."""
    east, north = np.gradient(plan.x), np.gradient(plan.y)
    last = plan.first + plan.pieces
    for at, ahead in ((plan.first, plan.first + 1), (last, last - 1)):
        sign = np.sign(ahead - at)
        east[at], north[at] = (
            sign * (plan.x[ahead] - plan.x[at]),
            sign * (plan.y[ahead] - plan.y[at]),
        )
    far = np.hypot(east, north)
    far = np.where(far > 0.0, far, np.nan)
    off = max(reading.line_off_m, reading.cell_m / 2.0)
    beside_x, beside_y = off * north / far, -off * east / far
    height = heights_at(grid, crs, plan.x, plan.y)
    right = heights_at(grid, crs, plan.x + beside_x, plan.y + beside_y)
    left = heights_at(grid, crs, plan.x - beside_x, plan.y - beside_y)
    across = np.abs(right - left) / (2.0 * off)
    return height, reading.error_m**2 + (across * reading.line_off_m) ** 2


def _pitches(plan: _Stations, height: Floats, wrong: Floats) -> tuple[Floats, Floats, Ints]:
    """Fall of each pitch along its leg and its error, both in percent, and the leg."""
    pitches = plan.pieces - plan.reach + 1
    leg = np.repeat(np.arange(len(pitches)), pitches)
    within = np.arange(len(leg)) - np.repeat(np.cumsum(pitches) - pitches, pitches)
    begin = plan.first[leg] + within
    end = begin + plan.reach[leg]
    far = plan.reach[leg] * plan.apart_m[leg]
    far = np.where(far > 0.0, far, np.nan)
    fall = 100.0 * (height[begin] - height[end]) / far
    return fall, 100.0 * np.sqrt(wrong[begin] + wrong[end]) / far, leg


def _band(fall: Floats, error: Floats, leg: Ints, count: Ints) -> tuple[Floats, Floats]:
    """Low and high end of the steepest fall of each leg; NaN ends where it is not known."""
    if not len(leg):
        return np.full(len(count), np.nan), np.full(len(count), np.nan)
    normal = NormalDist()
    tail = (1.0 - SHARE) / 2.0
    known = np.isfinite(fall) & np.isfinite(error)
    begin = np.concatenate([[0], np.cumsum(count)[:-1]])
    many, number = np.unique(count, return_inverse=True)
    each = np.array([normal.inv_cdf((1.0 - tail) ** (1.0 / max(one, 1))) for one in many])
    below = np.where(known, fall - each[number][leg] * error, -np.inf)
    above = np.where(known, fall + normal.inv_cdf(1.0 - tail) * error, np.nan)
    low = np.maximum.reduceat(below, begin)
    return np.where(np.isfinite(low), low, np.nan), np.maximum.reduceat(above, begin)
