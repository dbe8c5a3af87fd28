"""The cells of one field: slope, side slope, marks, looked-at ground; level and governing cause."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.features import rasterize

from fieldmap.crs import moved
from fieldmap.grid import Grid
from fieldmap.hazards.chance import hardest_kind, sweep_width_m
from fieldmap.hazards.looked import FieldLooking
from fieldmap.machine import Machine
from fieldmap.risk import causes as why
from fieldmap.risk.seen import chance_cells
from fieldmap.risk.side_slope import (
    Heading,
    Limits,
    across_best,
    best_heading,
    limits_for,
    side_slope_use,
)
from fieldmap.tables import Tables
from fieldmap.terrain.slope import Slope, slope

_LEAST_CELL_M = 0.25


class Heights(NamedTuple):
    """Elevation over one field: metres, the side of a cell, and of the cells it was made from.

    ``source_cell_m`` is greater than ``cell_m`` when the raster was resampled from a coarser
    one: finer cells do not see more. ``name`` is the file's, "" when the farm has none.
    """

    grid: Grid
    cell_m: float
    source_cell_m: float
    name: str


@dataclass(frozen=True, eq=False)
class Layers:
    """One field on cells: every band on the same grid, NaN outside the field.

    ``cause`` holds codes of :mod:`fieldmap.risk.causes`, ``level`` ranks of
    :data:`fieldmap.finding.LEVELS`; ``looked`` is the mean chance that the walks showed a thing of
    the hardest kind that is looked for, ``enough`` where it is enough to count as looked at;
    ``water`` numbers each cell's last flood from 1, and ``flooded`` is 1 where there was one.
    ``acts`` is the cause before looking is asked about: what the zones are made of, so that
    a side slope still shows on ground that nobody has walked.
    """

    inside: NDArray[np.bool_]
    ground: Slope
    across: Grid
    use: Grid
    looked: Grid
    enough: NDArray[np.bool_]
    water: NDArray[np.int16]
    flooded: Grid
    level: Grid
    cause: Grid
    acts: Grid
    heading: Heading | None
    limits: Limits
    cell_area_m2: float

    def bands(self) -> tuple[Grid, ...]:
        """The bands that are written out, outside the field NaN."""
        inside = self.inside
        return tuple(
            grid.with_values(np.where(inside, grid.values, np.nan), unit=grid.unit, name=grid.name)
            for grid in (
                self.ground.percent,
                self.ground.aspect,
                self.across,
                self.use,
                self.looked,
                self.level,
                self.cause,
            )
        )


def analysis_cell_m(tables: Tables) -> float:
    """Side of the cells that marks and zones are drawn on (m), however small it was asked for."""
    return max(tables.number("terrain.analysis_cell_m"), _LEAST_CELL_M)


def empty_ground(field: shapely.Geometry, crs: CRS, *, cell_m: float) -> Grid:
    """Unknown heights over a field, for a farm without elevation."""
    west, south, east, north = field.bounds
    left, top = math.floor(west / cell_m) - 2, math.ceil(north / cell_m) + 2
    columns = math.ceil(east / cell_m) + 2 - left
    rows = top - math.floor(south / cell_m) + 2
    values = np.full((rows, columns), np.nan, np.float32)
    return Grid(
        values, Affine(cell_m, 0, left * cell_m, 0, -cell_m, top * cell_m), crs, "m", "elevation"
    )


def field_layers(
    field: shapely.Geometry,
    heights: Heights,
    marks: gpd.GeoDataFrame,
    seen: FieldLooking,
    *,
    crs: CRS,
    machine: Machine | None,
    tables: Tables,
) -> Layers:
    """All bands of one field.

    Parameters
    ----------
    field : shapely geometry
        Boundary in ``crs``.
    heights : Heights
        Elevation over the field and two cells more, in its own system.
    marks : GeoDataFrame
        Hazards that reach the field: ``kind`` and the reach as polygons in ``crs``.
    seen : FieldLooking
        Its walks and floods, in ``crs``.
    crs : pyproj.CRS
        The run's metric system.
    machine : Machine or None
        What is held to the slopes; of no machine nothing is known.
    tables : Tables
        ``terrain.*``, ``side_slopes.*``, ``looking.*`` and the hazard kinds.
    """
    limits = limits_for(machine, tables=tables)
    cell_m = heights.cell_m
    times = max(1, math.ceil(cell_m / analysis_cell_m(tables) - 1e-9))
    coarse = slope(heights.grid, crs=crs)
    over = moved(field, crs, heights.grid.crs).bounds
    ground = Slope(coarse.percent.finer(times, over=over), coarse.aspect.finer(times, over=over))
    burn = _Burner(ground.percent, crs)
    inside = burn.touched(field)
    width = None if machine is None else machine.working_width_m
    heading = best_heading(ground, inside, field, limits, width_m=width, tables=tables)
    across = across_best(ground, heading)
    water = burn.numbered([one.ground for one in seen.floods])
    flooded = water > 0
    sweep_m = sweep_width_m(hardest_kind(seen.sward_m, tables), seen.sward_m, tables)
    looked = chance_cells(ground.percent, inside, water, seen, crs=crs, sweep_m=sweep_m)
    enough = looked >= tables.number("looking.enough_chance")
    blind = heights.source_cell_m > tables.number("terrain.blind_cell_m")
    cause = _governing(
        ground.percent.values,
        across.values,
        burn.codes(marks, tables),
        flooded & ~enough,
        limits,
        blind=blind,
        tables=tables,
    )
    ranks = why.level_ranks(why.all_causes(tables))
    grid = ground.percent
    unlooked = ~enough & (ranks[cause] < ranks[why.UNLOOKED.code])
    governing = np.where(unlooked, why.UNLOOKED.code, cause)
    return Layers(
        inside=inside,
        ground=ground,
        across=across,
        use=side_slope_use(across, machine, tables=tables),
        looked=grid.with_values(looked, unit="", name="looked_at"),
        enough=enough,
        water=water,
        flooded=grid.with_values(flooded.astype(float), unit="", name="flooded"),
        level=grid.with_values(ranks[governing].astype(float), unit="", name="level"),
        cause=grid.with_values(governing.astype(float), unit="", name="governing_cause"),
        acts=grid.with_values(cause.astype(float), unit="", name="acts"),
        heading=heading,
        limits=limits,
        cell_area_m2=(cell_m / times) ** 2,
    )


def _governing(
    percent: NDArray[np.float32],
    across: NDArray[np.float32],
    marks: NDArray[np.int16],
    unlooked: NDArray[np.bool_],
    limits: Limits,
    *,
    blind: bool,
    tables: Tables,
) -> NDArray[np.int16]:
    """The worst cause of each cell; between equals the first laid stays, marks first of all."""
    order = why.severities(why.all_causes(tables))
    cause = marks.copy()
    known = np.isfinite(percent)
    side = np.abs(across)
    for where, one in (
        (percent >= limits.up_down_stop_pct, why.STEEP_STOP),
        (side >= limits.stop_pct, why.SIDE_STOP),
        (~known, why.NO_ELEVATION),
        (unlooked, why.FLOODED),
        (side >= limits.proven_pct, why.STABILITY),
        (known & blind, why.BLIND),
        (percent >= limits.up_down_care_pct, why.STEEP_CARE),
        (side >= limits.care_pct, why.SIDE_CARE),
    ):
        worse = where & (order[cause] < order[one.code])
        cause[worse] = one.code
    return cause


class _Burner:
    """Shapes of the run's system onto one grid of any system."""

    def __init__(self, grid: Grid, crs: CRS) -> None:
        self._shape = grid.shape
        self._affine = grid.transform
        self._from, self._to = crs, grid.crs

    def touched(self, shape: shapely.Geometry) -> NDArray[np.bool_]:
        """Cells that the shape touches."""
        return self._burn([(shape, 1)]) == 1

    def numbered(self, shapes: list[shapely.Geometry]) -> NDArray[np.int16]:
        """Number, from 1, of the last of the shapes that touches each cell; 0 where none does."""
        return self._burn([(shape, number) for number, shape in enumerate(shapes, 1)])

    def codes(self, marks: gpd.GeoDataFrame, tables: Tables) -> NDArray[np.int16]:
        """Cause code of the worst mark that touches each cell."""
        codes = why.hazard_codes(tables)
        order = why.severities(why.all_causes(tables))
        pairs = [
            (shape, codes[kind]) for kind, shape in zip(marks["kind"], marks.geometry, strict=True)
        ]
        pairs.sort(key=lambda pair: (order[pair[1]], -pair[1]))
        return self._burn(pairs)

    def _burn(self, pairs: list[tuple[shapely.Geometry, int]]) -> NDArray[np.int16]:
        pairs = [
            (moved(shape, self._from, self._to), code)
            for shape, code in pairs
            if not shape.is_empty
        ]
        if not pairs:
            return np.zeros(self._shape, np.int16)
        return rasterize(
            pairs,
            out_shape=self._shape,
            transform=self._affine,
            fill=0,
            all_touched=True,
            dtype="int16",
        )
