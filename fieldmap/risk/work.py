"""The mowing of one field as runs and turns: headland laps, then runs along each line of travel."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from fieldmap.machine import Machine
from fieldmap.risk.power import NOTHING_KNOWN, Pull, pull_of
from fieldmap.tables import Tables
from fieldmap.terrain.passes import headland, laps_for, minutes, passes
from fieldmap.terrain.travel import headings
from fieldmap.terrain.turns import turn

#: Lines of travel, or ways to look, that are tried at most, whatever a farm asks for.
MOST_HEADINGS = 360
_ROUND = 8  # corners of a quarter circle, as the laps go round what points into the field


class Work(NamedTuple):
    """The mowing of one field, for every line of travel that is tried.

    ``lines_deg``, ``runs``, ``turns``, ``length_m`` and ``minutes`` are arrays over the lines, NaN
    where the machine's working width is not known. ``headland`` is the ground nearer to the rim
    than the laps are wide: all of the field when the width is not known, since the machine may then
    turn anywhere. ``inner`` is what the runs cover: all beyond the headland, and what of it is too
    narrow for a lap. ``speed_kmh`` is the field speed the minutes rest on, ``own_speed`` whether
    the machine's file gave it, ``fast_kmh`` what seeing and stopping is held to: the same, or the
    fast end of what is usual when nobody gave it. ``radius_m`` is the tightest turn, NaN unknown.
    ``pull`` is what the knives and the climbs take of the machine's power.
    """

    lines_deg: NDArray[np.float64]
    runs: NDArray[np.float64]
    turns: NDArray[np.float64]
    length_m: NDArray[np.float64]
    minutes: NDArray[np.float64]
    laps: int | None
    lap_m: float
    inner: shapely.Geometry
    headland: shapely.Geometry
    width_m: float
    radius_m: float
    speed_kmh: float
    fast_kmh: float
    own_speed: bool
    pull: Pull = NOTHING_KNOWN


def work_over(
    field: shapely.Geometry, machine: Machine | None, *, tables: Tables, soft: bool | None = None
) -> Work:
    """Laps, runs, turns and minutes over a field's real outline.

    Parameters
    ----------
    field : shapely geometry
        The boundary in the run's metric system; holes are lapped too.
    machine : Machine or None
        Working width, turning radius, field speed, power and masses; what is missing is NaN.
    tables : Tables
        ``passes.*``, ``stopping.*``, ``power.*`` and ``side_slopes.headings``.
    soft : bool or None
        Whether the ground is soft; unknown is reckoned as soft.

    Notes
    -----
    The headland is as many laps as a turn between neighbouring runs needs, with a radius of
    ``passes.unknown_radius_m`` when the machine's own is not known; never more than the field has
    room for.
    """
    lines = headings(_between(1, tables.number("side_slopes.headings"), MOST_HEADINGS))
    speed, fast, own = field_speeds(machine, tables)
    radius = math.nan if machine is None else machine.turning_radius_m or math.nan
    width = math.nan if machine is None else machine.working_width_m or math.nan
    pull = pull_of(machine, soft=soft, tables=tables)
    if math.isnan(width):
        none = np.full(len(lines), np.nan)
        return Work(
            lines, none, none, none, none, None, math.nan, shapely.Polygon(), field,
            width, radius, speed, fast, own, pull,
        )  # fmt: skip
    reckoned = tables.number("passes.unknown_radius_m") if math.isnan(radius) else radius
    wished = float(laps_for(width, reckoned, least=tables.number("passes.laps_least")))
    laps = _between(1, wished, _room_for(field, width))
    scraps = tables.number("passes.scrap_squares")
    left = headland(field, width_m=width, laps=laps, scrap_squares=scraps)
    inner = shapely.Polygon() if left.inner is None else left.inner
    found = passes(inner, lines, width_m=width, join_m=tables.number("passes.join_m"))
    lap_m = float(left.lap_m.sum())
    none = np.full(len(lines), np.nan)
    whole = Work(
        lines, found.runs, found.turns, found.length_m, none, laps, lap_m, inner,
        shapely.difference(field, shapely.buffer(field, -laps * width, quad_segs=_ROUND)),
        width, radius, speed, fast, own, pull,
    )  # fmt: skip
    return at_speed(whole, speed, tables=tables)


def _between(least: int, wished: float, most: int) -> int:
    return max(least, round(min(wished, most)))


def _room_for(field: shapely.Geometry, width_m: float) -> int:
    """Laps after which nothing is left of a field, however it lies."""
    west, south, east, north = field.bounds
    return math.ceil(min(east - west, north - south) / 2 / width_m) + 1


def at_speed(work: Work, speed_kmh: float, *, tables: Tables) -> Work:
    """The same work, with its minutes at another speed in runs and laps; NaN gives NaN."""
    if work.laps is None:
        return work
    radius = work.radius_m
    reckoned = tables.number("passes.unknown_radius_m") if math.isnan(radius) else radius
    took = minutes(
        work.length_m,
        work.lap_m,
        work.turns,
        speed_kmh=speed_kmh,
        turn_m=turn(work.width_m, radius_m=reckoned).length_m,
        turn_kmh=tables.number("passes.turn_kmh"),
        fixed_s=tables.number("passes.turn_fixed_s"),
    )
    return work._replace(minutes=took)


def field_speeds(machine: Machine | None, tables: Tables) -> tuple[float, float, bool]:
    """Field speed, its fast end (km/h), and whether it is the machine's own figure."""
    if machine is not None and machine.field_speed_kmh is not None:
        return machine.field_speed_kmh, machine.field_speed_kmh, True
    row = tables["stopping.field_kmh"]
    return row.number(), max(row.number(), row.high or 0.0), False


def usual_turn_kmh(tables: Tables) -> float:
    """The fast end of how machines usually turn (km/h): what a turn's lean is reckoned with."""
    row = tables["passes.turn_kmh"]
    return row.number() if row.high is None else row.high
