"""Cells become zones to act on: polygons with an action, a level and the reason in words."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.features import sieve

from fieldmap.crs import moved
from fieldmap.risk.causes import FIRST_HAZARD, Cause
from fieldmap.risk.layers import Layers, ranked_causes
from fieldmap.tables import Tables
from fieldmap.terrain.rings import parts, pieces

COLUMNS = ("field_id", "action", "level", "cause", "reason", "area_ha")


def zones(
    field_id: str, field: shapely.Geometry, layers: Layers, *, crs: CRS, tables: Tables
) -> gpd.GeoDataFrame:
    """The zones of one field, worst first, one row a cause, cut to the boundary.

    Slivers under ``looking.sliver_m2`` join what surrounds them, but only where that is at
    least as bad: no bad cell is ever hidden by a zone, and ground to keep out of never becomes
    ground to drive up and down.

    Returns
    -------
    GeoDataFrame
        Columns :data:`COLUMNS` and multipolygons in ``crs``.
    """
    return zones_of(field_id, field, layers, crs=crs, tables=tables).table()


class Zones(NamedTuple):
    """The zones of a field, worst first, one shape a cause; the table is made when asked for."""

    field_id: str
    shapes: Mapping[Cause, shapely.MultiPolygon]
    crs: CRS

    def table(self) -> gpd.GeoDataFrame:
        """As :func:`zones` gives it."""
        return _table(self.field_id, self.shapes, self.crs)


def zones_of(
    field_id: str, field: shapely.Geometry, layers: Layers, *, crs: CRS, tables: Tables
) -> Zones:
    """What :func:`zones` gives, not yet as a table."""
    causes, order, _ = ranked_causes(tables)
    cells = math.ceil(tables.number("looking.sliver_m2") / layers.lie.cell_area_m2)
    codes = merged_slivers(layers.acts.values.astype(np.int16), order, cells=cells)
    found = pieces(np.where(layers.inside, codes, 0), layers.acts.transform)
    cut = _cut(moved(found.polygons, layers.acts.crs, crs), field)
    shapes = {}
    for code in sorted(
        np.unique(found.numbers).tolist(),
        key=lambda code: (-int(order[code]), causes[code].action, causes[code].key),
    ):
        shape = _polygons(cut[found.numbers == code])
        if causes[code].action and shape.area > 0:
            shapes[code] = shape
    return Zones(field_id, {causes[code]: shape for code, shape in shapes.items()}, crs)


def _cut(ground: NDArray[np.object_], field: shapely.Geometry) -> NDArray[np.object_]:
    shapely.prepare(field)
    beyond = ~shapely.covers(field, ground)
    ground[beyond] = shapely.intersection(ground[beyond], field)
    return ground


def _polygons(shapes: NDArray[np.object_]) -> shapely.MultiPolygon:
    """The polygons of some shapes; what only touches is dropped."""
    parts = shapely.get_parts(shapely.get_parts(shapes))
    return shapely.multipolygons(parts[shapely.get_type_id(parts) == 3])


def _table(
    field_id: str, shapes: Mapping[Cause, shapely.MultiPolygon], crs: CRS
) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {
            "field_id": [field_id] * len(shapes),
            "action": [cause.action for cause in shapes],
            "level": [cause.level for cause in shapes],
            "cause": [cause.key for cause in shapes],
            "reason": [cause.words for cause in shapes],
            "area_ha": [shape.area / 1e4 for shape in shapes.values()],
        },
        geometry=list(shapes.values()),
        crs=crs,
    )


def merged_slivers(
    codes: NDArray[np.int16], order: NDArray[np.uint8], *, cells: int
) -> NDArray[np.int16]:
    """Codes with patches of fewer than ``cells`` cells merged into neighbours at least as bad.

    Marks of hazards are never merged away, and no ground is merged into one: a mark says what
    lies there, and no more ground than it reaches.

    Parameters
    ----------
    codes : ndarray of int16, shape (rows, columns)
        Codes of :mod:`fieldmap.risk.causes`.
    order : ndarray of uint8
        How bad each code is, as :func:`fieldmap.risk.causes.severities` gives it.
    cells : int
        Patches of so many cells stay.

    Examples
    --------
    A lone cell of care in ground that stops joins it; a lone stop in good ground stays:

    >>> order = np.array([0, 6, 2], np.uint8)
    >>> ground = np.ones((3, 3), np.int16); ground[1, 1] = 2
    >>> int(merged_slivers(ground, order, cells=2)[1, 1])
    1
    >>> lone = np.zeros((3, 3), np.int16); lone[1, 1] = 1
    >>> int(merged_slivers(lone, order, cells=2)[1, 1])
    1
    """
    if not 2 <= cells < codes.size:  # on a field smaller than a sliver all stays as it is
        return codes
    if not _any_sliver(codes, cells):
        return codes
    calm = sieve(codes, size=cells)
    takes = (order[calm] >= order[codes]) & (codes < FIRST_HAZARD) & (calm < FIRST_HAZARD)
    return np.where(takes, calm, codes)


def _any_sliver(codes: NDArray[np.int16], cells: int) -> bool:
    """Whether a patch that is no mark has fewer cells."""
    labels, firsts = parts(codes.astype(np.int32) + 1)
    small = np.bincount(labels.ravel())[1:] < cells
    return bool((small & (codes.ravel()[firsts] < FIRST_HAZARD)).any())
