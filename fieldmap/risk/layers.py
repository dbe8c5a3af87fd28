"""The cells of one field: the lie of the land, marks, looked-at ground; level, governing cause."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.grid import Grid
from fieldmap.hazards.chance import hardest_kind, sweep_width_m
from fieldmap.hazards.looked import FieldLooking
from fieldmap.machine import Machine
from fieldmap.risk import causes as why
from fieldmap.risk.burn import Burner
from fieldmap.risk.lie import NOTHING_SAID, Heights, Lie, Site, lie_of
from fieldmap.risk.seen import chance_cells
from fieldmap.risk.strike_cells import Place, StrikeCells, Struck, nothing_reckoned, strike_cells
from fieldmap.risk.work import usual_turn_kmh
from fieldmap.tables import Tables, kept_by_tables


@dataclass(frozen=True, eq=False)
class Layers:
    """One field on cells: every band on the same grid, NaN outside the field.

    ``lie`` is what the elevation says. ``cause`` holds codes of :mod:`fieldmap.risk.causes`,
    ``level`` ranks of :data:`fieldmap.finding.LEVELS`; ``looked`` is the mean chance that the
    walks showed a thing of the hardest kind that is looked for, ``enough`` where it is enough to
    count as looked at; ``water`` numbers each cell's last flood from 1, and ``flooded`` is 1
    where there was one. ``acts`` is the cause before looking is asked about: what the zones are
    made of, so that a side slope still shows on ground that nobody has walked. ``struck`` is what
    one cut meets on each cell, all NaN where nobody asked for it.
    """

    lie: Lie
    looked: Grid
    enough: NDArray[np.bool_]
    water: NDArray[np.int16]
    flooded: Grid
    level: Grid
    cause: Grid
    acts: Grid
    struck: StrikeCells

    @property
    def inside(self) -> NDArray[np.bool_]:
        """The field's cells."""
        return self.lie.inside

    def bands(self) -> tuple[Grid, ...]:
        """The bands that are written out, outside the field NaN."""
        lie = self.lie
        like = lie.ground.percent
        more = (
            (lie.speed.sight_m, "m", "sight_ahead_m"),
            (lie.speed.limit_kmh, "km/h", "speed_limit_kmh"),
            (lie.speed.cause.astype(float), "", "speed_cause"),
            (lie.water.rank, "", "wet_rank"),
            (lie.water.hand_m, "m", "above_drainage_m"),
        )
        met = (
            (self.struck.strikes, "/ha", "strike_rate"),
            (self.struck.wraps, "/ha", "wrap_rate"),
            (self.struck.forage, "/ha", "forage_risk"),
            (self.struck.consequence, "", "consequence"),
        )
        made, reckoned = (
            [like.with_values(values, unit=unit, name=name) for values, unit, name in held]
            for held in (more, met)
        )
        return tuple(
            grid.with_values(
                np.where(self.inside, grid.values, np.nan), unit=grid.unit, name=grid.name
            )
            for grid in (
                lie.ground.percent,
                lie.steep_low,
                lie.steep_high,
                lie.ground.aspect,
                lie.across,
                lie.use,
                *made,
                lie.hollow_m,
                self.looked,
                *reckoned,
                self.level,
                self.cause,
            )
        )


class RankedCauses(NamedTuple):
    """Every cause by its code, and arrays to look up how bad a code is, and its level's rank."""

    causes: dict[int, why.Cause]
    severities: NDArray[np.uint8]
    level_ranks: NDArray[np.uint8]


