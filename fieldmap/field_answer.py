"""One field's answer: what lies there, what was looked at, the slopes, the mower's settings."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import nullcontext
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from functools import cached_property
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from rasterio import Env

from fieldmap.advice.set_up import SetUp
from fieldmap.crs import moved
from fieldmap.farm import Farm
from fieldmap.farm_ground import HeightError, drained, height_error, with_stage
from fieldmap.field_settings import met_told, mowing, settings_told
from fieldmap.finding import Finding, Level, rank, worst
from fieldmap.grid import Grid
from fieldmap.hazards.fold import fold
from fieldmap.hazards.looked import FieldLooking, Looking, field_looking, looking
from fieldmap.hazards.pick_up import GIVEN, Picked, picked
from fieldmap.hazards.reach import reach_m, reached
from fieldmap.ledger import knives_on
from fieldmap.machine import Machine
from fieldmap.read.elevation import ElevationFile, cell_size_m
from fieldmap.risk.first_places import FirstPlaces, first_places
from fieldmap.risk.ground import ground_sentences, slope_findings
from fieldmap.risk.layers import Layers, empty_ground, field_layers, with_strikes
from fieldmap.risk.left import what_is_left
from fieldmap.risk.left_ground import Log, Roads, log_of, roads_of
from fieldmap.risk.lie import Heights, analysis_cell_m
from fieldmap.risk.lie_findings import lie_findings
from fieldmap.risk.marks import looked_findings, mark_findings
from fieldmap.risk.place_findings import first_findings
from fieldmap.risk.told import Told
from fieldmap.risk.water import FarmWater
from fieldmap.risk.zones import Zones, zones_of

_MOST_MARGIN_M = 1000.0  # more ground round a field than this is not read, whatever a farm asks for


@dataclass(frozen=True, eq=False)
class FieldAnswer:
    """What the tool has to say of one field.

    ``findings`` are about the ground and what lies on it, ``settings`` about the mower in the
    order in which a person sets it, ``set_up`` the skid shoes and knives compared, ``None``
    where the ground as it lies is not for knives;
    ``level`` is the worst of both, ``reason`` the sentence behind it, ``to_change`` what a
    person can do that would change the answer. ``marks`` are ids of the hazards that reach the
    field; ``elevation`` is the window the slopes came from. ``seen`` gives the chance that a thing
    was seen, cell by cell; it works that out when it is asked. ``zones``, ``pick_up`` and
    ``first_places`` are tables that are made when they are asked for.
    """

    field_id: str
    level: Level
    reason: str
    findings: tuple[Finding, ...]
    settings: tuple[Finding, ...]
    set_up: SetUp | None
    to_change: tuple[str, ...]
    ground: tuple[str, ...]
    marks: tuple[str, ...]
    layers: Layers
    seen: FieldLooking
    elevation: Grid
    zone_shapes: Zones
    picked: Picked
    first: FirstPlaces

    @cached_property
    def zones(self) -> gpd.GeoDataFrame:
        """The zones to act on (:func:`fieldmap.risk.zones.zones`)."""
        return self.zone_shapes.table()

    @cached_property
    def pick_up(self) -> pd.DataFrame:
        """The list to walk with (:func:`fieldmap.hazards.pick_up.pick_up`)."""
        return self.picked.table()

    @cached_property
    def first_places(self) -> gpd.GeoDataFrame:
        """Where to look first after a flood (:func:`fieldmap.risk.first_places.first_places`)."""
        return self.first.table


class Ready(NamedTuple):
    """What the fields of a run share, made ready once.

    ``marks`` are the standing hazards: id, kind and height, and as geometry the ground they reach;
    ``places`` are their shapes as they lie, ``listed`` what the list to walk with asks of them.
    """

    farm: Farm
    machine: Machine | None
    walks: Looking
    places: NDArray[np.object_]
    listed: dict[str, NDArray[Any]]
    marks: pd.DataFrame
    tree: shapely.STRtree
    log: Log
    roads: Roads | None
    water: FarmWater | None
    error: HeightError
    knives: list[Told]


class Asked(NamedTuple):
    """What is asked of a farm: for which machine, on which day.

    ``history`` is the log as it stood that day (:func:`history_on`), and the farm's ``hazards``
    what of it was there. ``water`` is the farm's drainage; a flood given by its depth is in the
    farm's ``flood``.
    """

    farm: Farm
    history: gpd.GeoDataFrame
    water: FarmWater | None
    machine: Machine | None
    day: date


def asked_of(farm: Farm, machine: Machine | None, day: date) -> Asked:
    """The farm as it stood on a day, ready to be asked."""
    history = history_on(farm, day)
    hazards = history[history["stands"]].reset_index(drop=True)
    water = drained(farm)
    farm = with_stage(replace(farm, hazards=hazards), water)
    return Asked(farm, history, water, machine, day)


def answer_rows(run: Ready, rows: Iterable[int]) -> list[FieldAnswer]:
    """The answers for some rows of the farm's fields.

    Parameters
    ----------
    run : Ready
        As :func:`ready` gives it.
    rows : iterable of int
        Places in the table of fields.
    """
    # one setting of GDAL for all fields: each call that finds none would make its own
    with Env.from_defaults(), run.farm.open_elevation() or nullcontext() as elevation:
        return [_answer(run, row, elevation) for row in rows]


def history_on(farm: Farm, day: date) -> gpd.GeoDataFrame:
    """Every mark of the log as it stood on the evening of a day, metric.

    What was cleared later still stood then. Finds count whenever they were told: what lay there
    later may have lain there then.
    """
    table = fold(farm.events, tables=farm.tables, closed_by=_evening(farm, day))
    return table.to_crs(farm.crs)


def _evening(farm: Farm, day: date) -> datetime:
    return datetime.combine(day, time.max, farm.settings.zone())


def ready(asked: Asked) -> Ready:
    """What all fields of a question share, made once for :func:`answer_rows`."""
    farm, machine, tables = asked.farm, asked.machine, asked.farm.tables
    evening = _evening(farm, asked.day)
    history = asked.history if farm.log_read else None
    grown = reached(farm.hazards, reach_m(farm.hazards, machine, tables=tables)).to_numpy()
    name = farm.settings.files.hazards
    return Ready(
        farm=farm,
        machine=machine,
        walks=looking(farm.tracks, farm.flood, day=evening, tables=tables),
        places=farm.hazards.geometry.to_numpy(),
        listed={name: farm.hazards[name].to_numpy() for name in GIVEN},
        marks=pd.DataFrame(farm.hazards[["hazard_id", "kind", "height_m"]]).assign(geometry=grown),
        tree=shapely.STRtree(grown),
        log=log_of(name, farm.events, history, day=evening, tables=tables),
        roads=roads_of(None if farm.roads is None else farm.roads.edges, tables=tables),
        water=asked.water,
        error=height_error(farm),
        knives=knives_on(farm, machine, day=asked.day),
    )


def _answer(run: Ready, row: int, elevation: ElevationFile | None) -> FieldAnswer:
    farm, machine, tables = run.farm, run.machine, run.farm.tables
    record = farm.fields.iloc[row]
    field, field_id = record.geometry, record["field_id"]
    heights = _heights(run, field, elevation)
    near = np.sort(run.tree.query(field, predicate="intersects"))
    marks = run.marks.take(near)
    seen = field_looking(field, run.walks, sward_m=record["sward_m"])
    stony, area_ha = record["stoniness"], float(record["area_ha"])
    left = what_is_left(field_id, seen, run.log, run.roads, stoniness=stony, tables=tables)
    done = mowing(
        record.to_dict(), marks, seen, left, machine, log_read=farm.log_read, tables=tables
    )
    site = done.site(run.water, stony=_rough(stony), tables=tables)
    layers = field_layers(
        field, heights, marks, seen, crs=farm.crs, machine=machine, tables=tables, site=site
    )
    layers = with_strikes(layers, done.struck, marks, seen, crs=farm.crs, tables=tables)
    log_name = farm.settings.files.hazards
    first = _first_places(run, field, seen, layers, heights)
    walked = looked_findings(field_id, layers, seen, tables=tables)
    told = [
        *mark_findings(field_id, marks, log_name=log_name, log_read=farm.log_read, tables=tables),
        *met_told(done, sources=(log_name,), tables=tables),
        *first_findings(field_id, first, walked, tables=tables),
        *walked,
        *left.told,
        *slope_findings(field_id, layers, heights, machine, tables=tables),
        *lie_findings(field_id, layers, heights, machine, tables=tables),
    ]
    settings = settings_told(done, layers.lie, machine, run.knives, area_ha=area_ha, tables=tables)
    level = worst(one.finding.level for one in (*told, *settings))
    return FieldAnswer(
        field_id=field_id,
        level=level,
        reason=_reason(level, [*told, *settings]),
        findings=_ordered(told),
        settings=tuple(one.finding for one in settings),
        set_up=None if done.stony.beyond else done.set_up,
        to_change=_changes([*told, *settings]),
        ground=(*ground_sentences(layers, heights, tables), *first.left_out),
        marks=tuple(marks["hazard_id"]),
        layers=layers,
        seen=seen.light(),
        elevation=heights.grid,
        zone_shapes=zones_of(field_id, field, layers, crs=farm.crs, tables=tables),
        picked=_picked(run, field_id, field, near),
        first=first,
    )


def _picked(run: Ready, field_id: str, field: shapely.Geometry, near: NDArray[np.intp]) -> Picked:
    """The list to walk with, from the gate, or from the rim nearest to the marks."""
    shapes = run.places[near]
    lying = shapely.union_all(shapes)
    aim = field if lying.is_empty else lying
    start = run.farm.gate_near(field_id, aim)
    if start is None:
        point = shapely.get_point(shapely.shortest_line(shapely.boundary(field), aim), 0)
        start_xy = (point.x, point.y)
    else:
        start_xy = start[1]
    given = {name: held[near] for name, held in run.listed.items()}
    return picked(given, shapes, crs=run.farm.crs, start_xy=start_xy, tables=run.farm.tables)


def _first_places(
    run: Ready, field: shapely.Geometry, seen: FieldLooking, layers: Layers, heights: Heights
) -> FirstPlaces:
    tables = run.farm.tables
    return first_places(
        field,
        seen.floods,
        layers.lie.hollows if heights.name else None,
        None if run.water is None else run.water.drainage,
        crs=run.farm.crs,
        wrack_m=tables.number("drainage.wrack_m"),
        across_deg=tables.number("drainage.across_deg"),
    )


def _rough(stoniness: Any) -> bool | None:
    return None if pd.isna(stoniness) else bool(stoniness > 0)


def _heights(run: Ready, field: shapely.Geometry, elevation: ElevationFile | None) -> Heights:
    """Elevation over a field and some ground round it, for hollows and edges."""
    farm = run.farm
    if elevation is None:
        cell_m = analysis_cell_m(farm.tables)
        return Heights(empty_ground(field, farm.crs, cell_m=cell_m), cell_m, cell_m, "")
    info = elevation.info
    margin_m = min(farm.tables.number("drainage.margin_m"), _MOST_MARGIN_M)
    box = shapely.box(*shapely.buffer(field, margin_m).bounds)
    outline = moved(box, farm.crs, info.crs)
    grid = elevation.window(outline.bounds)
    middle = outline.centroid
    cell_m = cell_size_m(info, farm.crs, middle.x, middle.y)
    made_from = farm.settings.files.elevation_made_from_cell_m or 0.0
    return Heights(grid, cell_m, max(cell_m, made_from), info.path.name, *run.error)


def _ordered(told: list[Told]) -> tuple[Finding, ...]:
    findings = [one.finding for one in told]
    return tuple(sorted(findings, key=lambda finding: -rank(finding.level)))


def _changes(told: list[Told]) -> tuple[str, ...]:
    worst_first = sorted(told, key=lambda one: -rank(one.finding.level))
    return tuple(dict.fromkeys(one.change for one in worst_first if one.change))


def _reason(level: Level, told: list[Told]) -> str:
    named = [one for one in told if one.finding.level == level]
    named = [one for one in named if not one.echo] or named
    whats = [one.finding.what for one in named]
    if level == "ok":
        return "Nothing was found against it in what was looked at."
    verbs = {"stop": "Do first", "unknown": "Not known", "care": "Take care"}
    return f"{verbs[level]}: {', '.join(dict.fromkeys(whats))}."
