"""Slope as a machine meets it: along and across its heading, and the best way to run."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numba import njit
from numpy.typing import NDArray

from fieldmap.grid import Grid
from fieldmap.terrain.slope import Slope


def headings(count: int) -> NDArray[np.float64]:
    """Lines of travel spread evenly over half the compass; each is driven both ways.

    Examples
    --------
    >>> headings(4)
    array([  0.,  45.,  90., 135.])
    """
    return np.arange(count) * 180.0 / count


def along_pct(ground: Slope, heading_deg: float) -> Grid:
    """Grade along a heading in percent, climbing positive: -m cos(B - A)."""
    turn = np.radians(heading_deg - _aspect_or_any(ground))
    values = -ground.percent.values * np.cos(turn)
    return ground.percent.with_values(values, unit="%", name="along_pct")


def along_at(
    ground: Slope, headings_deg: NDArray[np.float64], at: NDArray[np.integer]
) -> NDArray[np.float32]:
    """Grade along several headings at some cells, as :func:`along_pct` gives it cell by cell.

    Parameters
    ----------
    ground : Slope
    headings_deg : ndarray, shape (headings,)
    at : ndarray of int, shape (cells,)
        Numbers of the cells, row by row.

    Returns
    -------
    ndarray of float32, shape (headings, cells)
    """
    turn = np.radians(headings_deg[:, np.newaxis] - _aspect_or_any(ground).ravel()[at])
    return (-ground.percent.values.ravel()[at] * np.cos(turn)).astype(np.float32)


def across_pct(ground: Slope, heading_deg: float) -> Grid:
    """Grade across a heading in percent: m sin(B - A); negative has the right side lower.

    Parameters
    ----------
    ground : Slope
        Percent and aspect; NaN percent stays NaN.
    heading_deg : float
        Compass degrees clockwise from grid north.
    """
    turn = np.radians(heading_deg - _aspect_or_any(ground))
    values = ground.percent.values * np.sin(turn)
    return ground.percent.with_values(values, unit="%", name="across_pct")


def across_shares(
    ground: Slope,
    inside: NDArray[np.bool_],
    lines_deg: NDArray[np.float64],
    limits_pct: tuple[float, float],
) -> NDArray[np.float64]:
    """For each line of travel, the share of known ground whose side slope reaches two limits.

    Parameters
    ----------
    ground : Slope, shape (rows, columns)
    inside : ndarray of bool, shape (rows, columns)
        Cells of the field.
    lines_deg : ndarray, shape (headings,)
        Lines of travel in compass degrees.
    limits_pct : (float, float)
        The stop limit and the care limit; a cell on a limit has reached it.

    Returns
    -------
    ndarray, shape (headings, 2)
        Shares 0..1 of the known cells inside; NaN when none is known.
    """
    east, north = _downhill(ground, inside)
    if east.size == 0:
        return np.full((len(lines_deg), 2), np.nan)
    counts = _count_across(east, north, np.radians(lines_deg), limits_pct[0], limits_pct[1])
    return counts / east.size


def across_rms_pct(
    ground: Slope, inside: NDArray[np.bool_], lines_deg: NDArray[np.float64]
) -> NDArray[np.float64]:
    """For each line of travel, the side slope of the known ground: root of the mean square.

    Returns
    -------
    ndarray, shape (headings,)
        Percent; NaN when no slope is known inside.
    """
    east, north = _downhill(ground, inside)
    if east.size == 0:
        return np.full(len(lines_deg), np.nan)
    cos, sin = np.cos(np.radians(lines_deg)), np.sin(np.radians(lines_deg))
    squares = (
        cos**2 * np.mean(east**2)
        - 2 * sin * cos * np.mean(east * north)
        + sin**2 * np.mean(north**2)
    )
    return np.sqrt(np.maximum(squares, 0.0))


def least_ahead(
    values: NDArray[np.float32], *, step: tuple[float, float], steps: int
) -> Iterator[tuple[int, NDArray[np.float32]]]:
    """How many steps ahead, and the least value on each cell and up to there; farther and farther.

    Parameters
    ----------
    values : ndarray, shape (rows, columns)
        Infinity where nobody drives.
    step : (float, float)
        One step ahead in rows and columns.
    steps : int
        The last number of steps; each is about a quarter more than the one before.

    Notes
    -----
    Each way ahead is the one before and the same again further on, rounded to whole cells: a far
    cell may be taken from a cell or two beside the line.

    Examples
    --------
    >>> row = np.array([[5.0, 4.0, 9.0, 1.0]], np.float32)
    >>> for reach, least in least_ahead(row, step=(0.0, 1.0), steps=2):
    ...     print(reach, least[0])
    1 [4. 4. 1. 1.]
    2 [4. 1. 1. 1.]
    """
    held, reach = values, 0
    while reach < steps:
        further = min(max(1, reach // 4), steps - reach)
        held = np.minimum(held, _shifted(held, round(further * step[0]), round(further * step[1])))
        reach += further
        yield reach, held


def _shifted(values: NDArray[np.float32], rows: int, columns: int) -> NDArray[np.float32]:
    """Values from so many rows and columns further on, infinity from beyond the array."""
    out = np.full_like(values, np.inf)
    height, width = values.shape
    if abs(rows) >= height or abs(columns) >= width:
        return out
    to_rows = slice(max(-rows, 0), height - max(rows, 0))
    from_rows = slice(max(rows, 0), height - max(-rows, 0))
    to_columns = slice(max(-columns, 0), width - max(columns, 0))
    from_columns = slice(max(columns, 0), width - max(-columns, 0))
    out[to_rows, to_columns] = values[from_rows, from_columns]
    return out


def _downhill(
    ground: Slope, inside: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Fall to the east and to the north, in percent, of the known cells inside."""
    known = inside & np.isfinite(ground.percent.values)
    steep = ground.percent.values[known].astype(np.float64)
    aspect = np.radians(_aspect_or_any(ground)[known].astype(np.float64))
    return steep * np.sin(aspect), steep * np.cos(aspect)


def _aspect_or_any(ground: Slope) -> NDArray[np.float32]:
    return np.where(np.isnan(ground.aspect.values), np.float32(0), ground.aspect.values)


@njit(cache=True)
def _count_across(
    east: NDArray[np.float64],
    north: NDArray[np.float64],
    lines: NDArray[np.float64],
    stop: float,
    care: float,
) -> NDArray[np.float64]:
    counts = np.zeros((lines.size, 2))
    for k in range(lines.size):
        right_east, right_north = np.cos(lines[k]), -np.sin(lines[k])
        for i in range(east.size):
            across = abs(east[i] * right_east + north[i] * right_north)
            if across >= stop:
                counts[k, 0] += 1.0
            if across >= care:
                counts[k, 1] += 1.0
    return counts
