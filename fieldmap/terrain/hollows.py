"""Hollows: ground that has no way out for water, to go and look at.

A hollow in the heights is a pond, a swallow hole, ground that sank over old workings, or an
error of the survey: the heights do not say which.
"""

from __future__ import annotations

from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from numba import njit
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.crs import kept_by_system, moved
from fieldmap.grid import Grid
from fieldmap.terrain.rings import pieces
from fieldmap.terrain.slope import ground_of_a_cell

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]


class Hollows(NamedTuple):
    """Depth of filling on every cell (m), and the hollows that are large enough, deepest first.

    ``table`` has the columns ``depth_m`` (deepest), ``area_m2``, ``volume_m3`` up to the spill,
    ``open`` and the hollow's cells as polygons in the run's system.
    """

    depth: Grid
    table: gpd.GeoDataFrame


def hollows(heights: Grid, *, crs: CRS, least_depth_m: float, least_area_m2: float) -> Hollows:
    """Ground that would hold water up to its spill.

    Parameters
    ----------
    heights : Grid, shape (rows, columns)
        Metres, NaN where unknown, in any coordinate system.
    crs : pyproj.CRS
        The run's metric system.
    least_depth_m, least_area_m2 : float
        A hollow whose deepest cell is shallower, or that is smaller, is not in the table.

    Returns
    -------
    Hollows
        ``depth`` is NaN on unknown cells, on the rim, and on ground that unknown ground shuts in
        all round; 0 where water runs off.

    Notes
    -----
    Filling from the rim inwards: Barnes, Lehman & Mulla (2014). Water leaves a cell to any of its
    eight neighbours. The rim is where the window ends, or where unknown ground begins that goes on
    to its end: it is the outlet. Unknown ground inside is a wall: it may dam the water or let it
    out, so that the depth beside it is an upper bound. ``open`` says that a hollow touches unknown
    ground or the rim: it may be deeper, larger, or none. Beside unknown ground inside, the unknown
    cells that it touches count for its least area, and it may have any depth: the deepest place
    may be among them. A hollow inside another is part of it.

    Examples
    --------
    One cell of 2 x 2 m lies 0.5 m under its surroundings:

    >>> from affine import Affine
    >>> ground = np.full((5, 5), 10.0, np.float32)
    >>> ground[2, 2] = 9.5
    >>> grid = Grid(ground, Affine(2, 0, 0, 0, -2, 0), CRS(32615), "m", "elevation")
    >>> found = hollows(grid, crs=CRS(32615), least_depth_m=0.3, least_area_m2=1)
    >>> found.table[["depth_m", "area_m2", "volume_m3", "open"]].values.tolist()
    [[0.5, 4.0, 2.0, False]]
    >>> len(hollows(grid, crs=CRS(32615), least_depth_m=0.6, least_area_m2=1).table)
    0
    """
    cell_m2 = abs(float(np.linalg.det(ground_of_a_cell(heights, crs))))
    z = np.where(np.isfinite(heights.values), heights.values, np.nan).astype(np.float64)
    rim = rim_of(np.isfinite(z))
    depth = _filled(z, rim) - z
    labels, count = patches(depth > 0.0)
    deepest, total, cells, gaps = _measured(depth, labels, count)
    at_rim = np.zeros(count, bool)
    at_rim[labels[beside(rim) & (labels > 0)] - 1] = True
    large = (deepest >= least_depth_m) & (cells * cell_m2 >= least_area_m2)
    kept = np.flatnonzero(large | (gaps > 0) & ((cells + gaps) * cell_m2 >= least_area_m2))
    kept = kept[np.argsort(-deepest[kept], kind="stable")]
    depth[rim] = np.nan
    if kept.size:
        figures = (deepest[kept], cells[kept] * cell_m2, total[kept] * cell_m2)
        opened = (gaps[kept] > 0) | at_rim[kept]
        table = _table(*figures, opened, outlines(labels, kept + 1, heights, crs), crs)
    else:
        table = _no_hollows(crs).copy()
    return Hollows(heights.with_values(depth, unit="m", name="hollow_m"), table)


def _table(
    depth_m: Floats,
    area_m2: Floats,
    volume_m3: Floats,
    opened: Bools,
    ground: NDArray[np.object_],
    crs: CRS,
) -> gpd.GeoDataFrame:
    figures = {"depth_m": depth_m, "area_m2": area_m2, "volume_m3": volume_m3, "open": opened}
    return gpd.GeoDataFrame(figures, geometry=ground, crs=crs)


@kept_by_system
def _no_hollows(crs: CRS) -> gpd.GeoDataFrame:
    none = np.empty(0)
    return _table(none, none, none, np.empty(0, bool), np.empty(0, object), crs)


def rim_of(known: Bools) -> Bools:
    """Known cells at the window's end, or beside unknown ground that goes on to its end.

    Examples
    --------
    >>> rim_of(np.ones((3, 4), bool)).sum()
    np.int64(10)
    """
    if known.all():
        beyond = np.ones((known.shape[0] + 2, known.shape[1] + 2), bool)
        beyond[1:-1, 1:-1] = False
    else:
        labels, _ = patches(np.pad(~known, 1, constant_values=True))
        beyond = labels == labels[0, 0]
    return known & beside(beyond)[1:-1, 1:-1]


def beside(where: Bools) -> Bools:
    """Cells that are these, or have one of these among their eight neighbours."""
    grown = np.zeros(where.shape, bool)
    padded = np.pad(where, 1)
    rows, columns = where.shape
    for row in range(3):
        for column in range(3):
            grown |= padded[row : row + rows, column : column + columns]
    return grown


