"""Parallel lines over ground that has to be looked at."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Lines = NDArray[np.object_]

#: Ground farther than this many spacings from every line gets lines of its own.
_REACH = 0.6
#: Shortest line, and smallest piece of missed ground that is worth one, in spacings.
_SHORTEST = 0.5
#: Shortest line, in spacings, when ground that was missed is gone over again.
_SHORTEST_OF_ROUND = (0.5, *[0.0] * 7)
_DIRECTIONS = 720
_TRIED = 12
_TINY = 1e-9


class SearchLines(NamedTuple):
    """Lines to walk: LineStrings, the way most of them run, and how far apart they were wished.

    ``bearing_deg`` is a compass bearing from 0 up to 180; NaN where there is no ground.
    """

    lines: Lines
    bearing_deg: float
    spacing_m: float

    @property
    def length_m(self) -> float:
        """All lines together."""
        return float(shapely.length(self.lines).sum())


def search_lines(
    ground: shapely.Geometry, *, spacing_m: float, bearing_deg: float | None = None
) -> SearchLines:
    """Lines over all of the ground, never farther apart than wished.

    Each piece of ground is split into strips of even width, the fewest that are no wider than
    the spacing, and each strip gets the line through its middle: the first line runs half a
    strip in from the edge. Stubs, shorter than half a spacing, are left out. Ground that is
    missed so (a narrow arm between two lines, the tip of a slanting edge) gets lines of its
    own, along itself; stubs only where nothing longer fits, as on a thin bow.

    Parameters
    ----------
    ground : Geometry
        Polygon or multipolygon, metric; holes are left out.
    spacing_m : float
        Greatest distance between neighbouring lines, metres.
    bearing_deg : float, optional
        Compass bearing of the lines; the one with the fewest lines when not given, and of two
        alike the one nearer to north.

    Raises
    ------
    ValueError
        The spacing is not a length.

    Examples
    --------
    >>> laid = search_lines(shapely.box(0, 0, 100, 60), spacing_m=10)
    >>> len(laid.lines), round(laid.length_m), laid.bearing_deg
    (6, 600, 90.0)
    >>> len(search_lines(shapely.Polygon(), spacing_m=10).lines)
    0
    """
    if not (math.isfinite(spacing_m) and spacing_m > 0):
        raise ValueError(f"a spacing must be a length above 0 m, not {spacing_m}")
    pieces = polygons(ground)
    if not len(pieces):
        return SearchLines(np.empty(0, dtype=object), math.nan, spacing_m)
    bearing = best_bearing(pieces, spacing_m) if bearing_deg is None else bearing_deg % 180.0
    lines = _laid(pieces, spacing_m, bearing, _SHORTEST * spacing_m)
    for shortest in _SHORTEST_OF_ROUND:
        missed = _missed(ground, lines, spacing_m)
        if not len(missed):
            break
        alone = (missed[at : at + 1] for at in range(len(missed)))
        more = (_along_itself(piece, spacing_m, shortest * spacing_m) for piece in alone)
        lines = np.concatenate([lines, *more])
    return SearchLines(lines, bearing, spacing_m)


def polygons(ground: shapely.Geometry) -> Lines:
    """The polygons that a geometry is made of, those with an area."""
    parts = shapely.get_parts(ground)
    nested = shapely.get_parts(parts)
    return nested[(shapely.get_type_id(nested) == 3) & (shapely.area(nested) > 0)]


def best_bearing(pieces: Lines, spacing_m: float) -> float:
    """The compass bearing (0 up to 180) along which the pieces need the fewest lines.

    Tried are the bearings of the edges of the pieces' convex hulls: along one of them the
    widths of all pieces across the lines add up to the least. Of the narrowest few the one
    with the fewest lines is taken, then the narrowest, then the one nearer to north.
    """
    bearings, widths = _widths(pieces)
    few = np.lexsort((bearings, widths))[:_TRIED]
    counts = np.array(
        [len(_laid(pieces, spacing_m, float(one), _SHORTEST * spacing_m)) for one in bearings[few]]
    )
    return float(bearings[few][np.argmin(counts)])


def _widths(pieces: Lines) -> tuple[Floats, Floats]:
    """Bearings along the hulls' edges, and how wide all pieces are across each, to a micrometre."""
    corners, piece = shapely.get_coordinates(shapely.convex_hull(pieces), return_index=True)
    step = np.diff(corners, axis=0)[np.diff(piece) == 0]
    step = step[np.hypot(step[:, 0], step[:, 1]) > _TINY]
    bearings = np.unique(np.round(np.degrees(np.arctan2(step[:, 0], step[:, 1])) % 180.0, 2) % 180)
    if bearings.size > _DIRECTIONS:
        bearings = np.arange(_DIRECTIONS) * (180.0 / _DIRECTIONS)
    corners = corners - corners.mean(axis=0)
    turn = np.radians(bearings)
    across = corners[:, :1] * np.cos(turn) - corners[:, 1:] * np.sin(turn)
    starts = np.flatnonzero(np.diff(piece, prepend=-1))
    width = np.maximum.reduceat(across, starts) - np.minimum.reduceat(across, starts)
    return bearings, np.round(width.sum(axis=0), 6)