@kept_by_tables
def ranked_causes(tables: Tables) -> RankedCauses:
    """The causes of some tables, made once for all fields."""
    causes = why.all_causes(tables)
    return RankedCauses(causes, why.severities(causes), why.level_ranks(causes))


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
    site: Site = NOTHING_SAID,
) -> Layers:
    """All bands of one field.

    Parameters
    ----------
    field : shapely geometry
        Boundary in ``crs``.
    heights : Heights
        Elevation over the field and some ground around it, in its own system.
    marks : GeoDataFrame
        Hazards that reach the field: ``kind`` and the reach as polygons in ``crs``.
    seen : FieldLooking
        Its walks and floods, in ``crs``.
    crs : pyproj.CRS
        The run's metric system.
    machine : Machine or None
        What is held to the slopes; of no machine nothing is known.
    tables : Tables
        ``terrain.*``, ``side_slopes.*``, ``looking.*``, the hazard kinds and what
        :func:`fieldmap.risk.lie.lie_of` needs.
    site : Site
        What else is known of the ground.
    """
    lie = lie_of(field, heights, crs=crs, machine=machine, site=site, tables=tables)
    grid = lie.ground.percent
    burn = Burner(grid, crs)
    water = burn.numbered([one.ground for one in seen.floods])
    sweep_m = sweep_width_m(hardest_kind(seen.sward_m, tables), seen.sward_m, tables)
    looked = chance_cells(grid, lie.inside, water, seen, crs=crs, sweep_m=sweep_m)
    enough = looked >= tables.number("looking.enough_chance")
    cause = _governing(lie, burn.codes(marks, tables), water > 0, enough, heights, tables)
    ranks = ranked_causes(tables).level_ranks
    governing = _overlaid(cause, lie, enough, ranks)
    return Layers(
        lie=lie,
        looked=grid.with_values(looked, unit="", name="looked_at"),
        enough=enough,
        water=water,
        flooded=grid.with_values((water > 0).astype(float), unit="", name="flooded"),
        level=grid.with_values(ranks[governing].astype(float), unit="", name="level"),
        cause=grid.with_values(governing.astype(float), unit="", name="governing_cause"),
        acts=grid.with_values(cause.astype(float), unit="", name="acts"),
        struck=nothing_reckoned(grid.shape),
    )


def with_strikes(
    layers: Layers,
    struck: Struck,
    marks: gpd.GeoDataFrame,
    seen: FieldLooking,
    *,
    crs: CRS,
    tables: Tables,
) -> Layers:
    """The same layers with what one cut meets, once the setting of the mower is known.

    Parameters
    ----------
    layers : Layers
    struck : Struck
        What the mower may meet, at the setting that is advised.
    marks, seen, crs, tables
        As :func:`field_layers` had them.

    Returns
    -------
    Layers
        Where the strikes reckoned of what is not marked reach ``strikes.raise_per_ha``, and a
        taller cut can be had, a raised cut governs what is less bad; where they are not known,
        that does.
    """
    grid = layers.lie.ground.percent
    place = Place(grid, layers.inside, layers.water, layers.lie.cell_area_m2, crs)
    cells = strike_cells(struck, place, marks, seen, tables=tables)
    ranks = ranked_causes(tables).level_ranks
    acts, governing = (
        held.values.astype(np.int16, copy=True) for held in (layers.acts, layers.cause)
    )
    many = struck.taller & (cells.unseen >= tables.number("strikes.raise_per_ha"))
    for cause in (acts, governing):
        cause[many & (ranks[cause] < ranks[why.RAISE_CUT.code])] = why.RAISE_CUT.code
    unreckoned = np.isnan(cells.unseen) & layers.inside
    worse = unreckoned & (ranks[governing] < ranks[why.LEFT_UNKNOWN.code])
    governing[worse] = why.LEFT_UNKNOWN.code
    return replace(
        layers,
        level=grid.with_values(ranks[governing].astype(float), unit="", name="level"),
        cause=grid.with_values(governing.astype(float), unit="", name="governing_cause"),
        acts=grid.with_values(acts.astype(float), unit="", name="acts"),
        struck=cells,
    )


def _overlaid(
    cause: NDArray[np.int16],
    lie: Lie,
    enough: NDArray[np.bool_],
    ranks: NDArray[np.uint8],
) -> NDArray[np.int16]:
    """The causes with what is unknown of the whole field laid over all that is less bad."""
    governing = cause.copy()
    everywhere = np.ones(cause.shape, bool)
    for where, one in (
        (~enough, why.UNLOOKED),
        (everywhere & math.isnan(lie.sigma), why.ERROR_UNKNOWN),
        (everywhere & (not lie.work.own_speed), why.SPEED_UNKNOWN),
        (_unsettled(lie), why.HEADING_UNKNOWN),
    ):
        governing[where & (ranks[governing] < ranks[one.code])] = one.code
    return governing


def _unsettled(lie: Lie) -> NDArray[np.bool_]:
    """Ground whose level hangs on the line of travel, where unknown ground may choose another."""
    percent = lie.ground.percent.values
    if np.isfinite(percent[lie.inside]).all():
        return np.zeros(percent.shape, bool)
    seen = lie.speed.any_way_kmh >= lie.work.fast_kmh
    return (_steepest(lie) >= lie.limits.care_pct) | ~seen


def _governing(
    lie: Lie,
    marks: NDArray[np.int16],
    flooded: NDArray[np.bool_],
    enough: NDArray[np.bool_],
    heights: Heights,
    tables: Tables,
) -> NDArray[np.int16]:
    """The worst cause of each cell; between equals the first laid stays, marks first of all."""
    order = ranked_causes(tables).severities
    cause = marks.copy()
    for where, one in (
        *_stops(lie),
        (~np.isfinite(lie.ground.percent.values), why.NO_ELEVATION),
        (flooded & ~enough, why.FLOODED),
        *_unknowns(lie, enough, heights, tables),
        *_cares(lie, tables),
    ):
        worse = where & (order[cause] < order[one.code])
        cause[worse] = one.code
    return cause


