"""The elevation under the roads: how steep each leg is, and the heights along a way."""

from __future__ import annotations

import math
from contextlib import closing
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from fieldmap.crs import moved
from fieldmap.farm import Farm
from fieldmap.farm_ground import height_error
from fieldmap.finding import Finding
from fieldmap.grid import Grid
from fieldmap.machine import Machine
from fieldmap.network import RoadData
from fieldmap.read.elevation import cell_size_m
from fieldmap.roads.answer import Move
from fieldmap.roads.cars import car_speeds_kmh
from fieldmap.roads.downhill import downhill_findings
from fieldmap.roads.grades import hold_of
from fieldmap.roads.meeting import meeting_on
from fieldmap.roads.profile import Reading, Steepest, steepest
from fieldmap.roads.seen import seen_findings
from fieldmap.roads.sightline import OnTheWay, sight_along
from fieldmap.roads.way_profile import way_profile
from fieldmap.tables import Tables
from fieldmap.terrain.stopping import stopping_distance_m

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class RoadLie:
    """How steeply each directed leg falls at its steepest, and the heights it was read from.

    ``grade_low_pct`` and ``grade_high_pct`` have one entry a directed leg (``2 * row`` along the
    line of a leg, ``2 * row + 1`` against it): the band of the steepest fall, falling positive;
    the climb of a directed leg is the fall of the other direction. NaN is not known.
    """

    grade_low_pct: Floats
    grade_high_pct: Floats
    grid: Grid
    reading: Reading


def road_lie(farm: Farm) -> RoadLie | None:
    """How steep the farm's roads are; ``None`` without elevation or without roads.

    Raises
    ------
    InputError
        The raster breaks off.
    """
    elevation = farm.open_elevation()
    if elevation is None or farm.roads is None or farm.roads.edges.empty:
        return None
    tables = farm.tables
    data = farm.roads
    with closing(elevation):
        info = elevation.info
        base_m = tables.number("grades.base_m")
        box = shapely.buffer(shapely.box(*data.edges.total_bounds), base_m, join_style="mitre")
        outline = moved(shapely.segmentize(box, max(box.length / 64, 1.0)), data.crs, info.crs)
        most = round(tables.number("grades.most_cells"))
        grid = elevation.thinned(outline.bounds, most_cells=most)
        middle = outline.centroid
        native_m = cell_size_m(info, data.crs, middle.x, middle.y)
        larger = abs(grid.transform.determinant / info.transform.determinant)
    reading = Reading(
        error_m=height_error(farm).metres,
        cell_m=native_m * float(np.sqrt(larger)),
        base_m=base_m,
        step_m=tables.number("grades.step_m"),
        line_off_m=tables.number("grades.line_off_m"),
    )
    found = lie_of(data, grid, reading)
    return RoadLie(found.low_pct, found.high_pct, grid, reading)


def lie_of(data: RoadData, grid: Grid, reading: Reading) -> Steepest:
    """The steepest fall of every directed leg of a network.

    Under a bridge and over a tunnel only the ends of a leg count, and not even they where a leg
    of a bridge begins or ends on the bridge itself.

    Parameters
    ----------
    data : RoadData
    grid : Grid
        Heights in metres.
    reading : Reading
    """
    edges = data.edges
    bridged = off_the_ground(edges["tags"].tolist())
    found = steepest(
        edges.geometry.to_numpy(),
        edges["length_m"].to_numpy(dtype=float),
        bridged,
        grid=grid,
        crs=data.crs,
        reading=reading,
    )
    hangs = np.repeat(bridged & _hanging(data, bridged), 2)
    return Steepest(np.where(hangs, np.nan, found.low_pct), np.where(hangs, np.nan, found.high_pct))


def off_the_ground(tags: list[dict[str, str]]) -> Mask:
    """Legs that lie over or under the ground: bridges, tunnels.

    Examples
    --------
    >>> off_the_ground([{"bridge": "yes"}, {"tunnel": "culvert"}, {"bridge": "no"}, {}])
    array([ True,  True, False, False])
    """
    there = [one.get("bridge", "no") != "no" or one.get("tunnel", "no") != "no" for one in tags]
    return np.array(there, dtype=bool)


def _hanging(data: RoadData, bridged: Mask) -> Mask:
    """Legs with an end that no leg on the ground touches."""
    ends = data.edges[["u", "v"]].to_numpy()
    on_ground = np.bincount(ends[~bridged].ravel(), minlength=len(data.nodes)) > 0
    found: Mask = ~on_ground[ends].all(axis=1)
    return found


