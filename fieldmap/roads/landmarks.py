"""Lower bounds on the metres still to drive, from a few far places on the bare network.

By the triangle inequality a way from ``a`` to ``b`` is at least as long as the difference of
their distances to a third place (A. V. Goldberg and C. Harrelson, Computing the shortest path:
A* search meets graph theory, SODA 2005). Bars and bans only take ways away, so bounds on the
bare network hold for every machine.
"""

from __future__ import annotations

from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray

from fieldmap.roads.heap import drop_first, heap_room, push, with_room
from fieldmap.roads.once import once
from fieldmap.roads.turns import TurnNet

#: Places kept: eight there and back are one line of a processor's cache for each node.
COUNT = 8
#: What rounding to four bytes may add to a difference, as a share of the longest distance.
_SLACK = 4e-7

Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Landmarks:
    """Metres between every node and the landmarks.

    ``metres[node, k]`` is the distance from landmark ``k`` to the node and
    ``metres[node, K + k]`` from the node to landmark ``k``; ``inf`` where no way is.
    ``slack_m`` is what rounding may add to a bound.
    """

    metres: NDArray[np.float32]
    slack_m: float


@once
def landmarks_of(net: TurnNet) -> Landmarks:
    """The landmarks of a network: each as far as can be from those before it."""
    there, back = _by_node(net), _by_node(net, back=True)
    nodes = len(there[0]) - 1
    metres = np.full((nodes, 2 * COUNT), np.inf, np.float32)
    far = np.full(nodes, np.inf)
    spot = int(np.argmax(np.bincount(net.end_node[net.is_open], minlength=nodes)))
    reach = _from(*there, spot)
    spot = int(np.argmax(np.where(np.isfinite(reach), reach, -1.0)))
    for number in range(COUNT):
        out, home = _from(*there, spot), _from(*back, spot)
        metres[:, number], metres[:, COUNT + number] = out, home
        far = np.fmin(far, out + home)
        spot = int(np.argmax(np.where(np.isfinite(far), far, -1.0)))
    longest = metres[np.isfinite(metres)].max(initial=0.0)
    return Landmarks(metres, 2.0 * _SLACK * float(longest))


def no_landmarks(nodes: int) -> Landmarks:
    """Bounds that say nothing."""
    return Landmarks(np.zeros((nodes, 0), np.float32), 0.0)


def _by_node(net: TurnNet, *, back: bool = False) -> tuple[Ints, Ints, NDArray[np.float64]]:
    """Open directed legs sorted by the node they begin at (or end at, for the way back)."""
    legs = np.flatnonzero(net.is_open)
    begin, end = net.end_node[legs ^ 1], net.end_node[legs]
    near, other = (end, begin) if back else (begin, end)
    order = np.argsort(near, kind="stable")
    nodes = int(net.end_node.max(initial=0)) + 1
    start = np.concatenate([[0], np.cumsum(np.bincount(near, minlength=nodes))])
    return start.astype(np.int64), other[order], net.length_m[legs[order] // 2]


def _from(
    start: Ints, other: Ints, length_m: NDArray[np.float64], spot: int
) -> NDArray[np.float64]:
    metres: NDArray[np.float64] = _all_from(start, other, length_m, spot, heap_room(1024))
    return metres


@numba.njit(cache=True, nogil=True)
def _all_from(start, other, length_m, spot, heap):  # type: ignore[no-untyped-def]
    """Metres from one node to all, over nodes."""
    metres = np.full(len(start) - 1, np.inf)
    metres[spot] = 0.0
    count = push(heap, 0, 0, 0.0, spot)
    while count > 0:
        driven, node = heap[0].metres, heap[0].what
        count = drop_first(heap, count)
        if driven > metres[node]:
            continue
        heap = with_room(heap, count + start[node + 1] - start[node])
        for row in range(start[node], start[node + 1]):
            whole = driven + length_m[row]
            if whole < metres[other[row]]:
                metres[other[row]] = whole
                count = push(heap, count, 0, whole, other[row])
    return metres


@numba.njit(cache=True, nogil=True)
def at_least(metres, slack_m, node, goal):  # type: ignore[no-untyped-def]
    """Metres that a way from one node to another has at least."""
    best = slack_m
    count = metres.shape[1] // 2
    for k in range(count):
        ahead = metres[goal, k] - metres[node, k]
        behind = metres[node, count + k] - metres[goal, count + k]
        best = max(best, ahead)
        best = max(best, behind)
    return best - slack_m
