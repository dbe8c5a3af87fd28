"""A raster in memory: values and where they lie."""

from __future__ import annotations

from dataclasses import dataclass

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

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, columns = self.values.shape
        return rows, columns

    def with_values(self, values: NDArray[np.floating], *, unit: str, name: str) -> Grid:
        """Another grid on the same cells."""
        return Grid(values.astype(np.float32), self.transform, self.crs, unit, name)

    def finer(self, times: int) -> Grid:
        """The same values on cells ``times`` smaller; repeated, never interpolated.

        Examples
        --------
        >>> one = Grid(np.ones((2, 3), np.float32), Affine(10, 0, 0, 0, -10, 0),
        ...            CRS(32615), "m", "elevation")
        >>> one.finer(2).shape
        (4, 6)
        """
        values = self.values.repeat(times, axis=0).repeat(times, axis=1)
        return Grid(
            values, self.transform @ Affine.scale(1 / times), self.crs, self.unit, self.name
        )