@dataclass(frozen=True, eq=False)
class Along:
    """What traffic, crests, bends and slopes along a way come to.

    ``findings`` are to be told; ``meeting`` holds ``runs``, ``pull_ins`` and ``sight`` (spots
    where others are seen late) as plain dicts; ``profile`` is ``None`` without elevation.
    """

    findings: tuple[Finding, ...]
    meeting: dict[str, Any]
    profile: dict[str, Any] | None


def along_the_way(farm: Farm, lie: RoadLie | None, move: Move, machine: Machine) -> Along:
    """Meeting traffic, sight and being seen on the way that a move takes.

    Parameters
    ----------
    farm : Farm
        With roads.
    lie : RoadLie or None
        Of the farm's roads (:func:`road_lie`).
    move : Move
    machine : Machine
    """
    data, tables, legs = farm.roads, farm.tables, move.legs
    if data is None or legs.empty:
        return Along((), {"runs": [], "pull_ins": [], "sight": []}, None)
    widths = {one.name: one.width_m for one in machine.transport}
    met = meeting_on(
        data,
        legs,
        machine_width_m=widths.get(move.state),
        speed_kmh=machine.road_speed_kmh,
        tables=tables,
    )
    tags = _tags_of(data, legs)
    way = way_profile(
        legs.geometry.to_numpy(),
        legs["length_m"].to_numpy(dtype=float),
        legs["way_id"].to_numpy(),
        off_the_ground(tags),
        step_m=tables.number("meeting.sight_step_m"),
        base_m=tables.number("grades.base_m"),
        grid=None if lie is None else lie.grid,
        crs=data.crs,
    )
    cars = car_speeds_kmh(tags, legs["highway"].tolist(), tables=tables)
    low = legs["width_low_m"].fillna(0.0).to_numpy(dtype=float)
    on = OnTheWay(
        speed_kmh=machine.road_speed_kmh or math.nan,
        hold=hold_of(machine, tables=tables).low,
        car_kmh=cars[way.leg],
        alone=met.alone[way.leg],
        clear_m=low[way.leg] / 2.0 + tables.number("meeting.verge_m"),
        height_error_m=math.nan if lie is None else lie.reading.error_m,
    )
    sight = sight_along(
        way, on, legs["name"].tolist(), tables=tables, stopping_m=stopping_distance_m
    )
    downhill = downhill_findings(
        way,
        speed_kmh=machine.road_speed_kmh,
        hold=on.hold,
        error_m=on.height_error_m,
        tables=tables,
        stopping_m=stopping_distance_m,
    )
    seen = seen_findings(machine.road_speed_kmh, tables=tables)
    return Along(
        (*met.findings, *sight.findings, *downhill, *seen),
        {"runs": met.runs, "pull_ins": met.pull_ins, "sight": sight.spots},
        None if lie is None else way.as_dict(),
    )


def _tags_of(data: RoadData, legs: gpd.GeoDataFrame) -> list[dict[str, str]]:
    rows = pd.Index(data.edges["leg_id"]).get_indexer(legs["leg_id"])
    tags: list[dict[str, str]] = data.edges["tags"].iloc[rows].tolist()
    return tags


def lie_findings(lie: RoadLie | None, legs: gpd.GeoDataFrame, *, tables: Tables) -> list[Finding]:
    """What the elevation leaves unknown of a way's slopes: one finding, none when it tells all.

    Parameters
    ----------
    lie : RoadLie or None
    legs : GeoDataFrame
        The way, with the columns of the check ``grade``.
    tables : Tables
    """
    if legs.empty:
        return []
    if lie is None or "grade" not in legs:
        return [_steepness_unknown(float(legs["length_m"].sum()), _NO_ELEVATION, tables)]
    blank = (legs["grade"] == "unknown") & legs["grade_high_pct"].isna()
    blank_m = float(legs.loc[blank, "length_m"].sum())
    if not blank.any():
        return []
    whys = legs.loc[blank, "grade_why"].tolist()
    nobody = math.isnan(lie.reading.error_m)
    why = _NO_ERROR if nobody else max(dict.fromkeys(whys), key=whys.count)
    return [_steepness_unknown(blank_m, why, tables)]


_NO_ELEVATION = "No elevation is named in farm.toml, so nothing says how steep the way is."
_NO_ERROR = "Nobody said how good the heights are, so they do not say how steep the way is."


def _steepness_unknown(metres: float, why: str, tables: Tables) -> Finding:
    return Finding(
        level="unknown",
        what="steepness of the way",
        where="the whole way",
        why=why,
        basis="assumed",
        sources=tables.source_of("grades.base_m", "grades.grip"),
        value=metres,
        unit="m",
        caution="WARNING: a towed mower pushes downhill. Know how steep it gets before you "
        "take it there, choose the gear at the top, and ask whoever knows the road.",
    )
