"""How much of each cell a polygon covers: exact, by areas gathered along its edges."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely
from affine import Affine
from numba import njit
from numpy.typing import NDArray

#: A smaller share is what rounding leaves in a cell that is not covered; it is set to 0.
LEAST_SHARE = 1e-9


class Rings(NamedTuple):
    """Polygons laid out as flat arrays, in cells: x to the right, y down.

    ``corners`` has shape (corners, 2); ring r is ``corners[ring_starts[r] : ring_starts[r + 1]]``,
    closed; ``ring_signs`` is 1 where a ring adds its inside and -1 where it takes it away, once
    the ring is run so that its own area is positive; shape s has the rings from
    ``shape_starts[s]`` to ``shape_starts[s + 1]``.
    """

    corners: NDArray[np.float64]
    ring_starts: NDArray[np.int64]
    ring_signs: NDArray[np.float64]
    shape_starts: NDArray[np.int64]


def coverage(
    shape: shapely.Geometry, transform: Affine, grid_shape: tuple[int, int]
) -> NDArray[np.float64]:
    """The share of each cell of a grid that lies inside a polygon.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        Valid, with or without holes, in the coordinates of ``transform``; may reach beyond.
    transform : affine.Affine
        From (column, row) to coordinates; may be turned.
    grid_shape : (int, int)
        Rows and columns.

    Returns
    -------
    ndarray, shape (rows, columns)
        0 to 1. Shares under 1e-9 are 0: no arithmetic in eight bytes can tell them from none.

    Raises
    ------
    ValueError
        A corner is not finite.

    Notes
    -----
    As fonts are drawn: every edge leaves in its row of cells the area between it and the right
    end of the row, signed by whether it runs up or down, as changes from cell to cell; the sum
    along the row is the share. No cell is tried against the polygon, and none is sampled.

    Examples
    --------
    >>> coverage(shapely.box(0.5, 0.5, 2.0, 1.0), Affine.identity(), (2, 3))
    array([[0.25, 0.5 , 0.  ],
           [0.  , 0.  , 0.  ]])

    Nothing covers nothing:

    >>> coverage(shapely.Polygon(), Affine.identity(), (1, 2))
    array([[0., 0.]])
    """
    if not np.isfinite(shapely.get_coordinates(shape)).all():
        raise ValueError("a polygon with a corner that is nowhere covers no cell")
    rows, columns = grid_shape
    inverse = ~transform
    cells = shapely.transform(shape, lambda xy: np.column_stack(inverse @ (xy[:, 0], xy[:, 1])))
    frame = shapely.box(0, 0, columns, rows)
    if not shapely.covers(frame, cells):
        cells = _areas(shapely.intersection(cells, frame))
    rings = rings_of(np.array([cells], dtype=object), Affine.identity())
    # cutting may leave a corner a rounding beyond the frame
    rings = rings._replace(corners=np.clip(rings.corners, 0.0, (columns, rows)))
    shares = np.zeros((rows, columns + 2))
    add_shape(rings, 0, 0.0, 0.0, shares)
    sum_rows(shares)
    return shares[:, :columns].copy()


def rings_of(shapes: NDArray[np.object_], transform: Affine) -> Rings:
    """Polygons as flat arrays in the cells of a grid.

    Parameters
    ----------
    shapes : ndarray of Polygon and MultiPolygon, shape (shapes,)
        In the coordinates of ``transform``.
    transform : affine.Affine
        From (column, row) to coordinates.

    Examples
    --------
    >>> found = rings_of(np.array([shapely.box(0, 0, 20, 10)]), Affine(10, 0, 0, 0, -10, 10))
    >>> found.corners.min(axis=0), found.corners.max(axis=0), found.ring_signs
    (array([0., 0.]), array([2., 1.]), array([-1.]))
    """
    flat = np.asarray(shapes, dtype=object)
    parts, owner = shapely.get_parts(flat, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    corners, ring = shapely.get_coordinates(rings, return_index=True)
    x, y = ~transform @ (corners[:, 0], corners[:, 1])
    ring_starts = np.searchsorted(ring, np.arange(len(rings) + 1))
    first = np.r_[True, part[1:] != part[:-1]] if len(part) else np.zeros(0, bool)
    turned = _signed_areas(x, y, ring_starts) < 0
    signs = np.where(first, 1.0, -1.0) * np.where(turned, -1.0, 1.0)
    shape_starts = np.searchsorted(owner[part], np.arange(len(flat) + 1))
    return Rings(np.column_stack([x, y]), ring_starts, signs, shape_starts)


def _areas(shape: shapely.Geometry) -> shapely.Geometry:
    """The polygons of what an intersection leaves; lines and points have no area."""
    parts = shapely.get_parts(shape)
    kinds = shapely.get_type_id(parts)
    deep = shapely.get_parts(parts[kinds == shapely.GeometryType.MULTIPOLYGON])
    return shapely.multipolygons([*parts[kinds == shapely.GeometryType.POLYGON], *deep])


def _signed_areas(
    x: NDArray[np.float64], y: NDArray[np.float64], starts: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Twice the area of each closed ring, positive when it runs from x towards y."""
    if len(starts) == 1:
        return np.zeros(0)
    start_of = np.repeat(starts[:-1], np.diff(starts))
    east, south = x - x[start_of], y - y[start_of]
    cross = np.append(east[:-1] * south[1:] - east[1:] * south[:-1], 0.0)
    cross[starts[1:] - 1] = 0.0
    return np.add.reduceat(cross, starts[:-1])


