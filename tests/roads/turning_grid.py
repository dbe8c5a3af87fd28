"""A noisy grid of invented roads, with corners of every sharpness; the same every time."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from fieldmap.network import RoadData

UTM = CRS.from_epsg(32632)
KINDS = ("tertiary", "unclassified", "track", "service", "primary")


def noisy_grid(columns: int, rows: int, *, seed: int = 1) -> RoadData:
    """Nodes about 150 m apart, two of three legs kept, one leg a way, a bend in every third."""
    rng = np.random.default_rng(seed)
    at = np.arange(columns * rows).reshape(rows, columns)
    x = (at % columns).ravel() * 150.0 + rng.uniform(-60, 60, at.size)
    y = (at // columns).ravel() * 150.0 + rng.uniform(-60, 60, at.size)
    u = np.concatenate([at[:, :-1].ravel(), at[:-1].ravel()])
    v = np.concatenate([at[:, 1:].ravel(), at[1:].ravel()])
    kept = rng.random(len(u)) < 0.67
    u, v = u[kept], v[kept]
    lines = [_line(rng, x[[one, other]], y[[one, other]]) for one, other in zip(u, v, strict=True)]
    edges = gpd.GeoDataFrame(
        {
            "leg_id": [f"{way}-0" for way in range(len(u))],
            "way_id": np.arange(len(u)),
            "u": u,
            "v": v,
            "length_m": shapely.length(lines),
            "highway": [KINDS[way % len(KINDS)] for way in range(len(u))],
            "name": "",
            "forward": True,
            "backward": True,
            "tags": [{} for _ in u],
            "under": [() for _ in u],
        },
        geometry=lines,
        crs=UTM,
    )
    nodes = pd.DataFrame(
        {"node_id": at.ravel(), "x": x, "y": y, "tags": [{} for _ in range(at.size)]}
    )
    turns = pd.DataFrame(
        columns=["relation_id", "rule", "from_way", "to_way", "via_node", "via_ways", "except_for"]
    )
    return RoadData(edges, nodes, turns, UTM, "invented")


def _line(rng, x, y):
    points = np.column_stack([x, y])
    if rng.random() < 0.33:
        points = np.insert(points, 1, points.mean(axis=0) + rng.uniform(-30, 30, 2), axis=0)
    return shapely.LineString(points)
