"""Where in a field one cut is reckoned to meet things: strikes, wraps and forage on cells."""

from __future__ import annotations

import math
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.crs import transformer
from fieldmap.grid import Grid
from fieldmap.hazards.looked import FieldLooking
from fieldmap.risk.burn import Burner
from fieldmap.risk.left import Left
from fieldmap.risk.matrix import severity_of
from fieldmap.risk.seen import chance_cells
from fieldmap.risk.strikes import Things, met
from fieldmap.risk.things import Mixes, left_things, mix_key, mixes
from fieldmap.tables import Tables
from fieldmap.units import M2_PER_HECTARE


class Struck(NamedTuple):
    """What the cells are reckoned with: what is left, the marks, and the setting of the mower.

    ``marks`` are :func:`fieldmap.risk.things.logged_things` of the marks that the layers are made
    with, in their order. ``cut_m`` and ``lift_m`` are those of the setting that is advised;
    ``taller`` says whether the crop and the machine allow a taller one.
    """

    left: Left
    marks: Things
    cut_m: float
    lift_m: float
    taller: bool = True


class StrikeCells(NamedTuple):
    """Things met in one cut, for each hectare; arrays (rows, columns), NaN where not known.

    ``unseen`` are the strikes of what is not marked. ``consequence`` is the gravest severity (1
    to 4) among what may lie there, NaN where nothing is known to.
    """

    strikes: NDArray[np.float64]
    wraps: NDArray[np.float64]
    forage: NDArray[np.float64]
    unseen: NDArray[np.float64]
    consequence: NDArray[np.float64]


class Place(NamedTuple):
    """The cells: grid, the field's own, the number of each one's last flood, area, system."""

    grid: Grid
    inside: NDArray[np.bool_]
    water: NDArray[np.int16]
    cell_area_m2: float
    crs: CRS


def nothing_reckoned(shape: tuple[int, int]) -> StrikeCells:
    """All unknown, for cells of this shape."""
    return StrikeCells._make(np.full(shape, np.nan) for _ in StrikeCells._fields)


def strike_cells(
    struck: Struck,
    place: Place,
    marks: gpd.GeoDataFrame,
    seen: FieldLooking,
    *,
    tables: Tables,
) -> StrikeCells:
    """Strikes, wraps and things in the forage on each cell of a field.

    Parameters
    ----------
    struck : Struck
    place : Place
    marks : GeoDataFrame
        As ``struck.marks``, with the reach as polygons: a mark counts on the cell of its middle,
        or on the field's nearest.
    seen : FieldLooking
        The walks that ``struck.left`` was reckoned with.
    tables : Tables

    Returns
    -------
    StrikeCells
        Outside the field NaN. Where a source of things cannot be reckoned all is unknown.

    Notes
    -----
    Each source of things lies on its own ground: stones everywhere, flood debris on cells that
    water touched, loose things on the others, litter on cells that the road's strip touches. What
    lies unseen on a hectare is the density after looking times the chance that it was not seen
    there. Times the area, summed over the field, that is the value of
    :func:`fieldmap.risk.strikes.expected`, but for the cells that the field's rim, the water's or
    the strip's cuts.
    """
    rates = np.zeros((3, *place.grid.shape))
    grave = np.full(place.grid.shape, np.inf)
    _add_unseen(rates, grave, struck, place, seen, tables)
    unseen = rates[0].copy()
    _add_marks(rates, grave, struck, place, marks, tables)
    known = place.inside & (not struck.left.missing) & (not math.isnan(struck.cut_m))
    for one in (*rates, unseen):
        one[~known] = np.nan
    if math.isnan(struck.lift_m):
        rates[1:] = np.nan
    # what was not reckoned may be as grave as anything
    sure = place.inside & np.isfinite(grave) & ((grave <= 1.0) | (not struck.left.missing))
    strikes, wraps, forage = rates
    return StrikeCells(strikes, wraps, forage, unseen, np.where(sure, grave, np.nan))


