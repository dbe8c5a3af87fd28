"""Cells become zones to act on: polygons with an action, a level and the reason in words."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.features import shapes, sieve

from fieldmap.crs import moved
from fieldmap.grid import Grid
from fieldmap.risk.causes import FIRST_HAZARD, Cause, all_causes, severities
from fieldmap.risk.layers import Layers
from fieldmap.tables import Tables

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
    causes = all_causes(tables)
    order = severities(causes)
    cells = math.ceil(tables.number("looking.sliver_m2") / layers.lie.cell_area_m2)
    codes = merged_slivers(layers.acts.values.astype(np.int16), order, cells=cells)
    found = _polygons(layers.acts, np.where(layers.inside, codes, 0), crs)
    rows = []
    for code in sorted(
        found, key=lambda code: (-int(order[code]), causes[code].action, causes[code].key)
    ):
        cut = shapely.intersection(found[code], field)
        if causes[code].action and cut.area > 0:
            rows.append(_row(field_id, causes[code], cut))
    return gpd.GeoDataFrame(rows, columns=[*COLUMNS, "geometry"], geometry="geometry", crs=crs)


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
    calm = sieve(codes, size=cells)
    takes = (order[calm] >= order[codes]) & (codes < FIRST_HAZARD) & (calm < FIRST_HAZARD)
    return np.where(takes, calm, codes)


def _polygons(grid: Grid, codes: NDArray[np.int16], crs: CRS) -> dict[int, shapely.Geometry]:
    parts: dict[int, list[shapely.Geometry]] = {}
    for shape, code in shapes(codes, mask=codes > 0, transform=grid.transform):
        rings = [np.asarray(ring) for ring in shape["coordinates"]]
        parts.setdefault(int(code), []).append(shapely.Polygon(rings[0], rings[1:]))
    return {
        code: moved(shapely.union_all(pieces), grid.crs, crs)
        for code, pieces in sorted(parts.items())
    }


def _row(field_id: str, cause: Cause, cut: shapely.Geometry) -> dict[str, object]:
    parts = shapely.get_parts(cut)
    polygons = parts[shapely.get_type_id(parts) == 3]
    return {
        "field_id": field_id,
        "action": cause.action,
        "level": cause.level,
        "cause": cause.key,
        "reason": cause.words,
        "area_ha": float(cut.area / 1e4),
        "geometry": shapely.MultiPolygon(list(polygons)),
    }