@njit(cache=True, nogil=True)
def _add(rings: Rings, ring: int, left: float, top: float, changes: NDArray[np.float64]) -> None:
    """Lay one ring's areas into changes along rows; (left, top) is the corner of the array."""
    corners = rings.corners
    for k in range(rings.ring_starts[ring], rings.ring_starts[ring + 1] - 1):
        _add_edge(
            corners[k, 0] - left, corners[k, 1] - top,
            corners[k + 1, 0] - left, corners[k + 1, 1] - top,
            rings.ring_signs[ring], changes,
        )  # fmt: skip


@njit(cache=True, nogil=True)
def add_shape(
    rings: Rings, shape: int, left: float, top: float, changes: NDArray[np.float64]
) -> None:
    """Lay all rings of a shape into an array of changes that holds them, for compiled callers."""
    for ring in range(rings.shape_starts[shape], rings.shape_starts[shape + 1]):
        _add(rings, ring, left, top, changes)


@njit(cache=True, nogil=True)
def _add_edge(
    x0: float, y0: float, x1: float, y1: float, sign: float, changes: NDArray[np.float64]
) -> None:
    if y0 == y1:
        return
    if y0 < y1:
        sign = -sign  # the inside of a ring of positive area lies left of an edge that runs down
    else:
        x0, y0, x1, y1 = x1, y1, x0, y0
    lean = (x1 - x0) / (y1 - y0)
    for row in range(int(np.floor(y0)), int(np.ceil(y1))):
        upper, lower = max(y0, float(row)), min(y1, row + 1.0)
        start, end = x0 + (upper - y0) * lean, x0 + (lower - y0) * lean
        # an end that rounding moved past its corner would leave the array
        start, end = _between(start, x0, x1), _between(end, x0, x1)
        _add_piece(min(start, end), max(start, end), sign * (lower - upper), changes[row])


@njit(cache=True, nogil=True)
def _between(x: float, one: float, other: float) -> float:
    return min(max(x, min(one, other)), max(one, other))


@njit(cache=True, nogil=True)
def _add_piece(left: float, right: float, drop: float, changes: NDArray[np.float64]) -> None:
    """A piece of an edge inside one row: the area to its right, as changes from cell to cell."""
    first, last = int(np.floor(left)), int(np.floor(right))
    before, reached = 0.0, 0.0
    for column in range(first, last + 1):
        here = _right_of(left, right, column + 1.0)
        changes[column] += drop * (here - reached - before)
        before, reached = here - reached, here
    changes[last + 1] += drop * (1.0 - before)


@njit(cache=True, nogil=True)
def _right_of(left: float, right: float, x: float) -> float:
    """Mean over a piece of how far x lies to the right of it."""
    if x >= right:
        return x - 0.5 * (left + right)
    return 0.5 * (x - left) ** 2 / (right - left)


@njit(cache=True, nogil=True)
def sum_rows(changes: NDArray[np.float64]) -> None:
    """Turn changes into shares, in place: the sum along each row, held between 0 and 1."""
    for row in range(changes.shape[0]):
        total = 0.0
        for column in range(changes.shape[1]):
            total += changes[row, column]
            changes[row, column] = min(total, 1.0) if total >= LEAST_SHARE else 0.0
