"""The room for a machine's width at every leg and node of a district."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldmap.roads.checks import Ground
from fieldmap.roads.district import District, Held
from fieldmap.roads.facts import OnRoad
from fieldmap.roads.node_checks import opening_check
from fieldmap.roads.room import MOST_M, Asked, Room, room_of
from fieldmap.roads.verdict import Floats, Verdict
from fieldmap.roads.width import width_check, width_limit_check
from fieldmap.tables import Tables

#: Without a machine nothing else can be held against the road than who may use it.
_ANYBODYS = ("access",)


@dataclass(frozen=True, eq=False)
class Rooms:
    """The room at every directed leg and every node of a district."""

    legs: Room
    nodes: Room
    asked_legs: dict[str, Asked]
    asked_nodes: dict[str, Asked]  # one entry a spot
    other_legs: dict[str, Verdict]
    other_nodes: dict[str, Verdict]


def rooms_in(district: District, held: Held, *, whole: bool, tables: Tables) -> Rooms:
    """How wide a machine gets past each leg and node.

    Parameters
    ----------
    district : District
    held : Held
        A machine held against it; its width does not matter.
    whole : bool
        Whether its height, mass and the rest count; else only who may use the road does.
    tables : Tables
        Clearances and road widths.
    """
    ground, checked = district.ground, held.checked
    legs, nodes = _leg_checks(ground, held, tables), _node_checks(ground, held, tables)
    other_legs = _others(checked.legs, tuple(legs), whole=whole)
    other_nodes = _others(checked.nodes, tuple(nodes), whole=whole)
    at_spots = room_of(nodes, other_nodes, len(ground.spots))
    return Rooms(
        room_of(legs, other_legs, len(ground.kinds)),
        _everywhere(at_spots, ground.spots, len(ground.spot)),
        legs,
        nodes,
        other_legs,
        other_nodes,
    )


def _of(held: Held, metres: Floats) -> OnRoad:
    """The machine with a width of its own at each place."""
    return replace(held.size, width_m=metres)  # type: ignore[arg-type]


def _leg_checks(ground: Ground, held: Held, tables: Tables) -> dict[str, Asked]:
    figures = held.measured.legs
    tape = np.repeat(np.fmin(figures["width"], figures["opening"]), 2)
    sign = np.repeat(figures["width_limit"], 2)

    def width(metres: Floats) -> Verdict:
        return width_check(
            ground.legs,
            ground.kinds,
            ground.one_way,
            machine=_of(held, metres),
            measured_m=tape,
            sign_m=sign,
            tables=tables,
        )

    def limit(metres: Floats) -> Verdict:
        return width_limit_check(ground.legs, machine=_of(held, metres), measured_m=sign)

    return {"width": width, "width_limit": limit}


def _node_checks(ground: Ground, held: Held, tables: Tables) -> dict[str, Asked]:
    figures = held.measured.nodes
    tape, sign = figures["opening"][ground.spots], figures["width_limit"][ground.spots]

    def opening(metres: Floats) -> Verdict:
        machine = _of(held, metres)
        return opening_check(
            ground.nodes, machine=machine, measured_m=tape, sign_m=sign, tables=tables
        )

    def limit(metres: Floats) -> Verdict:
        return width_limit_check(ground.nodes, machine=_of(held, metres), measured_m=sign)

    return {"opening": opening, "width_limit": limit}


def _others(
    verdicts: dict[str, Verdict], widths: tuple[str, ...], *, whole: bool
) -> dict[str, Verdict]:
    return {
        name: verdict
        for name, verdict in verdicts.items()
        if name not in widths and (whole or name in _ANYBODYS)
    }


def _everywhere(room: Room, spots: NDArray[np.int64], count: int) -> Room:
    """The room at all nodes, out of that at the ones with tags."""

    def spread(figures: NDArray[Any], otherwise: float) -> NDArray[Any]:
        held = np.full(count, otherwise, dtype=figures.dtype)
        held[spots] = figures
        return held

    return Room(
        spread(room.low, MOST_M),
        spread(room.high, MOST_M),
        spread(room.low_by, 0),
        spread(room.high_by, 0),
        room.names,
    )
