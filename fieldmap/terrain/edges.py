"""Drop-offs: banks, ditch sides, highwalls and other ground that falls away, and room to keep.

Only what the cells can show is found: see :func:`least_seen_m`.
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
from fieldmap.terrain.hollows import ground_of_a_cell, outlines, patches
from fieldmap.terrain.slope import Slope, slope

Floats = NDArray[np.floating]
Labels = NDArray[np.int32]

_UPHILL_COS = 0.5
#: Of each side of a cell: the step to the cell beyond it, right and down, and its two ends.
_SIDES = (
    (0, -1, ((0, 0), (1, 0))),
    (0, 1, ((0, 1), (1, 1))),
    (-1, 0, ((0, 0), (0, 1))),
    (1, 0, ((1, 0), (1, 1))),
)


class EdgeLimits(NamedTuple):
    """What makes a drop-off, and how far to keep from it.

    A cell whose slope reaches ``steep_pct`` belongs to a patch; a patch lower than
    ``least_height_m`` is left out. One at least ``highwall_m`` high that reaches ``highwall_pct``
    somewhere is held for a highwall. Kept from it are ``buffer_m``, or ``buffer_heights`` times its
    height where that is more, from a highwall at least ``highwall_buffer_m``.
    """

    steep_pct: float
    least_height_m: float
    highwall_m: float
    highwall_pct: float
    buffer_m: float
    buffer_heights: float
    highwall_buffer_m: float


def drop_offs(
    heights: Grid, *, crs: CRS, limits: EdgeLimits, ground: Slope | None = None
) -> gpd.GeoDataFrame:
    """Patches of steep ground that are high enough, with the ground to keep out of round them.

    Parameters
    ----------
    heights : Grid, shape (rows, columns)
        Metres, NaN where unknown, in any coordinate system.
    crs : pyproj.CRS
        The run's metric system.
    limits : EdgeLimits
        Cells hang together over sides and corners.
    ground : Slope, optional
        Of these heights, when somebody has worked it out already.

    Returns
    -------
    GeoDataFrame
        In ``crs``, highest first. ``geometry`` is the crest as lines: the outer sides of the
        patch's cells that lie uphill, within 60 degrees; the patch's whole outline where it has no
        such side. ``height_m`` is the fall from top to bottom, over the patch and the cells round
        it. ``highwall`` is bool, ``zone`` the polygons of the patch and the ground round it.
        ``open`` says that the patch touches ground whose slope is not known for want of heights
        (the window's rim is none such, so give some ground round what is asked about): it is kept
        however low it is, and its height and its zone are the least they can be. ``perhaps`` is
        then the ground to keep out of if it is a highwall, else empty.

    Notes
    -----
    Slope is Horn's, over two cells. A wall lower than two cells times ``highwall_pct`` comes out
    like a slope, and is not held for a highwall.

    Examples
    --------
    A wall of 4 m down the middle, in cells of 2 m:

    >>> from affine import Affine
    >>> ground = np.where(np.arange(12) < 6, 14.0, 10.0) * np.ones((12, 1))
    >>> ground = np.where(abs(np.arange(12) - 5.5)[:, None] < 3, ground, 10.0)
    >>> grid = Grid(ground.astype(np.float32), Affine(2, 0, 0, 0, -2, 0), CRS(32615), "m", "z")
    >>> limits = EdgeLimits(steep_pct=50, least_height_m=1.5, highwall_m=6, highwall_pct=80,
    ...                     buffer_m=5, buffer_heights=1, highwall_buffer_m=30)
    >>> found = drop_offs(grid, crs=CRS(32615), limits=limits)
    >>> found[["height_m", "highwall", "open"]].values.tolist()
    [[4.0, False, False]]
    >>> flat = grid.with_values(np.zeros((12, 12)), unit="m", name="z")
    >>> len(drop_offs(flat, crs=CRS(32615), limits=limits))
    0
    """
    lie = slope(heights, crs=crs) if ground is None else ground
    percent = lie.percent.values
    labels, count = patches(percent >= limits.steep_pct)
    height, opened = _falls(heights.values, _but_the_rim(percent, heights.values), labels, count)
    steepest = np.zeros(count + 1)
    np.maximum.at(steepest, labels[labels > 0], percent[labels > 0])
    kept = np.flatnonzero((height >= limits.least_height_m) | opened)
    if kept.size == 0:
        return _no_edges(crs).copy()
    kept = kept[np.argsort(-height[kept], kind="stable")]
    highwall = (height >= limits.highwall_m) & (steepest[1:] >= limits.highwall_pct)
    highwall, opened, height = highwall[kept], opened[kept], height[kept]
    shapes = outlines(labels, kept + 1, heights, crs)
    least = np.where(highwall, limits.highwall_buffer_m, limits.buffer_m)
    zone = _kept_from(shapes, np.maximum(least, limits.buffer_heights * height))
    perhaps = np.full(len(kept), shapely.Polygon(), object)
    unsure = opened & ~highwall
    perhaps[unsure] = shapely.union(
        _kept_from(shapes[unsure], limits.highwall_buffer_m), zone[unsure]
    )
    crests = _crests(lie.aspect, labels, kept + 1, shapes, crs)
    return _table(height, highwall, opened, (zone, perhaps, crests), crs)


def _table(
    height: Floats,
    highwall: NDArray[np.bool_],
    opened: NDArray[np.bool_],
    shapes: tuple[NDArray[np.object_], NDArray[np.object_], NDArray[np.object_]],
    crs: CRS,
) -> gpd.GeoDataFrame:
    zone, perhaps, crests = shapes
    return gpd.GeoDataFrame(
        {
            "height_m": height,
            "highwall": highwall,
            "open": opened,
            "zone": gpd.GeoSeries(zone, crs=crs),
            "perhaps": gpd.GeoSeries(perhaps, crs=crs),
        },
        geometry=crests,
        crs=crs,
    )


@kept_by_system
def _no_edges(crs: CRS) -> gpd.GeoDataFrame:
    none, no = np.empty(0, object), np.empty(0, bool)
    return _table(np.empty(0), no, no, (none, none, none), crs)


def round_unknown(heights: Grid, ground: Slope, *, crs: CRS, reach_m: float) -> shapely.Geometry:
    """Ground that a highwall reaches, should one stand where no slope is known.

    Parameters
    ----------
    heights : Grid, shape (rows, columns)
        Metres, NaN where unknown.
    ground : Slope
        Of these heights. The window's rim, where the height is known, is nothing unknown.
    crs : pyproj.CRS
        The run's metric system.
    reach_m : float
        How far to keep from a highwall (``edges.highwall_buffer_m``).

    Returns
    -------
    shapely geometry
        In ``crs``, the unknown ground with it; empty where all is known.

    Examples
    --------
    >>> from affine import Affine
    >>> flat = np.zeros((9, 9), np.float32); flat[4, 4] = np.nan
    >>> grid = Grid(flat, Affine(2, 0, 0, 0, -2, 0), CRS(32615), "m", "z")
    >>> round_unknown(grid, slope(grid, crs=CRS(32615)), crs=CRS(32615), reach_m=5.0).bounds
    (1.0, -17.0, 17.0, -1.0)
    """
    blank = np.isnan(_but_the_rim(ground.percent.values, heights.values))
    if not blank.any():
        return shapely.Polygon()
    (shape,) = outlines(blank.astype(np.int32), np.array([1]), heights, crs)
    return shapely.buffer(shape, reach_m)


def _but_the_rim(percent: Floats, z: Floats) -> Floats:
    """Slopes, with 0 on rim cells of known height, whose slope nobody could work out here."""
    out = percent.copy()
    rim = np.ones(z.shape, bool)
    rim[1:-1, 1:-1] = False
    out[rim & np.isfinite(z)] = 0.0
    return out


def _kept_from(
    ground: NDArray[np.object_], distance_m: NDArray[np.float64] | float
) -> NDArray[np.object_]:
    return np.asarray(shapely.buffer(ground, distance_m, quad_segs=16), object)


def least_seen_m(cell_m: float, steep_pct: float) -> float:
    """Height of the lowest wall that cells of this size can show as steep.

    Parameters
    ----------
    cell_m : float
        Side of a cell.
    steep_pct : float
        The slope from which on a cell is steep.

    Returns
    -------
    float
        Metres. A lower wall along the cells is not found at all; one aslant to them may be found
        a little lower. A bank and a ditch beside each other within two cells may hide each other
        whatever their height.

    Notes
    -----
    Horn's window on a wall of height H that runs along the cells: on one side of it all three
    cells are H higher, so the rise is (H + 2H + H) / (8 w) = H / (2 w), which is steep from
    H = 2 w steep_pct / 100 on. A wall in the middle of a cell gives the same.

    Examples
    --------
    >>> least_seen_m(1.0, 50.0), least_seen_m(10.0, 50.0)
    (1.0, 10.0)
    """
    return 2.0 * cell_m * steep_pct / 100.0


def _falls(
    z: Floats, percent: Floats, labels: Labels, count: int
) -> tuple[Floats, NDArray[np.bool_]]:
    """Of each patch: fall over it and the cells round it, and whether it touches the unknown."""
    top, bottom = np.full(count, -np.inf), np.full(count, np.inf)
    opened = np.zeros(count, bool)
    _round_patches(z, percent, labels, top, bottom, opened)
    return top - bottom, opened


@njit(cache=True)
def _round_patches(
    z: Floats,
    percent: Floats,
    labels: Labels,
    top: Floats,
    bottom: Floats,
    opened: NDArray[np.bool_],
) -> None:
    rows, columns = z.shape
    for i in range(1, rows - 1):  # a cell of the rim has no slope
        for j in range(1, columns - 1):
            here = labels[i, j] - 1
            if here < 0:
                continue
            for row in range(i - 1, i + 2):
                for column in range(j - 1, j + 2):
                    top[here] = max(top[here], z[row, column])
                    bottom[here] = min(bottom[here], z[row, column])
                    if np.isnan(percent[row, column]):
                        opened[here] = True


def _crests(
    aspect: Grid,
    labels: Labels,
    numbers: NDArray[np.integer],
    ground: NDArray[np.object_],
    crs: CRS,
) -> NDArray[np.object_]:
    """The upper sides of each patch as lines, in the order of ``numbers``."""
    row_of = np.full(int(labels.max(initial=0)) + 1, -1, np.int32)
    row_of[numbers] = np.arange(len(numbers), dtype=np.int32)
    sides, rows = _upper_sides(aspect, row_of[labels], crs)
    crests = shapely.boundary(ground)
    if rows.size:
        order = np.argsort(rows, kind="stable")
        which, one = np.unique(rows[order], return_inverse=True)  # some have no such side
        affine = aspect.transform
        lines = shapely.transform(
            shapely.linestrings(sides[order]),
            lambda xy: np.column_stack(affine @ (xy[:, 0], xy[:, 1])),
        )
        whole = shapely.multilinestrings(moved(lines, aspect.crs, crs), indices=one)
        crests[which] = shapely.line_merge(whole)
    return crests


def _upper_sides(aspect: Grid, rows: Labels, crs: CRS) -> tuple[Floats, Labels]:
    """Outer sides of patch cells that lie uphill.

    Parameters
    ----------
    aspect : Grid
        Bearing of downslope.
    rows : ndarray of int32, shape of ``aspect``
        The patch of each cell, -1 none.
    crs : pyproj.CRS

    Returns
    -------
    sides : ndarray, shape (sides, 2, 2)
        Both ends as column and row, counted in cells.
    rows : ndarray, shape (sides,)
        The patch of each.
    """
    cell = ground_of_a_cell(aspect, crs)
    row, column = np.nonzero(rows >= 0)
    uphill = np.radians(aspect.values[row, column].astype(np.float64)) + np.pi
    own = rows[row, column]
    around = np.pad(rows, 1, constant_values=-1)
    found, whose = [], []
    for right, down, ends in _SIDES:
        east, north = cell @ (right, down)
        faces = np.cos(uphill - np.arctan2(east, north)) >= _UPHILL_COS
        upper = faces & (around[row + 1 + down, column + 1 + right] != own)
        corner = np.column_stack([column[upper], row[upper]])
        found.append(corner[:, np.newaxis, :] + np.array(ends, float))
        whose.append(own[upper])
    return np.concatenate(found), np.concatenate(whose)
