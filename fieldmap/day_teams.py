"""The machines of a day: which, in which transport state, and from where each starts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fieldmap.errors import Fault, InputError, MisuseError
from fieldmap.farm import FARM_FILE, Farm
from fieldmap.machine import Machine
from fieldmap.roads.move import NOT_GIVEN

_HOME = "home"


@dataclass(frozen=True, slots=True)
class Team:
    """A machine for the day, in one transport state, and the place it starts from."""

    machine: Machine
    state: str
    start: str


def teams_of(
    farm: Farm, machine_ids: Sequence[str], starts: Sequence[str], states: Sequence[str]
) -> list[Team]:
    """The machines of the day with start and transport state, one for all or one each.

    Raises
    ------
    MisuseError
        A machine twice, no such machine or state, a number of starts or states that fits neither,
        or no place to start from.
    InputError
        The farm has no machines.
    """
    first = farm.machine(None)
    if first is None:
        raise InputError(
            Fault(
                "the farm has no machines",
                "none",
                "speed and size are the machine's",
                "name a file under [files] machines in farm.toml",
                where=str(farm.folder / FARM_FILE),
            )
        )
    ids = list(machine_ids) or [first.id]
    if len(set(ids)) < len(ids):
        raise MisuseError(
            Fault(
                "the same machine twice",
                ", ".join(ids),
                "it cannot be in two fields at once",
                "name each machine once",
            )
        )
    machines = [farm.machine(name) or first for name in ids]
    begins = _one_each("--from", list(starts) or [_usual_start(farm)], len(ids))
    given = _one_each("--state", list(states), len(ids)) if states else [None] * len(ids)
    return [
        Team(machine, _state(machine, state), start)
        for machine, state, start in zip(machines, given, begins, strict=True)
    ]


def _one_each(option: str, given: list[str], count: int) -> list[Any]:
    if len(given) not in (1, count):
        raise MisuseError(
            Fault(
                f"{option} does not fit the machines",
                f"{len(given)} for {count} machines",
                "it is not clear which belongs to which",
                f"give {option} once for all, or once for each --machine in the same order",
            )
        )
    return given * count if len(given) == 1 else given


def _usual_start(farm: Farm) -> str:
    places = list(farm.settings.places)
    if not places:
        raise MisuseError(
            Fault(
                "no place to start from",
                "farm.toml has no [places]",
                "the first drive begins somewhere",
                "give --from latitude,longitude, or a place under [places]",
                where=str(farm.folder / FARM_FILE),
            )
        )
    return _HOME if _HOME in places else places[0]


def _state(machine: Machine, state: str | None) -> str:
    names = [one.name for one in machine.transport] or [NOT_GIVEN]
    if state is not None and state not in names:
        raise MisuseError(
            Fault(
                "no such transport state",
                state,
                "the size on the road is not known",
                f"take one of: {', '.join(names)}",
                where=machine.name,
            )
        )
    return names[0] if state is None else state
