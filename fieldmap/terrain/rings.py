"""Cells of one number as polygons: the borders of patches, followed from corner to corner."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely
from affine import Affine
from numba import njit
from numpy.typing import NDArray

Ints = NDArray[np.integer]


class Pieces(NamedTuple):
    """Polygons of cells that hang together over their sides, and the number of each."""

    polygons: NDArray[np.object_]
    numbers: NDArray[np.int32]


def pieces(numbers: Ints, transform: Affine) -> Pieces:
    """The ground of each number above 0, in as many polygons as it has parts.

    Parameters
    ----------
    numbers : ndarray of int, shape (rows, columns)
        0 and less is no ground.
    transform : affine.Affine
        From (column, row) to coordinates.

    Returns
    -------
    Pieces
        In the order of their first cells, row by row. Parts that meet at corners only are two;
        a ring that would touch itself at a corner is a shell and a hole. Corners stand where a
        border turns, and nowhere else.

    Examples
    --------
    >>> found = pieces(np.array([[1, 1, 0], [1, 0, 2]]), Affine(10, 0, 0, 0, -10, 20))
    >>> found.numbers.tolist(), shapely.area(found.polygons).tolist()
    ([1, 2], [300.0, 100.0])
    >>> pieces(np.zeros((2, 2), int), Affine.identity()).polygons.tolist()
    []
    """
    held = np.ascontiguousarray(numbers, np.int32)
    labels, firsts = parts(held)
    if len(firsts) == 0:
        return Pieces(np.empty(0, object), np.empty(0, np.int32))
    corners, starts, owners, shells = _rings(labels)
    order = np.lexsort((~shells, owners))  # the shell of each piece before its holes
    column, row = corners[:, 0].astype(float), corners[:, 1].astype(float)
    x = transform.c + column * transform.a + row * transform.b
    y = transform.f + column * transform.d + row * transform.e
    ring = np.repeat(np.arange(len(owners)), np.diff(starts))
    rings = shapely.linearrings(np.column_stack([x, y]), indices=ring)
    polygons = shapely.polygons(rings[order], indices=owners[order])
    return Pieces(polygons, held.ravel()[firsts])


@njit(cache=True)
def parts(numbers: Ints) -> tuple[NDArray[np.int32], NDArray[np.int64]]:
    """Number, from 1, of the part that each cell belongs to, and the first cell of each.

    Parameters
    ----------
    numbers : ndarray of int, shape (rows, columns)
        Cells of the same number hang together over their sides; 0 and less is no part.

    Returns
    -------
    labels : ndarray of int32, shape of ``numbers``
    firsts : ndarray of int, shape (parts,)
        Counted row by row.
    """
    rows, columns = numbers.shape
    labels = np.zeros((rows, columns), np.int32)
    firsts = np.empty(numbers.size, np.int64)
    stack = np.empty(numbers.size, np.int64)
    count = 0
    for start in range(numbers.size):
        i, j = start // columns, start % columns
        if numbers[i, j] <= 0 or labels[i, j] > 0:
            continue
        firsts[count] = start
        count += 1
        labels[i, j] = count
        stack[0] = start
        held = 1
        while held > 0:
            held -= 1
            i, j = stack[held] // columns, stack[held] % columns
            for side in range(4):
                row = i + (1 if side == 0 else -1 if side == 1 else 0)
                column = j + (1 if side == 2 else -1 if side == 3 else 0)
                if row < 0 or column < 0 or row == rows or column == columns:
                    continue
                if labels[row, column] == 0 and numbers[row, column] == numbers[i, j]:
                    labels[row, column] = count
                    stack[held] = row * columns + column
                    held += 1
    return labels, firsts[:count].copy()


@njit(cache=True)
def _at(labels, row, column):  # type: ignore[no-untyped-def]
    rows, columns = labels.shape
    if row < 0 or column < 0 or row == rows or column == columns:
        return 0
    return labels[row, column]


@njit(cache=True)
def _rings(labels):  # type: ignore[no-untyped-def]
    """Closed rings of corners (column, row), where each begins, whose it is, whether a shell.

    A border is followed with its own part on the right. At a corner where two cells of a part meet
    it stays with the cell it follows, so that it may come by the same corner twice: what lies
    between is then a ring of its own.
    """
    rows, columns = labels.shape
    wide = columns + 1
    done = np.zeros((rows, columns), np.bool_)  # the upper sides that have been followed
    most = 4 * labels.size + 4
    way = np.empty(most, np.int64)  # corners on the way, and which way each was left
    left_by = np.empty(most, np.int64)
    place = np.full((rows + 1) * wide, -1, np.int64)  # of a corner on the way
    corners = np.empty((2 * most, 2), np.int64)
    starts = np.zeros(most, np.int64)
    owners, shells = np.empty(most, np.int64), np.empty(most, np.bool_)
    rings = 0
    for i in range(rows):
        for j in range(columns):
            part = labels[i, j]
            if part == 0 or done[i, j] or _at(labels, i - 1, j) == part:
                continue
            first = i * wide + j
            here, heading, held = first, 0, 0
            while True:
                if place[here] >= 0:  # a loop is closed
                    begin = place[here]
                    at = _close(way, left_by, begin, held, wide, corners, starts[rings])
                    shells[rings] = _clockwise(corners, starts[rings], at)
                    owners[rings] = part - 1
                    rings += 1
                    starts[rings] = at
                    for k in range(begin, held):
                        place[way[k]] = -1
                    held = begin
                    if held == 0 and here == first and heading == 0:
                        break
                place[here] = held
                way[held], left_by[held] = here, heading
                held += 1
                row, column = here // wide, here % wide
                if heading == 0:
                    done[row, column] = True
                here, heading = _next(labels, part, row, column, heading)
    return (
        corners[: starts[rings]].copy(),
        starts[: rings + 1].copy(),
        owners[:rings],
        shells[:rings],
    )


@njit(cache=True)
def _next(labels, part, row, column, heading):  # type: ignore[no-untyped-def]
    """One side further: the corner there, and the way on from it."""
    wide = labels.shape[1] + 1
    if heading == 0:  # right, the own cell below
        ahead, aside = _at(labels, row, column + 1), _at(labels, row - 1, column + 1)
        column += 1
    elif heading == 1:  # down, the own cell to the left
        ahead, aside = _at(labels, row + 1, column - 1), _at(labels, row + 1, column)
        row += 1
    elif heading == 2:  # left, the own cell above
        ahead, aside = _at(labels, row - 1, column - 2), _at(labels, row, column - 2)
        column -= 1
    else:  # up, the own cell to the right
        ahead, aside = _at(labels, row - 2, column), _at(labels, row - 2, column - 1)
        row -= 1
    if ahead != part:
        heading = (heading + 1) % 4
    elif aside == part:
        heading = (heading + 3) % 4
    return row * wide + column, heading


@njit(cache=True)
def _close(way, left_by, begin, end, wide, corners, at):  # type: ignore[no-untyped-def]
    """The corners of a loop where it turns, the first once more at the end."""
    first = at
    before = left_by[end - 1]
    for k in range(begin, end):
        if left_by[k] != before:
            corners[at, 0], corners[at, 1] = way[k] % wide, way[k] // wide
            at += 1
        before = left_by[k]
    corners[at] = corners[first]
    return at + 1


@njit(cache=True)
def _clockwise(corners, first, end):  # type: ignore[no-untyped-def]
    """Whether a ring runs clockwise with rows counted downwards."""
    total = 0
    for k in range(first, end - 1):
        total += corners[k, 0] * corners[k + 1, 1] - corners[k + 1, 0] * corners[k, 1]
    return total > 0
