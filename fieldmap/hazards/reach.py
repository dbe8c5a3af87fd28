"""How far from a marked place the machine must reckon with what lies there."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from fieldmap.machine import Machine
from fieldmap.tables import Tables


def reach_m(hazards: gpd.GeoDataFrame, machine: Machine | None, *, tables: Tables) -> np.ndarray:
    """Radius of ground that a mark speaks for: position error and half the working width.

    Parameters
    ----------
    hazards : GeoDataFrame
        Column ``radius_m``: the user's own 95 % radius, NaN when not given.
    machine : Machine or None
        Its working width; a machine whose width is not known is reckoned wide.
    tables : Tables
        ``looking.position_radius_m`` and ``looking.unknown_width_m``.

    Returns
    -------
    ndarray, shape (hazards,)
        Metres: the greater of the table's and the user's radius, plus half the width.
    """
    width = None if machine is None else machine.working_width_m
    if width is None:
        width = tables.number("looking.unknown_width_m")
    own = np.nan_to_num(hazards["radius_m"].to_numpy(float), nan=0.0)
    return np.maximum(own, tables.number("looking.position_radius_m")) + width / 2.0


def reached(hazards: gpd.GeoDataFrame, radius_m: np.ndarray) -> gpd.GeoSeries:
    """The marks grown by their reach, in the same metric system."""
    grown = shapely.buffer(hazards.geometry.to_numpy(), radius_m)
    return gpd.GeoSeries(grown, index=hazards.index, crs=hazards.crs)


def fields_of(
    hazards: gpd.GeoDataFrame, radius_m: np.ndarray, fields: gpd.GeoDataFrame
) -> list[list[str]]:
    """The ``field_id`` of the fields that each mark reaches, in their order; one metric system."""
    grown = reached(hazards, radius_m).to_numpy()
    names = fields["field_id"].tolist()
    out: list[list[str]] = [[] for _ in range(len(grown))]
    pairs = shapely.STRtree(fields.geometry.to_numpy()).query(grown, predicate="intersects")
    for mark, field in sorted(zip(*pairs.tolist(), strict=True)):
        out[mark].append(names[field])
    return out
