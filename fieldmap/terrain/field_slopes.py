"""Slope figures of many fields straight from the elevation, weighted by the cells' coverage."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np
import shapely
from numba import njit
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.grid import Grid
from fieldmap.terrain.coverage import Rings, add_shape, rings_of, sum_rows
from fieldmap.terrain.slope import ground_per_cell, per_metre, rises

PERCENTILE = 0.95
_CHUNK = 128  # fields a thread takes at once
_BINS = 256
_ROUNDING = 1e-12
_FARTHEST = 1e12  # in the raster's own units


class FieldSlopes(NamedTuple):
    """One row a field; NaN where nothing is known.

    ``known_share`` and ``unknown_share`` make up 1. ``mean_pct``, ``p95_pct`` and ``max_pct`` are
    of the ground that is known; ``class_shares``, shape (fields, breaks + 1), and ``use_shares``,
    shape (fields, use breaks + 1), are shares of the whole field, so that what is unknown is in
    no class. ``cell_m`` is the side of a cell on the ground.
    """

    known_share: NDArray[np.float64]
    unknown_share: NDArray[np.float64]
    mean_pct: NDArray[np.float64]
    p95_pct: NDArray[np.float64]
    max_pct: NDArray[np.float64]
    class_shares: NDArray[np.float64]
    use_shares: NDArray[np.float64]
    cell_m: NDArray[np.float64]


class _Asked(NamedTuple):
    """What the kernel is asked, a machine and a heading included."""

    breaks_pct: NDArray[np.float64]
    lines: NDArray[np.float64]  # radians, NaN for any heading
    bump: float  # tangent of the bump's roll
    stability: float
    use_breaks: NDArray[np.float64]


def field_slopes(
    shapes: NDArray[np.object_],
    elevation: Grid,
    *,
    crs: CRS,
    breaks_pct: Sequence[float],
    lines_deg: NDArray[np.float64] | None = None,
    bump_roll_rad: float = np.nan,
    stability: float = np.nan,
    use_breaks: Sequence[float] = (),
) -> FieldSlopes:
    """Slope of fields: mean, 95 % value, steepest, and shares of the area by class.

    Parameters
    ----------
    shapes : ndarray of Polygon and MultiPolygon, shape (fields,)
        Boundaries in the elevation's own coordinate system.
    elevation : Grid, shape (rows, columns)
        Heights in metres that hold every field and one cell more on each side; what reaches
        beyond counts as unknown.
    crs : pyproj.CRS
        The run's metric system; headings are its grid bearings.
    breaks_pct : sequence of float
        Rising; a slope on a break belongs to the steeper class.
    lines_deg : ndarray, shape (fields,), optional
        The line of travel of each field in compass degrees; NaN, or none given: any heading,
        so that the whole slope may lie across.
    bump_roll_rad : float
        How far one bump rolls the machine.
    stability : float
        T / 2h of the machine. NaN, as a NaN bump, leaves the use shares NaN.
    use_breaks : sequence of float
        Rising; shares of the static limit that part the classes of use.

    Returns
    -------
    FieldSlopes

    Notes
    -----
    Slope is Horn's, as :func:`fieldmap.terrain.slope.slope` gives it, with the Jacobian of the
    middle of each field's own box. A cell weighs what :func:`fieldmap.terrain.coverage.coverage`
    gives. The 95 % value is the least slope that at least 95 % of the known area does not exceed:
    a slope that stands somewhere in the field, not one between two of them. The steepest counts
    every cell touched by a share of 1e-9 or more. Use of the static limit is
    u = tan(atan(across) + bump roll) / (T / 2h), as in :mod:`fieldmap.risk.side_slope`.

    Examples
    --------
    A field on a plane of 20 %, and one where nothing is known:

    >>> from affine import Affine
    >>> plane = np.tile(2.0 * np.arange(6, dtype=np.float32), (6, 1))
    >>> heights = Grid(plane, Affine(10, 0, 0, 0, -10, 60), CRS(32615), "m", "elevation")
    >>> fields = np.array([shapely.box(15, 15, 44, 45), shapely.box(100, 0, 120, 20)])
    >>> found = field_slopes(fields, heights, crs=CRS(32615), breaks_pct=(3, 20))
    >>> found.mean_pct.round(6), found.class_shares[0].round(6), found.unknown_share
    (array([20., nan]), array([0., 0., 1.]), array([0., 1.]))
    """
    # empty, at infinity, or so far off that no cell can be counted: unknown
    usable = (np.abs(shapely.bounds(shapes)) < _FARTHEST).all(axis=1)
    asked = _Asked(
        np.asarray(breaks_pct, np.float64),
        np.full(len(shapes), np.nan) if lines_deg is None else np.radians(lines_deg),
        np.tan(bump_roll_rad),
        stability,
        np.asarray(use_breaks, np.float64),
    )
    figures = np.full((len(shapes), 5), np.nan)
    figures[:, 0], figures[:, 1] = 0.0, 1.0
    classes = np.full((len(shapes), len(asked.breaks_pct) + 1), np.nan)
    uses = np.full((len(shapes), len(asked.use_breaks) + 1), np.nan)
    rings = rings_of(np.where(usable, shapes, shapely.Polygon()), elevation.transform)
    boxes = _boxes(rings)
    middles = boxes[:, :2] + boxes[:, 2:] / 2.0
    cells = ground_per_cell(elevation.transform, elevation.crs, crs, middles[:, 0], middles[:, 1])
    turns = per_metre(cells)

    def work(first: int) -> None:
        rows = slice(first, first + _CHUNK)
        _fields(
            elevation.values, rings, boxes, turns, asked, first,
            (figures[rows], classes[rows], uses[rows]),
        )  # fmt: skip

    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        list(pool.map(work, range(0, len(shapes), _CHUNK)))
    with np.errstate(invalid="ignore"):
        cell_m = np.sqrt(np.abs(np.linalg.det(cells)))
    cell_m[~usable] = np.nan
    known, unknown, mean, high, most = figures.T
    return FieldSlopes(known, unknown, mean, high, most, classes, uses, cell_m)


def _boxes(rings: Rings) -> NDArray[np.int64]:
    """Left, top, columns and rows of the cells that hold each shape; all 0 for an empty one."""
    boxes = np.zeros((len(rings.shape_starts) - 1, 4), np.int64)
    starts = rings.ring_starts[rings.shape_starts]
    held = np.diff(starts) > 0
    if held.any():
        least = np.floor(np.minimum.reduceat(rings.corners, starts[:-1][held]))
        most = np.ceil(np.maximum.reduceat(rings.corners, starts[:-1][held]))
        boxes[held] = np.hstack([least, most - least])
    return boxes


@njit(cache=True, nogil=True, error_model="numpy")
def _fields(
    z: NDArray[np.float32],
    rings: Rings,
    boxes: NDArray[np.int64],
    turns: NDArray[np.float64],
    asked: _Asked,
    first: int,
    out: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
) -> None:
    """The figures of a run of fields, from the field of number ``first`` on."""
    figures, classes, uses = out
    for k in range(figures.shape[0]):
        left, top, columns, rows = boxes[first + k]
        if columns == 0 or rows == 0:
            continue
        shares = np.zeros((rows, columns + 2))
        add_shape(rings, first + k, float(left), float(top), shares)
        sum_rows(shares)
        steep, across = np.empty(rows * columns), np.empty(rows * columns)
        weights = np.empty(rows * columns)
        line = asked.lines[first + k]
        count, whole = _known(
            z, shares, (left, top), turns[first + k], line, (steep, across, weights)
        )
        _sum_up(
            steep[:count], across[:count], weights[:count], whole, asked,
            (figures[k], classes[k], uses[k]),
        )  # fmt: skip


@njit(cache=True, nogil=True, error_model="numpy")
def _known(
    z: NDArray[np.float32],
    shares: NDArray[np.float64],
    corner: tuple[int, int],
    turn: NDArray[np.float64],
    line: float,
    out: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
) -> tuple[int, float]:
    """Slope, side slope and weight of the known cells one after another; count and whole area."""
    steep, across, weights = out
    left, top = corner
    ec, er, nc, nr = turn[0], turn[1], turn[2], turn[3]
    any_heading = np.isnan(line)
    ahead_east, ahead_north = np.sin(line), np.cos(line)
    count, whole = 0, 0.0
    for i in range(shares.shape[0]):
        row = top + i
        inside = 0 < row < z.shape[0] - 1
        for j in range(shares.shape[1] - 2):
            share = shares[i, j]
            if share == 0.0:
                continue
            whole += share
            column = left + j
            if not inside or column < 1 or column >= z.shape[1] - 1:
                continue
            right, down = rises(z[row - 1], z[row], z[row + 1], column)
            east, north = ec * right + er * down, nc * right + nr * down
            # four bytes, as the layers hold it: a plane of 3 % reaches the break at 3 %
            percent = np.float64(np.float32(100.0 * np.sqrt(east * east + north * north)))
            if not np.isfinite(percent):
                continue
            steep[count], weights[count] = percent, share
            side = abs(east * ahead_north - north * ahead_east)
            across[count] = percent / 100.0 if any_heading else side
            count += 1
    return count, whole


@njit(cache=True, nogil=True, error_model="numpy")
def _sum_up(
    steep: NDArray[np.float64],
    across: NDArray[np.float64],
    weights: NDArray[np.float64],
    whole: float,
    asked: _Asked,
    out: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
) -> None:
    figures, classes, uses = out
    known = weights.sum()
    if known == 0.0:
        return
    figures[0] = min(known / whole, 1.0)
    figures[1] = 1.0 - figures[0]
    figures[2] = (steep * weights).sum() / known
    figures[3] = weighted_quantile(steep, weights, PERCENTILE)
    figures[4] = steep.max()
    _shares(steep, weights, asked.breaks_pct, whole, classes)
    if np.isnan(asked.bump) or np.isnan(asked.stability):
        return
    for i in range(across.size):
        # tan(atan(across) + bump roll); from a right angle on, every limit is used up
        held = 1.0 - across[i] * asked.bump
        leaning = (across[i] + asked.bump) / held if held > 0.0 else np.inf
        across[i] = leaning / asked.stability
    _shares(across, weights, asked.use_breaks, whole, uses)


@njit(cache=True, nogil=True)
def _shares(
    values: NDArray[np.float64],
    weights: NDArray[np.float64],
    breaks: NDArray[np.float64],
    whole: float,
    out: NDArray[np.float64],
) -> None:
    out[:] = 0.0
    for i in range(values.size):
        step = 0
        while step < breaks.size and values[i] >= breaks[step]:
            step += 1
        out[step] += weights[i]
    out /= whole


@njit(cache=True, nogil=True)
def weighted_quantile(
    values: NDArray[np.float64], weights: NDArray[np.float64], share: float
) -> float:
    """The least value that at least a share of the weight does not exceed.

    Parameters
    ----------
    values, weights : ndarray, shape (values,)
        At least one; finite; weights above 0.
    share : float
        0 to 1.

    Notes
    -----
    The inverse of the distribution (definition 1 of Hyndman & Fan 1996). Values are counted into
    256 bins and only the bin that holds the answer is sorted.

    Examples
    --------
    >>> weighted_quantile(np.array([5.0, 1.0, 9.0]), np.array([2.0, 1.0, 1.0]), 0.75)
    5.0
    """
    least, most = values.min(), values.max()
    per_bin = _BINS / (most - least) if most > least else 0.0
    if not np.isfinite(per_bin):  # values that differ by next to nothing go into one bin
        per_bin = 0.0
    bins = np.zeros(_BINS)
    for i in range(values.size):
        bins[min(int((values[i] - least) * per_bin), _BINS - 1)] += weights[i]
    wanted = weights.sum() * share * (1.0 - _ROUNDING)
    bin_of, below = 0, 0.0
    while bin_of < _BINS - 1 and below + bins[bin_of] < wanted:
        below += bins[bin_of]
        bin_of += 1
    near = np.empty(values.size, np.int64)
    count = 0
    for i in range(values.size):
        if min(int((values[i] - least) * per_bin), _BINS - 1) == bin_of:
            near[count] = i
            count += 1
    near = near[:count]
    order = np.argsort(values[near])
    for k in range(count):
        below += weights[near[order[k]]]
        if below >= wanted:
            return values[near[order[k]]]
    return values[near[order[count - 1]]]
