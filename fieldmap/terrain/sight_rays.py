"""Rays over a raster of heights, many at once: the moving part of seeing ahead."""

from __future__ import annotations

import functools
import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

STRETCH = 1024  # cells of a row worked on at once: their state stays in the nearest cache
_SAME = 9  # decimals of a cell: rounding of sine and cosine is not a distance
_LOOK = 4  # steps between looks whether any ray of a stretch is still open


class Ray(NamedTuple):
    """One heading in steps: the cells round each point, its place between them, its distance.

    ``offsets`` holds upper and lower row, left and right column, and row and column of the
    nearest cell, counted from the cell where the ray starts; ``shares`` how far down and right
    of the upper left one the point lies.
    """

    offsets: NDArray[np.int64]  # (steps, 6)
    shares: NDArray[np.float32]  # (steps, 2)
    metres: NDArray[np.float32]  # (steps,)


def ray(
    cells: NDArray[np.float64], heading_deg: float, shape: tuple[int, int], range_m: float
) -> Ray:
    """Points along a heading from a cell's middle: every step one cell's shorter side.

    Parameters
    ----------
    cells : ndarray, shape (2, 2)
        Metres east (row 0) and north (row 1) that one cell to the right and one cell down make.
    heading_deg : float
        Compass degrees.
    shape : (int, int)
        Rows and columns of the raster: steps that have left it from everywhere are left out.
    range_m : float
        The last step reaches it.

    Examples
    --------
    Cells of 10 m, to the north-east:

    >>> found = ray(np.array([[10.0, 0.0], [0.0, -10.0]]), 45.0, (9, 9), 20.0)
    >>> found.metres, found.offsets[0]
    (array([10., 20.], dtype=float32), array([-1,  0,  0,  1, -1,  1]))
    """
    step_m, rows, columns = _step(cells.tobytes(), heading_deg)
    most = math.ceil(round(range_m / step_m, _SAME))
    for moved, count in ((abs(rows), shape[0]), (abs(columns), shape[1])):
        if moved * most > count:  # from there on every ray has left the raster
            most = math.ceil(count / moved)
    return _points(step_m, rows, columns, most)


@functools.lru_cache(maxsize=1024)
def _step(cells: bytes, heading_deg: float) -> tuple[float, float, float]:
    """Metres of a step, and the cells down and to the right that it makes."""
    held = np.frombuffer(cells, np.float64).reshape(2, 2)
    step_m = float(np.sqrt((held**2).sum(axis=0)).min())
    bearing = math.radians(heading_deg)
    ahead = np.linalg.solve(held, step_m * np.array([math.sin(bearing), math.cos(bearing)]))
    columns, rows = (float(part) for part in ahead)
    return step_m, rows, columns


@functools.lru_cache(maxsize=1024)
def _points(step_m: float, rows: float, columns: float, most: int) -> Ray:
    """So many steps; fields on the same cells look along the same rays."""
    steps = np.arange(1, most + 1)
    down, right = np.round(steps * rows, _SAME), np.round(steps * columns, _SAME)
    # floor and ceil are one for a point in the middle of a row: it needs that row alone
    offsets = [np.floor(down), np.ceil(down), np.floor(right), np.ceil(right)]
    nearest = [np.rint(down), np.rint(right)]
    shares = np.stack([down - offsets[0], right - offsets[2]], axis=1)
    return Ray(
        np.stack(offsets + nearest, axis=1).astype(np.int64),
        shares.astype(np.float32),
        (steps * step_m).astype(np.float32),
    )


