"""Search lines joined into one walk from the gate, and its share for each of several walkers."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from fieldmap.hazards.inside import Inside
from fieldmap.hazards.order import short_order

Floats = NDArray[np.float64]

_METRE_PER_KM = 1000.0
_MINUTE_PER_HOUR = 60.0


class Walk(NamedTuple):
    """A walk over search lines, in the lines' metric system.

    ``line`` is the whole walk from the start; ``lines`` the search lines in the order and
    sense they are walked; ``parts`` one way for each walker, from the start. ``crossings``
    counts the stretches that leave the ground because there is no way inside. ``minutes`` is
    the time of the walker who takes longest.
    """

    line: shapely.LineString
    lines: NDArray[np.object_]
    parts: tuple[shapely.LineString, ...]
    start_xy: tuple[float, float]
    length_m: float
    lines_m: float
    joins_m: float
    minutes: float
    crossings: int

    @property
    def crosses_outside(self) -> bool:
        """Whether some of the walk leaves the ground."""
        return self.crossings > 0


def walk(
    lines: NDArray[np.object_],
    *,
    inside: shapely.Geometry,
    walk_kmh: float,
    gate_xy: tuple[float, float] | None = None,
    walkers: int = 1,
) -> Walk:
    """One walk over all lines that starts at the gate and stays inside the ground.

    The order is a short one, not proven the shortest. From line to line it goes straight where
    the ground allows, else the shortest way inside; pieces of ground that cannot be reached
    inside are joined straight, and counted. For several walkers the walk from the first line
    on is cut into stretches of equal length, and each walks to the start of theirs.

    Parameters
    ----------
    lines : ndarray of LineString
        Search lines, within ``inside``.
    inside : Geometry
        Polygon or multipolygon that may be walked on, metric.
    walk_kmh : float
    gate_xy : tuple of float, optional
        Where people come in; the nearest place inside is taken. Without one the walk starts at
        the edge, where it is nearest to the first line.
    walkers : int
        From 1 up.

    Examples
    --------
    >>> field = shapely.box(0, 0, 100, 20)
    >>> rows = shapely.linestrings([[(0, 5), (100, 5)], [(0, 15), (100, 15)]])
    >>> found = walk(rows, inside=field, walk_kmh=4, gate_xy=(0, 0))
    >>> found.lines_m, found.joins_m, round(found.minutes, 1), found.crossings
    (200.0, 15.0, 3.2, 0)
    """
    if not len(lines):
        nothing = shapely.LineString()
        start = (math.nan, math.nan) if gate_xy is None else gate_xy
        return Walk(nothing, lines, (), start, 0.0, 0.0, 0.0, 0.0, 0)
    ground = Inside(inside)
    start = _start(lines, inside, gate_xy)
    ordered = _ordered(lines, ground, start)
    joins, crossings = _joins(ordered, ground, start)
    whole = _strung(ordered, joins)
    parts, more = _parts(whole, len(joins[0]) - 1, ground, walkers)
    lines_m = float(shapely.length(lines).sum())
    longest_m = max(part.length for part in parts)
    return Walk(
        line=whole,
        lines=shapely.linestrings(ordered),
        parts=parts,
        start_xy=start,
        length_m=float(whole.length),
        lines_m=lines_m,
        joins_m=float(whole.length) - lines_m,
        minutes=longest_m / _METRE_PER_KM / walk_kmh * _MINUTE_PER_HOUR,
        crossings=crossings + more,
    )


def _start(
    lines: NDArray[np.object_], inside: shapely.Geometry, gate_xy: tuple[float, float] | None
) -> tuple[float, float]:
    if gate_xy is None:
        near = shapely.shortest_line(shapely.boundary(inside), lines[0])
    elif shapely.intersects_xy(inside, *gate_xy):
        return float(gate_xy[0]), float(gate_xy[1])
    else:
        near = shapely.shortest_line(inside, shapely.Point(gate_xy))
    x, y = shapely.get_coordinates(near)[0]
    return float(x), float(y)


def _ordered(lines: NDArray[np.object_], ground: Inside, start: tuple[float, float]) -> Floats:
    """Both ends of each line in walking order, shape (lines, 2, 2)."""
    ends = shapely.get_coordinates(lines).reshape(-1, 2, 2)
    far_m = float(np.hypot(*np.ptp(ends.reshape(-1, 2), axis=0)))
    piece = ground.piece_of(ends.mean(axis=1))
    found = short_order(ends, start, ground=piece, apart_m=far_m)
    ordered = ends[found.rows]
    ordered[found.turned] = ordered[found.turned, ::-1]
    return ordered


def _joins(ordered: Floats, ground: Inside, start: tuple[float, float]) -> tuple[list[Floats], int]:
    """The way into each line, and how many of the ways leave the ground."""
    from_xy = np.concatenate([[start], ordered[:-1, 1]])
    into_xy = ordered[:, 0]
    ways = list(np.stack([from_xy, into_xy], axis=1))
    crossings = 0
    for at in np.flatnonzero(~ground.straight(from_xy, into_xy)):
        way = ground.way(tuple(from_xy[at]), tuple(into_xy[at]))
        crossings += way is None
        ways[at] = ways[at] if way is None else way
    return ways, crossings


def _strung(ordered: Floats, joins: list[Floats]) -> shapely.LineString:
    """Ways and lines on one string; each join ends where its line starts."""
    bits = [bit for join, line in zip(joins, ordered, strict=True) for bit in (join, line[1:])]
    return shapely.LineString(np.concatenate([bits[0], *_tails(bits[1:])]))


def _tails(bits: list[Floats]) -> list[Floats]:
    """Every second bit is a join, whose first place stands there already."""
    return [bit if at % 2 == 0 else bit[1:] for at, bit in enumerate(bits)]


def _parts(
    whole: shapely.LineString, approach: int, ground: Inside, walkers: int
) -> tuple[tuple[shapely.LineString, ...], int]:
    """The walk cut for several walkers, each with the way to it; and ways that leave the ground."""
    if walkers == 1:
        return (whole,), 0
    places = shapely.get_coordinates(whole)
    come, search = places[: approach + 1], places[approach:]
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(search, axis=0).T))])
    cuts = np.linspace(0.0, run[-1], walkers + 1)
    cut_xy = np.stack([np.interp(cuts, run, search[:, axis]) for axis in (0, 1)], axis=1)
    parts, crossings = [], 0
    for low, high, one, two in zip(cuts[:-1], cuts[1:], cut_xy[:-1], cut_xy[1:], strict=True):
        between = search[(run > low) & (run < high)]
        way = come if low == 0 else ground.way(tuple(places[0]), tuple(one))
        crossings += way is None
        way = np.stack([places[0], one]) if way is None else way
        parts.append(shapely.LineString(np.concatenate([way, between, [two]])))
    return tuple(parts), crossings
