"""What the arcs of a contracted network cost one machine: bars and unknown places filled in."""

from __future__ import annotations

import itertools
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from hashlib import blake2b
from threading import Lock
from typing import Any, Generic, TypeVar

import numba
import numpy as np
from numpy.typing import NDArray

from fieldmap.roads.contracted import Contracted, contracted
from fieldmap.roads.heap import less
from fieldmap.roads.once import once
from fieldmap.roads.search import Costs, entering
from fieldmap.roads.turns import TurnNet

#: Places of an arc that is barred; two of them still fit into four bytes.
BARRED = 2**29
#: Machines kept for one network; with 200,000 nodes each takes about 100 MB.
KEPT = 3
#: Plain threads; the kernels let go of the interpreter's lock.
THREADS = 2
#: The two parts of the cost of an arc.
COST = np.dtype([("metres", "f8"), ("places", "i4")], align=True)

#: Nearest ranks by way of which an arc of the core is looked for to be needless.
_NEAR = 8


Made = TypeVar("Made")


@dataclass(frozen=True, eq=False)
class Fitted:
    """What the arcs of a contracted network cost, and the arcs of its core worth driving.

    ``arcs`` has one entry an arc; ``BARRED`` and ``inf`` where no way is open. The core is
    counted from 0: ``core_other[core_start[c]:core_start[c + 1]]`` with ``core_arcs``.
    """

    arcs: NDArray[Any]
    core_start: NDArray[np.int64]
    core_other: NDArray[np.int32]
    core_arcs: NDArray[Any]


class Kept(Generic[Made]):
    """The last few of something, by what they rest on; the oldest goes first."""

    def __init__(self, most: int) -> None:
        self._by_key: OrderedDict[Hashable, Made] = OrderedDict()
        self._lock, self._most = Lock(), most

    def get(self, key: Hashable, make: Callable[[], Made]) -> Made:
        """What is kept, else what ``make`` gives, kept from now on."""
        with self._lock:
            if key in self._by_key:
                self._by_key.move_to_end(key)
                return self._by_key[key]
        made = make()
        with self._lock:
            self._by_key[key] = made
            while len(self._by_key) > self._most:
                self._by_key.popitem(last=False)
        return made


@once
def _machines(_: TurnNet) -> Kept[Fitted]:
    return Kept(KEPT)


def digest(costs: Costs) -> bytes:
    """Short bytes that are the same for the same bars and unknown places."""
    sum_ = blake2b(digest_size=16)
    for field in fields(costs):
        array = np.ascontiguousarray(getattr(costs, field.name))
        sum_.update(array.dtype.str.encode())
        sum_.update(array.view(np.uint8).data)
    return sum_.digest()


def fitted(net: TurnNet, costs: Costs) -> Fitted:
    """The arcs of a network for these costs, kept for the last few machines."""
    return _machines(net).get(digest(costs), lambda: fit(net, contracted(net), costs))


def fit(net: TurnNet, order: Contracted, costs: Costs) -> Fitted:
    """Fill in what can be driven without leaving a state out, then what was taken out."""
    arcs = np.empty(len(order.other), COST)
    network = (net.follow, net.leg_of, net.end_node, net.length_m)
    limits = tuple(getattr(costs, field.name) for field in fields(costs))
    layout = (order.start, order.other, order.middle, order.turn, order.state)

    def lay(ranks: tuple[int, int]) -> None:
        _lay_arcs(ranks, layout, network, limits, arcs)

    lay((0, order.out))
    size = len(order.middle)
    cuts = np.linspace(order.out, size, 2 * THREADS + 1).astype(int).tolist()
    with ThreadPoolExecutor(THREADS) as pool:  # ranks of the core rest on none of their own kind
        list(pool.map(lay, itertools.pairwise(cuts)))
    return Fitted(arcs, *_needed(order.out, order.start, order.other, order.middle, arcs))