@njit(cache=True, nogil=True)
def look(
    ground: NDArray[np.float32],
    stay: NDArray[np.float32],
    spans: NDArray[np.int64],
    offsets: NDArray[np.int64],
    shares: NDArray[np.float32],
    metres: NDArray[np.float32],
    figures: NDArray[np.float32],
    found: NDArray[np.float32],
) -> None:
    """One heading over stretches of rows: all rays of a stretch go forward step by step.

    Parameters
    ----------
    ground, stay : ndarray, shape (rows + 2 margin, columns + 2 margin)
        Heights in metres and 1 where the field is, with a margin that the longest ray stays in.
    spans : ndarray, shape (stretches, 3)
        Row, first and last column (excluded), at most ``STRETCH`` apart, without the margin.
    offsets, shares, metres : ndarray
        A :class:`Ray`.
    figures : ndarray, shape (2,)
        Heights of eye and target in metres.
    found : ndarray, shape (rows, columns)
        Written to: the last distance seen, infinity or NaN.
    """
    margin = (ground.shape[0] - found.shape[0]) // 2
    state = np.empty((3, STRETCH), np.float32)
    for span in range(spans.shape[0]):
        row, first = spans[span, 0] + margin, spans[span, 1] + margin
        count = spans[span, 2] - spans[span, 1]
        rays = (state[0, :count], state[1, :count], state[2, :count])
        end = rays[2]
        _start(ground[row, first : first + count], stay[row, first : first + count], figures, rays)
        seen = np.float32(0.0)
        for step in range(metres.size):
            upper, lower = row + offsets[step, 0], row + offsets[step, 1]
            left, right = first + offsets[step, 2], first + offsets[step, 3]
            near = first + offsets[step, 5]
            round_it = (
                ground[upper, left : left + count],
                ground[upper, right : right + count],
                ground[lower, left : left + count],
                ground[lower, right : right + count],
            )
            here = stay[row + offsets[step, 4], near : near + count]
            between = (shares[step, 0], shares[step, 1])
            per_m = np.float32(1.0) / metres[step]
            _forward(round_it, here, between, (per_m, per_m * figures[1], seen), rays)
            seen = metres[step]
            if step % _LOOK == _LOOK - 1 and not _any_open(end):
                break
        for j in range(count):
            found[row - margin, first - margin + j] = np.inf if end[j] < 0.0 else end[j]


@njit(cache=True, nogil=True)
def _start(
    ground: NDArray[np.float32],
    stay: NDArray[np.float32],
    figures: NDArray[np.float32],
    rays: tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]],
) -> None:
    """Rays that can be followed are open: their end is under 0. The others are NaN at once."""
    eye, best, end = rays
    for j in range(end.size):
        eye[j] = ground[j] + figures[0]
        best[j] = -np.inf
        lost = stay[j] == 0.0 or np.isnan(ground[j])
        end[j] = np.float32(np.nan) if lost else np.float32(-1.0)


@njit(cache=True, nogil=True)
def _forward(
    round_it: tuple[NDArray[np.float32], ...],
    stay: NDArray[np.float32],
    between: tuple[np.float32, np.float32],
    figures: tuple[np.float32, np.float32, np.float32],
    rays: tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]],
) -> None:
    """One step of every ray of a stretch, without a branch, so that many go at once.

    The end of an open ray becomes infinity where it leaves the field, NaN where it meets an
    unknown height, the step before where it loses the target.
    """
    a, b, c, d = round_it  # a b above, c d below
    fall, over = between
    per_m, target, seen = figures
    eye, best, end = rays
    for j in range(end.size):
        top = a[j] + over * (b[j] - a[j])
        bottom = c[j] + over * (d[j] - c[j])
        height = top + fall * (bottom - top)
        rise = (height - eye[j]) * per_m
        still = np.float32(-1.0) if rise + target >= best[j] else seen
        still = np.float32(np.nan) if np.isnan(height) else still
        still = np.float32(np.inf) if stay[j] == 0.0 else still
        end[j] = still if end[j] < 0.0 else end[j]
        best[j] = max(best[j], rise)


@njit(cache=True, nogil=True)
def _any_open(end: NDArray[np.float32]) -> bool:
    for j in range(end.size):  # noqa: SIM110 (compiled)
        if end[j] < 0.0:
            return True
    return False
