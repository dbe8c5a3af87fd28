"""Plan a road move: check every leg, choose the way, say what is unknown."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fieldmap.errors import Fault, MisuseError
from fieldmap.finding import LEVEL_WORDS, Finding, rank, worst
from fieldmap.machine import Machine, Transport
from fieldmap.network import RoadData
from fieldmap.roads.answer import Move
from fieldmap.roads.checks import Checked, Ground, check_ground, ground_of
from fieldmap.roads.choose import Choice, choose, direct_way, places_to_measure
from fieldmap.roads.facts import OnRoad, on_road
from fieldmap.roads.measured import lay
from fieldmap.roads.search import Way
from fieldmap.roads.snap import Snapped, snap
from fieldmap.roads.survey import survey
from fieldmap.roads.tell import off_road, way_findings, whole_way
from fieldmap.roads.tell_legs import leg_table, node_table
from fieldmap.roads.turns import TurnNet, turn_net
from fieldmap.roads.wording import OTHER_STATE
from fieldmap.tables import Tables

if TYPE_CHECKING:
    import geopandas as gpd

__all__ = ["Move", "plan"]

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
    transports = {one.name: one for one in machine.transport} or {
        NOT_GIVEN: Transport(name=NOT_GIVEN)
    }
    name = _state_name(transports, machine, state)
    net, ground, measured = turn_net(data), ground_of(data), lay(checks, data)
    checked = {
        key: check_ground(ground, on_road(machine, one), measured, tables=tables)
        for key, one in transports.items()
    }
    ends = _ends(data, checked[name], (start, goal), tables)
    choices = {
        key: _choice(data, net, ground, checked[key], on_road(machine, one), ends)
        for key, one in transports.items()
    }
    found = _Found(
        data,
        net,
        ground,
        checked[name],
        choices[name],
        on_road(machine, transports[name]),
        ends,
        names,
    )
    legs, nodes = _tables_of(found, found.choice.way)
    findings = (*_findings(found, legs, nodes, tables), *_other_states(choices, name))
    straight = direct_way(net, ends[0].on, ends[1].on)
    direct, direct_nodes = _tables_of(found, straight)
    against = way_findings(direct, direct_nodes, found.size, tables=tables, source=data.source)
    length_m = math.nan if found.choice.way is None else found.choice.way.length_m
    return Move(
        level=found.choice.level,
        reason=found.choice.reason,
        machine=machine.name,
        state=name,
        legs=legs,
        nodes=nodes,
        direct=direct,
        direct_nodes=direct_nodes,
        findings=(),
        refusals=tuple(one for one in against if one.level == "stop"),
        survey=survey(legs, nodes, found.size),
        states={key: one.level for key, one in choices.items()},
        length_m=length_m,
        minutes=_minutes(length_m, machine.road_speed_kmh),
        start=start,
        goal=goal,
        names=names,
        warnings=(*data.warnings, *measured.lost),
    ).with_more(findings)


@dataclass(frozen=True, eq=False)
class _Found:
    """Everything about the way taken, to be told."""

    data: RoadData
    net: TurnNet
    ground: Ground
    checked: Checked
    choice: Choice
    size: OnRoad
    ends: list[Snapped]
    names: tuple[str, str]


def _ends(
    data: RoadData, checked: Checked, places: tuple[Place, Place], tables: Tables
) -> list[Snapped]:
    most_m = tables.number("clearances.snap_m")
    return [
        snap(data, place, level=checked.leg_level, most_m=most_m, what=what)
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


def _choice(
    data: RoadData,
    net: TurnNet,
    ground: Ground,
    checked: Checked,
    size: OnRoad,
    ends: list[Snapped],
) -> Choice:
    place = places_to_measure(data, ground, checked, size)
    return choose(net, checked, place, ends[0].on, ends[1].on)


def _tables_of(found: _Found, way: Way | None) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
    start, goal = (end.on for end in found.ends)
    return (
        leg_table(found.data, found.checked, way, start, goal),
        node_table(found.data, found.ground, found.checked, found.net, way),
    )


def _findings(
    found: _Found, legs: gpd.GeoDataFrame, nodes: pd.DataFrame, tables: Tables
) -> list[Finding]:
    """What is to be said of the way taken and of the stretches off the roads."""
    source = found.data.source
    told = way_findings(legs, nodes, found.size, tables=tables, source=source)
    off = [
        one
        for what, end in zip(found.names, found.ends, strict=True)
        for one in _off(what, end, found.checked, tables)
    ]
    return [whole_way(found.choice.level, found.choice.reason, source), *told, *off]


def _off(what: str, end: Snapped, checked: Checked, tables: Tables) -> list[Finding]:
    """The stretch off the roads, where the place lies beyond half the leg's widest."""
    high = checked.legs["width"].high[end.on.leg]
    on_it = end.away_m <= (high / 2.0 if np.isfinite(high) else 0.0)
    return [] if on_it else [off_road(what, end.away_m, end.lon, end.lat, tables=tables)]


def _other_states(choices: dict[str, Choice], name: str) -> list[Finding]:
    """Which other transport states come out better than the one asked for."""
    here = rank(choices[name].level)
    better = {key: one.level for key, one in choices.items() if rank(one.level) < here}
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
