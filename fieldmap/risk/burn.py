"""Shapes of the run's system onto the cells of a grid of any system."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.features import rasterize

from fieldmap.crs import moved, same_system
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
        self._same = same_system(crs, grid.crs)

    def touched(self, *shapes: shapely.Geometry) -> NDArray[np.bool_]:
        """Cells that one of the shapes touches."""
        return self._burn([(shape, 1) for shape in shapes]) == 1

    def whole_and_part(
        self, whole: shapely.Geometry, part: shapely.Geometry
    ) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Cells that a shape touches, and those that a part of it touches."""
        burnt = self._burn([(whole, 1), (part, 2)])
        return burnt > 0, burnt == 2

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
        shapes = np.array([shape for shape, _ in pairs], object)
        codes = np.array([code for _, code in pairs], np.int16)
        there = ~shapely.is_empty(shapes)
        shapes, codes = shapes[there], codes[there]
        if len(shapes) == 0:
            return np.zeros(self._shape, np.int16)
        if not self._same:
            shapes = moved(shapes, self._from, self._to)
        return rasterize(
            zip(_plain(shapes), codes.tolist(), strict=True),
            out_shape=self._shape,
            transform=self._affine,
            fill=0,
            all_touched=True,
            dtype="int16",
        )


def _plain(shapes: NDArray[np.object_]) -> list[Any]:
    """Shapes as nested lists, all corners out of them at once; what is no polygon as it is."""
    if not (shapely.get_type_id(shapes) == shapely.GeometryType.POLYGON).all():
        return list(shapes)
    rings, owner = shapely.get_rings(shapes, return_index=True)
    corners = shapely.get_coordinates(rings).tolist()
    ends = np.cumsum(shapely.get_num_coordinates(rings)).tolist()
    out: list[Any] = [{"type": "Polygon", "coordinates": []} for _ in shapes]
    begin = 0
    for shape, end in zip(owner.tolist(), ends, strict=True):
        out[shape]["coordinates"].append(corners[begin:end])
        begin = end
    return out