def _add_unseen(
    rates: NDArray[np.float64],
    grave: NDArray[np.float64],
    struck: Struck,
    place: Place,
    seen: FieldLooking,
    tables: Tables,
) -> None:
    """Lays what each source leaves unseen over the cells of its ground."""
    left = struck.left
    if not left.estimates:
        return
    made_of = mixes(tables)
    shares = _shares_met(struck, made_of, tables)
    chances: dict[float, NDArray[np.float64]] = {}
    for one, sweep_m, share in zip(left.estimates, left.sweeps_m, shares, strict=True):
        if sweep_m not in chances:
            chances[sweep_m] = chance_cells(
                place.grid, place.inside, place.water, seen, crs=place.crs, sweep_m=sweep_m
            )
        where = _ground(one.source_of_things, place, left.road)
        lying = np.where(where, one.density * (1.0 - chances[sweep_m]), 0.0)
        rates += share[:, np.newaxis, np.newaxis] * lying
        kinds = (
            tables[f"hazard_kinds.{kind}"] for kind, _ in made_of[mix_key(one.source_of_things)]
        )
        worst = float(min(severity_of(row) for row in kinds))
        np.minimum(grave, worst, out=grave, where=lying > 0)


def _ground(
    source_of_things: str, place: Place, road: shapely.Geometry | None
) -> NDArray[np.bool_]:
    """The cells on which a source of things lies."""
    if source_of_things == "flood_debris":
        return place.water > 0
    if source_of_things == "elsewhere":
        return place.water == 0
    if source_of_things == "road_litter":
        if road is None or road.is_empty:
            return np.zeros(place.grid.shape, bool)
        return Burner(place.grid, place.crs).touched(road)
    return np.ones(place.grid.shape, bool)


def _shares_met(struck: Struck, made_of: Mixes, tables: Tables) -> NDArray[np.float64]:
    """Share of each source's things that one cut meets; shape (sources, 3 outcomes)."""
    estimates = struck.left.estimates
    single = [one._replace(left_low=1.0, left=1.0, left_high=1.0) for one in estimates]
    things = left_things(single, tables=tables, made_of=made_of)
    held = met(things, np.array([struck.cut_m]), np.array([struck.lift_m]), tables=tables)
    values = np.stack([one[0, :, 1] for one in held])
    sizes = [len(made_of[mix_key(one.source_of_things)]) for one in estimates]
    return np.add.reduceat(values, np.cumsum([0, *sizes[:-1]]), axis=1).T


def _add_marks(
    rates: NDArray[np.float64],
    grave: NDArray[np.float64],
    struck: Struck,
    place: Place,
    marks: gpd.GeoDataFrame,
    tables: Tables,
) -> None:
    """Lays each mark onto the cell of its middle; one that is mown round shows as grave alone."""
    things = struck.marks
    if len(things.kind) == 0 or not place.inside.any():
        return
    at = _cells_of(place, marks)
    lift_m = np.array([struck.lift_m])
    held = met(things, np.array([struck.cut_m]), lift_m, tables=tables)
    per_cell = M2_PER_HECTARE / place.cell_area_m2
    for rate, one in zip(rates, held, strict=True):
        np.add.at(rate.reshape(-1), at, one[0, :, 1] * per_cell)
    known = {kind: severity_of(tables[f"hazard_kinds.{kind}"]) for kind in set(things.kind)}
    worst = np.array([known[kind] for kind in things.kind], float)
    np.minimum.at(grave.reshape(-1), at, worst)


def _cells_of(place: Place, marks: gpd.GeoDataFrame) -> NDArray[np.intp]:
    """Number of the field's cell under each mark's middle, or of the nearest."""
    middles = shapely.centroid(marks.geometry.to_numpy())
    x, y = shapely.get_x(middles), shapely.get_y(middles)
    grid = place.grid
    if grid.crs != place.crs:
        x, y = transformer(place.crs, grid.crs).transform(x, y)
    column, row = (np.floor(held) for held in ~grid.transform @ (x, y))
    rows, columns = grid.shape
    there = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    at = np.where(there, row * columns + column, 0).astype(np.intp)
    outside = np.flatnonzero(~there | ~place.inside.reshape(-1)[at])
    if outside.size:
        own_row, own_column = np.nonzero(place.inside)
        far = (row[outside, None] - own_row) ** 2 + (column[outside, None] - own_column) ** 2
        near = np.argmin(far, axis=1)
        at[outside] = own_row[near] * columns + own_column[near]
    return at
