"""Passes over a field's own outline: laps round it, runs inside, and how long they take.

Each piece of ground is mown by itself, in strips of equal width along one heading. A run is the
stretch over which any of its strip has ground, so that wedges and slanting ends are mown to the
full width. Runs are counted; where a machine may drive, its manual and its driver say.
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from fieldmap.errors import raise_all
from fieldmap.terrain.strips import RIM_M, counted, edges_of, in_order, polygons, runs_of, turned
from fieldmap.terrain.turns import above_nought, turn, turn_s

Floats = NDArray[np.float64]
Lines = NDArray[np.object_]

_METRE_PER_KM = 1000.0
_MINUTE_PER_HOUR = 60.0
_SECOND_PER_MINUTE = 60.0
_ROUNDING = 1e-9  # of a lap: a turn of just two widths fits two laps
#: Corners of a quarter circle where a lap goes round a corner that points into the field.
_ROUND = 8
#: Corners are mown square down to 60 degrees (1 / sin 30); a sharper one leaves its tip.
_SQUARED = 2.0
#: What is left beside a lap and is thinner than this is the rounding of those corners.
_THIN_M = 0.05


class Headland(NamedTuple):
    """What the laps leave, and metres driven in each lap, outermost first.

    ``inner`` is ``None`` where it is unknown.
    """

    inner: shapely.Geometry | None
    lap_m: Floats


class Passes(NamedTuple):
    """Runs, metres and turns for each heading; floats, since unknown is NaN."""

    headings_deg: Floats
    runs: Floats
    length_m: Floats
    turns: Floats


def laps_for(
    width_m: ArrayLike, radius_m: ArrayLike, *, least: ArrayLike, spacing_m: ArrayLike | None = None
) -> Floats:
    """Laps round the field that leave a headland deep enough to turn in.

    Parameters
    ----------
    width_m, radius_m : array_like
        Working width and least turning radius.
    least : array_like
        Laps driven in any case (``passes.laps_least``).
    spacing_m : array_like, optional
        From run to run; the working width where it is not given.

    Returns
    -------
    ndarray
        Whole numbers, as floats; NaN where width, radius or ``least`` is unknown.

    Raises
    ------
    InputError
        As :func:`~fieldmap.terrain.turns.turn`.

    Examples
    --------
    A turn of 4 m wide runs at 6 m radius takes 16.9 m, five widths:

    >>> float(laps_for(4.0, 6.0, least=2)), float(laps_for(12.0, 6.0, least=2))
    (5.0, 2.0)
    >>> float(laps_for(4.0, float("nan"), least=2))
    nan
    """
    width = np.asarray(width_m, float)
    spacing = width if spacing_m is None else spacing_m
    depth = turn(spacing, radius_m=radius_m, width_m=width).depth_m
    return np.maximum(np.ceil(depth / width - _ROUNDING), least)


def headland(
    field: shapely.Geometry | None, *, width_m: float, laps: float, scrap_squares: float = 0.0
) -> Headland:
    """Laps along the boundary, round holes too, and the ground that is left for runs.

    Parameters
    ----------
    field : shapely.Geometry or None
        Polygon or polygons in metres; ``None`` is an unknown outline.
    width_m : float
        Working width.
    laps : float
        How many, rounded up (:func:`laps_for`).
    scrap_squares : float
        Bits beside a lap smaller than so many squares of one width are let go
        (``passes.scrap_squares``); at 0 none is.

    Returns
    -------
    Headland
        Lap k's middle line is the rim of the field shrunk by (k + 1/2) widths. Left are the
        ground beyond the last lap and what was too narrow for its own lap: a neck, a sharp tip, a
        whole field narrower than the machine. Unknown outline, width or laps: ``None`` and NaN.

    Raises
    ------
    InputError
        A width is not above 0, or a number of laps is below 0.

    Examples
    --------
    >>> found = headland(shapely.box(0, 0, 100, 40), width_m=4.0, laps=2)
    >>> found.inner.bounds, found.lap_m
    ((8.0, 8.0, 92.0, 32.0), array([264., 232.]))

    No lap fits on a strip narrower than the machine; all of it is left:

    >>> found = headland(shapely.box(0, 0, 100, 3), width_m=4.0, laps=2)
    >>> found.inner.area, found.lap_m
    (300.0, array([0., 0.]))
    >>> headland(None, width_m=4.0, laps=1)
    Headland(inner=None, lap_m=array([nan]))
    """
    faults = above_nought("a working width", width_m, "m")
    raise_all([*faults, *above_nought("a number of laps", laps, "laps", or_nought=True)])
    if field is None or np.isnan(width_m + laps):
        return Headland(None, np.array([np.nan]))
    count = int(np.ceil(laps))
    lap_m = np.zeros(count)
    left: list[shapely.Geometry] = []
    ground = field
    for lap in range(count):
        middle = _shrunk(field, (lap + 0.5) * width_m)
        lap_m[lap] = shapely.length(shapely.boundary(middle))
        left.extend(_too_narrow(ground, middle, width_m, scrap_squares * width_m**2))
        ground = _shrunk(field, (lap + 1.0) * width_m)
    inner = shapely.MultiPolygon([*polygons(ground), *left]) if count else field
    return Headland(inner, lap_m)


def _shrunk(ground: shapely.Geometry, by_m: float) -> shapely.Geometry:
    return shapely.buffer(ground, -by_m, quad_segs=_ROUND)


def _too_narrow(
    ground: shapely.Geometry, middle: shapely.Geometry, width_m: float, scrap_m2: float
) -> Lines:
    """Bits of ground that the lap along this middle line, half a width to each side, misses."""
    reached = shapely.buffer(
        middle, width_m / 2.0 + RIM_M, quad_segs=_ROUND, join_style="mitre", mitre_limit=_SQUARED
    )
    bits = polygons(shapely.difference(ground, reached))
    thick = 2.0 * shapely.area(bits) > _THIN_M * shapely.length(bits)
    return bits[thick & (shapely.area(bits) >= scrap_m2)]


def passes(
    inner: shapely.Geometry | None,
    headings_deg: ArrayLike,
    *,
    width_m: float,
    join_m: float = 0.0,
) -> Passes:
    """Runs, their length and the turns between them, for each heading.

    Parameters
    ----------
    inner : shapely.Geometry or None
        Polygon or polygons in metres, x east, y north; each piece is mown by itself. ``None`` is
        unknown; an empty one needs no run.
    headings_deg : array_like, shape (headings,)
        Compass degrees clockwise from grid north.
    width_m : float
        Working width. A piece gets as few strips as can be, all of one width, this at most.
    join_m : float
        Gaps in a run that are shorter are driven through (``passes.join_m``), and their length
        counts. What lies in a gap is not looked at: keep it below the breadth of the laps on both
        sides of a hole (10 m for two laps of 2.5 m), or a run goes through the hole.

    Returns
    -------
    Passes
        Arrays of shape (headings,). NaN where width, gap, outline or that heading is unknown.

    Raises
    ------
    InputError
        A width is not above 0, or a gap is below 0.

    Examples
    --------
    >>> found = passes(shapely.box(0, 0, 100, 40), [90, 0], width_m=4.0)
    >>> found.runs, found.length_m, found.turns
    (array([10., 25.]), array([1000., 1000.]), array([ 9., 24.]))
    >>> passes(shapely.Polygon(), [0], width_m=4.0).runs
    array([0.])
    >>> passes(shapely.box(0, 0, 9, 9), [0], width_m=float("nan")).turns
    array([nan])
    """
    headings = np.atleast_1d(np.asarray(headings_deg, float))
    runs, length_m = np.full((2, headings.size), np.nan)
    if _known(inner, width_m, join_m):
        edges, bounds, _ = edges_of(inner)
        known = np.isfinite(headings)
        way = np.radians(headings[known])
        vectors = np.stack([np.sin(way), np.cos(way)], axis=1)
        runs[known], length_m[known] = counted(edges, bounds, vectors, width_m, join_m).T
    return Passes(headings, runs, length_m, np.maximum(runs - 1.0, 0.0))


def run_lines(
    inner: shapely.Geometry | None, heading_deg: float, *, width_m: float, join_m: float = 0.0
) -> Lines:
    """The middle lines of the runs along one heading, in driving order.

    From each run the way goes on to the run beside it in the next strip; where there is none, to
    the lowest strip that still has one. Every other line is driven back.

    Returns
    -------
    ndarray of LineString, shape (runs,)
        As :func:`passes` counts them. Empty where something is unknown: there is nothing to draw.

    Raises
    ------
    InputError
        As :func:`passes`.

    Examples
    --------
    >>> for line in run_lines(shapely.box(0, 0, 100, 8), 90, width_m=4.0):
    ...     print(shapely.set_precision(line, 1e-6))
    LINESTRING (0 6, 100 6)
    LINESTRING (100 2, 0 2)
    """
    if not _known(inner, width_m, join_m) or not np.isfinite(heading_deg):
        return np.empty(0, object)
    edges, bounds, origin = edges_of(inner)
    east, north = np.sin(np.radians(heading_deg)), np.cos(np.radians(heading_deg))
    ground = turned(edges, east, north)
    found = [
        in_order(*runs_of(ground[begin:end], width_m, join_m)) for begin, end in pairwise(bounds)
    ]
    rows = np.concatenate([np.empty((0, 3)), *found])
    ends = rows[:, :2].copy()
    ends[1::2] = ends[1::2, ::-1]
    along, across = np.array([east, north]), np.array([north, -east])
    places = ends[:, :, None] * along + rows[:, 2, None, None] * across + origin
    return np.asarray(shapely.linestrings(places), dtype=object)


def minutes(
    length_m: ArrayLike,
    lap_m: ArrayLike,
    turns: ArrayLike,
    *,
    speed_kmh: ArrayLike,
    turn_m: ArrayLike,
    turn_kmh: ArrayLike,
    fixed_s: ArrayLike = 0.0,
) -> Floats:
    """Minutes of mowing: runs and laps at the field speed, and the turns between the runs.

    Parameters
    ----------
    length_m, lap_m, turns : array_like
        Metres of all runs, metres of all laps, number of turns.
    speed_kmh : array_like
        Field speed, in runs and laps.
    turn_m, turn_kmh, fixed_s : array_like
        One turn: its way, its speed (``passes.turn_kmh``), lifting and lowering
        (``passes.turn_fixed_s``).

    Returns
    -------
    ndarray
        NaN where anything is unknown. Stops, filling up and corners of laps are not in it.

    Raises
    ------
    InputError
        A speed is not above 0.

    Examples
    --------
    1000 m at 12 km/h, and 9 turns of 20 m at 6 km/h:

    >>> float(minutes(1000.0, 0.0, 9, speed_kmh=12.0, turn_m=20.0, turn_kmh=6.0))
    6.8
    """
    raise_all(above_nought("a field speed", speed_kmh, "km/h"))
    metre_per_min = np.asarray(speed_kmh, float) * _METRE_PER_KM / _MINUTE_PER_HOUR
    driving = (np.asarray(length_m, float) + np.asarray(lap_m, float)) / metre_per_min
    one = turn_s(turn_m, turn_kmh=turn_kmh, fixed_s=fixed_s)
    return driving + np.asarray(turns, float) * one / _SECOND_PER_MINUTE


def _known(inner: shapely.Geometry | None, width_m: float, join_m: float) -> bool:
    faults = above_nought("a working width", width_m, "m")
    raise_all([*faults, *above_nought("a gap to drive through", join_m, "m", or_nought=True)])
    return inner is not None and not np.isnan(width_m + join_m)