@numba.njit(cache=True, nogil=True)
def _lay_arcs(ranks, layout, net, costs, arcs):  # type: ignore[no-untyped-def]
    """For states by rank: their turns, and what they lead to by way of states taken out."""
    start, other, middle, turn, state = layout
    follow, leg_of, end_node, length_m = net
    leg_barred, node_barred, turn_barred, leg_place, node_count, turn_count = costs
    noted = np.empty(len(middle), COST)
    for rank in range(ranks[0], ranks[1]):
        leg = leg_of[state[rank]]
        node = end_node[leg]
        for arc in range(start[rank], start[rank + 1]):
            note, row = noted[other[arc]], turn[arc]
            note.places, note.metres = BARRED, np.inf
            if row >= 0 and not (turn_barred[row] or node_barred[node]):
                entered = leg_of[follow[row]]
                if not leg_barred[entered]:
                    more = node_count[node] + turn_count[row]
                    note.places = more + entering(entered, leg, leg_place)
                    note.metres = length_m[entered // 2]
        for arc in range(start[rank], middle[rank]):
            by = other[arc]
            if noted[by].places < BARRED:
                _by_way_of(noted[by], other, arcs, middle[by], start[by + 1], noted)
        for arc in range(start[rank], start[rank + 1]):
            arcs[arc] = noted[other[arc]]


@numba.njit(cache=True, nogil=True)
def _by_way_of(first, other, arcs, begin, end, noted):  # type: ignore[no-untyped-def]
    """Make what is noted cheaper where a state taken out leads on more cheaply."""
    count, whole = first.places, first.metres
    for arc in range(begin, end):
        note = noted[other[arc]]
        places, metres = count + arcs[arc].places, whole + arcs[arc].metres
        if less(places, metres, note.places, note.metres):
            note.places, note.metres = places, metres


@numba.njit(cache=True, nogil=True)
def _nearest(arcs, begin, end, found):  # type: ignore[no-untyped-def]
    """The cheapest open arcs of a rank, into ``found``; gives how many."""
    count = 0
    for arc in range(begin, end):
        if arcs[arc].places >= BARRED:
            continue
        row = min(count, len(found) - 1)
        if count == len(found) and not _cheaper(arcs, arc, found[row]):
            continue
        while row > 0 and _cheaper(arcs, arc, found[row - 1]):
            found[row] = found[row - 1]
            row -= 1
        found[row], count = arc, min(count + 1, len(found))
    return count


@numba.njit(cache=True, nogil=True)
def _cheaper(arcs, arc, other):  # type: ignore[no-untyped-def]
    return less(arcs[arc].places, arcs[arc].metres, arcs[other].places, arcs[other].metres)


@numba.njit(cache=True, nogil=True)
def _needed(out, start, other, middle, arcs):  # type: ignore[no-untyped-def]
    """The core without arcs that are barred, or dearer than going by way of a near rank.

    Only what is strictly dearer goes, so that no least way loses an arc.
    """
    size = len(middle) - out
    core_start, count = np.zeros(size + 1, np.int64), 0
    kept = np.empty(start[-1] - (middle[out] if size else start[-1]), np.int64)
    noted, near = np.empty(len(middle), COST), np.empty(_NEAR, np.int64)
    for rank in range(out, len(middle)):
        begin, end = middle[rank], start[rank + 1]
        for arc in range(begin, end):
            noted[other[arc]] = arcs[arc]
        for row in range(_nearest(arcs, begin, end, near)):
            by = other[near[row]]
            _by_way_of(arcs[near[row]], other, arcs, middle[by], start[by + 1], noted)
        for arc in range(begin, end):
            note = noted[other[arc]]
            if arcs[arc].places < BARRED and not less(
                note.places, note.metres, arcs[arc].places, arcs[arc].metres
            ):
                kept[count], count = arc, count + 1
        core_start[rank - out + 1] = count
    kept = kept[:count]
    return core_start, (other[kept] - out).astype(np.int32), arcs[kept]
