"""The shortest way between two places that stays inside the ground allowed."""

from __future__ import annotations

import numpy as np
import shapely
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: The ground is held to reach so much farther, so that a way along its edge stays inside.
EDGE_M = 0.0005
_MOST_CORNERS = 4000


class Inside:
    """Ground to stay inside of, with what is known so far of which corner sees which.

    A shortest way inside bends only at corners that stick into the ground, so it is looked for
    over those; whether one sees another is worked out when it is first asked.

    Parameters
    ----------
    ground : Geometry
        Polygon or multipolygon, metric; holes are outside.

    Examples
    --------
    >>> ell = Inside(shapely.Polygon([(0, 0), (20, 0), (20, 10), (10, 10), (10, 20), (0, 20)]))
    >>> ell.way((20, 10), (10, 20)).tolist()
    [[20.0, 10.0], [10.0, 10.0], [10.0, 20.0]]
    >>> two = Inside(shapely.union(shapely.box(0, 0, 1, 1), shapely.box(5, 0, 6, 1)))
    >>> two.way((1, 1), (5, 1)) is None
    True
    """

    def __init__(self, ground: shapely.Geometry) -> None:
        self.ground = ground
        grown = shapely.buffer(ground, EDGE_M, join_style="mitre")
        self._pieces = shapely.STRtree(shapely.get_parts(grown))
        self._edges = _edges(grown)
        self._corners = _corners(ground)
        self._known = np.full((len(self._corners),) * 2, -1, np.int8)

    def piece_of(self, places: Floats) -> NDArray[np.int64]:
        """Which piece of the ground each place is on, or nearest to; shape (places,)."""
        return self._pieces.nearest(shapely.points(places)).astype(np.int64)

    def straight(self, starts: Floats, ends: Floats) -> NDArray[np.bool_]:
        """Whether the straight way between two places stays inside; shapes (ways, 2)."""
        return _clear(np.asarray(starts, float), np.asarray(ends, float), self._edges)

    def way(self, start: tuple[float, float], end: tuple[float, float]) -> Floats | None:
        """The shortest way between two places of the ground; ``None`` when there is none.

        Returns
        -------
        ndarray, shape (corners, 2), or None
            Start and end among them.
        """
        ends = np.array([start, end], float)
        if self.straight(ends[:1], ends[1:])[0]:
            return ends
        came = _search(ends, self._corners, self._edges, self._known)
        size = len(self._corners)
        if came[size + 1] < 0:
            return None
        places = np.concatenate([self._corners, ends])
        rows = [size + 1]
        while rows[-1] != size:
            rows.append(int(came[rows[-1]]))
        return places[rows[::-1]]


def _edges(ground: shapely.Geometry) -> Floats:
    """Edges of all rings, shape (edges, 4): x and y of the start, then of the end."""
    corners, ring = shapely.get_coordinates(
        shapely.get_rings(shapely.get_parts(ground)), return_index=True
    )
    same = np.diff(ring) == 0
    return np.ascontiguousarray(np.concatenate([corners[:-1], corners[1:]], axis=1)[same])


def _corners(ground: shapely.Geometry) -> Floats:
    """Corners at which a way can bend: those where the ground turns more than half round."""
    tolerance_m = 0.25
    found = _reflex(ground)
    while len(found) > _MOST_CORNERS:
        found = _reflex(shapely.simplify(ground, tolerance_m))
        tolerance_m *= 2
    return found


def _reflex(ground: shapely.Geometry) -> Floats:
    parts = shapely.orient_polygons(shapely.get_parts(ground))
    rings = shapely.remove_repeated_points(shapely.get_rings(parts))
    corners, ring = shapely.get_coordinates(rings, return_index=True)
    same = np.diff(ring) == 0
    ring = ring[:-1][same]
    at, out = corners[:-1][same], np.diff(corners, axis=0)[same]
    first = np.flatnonzero(np.diff(ring, prepend=-1))
    before = np.arange(len(ring)) - 1
    before[first] = np.append(first[1:], len(ring)) - 1
    into = out[before]
    right_turn = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0] < 0
    return np.unique(at[right_turn], axis=0)


@njit(cache=True)
def _side(ax, ay, bx, by, cx, cy):  # type: ignore[no-untyped-def]
    return (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)


@njit(cache=True)
def _sees(px, py, qx, qy, edges):  # type: ignore[no-untyped-def]
    """Whether no edge meets the way from p to q."""
    left, right = min(px, qx), max(px, qx)
    low, high = min(py, qy), max(py, qy)
    for at in range(len(edges)):
        ax, ay, bx, by = edges[at, 0], edges[at, 1], edges[at, 2], edges[at, 3]
        if max(ax, bx) < left or min(ax, bx) > right or max(ay, by) < low or min(ay, by) > high:
            continue
        if _side(px, py, qx, qy, ax, ay) * _side(px, py, qx, qy, bx, by) > 0:
            continue
        if _side(ax, ay, bx, by, px, py) * _side(ax, ay, bx, by, qx, qy) > 0:
            continue
        return False
    return True


@njit(cache=True)
def _clear(starts, ends, edges):  # type: ignore[no-untyped-def]
    out = np.empty(len(starts), np.bool_)
    for at in range(len(starts)):
        out[at] = _sees(starts[at, 0], starts[at, 1], ends[at, 0], ends[at, 1], edges)
    return out


@njit(cache=True)
def _place(row, corners, ends):  # type: ignore[no-untyped-def]
    return corners[row] if row < len(corners) else ends[row - len(corners)]


@njit(cache=True)
def _looked_up(one, two, corners, ends, edges, known):  # type: ignore[no-untyped-def]
    """Whether one place sees another; what two corners see of each other is kept."""
    size = len(corners)
    kept = one < size and two < size
    if kept and known[one, two] >= 0:
        return known[one, two] == 1
    p, q = _place(one, corners, ends), _place(two, corners, ends)
    sees = _sees(p[0], p[1], q[0], q[1], edges)
    if kept:
        known[one, two] = known[two, one] = 1 if sees else 0
    return sees


@njit(cache=True)
def _search(ends, corners, edges, known):  # type: ignore[no-untyped-def]
    """Dijkstra's search led by the distance left; rows after the corners are start and end.

    Returns
    -------
    ndarray of int, shape (corners + 2,)
        The row each place was reached from, -1 where none.
    """
    size = len(corners)
    goal = size + 1
    gone = np.full(size + 2, np.inf)
    came = np.full(size + 2, -1)
    done = np.zeros(size + 2, np.bool_)
    left = np.empty(size + 2)
    for row in range(size + 2):
        at = _place(row, corners, ends)
        left[row] = np.hypot(at[0] - ends[1, 0], at[1] - ends[1, 1])
    gone[size] = 0.0
    while True:
        least, row = np.inf, -1
        for one in range(size + 2):
            if not done[one] and gone[one] + left[one] < least:
                least, row = gone[one] + left[one], one
        if row < 0 or row == goal:
            return came
        done[row] = True
        at = _place(row, corners, ends)
        for two in range(size + 2):
            if done[two]:
                continue
            to = _place(two, corners, ends)
            far = gone[row] + np.hypot(to[0] - at[0], to[1] - at[1])
            if far < gone[two] and _looked_up(row, two, corners, ends, edges, known):
                gone[two], came[two] = far, row
