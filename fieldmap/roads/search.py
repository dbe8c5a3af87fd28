"""The best way over the turns of a network: fewest unknown places, then fewest metres.

A* with a two-part cost that is compared part by part: the bounds of the landmarks are on the
second part, the metres. A run of unknown legs that make one place to go and measure counts once.
What a machine may not drive is looked up where a turn is taken; nothing is built for a machine.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import Any
from weakref import WeakKeyDictionary

import numba
import numpy as np
from numpy.typing import NDArray

from fieldmap.roads.heap import Heap, drop_first, heap_room, less, push, with_room
from fieldmap.roads.landmarks import Landmarks, at_least, landmarks_of, no_landmarks
from fieldmap.roads.turns import TurnNet

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: From so many states on landmarks are worth making; they cost about ten ways without them.
LARGE = 50_000

_MOST_QUERIES = 2_000_000_000


@dataclass(frozen=True, slots=True)
class OnLeg:
    """A place on the network: row of the leg and how far along its line (0 to 1)."""

    leg: int
    fraction: float


@dataclass(frozen=True, eq=False)
class Costs:
    """What is barred and what is unknown.

    ``leg_barred`` and ``leg_place`` have one entry a directed leg, ``turn_barred`` and
    ``turn_count`` one entry a row of ``TurnNet.follow``. ``leg_place`` is -1 for a leg about
    which nothing is unknown, else the number of the place to measure; the counts are the
    unknown places at each node and turn.
    """

    leg_barred: Mask
    node_barred: Mask
    turn_barred: Mask
    leg_place: Ints
    node_count: Ints
    turn_count: Ints


@dataclass(frozen=True, eq=False)
class Way:
    """Directed legs in order, from start to goal, with the two parts of the cost.

    ``turns`` are the rows of ``TurnNet.follow`` driven, one fewer than the legs.
    """

    legs: Ints
    turns: Ints
    places: int
    length_m: float


#: What a query knows of a state; it counts only where it bears the query's number.
_LABEL = np.dtype(
    [("metres", "f8"), ("ahead", "f8"), ("query", "i4"), ("places", "i4"), ("before", "i4"),
     ("by", "i4")]
)  # fmt: skip
_BOUND = np.dtype([("metres", "f8"), ("query", "i8")])


@dataclass(eq=False)
class _Room:
    """What queries work in, kept from one to the next: labels of states, bounds of nodes."""

    labels: NDArray[Any]
    bounds: NDArray[Any]
    heap: Heap
    query: int = 0


class _Rooms(threading.local):
    """Working room of each thread for each network."""

    def __init__(self) -> None:
        self.of: WeakKeyDictionary[TurnNet, _Room] = WeakKeyDictionary()


_ROOMS = _Rooms()


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

    Examples
    --------
    Two legs of 100 and 50 m in a row; from the middle of one to the end of the other:

    >>> from dataclasses import replace
    >>> net = TurnNet(
    ...     start=np.array([0, 1, 1, 1, 2]), follow=np.array([2, 1]), leg_of=np.arange(4),
    ...     end_node=np.array([1, 0, 2, 1]), length_m=np.array([100.0, 50.0]),
    ...     is_open=np.ones(4, bool),
    ... )
    >>> free = Costs(
    ...     leg_barred=np.zeros(4, bool), node_barred=np.zeros(3, bool),
    ...     turn_barred=np.zeros(2, bool), leg_place=np.full(4, -1),
    ...     node_count=np.zeros(3, int), turn_count=np.zeros(2, int),
    ... )
    >>> way = find_way(net, free, OnLeg(0, 0.5), OnLeg(1, 1.0))
    >>> way.legs.tolist(), way.turns.tolist(), way.places, way.length_m
    ([0, 2], [0], 0, 100.0)

    With the node between them barred there is none; from a place to itself it is 0 m:

    >>> shut = replace(free, node_barred=np.array([False, True, False]))
    >>> find_way(net, shut, OnLeg(0, 0.5), OnLeg(1, 1.0)) is None
    True
    >>> find_way(net, shut, OnLeg(0, 0.5), OnLeg(0, 0.5)).length_m
    0.0
    """
    large = len(net.leg_of) >= LARGE
    marks = landmarks_of(net) if large else no_landmarks(len(costs.node_barred))
    return way_by(net, costs, start, goal, marks=marks)


def way_by(
    net: TurnNet, costs: Costs, start: OnLeg, goal: OnLeg, *, marks: Landmarks
) -> Way | None:
    """The same with given landmarks; which they are changes the time only."""
    room = _room(net)
    room.query += 1
    reached, room.heap = _search(
        net.start,
        net.follow,
        net.leg_of,
        net.end_node,
        net.length_m,
        net.is_open,
        costs.leg_barred,
        costs.node_barred,
        costs.turn_barred,
        costs.leg_place,
        costs.node_count,
        costs.turn_count,
        (start.leg, start.fraction, goal.leg, goal.fraction),
        marks.metres,
        marks.slack_m,
        room.labels,
        room.bounds,
        room.heap,
        room.query,
    )
    if reached < 0:
        return None
    legs, turns = _back(net.leg_of, room.labels, reached, goal.leg)
    last = room.labels[reached]
    return Way(legs, turns, int(last["places"]), float(last["metres"]))


def _room(net: TurnNet) -> _Room:
    """The room of this thread, made anew before its number runs out of four bytes."""
    room = _ROOMS.of.get(net)
    if room is None or room.query >= _MOST_QUERIES:
        states, nodes = len(net.leg_of) + 2, int(net.end_node.max(initial=0)) + 1
        room = _Room(np.zeros(states, _LABEL), np.zeros(nodes, _BOUND), heap_room(1024))
        _ROOMS.of[net] = room
    return room


