"""A raster in memory: values and where they lie."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS


@dataclass(frozen=True, eq=False)
class Grid:
    """Values on a raster, NaN where nothing is known.

    Parameters
    ----------
    values : ndarray, shape (rows, columns), float32
        Made read-only.
    transform : affine.Affine
        From (column, row) corners to coordinates of ``crs``.
    crs : pyproj.CRS
        Coordinate system of the transform.
    unit : str
        Unit of the values.
    name : str
        What the values are.

    Raises
    ------
    ValueError
        The values are not two-dimensional.
    """

    values: NDArray[np.float32]
    transform: Affine
    crs: CRS
    unit: str
    name: str

    def __post_init__(self) -> None:
        if self.values.ndim != 2:
            raise ValueError(f"a grid has rows and columns; {self.values.ndim} dimensions given")
        values = np.ascontiguousarray(self.values, dtype=np.float32)
        if values is self.values:
            values = values.copy()
        values.flags.writeable = False
        object.__setattr__(self, "values", values)

    def __setstate__(self, state: dict[str, Any]) -> None:
        """Read-only again after a copy or a way through another process."""
        self.__dict__.update(state)
        self.values.flags.writeable = False

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, columns = self.values.shape
        return rows, columns

    def with_values(self, values: NDArray[np.floating], *, unit: str, name: str) -> Grid:
        """Another grid on the same cells."""
        return Grid(values.astype(np.float32), self.transform, self.crs, unit, name)

    def finer(self, times: int, *, over: tuple[float, float, float, float] | None = None) -> Grid:
        """The same values on cells ``times`` smaller; repeated, never interpolated.

        Parameters
        ----------
        times : int
            How many cells one side of a cell becomes.
        over : tuple, optional
            West, south, east, north in the grid's own coordinates: only the small cells over
            this box, and one more on each side, are made. All of them when not given.

        Examples
        --------
        >>> one = Grid(np.ones((2, 3), np.float32), Affine(10, 0, 0, 0, -10, 0),
        ...            CRS(32615), "m", "elevation")
        >>> one.finer(2).shape
        (4, 6)
        >>> one.finer(10, over=(4, -3, 6, -1)).shape
        (4, 4)
        """
        affine = self.transform @ Affine.scale(1 / times)
        rows, columns = (count * times for count in self.shape)
        upper, left = 0, 0
        if over is not None:
            upper, rows, left, columns = _box_cells(affine, over, rows, columns)
        values = self.values[
            np.ix_(np.arange(upper, rows) // times, np.arange(left, columns) // times)
        ]
        shifted = affine @ Affine.translation(left, upper)
        return Grid(values, shifted, self.crs, self.unit, self.name)


def _box_cells(
    affine: Affine, over: tuple[float, float, float, float], rows: int, columns: int
) -> tuple[int, int, int, int]:
    """First and last row, first and last column that a box needs, one more on each side."""
    west, south, east, north = over
    corners = np.array([~affine @ (x, y) for x in (west, east) for y in (south, north)])
    left, upper = (int(first) - 1 for first in np.floor(corners.min(axis=0)))
    right, lower = (int(last) + 1 for last in np.ceil(corners.max(axis=0)))
    return max(upper, 0), min(lower, rows), max(left, 0), min(right, columns)
