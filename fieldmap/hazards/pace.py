"""What of a track was walked: neither driven, nor stood still, nor recorded without its times.

Nobody looks at the ground from a seat at road speed, and a device that lies still draws lines of
its own. Where nobody can tell how fast a step was, it does not count as a look either.
"""

from __future__ import annotations

from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from numba import njit
from numpy.typing import NDArray

_KMH = 3.6  # km/h in a metre a second

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]


class Paced(NamedTuple):
    """The walked pieces of tracks, and how much of each track is no look, shape (tracks,), m.

    ``fast_m`` went faster than somebody who looks; of ``untold_m`` nobody knows how fast.
    """

    tracks: gpd.GeoDataFrame
    fast_m: Floats
    untold_m: Floats


def paced(
    tracks: gpd.GeoDataFrame, *, fastest_kmh: float, standing_m: float, standing_s: float
) -> Paced:
    """Tracks cut down to what somebody walked who may have looked.

    Parameters
    ----------
    tracks : GeoDataFrame
        Lines in a metric system; column ``seconds``: for each line an array of the time of each
        of its points, seconds from any zero, NaN where the device wrote none.
    fastest_kmh : float
        Steps faster than this are left out. So are those without a time at both ends, and those
        that run backwards in time: their speed cannot be told.
    standing_m, standing_s : float
        The 95 % radius of a position, and a time. Two fixes of one place lie up to twice the
        radius apart; points that stay so near to the first of them for ``standing_s`` seconds
        or more are one place where somebody stood. They count as the one straight way from the
        first to the last of them; of two such places in turn nearer than ``standing_m`` to each
        other the second counts for nothing. Who searches a patch no larger than that to and fro
        cannot be told from a device that lies still: it counts less, never more.

    Returns
    -------
    Paced
        Pieces with the other columns of their track, in the order they were walked.

    Examples
    --------
    A metre a second is 3.6 km/h, ten are 36; of the last step nobody knows:

    >>> line = shapely.LineString([(0, 0), (20, 0), (40, 0), (240, 0), (260, 0), (270, 0)])
    >>> times = np.array([0.0, 20.0, 40.0, 60.0, 80.0, np.nan])
    >>> table = gpd.GeoDataFrame({"seconds": [times]}, geometry=[line], crs=32615)
    >>> found = paced(table, fastest_kmh=12, standing_m=5, standing_s=60)
    >>> found.tracks.geometry.to_wkt().tolist()
    ['LINESTRING (0 0, 20 0, 40 0)', 'LINESTRING (240 0, 260 0)']
    >>> found.fast_m.tolist(), found.untold_m.tolist()
    ([200.0], [10.0])
    >>> len(paced(table[:0], fastest_kmh=12, standing_m=5, standing_s=60).tracks)
    0
    """
    fixes, line = shapely.get_coordinates(tracks.geometry.to_numpy(), return_index=True)
    times = np.concatenate([np.empty(0), *tracks["seconds"]]).astype(float)
    joined = np.append(line[:-1] == line[1:], False)[: len(line)]
    lengths = np.append(np.hypot(*np.diff(fixes, axis=0).T), 0.0)[: len(line)] * joined
    speed = _speeds(times, line, lengths) * _KMH
    with np.errstate(invalid="ignore"):
        fast, slow = joined & (speed > fastest_kmh), joined & (speed <= fastest_kmh)
    stood, starts, ends = _standing(fixes, times, line, standing_m, standing_s)
    steps = np.flatnonzero(slow & ~stood)
    begin = np.concatenate([steps, starts])
    order = np.argsort(begin, kind="stable")
    begin, end = begin[order], np.concatenate([steps + 1, ends])[order]
    size = len(tracks)
    return Paced(
        _pieces(tracks, fixes, line, begin, end),
        _summed(line, lengths * (fast & ~stood), size),
        _summed(line, lengths * (joined & ~fast & ~slow & ~stood), size),
    )


def _summed(line: Rows, lengths: Floats, size: int) -> Floats:
    return np.bincount(line, weights=lengths, minlength=size).astype(float)


def _speeds(times: Floats, line: Rows, lengths: Floats) -> Floats:
    """Metres a second of the step behind each fix, NaN where it cannot be told.

    Fixes of one time, as a device writes that rounds to seconds, share one speed: the way from
    the first of them to the first of the next time. Where a fix without a time comes before
    them it may have been one of them, so that their speed cannot be told.
    """
    out = np.full(len(times), np.nan)
    if len(times) < 2:
        return out
    fresh = np.append(True, (times[1:] != times[:-1]) | (line[1:] != line[:-1]))
    first = np.flatnonzero(fresh)
    way_m = np.add.reduceat(lengths, first)
    taken_s = np.append(times[first[1:]] - times[first[:-1]], np.nan)
    told = np.append(line[first[1:]] == line[first[:-1]], False) & (taken_s > 0)
    told[1:] &= ~(np.isnan(times[first[1:] - 1]) & (line[first[1:]] == line[first[1:] - 1]))
    held = np.full(len(first), np.nan)
    with np.errstate(over="ignore"):  # next to no time: endlessly fast
        held[told] = way_m[told] / taken_s[told]
    out[:] = held[np.cumsum(fresh) - 1]
    return out


def _pieces(
    tracks: gpd.GeoDataFrame, fixes: Floats, line: Rows, begin: Rows, end: Rows
) -> gpd.GeoDataFrame:
    """Lines of the steps that hang together, each with the columns of its track."""
    fresh = np.append(True, begin[1:] != end[:-1])[: len(begin)]
    number = np.cumsum(fresh) - 1
    rows = np.concatenate([begin[fresh], end])
    piece = np.concatenate([number[fresh], number])
    order = np.argsort(piece, kind="stable")
    shapes = shapely.linestrings(fixes[rows[order]], indices=piece[order]) if len(rows) else []
    held = tracks.drop(columns=["seconds", tracks.geometry.name]).iloc[line[begin[fresh]]]
    return gpd.GeoDataFrame(held.reset_index(drop=True), geometry=list(shapes), crs=tracks.crs)


@njit(cache=True)
def _apart(fixes: Floats, one: int, other: int) -> float:
    return float(np.hypot(fixes[one, 0] - fixes[other, 0], fixes[one, 1] - fixes[other, 1]))


@njit(cache=True)
def _standing(
    fixes: Floats, times: Floats, line: Rows, radius_m: float, least_s: float
) -> tuple[NDArray[np.bool_], Rows, Rows]:
    """Steps taken while standing; first and last fix of each place that counts once."""
    count = len(times)
    stood = np.zeros(count, np.bool_)
    starts, ends = np.empty(count, np.int64), np.empty(count, np.int64)
    places = 0
    last_x, last_y, last_line = np.nan, np.nan, -1
    first = 0
    while first < count:
        end = first
        while (
            end + 1 < count
            and line[end + 1] == line[first]
            and times[end + 1] >= times[end]
            and _apart(fixes, end + 1, first) <= 2.0 * radius_m
        ):
            end += 1
        if end == first or not times[end] - times[first] >= least_s:
            first += 1
            continue
        stood[first:end] = True
        x, y = fixes[first : end + 1, 0].mean(), fixes[first : end + 1, 1].mean()
        again = last_line == line[first] and np.hypot(x - last_x, y - last_y) < radius_m
        if not again:
            starts[places], ends[places] = first, end
            places += 1
            last_x, last_y, last_line = x, y, line[first]
        first = end
    return stood, starts[:places], ends[:places]
