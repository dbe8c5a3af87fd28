"""Slope and aspect from elevation: Horn's 3 x 3 window, fused in one pass.

The window is taken on the raster's own cells, whatever its coordinate system, and turned into
a gradient on the ground by the map from cells to metres at the place. Nothing is resampled, so
no resampling flattens a bank.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from affine import Affine
from numba import njit
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.crs import same_system, transformer
from fieldmap.grid import Grid
from fieldmap.terrain.bearing import bearing_deg


class Slope(NamedTuple):
    """Slope in percent and the compass bearing of downslope in degrees (NaN where flat)."""

    percent: Grid
    aspect: Grid


def slope(elevation: Grid, *, crs: CRS) -> Slope:
    """Slope and aspect of a window of elevation.

    Parameters
    ----------
    elevation : Grid, shape (rows, columns)
        Heights in metres, NaN where unknown, in any coordinate system.
    crs : pyproj.CRS
        The run's metric system; bearings are its grid bearings.

    Returns
    -------
    Slope
        On the same cells. A cell on the rim, or with an unknown neighbour, is NaN.

    Notes
    -----
    Horn (1981), third-order finite difference: with cells ``a b c / d e f / g h i``,
    dz/dcolumn = ((c + 2f + i) - (a + 2d + g)) / 8 and dz/drow = ((g + 2h + i) - (a + 2b + c)) / 8
    per cell; the inverse transpose of the cell-to-ground Jacobian turns both into rise per metre
    east and north. Percent is 100 times their length; aspect is the bearing of steepest descent.
    One Jacobian, that of the window's middle, serves the whole window.

    Examples
    --------
    A plane that climbs 2 m in 10 m to the east falls to the west:

    >>> from affine import Affine
    >>> plane = np.tile(2.0 * np.arange(4, dtype=np.float32), (4, 1))
    >>> grid = Grid(plane, Affine(10, 0, 0, 0, -10, 0), CRS(32615), "m", "elevation")
    >>> found = slope(grid, crs=CRS(32615))
    >>> round(float(found.percent.values[1, 1]), 6), float(found.aspect.values[1, 1])
    (20.0, 270.0)

    Too little to see a slope in is unknown, not flat:

    >>> bool(np.isnan(slope(Grid(plane[:2], grid.transform, grid.crs, "m", "elevation"),
    ...                     crs=CRS(32615)).percent.values).all())
    True
    """
    percent = np.full(elevation.shape, np.nan, np.float32)
    aspect = np.full(elevation.shape, np.nan, np.float32)
    turn = per_metre(ground_of_a_cell(elevation, crs)[np.newaxis])
    slope_rows(elevation.values, turn, elevation.shape[1], percent[1:-1], aspect[1:-1])
    place = elevation.transform, elevation.crs
    return Slope(Grid(percent, *place, "%", "slope_pct"), Grid(aspect, *place, "deg", "aspect_deg"))


def ground_per_cell(
    transform: Affine,
    crs: CRS,
    target: CRS,
    columns: NDArray[np.float64],
    rows: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Metres east and north that one cell to the right and one cell down make, place by place.

    Parameters
    ----------
    transform : affine.Affine
        From (column, row) to coordinates of ``crs``.
    crs, target : pyproj.CRS
        The raster's own system and the run's metric one.
    columns, rows : ndarray, shape (places,)
        Where, counted in cells.

    Returns
    -------
    ndarray, shape (places, 2, 2)
        Row 0 is east by column and by row, row 1 north. Infinite or NaN where the metric system
        does not reach.

    Examples
    --------
    >>> ground_per_cell(Affine(10, 0, 0, 0, -10, 0), CRS(32615), CRS(32615),
    ...                 np.zeros(1), np.zeros(1))
    array([[[ 10.,   0.],
            [  0., -10.]]])
    """
    cell = np.array([[transform.a, transform.b], [transform.d, transform.e]])
    if same_system(crs, target):
        return np.broadcast_to(cell, (len(columns), 2, 2)).copy()
    x = transform.a * columns + transform.b * rows + transform.c
    y = transform.d * columns + transform.e * rows + transform.f
    step = np.abs(cell).sum(axis=1).max()
    east, north = transformer(crs, target).transform(
        np.concatenate([x + step, x - step, x, x]), np.concatenate([y, y, y + step, y - step])
    )
    moves = np.stack([np.reshape(east, (4, -1)), np.reshape(north, (4, -1))])
    with np.errstate(invalid="ignore"):
        steps = (moves[:, 0::2] - moves[:, 1::2]) / (2 * step)
        return np.transpose(steps, (2, 0, 1)) @ cell


