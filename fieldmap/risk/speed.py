"""How far one sees ahead, how fast that allows to drive, and what else keeps the speed down."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.grid import Grid
from fieldmap.risk.power import speed_by_power_kmh
from fieldmap.risk.side_slope import Limits
from fieldmap.risk.work import MOST_HEADINGS, Work
from fieldmap.tables import Tables
from fieldmap.terrain.sight import sight_ahead
from fieldmap.terrain.slope import Slope, ground_of_a_cell
from fieldmap.terrain.stopping import stopping_distance_m, stopping_speed_kmh, turning_speed_kmh
from fieldmap.terrain.travel import along_at, least_ahead
from fieldmap.units import degrees_from_percent

#: What governs the speed of a cell, by its code in the band ``speed_cause``.
SPEED_CAUSES = (
    "not known",
    "the machine's own field speed",
    "the tool's default field speed",
    "rough or stony ground",
    "turning on the slope",
    "sight ahead and stopping",
    "the power on the climb",
    "the crop",
)
UNKNOWN, OWN, DEFAULT, ROUGH, TURN, SIGHT, POWER, CROP = range(len(SPEED_CAUSES))
_ROUNDING = 1e-5  # slopes are held in four bytes


class Speeds(NamedTuple):
    """Speed limits of one field's cells, NaN where unknown.

    ``sight_m`` is the worst sight ahead in the directions of travel, ``range_m`` where nothing
    hides the ground up to there or to the field's end. ``limit_kmh`` is the least of all limits
    and ``cause`` says which, as a number of :data:`SPEED_CAUSES`. ``by_sight_kmh`` and
    ``by_turn_kmh`` are two of them by themselves; the first is 0 where friction and slope leave
    nothing to brake with, where nothing turns the second is infinite. ``any_way_kmh`` is the first
    for whatever way the machine may face, where some slope of the field is not known; else the
    first again. ``by_power_kmh`` is what the power leaves: infinite where nothing is pulled and
    where the machine's power, mass or width is not known, so that it hides no other limit.
    """

    sight_m: NDArray[np.float32]
    by_sight_kmh: NDArray[np.float64]
    by_turn_kmh: NDArray[np.float64]
    any_way_kmh: NDArray[np.float64]
    limit_kmh: NDArray[np.float64]
    cause: NDArray[np.int16]
    range_m: float
    by_power_kmh: NDArray[np.float64]


class Travel(NamedTuple):
    """Where the machine drives, and which way: cells of the field, those of its headland, heading.

    The line of travel is driven both ways; on the headland the machine stands every way. Without a
    heading (``None``) nothing is known of the sight ahead. ``steep_pct`` is how steep the ground
    may be where the machine turns: the upper end of the slope's band where there is one.
    """

    inside: NDArray[np.bool_]
    headland: NDArray[np.bool_]
    heading_deg: float | None
    steep_pct: NDArray[np.float64]


class Going(NamedTuple):
    """What slows the machine beside the lie of the ground.

    ``rough`` says whether the ground is rough or stony; unknown is reckoned as rough. ``crop_kmh``
    is the most that the crop allows: infinity where nothing was asked of it; NaN, not known, is
    reckoned as the slowest crop.
    """

    rough: bool | None
    crop_kmh: float = math.inf


def speeds(
    heights: Grid,
    ground: Slope,
    travel: Travel,
    work: Work,
    limits: Limits,
    *,
    crs: CRS,
    going: Going,
    tables: Tables,
) -> Speeds:
    """The field speed limit of every cell and the cause that governs it.

    Parameters
    ----------
    heights : Grid
        Elevation, metres.
    ground : Slope
        On the same cells.
    travel : Travel
        On the same cells.
    work : Work
        Field speed, turning radius and pull.
    limits : Limits
        The side-slope limit that a turn must not go beyond.
    crs : pyproj.CRS
    going : Going
    tables : Tables
        ``stopping.*``, ``passes.least_radius_m``, ``passes.unknown_radius_m``,
        ``power.reserve_share``.

    Notes
    -----
    Stopping: v t + v^2 / (2 g (f + G)) with the low end of the friction and, where a brow ends the
    sight, the steepest ground on the way to a stop; the worse of both ways counts, on headlands the
    worst of all headings. A turn: v = sqrt(g R tan(limit - slope)).

    How deep the headland is hangs on the turning radius. Where that is not known all of the field
    is held to the sight all round, and the ground beyond the headland to the turn of a machine
    that would need it.

    Power: the steeper of both ways along the line of travel, on headlands the steepest there is,
    with the reserve kept.
    """
    by_turn = _turning(travel.steep_pct, travel.headland, work, limits, tables)
    if np.isnan(work.radius_m):
        travel = travel._replace(headland=travel.inside)
    by_power = _climbing(ground, travel, work, tables)
    range_m = _range_m(ground, travel.inside, work.fast_kmh, tables)
    sight, by_sight, any_way = _seeing(
        heights, ground, travel, work.fast_kmh, crs=crs, range_m=range_m, tables=tables
    )
    bumps = tables.number("stopping.rough_kmh") if going.rough is not False else np.inf
    held = (work.speed_kmh, bumps, by_turn, by_sight, by_power, _of_crop(going.crop_kmh, tables))
    all_of = np.stack([np.broadcast_to(one, by_sight.shape) for one in held])
    limit = all_of.min(axis=0)  # NaN in one is NaN in all
    own = OWN if work.own_speed else DEFAULT
    cause = np.array([own, ROUGH, TURN, SIGHT, POWER, CROP], np.int16)[
        np.nan_to_num(all_of).argmin(axis=0)
    ]
    known = travel.inside & np.isfinite(limit)
    return Speeds(
        np.where(travel.inside, sight, np.nan).astype(np.float32),
        by_sight,
        by_turn,
        any_way,
        np.where(known, limit, np.nan),
        np.where(known, cause, UNKNOWN).astype(np.int16),
        range_m,
        by_power,
    )


def _range_m(ground: Slope, inside: NDArray[np.bool_], speed_kmh: float, tables: Tables) -> float:
    """How far ahead it is worth looking: where the machine stops on the steepest ground.

    Where it cannot stop, as far as anybody looks.
    """
    friction = _friction(tables)
    grades = ground.percent.values[inside].astype(np.float64) / 100.0
    far = stopping_distance_m(
        speed_kmh,
        grade=-grades[np.isfinite(grades)].max(initial=0.0),
        reaction_s=tables.number("stopping.reaction_s"),
        friction=friction,
    )
    return min(float(far), tables.number("stopping.farthest_m"))


def _friction(tables: Tables) -> float:
    row = tables["stopping.friction"]
    return row.number() if row.low is None else row.low


def _seeing(
    heights: Grid,
    ground: Slope,
    travel: Travel,
    fast_kmh: float,
    *,
    crs: CRS,
    range_m: float,
    tables: Tables,
) -> tuple[NDArray[np.float64], ...]:
    """Sight ahead (m, cut at the range), the speed it allows (km/h), and that of the worst way."""
    inside, headland, heading, _ = travel
    if heading is None:
        nothing = np.full(inside.shape, np.nan)
        return (nothing,) * 3
    count = max(1, round(min(tables.number("stopping.headings"), MOST_HEADINGS)))
    ways = np.array([heading, heading + 180.0, *np.arange(count) * 360.0 / count]) % 360.0
    seen = sight_ahead(
        heights,
        inside,
        ways,
        crs=crs,
        eye_m=tables.number("stopping.eye_m"),
        target_m=tables.number("stopping.target_m"),
        range_m=range_m,
    ).reshape(len(ways), -1)
    field = np.flatnonzero(inside)
    turns = np.flatnonzero(inside & headland)
    unsettled = np.isnan(ground.percent.values[inside]).any()  # then any way may be the best
    every = field if unsettled else turns
    sight, slow, any_way = np.full((3, inside.size), np.nan)
    along = np.full(seen.shape, np.nan, np.float32)
    along[:, field] = along_at(ground, ways, field)
    paces = np.full(seen.shape, np.nan)
    for number, tried in enumerate(along):
        at = field if number < 2 else every
        far = seen[number, at].astype(np.float64)
        paces[number, at] = _stopping(far, tried[at], fast_kmh, range_m, tables)
        hides = at[np.isfinite(far)]
        paces[number, hides] = _over_the_brow(
            ground, tried, ways[number], hides, seen[number, hides], crs=crs, tables=tables
        )
    slow[field] = paces[:2, field].min(axis=0)
    any_way[every] = paces[:, every].min(axis=0)
    slow[turns] = any_way[turns]
    sight[field] = seen[:2, field].min(axis=0)
    sight[turns] = seen[:, turns].min(axis=0)
    any_way = any_way if unsettled else slow
    sight = np.minimum(sight, range_m)
    return tuple(one.reshape(inside.shape) for one in (sight, slow, any_way))


def _over_the_brow(
    ground: Slope,
    along: NDArray[np.float32],
    way_deg: float,
    cells: NDArray[np.int64],
    seen_m: NDArray[np.float32],
    *,
    crs: CRS,
    tables: Tables,
) -> NDArray[np.float64]:
    """The speed from which the machine stops where the ground ends what is seen, for some cells.

    Whoever sees a thing beyond a brow brakes beyond the brow: what counts is the ground up to
    where the machine stands again, and not the ground under the wheels. It may stand anywhere in
    what is seen, so that the best of all such places counts; ground of unknown slope is none.
    """
    best = np.zeros(len(cells))
    if len(cells) == 0:
        return best
    cell = ground_of_a_cell(ground.percent, crs)
    side_m = float(np.hypot(cell[0], cell[1]).min())
    turn = math.radians(way_deg)
    column, row = np.linalg.inv(cell) @ (side_m * np.array([math.sin(turn), math.cos(turn)]))
    driven = np.where(np.isnan(along), np.float32(-np.inf), along).reshape(ground.percent.shape)
    steps = math.ceil(float(seen_m.max()) / side_m)
    for reach, least in least_ahead(driven, step=(row, column), steps=steps):
        fast = stopping_speed_kmh(
            np.minimum(seen_m, reach * side_m),
            grade=np.maximum(least.ravel()[cells], -1e6) / 100.0,
            reaction_s=tables.number("stopping.reaction_s"),
            friction=_friction(tables),
        )
        best = np.fmax(best, fast)
    return best


def _stopping(
    seen_m: NDArray[np.float64],
    along: NDArray[np.float32],
    fast_kmh: float,
    range_m: float,
    tables: Tables,
) -> NDArray[np.float64]:
    """The speed from which the machine stops in what is seen, on the ground under the wheels."""
    fast = stopping_speed_kmh(
        np.minimum(seen_m, range_m),
        grade=along / 100.0,
        reaction_s=tables.number("stopping.reaction_s"),
        friction=_friction(tables),
    )
    enough = np.isinf(seen_m) & (fast >= fast_kmh * (1.0 - _ROUNDING))  # to the range, and in time
    fast[enough] = np.inf
    return fast


def _turning(
    steep_pct: NDArray[np.float64],
    headland: NDArray[np.bool_],
    work: Work,
    limits: Limits,
    tables: Tables,
) -> NDArray[np.float64]:
    """Beyond the headland nothing turns, unless nobody knows how deep that is."""
    loose = np.isnan(work.radius_m)
    wide = tables.number("passes.unknown_radius_m")
    fast = turning_speed_kmh(
        limit_deg=degrees_from_percent(limits.stop_pct),
        slope_deg=np.degrees(np.arctan(steep_pct / 100.0)),
        radius_m=np.where(headland, reckoned_radius_m(work, tables), wide),
    )
    return np.where(headland | loose, fast, np.inf)


def _climbing(ground: Slope, travel: Travel, work: Work, tables: Tables) -> NDArray[np.float64]:
    """What the power leaves on the field's cells; without a heading as if all were headland."""
    pull = work.pull
    grade = np.where(travel.inside, travel.steep_pct, np.nan)
    if travel.heading_deg is not None:
        runs = np.flatnonzero(travel.inside & ~travel.headland)
        way = np.array([travel.heading_deg])
        grade.ravel()[runs] = np.abs(along_at(ground, way, runs)[0])
    if np.isnan(np.array(pull, np.float64)).any():
        return np.where(np.isnan(grade), np.nan, np.inf)
    reserve = tables.number("power.reserve_share")
    grade[travel.inside] = speed_by_power_kmh(
        grade[travel.inside] / 100.0, pull=pull, reserve=reserve
    )
    return grade


def _of_crop(crop_kmh: float, tables: Tables) -> float:
    if not np.isnan(crop_kmh):
        return crop_kmh
    return min(tables.number(f"stopping.crop_{key}_kmh") for key in ("lodged", "thick"))


def reckoned_radius_m(work: Work, tables: Tables) -> float:
    """The radius turns are reckoned with: the tightest there is when the machine's is not known.

    What can turn tighter than that does so slower than a usual turn.
    """
    least = tables.number("passes.least_radius_m")
    return least if np.isnan(work.radius_m) else max(work.radius_m, least)
