"""Slope and aspect from elevation: Horn's 3 x 3 window, fused in one pass.

The window is taken on the raster's own cells, whatever its coordinate system, and turned into
a gradient on the ground by the map from cells to metres at the field. Nothing is resampled, so
no resampling flattens a bank.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.crs import jacobian
from fieldmap.grid import Grid


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
    inverse = np.linalg.inv(_ground_per_cell(elevation, crs)).T
    percent, aspect = _horn(
        elevation.values, inverse[0, 0], inverse[0, 1], inverse[1, 0], inverse[1, 1]
    )
    return Slope(
        elevation.with_values(percent, unit="%", name="slope_pct"),
        elevation.with_values(aspect, unit="deg", name="aspect_deg"),
    )


def _ground_per_cell(grid: Grid, crs: CRS) -> NDArray[np.float64]:
    rows, columns = grid.shape
    affine = grid.transform
    cell = np.array([[affine.a, affine.b], [affine.d, affine.e]])
    x, y = affine @ (columns / 2, rows / 2)
    step = max(abs(affine.a) + abs(affine.b), abs(affine.d) + abs(affine.e))
    return jacobian(grid.crs, crs, x, y, step=step) @ cell


@njit(cache=True)
def _horn(
    z: NDArray[np.float32], ec: float, er: float, nc: float, nr: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    rows, columns = z.shape
    percent = np.full((rows, columns), np.nan, np.float32)
    aspect = np.full((rows, columns), np.nan, np.float32)
    for i in range(1, rows - 1):
        for j in range(1, columns - 1):
            a, b, c = float(z[i - 1, j - 1]), float(z[i - 1, j]), float(z[i - 1, j + 1])
            d, f = float(z[i, j - 1]), float(z[i, j + 1])
            g, h, k = float(z[i + 1, j - 1]), float(z[i + 1, j]), float(z[i + 1, j + 1])
            p = ((c + 2.0 * f + k) - (a + 2.0 * d + g)) / 8.0
            q = ((g + 2.0 * h + k) - (a + 2.0 * b + c)) / 8.0
            if np.isnan(p + q + z[i, j]):
                continue
            east = ec * p + er * q
            north = nc * p + nr * q
            steep = np.hypot(east, north)
            percent[i, j] = 100.0 * steep
            if steep > 0.0:
                facing = np.float32(np.degrees(np.arctan2(-east, -north)) % 360.0)
                aspect[i, j] = facing if facing < 360.0 else 0.0  # rounded up to a full turn
    return percent, aspect