def per_metre(cells: NDArray[np.float64]) -> NDArray[np.float64]:
    """What turns a rise a cell into a rise a metre: inverse transposes of the Jacobians.

    Parameters
    ----------
    cells : ndarray, shape (places, 2, 2)
        As :func:`ground_per_cell` gives them.

    Returns
    -------
    ndarray, shape (places, 4)
        East by column, east by row, north by column, north by row; NaN where a cell has no area.
    """
    (a, b), (c, d) = np.moveaxis(cells, 0, -1)
    with np.errstate(invalid="ignore", divide="ignore"):
        area = a * d - b * c
        turns = np.stack([d, -c, -b, a], axis=1) / area[:, np.newaxis]
    turns[~np.isfinite(turns).all(axis=1)] = np.nan
    return turns


def ground_of_a_cell(grid: Grid, crs: CRS) -> NDArray[np.float64]:
    """Metres east and north of one cell to the right and one down, at the grid's middle.

    Returns
    -------
    ndarray, shape (2, 2)
        Row 0 is east by column and by row, row 1 north.
    """
    rows, columns = grid.shape
    middle = np.array([columns / 2]), np.array([rows / 2])
    return ground_per_cell(grid.transform, grid.crs, crs, *middle)[0]


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def rises(
    up: NDArray[np.float32], mid: NDArray[np.float32], low: NDArray[np.float32], j: int
) -> tuple[float, float]:
    """Horn's rise a cell to the right and a cell down; NaN with any of the nine unknown."""
    a, b, c = np.float64(up[j - 1]), np.float64(up[j]), np.float64(up[j + 1])
    d, e, f = np.float64(mid[j - 1]), np.float64(mid[j]), np.float64(mid[j + 1])
    g, h, k = np.float64(low[j - 1]), np.float64(low[j]), np.float64(low[j + 1])
    right = ((c + 2.0 * f + k) - (a + 2.0 * d + g)) / 8.0
    down = ((g + 2.0 * h + k) - (a + 2.0 * b + c)) / 8.0
    return right + 0.0 * e, down  # an unknown middle makes the first NaN, and with it the slope


@njit(cache=True, nogil=True, error_model="numpy")
def slope_rows(
    z: NDArray[np.float32],
    turns: NDArray[np.float64],
    tile: int,
    percent: NDArray[np.float32],
    aspect: NDArray[np.float32],
    unknown: float = np.nan,
) -> None:
    """Slope and aspect of all rows of heights but the first and the last, into given arrays.

    Parameters
    ----------
    z : ndarray, shape (rows + 2, columns)
        Heights in metres.
    turns : ndarray, shape (tiles, 4)
        As :func:`per_metre` gives them, one for every ``tile`` columns.
    tile : int
        Columns that one of ``turns`` serves.
    percent, aspect : ndarray, shape (rows, columns)
        Filled; the first and the last column are unknown.
    unknown : float
        What stands where slope or aspect is not known.

    Notes
    -----
    No branch in the inner loop, and a counter that begins at 0, so that the compiler takes eight
    cells at a time.
    """
    columns, none = z.shape[1], np.float32(unknown)
    for i in range(z.shape[0] - 2):
        up, mid, low = z[i], z[i + 1], z[i + 2]
        steep, facing = percent[i], aspect[i]
        steep[:1] = steep[columns - 1 :] = none
        facing[:1] = facing[columns - 1 :] = none
        for t in range(turns.shape[0]):
            ec, er, nc, nr = turns[t, 0], turns[t, 1], turns[t, 2], turns[t, 3]
            first, last = max(1, t * tile), min(columns - 1, (t + 1) * tile)
            for k in range(last - first):
                j = first + k
                right, down = rises(up, mid, low, j)
                east, north = ec * right + er * down, nc * right + nr * down
                steepness = np.float32(100.0 * np.sqrt(east * east + north * north))
                bearing = bearing_deg(-east, -north)
                steep[j] = none if np.isnan(steepness) else steepness
                facing[j] = none if np.isnan(bearing) else bearing
