"""The widest machine that gets from one place to others: surely, possibly, and what decides.

Surely goes by the low ends of what is known of each width, possibly by the high ends. How the
train turns is not in it: that needs a machine, and ``move`` checks it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from fieldmap.roads.bottleneck import widest_rooms
from fieldmap.roads.choose import free_costs
from fieldmap.roads.deciding import SAME_M, Deciding, deciding
from fieldmap.roads.district import District
from fieldmap.roads.room import MOST_M
from fieldmap.roads.rooms import Rooms
from fieldmap.roads.search import Costs, OnLeg, Way, find_way

_DIGITS = 6


@dataclass(frozen=True, eq=False)
class Bound:
    """A width (m) and the way on which it holds.

    ``width_m`` is NaN where no way is open, 0 where no machine gets through, and infinite where
    nothing on the way limits it. ``decides`` are the places on the way that are as narrow as
    that, in driving order.
    """

    width_m: float
    way: Way | None
    decides: tuple[Deciding, ...]


@dataclass(frozen=True, eq=False)
class Widest:
    """The widest machine to one place: what surely gets there, and what possibly does."""

    surely: Bound
    possibly: Bound


class Ends(NamedTuple):
    """Where a place comes onto the roads: the leg with the most room by either end.

    At a junction several legs are equally near; which one it is put on must not decide.
    """

    sure: OnLeg
    possible: OnLeg


def widest(
    district: District, rooms: Rooms, start: Ends, goals: Sequence[Ends]
) -> tuple[Widest, ...]:
    """The widest machine from one place to each of others.

    Parameters
    ----------
    district : District
    rooms : Rooms
        Of the same district.
    start : Ends
    goals : sequence of Ends
    """
    sure = _bounds(district, rooms, start.sure, [one.sure for one in goals], sure=True)
    possible = _bounds(district, rooms, start.possible, [one.possible for one in goals], sure=False)
    return tuple(Widest(*sides) for sides in zip(sure, possible, strict=True))


def _bounds(
    district: District, rooms: Rooms, start: OnLeg, goals: list[OnLeg], *, sure: bool
) -> list[Bound]:
    legs = rooms.legs.low if sure else rooms.legs.high
    nodes = rooms.nodes.low if sure else rooms.nodes.high
    widths = widest_rooms(district.net, legs, nodes, start, goals)
    return [
        _bound(district, rooms, float(width_m), start, goal, sure=sure)
        for width_m, goal in zip(widths, goals, strict=True)
    ]


def _bound(
    district: District, rooms: Rooms, width_m: float, start: OnLeg, goal: OnLeg, *, sure: bool
) -> Bound:
    """The shortest way with the least room that was found, and what is as narrow on it."""
    if width_m < 0.0:
        return Bound(np.nan, None, ())
    legs = rooms.legs.low if sure else rooms.legs.high
    nodes = rooms.nodes.low if sure else rooms.nodes.high
    free = free_costs(district.net, len(nodes))
    costs: Costs = replace(
        free, leg_barred=legs < width_m - SAME_M, node_barred=nodes < width_m - SAME_M
    )
    if width_m == 0.0:  # nothing is sure: the way with the fewest places that hinder it
        _, number = np.unique(np.repeat(district.data.edges["way_id"], 2), return_inverse=True)
        costs = replace(
            costs,
            leg_place=np.where(legs == 0.0, number.ravel(), -1),
            node_count=(nodes == 0.0).astype(np.int64),
        )
    way = find_way(district.net, costs, start, goal)
    if way is None or width_m >= MOST_M:
        return Bound(np.inf if way is not None else np.nan, way, ())
    return Bound(
        round(width_m, _DIGITS), way, tuple(deciding(district, rooms, way, width_m, sure=sure))
    )
