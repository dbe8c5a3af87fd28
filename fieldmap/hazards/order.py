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
_TABLED = 3000  # ends; of more the steps are reckoned anew each time


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
    net = _net(places.reshape(-1, 2), pieces, float(apart_m))
    ways, lengths = _greedy(net, _firsts(places))
    ways = ways[np.argsort(lengths, kind="stable")]
    ways = ways[: int(np.clip(_IMPROVED // count, 1, _MOST_IMPROVED))]
    points = bool((places[:, 0] == places[:, 1]).all())
    ways = _once(ways, points)
    rounds = int(np.clip(_IMPROVE_STEPS // (8 * count * count), 1, 60))
    lengths = _improve(net, ways, rounds)
    way = ways[int(np.argmin(np.round(lengths, 6)))]
    straight = _net(places.reshape(-1, 2), pieces, 0.0)
    return Order(way[1:] // 2 - 1, way[1:] % 2 == 1, float(_length(straight, way)))


def _net(xy: Floats, pieces: Ints, apart_m: float) -> tuple[Floats, Ints, float, Floats]:
    """Ends, the ground of each item, what a step to other ground costs, and all steps if few."""
    size = len(xy) if len(xy) <= _TABLED else 0
    net = (xy, pieces, apart_m, np.empty((size, size)))
    _fill(net)
    return net


@njit(cache=True)
def _once(ways, points):  # type: ignore[no-untyped-def]
    """Each way once; of points the end at which they are entered does not matter."""
    last = 1 if points else 0
    kept = 0
    for number in range(len(ways)):
        new = True
        for other in range(kept):
            new = new and np.any(ways[number] >> last != ways[other] >> last)
        if new:
            ways[kept] = ways[number]
            kept += 1
    return ways[:kept]


def _firsts(places: Floats) -> Ints:
    """Ends to begin with: spread over all of them, and the one nearest to the start."""
    count = len(places) - 1
    tries = int(np.clip(_GREEDY_STEPS // (2 * count * count), 4, 2 * count))
    spread = np.linspace(0, 2 * count - 1, tries).round().astype(np.int64)
    away = np.hypot(*(places[1:].reshape(-1, 2) - places[0, 0]).T)
    nearest = int(np.argmin(away))
    return 2 + np.concatenate([[nearest], spread[spread != nearest]])


# A way is the ends at which its items are entered: end 2 i or 2 i + 1 of item i, of which item 0 is
# the start. An item is left by its other end, the number with its last bit turned.


@njit(cache=True)
def _reckoned(net, one, two):  # type: ignore[no-untyped-def]
    xy, pieces, apart_m, _ = net
    dx, dy = xy[one, 0] - xy[two, 0], xy[one, 1] - xy[two, 1]
    more = apart_m if pieces[one >> 1] != pieces[two >> 1] else 0.0
    return np.sqrt(dx * dx + dy * dy) + more


@njit(cache=True)
def _fill(net):  # type: ignore[no-untyped-def]
    steps = net[3]
    for one in range(len(steps)):
        for two in range(len(steps)):
            steps[one, two] = _reckoned(net, one, two)


@njit(cache=True, inline="always")
def _step(net, one, two):  # type: ignore[no-untyped-def]
    """From one end to another."""
    steps = net[3]
    return steps[one, two] if len(steps) else _reckoned(net, one, two)


@njit(cache=True)
def _length(net, way):  # type: ignore[no-untyped-def]
    total = 0.0
    for at in range(1, len(way)):
        total += _step(net, way[at - 1] ^ 1, way[at])
    return total


@njit(cache=True)
def _greedy(net, firsts):  # type: ignore[no-untyped-def]
    """From each of these ends on always to the nearest item that is left; and the ways' lengths."""
    count = len(net[1])
    ways = np.zeros((len(firsts), count), np.int64)  # the start stays first
    lengths = np.zeros(len(firsts))
    left = np.empty(2 * count, np.int64)
    for number in range(len(firsts)):
        way = ways[number]
        way[1] = firsts[number]
        held = 0
        for end in range(2, 2 * count):
            if end >> 1 != way[1] >> 1:
                left[held] = end
                held += 1
        for at in range(2, count):
            least, best, out = np.inf, 0, way[at - 1] ^ 1
            for k in range(held):
                gap = _step(net, out, left[k])
                if gap < least:
                    least, best = gap, k
            way[at] = left[best]
            first = best - (left[best] & 1)
            held -= 2
            for k in range(first, held):  # those left stay in their order
                left[k] = left[k + 2]
        lengths[number] = _length(net, way)
    return ways, lengths


@njit(cache=True)
def _improve(net, ways, rounds):  # type: ignore[no-untyped-def]
    """Make each way shorter where it lies; their lengths."""
    lengths = np.zeros(len(ways))
    gaps = np.zeros(ways.shape[1] + 1)  # the step to each place of the way; none behind the last
    for number in range(len(ways)):
        way = ways[number]
        _measure(net, way, gaps, 1, len(way))
        for _ in range(rounds):
            better = _turn_runs(net, way, gaps)
            better = _move_runs(net, way, gaps) or better
            if not better:
                break
        lengths[number] = _length(net, way)
    return lengths


@njit(cache=True)
def _measure(net, way, gaps, low, high):  # type: ignore[no-untyped-def]
    """The steps to the places from low to high."""
    for at in range(low, min(high + 1, len(way))):
        gaps[at] = _step(net, way[at - 1] ^ 1, way[at])


@njit(cache=True)
def _turn(way, low, high):  # type: ignore[no-untyped-def]
    """Turn the run from low to high round, both in it."""
    while low < high:
        way[low], way[high] = way[high] ^ 1, way[low] ^ 1
        low += 1
        high -= 1
    if low == high:
        way[low] ^= 1


@njit(cache=True)
def _turn_runs(net, way, gaps):  # type: ignore[no-untyped-def]
    """2-opt: every run turned round where that makes the way shorter."""
    count, better = len(way), False
    for low in range(1, count):
        for high in range(low, count):
            out, head = way[low - 1] ^ 1, way[low]
            new, least = _step(net, out, way[high] ^ 1), gaps[low] + gaps[high + 1] - _LESS
            if new >= least:
                continue
            if high + 1 < count:
                new += _step(net, head, way[high + 1])
            if new < least:
                _turn(way, low, high)
                _measure(net, way, gaps, low, high + 1)
                better = True
    return better


@njit(cache=True)
def _move_runs(net, way, gaps):  # type: ignore[no-untyped-def]
    """Or-opt: runs of up to three change places with what lies before or behind them."""
    count, better = len(way), False
    for size in range(1, _LONGEST_MOVED + 1):
        for low in range(1, count - size):
            for to in range(low + size, count):
                if _may_swap(net, way, gaps, low, low + size - 1, to):
                    better = _swap(net, way, gaps, low, low + size - 1, to) or better
        for low in range(1, count - size):
            for high in range(low, count - size):
                if _may_swap(net, way, gaps, low, high, high + size):
                    better = _swap(net, way, gaps, low, high, high + size) or better
    return better


@njit(cache=True, inline="always")
def _may_swap(net, way, gaps, low, high, to):  # type: ignore[no-untyped-def]
    """Whether two of the new steps are not already as long as all three of the old."""
    out, a, b, c, d = way[low - 1] ^ 1, way[low], way[high] ^ 1, way[high + 1], way[to] ^ 1
    least = gaps[low] + gaps[high + 1] + gaps[to + 1] - _LESS
    first, other = _step(net, out, c), _step(net, out, d)
    if first < least and first + min(_step(net, a, d), _step(net, b, d)) < least:
        return True
    return other < least and other + min(_step(net, a, c), _step(net, b, c)) < least


@njit(cache=True)
def _swap(net, way, gaps, low, high, to):  # type: ignore[no-untyped-def]
    """Let the runs low..high and high+1..to change places, if that makes the way shorter.

    Each may be turned round as it goes; of the four ways the best is taken.
    """
    out, a, b, c, d = way[low - 1] ^ 1, way[low], way[high] ^ 1, way[high + 1], way[to] ^ 1
    ends_there = to + 1 == len(way)
    after = 0 if ends_there else way[to + 1]
    least, kept = gaps[low] + gaps[high + 1] + gaps[to + 1] - _LESS, -1
    for kind in range(4):
        x, y = (c, d) if kind < 2 else (d, c)
        p, q = (a, b) if kind % 2 == 0 else (b, a)
        new = _step(net, out, x) + _step(net, y, p)
        if not ends_there:
            new += _step(net, q, after)
        if new < least:
            least, kept = new, kind
    if kept < 0:
        return False
    middle = low + (to - high)
    _turn(way, low, to)  # both runs have changed places, and both are turned
    if kept < 2:
        _turn(way, low, middle - 1)
    if kept % 2 == 0:
        _turn(way, middle, to)
    _measure(net, way, gaps, low, to + 1)
    return True
