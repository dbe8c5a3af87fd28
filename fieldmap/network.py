"""The road network as the rooms hand it to each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd
    from pyproj import CRS


@dataclass(frozen=True, eq=False)
class RoadData:
    """Legs, nodes and turn restrictions of one district.

    Parameters
    ----------
    edges : GeoDataFrame
        One row a leg, as :data:`fieldmap.schemas.EDGES` says; lines in ``crs``.
    nodes : DataFrame
        As :data:`fieldmap.schemas.NODES` says; ``x`` and ``y`` in ``crs``.
    turns : DataFrame
        As :data:`fieldmap.schemas.TURNS` says.
    crs : pyproj.CRS
        A projected system in metres.
    source : str
        Name of the file it was read from.
    warnings : tuple of str
        What was left out or mended on reading.
    lacks : tuple of str
        Kinds of fact that a file of this kind cannot hold, or did not ask for, such as
        ``"turn restrictions"``. They are unknown, whatever else the data says.
    """

    edges: gpd.GeoDataFrame
    nodes: pd.DataFrame
    turns: pd.DataFrame
    crs: CRS
    source: str
    warnings: tuple[str, ...] = ()
    lacks: tuple[str, ...] = ()
