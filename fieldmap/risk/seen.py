"""The chance that a thing was seen, from a field's own cells to the cells of its layers."""

from __future__ import annotations

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.crs import same_system, transformer
from fieldmap.grid import Grid
from fieldmap.hazards.looked import FieldLooking


def chance_cells(
    grid: Grid,
    inside: NDArray[np.bool_],
    water: NDArray[np.int16],
    seen: FieldLooking,
    *,
    crs: CRS,
    sweep_m: float,
) -> NDArray[np.float64]:
    """Mean chance on each cell of a grid, which may lie in another system or be turned.

    Parameters
    ----------
    grid : Grid
        Whose cells.
    inside : ndarray of bool, shape (rows, columns)
        Cells of the field.
    water : ndarray of int, shape (rows, columns)
        Number of each cell's last flood, from 1 as in ``seen.floods``; 0 where none stood.
    seen : FieldLooking
        In ``crs``.
    crs : pyproj.CRS
        The run's metric system.
    sweep_m : float
        Effective sweep width of the thing.

    Returns
    -------
    ndarray, shape (rows, columns)
        0 to 1; 0 outside the field. Where water stood on a part of a cell the lower counts: the
        mean over all of it, or over the part that the last water covered. A cell that holds no
        middle of a smaller one is asked at its own middle.
    """
    if not seen.walked:
        return np.zeros(grid.shape)
    at = _cell_of(grid, seen.cells.x, seen.cells.y, crs)
    held = at >= 0
    at, chance = at[held], seen.chance(sweep_m)[held]
    same = seen.cells.flood[held] == water.ravel()[at]
    whole = _means(at, chance, water.size)
    part = _means(at[same], chance[same], water.size)
    empty = np.flatnonzero(inside.ravel() & np.isnan(part))
    part[empty] = _at_middles(grid, empty, water.ravel()[empty], seen, crs, sweep_m)
    lower = np.fmin(whole, part).reshape(grid.shape)
    return np.where(inside, lower, 0.0)


def _means(at: NDArray[np.int64], held: NDArray[np.float64], size: int) -> NDArray[np.float64]:
    """Mean of what fell on each cell, NaN where nothing did."""
    counts = np.bincount(at, minlength=size)
    sums = np.bincount(at, weights=held, minlength=size)
    return np.divide(sums, counts, out=np.full(size, np.nan), where=counts > 0)


def _cell_of(
    grid: Grid, x: NDArray[np.float64], y: NDArray[np.float64], crs: CRS
) -> NDArray[np.int64]:
    """Number of the cell each place falls on, row by row; -1 beside the grid."""
    if not same_system(grid.crs, crs):
        x, y = transformer(crs, grid.crs).transform(x, y)
    columns, rows = (np.floor(held).astype(np.int64) for held in _moved(~grid.transform, x, y))
    there = (rows >= 0) & (rows < grid.shape[0]) & (columns >= 0) & (columns < grid.shape[1])
    return np.where(there, rows * grid.shape[1] + columns, -1)


def _at_middles(
    grid: Grid,
    numbers: NDArray[np.int64],
    flood: NDArray[np.int16],
    seen: FieldLooking,
    crs: CRS,
    sweep_m: float,
) -> NDArray[np.float64]:
    """The chance at the middles of cells, each after its own last flood."""
    rows, columns = np.divmod(numbers, grid.shape[1])
    x, y = _moved(grid.transform, columns + 0.5, rows + 0.5)
    if not same_system(grid.crs, crs):
        x, y = transformer(grid.crs, crs).transform(x, y)
    return seen.chance_at(x, y, flood, sweep_m)


def _moved(
    affine: Affine, x: NDArray[np.float64], y: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    a, b, c, d, e, f = affine[:6]
    return a * x + b * y + c, d * x + e * y + f
