"""Strips over pieces of ground: where along each strip there is ground. Compiled.

A piece is cut into strips of one width. The shadow of a strip's ground on the line along it is
the shadow of the edges within the strip and of the chords its lower rim cuts out of the piece:
what stands on a place of that line either meets an edge, or is inside as a whole. An edge that
only lies on the rim, such as the side of a hole that ends where the strip begins, is not in it.
"""

from __future__ import annotations

import numpy as np
import shapely
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Lines = NDArray[np.object_]

#: Ground of this depth at the rim of a strip is none: what rounding leaves there is no run.
RIM_M = 0.001
_POLYGON = 3
_MANY = 64


def polygons(ground: shapely.Geometry | None) -> Lines:
    """Every single polygon with ground in it."""
    parts = shapely.get_parts(shapely.get_parts([ground]))
    return parts[(shapely.get_type_id(parts) == _POLYGON) & (shapely.area(parts) > 0.0)]


def edges_of(ground: shapely.Geometry | None) -> tuple[Floats, NDArray[np.int64], Floats]:
    """Every edge of every ring, piece by piece.

    Returns
    -------
    ndarray (edges, 4), ndarray of int (pieces + 1,), ndarray (2,)
        From x, y to x, y, measured from the third; the rows at which the pieces begin and end.
    """
    rings, piece = shapely.get_rings(polygons(ground), return_index=True)
    corners, ring = shapely.get_coordinates(rings, return_index=True)
    origin = corners[0].copy() if len(corners) else np.zeros(2)
    same = np.diff(ring) == 0
    edges = np.hstack([corners[:-1][same] - origin, corners[1:][same] - origin])
    bounds = np.flatnonzero(np.diff(piece[ring[:-1][same]], prepend=-1, append=-1))
    return edges, bounds.astype(np.int64), origin


@njit(cache=True)
def turned(edges: Floats, east: float, north: float) -> Floats:
    """Edges as along, across, along, across a heading (its unit vector)."""
    out = np.empty_like(edges)
    for at in range(len(edges)):
        for end in (0, 2):
            x, y = edges[at, end], edges[at, end + 1]
            out[at, end] = x * east + y * north
            out[at, end + 1] = x * north - y * east
    return out


@njit(cache=True)
def counted(
    edges: Floats,
    bounds: NDArray[np.int64],
    headings: Floats,
    width_m: float,
    join_m: float,
) -> Floats:
    """Runs and metres of all pieces for each heading, shape (headings, 2)."""
    total = np.zeros((len(headings), 2))
    for k in range(len(headings)):
        ground = turned(edges, headings[k, 0], headings[k, 1])
        for piece in range(bounds.size - 1):
            runs, _ = runs_of(ground[bounds[piece] : bounds[piece + 1]], width_m, join_m)
            total[k, 0] += len(runs)
            for row in range(len(runs)):
                total[k, 1] += runs[row, 1] - runs[row, 0]
    return total


@njit(cache=True)
def runs_of(edges: Floats, width_m: float, join_m: float) -> tuple[Floats, NDArray[np.int64]]:
    """Runs over one piece, strip by strip.

    Returns
    -------
    ndarray (runs, 3), ndarray of int (runs,)
        From and to along the strip, where its middle lies across; and which strip it is.
    """
    low, high = np.inf, -np.inf
    for at in range(len(edges)):
        low, high = min(low, edges[at, 1]), max(high, edges[at, 1])
    count = max(1, int(np.ceil((high - low - RIM_M) / width_m)))
    step = (high - low) / count
    frame = (low, step, min(RIM_M, step / 4.0))
    first = _room(edges, low, step, count)
    spans, cuts = np.empty((2 * first[-1], 2)), np.empty(first[-1])
    sizes = np.zeros((count, 2), np.int64)  # spans and cuts that each strip has so far
    for at in range(len(edges)):
        _add_edge(edges[at], frame, first, spans, cuts, sizes)
    runs, strip = np.empty((len(spans), 3)), np.empty(len(spans), np.int64)
    size = 0
    for k in range(count):
        begin = 2 * first[k]
        end = _add_chords(cuts[first[k] : first[k] + sizes[k, 1]], spans, begin + sizes[k, 0])
        size_before = size
        size = _merge(spans[begin:end], runs, size, max(join_m, 2.0 * RIM_M))
        runs[size_before:size, 2] = low + (k + 0.5) * step
        strip[size_before:size] = k
    return runs[:size], strip[:size]