def _along_itself(piece: Lines, spacing_m: float, shortest_m: float) -> Lines:
    bearings, widths = _widths(piece)
    return _laid(piece, spacing_m, float(bearings[np.argmin(widths)]), shortest_m)


def _laid(pieces: Lines, spacing_m: float, bearing_deg: float, shortest_m: float) -> Lines:
    """One line through the middle of every strip of every piece, stubs left out."""
    along, across = _axes(bearing_deg)
    origin = shapely.get_coordinates(pieces).mean(axis=0)
    starts, ends, piece = _edges(pieces)
    from_uv = (starts - origin) @ np.stack([along, across], axis=1)
    to_uv = (ends - origin) @ np.stack([along, across], axis=1)
    low = np.full(len(pieces), np.inf)
    high = np.full(len(pieces), -np.inf)
    np.minimum.at(low, piece, from_uv[:, 1])
    np.maximum.at(high, piece, from_uv[:, 1])
    strips = np.maximum(1, np.ceil((high - low) / spacing_m - 1e-6))
    chords, v, owner = _chords(from_uv, to_uv, piece, low, (high - low) / strips)
    keep = _long_enough(chords, owner, len(pieces), shortest_m)
    chords, v = chords[keep], v[keep]
    ends_xy = chords[:, :, None] * along + v[:, None, None] * across + origin
    return np.asarray(shapely.linestrings(ends_xy), dtype=object)


def _axes(bearing_deg: float) -> tuple[Floats, Floats]:
    """Unit vectors along a compass bearing and to the right of it."""
    turn = math.radians(bearing_deg)
    along = np.array([math.sin(turn), math.cos(turn)])
    return along, np.array([along[1], -along[0]])


def _edges(pieces: Lines) -> tuple[Floats, Floats, NDArray[np.intp]]:
    """Every edge of every ring: start, end, and which piece it belongs to."""
    rings, of_piece = shapely.get_rings(pieces, return_index=True)
    corners, ring = shapely.get_coordinates(rings, return_index=True)
    same = np.diff(ring) == 0
    return corners[:-1][same], corners[1:][same], of_piece[ring[:-1][same]]


def _chords(
    start: Floats, end: Floats, piece: NDArray[np.intp], low: Floats, step: Floats
) -> tuple[Floats, Floats, NDArray[np.intp]]:
    """Where the middle line of each strip runs inside its piece.

    Each edge is cut by the lines between its ends (lower end in, upper end out); along one
    line the cuts come in pairs, into the piece and out of it.

    Returns
    -------
    ndarray (chords, 2), ndarray (chords,), ndarray (chords,)
        From and to along the line, where the line lies across, and the piece.
    """
    base, width = low[piece], step[piece]
    bottom = np.minimum(start[:, 1], end[:, 1])
    top = np.maximum(start[:, 1], end[:, 1])
    first = np.ceil((bottom - base) / width - 0.5).astype(np.int64)
    count = np.ceil((top - base) / width - 0.5).astype(np.int64) - first
    edge = np.repeat(np.arange(len(count)), count)
    nth = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    strip = first[edge] + nth
    v = base[edge] + (strip + 0.5) * width[edge]
    share = (v - start[edge, 1]) / (end[edge, 1] - start[edge, 1])
    u = start[edge, 0] + share * (end[edge, 0] - start[edge, 0])
    order = np.lexsort((u, strip, piece[edge]))
    chords = u[order].reshape(-1, 2)
    return chords, v[order][::2], piece[edge][order][::2]


def _long_enough(
    chords: Floats, owner: NDArray[np.intp], size: int, shortest_m: float
) -> NDArray[np.bool_]:
    """Chords that are no stubs; the longest of a piece is kept however short it is."""
    length = chords[:, 1] - chords[:, 0]
    longest = np.zeros(size)
    np.maximum.at(longest, owner, length)
    return (length > _TINY) & (length >= np.minimum(shortest_m, longest[owner]))


def _missed(ground: shapely.Geometry, lines: Lines, spacing_m: float) -> Lines:
    """Pieces of ground that are too far from every line and too big to be let go."""
    near = shapely.union_all(shapely.buffer(lines, _REACH * spacing_m, quad_segs=4))
    left = polygons(shapely.difference(ground, near))
    box = shapely.bounds(left)
    size = np.hypot(box[:, 2] - box[:, 0], box[:, 3] - box[:, 1])
    return left[size >= _SHORTEST * spacing_m]
