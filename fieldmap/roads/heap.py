"""A binary heap for two-part costs: fewest places first, then fewest metres."""

from __future__ import annotations

from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

#: One entry: the two parts of the cost, and what it is the cost of.
ENTRY = np.dtype([("metres", "f8"), ("places", "i4"), ("what", "i4")])

Heap = NDArray[Any]


def heap_room(size: int) -> Heap:
    """Room for so many entries; how many there are is kept by the caller."""
    return np.empty(size, ENTRY)


@numba.njit(cache=True, nogil=True)
def less(places, metres, other_places, other_metres):  # type: ignore[no-untyped-def]
    """Whether a two-part cost is below another."""
    return places < other_places or (places == other_places and metres < other_metres)


@numba.njit(cache=True, nogil=True)
def with_room(heap, size):  # type: ignore[no-untyped-def]
    """The heap itself when it has room for so many entries, else one twice as large."""
    if size <= len(heap):
        return heap
    wider = np.empty(2 * size, heap.dtype)
    wider[: len(heap)] = heap
    return wider


@numba.njit(cache=True, nogil=True)
def push(heap, count, places, metres, what):  # type: ignore[no-untyped-def]
    """Put an entry in; there must be room. Gives the new count."""
    row = count
    while row > 0:
        above = (row - 1) >> 1
        if not less(places, metres, heap[above].places, heap[above].metres):
            break
        heap[row] = heap[above]
        row = above
    heap[row].places, heap[row].metres, heap[row].what = places, metres, what
    return count + 1


@numba.njit(cache=True, nogil=True)
def drop_first(heap, count):  # type: ignore[no-untyped-def]
    """Take the least entry (row 0) away. Gives the new count."""
    last = count - 1
    places, metres, what = heap[last].places, heap[last].metres, heap[last].what
    row = 0
    while True:
        below = 2 * row + 1
        if below >= last:
            break
        other = below + 1
        if other < last and less(
            heap[other].places, heap[other].metres, heap[below].places, heap[below].metres
        ):
            below = other
        if not less(heap[below].places, heap[below].metres, places, metres):
            break
        heap[row] = heap[below]
        row = below
    heap[row].places, heap[row].metres, heap[row].what = places, metres, what
    return last
