"""The best way over the turns of a network: fewest unknown places, then fewest metres.

Dijkstra's algorithm with a two-part cost that is compared part by part. A run of unknown
legs that make one place to go and measure counts once.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray

from fieldmap.roads.turns import TurnNet

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class OnLeg:
    """A place on the network: row of the leg and how far along its line (0 to 1)."""

    leg: int
    fraction: float


@dataclass(frozen=True, eq=False)
class Costs:
    """What is barred and what is unknown.

    ``leg_place`` is -1 for a leg about which nothing is unknown, else the number of the
    place to measure; ``node_count`` the unknown places at each node.
    """

    leg_barred: Mask
    node_barred: Mask
    leg_place: Ints
    node_count: Ints


@dataclass(frozen=True, eq=False)
class Way:
    """Directed legs in order, from start to goal, with the two parts of the cost."""

    legs: Ints
    places: int
    length_m: float


def find_way(net: TurnNet, costs: Costs, start: OnLeg, goal: OnLeg) -> Way | None:
    """The way with the fewest unknown places and, among those, the fewest metres.

    Parameters
    ----------
    net : TurnNet
    costs : Costs
    start, goal : OnLeg

    Returns
    -------
    Way or None
        ``None`` when no way is open.
    """
    states, places, metres = _dijkstra(
        net.start,
        net.follow,
        net.leg_of,
        net.end_node,
        net.length_m,
        net.is_open,
        costs.leg_barred,
        costs.node_barred,
        costs.leg_place,
        costs.node_count,
        start.leg,
        start.fraction,
        goal.leg,
        goal.fraction,
    )
    return Way(states, int(places), float(metres)) if len(states) else None


@numba.njit(cache=True)
def _entering(leg, before, leg_place):  # type: ignore[no-untyped-def]
    """Places counted on entering a leg: one, unless it goes on with the place before."""
    place = leg_place[leg]
    if place < 0 or (before >= 0 and leg_place[before] == place):
        return 0
    return 1


@numba.njit(cache=True)
def _part(directed, fraction, length_m):  # type: ignore[no-untyped-def]
    """Metres from the beginning of a directed leg to a fraction of its line."""
    share = fraction if directed % 2 == 0 else 1.0 - fraction
    return share * length_m[directed // 2]


@numba.njit(cache=True)
def _dijkstra(  # type: ignore[no-untyped-def]  # noqa: C901, PLR0912, PLR0913, PLR0915, PLR0917
    begin,
    follow,
    leg_of,
    end_node,
    length_m,
    is_open,
    leg_barred,
    node_barred,
    leg_place,
    node_count,
    first,
    at,
    last,
    to,
):
    states = len(leg_of)  # two more stand for the goal, reached along its line and against it
    count = np.full(states + 2, np.iinfo(np.int64).max)
    metres = np.full(states + 2, np.inf)
    before = np.full(states + 2, -1)
    done = np.zeros(states + 2, dtype=np.bool_)
    heap = [(np.int64(0), 0.0, np.int64(-1))]
    heap.pop()
    if not leg_barred[first] and not leg_barred[last]:
        places = _entering(first, -1, leg_place)
        for side in range(2):
            state = 2 * first + side
            if not is_open[state]:
                continue
            driven = _part(state, at, length_m)
            count[state], metres[state] = places, length_m[first] - driven
            heapq.heappush(heap, (np.int64(places), metres[state], np.int64(state)))
            ahead = _part(state, to, length_m) - driven
            if first == last and ahead >= 0.0:
                count[states + side], metres[states + side] = places, ahead
                heapq.heappush(heap, (np.int64(places), ahead, np.int64(states + side)))
    reached = -1
    while len(heap) > 0:
        held, driven, state = heapq.heappop(heap)
        if done[state]:
            continue
        done[state] = True
        if state >= states:
            reached = state
            break
        node = end_node[leg_of[state]]
        if node_barred[node]:
            continue
        leg = leg_of[state] // 2
        for row in range(begin[state], begin[state + 1]):
            other = follow[row]
            entered = leg_of[other]
            ahead_leg = entered // 2
            if leg_barred[ahead_leg]:
                continue
            places = held + node_count[node] + _entering(ahead_leg, leg, leg_place)
            whole = driven + length_m[ahead_leg]
            if places < count[other] or (places == count[other] and whole < metres[other]):
                count[other], metres[other], before[other] = places, whole, state
                heapq.heappush(heap, (np.int64(places), whole, np.int64(other)))
            if ahead_leg == last:
                goal = states + entered % 2
                whole = driven + _part(entered, to, length_m)
                if places < count[goal] or (places == count[goal] and whole < metres[goal]):
                    count[goal], metres[goal], before[goal] = places, whole, state
                    heapq.heappush(heap, (np.int64(places), whole, np.int64(goal)))
    if reached < 0:
        return np.zeros(0, dtype=np.int64), 0, 0.0
    found = [2 * last + reached - states]
    state = before[reached]
    while state >= 0:
        found.append(leg_of[state])
        state = before[state]
    return np.array(found[::-1], dtype=np.int64), count[reached], metres[reached]
