"""How roads turn: the heading at both ends of every leg, and the sharpest bend inside."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numba
import numpy as np
import shapely
from numpy.typing import NDArray

from fieldmap.network import RoadData
from fieldmap.roads.turns import TurnNet
from fieldmap.roads.verdict import Floats

Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Rows:
    """The rows of ``TurnNet.follow``: state and directed leg before, directed leg after.

    And the change of heading in degrees, to the right positive.
    """

    state: Ints
    before: Ints
    after: Ints
    deflection_deg: Floats


@dataclass(frozen=True, eq=False)
class Bends:
    """The sharpest bend inside each leg.

    Its change of heading (degrees, to the right of the line positive) and how far along the
    line its middle lies (m). ``kink_deg`` is the most that the leg turns as in one corner,
    ``radius_m`` the least radius of what is spread over more, infinite where nothing is.
    """

    deflection_deg: Floats
    at_m: Floats
    kink_deg: Floats
    radius_m: Floats


def turned_deg(before_deg: Floats, after_deg: Floats) -> Floats:
    """From one bearing to another, to the right positive, in degrees from -180 to 180.

    Examples
    --------
    >>> turned_deg(np.array([350.0, 10.0, 0.0]), np.array([10.0, 350.0, 180.0]))
    array([  20.,  -20., -180.])
    >>> turned_deg(np.array([np.nan]), np.array([0.0]))
    array([nan])
    """
    return (after_deg - before_deg + 180.0) % 360.0 - 180.0


def leg_bearings(data: RoadData, chord_m: float) -> tuple[Floats, Floats]:
    """Bearings at the beginning and at the end of every directed leg (degrees).

    Read over the first and last ``chord_m`` of the line, or over the whole of a shorter one;
    NaN where that has no length.
    """
    points, start = _points(data)
    out, into = np.degrees(_chords(points, start, chord_m)) % 360.0
    begin = np.column_stack([out, (into + 180.0) % 360.0]).ravel()
    end = np.column_stack([into, (out + 180.0) % 360.0]).ravel()
    return begin, end


def _points(data: RoadData) -> tuple[Floats, Ints]:
    """The points of all lines, and where each line begins among them."""
    lines = data.edges.geometry.to_numpy()
    points, leg = shapely.get_coordinates(lines, return_index=True)
    return points, np.searchsorted(leg, np.arange(len(lines) + 1)).astype(np.int64)


def rows_of(data: RoadData, net: TurnNet, chord_m: float) -> Rows:
    """Every row of ``net.follow`` as a corner."""
    begin, end = leg_bearings(data, chord_m)
    states = np.repeat(np.arange(len(net.leg_of)), np.diff(net.start))
    before, after = net.leg_of[states], net.leg_of[net.follow]
    return Rows(states, before, after, turned_deg(end[before], begin[after]))


def leg_bends(data: RoadData, window_m: float, kink_m: float) -> Bends:
    """The sharpest bend of every leg within ``window_m`` of its line.

    What lies within ``kink_m`` is one corner. The radius is the length over the angle; it
    comes out too small, by half where a line has two vertices, by less where it has more.

    Examples
    --------
    A leg of two points has none:

    >>> import geopandas as gpd
    >>> lines = gpd.GeoSeries.from_wkt(["LINESTRING (0 0, 9 0)", "LINESTRING (0 0, 9 0, 9 9)"])
    >>> edges = gpd.GeoDataFrame(geometry=lines)
    >>> leg_bends(RoadData(edges, None, None, None, ""), 20.0, 6.0).deflection_deg
    array([ 0., -90.])
    """
    points, start = _points(data)
    deflection, at, kink, radius = _bends(points, start, window_m, kink_m)
    return Bends(np.degrees(deflection), at, np.degrees(kink), radius)


@numba.njit(cache=True, nogil=True)
def _chords(points, start, chord):  # type: ignore[no-untyped-def]
    """Bearings of the first and the last stretch of every line (radians); NaN without length."""
    found = np.empty((2, len(start) - 1))
    for leg in range(len(start) - 1):
        line = points[start[leg] : start[leg + 1]]
        found[0, leg] = _chord(line, chord)
        found[1, leg] = _chord(line[::-1], chord) + math.pi
    return found


@numba.njit(cache=True, nogil=True)
def _chord(line, chord):  # type: ignore[no-untyped-def]
    """Bearing from the first point to the one so far along the line, or to its end."""
    left, east, north = chord, 0.0, 0.0
    for row in range(1, len(line)):
        step_x, step_y = line[row, 0] - line[row - 1, 0], line[row, 1] - line[row - 1, 1]
        step = math.hypot(step_x, step_y)
        share = 1.0 if step <= left else left / step
        east, north, left = east + share * step_x, north + share * step_y, left - share * step
        if left <= 0.0:
            break
    return math.atan2(east, north) if east != 0.0 or north != 0.0 else math.nan


@numba.njit(cache=True, nogil=True)
def _bends(points, start, window, kink):  # type: ignore[no-untyped-def]
    """The greatest sum of angles at vertices that lie within a window of each other."""
    legs = len(start) - 1
    sharpest, middle = np.zeros(legs), np.zeros(legs)
    kinked, radius = np.zeros(legs), np.full(legs, np.inf)
    for leg in range(legs):
        along, angle = _angles(points[start[leg] : start[leg + 1]])
        for first in range(len(angle)):
            total = 0.0
            for last in range(first, len(angle)):
                if along[last] - along[first] > window:
                    break
                total += angle[last]
                spread = along[last] - along[first]
                if spread <= kink:
                    kinked[leg] = max(kinked[leg], abs(total))
                elif total != 0.0:
                    radius[leg] = min(radius[leg], spread / abs(total))
                if abs(total) > abs(sharpest[leg]):
                    sharpest[leg] = total
                    middle[leg] = 0.5 * (along[first] + along[last])
    return sharpest, middle, kinked, radius


@numba.njit(cache=True, nogil=True)
def _angles(line):  # type: ignore[no-untyped-def]
    """How far along each inner vertex lies, and its change of heading to the right (radians)."""
    count = len(line)
    along, angle = np.zeros(max(0, count - 2)), np.zeros(max(0, count - 2))
    metres, before, known, kept = 0.0, 0.0, False, 0
    for row in range(1, count):
        east, north = line[row, 0] - line[row - 1, 0], line[row, 1] - line[row - 1, 1]
        step = math.hypot(east, north)
        if step == 0.0:
            continue
        bearing = math.atan2(east, north)
        if known:
            turn = bearing - before
            along[kept] = metres
            angle[kept] = math.atan2(math.sin(turn), math.cos(turn))
            kept += 1
        metres += step
        before, known = bearing, True
    return along[:kept], angle[:kept]
