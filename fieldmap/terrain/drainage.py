"""Where water gathers and which channel ground drains to: upslope area, wetness, height above it.

Every cell drains to the neighbour down the steepest way (D8) on ground whose hollows are filled
to their spill. What enters from beyond the raster, or flows through unknown ground, is not known:
it is never guessed, and what hangs on it comes out unknown or is marked as cut.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pyflwdir
from numba import njit
from numpy.typing import NDArray
from pyflwdir.dem import fill_depressions
from pyproj import CRS

from fieldmap.grid import Grid
from fieldmap.terrain.hollows import beside, ground_of_a_cell, patches
from fieldmap.terrain.slope import slope
from fieldmap.units import M2_PER_HECTARE

#: Codes of the eight directions as drainage rasters have them: east 1, clockwise in doublings.
_CODES = np.array([[32, 64, 128], [16, 0, 1], [8, 4, 2]], np.uint8)

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
Places = NDArray[np.signedinteger]


class Drainage(NamedTuple):
    """Drainage of a window, all on its cells; NaN where the height is unknown.

    ``upslope_ha`` is the ground that drains through a cell, its own with it. ``wetness`` is
    ln(a / tan b). ``hand_m`` is the height above the drainage cell that the cell's own flow path
    reaches, ``stream`` 1 on drainage cells, ``channel_deg`` the bearing of the flow at the one
    reached. ``cut`` is 1 where water may come from beyond the raster or out of unknown ground:
    area and wetness are lower bounds there. It is 1 on unknown ground too.
    """

    upslope_ha: Grid
    wetness: Grid
    hand_m: Grid
    stream: Grid
    channel_deg: Grid
    cut: Grid


def drainage(
    heights: Grid, *, crs: CRS, stream_ha: float, least_tan: float, chord_cells: int = 5
) -> Drainage:
    """Upslope area, wetness, and height above the nearest drainage down the flow path.

    Parameters
    ----------
    heights : Grid, shape (rows, columns)
        Metres, NaN where unknown, in any coordinate system.
    crs : pyproj.CRS
        The run's metric system; bearings are its grid bearings.
    stream_ha : float
        A drainage cell has at least so much ground upslope; a lower bound counts.
    least_tan : float
        Floor of tan b in the wetness: level ground has no logarithm.
    chord_cells : int
        The bearing of a channel is taken to the place so many cells downstream: one step of a
        path on cells has only eight directions.

    Returns
    -------
    Drainage
        ``hand_m`` and ``channel_deg`` are NaN where the path reaches no drainage cell, leaves into
        unknown ground or over the rim, or meets a cell whose upslope area is cut and too small to
        tell whether it is a drainage cell. Also where unknown ground, if it is high enough, would
        dam the water and turn it elsewhere.

    Notes
    -----
    Steepest way: O'Callaghan & Mark (1984), lengths on the ground. Filling: Wang & Liu (2006), by
    pyflwdir; inside a filled hollow the path to its spill is a convention. Height above the
    nearest drainage: Renno et al. (2008), Nobre et al. (2011), from the heights as they are, below
    zero held to 0. Wetness: Beven & Kirkby (1979); the contour width is the side of a square as
    large as the cell, whatever way it drains; b is Horn's slope. One Jacobian, that of the
    window's middle, serves the whole window.

    Examples
    --------
    A valley of 10 m cells that falls to the south, with ground that falls away beyond its two
    ridges; the middle of the third row:

    >>> from affine import Affine
    >>> across = np.array([101, 102, 103, 101, 100, 101, 103, 102, 101], np.float32)
    >>> valley = across - 0.1 * np.arange(5, dtype=np.float32)[:, None]
    >>> grid = Grid(valley, Affine(10, 0, 0, 0, -10, 0), CRS(32615), "m", "elevation")
    >>> found = drainage(grid, crs=CRS(32615), stream_ha=0.04, least_tan=0.001)
    >>> (found.hand_m.values[2, 2:7] + 0).round(3).tolist()
    [3.0, 1.0, 0.0, 1.0, 3.0]
    >>> float(found.channel_deg.values[2, 2]), float(found.cut.values[2, 3])
    (180.0, 0.0)

    Heights that nobody knows:

    >>> none = grid.with_values(np.full((2, 2), np.nan), unit="m", name="elevation")
    >>> bool(np.isnan(drainage(none, crs=CRS(32615), stream_ha=1, least_tan=0.001).hand_m.values)
    ...      .all())
    True
    """
    ground = ground_of_a_cell(heights, crs)
    cell_m2 = abs(float(np.linalg.det(ground)))
    z = np.pad(heights.values.astype(np.float64), 1, constant_values=np.nan)
    known = np.isfinite(z)
    z[~known] = np.nan
    net = _network(z, known, ground)
    count, cut = _gathered(net.down, net.order, net.unsure, net.vague, net.others)
    stream = known.ravel() & (count * cell_m2 >= stream_ha * M2_PER_HECTARE)
    reached = _reached(net.down, net.order, stream, net.unsure | cut)
    bearing = _bearings(net.down, net.unsure, stream, z.shape[1], chord_cells, ground)
    hand = _above(z.ravel(), reached)
    unknown = ~known.ravel()
    area_m2 = np.where(unknown, np.nan, count * cell_m2)
    tan_b = slope(heights, crs=crs).percent.values / 100.0

    def grid(values: Floats, unit: str, name: str) -> Grid:
        return heights.with_values(_inner(values, z.shape), unit=unit, name=name)

    wet = wetness_index(
        _inner(area_m2, z.shape) / np.sqrt(cell_m2), tan_b.astype(np.float64), least_tan=least_tan
    )
    return Drainage(
        upslope_ha=grid(area_m2 / M2_PER_HECTARE, "ha", "upslope_ha"),
        wetness=heights.with_values(wet, unit="", name="wetness"),
        hand_m=grid(hand, "m", "hand_m"),
        stream=grid(np.where(unknown, np.nan, stream.astype(float)), "", "stream"),
        channel_deg=grid(_picked(bearing, reached), "deg", "channel_deg"),
        cut=grid((cut | unknown).astype(float), "", "cut"),
    )


def wetness_index(a_m: Floats | float, tan_b: Floats | float, *, least_tan: float) -> Floats:
    """Topographic wetness ln(a / tan b) of Beven & Kirkby (1979).

    Parameters
    ----------
    a_m : float or ndarray
        Upslope area per metre of contour, in metres (m2/m).
    tan_b : float or ndarray
        Slope as rise over run; NaN stays NaN.
    least_tan : float
        A flatter slope counts as this.

    Examples
    --------
    >>> float(wetness_index(1000.0, 0.02, least_tan=0.001).round(6))
    10.819778
    >>> float(wetness_index(1000.0, np.nan, least_tan=0.001))
    nan
    """
    return np.log(np.asarray(a_m) / np.maximum(tan_b, least_tan))


def wet_rank(values: Floats, *, of: Floats) -> NDArray[np.float64]:
    """Place of each value among a sample, 0 the driest to 1 the wettest.

    Parameters
    ----------
    values : ndarray, any shape
        NaN gives NaN.
    of : ndarray, any shape
        The sample, such as the farm's own cells; NaN in it do not count. With none known every
        rank is NaN.

    Returns
    -------
    ndarray, shape of ``values``
        Share of the sample below the value, and half of what equals it.

    Examples
    --------
    >>> wet_rank(np.array([1.0, 3.0, 9.0, np.nan]), of=np.array([1.0, 2.0, 3.0, 4.0]))
    array([0.125, 0.625, 1.   ,   nan])
    """
    sample = np.sort(of[np.isfinite(of)], axis=None)
    if sample.size == 0:
        return np.full(values.shape, np.nan)
    below = np.searchsorted(sample, values, side="left")
    up_to = np.searchsorted(sample, values, side="right")
    return np.where(np.isnan(values), np.nan, (below + up_to) / (2.0 * sample.size))


def under_stage(hand_m: Floats, depth_m: float) -> tuple[Bools, Bools]:
    """Ground that a flood so deep over its channel wets, and ground of which it is not known.

    A screening by height above the drainage (Nobre et al. 2011), nothing more.

    Parameters
    ----------
    hand_m : ndarray
        Height above the drainage, NaN unknown.
    depth_m : float
        Depth of the water over the channel; a cell at just this height is wet.

    Returns
    -------
    wet, unknown : ndarray of bool
        What is in neither is not known to stay dry: backwater, culverts and levees are not seen.

    Examples
    --------
    >>> wet, unknown = under_stage(np.array([0.0, 2.0, 2.1, np.nan]), 2.0)
    >>> wet.tolist(), unknown.tolist()
    ([True, True, False, False], [False, False, False, True])
    """
    unknown = np.isnan(hand_m) if np.isfinite(depth_m) else np.ones(hand_m.shape, bool)
    return ~unknown & (hand_m <= depth_m), unknown


class _Network(NamedTuple):
    """Which cell each cell drains to, flat over the padded window.

    ``order`` runs from the outlets upstream. ``unsure`` are cells whose way is not known,
    ``vague`` those whose filled height is not known either; ``others`` are cells that an unsure
    one may drain to as well.
    """

    down: Places
    order: Places
    unsure: Bools
    vague: Bools
    others: Places


def _network(z: Floats, known: Bools, ground: Floats) -> _Network:
    """Ways of the water with unknown ground as an outlet, held against unknown ground as a wall.

    The true heights of unknown cells lie somewhere between: where both give the same way it is
    the way. The rim is an outlet in both.
    """
    rows, columns = np.indices((3, 3)) - 1
    lengths = np.hypot(
        ground[0, 0] * columns + ground[0, 1] * rows, ground[1, 0] * columns + ground[1, 1] * rows
    )
    edge = known & beside(~known)
    if not known.any():
        nothing = np.empty(0, np.int64)
        return _Network(np.full(z.size, -1), nothing, edge.ravel(), edge.ravel(), nothing)
    low, down, order = _flow(z, edge, lengths)
    unsure, vague = edge.ravel().copy(), np.zeros(z.size, bool)
    others = np.empty(0, np.int64)
    rim = _rim(known)
    if (edge & ~rim).any():  # unknown ground inside
        high, way, _ = _flow(z, rim, lengths)
        vague = (known & ((low != high) | _shut_in(known, rim))).ravel()
        unsure |= vague | (down != way)
        others = way[unsure & (way >= 0)]
    return _Network(down, order, unsure & known.ravel(), vague, others)


def _rim(known: Bools) -> Bools:
    """Known cells in the first and last rows and columns that have any."""
    rows, columns = np.flatnonzero(known.any(axis=1)), np.flatnonzero(known.any(axis=0))
    rim = np.zeros(known.shape, bool)
    rim[rows[[0, -1]]] = True
    rim[:, columns[[0, -1]]] = True
    return rim & known


def _shut_in(known: Bools, rim: Bools) -> Bools:
    """Known cells that unknown ground shuts off from the rim."""
    labels, _ = patches(known)
    return known & ~np.isin(labels, labels[rim])


def _flow(z: Floats, outlets: Bools, lengths: Floats) -> tuple[Floats, Places, Places]:
    """Filled heights, the cell that each drains to (itself at an outlet), order from below."""
    filled, codes = fill_depressions(z, nodata=np.nan, idxs_pit=np.flatnonzero(outlets))
    filled = filled.astype(np.float32).astype(np.float64)  # level water is level to the last digit
    _steepest(filled, lengths, _CODES, codes)
    found = pyflwdir.from_array(codes, ftype="d8", check_ftype=False)
    return filled, found.idxs_ds.astype(np.int64), found.idxs_seq.astype(np.int64)


def _above(z: Floats, reached: Places) -> Floats:
    return np.maximum(z - _picked(z, reached), 0.0)


def _picked(values: Floats, at: Places) -> Floats:
    """The values at other places, NaN where there is none."""
    return np.where(at >= 0, values[np.maximum(at, 0)], np.nan)


def _inner(values: Floats, shape: tuple[int, ...]) -> Floats:
    """Without the ring that was put round the window."""
    return values.reshape(shape)[1:-1, 1:-1]


@njit(cache=True)
def _steepest(
    filled: Floats, lengths: Floats, codes: NDArray[np.uint8], found: NDArray[np.uint8]
) -> None:
    """Turn each cell down its steepest way; on filled ground the way to the spill stays."""
    rows, columns = filled.shape
    for i in range(1, rows - 1):
        for j in range(1, columns - 1):
            best = 0.0
            for k in range(3):
                for m in range(3):
                    drop = filled[i, j] - filled[i + k - 1, j + m - 1]
                    if drop > 0.0 and drop > best * lengths[k, m]:
                        best = drop / lengths[k, m]
                        found[i, j] = codes[k, m]


@njit(cache=True)
def _gathered(
    down: Places, order: Places, unsure: Bools, vague: Bools, others: Places
) -> tuple[Floats, Bools]:
    """Cells that surely drain through each cell, and whether more may."""
    count = np.zeros(down.size)
    cut = unsure.copy()
    for n in range(others.size):
        cut[others[n]] = True
    for n in range(order.size - 1, -1, -1):
        here = order[n]
        below = down[here]
        count[here] += 1.0
        if below == here:
            continue
        if cut[here]:
            cut[below] = True
        if not unsure[here] and not vague[below]:
            count[below] += count[here]
    return count, cut


@njit(cache=True)
def _reached(down: Places, order: Places, stream: Bools, unsure: Bools) -> Places:
    """The drainage cell that each cell's path comes to, -1 where nobody can tell."""
    reached = np.full(down.size, -1, np.int64)
    for n in range(order.size):
        here = order[n]
        if stream[here]:
            reached[here] = here
        elif not unsure[here]:
            reached[here] = reached[down[here]]
    return reached


@njit(cache=True)
def _bearings(
    down: Places, unsure: Bools, stream: Bools, columns: int, steps: int, ground: Floats
) -> Floats:
    """Compass bearing from each drainage cell to where its water is some cells on."""
    bearing = np.full(down.size, np.nan)
    for start in range(down.size):
        if not stream[start]:
            continue
        here = start
        for _ in range(steps):
            if unsure[here]:
                break
            here = down[here]
        right, under = here % columns - start % columns, here // columns - start // columns
        if right != 0 or under != 0:
            east = ground[0, 0] * right + ground[0, 1] * under
            north = ground[1, 0] * right + ground[1, 1] * under
            bearing[start] = np.degrees(np.arctan2(east, north)) % 360.0
    return bearing
