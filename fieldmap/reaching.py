"""Which of a farm's machines gets where, and how wide a machine gets there at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fieldmap.errors import Fault, MisuseError
from fieldmap.farm import Farm
from fieldmap.finding import Level, worst
from fieldmap.journey import farm_district
from fieldmap.machine import Machine, Transport
from fieldmap.reaching_ends import (
    AT_ENDS,
    Target,
    at_ends,
    fields,
    no_twins,
    on_roads,
    snapped,
    target,
    through_gates,
)
from fieldmap.roads.choose import choose
from fieldmap.roads.district import District, Held, hold
from fieldmap.roads.hindrance import Hindrance, hindrances
from fieldmap.roads.rooms import Rooms, rooms_in
from fieldmap.roads.widest import Ends, Widest, widest
from fieldmap.tables import Tables

__all__ = ["Cell", "Reached", "Reaching", "who_reaches"]

#: ``--to`` this word stands for every field of the farm.
ALL = "all"
_NOT_GIVEN = "not given"


@dataclass(frozen=True)
class Cell:
    """One machine in one transport state on its way to one place.

    ``level`` is ``ok`` where nothing was found against a way, ``unknown`` with the number of
    ``places`` to settle on the way with the fewest, ``stop`` where every way is refused.
    ``why`` says what, in driving order; ``length_km`` is NaN without a way.
    """

    machine: str
    machine_name: str
    state: str
    level: Level
    places: int
    length_km: float
    why: tuple[Hindrance, ...]


@dataclass(frozen=True, eq=False)
class Reached:
    """One place: how wide a machine gets there, and each machine's answer.

    ``far`` says in words why it is on no road; ``widest`` is then ``None`` and every answer
    unknown.
    """

    target: Target
    widest: Widest | None
    cells: tuple[Cell, ...]
    far: str = ""


@dataclass(frozen=True, eq=False)
class Reaching:
    """Places that were asked about from one start.

    ``machine`` and ``state`` are those whose height, mass and the rest count for the widest;
    ``None`` when it goes by width alone.
    """

    farm: Farm
    start: Target
    machine: Machine | None
    state: str | None
    places: tuple[Reached, ...]
    notes: tuple[str, ...]


def who_reaches(
    farm: Farm,
    *,
    start: str,
    goals: Sequence[str] = (),
    machine_id: str | None = None,
    state: str | None = None,
) -> Reaching:
    """How wide a machine gets from one place to others, and which of the farm's does.

    Parameters
    ----------
    farm : Farm
        Loaded with its roads.
    start : str
        A place of farm.toml, a gate, a field, or ``latitude,longitude``.
    goals : sequence of str
        The same; ``all``, or none, stands for every field.
    machine_id : str, optional
        Only this machine; the widest is then told for a machine as high and heavy as it is.
    state : str, optional
        Only this transport state.

    Raises
    ------
    MisuseError
        No such place, machine or state; or a place named twice.
    InputError
        The farm has no roads, or a place that was named is far from every road.
    """
    district, _ = farm_district(farm)
    named = [one for one in goals if one != ALL]
    asked = [*named, *(fields(farm, start, named) if ALL in goals or not goals else ())]
    no_twins(start, asked)
    targets = [target(farm, one) for one in (start, *asked)]
    machines = _machines(farm, machine_id, state)
    held = [hold(district, one, how, tables=farm.tables) for one, how in machines]
    whole = machine_id is not None
    base = held[0] if whole else _nobody(district, farm.tables)
    rooms = rooms_in(district, base, whole=whole, tables=farm.tables)
    on = on_roads(farm, rooms, targets, must={start, *named})
    found = _found(farm, district, rooms, held, targets, on)
    notes = tuple(dict.fromkeys(one for each in held for one in each.measured.lost))
    return Reaching(
        farm,
        targets[0],
        base.machine if whole else None,
        base.state.name if whole else None,
        found,
        notes,
    )


def _machines(
    farm: Farm, machine_id: str | None, state: str | None
) -> list[tuple[Machine, Transport]]:
    """Machines and transport states that are asked about.

    Raises
    ------
    MisuseError
        No machine has such a state.
    """
    chosen = [*farm.machines] if machine_id is None else [farm.machine(machine_id)]
    found = [
        (machine, one)
        for machine in chosen
        if machine is not None
        for one in machine.transport or (Transport(name=_NOT_GIVEN),)
    ]
    kept = [(machine, one) for machine, one in found if state in (None, one.name)]
    if found and not kept:
        names = ", ".join(dict.fromkeys(one.name for _, one in found))
        raise MisuseError(
            Fault(
                "no such transport state",
                str(state),
                "the size on the road is not known",
                f"take one of: {names}",
            )
        )
    return kept


def _nobody(district: District, tables: Tables) -> Held:
    """No machine at all, held against the roads: what is left is who may use them."""
    nobody = Machine(id="-", name="any machine", kind="pull-type")
    return hold(district, nobody, Transport(name=_NOT_GIVEN), tables=tables)


def _found(
    farm: Farm,
    district: District,
    rooms: Rooms,
    held: Sequence[Held],
    targets: Sequence[Target],
    on: dict[str, Ends | str],
) -> tuple[Reached, ...]:
    """The answer for each place; the first target is the start."""
    start, *goals = targets
    begin = on[start.name]
    ends = {name: end for name, end in on.items() if isinstance(end, Ends) and name != start.name}
    widths = widest(district, rooms, begin, [*ends.values()]) if isinstance(begin, Ends) else ()
    by_name = dict(zip(ends, widths, strict=True))
    found = []
    for one in goals:
        width, there = by_name.get(one.name), on[one.name]
        if width is None or isinstance(there, str):
            found.append(Reached(one, None, tuple(_off(each) for each in held), str(there)))
            continue
        cells = tuple(_cell(farm, each, district, start, one) for each in held)
        found.append(Reached(one, through_gates(width, (start, one), farm.tables), cells))
    return tuple(found)


def _off(held: Held) -> Cell:
    """The answer for a place that is on no road."""
    return Cell(held.machine.id, held.machine.name, held.state.name, "unknown", 0, float("nan"), ())


def _cell(farm: Farm, held: Held, district: District, start: Target, goal: Target) -> Cell:
    """One machine's answer: the way as a move takes it, and what its ends ask for."""
    ends = [snapped(farm, held.checked.leg_level, one) for one in (start, goal)]
    choice = choose(district.net, held.sure, held.fewest, ends[0].on, ends[1].on)
    begin, end = (at_ends(farm, held, *one) for one in zip((start, goal), ends, strict=True))
    why = [*begin, *hindrances(district, held, choice.way), *end]
    level = worst((choice.level, *(one.level for one in why)))
    shown = tuple(one for one in why if one.level == level)
    length_m = float("nan") if choice.way is None else choice.way.length_m
    extra = sum(one.level == "unknown" and one.check in AT_ENDS for one in why)
    places = (0 if choice.way is None else choice.way.places) + extra
    return Cell(
        held.machine.id,
        held.machine.name,
        held.state.name,
        level,
        places if level == "unknown" else 0,
        length_m / 1000.0,
        shown,
    )
