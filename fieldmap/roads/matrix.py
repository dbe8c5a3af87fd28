"""Ways between many ends at once: unknown places and metres from each to each.

Each end is followed upwards to the core of the contracted network, forwards and backwards;
the core is searched once for each start. The first matrix of a network takes the contracting,
the first of a machine the filling in, further ones neither; the same one again is kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray

from fieldmap.roads.contracted import Contracted, contracted
from fieldmap.roads.fitted import BARRED, THREADS, Fitted, Kept, digest, fitted
from fieldmap.roads.heap import ENTRY, drop_first, less, push, with_room
from fieldmap.roads.landmarks import no_landmarks
from fieldmap.roads.once import once
from fieldmap.roads.search import Costs, OnLeg, entering, part, way_by
from fieldmap.roads.turns import TurnNet

#: Matrices kept for one network, by machine and ends.
KEPT = 16

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Matrix:
    """Cost of the best way from each end (row) to each end (column).

    ``places`` is -1 and ``length_m`` ``inf`` where no way is open. From an end to itself both
    are as :func:`fieldmap.roads.search.find_way` gives them.
    """

    places: Ints
    length_m: Floats


#: States with their places and metres; ranks with theirs.
_Seeds = tuple[Ints, NDArray[np.int32], Floats]
_Labels = tuple[Ints, NDArray[np.int32], Floats]


def way_matrix(net: TurnNet, costs: Costs, ends: Sequence[OnLeg]) -> Matrix:
    """The best way from each end to each: fewest unknown places, then fewest metres.

    Parameters
    ----------
    net : TurnNet
    costs : Costs
    ends : sequence of OnLeg

    Returns
    -------
    Matrix
        Agrees with :func:`fieldmap.roads.search.find_way` pair by pair, to rounding. It is kept
        and handed out again, so it cannot be written into.

    Examples
    --------
    Two legs of 100 and 50 m in a row, the ends in the middle of each:

    >>> net = TurnNet(
    ...     start=np.array([0, 1, 1, 1, 2]), follow=np.array([2, 1]), leg_of=np.arange(4),
    ...     end_node=np.array([1, 0, 2, 1]), length_m=np.array([100.0, 50.0]),
    ...     is_open=np.array([True, True, True, False]),
    ... )
    >>> costs = Costs(
    ...     leg_barred=np.zeros(4, bool), node_barred=np.zeros(3, bool),
    ...     turn_barred=np.zeros(2, bool), leg_place=np.array([-1, -1, 7, 7]),
    ...     node_count=np.zeros(3, int), turn_count=np.zeros(2, int),
    ... )
    >>> there = way_matrix(net, costs, [OnLeg(0, 0.5), OnLeg(1, 0.5)])

    One place is unknown on the way there; the second leg is one-way, so there is none back:

    >>> there.places[0].tolist(), there.length_m[0].tolist()
    ([0, 1], [0.0, 75.0])
    >>> there.places[1, 0].item(), there.length_m[1, 0].item()
    (-1, inf)
    >>> way_matrix(net, costs, []).length_m.shape
    (0, 0)
    """
    if not ends:
        return Matrix(np.zeros((0, 0), np.int64), np.zeros((0, 0)))
    key = digest(costs), tuple(ends)
    return _matrices(net).get(key, lambda: _matrix(net, costs, ends))


@once
def _matrices(_: TurnNet) -> Kept[Matrix]:
    return Kept(KEPT)


def _matrix(net: TurnNet, costs: Costs, ends: Sequence[OnLeg]) -> Matrix:
    order, fit = contracted(net), fitted(net, costs)
    out = [_up(order, fit, _leaving(net, costs, end), back=False) for end in ends]
    home = _joined([_up(order, fit, _arriving(net, end), back=True) for end in ends])
    size = len(ends)
    places, length_m = np.full((size, size), -1), np.full((size, size), np.inf)

    def fill(row: int) -> None:
        _across(
            order.out, (fit.core_start, fit.core_other, fit.core_arcs),
            out[row], home, places[row], length_m[row],
        )  # fmt: skip

    with ThreadPoolExecutor(THREADS) as pool:
        list(pool.map(fill, range(size)))
    _same_leg(net, costs, ends, places, length_m)
    places.flags.writeable = length_m.flags.writeable = False
    return Matrix(places, length_m)


def _same_leg(
    net: TurnNet, costs: Costs, ends: Sequence[OnLeg], places: Ints, length_m: Floats
) -> None:
    """Ends on one leg are searched pair by pair: a way may stay on it, or go round to it."""
    legs, marks = np.array([end.leg for end in ends]), no_landmarks(len(costs.node_barred))
    for row, column in np.argwhere(legs[:, None] == legs).tolist():
        way = way_by(net, costs, ends[row], ends[column], marks=marks)
        places[row, column] = -1 if way is None else way.places
        length_m[row, column] = np.inf if way is None else way.length_m


def _leaving(net: TurnNet, costs: Costs, end: OnLeg) -> _Seeds:
    """Both ways of leaving an end: state, places and metres to the end of its leg."""
    states = [
        state
        for state in (2 * end.leg, 2 * end.leg + 1)
        if net.is_open[state] and not costs.leg_barred[state]
    ]
    return (
        np.array(states, np.int64),
        np.array([entering(one, -1, costs.leg_place) for one in states], np.int32),
        np.array([net.length_m[end.leg] - part(one, end.fraction, net.length_m) for one in states]),
    )


def _arriving(net: TurnNet, end: OnLeg) -> _Seeds:
    """States on the leg of an end; less what is left of the leg, as arcs reach to its end."""
    legs = np.array([2 * end.leg, 2 * end.leg + 1])
    states = np.concatenate([legs, _copies(net, end.leg)])
    driven = np.array(
        [part(leg, end.fraction, net.length_m) for leg in net.leg_of[states].tolist()]
    )
    return states, np.zeros(len(states), np.int32), driven - net.length_m[end.leg]


def _copies(net: TurnNet, leg: int) -> Ints:
    """States beyond the directed legs that remember something while on a leg."""
    legs = len(net.is_open)
    return legs + np.flatnonzero(net.leg_of[legs:] // 2 == leg)


def _up(order: Contracted, fit: Fitted, seeds: _Seeds, *, back: bool) -> _Labels:
    states, places, metres = seeds
    labels: _Labels = _upwards(
        order.out, order.start, order.other, order.middle,
        order.into_start, order.into, order.into_from,
        fit.arcs, (order.rank[states], places, metres), back,
    )  # fmt: skip
    return labels


def _joined(parts: list[_Labels]) -> tuple[Ints, _Labels]:
    """The labels of many ends, and where those of each begin."""
    start = np.concatenate([[0], np.cumsum([len(part_[0]) for part_ in parts])]).astype(np.int64)
    rank, places, metres = (np.concatenate(column) for column in zip(*parts, strict=True))
    return start, (rank, places, metres)


@numba.njit(cache=True, nogil=True)
def _above(rank, out, start, middle, into_start, back):  # type: ignore[no-untyped-def]
    """First and last arc from a rank upwards; none from the core."""
    if rank >= out:
        return 0, 0
    if back:
        return into_start[rank], into_start[rank + 1]
    return middle[rank], start[rank + 1]


@numba.njit(cache=True, nogil=True)
def _higher(seeds, out, start, other, middle, into_start, into_from, back):  # type: ignore[no-untyped-def]
    """Every rank that can be come to upwards from the seeds, ascending."""
    seen, found, count = np.zeros(len(middle), np.bool_), np.empty(len(middle), np.int64), 0
    for rank in seeds:
        if not seen[rank]:
            seen[rank], found[count], count = True, rank, count + 1
    at = 0
    while at < count:
        first, end = _above(found[at], out, start, middle, into_start, back)
        at += 1
        for row in range(first, end):
            rank = into_from[row] if back else other[row]
            if not seen[rank]:
                seen[rank], found[count], count = True, rank, count + 1
    return np.sort(found[:count])


@numba.njit(cache=True, nogil=True)
def _upwards(  # type: ignore[no-untyped-def]  # noqa: PLR0913, PLR0917
    out, start, other, middle, into_start, into, into_from, arcs, seeds, back
):
    """Ranks above the seeds that are open, with the least costs by ways that only go up."""
    ranks = _higher(seeds[0], out, start, other, middle, into_start, into_from, back)
    places = np.empty(len(middle), np.int32)
    metres = np.empty(len(middle), np.float64)
    for rank in ranks:
        places[rank], metres[rank] = BARRED, np.inf
    for row in range(len(seeds[0])):
        places[seeds[0][row]], metres[seeds[0][row]] = seeds[1][row], seeds[2][row]
    for rank in ranks:
        if places[rank] >= BARRED:
            continue
        first, end = _above(rank, out, start, middle, into_start, back)
        for row in range(first, end):
            arc, to = (into[row], into_from[row]) if back else (np.int32(row), other[row])
            there, whole = places[rank] + arcs[arc].places, metres[rank] + arcs[arc].metres
            if less(there, whole, places[to], metres[to]):
                places[to], metres[to] = there, whole
    open_ = ranks[places[ranks] < BARRED]
    return open_, places[open_], metres[open_]


@numba.njit(cache=True, nogil=True)
def _through_core(out, core, labels, wanted):  # type: ignore[no-untyped-def]
    """Least costs of the core from labelled ranks, until all wanted ones are settled."""
    start, other, arcs = core
    size = len(start) - 1
    places, metres = np.full(size, BARRED, np.int32), np.full(size, np.inf)
    left, heap, count = wanted.sum(), np.empty(1024, ENTRY), 0
    for row in range(len(labels[0])):
        rank = labels[0][row] - out
        if rank >= 0:
            places[rank], metres[rank] = labels[1][row], labels[2][row]
            heap = with_room(heap, count + 1)
            count = push(heap, count, places[rank], metres[rank], rank)
    settled = np.zeros(size, np.bool_)
    while count > 0 and left > 0:
        rank = heap[0].what
        count = drop_first(heap, count)
        if settled[rank]:
            continue
        settled[rank] = True
        left -= wanted[rank]
        first, end = start[rank], start[rank + 1]
        heap = with_room(heap, count + end - first)
        for arc in range(first, end):
            to = other[arc]
            there, whole = places[rank] + arcs[arc].places, metres[rank] + arcs[arc].metres
            if less(there, whole, places[to], metres[to]):
                places[to], metres[to] = there, whole
                count = push(heap, count, there, whole, to)
    return places, metres


@numba.njit(cache=True, nogil=True)
def _across(out, core, labels, home, row_places, row_metres):  # type: ignore[no-untyped-def]
    """One row of the matrix: the ways up from a start meet the ways down to each goal."""
    home_start, down = home
    wanted = np.zeros(len(core[0]) - 1, np.int64)
    for rank in down[0]:
        if rank >= out:
            wanted[rank - out] = 1
    settled = _through_core(out, core, labels, wanted)
    label_at = np.full(out, -1, np.int32)
    for row in range(len(labels[0])):
        if labels[0][row] < out:
            label_at[labels[0][row]] = row
    for goal in range(len(home_start) - 1):
        first, end = home_start[goal], home_start[goal + 1]
        row_places[goal], row_metres[goal] = _meet(out, labels, label_at, settled, down, first, end)


@numba.njit(cache=True, nogil=True)
def _meet(out, labels, label_at, core, down, first, end):  # type: ignore[no-untyped-def]
    """Least cost over the ranks of one goal; -1 and ``inf`` when no way is open."""
    best, least = np.int64(BARRED), np.inf
    for row in range(first, end):
        rank = down[0][row]
        if rank >= out:
            places, metres = core[0][rank - out], core[1][rank - out]
        elif label_at[rank] >= 0:
            places, metres = labels[1][label_at[rank]], labels[2][label_at[rank]]
        else:
            continue
        places, metres = places + down[1][row], metres + down[2][row]
        if less(places, metres, best, least):
            best, least = places, metres
    return (best, least) if best < BARRED else (np.int64(-1), np.inf)
