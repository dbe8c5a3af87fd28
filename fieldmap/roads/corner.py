"""How wide two roads must be for a train to get round the corner between them.

A corner is two straight roads. The inner kerb is their corner of land, sharp or rounded; the
outer edge is the far edges of both roads, cut off where they meet. Places are told by two
distances: ``a`` from the line of the road in, ``c`` from the line of the road out, both
counted outwards (on a turn to the right, to the left). Shifting a path sideways adds to them.

The lines tried are straight, one arc, straight: every radius from the tightest up, at every
offset, over the whole width of both roads. For each, the kerb says how far out it must run, and
the farthest points of the swept area how wide the roads must then be.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import NamedTuple

import numba
import numpy as np

from fieldmap.roads.swept import side_points
from fieldmap.roads.tractrix import corner_path, driven
from fieldmap.roads.train import Train
from fieldmap.roads.verdict import Floats

#: Corners are reckoned for these changes of heading (degrees), those between by the next one.
STEP_DEG = 5.0
#: Roads wider than this count as this wide (m).
WIDEST_M = 32.0
_RADII_M = (4.0, 5.5, 7.5, 10.0, 14.0, 20.0, 30.0, 50.0, 80.0)  # lines tried beside the tightest
_GRID_M = 0.05  # of the distance from the line of the road in
_SHIFT_M = 0.1  # from one offset that is tried to the next
_PATH_M = 0.2
_SIDE_M = 0.5
_FARTHEST_M = 30.0  # no line but the tightest cuts a corner by more than this
_MOST_M = 42.0  # lines are tried at least this far out beyond the least they must
_SETTLED_M = 0.05  # a train this near its straight line has come onto it
DIFFERENCE_M = np.round(np.arange(-WIDEST_M, WIDEST_M + 0.05, 0.1), 1)
_LEVEL = len(DIFFERENCE_M) // 2  # the entry of two roads of one width


class Kerb(NamedTuple):
    """Radius of the inner kerb (m), and how far out the outer edges are cut off.

    ``cut`` is in widths of the wider road, from the corner of land to the cut across the
    corner's middle: 1 is a bend of even width, infinity no cut.
    """

    radius_m: float
    cut: float


class Line(NamedTuple):
    """A line that a driver may take: its arc (m), and how far outside the land's corner (m)."""

    radius_m: float
    in_m: float
    out_m: float


@dataclass(frozen=True, eq=False)
class Needs:
    """Least widths for every change of heading, kerb and difference of the two widths.

    ``least_m[d, k, j]`` is how wide the road in must be (m) where the road out is wider by
    ``DIFFERENCE_M[j]``, with the clearance on both sides; infinite where nothing is wide enough.
    """

    deflection_deg: Floats
    least_m: Floats

    def need(self, deflection: int, kerb: int) -> float:
        """Width that both roads must have (m)."""
        return float(self.least_m[deflection, kerb, _LEVEL])


def deflections(sharpest_deg: float) -> Floats:
    """The changes of heading that corners are reckoned for (degrees)."""
    return np.arange(STEP_DEG, sharpest_deg + 0.5 * STEP_DEG, STEP_DEG)


@functools.lru_cache(maxsize=16)
def needs(
    train: Train,
    kerbs: tuple[Kerb, ...],
    *,
    clear_m: float,
    sharpest_deg: float,
    careful: bool,
) -> Needs:
    """Reckon a train round all corners.

    Parameters
    ----------
    train : Train
    kerbs : tuple of Kerb
    clear_m : float
        Kept free at each side.
    sharpest_deg : float
        The sharpest corner that is reckoned.
    careful : bool
        Whether a sharper corner counts at least as much as a less sharp one; else a less sharp
        one at most as much as a sharper one.

    Returns
    -------
    Needs
        The same object for the same figures.
    """
    turns = deflections(sharpest_deg)
    least = np.array([_least(train, turn, kerbs, clear_m) for turn in turns])
    if careful:
        least = np.maximum.accumulate(least, axis=0)
    else:
        least = np.minimum.accumulate(least[::-1], axis=0)[::-1]
    least.setflags(write=False)
    return Needs(turns, least)


def _least(train: Train, deflection_deg: float, kerbs: tuple[Kerb, ...], clear_m: float) -> Floats:
    made = np.full((len(kerbs), len(DIFFERENCE_M)), np.inf)
    for radius in radii(train, deflection_deg):
        a, c = swept_by(train, deflection_deg, radius)
        for row, kerb in enumerate(kerbs):
            _least_widths(
                a, c, math.radians(deflection_deg), kerb.radius_m, kerb.cut, clear_m, made[row]
            )
    return made


def radii(train: Train, deflection_deg: float) -> list[float]:
    """Radii of the lines tried (m): the tightest, and wider ones that do not cut too far in."""
    beyond = 1.0 / math.cos(math.radians(deflection_deg) / 2.0) - 1.0
    wide = (one for one in _RADII_M if one > 1.1 * train.radius_m)
    return [train.radius_m, *(one for one in wide if one * beyond <= _FARTHEST_M)]


def swept_by(train: Train, deflection_deg: float, radius_m: float) -> tuple[Floats, Floats]:
    """Distances outwards of all swept points from the lines of the path; one row a pose."""
    settle = 4.0 * train.reach_m() + 1.0
    path = corner_path(
        deflection_deg, max(radius_m, _PATH_M), run_in_m=1.0, run_out_m=settle, step_m=_PATH_M
    )
    points = side_points(driven(train, path), train.bodies, spacing_m=_SIDE_M)
    turn = math.radians(deflection_deg)
    return -points[..., 0], points[..., 1] * math.sin(turn) - points[..., 0] * math.cos(turn)


