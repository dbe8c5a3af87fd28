"""The lie of one field: slope and its band, side slope, headlands, sight, speed, hollows, edges."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.crs import moved
from fieldmap.grid import Grid
from fieldmap.machine import Machine
from fieldmap.risk.burn import Burner
from fieldmap.risk.side_slope import (
    Heading,
    Limits,
    across_best,
    best_heading,
    limits_for,
    side_slope_use,
)
from fieldmap.risk.speed import Going, Speeds, Travel, reckoned_radius_m, speeds
from fieldmap.risk.water import FarmWater, WaterCells, water_cells
from fieldmap.risk.work import Work, at_speed, usual_turn_kmh, work_over
from fieldmap.tables import Tables
from fieldmap.terrain.edges import EdgeLimits, drop_offs, round_unknown
from fieldmap.terrain.hollows import hollows
from fieldmap.terrain.slope import Slope, slope
from fieldmap.terrain.slope_error import across_band_pct, gradient_sigma, slope_band_pct
from fieldmap.terrain.stopping import lateral_angle_deg

_LEAST_CELL_M = 0.25


class Heights(NamedTuple):
    """Elevation over one field: metres, the side of a cell, and of the cells it was made from.

    ``source_cell_m`` is greater than ``cell_m`` when the raster was resampled from a coarser
    one: finer cells do not see more. ``name`` is the file's, "" when the farm has none.
    ``error_m`` is the standard error of a height, NaN when nobody said, and ``error_source`` where
    it was said.
    """

    grid: Grid
    cell_m: float
    source_cell_m: float
    name: str
    error_m: float = math.nan
    error_source: str = ""


class Site(NamedTuple):
    """What else is known of a field: rough or stony (``None`` nobody said), drainage, soft ground.

    ``crop_kmh`` is the most that the crop allows, infinity where nothing was asked of it.
    """

    rough: bool | None = None
    water: FarmWater | None = None
    soft: bool | None = None
    crop_kmh: float = math.inf


NOTHING_SAID = Site()


@dataclass(frozen=True, eq=False)
class Lie:
    """What the elevation says of one field for one machine, every grid on the field's cells.

    ``steep_low`` and ``steep_high`` are the ends of the 90 percent band of the slope,
    ``side_high`` the upper end of that of the side slope on the best heading; NaN where the error
    of the elevation is not known. ``sigma`` is the standard error of a component of the slope.
    ``use`` counts the turn on headlands. ``near_open_edge`` is ground that a highwall may reach
    which nobody can see for lack of heights: where an edge goes on into them, and round all ground
    without any. ``hollows`` and ``edges`` are in the run's system.
    """

    inside: NDArray[np.bool_]
    ground: Slope
    steep_low: Grid
    steep_high: Grid
    across: Grid
    side_high: NDArray[np.float64]
    use: Grid
    headland: NDArray[np.bool_]
    speed: Speeds
    hollow_m: Grid
    in_hollow: NDArray[np.bool_]
    at_edge: NDArray[np.bool_]
    near_open_edge: NDArray[np.bool_]
    water: WaterCells
    hollows: gpd.GeoDataFrame
    edges: gpd.GeoDataFrame
    heading: Heading | None
    work: Work
    limits: Limits
    sigma: float
    cell_area_m2: float


def analysis_cell_m(tables: Tables) -> float:
    """Side of the cells that marks and zones are drawn on (m), however small it was asked for."""
    return max(tables.number("terrain.analysis_cell_m"), _LEAST_CELL_M)


def lie_of(
    field: shapely.Geometry,
    heights: Heights,
    *,
    crs: CRS,
    machine: Machine | None,
    site: Site,
    tables: Tables,
) -> Lie:
    """Everything the elevation says of one field.

    Parameters
    ----------
    field : shapely geometry
        Boundary in ``crs``.
    heights : Heights
        Elevation over the field and some ground around it, in its own system: hollows and edges
        that lie partly outside are seen as far as it reaches.
    crs : pyproj.CRS
        The run's metric system.
    machine : Machine or None
        What is held to the slopes; of no machine nothing is known.
    site : Site
    tables : Tables
        ``terrain.*``, ``side_slopes.*``, ``passes.*``, ``stopping.*``, ``drainage.*``, ``edges.*``.
    """
    limits = limits_for(machine, tables=tables)
    work = work_over(field, machine, tables=tables, soft=site.soft)
    cells = _Cells(field, heights, crs, tables)
    sigma = gradient_sigma(
        heights.error_m,
        cell_m=heights.source_cell_m,
        factor=tables.number("terrain.dem_slope_error_factor"),
    )
    coarse = slope(heights.grid, crs=crs)
    ground = Slope(cells.fine(coarse.percent), cells.fine(coarse.aspect))
    band = slope_band_pct(coarse.percent.values, sigma=sigma)
    low, high = (coarse.percent.with_values(end, unit="%", name="slope_pct") for end in band)
    steep = high.with_values(
        np.fmax(coarse.percent.values, high.values), unit="%", name="steepest_pct"
    )
    burn = Burner(ground.percent, crs)
    inside, headland = burn.whole_and_part(field, work.headland)
    heading = best_heading(ground, inside, work, limits)
    across = across_best(ground, heading)
    side_high = across_band_pct(across.values, sigma=sigma)[1]
    dips = _hollows(field, heights, crs, tables)
    edges = _edges(field, heights, coarse, crs, tables)
    unseen = round_unknown(
        heights.grid, coarse, crs=crs, reach_m=tables.number("edges.highwall_buffer_m")
    )
    fast = cells.fine_speeds(
        speeds(
            heights.grid,
            coarse,
            _travel(field, steep, work, heading, crs),
            work,
            limits,
            crs=crs,
            going=Going(site.rough, site.crop_kmh),
            tables=tables,
        )
    )
    work, heading = _in_time(work, heading, fast, inside, tables)
    return Lie(
        inside=inside,
        ground=ground,
        steep_low=cells.fine(replace(low, name="slope_low_pct")),
        steep_high=cells.fine(replace(high, name="slope_high_pct")),
        across=across,
        side_high=side_high,
        use=_use(ground, across, headland, work, machine, tables),
        headland=headland,
        speed=fast,
        hollow_m=cells.fine(dips[0]),
        in_hollow=burn.touched(*dips[1].geometry),
        at_edge=burn.touched(*edges["zone"]),
        near_open_edge=burn.touched(*edges["perhaps"], unseen),
        water=water_cells(site.water, ground.percent),
        hollows=dips[1],
        edges=edges,
        heading=heading,
        work=work,
        limits=limits,
        sigma=sigma,
        cell_area_m2=(heights.cell_m / cells.times) ** 2,
    )


def _in_time(
    work: Work, heading: Heading | None, found: Speeds, inside: NDArray[np.bool_], tables: Tables
) -> tuple[Work, Heading | None]:
    """The minutes that the field's own speed limits leave; crawling pace where they are lower."""
    limit = found.limit_kmh[inside & np.isfinite(found.limit_kmh)]
    if heading is None or heading.minutes is None or limit.size == 0:
        return work, heading
    crawling = max(tables.number("stopping.least_kmh"), 0.1)
    pace = limit.size / float(np.sum(1.0 / np.maximum(limit, crawling)))
    work = at_speed(work, pace, tables=tables)
    at = int(np.argmin(np.abs(work.lines_deg - heading.degrees)))
    return work, heading._replace(minutes=float(work.minutes[at]))


