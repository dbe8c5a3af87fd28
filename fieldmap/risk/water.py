"""Where water gathers on the farm's ground, and what a flood of a given depth wets."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.features import geometry_mask, shapes

from fieldmap.crs import moved
from fieldmap.grid import Grid
from fieldmap.tables import Tables
from fieldmap.terrain.drainage import Drainage, drainage, under_stage, wet_rank

_ROUNDING = 1e-6


class FarmWater(NamedTuple):
    """The drainage of the farm's ground.

    ``rank`` is the place of each field cell's wetness among those of all fields, 0 driest to 1
    wettest; ``cell_m`` the side of the cells it was worked out on, ``native_m`` of the raster's.
    """

    drainage: Drainage
    rank: Grid
    cell_m: float
    native_m: float


class WaterCells(NamedTuple):
    """The farm's water on one field's cells: rank, height above the drainage, whether cut off.

    ``cell_m`` is the side of the cells it was worked out on where these are larger than the
    raster's own, else NaN.
    """

    rank: NDArray[np.float32]
    hand_m: NDArray[np.float32]
    cut: NDArray[np.float32]
    cell_m: float = np.nan


def farm_water(
    heights: Grid,
    fields: list[shapely.Geometry],
    *,
    crs: CRS,
    cell_m: float,
    native_m: float,
    tables: Tables,
) -> FarmWater:
    """Drainage over the farm, and the rank of its wetness within the fields.

    Parameters
    ----------
    heights : Grid
        Elevation over all fields and the ground around them.
    fields : list of shapely geometry
        Boundaries in ``crs``.
    crs : pyproj.CRS
        The run's metric system.
    cell_m, native_m : float
        Side of the cells here, and of the raster they were thinned from.
    tables : Tables
        ``drainage.*``.
    """
    found = drainage(
        heights,
        crs=crs,
        stream_ha=tables.number("drainage.stream_ha"),
        least_tan=tables.number("drainage.least_tan"),
    )
    inside = ~geometry_mask(
        [moved(field, crs, heights.crs) for field in fields],
        heights.shape,
        heights.transform,
        all_touched=True,
    )
    wetness = found.wetness.values
    rank = np.full(wetness.shape, np.nan)
    rank[inside] = wet_rank(wetness[inside], of=wetness[inside])
    return FarmWater(
        found, found.wetness.with_values(rank, unit="", name="wet_rank"), cell_m, native_m
    )


def water_cells(water: FarmWater | None, grid: Grid) -> WaterCells:
    """The farm's water on the cells of a field's grid; all unknown without elevation."""
    if water is None:
        nothing = np.full(grid.shape, np.nan, np.float32)
        return WaterCells(nothing, nothing, nothing)
    picked = _cells_under(grid, water.rank)
    found = water.drainage
    thinned = water.cell_m if water.cell_m > water.native_m * (1 + _ROUNDING) else np.nan
    rank, hand_m, cut = (_taken(one, picked) for one in (water.rank, found.hand_m, found.cut))
    return WaterCells(rank, hand_m, cut, thinned)


def stage_ground(
    water: FarmWater | None, depth_m: float, ground: shapely.Geometry, *, crs: CRS
) -> tuple[shapely.Geometry, shapely.Geometry]:
    """Ground that a flood so deep over the channel wets, and ground of which it is not known.

    A screening by height above the drainage, nothing more: no levee that is thinner than a cell, no
    backwater, no culvert.

    Parameters
    ----------
    water : FarmWater or None
        Without it nothing is known of any ground.
    depth_m : float
        Over the channel.
    ground : shapely geometry
        What is asked about, in ``crs``; what of it lies beyond the drainage is not known.
    crs : pyproj.CRS

    Returns
    -------
    shapely geometry, shapely geometry
        In ``crs``.
    """
    if water is None:
        return shapely.Polygon(), ground
    grid = water.drainage.hand_m
    wet, unknown = under_stage(grid.values, depth_m)
    beyond = shapely.difference(ground, _outline(grid, np.ones(grid.shape, bool), crs))
    return _outline(grid, wet, crs), shapely.union(_outline(grid, unknown, crs), beyond)


def _outline(grid: Grid, where: NDArray[np.bool_], crs: CRS) -> shapely.Geometry:
    pieces = [
        shapely.Polygon(shape["coordinates"][0], shape["coordinates"][1:])
        for shape, _ in shapes(where.astype(np.uint8), mask=where, transform=grid.transform)
    ]
    return moved(shapely.union_all(pieces), grid.crs, crs)


def _cells_under(grid: Grid, of: Grid) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Row and column in ``of`` under the middle of each cell of ``grid``; the same system."""
    rows, columns = np.indices(grid.shape)
    between = ~of.transform @ grid.transform
    column, row = between @ (columns + 0.5, rows + 0.5)
    return np.floor(row).astype(np.int64), np.floor(column).astype(np.int64)


def _taken(of: Grid, at: tuple[NDArray[np.int64], NDArray[np.int64]]) -> NDArray[np.float32]:
    row, column = at
    rows, columns = of.shape
    within = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    held = of.values[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)]
    return np.where(within, held, np.nan).astype(np.float32)
