"""How long and near points were looked at from walked lines: one compiled pass over the walks."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

REACH_SPREADS = 5.0  # spreads from a walked line beyond which nothing is reckoned to be seen
_SURE = 6.5  # spreads from which the normal law is 1 for this purpose
_A_SPREAD = 64  # steps of the table of erf in a spread
_AT = np.arange(int(_SURE * _A_SPREAD) + 1) / _A_SPREAD
_ERF = np.array([math.erf(z / math.sqrt(2.0)) for z in _AT])
_RISE = math.sqrt(2.0 / math.pi) * np.exp(-0.5 * _AT**2) / _A_SPREAD  # of erf, for a step


def exposure(
    points_xy: NDArray[np.float64],
    segments: NDArray[np.float64],
    *,
    spread_m: float,
    strength: float,
) -> NDArray[np.float64]:
    """How long and near each point was looked at: the sum over all walked segments.

    Parameters
    ----------
    points_xy : ndarray, shape (points, 2)
        Metres.
    segments : ndarray, shape (segments, 4)
        From x, y to x, y, metres; one without length adds nothing.
    spread_m : float
        Spread s of the curve; 0 sees nothing.
    strength : float
        Exposure H0 on an endless line.

    Returns
    -------
    ndarray, shape (points,)
        Exposure H; the chance is 1 - exp(-H), so that looks multiply.

    Notes
    -----
    A segment adds H0 exp(-d^2 / 2 s^2) (Phi(t2 / s) - Phi(t1 / s)): d from the segment's line,
    t1 to t2 along it as seen from the point. Farther than five spreads nothing is added. Points
    are binned, so that the cost goes with the length walked.

    Examples
    --------
    On an endless line, and three spreads beside it:

    >>> line = np.array([[-100.0, 0.0, 100.0, 0.0]])
    >>> exposure(np.array([[0.0, 0.0], [0.0, 3.0]]), line, spread_m=1.0, strength=2.0).round(4)
    array([2.    , 0.0222])
    >>> exposure(np.zeros((0, 2)), line, spread_m=1.0, strength=2.0)
    array([], dtype=float64)
    """
    points = np.asarray(points_xy, dtype=np.float64)
    walked = np.ascontiguousarray(segments, dtype=np.float64)
    out = np.zeros(len(points))
    if len(points) == 0 or len(walked) == 0 or not spread_m > 0.0:
        return out
    corner = np.array([points[:, 0].min(), points[:, 1].min()])
    spans = np.array([points[:, 0].max(), points[:, 1].max()]) - corner
    side = max(
        spread_m,
        math.sqrt(float(spans[0] * spans[1]) / len(points)),
        float(spans.sum()) / len(points),
    )
    columns, rows = (int(span // side) + 1 for span in spans)
    local = points - corner
    starts, order = _binned(local, side, rows, columns)
    bins = (starts, rows, columns, side)
    _add_up(local[order], order, bins, walked - np.tile(corner, 2), spread_m, strength, out)
    return out


@njit(cache=True)
def _binned(
    local: NDArray[np.float64], side: float, rows: int, columns: int
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Where each bin's points start, row by row, and the points in that order."""
    count = len(local)
    bins = np.empty(count, np.int64)
    starts = np.zeros(rows * columns + 1, np.int64)
    for i in range(count):
        bins[i] = int(local[i, 1] // side) * columns + int(local[i, 0] // side)
        starts[bins[i] + 1] += 1
    starts = np.cumsum(starts)
    free = starts[:-1].copy()
    order = np.empty(count, np.int64)
    for i in range(count):
        order[free[bins[i]]] = i
        free[bins[i]] += 1
    return starts, order


@njit(cache=True)
def _add_up(
    local: NDArray[np.float64],
    order: NDArray[np.int64],
    bins: tuple[NDArray[np.int64], int, int, float],
    walked: NDArray[np.float64],
    spread: float,
    strength: float,
    out: NDArray[np.float64],
) -> None:
    """Every segment to the points of the bins that it comes near."""
    starts, rows, columns, side = bins
    reach = REACH_SPREADS * spread
    for k in range(len(walked)):
        line = walked[k]
        if line[0] == line[2] and line[1] == line[3]:
            continue
        first = max(0, int((min(line[1], line[3]) - reach) // side))
        last = min(rows - 1, int((max(line[1], line[3]) + reach) // side))
        for row in range(first, last + 1):
            west, east = _stretch(line, row * side - reach, (row + 1) * side + reach)
            left = max(0, int((west - reach) // side))
            right = min(columns - 1, int((east + reach) // side))
            if left <= right:
                begin, end = starts[row * columns + left], starts[row * columns + right + 1]
                _add_one(local[begin:end], order[begin:end], line, spread, strength, out)


@njit(cache=True)
def _stretch(line: NDArray[np.float64], south: float, north: float) -> tuple[float, float]:
    """West and east end of the part of a segment that lies between two latitudes."""
    x1, y1, x2, y2 = line[0], line[1], line[2], line[3]
    if y1 == y2:
        return min(x1, x2), max(x1, x2)
    one = min(max((south - y1) / (y2 - y1), 0.0), 1.0)
    other = min(max((north - y1) / (y2 - y1), 0.0), 1.0)
    a, b = x1 + one * (x2 - x1), x1 + other * (x2 - x1)
    return min(a, b), max(a, b)


@njit(cache=True)
def _add_one(
    local: NDArray[np.float64],
    order: NDArray[np.int64],
    line: NDArray[np.float64],
    spread: float,
    strength: float,
    out: NDArray[np.float64],
) -> None:
    """One segment to a run of points."""
    x1, y1 = line[0], line[1]
    length = math.hypot(line[2] - x1, line[3] - y1)
    east, north = (line[2] - x1) / length, (line[3] - y1) / length
    for i in range(len(local)):
        dx, dy = local[i, 0] - x1, local[i, 1] - y1
        aside = (east * dy - north * dx) / spread
        begins = -(east * dx + north * dy) / spread
        ends = begins + length / spread
        beyond = max(begins, -ends, 0.0)
        if aside * aside + beyond * beyond > REACH_SPREADS * REACH_SPREADS:
            continue
        share = 0.5 * (_error(ends) - _error(begins))
        out[order[i]] += strength * math.exp(-0.5 * aside * aside) * share


@njit(cache=True)
def _error(spreads: float) -> float:
    """erf(z / root 2), which is Phi(z) - Phi(-z), out of a table: cubic, right to 1e-9."""
    at = abs(spreads) * _A_SPREAD
    step = int(at)
    if step >= len(_ERF) - 1:
        return 1.0 if spreads > 0.0 else -1.0
    f = at - step
    low, high = _ERF[step], _ERF[step + 1]
    held = low + f * f * (3.0 - 2.0 * f) * (high - low)
    held += f * (1.0 - f) * ((1.0 - f) * _RISE[step] - f * _RISE[step + 1])
    return held if spreads > 0.0 else -held