def patches(where: Bools) -> tuple[NDArray[np.int32], int]:
    """Numbers, from 1, of the patches of cells that hang together over sides or corners.

    Returns
    -------
    labels : ndarray of int32, shape of ``where``
        0 where ``where`` is false.
    count : int

    Examples
    --------
    >>> patches(np.array([[True, False, True], [False, True, False], [False, False, False]]))[1]
    1
    """
    labels = np.zeros(where.shape, np.int32)
    return labels, _label(np.ascontiguousarray(where), labels)


def outlines(
    labels: NDArray[np.int32], numbers: NDArray[np.integer], grid: Grid, crs: CRS
) -> NDArray[np.object_]:
    """The ground of some patches: multipolygons in ``crs``, in the order of ``numbers``.

    A patch has as many polygons as it has parts that meet at corners only.
    """
    if len(numbers) == 0:
        return np.empty(0, object)
    row_of = np.zeros(int(labels.max()) + 1, np.int32)
    row_of[numbers] = np.arange(1, len(numbers) + 1, dtype=np.int32)
    found = pieces(row_of[labels], grid.transform)
    # pieces of a patch meet at corners only: side by side they are a sound multipolygon
    order = np.argsort(found.numbers, kind="stable")
    polygons = moved(found.polygons, grid.crs, crs)[order]
    return shapely.multipolygons(polygons, indices=found.numbers[order] - 1)


def _filled(z: Floats, rim: Bools) -> Floats:
    """Heights with every hollow filled to its spill over the rim; NaN where none can be reached."""
    level = np.where(rim, z, np.nan)
    _flood(z, level, np.flatnonzero(rim))
    return level


@njit(cache=True)
def _label(where: Bools, labels: NDArray[np.int32]) -> int:
    rows, columns = where.shape
    stack = np.empty(max(where.size, 1), np.int64)
    count = 0
    for start in range(where.size):
        if not where[start // columns, start % columns]:
            continue
        if labels[start // columns, start % columns] > 0:
            continue
        count += 1
        stack[0], held = start, 1
        labels[start // columns, start % columns] = count
        while held > 0:
            held -= 1
            i, j = stack[held] // columns, stack[held] % columns
            for row in range(max(i - 1, 0), min(i + 2, rows)):
                for column in range(max(j - 1, 0), min(j + 2, columns)):
                    if where[row, column] and labels[row, column] == 0:
                        labels[row, column] = count
                        stack[held] = row * columns + column
                        held += 1
    return count


@njit(cache=True)
def _measured(
    depth: Floats, labels: NDArray[np.int32], count: int
) -> tuple[Floats, Floats, NDArray[np.int64], NDArray[np.int64]]:
    """Of each patch: deepest, sum, cells, unknown cells that it touches.

    An unknown cell that two patches touch counts for both, and once for each.
    """
    rows, columns = depth.shape
    deepest, total = np.zeros(count), np.zeros(count)
    cells, gaps = np.zeros(count, np.int64), np.zeros(count, np.int64)
    near = np.zeros(9, np.int64)
    for i in range(rows):
        for j in range(columns):
            here = labels[i, j] - 1
            if here >= 0:
                deepest[here] = max(deepest[here], depth[i, j])
                total[here] += depth[i, j]
                cells[here] += 1
            elif np.isnan(depth[i, j]):
                held = 0
                for row in range(max(i - 1, 0), min(i + 2, rows)):
                    for column in range(max(j - 1, 0), min(j + 2, columns)):
                        other = labels[row, column]
                        if other > 0 and not np.any(near[:held] == other):
                            near[held] = other
                            held += 1
                            gaps[other - 1] += 1
    return deepest, total, cells, gaps


@njit(cache=True)
def _flood(z: Floats, level: Floats, rim: NDArray[np.int64]) -> None:
    """Fill from the rim inwards, lowest first; what lies under the water at once, by a stack."""
    rows, columns = z.shape
    heap, key = np.empty(z.size + 1, np.int64), np.empty(z.size + 1)
    pool = np.empty(z.size + 1, np.int64)
    held, wet = 0, 0
    for n in range(rim.size):
        held = _push(heap, key, held, rim[n], z[rim[n] // columns, rim[n] % columns])
    while held > 0 or wet > 0:
        if wet > 0:
            wet -= 1
            here = pool[wet]
        else:
            here = heap[0]
            held = _pop(heap, key, held)
        i, j = here // columns, here % columns
        top = level[i, j]
        for row in range(max(i - 1, 0), min(i + 2, rows)):
            for column in range(max(j - 1, 0), min(j + 2, columns)):
                if np.isnan(z[row, column]) or not np.isnan(level[row, column]):
                    continue
                if z[row, column] <= top:
                    level[row, column] = top
                    pool[wet] = row * columns + column
                    wet += 1
                else:
                    level[row, column] = z[row, column]
                    held = _push(heap, key, held, row * columns + column, z[row, column])


@njit(cache=True)
def _push(heap: NDArray[np.int64], key: Floats, held: int, cell: int, height: float) -> int:
    at = held
    while at > 0:
        over = (at - 1) // 2
        if key[over] <= height:
            break
        heap[at], key[at] = heap[over], key[over]
        at = over
    heap[at], key[at] = cell, height
    return held + 1


@njit(cache=True)
def _pop(heap: NDArray[np.int64], key: Floats, held: int) -> int:
    held -= 1
    cell, height = heap[held], key[held]
    at = 0
    while 2 * at + 1 < held:
        under = 2 * at + 1
        if under + 1 < held and key[under + 1] < key[under]:
            under += 1
        if key[under] >= height:
            break
        heap[at], key[at] = heap[under], key[under]
        at = under
    heap[at], key[at] = cell, height
    return held
