"""A road move of a farm's machine from one of its places to another."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from functools import lru_cache

import geopandas as gpd
import shapely

from fieldmap.crs import WGS84
from fieldmap.errors import Fault, InputError, MisuseError
from fieldmap.farm import FARM_FILE, Farm
from fieldmap.finding import Finding
from fieldmap.machine import Machine
from fieldmap.network import RoadData
from fieldmap.road_ground import RoadLie, along_the_way, lie_findings, road_lie
from fieldmap.roads.corner_told import GateAt
from fieldmap.roads.district import District, district_of
from fieldmap.roads.gates import Gate, through_gate
from fieldmap.roads.lights import light_findings, sun_of_move
from fieldmap.roads.move import Move, plan_in
from fieldmap.roads.rules import under_rules


@lru_cache(maxsize=1)  # a day asks for the same farm's moves again and again
def farm_district(farm: Farm) -> tuple[District, RoadLie | None]:
    """The farm's roads prepared for any number of moves, and the lie of the ground under them.

    Raises
    ------
    InputError
        The farm has no roads.
    """
    if farm.roads is None:
        raise InputError(_lacks(farm, "roads"))
    lie = road_lie(farm)
    grades = None if lie is None else (lie.grade_low_pct, lie.grade_high_pct)
    return district_of(farm.roads, farm.road_checks, grades=grades), lie


def plan_move(
    farm: Farm,
    *,
    start: str,
    goal: str,
    machine_id: str | None,
    state: str | None = None,
    at: datetime | None = None,
) -> Move:
    """Check a road move from one place to another.

    Parameters
    ----------
    farm : Farm
        Loaded with its roads.
    start, goal : str
        A place of farm.toml, a gate, a field, or ``latitude,longitude``.
    machine_id : str or None
        Which machine; the first when none is named.
    state : str, optional
        Transport state; the first listed when none is named.
    at : datetime, optional
        Aware: when the move begins; light and rules by the hour are held against it.

    Raises
    ------
    MisuseError
        No such place, machine or state.
    InputError
        The farm has no roads or no machines, or a place is far from every road.
    """
    machine = farm.machine(machine_id)
    faults = [_lacks(farm, "roads")] if farm.roads is None else []
    if machine is None:
        raise InputError([*faults, _lacks(farm, "machines")])
    ends = place(farm, start), place(farm, goal)
    if ends[0] == ends[1]:
        raise MisuseError(
            Fault(
                "a move from a place to itself",
                f"{start} to {goal}",
                "there is no road to check",
                "name two places",
            )
        )
    district, lie = farm_district(farm)
    move = plan_in(
        district,
        machine,
        state=state,
        start=ends[0],
        goal=ends[1],
        names=(_called(start), _called(goal)),
        tables=farm.tables,
        gates=[
            GateAt(*gate, leaving=leaving)
            for leaving, name in ((True, start), (False, goal))
            if (gate := gate_of(farm, name)) is not None
        ],
    )
    return _under_way(farm, move, machine, lie, gates=(start, goal), at=at)


def _under_way(
    farm: Farm,
    move: Move,
    machine: Machine,
    lie: RoadLie | None,
    *,
    gates: tuple[str, str],
    at: datetime | None,
) -> Move:
    """The move with the gates at its ends, what the ground says, the light and the rules."""
    tables, zone = farm.tables, farm.settings.zone()
    width_m = {one.name: one.width_m for one in machine.transport}.get(move.state)
    for name in gates:
        gate = gate_of(farm, name)
        if gate is not None:
            move = through_gate(move, gate, machine_width_m=width_m, tables=tables)
    along = along_the_way(farm, lie, move, machine)
    light = light_findings(move.start, at=at, minutes=move.minutes, zone=zone, tables=tables)
    sun = None if at is None else sun_of_move(move.start, at=at, minutes=move.minutes, zone=zone)
    steep = lie_findings(lie, move.legs, tables=tables)
    move = move.with_more([*_not_in_file(farm.roads), *steep, *along.findings, *light])
    move = replace(move, meeting=along.meeting, profile=along.profile, sun=sun)
    return under_rules(move, farm.settings.road_rules, width_m=width_m, at=at, zone=zone)


def _not_in_file(roads: RoadData | None) -> list[Finding]:
    """What the road file cannot hold, and so nobody has looked at."""
    if roads is None or not roads.lacks:
        return []
    return [
        Finding(
            level="unknown",
            what="what the road file lacks",
            where="the whole way",
            why="The road file does not hold, or does not say whether it holds: "
            f"{', '.join(roads.lacks)}.",
            basis="mapped",
            sources=(roads.source,),
            caution="WARNING: look for them on the road yourself, or read a map extract with them.",
        )
    ]


def _lacks(farm: Farm, what: str) -> Fault:
    return Fault(
        f"the farm has no {what}",
        "none",
        "a move needs roads and a machine",
        f"name a file under [files] {what} in farm.toml",
        where=str(farm.folder / FARM_FILE),
    )


def gate_of(farm: Farm, name: str) -> Gate | None:
    """The gate that a name means: the gate itself, or the widest known gate of a field."""
    if name in farm.settings.places:
        return None
    gates = farm.gates
    rows = gates[gates["gate_id"] == name]
    if rows.empty:
        rows = gates[gates["field_id"] == _field_id(farm, name)]
    if rows.empty:
        return None
    first = rows.sort_values("width_m", ascending=False, na_position="last").iloc[:1].to_crs(WGS84)
    row = first.iloc[0]
    return Gate(str(row["gate_id"]), float(row["width_m"]), row.geometry.x, row.geometry.y)


def place(farm: Farm, name: str) -> tuple[float, float]:
    """Longitude and latitude of a place of farm.toml, a gate, a field, or ``latitude,longitude``.

    A field is reached by its widest known gate, or at a point inside when it has none.

    Raises
    ------
    MisuseError
        Nothing has this name.
    """
    if name in farm.settings.places:
        return farm.settings.places[name]
    gate = gate_of(farm, name)
    if gate is not None:
        return gate.lon, gate.lat
    rows = farm.fields[farm.fields["field_id"] == _field_id(farm, name)]
    if not rows.empty:
        inside = shapely.point_on_surface(rows.geometry.to_numpy()[:1])
        found = gpd.GeoSeries(inside, crs=farm.crs).to_crs(WGS84).iloc[0]
        return found.x, found.y
    pair = _lat_lon(name)
    if pair is None:
        raise MisuseError(_no_place(farm, name))
    return pair


def _no_place(farm: Farm, name: str) -> Fault:
    turned = _lat_lon(",".join(reversed(name.split(","))))
    if turned is not None:
        return Fault(
            "latitude and longitude look swapped",
            name,
            "no latitude is beyond 90 degrees",
            f"write {turned[1]:g},{turned[0]:g}",
        )
    known = [*farm.settings.places, *farm.gates["gate_id"], *farm.fields["field_id"]]
    return Fault(
        "no such place",
        name,
        "a move goes from a place to a place",
        f"use latitude,longitude or one of {', '.join(known[:20])}",
    )


def _field_id(farm: Farm, name: str) -> str:
    """The id of a field by its id, or by its name where only one field has it."""
    fields = farm.fields
    if (fields["field_id"] == name).any():
        return name
    named = fields["field_id"][fields["name"] == name]
    return str(named.iloc[0]) if len(named) == 1 else name


def _called(name: str) -> str:
    """What a place is called on the sheet; a position to about a metre.

    Examples
    --------
    >>> _called("50.00093819999999,11.600010000000001"), _called("home")
    ('50.00094,11.60001', 'home')
    """
    pair = _lat_lon(name)
    return name if pair is None else f"{pair[1]:.5f},{pair[0]:.5f}"


def _lat_lon(text: str) -> tuple[float, float] | None:
    """Longitude and latitude of ``latitude,longitude`` in degrees; ``None`` for other words.

    Examples
    --------
    >>> _lat_lon("40.6, -92.9")
    (-92.9, 40.6)
    >>> _lat_lon("home") is _lat_lon("nan,nan") is _lat_lon("91,0") is None
    True
    """
    parts = text.split(",")
    try:
        lat, lon = (float(part) for part in parts)
    except ValueError:
        return None
    return (lon, lat) if abs(lat) <= 90 and abs(lon) <= 180 else None
