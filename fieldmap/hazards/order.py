"""A short order to visit lines or points in, from a start, with no way back."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: First visits tried, by how many there is time for; the best few are then improved.
_GREEDY_STEPS = 20_000_000
_IMPROVE_STEPS = 200_000_000
_IMPROVED = 1000  # ways improved, times items
_MOST_IMPROVED = 24
_LONGEST_MOVED = 3
_LESS = 1e-7


class Order(NamedTuple):
    """Rows in the order of the visit, and whether each is gone through from its other end."""

    rows: Ints
    turned: NDArray[np.bool_]
    length_m: float


def short_order(
    ends: Floats, start_xy: tuple[float, float], *, ground: Ints | None = None, apart_m: float = 0.0
) -> Order:
    """A short open way through every item once, from the start.

    From many first visits the nearest item not yet visited is taken again and again; the best
    of these ways are then made shorter by turning runs round and by moving short runs, until
    neither helps. Short, not proven shortest; the same input gives the same order.

    Parameters
    ----------
    ends : ndarray, shape (items, 2, 2)
        Both ends of each item, x and y in metres; a point has the same end twice. What is
        walked between the ends of one item does not count.
    start_xy : tuple of float
    ground : ndarray of int, shape (items,), optional
        The piece of ground that each item lies on.
    apart_m : float
        What a step from one piece of ground to another costs more.

    Returns
    -------
    Order
        ``length_m`` is the sum of the straight steps between items, the first from the start.

    Examples
    --------
    >>> points = np.repeat([[[30.0, 0.0]], [[10.0, 0.0]], [[20.0, 0.0]]], 2, axis=1)
    >>> found = short_order(points, (0.0, 0.0))
    >>> found.rows.tolist(), found.length_m
    ([1, 2, 0], 30.0)
    """
    count = len(ends)
    if count == 0:
        return Order(np.empty(0, np.int64), np.empty(0, bool), 0.0)
    places = np.concatenate([np.broadcast_to(np.asarray(start_xy, float), (1, 2, 2)), ends])
    pieces = np.append(-1, np.zeros(count, np.int64) if ground is None else ground)
    net = (places, pieces, float(apart_m))
    ways = [_greedy(net, first, side) for first, side in _firsts(places)]
    ways.sort(key=lambda way: way[2])
    rounds = int(np.clip(_IMPROVE_STEPS // (8 * count * count), 1, 60))
    few = ways[: int(np.clip(_IMPROVED // count, 1, _MOST_IMPROVED))]
    lengths = [_improve(net, rows, turned, rounds) for rows, turned, _ in few]
    rows, turned, _ = few[int(np.argmin(np.round(lengths, 6)))]
    length_m = _length((places, pieces, 0.0), rows, turned)
    return Order(rows[1:] - 1, turned[1:], float(length_m))


def _firsts(places: Floats) -> list[tuple[int, int]]:
    """Row and end to begin with: spread over all of them, and the one nearest to the start."""
    count = len(places) - 1
    tries = int(np.clip(_GREEDY_STEPS // (2 * count * count), 4, 2 * count))
    spread = np.linspace(0, 2 * count - 1, tries).round().astype(int)
    away = np.hypot(*(places[1:].reshape(-1, 2) - places[0, 0]).T)
    every = dict.fromkeys([int(np.argmin(away)), *spread.tolist()])
    return [(1 + one // 2, one % 2) for one in every]


@njit(cache=True)
def _step(net, one, one_end, two, two_end):  # type: ignore[no-untyped-def]
    ends, pieces, apart_m = net
    dx = ends[one, one_end, 0] - ends[two, two_end, 0]
    dy = ends[one, one_end, 1] - ends[two, two_end, 1]
    more = apart_m if pieces[one] != pieces[two] else 0.0
    return np.sqrt(dx * dx + dy * dy) + more


@njit(cache=True)
def _head(turned, at):  # type: ignore[no-untyped-def]
    """The end at which what stands here in the order is entered."""
    return 1 if turned[at] else 0


@njit(cache=True)
def _length(net, rows, turned):  # type: ignore[no-untyped-def]
    total = 0.0
    for at in range(1, len(rows)):
        out = 1 - _head(turned, at - 1)
        total += _step(net, rows[at - 1], out, rows[at], _head(turned, at))
    return total


@njit(cache=True)
def _greedy(net, first, first_end):  # type: ignore[no-untyped-def]
    count = len(net[0])
    rows = np.zeros(count, np.int64)  # row 0 is the start and stays first
    turned = np.zeros(count, np.bool_)
    left = np.ones(count, np.bool_)
    left[0] = left[first] = False
    rows[1], turned[1] = first, first_end == 1
    for at in range(2, count):
        least, row, side = np.inf, -1, 0
        last, out = rows[at - 1], 1 - _head(turned, at - 1)
        for one in range(count):
            if not left[one]:
                continue
            for end in range(2):
                gap = _step(net, last, out, one, end)
                if gap < least:
                    least, row, side = gap, one, end
        rows[at], turned[at], left[row] = row, side == 1, False
    return rows, turned, _length(net, rows, turned)


@njit(cache=True)
def _improve(net, rows, turned, rounds):  # type: ignore[no-untyped-def]
    for _ in range(rounds):
        better = _turn_runs(net, rows, turned)
        better = _move_runs(net, rows, turned) or better
        if not better:
            break
    return _length(net, rows, turned)


@njit(cache=True)
def _turn(rows, turned, low, high):  # type: ignore[no-untyped-def]
    """Turn the run from low to high round, both in it."""
    while low < high:
        rows[low], rows[high] = rows[high], rows[low]
        turned[low], turned[high] = not turned[high], not turned[low]
        low += 1
        high -= 1
    if low == high:
        turned[low] = not turned[low]


@njit(cache=True)
def _turn_runs(net, rows, turned):  # type: ignore[no-untyped-def]
    """2-opt: every run turned round where that makes the way shorter."""
    count, better = len(rows), False
    for low in range(1, count):
        for high in range(low, count):
            before, out = rows[low - 1], 1 - _head(turned, low - 1)
            head, tail = _head(turned, low), 1 - _head(turned, high)
            old = _step(net, before, out, rows[low], head)
            new = _step(net, before, out, rows[high], tail)
            if high + 1 < count:
                end = _head(turned, high + 1)
                old += _step(net, rows[high], tail, rows[high + 1], end)
                new += _step(net, rows[low], head, rows[high + 1], end)
            if new < old - _LESS:
                _turn(rows, turned, low, high)
                better = True
    return better


@njit(cache=True)
def _move_runs(net, rows, turned):  # type: ignore[no-untyped-def]
    """Or-opt: runs of up to three change places with what lies before or behind them."""
    count, better = len(rows), False
    for size in range(1, _LONGEST_MOVED + 1):
        for low in range(1, count - size):
            for to in range(low + size, count):
                better = _swap(net, rows, turned, low, low + size - 1, to) or better
        for low in range(1, count - size):
            for high in range(low, count - size):
                better = _swap(net, rows, turned, low, high, high + size) or better
    return better


@njit(cache=True)
def _swap(net, rows, turned, low, high, to):  # type: ignore[no-untyped-def]
    """Let the runs low..high and high+1..to change places, if that makes the way shorter.

    Each may be turned round as it goes; of the four ways the best is taken.
    """
    before, out = rows[low - 1], 1 - _head(turned, low - 1)
    a, b, c, d = rows[low], rows[high], rows[high + 1], rows[to]
    a0, b1 = _head(turned, low), 1 - _head(turned, high)
    c0, d1 = _head(turned, high + 1), 1 - _head(turned, to)
    ends_there = to + 1 == len(rows)
    after = 0 if ends_there else rows[to + 1]
    after0 = 0 if ends_there else _head(turned, to + 1)
    old = _step(net, before, out, a, a0) + _step(net, b, b1, c, c0)
    if not ends_there:
        old += _step(net, d, d1, after, after0)
    least, way = old - _LESS, -1
    for kind in range(4):
        x, x0, y, y1 = (c, c0, d, d1) if kind < 2 else (d, d1, c, c0)
        p, p0, q, q1 = (a, a0, b, b1) if kind % 2 == 0 else (b, b1, a, a0)
        new = _step(net, before, out, x, x0) + _step(net, y, y1, p, p0)
        if not ends_there:
            new += _step(net, q, q1, after, after0)
        if new < least:
            least, way = new, kind
    if way < 0:
        return False
    middle = low + (to - high)
    _turn(rows, turned, low, to)  # both runs have changed places, and both are turned
    if way < 2:
        _turn(rows, turned, low, middle - 1)
    if way % 2 == 0:
        _turn(rows, turned, middle, to)
    return True
