"""Plan a road move: check every leg, choose the way, say what is unknown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fieldmap.errors import Fault, MisuseError
from fieldmap.finding import LEVEL_WORDS, Finding, Level, rank, worst
from fieldmap.machine import Machine, Transport
from fieldmap.network import RoadData
from fieldmap.roads.answer import Corner, Move
from fieldmap.roads.checks import Checked
from fieldmap.roads.choose import Choice, choose, free_costs
from fieldmap.roads.corner_told import GateAt
from fieldmap.roads.district import District, Held, district_of, hold
from fieldmap.roads.move_turns import corners_of, turn_findings, turns_to_try, with_machine
from fieldmap.roads.search import Way, find_way
from fieldmap.roads.snap import Snapped, snap
from fieldmap.roads.survey import survey
from fieldmap.roads.tell import off_road, way_findings, whole_way
from fieldmap.roads.tell_legs import leg_table, node_table
from fieldmap.roads.wording import OTHER_STATE
from fieldmap.tables import Tables

if TYPE_CHECKING:
    import geopandas as gpd

__all__ = ["Move", "plan", "plan_in"]

Place = tuple[float, float]
NOT_GIVEN = "not given"


def plan(
    data: RoadData,
    checks: pd.DataFrame | None,
    machine: Machine,
    *,
    state: str | None,
    start: Place,
    goal: Place,
    tables: Tables,
    names: tuple[str, str] = ("start", "goal"),
) -> Move:
    """Take a machine from one place to another on mapped roads.

    The answer is the shortest way on which every check passes; else the way with the fewest
    unknown places and then the fewest metres; else the direct way and what refuses on it.

    Parameters
    ----------
    data : RoadData
    checks : DataFrame or None
        What somebody measured: place, kind, value, who, when. It wins over tags.
    machine : Machine
    state : str or None
        Name of a transport state; ``None`` takes the first one.
    start, goal : tuple of float
        Longitude, latitude in degrees.
    tables : Tables
        Clearances and road widths.
    names : tuple of str
        What the two places are called, for the words of findings.

    Returns
    -------
    Move

    Raises
    ------
    MisuseError
        The machine has no such transport state.
    InputError
        A place is too far from any road.
    """
    return plan_in(
        district_of(data, checks),
        machine,
        state=state,
        start=start,
        goal=goal,
        tables=tables,
        names=names,
    )


def plan_in(
    district: District,
    machine: Machine,
    *,
    state: str | None,
    start: Place,
    goal: Place,
    tables: Tables,
    names: tuple[str, str] = ("start", "goal"),
    gates: Sequence[GateAt] = (),
) -> Move:
    """What :func:`plan` does, in a district that is already prepared.

    ``gates`` are the farm's own at the ends of the way; turning in at them is looked at too.
    """
    transports = {one.name: one for one in machine.transport} or {
        NOT_GIVEN: Transport(name=NOT_GIVEN)
    }
    name = _state_name(transports, machine, state)
    held = {key: hold(district, machine, one, tables=tables) for key, one in transports.items()}
    ends = _ends(district, held[name], (start, goal), tables)
    choices = {
        key: choose(district.net, one.sure, one.fewest, ends[0].on, ends[1].on)
        for key, one in held.items()
    }
    way = choices[name].way
    corners = corners_of(district, held[name], way, gates, tables=tables)
    found = _Found(district, held[name], choices[name], ends, names, corners)
    levels = {key: one.level for key, one in choices.items()}
    more = (*_findings(found, tables), *_other_states(levels, name))
    return _told(found, levels, tables).with_more(more)


@dataclass(frozen=True, eq=False)
class _Found:
    """Everything about the way taken, to be told."""

    district: District
    held: Held
    choice: Choice
    ends: list[Snapped]
    names: tuple[str, str]
    corners: tuple[Corner, ...]

    @property
    def source(self) -> str:
        return self.district.data.source

    def tables_of(self, way: Way | None) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
        data, net, ground = self.district.data, self.district.net, self.district.ground
        held = self.held
        start, goal = (end.on for end in self.ends)
        return (
            leg_table(data, held.checked, way, start, goal, measured=held.measured),
            node_table(data, ground, held.checked, net, way, measured=held.measured),
        )


def _told(found: _Found, levels: dict[str, Level], tables: Tables) -> Move:
    """The move as it was found, before its findings are laid on it."""
    district, held, choice = found.district, found.held, found.choice
    start, goal = found.ends
    legs, nodes = found.tables_of(choice.way)
    free = free_costs(district.net, len(district.data.nodes))
    direct, direct_nodes = found.tables_of(find_way(district.net, free, start.on, goal.on))
    against = way_findings(direct, direct_nodes, held.size, tables=tables, source=found.source)
    length_m = math.nan if choice.way is None else choice.way.length_m
    return Move(
        level=choice.level,
        reason=choice.reason,
        machine=held.machine.name,
        state=held.state.name,
        legs=legs,
        nodes=nodes,
        direct=direct,
        direct_nodes=direct_nodes,
        findings=(),
        refusals=tuple(one for one in against if one.level == "stop"),
        survey=with_machine(
            survey(
                legs,
                nodes,
                held.size,
                turns_to_try(district, held, choice.way, corners=found.corners, legs=legs),
            ),
            held,
            found.corners,
        ),
        states=levels,
        length_m=length_m,
        minutes=_minutes(length_m, held.machine.road_speed_kmh),
        start=(start.lon, start.lat),
        goal=(goal.lon, goal.lat),
        names=found.names,
        warnings=(*district.data.warnings, *held.measured.lost),
        corners=found.corners,
    )


def _ends(
    district: District, held: Held, places: tuple[Place, Place], tables: Tables
) -> list[Snapped]:
    most_m = tables.number("clearances.snap_m")
    return [
        snap(district.data, place, level=held.checked.leg_level, most_m=most_m, what=what)
        for place, what in zip(places, ("start", "goal"), strict=True)
    ]


def _state_name(transports: dict[str, Transport], machine: Machine, state: str | None) -> str:
    if state is None:
        return next(iter(transports))
    if state in transports:
        return state
    raise MisuseError(
        Fault(
            "no such transport state",
            state,
            "the size on the road is not known",
            f"take one of: {', '.join(transports)}",
            where=machine.name,
        )
    )


def _findings(found: _Found, tables: Tables) -> list[Finding]:
    """What is to be said of the way taken and of the stretches off the roads."""
    legs, nodes = found.tables_of(found.choice.way)
    told = way_findings(legs, nodes, found.held.size, tables=tables, source=found.source)
    off = [
        one
        for what, end in zip(found.names, found.ends, strict=True)
        for one in _off(what, end, found.held.checked, tables)
    ]
    turning = turn_findings(found.held, found.corners, tables=tables)
    whole = whole_way(found.choice.level, found.choice.reason, found.source)
    return [whole, *told, *turning, *off]


def _off(what: str, end: Snapped, checked: Checked, tables: Tables) -> list[Finding]:
    """The stretch off the roads, where the place lies beyond half the leg's widest."""
    high = checked.legs["width"].high[2 * end.on.leg]
    on_it = end.away_m <= (high / 2.0 if np.isfinite(high) else 0.0)
    return [] if on_it else [off_road(what, end.away_m, end.lon, end.lat, tables=tables)]


def _other_states(levels: dict[str, Level], name: str) -> list[Finding]:
    """Which other transport states come out better than the one asked for."""
    better = {key: one for key, one in levels.items() if rank(one) < rank(levels[name])}
    if not better:
        return []
    return [
        Finding(
            level=worst(better.values()),
            what=OTHER_STATE,
            where="start to goal",
            why="Its own best mapped way comes out better.",
            basis="assumed",
            choice=", ".join(f"{key}: {LEVEL_WORDS[level]}" for key, level in better.items()),
            caution="CAUTION: the machine's manual says how it is folded and locked for the road.",
        )
    ]


def _minutes(length_m: float, speed_kmh: float | None) -> float | None:
    if speed_kmh is None or math.isnan(length_m):
        return None
    return length_m / 1000.0 / speed_kmh * 60.0
