"""The ends of ways between a farm's places: where they are, their gates, their roads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from fieldmap.errors import Fault, InputError, MisuseError, raise_all
from fieldmap.farm import Farm
from fieldmap.finding import Level
from fieldmap.journey import gate_of
from fieldmap.journey import place as place_of
from fieldmap.roads.deciding import Deciding
from fieldmap.roads.district import Held
from fieldmap.roads.gates import Gate
from fieldmap.roads.hindrance import Hindrance
from fieldmap.roads.rooms import Rooms
from fieldmap.roads.snap import Snapped, snap
from fieldmap.roads.verdict import Codes, Floats
from fieldmap.roads.widest import Bound, Ends, Widest
from fieldmap.tables import Tables

_GATE, _OFF_ROADS = "farm gate", "ground off the roads"
AT_ENDS = (_GATE, _OFF_ROADS)


class Target(NamedTuple):
    """A place asked about: what it is called, where it is, the gate it is reached by."""

    name: str
    lon: float
    lat: float
    gate: Gate | None


def fields(farm: Farm, start: str, named: Sequence[str]) -> list[str]:
    """Every field that is not named already."""
    ids = [str(one) for one in farm.fields["field_id"]]
    return [one for one in ids if one not in named and one != start]


def no_twins(start: str, asked: Sequence[str]) -> None:
    """Refuse a place that is named twice, and one that is the start.

    Raises
    ------
    MisuseError
        Every such place.
    """
    twice = [one for one in dict.fromkeys(asked) if asked.count(one) > 1 or one == start]
    faults = [
        Fault(
            "a place named twice",
            one,
            "there is no way from a place to itself",
            "name each place once, and none that is the start",
        )
        for one in twice
    ]
    if faults:
        raise MisuseError(faults)


def target(farm: Farm, name: str) -> Target:
    """A place by what a farm calls it.

    Raises
    ------
    MisuseError
        Nothing has this name.
    """
    lon, lat = place_of(farm, name)
    return Target(name, lon, lat, gate_of(farm, name))


def on_roads(
    farm: Farm, rooms: Rooms, targets: Sequence[Target], *, must: set[str]
) -> dict[str, Ends | str]:
    """Each place on the roads, or words on why it is not.

    Raises
    ------
    InputError
        Places that have to be on the roads are not, all of them.
    """
    found: dict[str, Ends | str] = {}
    faults: list[Fault] = []
    for one in targets:
        try:
            found[one.name] = Ends(
                *(snapped(farm, -room, one).on for room in (rooms.legs.low, rooms.legs.high))
            )
        except InputError as error:
            found[one.name] = "; ".join(f"{each.what}: {each.value}" for each in error.faults)
            faults += error.faults if one.name in must else ()
    raise_all(faults)
    return found


def snapped(farm: Farm, against: Floats | Codes, target: Target) -> Snapped:
    """A place on the leg that, of those equally near, has the least against it."""
    return snap(
        farm.roads,  # type: ignore[arg-type]
        (target.lon, target.lat),
        level=against,  # type: ignore[arg-type]
        most_m=farm.tables.number("clearances.snap_m"),
        what=target.name,
    )


def at_ends(farm: Farm, held: Held, place: Target, end: Snapped) -> list[Hindrance]:
    """What the gate of a place, and the stretch from there to the roads, have against a machine."""
    found = []
    if place.gate is not None:
        need = held.size.width_m + farm.tables.number("clearances.gate_width_m")
        level = _gate_level(place.gate.width_m, need)
        if level != "ok":
            found.append(Hindrance(f"gate/{place.gate.gate_id}", place.name, _GATE, level))
    if end.away_m > farm.tables.number("clearances.verge_m"):
        found.append(Hindrance(place.name, place.name, _OFF_ROADS, "unknown"))
    return found


def _gate_level(width_m: float, need: float) -> Level:
    if np.isnan(width_m) or np.isnan(need):
        return "unknown"
    return "ok" if width_m >= need else "stop"


def through_gates(found: Widest, targets: Sequence[Target], tables: Tables) -> Widest:
    """The widest machine once the farm's own gates at both ends are passed too."""
    for target in targets:
        if target.gate is not None:
            known = target.gate.width_m - tables.number("clearances.gate_width_m")
            sure = 0.0 if np.isnan(known) else max(known, 0.0)
            possible = np.inf if np.isnan(known) else max(known, 0.0)
            found = Widest(
                _gated(found.surely, sure, target.gate),
                _gated(found.possibly, possible, target.gate),
            )
    return found


def _gated(bound: Bound, width_m: float, gate: Gate) -> Bound:
    if bound.way is None or bound.width_m < width_m or width_m == np.inf:
        return bound
    one = Deciding(
        place=f"gate/{gate.gate_id}",
        name=gate.gate_id,
        check=_GATE,
        low_m=gate.width_m,
        high_m=gate.width_m,
        basis="assumed" if np.isnan(gate.width_m) else "measured",
        why="The opening is not known."
        if np.isnan(gate.width_m)
        else "The farm's own gate is the narrowest place.",
        kind="",
        measure="clear opening, into the file of gates as width_m",
        lon=gate.lon,
        lat=gate.lat,
    )
    same = bound.decides if bound.width_m == width_m else ()
    return replace(bound, width_m=width_m, decides=(*same, one))
