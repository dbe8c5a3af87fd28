"""The widest way over the turns of a network: the way whose narrowest place is widest.

Dijkstra's algorithm with the least room met so far in place of a length; the most roomy state
is settled first.
"""

from __future__ import annotations

import heapq

import numba
import numpy as np

from fieldmap.roads.room import CLOSED
from fieldmap.roads.search import OnLeg
from fieldmap.roads.turns import TurnNet
from fieldmap.roads.verdict import Floats


def widest_rooms(
    net: TurnNet, leg_room: Floats, node_room: Floats, start: OnLeg, goals: list[OnLeg]
) -> Floats:
    """The room at the narrowest place of the widest way to each goal.

    Parameters
    ----------
    net : TurnNet
    leg_room : ndarray
        One entry a directed leg; below 0 nothing passes.
    node_room : ndarray
        One entry a node; below 0 nothing passes.
    start : OnLeg
    goals : list of OnLeg

    Returns
    -------
    ndarray
        One entry a goal, ``CLOSED`` where no way is open.
    """
    entered = _rooms(
        net.start,
        net.follow,
        net.leg_of,
        net.end_node,
        net.is_open,
        leg_room,
        node_room,
        start.leg,
    )
    best = np.full(len(net.end_node), CLOSED)
    np.maximum.at(best, net.leg_of, entered)  # states that remember more share their leg
    return np.array([_at_goal(net, leg_room, best, start, goal) for goal in goals], dtype=float)


def _at_goal(net: TurnNet, leg_room: Floats, best: Floats, start: OnLeg, goal: OnLeg) -> float:
    found = float(max(best[2 * goal.leg], best[2 * goal.leg + 1]))
    for side in range(2):
        state = 2 * goal.leg + side
        ahead = (goal.fraction - start.fraction) * (1.0 - 2.0 * side)
        if start.leg == goal.leg and ahead >= 0.0 and net.is_open[state]:
            found = max(found, float(leg_room[state]))
    return found if found >= 0.0 else CLOSED


@numba.njit(cache=True, nogil=True)
def _rooms(  # type: ignore[no-untyped-def]
    begin, follow, leg_of, end_node, is_open, leg_room, node_room, first
):
    """Room with which each state is entered over a turn; the start itself is not entered."""
    held = np.full(len(leg_of), -1.0)
    entered = np.full(len(leg_of), -1.0)
    done = np.zeros(len(leg_of), dtype=np.bool_)
    heap = [(0.0, np.int64(-1))]
    heap.pop()
    for state in range(2 * first, 2 * first + 2):
        if is_open[state] and leg_room[state] >= 0.0:
            held[state] = leg_room[state]
            heapq.heappush(heap, (-held[state], np.int64(state)))
    while len(heap) > 0:
        _, state = heapq.heappop(heap)
        if done[state]:
            continue
        done[state] = True
        room = min(held[state], node_room[end_node[leg_of[state]]])
        if room < 0.0:
            continue
        for row in range(begin[state], begin[state + 1]):
            other = follow[row]
            there = min(room, leg_room[leg_of[other]])
            entered[other] = max(entered[other], there)
            if there > held[other]:
                held[other] = there
                heapq.heappush(heap, (-there, np.int64(other)))
    return entered