_ROUNDING = 1e-6  # sights are held in four bytes
_Where = tuple[NDArray[np.bool_], why.Cause]


def _stops(lie: Lie) -> tuple[_Where, ...]:
    percent, limits = lie.ground.percent.values, lie.limits
    return (
        (lie.at_edge, why.DROP),
        (percent >= limits.up_down_stop_pct, why.STEEP_STOP),
        (np.abs(lie.across.values) >= limits.stop_pct, why.SIDE_STOP),
        (lie.headland & (percent >= limits.stop_pct), why.TURN_STOP),
    )


def _unknowns(
    lie: Lie, enough: NDArray[np.bool_], heights: Heights, tables: Tables
) -> tuple[_Where, ...]:
    limits, speed = lie.limits, lie.speed
    blind = heights.source_cell_m > tables.number("terrain.blind_cell_m")
    percent = lie.ground.percent.values
    known = np.isfinite(percent)
    side = np.where(_may_turn(lie), percent, np.abs(lie.across.values))
    side_high = np.where(lie.headland, lie.steep_high.values, lie.side_high)
    return (
        (side >= limits.proven_pct, why.STABILITY),
        (
            _perhaps(
                percent, lie.steep_high.values, limits.up_down_stop_pct, limits.up_down_care_pct
            ),
            why.MAYBE_STEEP,
        ),
        (_perhaps(side, side_high, limits.stop_pct, limits.care_pct), why.MAYBE_SIDE),
        (lie.near_open_edge, why.MAYBE_DROP),
        (lie.in_hollow & ~enough, why.HOLLOW),
        (sloping(lie, tables) & math.isnan(lie.work.radius_m), why.TURN_UNKNOWN),
        (known & blind, why.BLIND),
        (known & lie.inside & np.isnan(speed.by_sight_kmh), why.SIGHT_UNKNOWN),
        (hidden(lie) & (not lie.work.own_speed), why.SIGHT_UNKNOWN),
    )


def _perhaps(
    slope_pct: NDArray[np.float32], high_pct: NDArray[np.floating], stop_pct: float, care_pct: float
) -> NDArray[np.bool_]:
    """Ground that may be over a limit: by the band's upper end, without a band from care on."""
    return np.where(np.isnan(high_pct), slope_pct >= care_pct, high_pct >= stop_pct)


def hidden(lie: Lie) -> NDArray[np.bool_]:
    """Cells from which too little is seen ahead to stop at the field speed."""
    return lie.speed.by_sight_kmh < lie.work.fast_kmh


def brow(lie: Lie) -> NDArray[np.bool_]:
    """Cells from which the ground ahead is hidden before the machine could stop."""
    return hidden(lie) & (lie.speed.sight_m < lie.speed.range_m * (1.0 - _ROUNDING))


def no_hold(lie: Lie) -> NDArray[np.bool_]:
    """Cells without a brow where friction and the slope leave nothing to brake with."""
    return (lie.speed.by_sight_kmh <= 0.0) & ~brow(lie)


def sloping(lie: Lie, tables: Tables) -> NDArray[np.bool_]:
    """Ground to turn on where care begins, or where a turn at the usual speed leans to the limit.

    The headland; all ground where nobody knows how deep that is.
    """
    steep = _may_turn(lie) & (_steepest(lie) >= lie.limits.care_pct)
    return steep | (lie.speed.by_turn_kmh <= usual_turn_kmh(tables))


def _may_turn(lie: Lie) -> NDArray[np.bool_]:
    return lie.headland | math.isnan(lie.work.radius_m)


def _steepest(lie: Lie) -> NDArray[np.float32]:
    """The slope, or the upper end of its band where that is known."""
    return np.fmax(lie.ground.percent.values, lie.steep_high.values)


def _cares(lie: Lie, tables: Tables) -> tuple[_Where, ...]:
    limits = lie.limits
    side = np.fmax(np.abs(lie.across.values), lie.side_high)
    return (
        (lie.in_hollow, why.HOLLOW_SEEN),
        (brow(lie), why.CREST),
        (hidden(lie), why.NO_HOLD),
        (_steepest(lie) >= limits.up_down_care_pct, why.STEEP_CARE),
        (side >= limits.care_pct, why.SIDE_CARE),
        (sloping(lie, tables), why.TURN_CARE),
    )