@njit(cache=True)
def _room(edges: Floats, low: float, step: float, count: int) -> NDArray[np.int64]:
    """Where the entries of each strip begin: as many as edges enter it."""
    first = np.zeros(count + 1, np.int64)
    for at in range(len(edges)):
        bottom, top = min(edges[at, 1], edges[at, 3]), max(edges[at, 1], edges[at, 3])
        for k in range(int((bottom - low) / step), min(int((top - low) / step), count - 1) + 1):
            first[k + 1] += 1
    return np.cumsum(first)


@njit(cache=True)
def _add_edge(  # type: ignore[no-untyped-def]
    edge, frame, first, spans, cuts, sizes
):
    """What one edge covers along each strip it enters, and where it cuts their lower rims."""
    low, step, rim = frame
    if edge[1] <= edge[3]:
        u, v, u_top, v_top = edge[0], edge[1], edge[2], edge[3]
    else:
        u, v, u_top, v_top = edge[2], edge[3], edge[0], edge[1]
    lean = (u_top - u) / (v_top - v) if v_top > v else 0.0
    last = min(int((v_top - low) / step), len(sizes) - 1)
    for k in range(int((v - low) / step), last + 1):
        bottom, top = low + k * step, low + (k + 1) * step
        if v_top < bottom + rim or v > top - rim:
            continue
        one = u if v >= bottom else u + (bottom - v) * lean
        two = u_top if v_top <= top else u + (top - v) * lean
        if v <= bottom + rim < v_top:
            cuts[first[k] + sizes[k, 1]] = u + (bottom + rim - v) * lean
            sizes[k, 1] += 1
        one, two = min(one, two), max(one, two)
        row = 2 * first[k] + sizes[k, 0]
        if sizes[k, 0] > 0 and one <= spans[row - 1, 1] and two >= spans[row - 1, 0]:
            spans[row - 1, 0] = min(one, spans[row - 1, 0])  # goes on where the last one ended
            spans[row - 1, 1] = max(two, spans[row - 1, 1])
            continue
        spans[row, 0], spans[row, 1] = one, two
        sizes[k, 0] += 1


@njit(cache=True)
def _sort(rows):  # type: ignore[no-untyped-def]
    """Rows in order of their first column, in place: by insertion while they are few."""
    if len(rows) > _MANY:
        rows[:] = rows[np.argsort(rows[:, 0])]
        return
    for at in range(1, len(rows)):
        to = at
        while to > 0 and rows[to - 1, 0] > rows[to, 0]:
            for column in range(rows.shape[1]):
                kept = rows[to, column]
                rows[to, column] = rows[to - 1, column]
                rows[to - 1, column] = kept
            to -= 1


@njit(cache=True)
def _add_chords(cuts, spans, end):  # type: ignore[no-untyped-def]
    """Cuts in pairs, into the piece and out of it, put behind the spans; the new end of these."""
    _sort(cuts.reshape(-1, 1))
    for pair in range(0, len(cuts) - 1, 2):
        spans[end, 0], spans[end, 1] = cuts[pair], cuts[pair + 1]
        end += 1
    return end


@njit(cache=True)
def _merge(spans, runs, size, join_m):  # type: ignore[no-untyped-def]
    """Spans of one strip as runs behind those already there; the new number of runs."""
    before = size
    _sort(spans)
    for row in range(len(spans)):
        one, two = spans[row, 0], spans[row, 1]
        if size > before and one - runs[size - 1, 1] < join_m:
            runs[size - 1, 1] = max(runs[size - 1, 1], two)
        else:
            runs[size, 0], runs[size, 1] = one, two
            size += 1
    return size


@njit(cache=True)
def in_order(runs: Floats, strip: NDArray[np.int64]) -> Floats:
    """Runs put so that each is followed by one beside it, as long as there is one."""
    ordered = np.empty_like(runs)
    done = np.zeros(len(runs), np.bool_)
    at, lowest = -1, 0
    for place in range(len(runs)):
        follow = -1
        if at >= 0:
            for row in range(at + 1, len(runs)):
                if strip[row] > strip[at] + 1:
                    break
                beside = runs[row, 0] <= runs[at, 1] and runs[at, 0] <= runs[row, 1]
                if strip[row] == strip[at] + 1 and beside and not done[row]:
                    follow = row
                    break
        while follow < 0 and done[lowest]:
            lowest += 1
        at = follow if follow >= 0 else lowest
        done[at] = True
        ordered[place] = runs[at]
    return ordered