@numba.njit(cache=True, nogil=True)
def entering(leg, before, leg_place):  # type: ignore[no-untyped-def]
    """Places counted on entering a directed leg: one, unless it goes on with the place before."""
    place = leg_place[leg]
    if place < 0 or (before >= 0 and leg_place[before] == place):
        return 0
    return 1


@numba.njit(cache=True, nogil=True)
def part(directed, fraction, length_m):  # type: ignore[no-untyped-def]
    """Metres from the beginning of a directed leg to a fraction of its line."""
    share = fraction if directed % 2 == 0 else 1.0 - fraction
    return share * length_m[directed // 2]


@numba.njit(cache=True, nogil=True)
def _to_goal(node, ways_in, rests, marks, slack_m):  # type: ignore[no-untyped-def]
    """Metres that are at least to be driven from a node, by either way into the goal's leg."""
    least = np.inf
    for side in range(2):
        if rests[side] < np.inf:
            least = min(least, rests[side] + at_least(marks, slack_m, node, ways_in[side]))
    return least


@numba.njit(cache=True, nogil=True)
def _better(label, query, places, metres):  # type: ignore[no-untyped-def]
    """Whether a cost is below what a query knows of a state."""
    return label.query != query or less(places, metres, label.places, label.metres)


@numba.njit(cache=True, nogil=True)
def _note(label, query, places, metres, ahead, before, by):  # type: ignore[no-untyped-def]
    """Note a better cost of a state and what led there."""
    label.query, label.places, label.metres = query, places, metres
    label.ahead, label.before, label.by = ahead, before, by


@numba.njit(cache=True, nogil=True)
def _search(  # type: ignore[no-untyped-def]  # noqa: C901, PLR0912, PLR0913, PLR0915, PLR0917
    begin,
    follow,
    leg_of,
    end_node,
    length_m,
    is_open,
    leg_barred,
    node_barred,
    turn_barred,
    leg_place,
    node_count,
    turn_count,
    ends,
    marks,
    slack_m,
    labels,
    bounds,
    heap,
    query,
):
    """The goal's state when a way is open (else -1), and the heap, which may have grown.

    A state may be taken up again when rounding made a bound too high by a hair, so the answer
    does not rest on the bounds agreeing with one another.
    """
    first, at, last, to = ends
    legs = len(is_open)
    states = len(leg_of)  # two more stand for the goal, reached along its line and against it
    ways_in, rests = np.empty(2, np.int64), np.empty(2)
    for side in range(2):
        leg = 2 * last + side
        ways_in[side] = end_node[leg ^ 1]
        shut = leg_barred[leg] or not is_open[leg]
        rests[side] = np.inf if shut else part(leg, to, length_m)
    count = 0
    for side in range(2):
        state = 2 * first + side
        if leg_barred[state] or not is_open[state]:
            continue
        places, driven = entering(state, -1, leg_place), part(state, at, length_m)
        rest = length_m[first] - driven
        ahead = _to_goal(end_node[state], ways_in, rests, marks, slack_m)
        _note(labels[state], query, places, rest, ahead, -1, -1)
        count = push(heap, count, places, rest + ahead, state)
        rest = part(state, to, length_m) - driven
        if first == last and rest >= 0.0:
            _note(labels[states + side], query, places, rest, 0.0, -1, -1)
            count = push(heap, count, places, rest, states + side)
    while count > 0:
        held, whole, state = heap[0].places, heap[0].metres, heap[0].what
        count = drop_first(heap, count)
        if state >= states:
            return state, heap
        driven = labels[state].metres
        if whole == np.inf or held != labels[state].places or whole != driven + labels[state].ahead:
            continue  # no way on, or a better cost was found since
        leg = state if state < legs else leg_of[state]
        node = end_node[leg]
        if node_barred[node]:
            continue
        heap = with_room(heap, count + 2 * (begin[state + 1] - begin[state]))
        for row in range(begin[state], begin[state + 1]):
            other = follow[row]
            entered = other if other < legs else leg_of[other]
            if turn_barred[row] or leg_barred[entered]:
                continue
            places = held + node_count[node] + turn_count[row] + entering(entered, leg, leg_place)
            metres = driven + length_m[entered // 2]
            if _better(labels[other], query, places, metres):
                onto = end_node[entered]
                if bounds[onto].query != query:
                    bounds[onto].query = query
                    bounds[onto].metres = _to_goal(onto, ways_in, rests, marks, slack_m)
                ahead = bounds[onto].metres
                _note(labels[other], query, places, metres, ahead, state, row)
                count = push(heap, count, places, metres + ahead, other)
            if entered // 2 == last:
                goal = states + entered % 2
                metres = driven + part(entered, to, length_m)
                if _better(labels[goal], query, places, metres):
                    _note(labels[goal], query, places, metres, 0.0, state, row)
                    count = push(heap, count, places, metres, goal)
    return -1, heap


@numba.njit(cache=True, nogil=True)
def _back(leg_of, labels, reached, last):  # type: ignore[no-untyped-def]
    """Directed legs and rows of ``follow`` from the start to the goal."""
    size, state = 0, reached
    while state >= 0:
        size, state = size + 1, labels[state].before
    legs, turns = np.empty(size, np.int64), np.empty(size - 1, np.int64)
    legs[size - 1] = 2 * last + reached - len(leg_of)
    state = reached
    for row in range(size - 2, -1, -1):
        turns[row], state = labels[state].by, labels[state].before
        legs[row] = leg_of[state]
    return legs, turns
