"""How far ahead a thing on the ground is seen from the seat, over the terrain alone.

One ray a cell and heading. Heights along it are taken between the raster's own cells, at steps of
one cell on the ground; nothing is resampled. Crops, hedges and banks finer than a cell hide more.
"""

from __future__ import annotations

import math
import os
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.errors import Fault, raise_all
from fieldmap.grid import Grid
from fieldmap.terrain.sight_rays import STRETCH, look, ray
from fieldmap.terrain.slope import ground_of_a_cell

_WORTH_THREADS = 1_000_000  # steps of all rays


def sight_ahead(
    heights: Grid,
    inside: NDArray[np.bool_],
    headings_deg: NDArray[np.float64],
    *,
    crs: CRS,
    eye_m: float,
    target_m: float,
    range_m: float,
) -> NDArray[np.float32]:
    """The farthest distance up to which a target on the ground is seen all the way.

    Parameters
    ----------
    heights : Grid, shape (rows, columns)
        Metres, NaN where unknown, in any coordinate system; it should reach a cell beyond
        ``inside``, because a height between cells needs both.
    inside : ndarray of bool, shape (rows, columns)
        Cells of the field. Beyond the array nothing is inside.
    headings_deg : ndarray, shape (headings,)
        Ways a machine faces, in compass degrees clockwise from grid north.
    crs : pyproj.CRS
        The run's metric system; headings are its grid bearings.
    eye_m, target_m : float
        The eye over the ground it stands on; the height of the thing to be seen.
    range_m : float
        How far to look.

    Returns
    -------
    ndarray, shape (headings, rows, columns), float32
        Metres to the last step at which the target was still seen; the first step is always
        seen, so that this is never less than one cell. Infinity when the target is seen all the
        way to ``range_m``, or to where the ray leaves ``inside``: nobody drives on there. NaN
        outside, where the cell's own height is unknown, and where an unknown height comes before
        the end was found.

    Raises
    ------
    InputError
        An eye, target or range that is no figure from 0 up, a heading that is none, or a field
        on other cells.

    Notes
    -----
    With rise g = (ground - eye) / distance of each point passed, the target at distance d is seen
    while (ground + target - eye) / d is not under the greatest g before it. The earth's bend is
    left out: 0.8 mm at 100 m.

    Examples
    --------
    Level ground with a bank 3 m high, five cells of 10 m to the east:

    >>> from affine import Affine
    >>> ground = np.zeros((3, 12), np.float32)
    >>> ground[:, 5] = 3.0
    >>> grid = Grid(ground, Affine(10, 0, 0, 0, -10, 0), CRS(32615), "m", "elevation")
    >>> field = np.zeros((3, 12), bool)
    >>> field[1, :11] = True
    >>> look = {"crs": CRS(32615), "eye_m": 2.0, "target_m": 0.3, "range_m": 100.0}
    >>> sight_ahead(grid, field, np.array([90.0]), **look)[0, 1]
    array([50., 40., 30., 20., 10., inf, inf, inf, inf, inf, inf, nan],
          dtype=float32)

    Where a height is missing the sight over it is unknown, not far:

    >>> ground[1, 3] = np.nan
    >>> sight_ahead(grid.with_values(ground, unit="m", name="elevation"), field,
    ...             np.array([90.0]), **look)[0, 1, :6]
    array([nan, nan, nan, nan, 10., inf], dtype=float32)
    """
    facing = np.asarray(headings_deg, np.float64).ravel()
    _must_be_usable(heights, inside, facing, eye_m=eye_m, target_m=target_m, range_m=range_m)
    found = np.full((facing.size, *heights.shape), np.nan, np.float32)
    cells = ground_of_a_cell(heights, crs)
    spans = _spans(inside)
    if spans.size == 0 or facing.size == 0 or not np.isfinite(cells).all():
        return found
    rays = [ray(cells, float(one), heights.shape, range_m) for one in facing]
    margin = 1 + max(int(np.abs(one.offsets).max(initial=0)) for one in rays)
    ground = np.pad(_over_the_middle(heights.values), margin, constant_values=np.nan)
    stay = np.pad(inside.astype(np.float32), margin)
    figures = np.array([eye_m, target_m], np.float32)
    parts = _parts(spans, steps=sum(len(one.metres) for one in rays))
    jobs = [
        (ground, stay, part, *one, figures, found[heading])
        for part in parts
        for heading, one in enumerate(rays)
    ]
    _work_off(jobs, alone=len(parts) == 1)
    return found


def _must_be_usable(
    grid: Grid, inside: NDArray[np.bool_], facing: NDArray[np.float64], **metres: float
) -> None:
    faults = [
        Fault(
            f"{name} is no figure from 0 up",
            str(given),
            "how far one sees cannot be worked out",
            "give metres",
        )
        for name, given in metres.items()
        if not (math.isfinite(given) and given >= 0)
    ]
    if not np.isfinite(facing).all():
        faults.append(
            Fault(
                "a heading that is no figure",
                str(facing[~np.isfinite(facing)][0]),
                "nobody knows which way to look",
                "give compass degrees",
            )
        )
    if inside.shape != grid.shape:
        faults.append(
            Fault(
                "a field's cells that are not those of the heights",
                f"{inside.shape} and {grid.shape}",
                "cells would be taken for others",
                "lay the field on the raster's own cells",
            )
        )
    raise_all(faults)


def _over_the_middle(heights: NDArray[np.float32]) -> NDArray[np.float32]:
    """Heights over a whole metre near their middle: four bytes then hold them to 10 um."""
    known = heights[np.isfinite(heights)]
    middle = np.rint(known.mean(dtype=np.float64)) if known.size else 0.0
    return heights - np.float32(middle)


def _spans(inside: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Row, first and last column (excluded) of the stretches of rows that hold the field."""
    rows = np.flatnonzero(inside.any(axis=1))
    if rows.size == 0:
        return np.empty((0, 3), np.int64)
    some = inside[rows]
    first = some.argmax(axis=1)
    last = inside.shape[1] - some[:, ::-1].argmax(axis=1)
    pieces = -(-(last - first) // STRETCH)
    which = np.repeat(np.arange(rows.size), pieces)
    number = np.arange(which.size) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    start = first[which] + number * STRETCH
    return np.stack([rows[which], start, np.minimum(start + STRETCH, last[which])], axis=1)


def _parts(spans: NDArray[np.int64], *, steps: int) -> list[NDArray[np.int64]]:
    """The stretches in one part, or in a few for each thread where that pays."""
    work = int((spans[:, 2] - spans[:, 1]).sum()) * steps
    count = 4 * _threads() if work > _WORTH_THREADS else 1
    return np.array_split(spans, min(count, len(spans)))


def _threads() -> int:
    return os.cpu_count() or 1


def _work_off(jobs: list[tuple[Any, ...]], *, alone: bool) -> None:
    """All jobs, in this thread or by one for each processor; each writes cells of its own."""
    if alone:
        for job in jobs:
            look(*job)
        return
    with ThreadPoolExecutor(_threads()) as pool:
        for _ in pool.map(lambda job: look(*job), jobs):
            pass
