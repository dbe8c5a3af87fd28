"""A road move of a farm's machine from one of its places to another."""

from __future__ import annotations

import geopandas as gpd
import shapely

from fieldmap.crs import WGS84
from fieldmap.errors import Fault, InputError, MisuseError
from fieldmap.farm import FARM_FILE, Farm
from fieldmap.roads.gates import Gate, through_gate
from fieldmap.roads.move import Move, plan
from fieldmap.roads.rules import under_rules


def plan_move(
    farm: Farm, *, start: str, goal: str, machine_id: str | None, state: str | None = None
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

    Raises
    ------
    MisuseError
        No such place, machine or state.
    InputError
        The farm has no roads or no machines, or a place is far from every road.
    """
    machine = farm.machine(machine_id)
    if farm.roads is None or machine is None:
        what = "roads" if farm.roads is None else "machines"
        raise InputError(
            Fault(
                f"the farm has no {what}",
                "none",
                "a move needs roads and a machine",
                f"name a file under [files] {what} in farm.toml",
                where=str(farm.folder / FARM_FILE),
            )
        )
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
    move = plan(
        farm.roads,
        farm.road_checks,
        machine,
        state=state,
        start=ends[0],
        goal=ends[1],
        names=(_called(start), _called(goal)),
        tables=farm.tables,
    )
    widths = {one.name: one.width_m for one in machine.transport}
    for name in (start, goal):
        gate = gate_of(farm, name)
        if gate is not None:
            width_m = widths.get(move.state)
            move = through_gate(move, gate, machine_width_m=width_m, tables=farm.tables)
    return under_rules(move, farm.settings.road_rules, width_m=widths.get(move.state))


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
