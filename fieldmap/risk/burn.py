"""Shapes of the run's system onto the cells of a grid of any system."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.features import rasterize

from fieldmap.crs import moved
from fieldmap.grid import Grid
from fieldmap.risk import causes as why
from fieldmap.tables import Tables


class Burner:
    """Lays shapes onto one grid; a cell belongs to every shape that touches it.

    Parameters
    ----------
    grid : Grid
        Gives the cells.
    crs : pyproj.CRS
        The system of the shapes.
    """

    def __init__(self, grid: Grid, crs: CRS) -> None:
        self._shape = grid.shape
        self._affine = grid.transform
        self._from, self._to = crs, grid.crs

    def touched(self, *shapes: shapely.Geometry) -> NDArray[np.bool_]:
        """Cells that one of the shapes touches."""
        return self._burn([(shape, 1) for shape in shapes]) == 1

    def numbered(self, shapes: Sequence[shapely.Geometry]) -> NDArray[np.int16]:
        """Number, from 1, of the last of the shapes that touches each cell; 0 where none does."""
        return self._burn([(shape, number) for number, shape in enumerate(shapes, 1)])

    def codes(self, marks: gpd.GeoDataFrame, tables: Tables) -> NDArray[np.int16]:
        """Cause code of the worst mark that touches each cell."""
        codes = why.hazard_codes(tables)
        order = why.severities(why.all_causes(tables))
        pairs = [
            (shape, codes[kind]) for kind, shape in zip(marks["kind"], marks.geometry, strict=True)
        ]
        pairs.sort(key=lambda pair: (order[pair[1]], -pair[1]))
        return self._burn(pairs)

    def _burn(self, pairs: list[tuple[shapely.Geometry, int]]) -> NDArray[np.int16]:
        pairs = [
            (moved(shape, self._from, self._to), code)
            for shape, code in pairs
            if not shape.is_empty
        ]
        if not pairs:
            return np.zeros(self._shape, np.int16)
        return rasterize(
            pairs,
            out_shape=self._shape,
            transform=self._affine,
            fill=0,
            all_touched=True,
            dtype="int16",
        )