def best_line(
    train: Train,
    deflection_deg: float,
    kerb: Kerb,
    *,
    widths_m: tuple[float, float],
    clear_m: float,
) -> Line:
    """The line that leaves most room in a corner between roads of these widths (m)."""
    turn, found = math.radians(deflection_deg), []
    for radius in radii(train, deflection_deg):
        a, c = swept_by(train, deflection_deg, radius)
        least, shift_in, shift_out = _least_width(
            a, c, turn, kerb.radius_m, kerb.cut, clear_m, widths_m[1] - widths_m[0]
        )
        found.append((least, Line(radius, shift_in + clear_m, shift_out + clear_m)))
    return min(found)[1]


@numba.njit(cache=True, nogil=True)
def _land(a, turn, radius):  # type: ignore[no-untyped-def]
    """How far ``c`` the land reaches at a distance ``a`` inside the edge of the road in."""
    if a >= 0.0:
        return -np.inf
    along = a + radius
    if along <= radius * math.cos(turn):
        return 0.0
    half_chord = math.sqrt(max(0.0, radius * radius - along * along))
    return along * math.cos(turn) + math.sin(turn) * half_chord - radius


@numba.njit(cache=True, nogil=True)
def _inner(a, c, lowest, cells):  # type: ignore[no-untyped-def]
    """The least ``c`` of the points in each cell of ``a``; the first cell takes all below."""
    inner = np.full(cells, np.inf)
    for row in range(a.shape[0]):
        for column in range(a.shape[1]):
            cell = max(0, math.floor((a[row, column] - lowest) / _GRID_M))
            if cell < cells:
                inner[cell] = min(inner[cell], c[row, column])
    return inner


@numba.njit(cache=True, nogil=True)
def _farthest(a, c, first, last):  # type: ignore[no-untyped-def]
    """The shift with which all that cuts in is off the land: running farther out gains nothing."""
    most = first
    for row in range(a.shape[0]):
        for column in range(a.shape[1]):
            if c[row, column] + last < -_SETTLED_M:
                most = max(most, -a[row, column])
    return most


@numba.njit(cache=True, nogil=True)
def _shifts(a, c, turn, radius):  # type: ignore[no-untyped-def]
    """Shifts outwards from the road in and the least ones from the road out that keep off land."""
    first = -np.min(a[0])
    last = -np.min(c[-1])
    most = max(first + _MOST_M, _farthest(a, c, first, last) + _SHIFT_M)
    round_m = radius * (1.0 - math.cos(turn))
    lowest = -math.ceil((most + round_m) / _GRID_M + 2.0) * _GRID_M
    cells = int((-first - lowest) / _GRID_M) + 2
    inner = _inner(a, c, lowest, cells)
    below = inner.copy()
    for cell in range(1, cells):
        below[cell] = min(below[cell - 1], inner[cell])
    begin = math.ceil(first / _SHIFT_M)
    count = int(most / _SHIFT_M) - begin + 1
    shift_in = _SHIFT_M * (begin + np.arange(count))
    shift_out = np.empty(count)
    for row in range(count):
        straight = math.floor((-round_m - shift_in[row] - lowest) / _GRID_M)
        held = max(last, -below[min(max(straight, 0), cells - 1)])
        for cell in range(max(straight, 0) + 1, cells):
            at = lowest + cell * _GRID_M + shift_in[row]
            if at >= 0.0:
                break
            held = max(held, _land(at, turn, radius) - inner[cell])
        shift_out[row] = held
        if held == last:  # farther out in the road in gains nothing any more
            return shift_in[: row + 1], shift_out[: row + 1]
    return shift_in, shift_out


@numba.njit(cache=True, nogil=True)
def _least_width(a, c, turn, kerb, cut, clear, difference):  # type: ignore[no-untyped-def]
    """Least width of the road in for one difference, and the shifts that give it."""
    made = np.full(1, np.inf)
    best = (0.0, 0.0)
    shift_in, shift_out = _shifts(a, c, turn, kerb + clear)
    reach = (np.max(a), np.max(c), np.max(a + c))
    for row in range(len(shift_in)):
        width = _width(reach, shift_in[row], shift_out[row], turn, cut, clear, difference)
        if width < made[0]:
            made[0] = width
            best = (shift_in[row], shift_out[row])
    return made[0], best[0], best[1]


@numba.njit(cache=True, nogil=True)
def _width(reach, shift_in, shift_out, turn, cut, clear, difference):  # type: ignore[no-untyped-def]
    width = max(reach[0] + shift_in, reach[1] + shift_out - difference) + 2.0 * clear
    half = 1.0 / math.cos(turn / 2.0)
    middle = 0.5 * half * (reach[2] + shift_in + shift_out) + clear * (1.0 + half)
    return max(width, middle / cut - max(0.0, difference))


@numba.njit(cache=True, nogil=True)
def _least_widths(a, c, turn, kerb, cut, clear, made):  # type: ignore[no-untyped-def]
    """Lower ``made`` (one entry a difference of widths) to what this path needs."""
    shift_in, shift_out = _shifts(a, c, turn, kerb + clear)
    reach = (np.max(a), np.max(c), np.max(a + c))
    for row in range(len(shift_in)):
        if reach[0] + shift_in[row] + 2.0 * clear > made[0]:
            break
        for entry in range(len(made)):
            width = _width(
                reach,
                shift_in[row],
                shift_out[row],
                turn,
                cut,
                clear,
                (entry - (len(made) - 1) // 2) * 0.1,
            )
            made[entry] = min(made[entry], width)