class _Cells:
    """From the raster's own cells to the field's: split to the analysis cell, cut to the field."""

    def __init__(self, field: shapely.Geometry, heights: Heights, crs: CRS, tables: Tables) -> None:
        self.times = max(1, math.ceil(heights.cell_m / analysis_cell_m(tables) - 1e-9))
        grid = heights.grid
        self._like = grid.finer(self.times, over=moved(field, crs, grid.crs).bounds)
        left, upper = ~grid.transform @ self._like.transform @ (0.0, 0.0)
        rows, columns = (np.arange(count) + 0.5 for count in self._like.shape)
        row, column = upper + rows / self.times, left + columns / self.times
        self._at = np.ix_(np.floor(row).astype(np.int64), np.floor(column).astype(np.int64))

    def fine(self, grid: Grid) -> Grid:
        """The grid's values on the field's cells."""
        return self._like.with_values(grid.values[self._at], unit=grid.unit, name=grid.name)

    def fine_speeds(self, found: Speeds) -> Speeds:
        """The same speeds on the field's cells."""
        held = found._asdict()
        for name, values in held.items():
            if isinstance(values, np.ndarray):
                held[name] = values[self._at].astype(np.float32).astype(values.dtype)
        return Speeds(**held)


def _use(
    ground: Slope,
    across: Grid,
    headland: NDArray[np.bool_],
    work: Work,
    machine: Machine | None,
    tables: Tables,
) -> Grid:
    """On headlands the machine stands every way, and leans out of its turn as well."""
    worst = np.where(headland, ground.percent.values, across.values)
    turn = lateral_angle_deg(usual_turn_kmh(tables), reckoned_radius_m(work, tables))
    return side_slope_use(
        across.with_values(worst, unit="%", name="across_pct"),
        machine,
        tables=tables,
        turn_deg=np.where(headland, turn, 0.0),
    )


def _travel(
    field: shapely.Geometry, steep: Grid, work: Work, heading: Heading | None, crs: CRS
) -> Travel:
    """On the raster's own cells."""
    inside, headland = Burner(steep, crs).whole_and_part(field, work.headland)
    way = None if heading is None else heading.degrees
    return Travel(inside, headland, way, steep.values.astype(np.float64))


def _hollows(
    field: shapely.Geometry, heights: Heights, crs: CRS, tables: Tables
) -> tuple[Grid, gpd.GeoDataFrame]:
    """Depth of every hollow of the window (m), and those that reach the field.

    Beside unknown ground one of any size counts: most of it may lie there.
    """
    depth_m, area_m2 = (tables.number(f"drainage.hollow_{key}") for key in ("depth_m", "area_m2"))
    some = 0.0 if np.isnan(heights.grid.values).any() else 1.0
    found = hollows(
        heights.grid, crs=crs, least_depth_m=some * depth_m, least_area_m2=some * area_m2
    )
    table = found.table
    large = (table["depth_m"].to_numpy() >= depth_m) & (table["area_m2"].to_numpy() >= area_m2)
    near = shapely.intersects(table.geometry.to_numpy(), field)
    return found.depth, _rows_of(table, (large | table["open"].to_numpy()) & near)


def _edges(
    field: shapely.Geometry, heights: Heights, lie: Slope, crs: CRS, tables: Tables
) -> gpd.GeoDataFrame:
    """Drop-offs whose ground to keep out of reaches the field."""
    figures = {key: tables.number(f"edges.{key}") for key in EdgeLimits._fields}
    found = drop_offs(heights.grid, crs=crs, limits=EdgeLimits(**figures), ground=lie)
    ground = shapely.union(found["zone"].to_numpy(), found["perhaps"].to_numpy())
    near = shapely.intersects(ground, field)
    return _rows_of(found, near)


def _rows_of(table: gpd.GeoDataFrame, kept: NDArray[np.bool_]) -> gpd.GeoDataFrame:
    return table if kept.all() else table[kept].reset_index(drop=True)
