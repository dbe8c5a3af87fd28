"""A large invented network that looks like country roads: seeded, no file, the same every time."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from fieldmap.network import RoadData

UTM = CRS.from_epsg(32632)
STEP_M = 150.0


def invented(
    columns: int,
    rows: int,
    *,
    kept: float = 0.62,
    one_way: float = 0.03,
    bans: int = 0,
    via_bans: int = 0,
    seed: int = 1,
) -> RoadData:
    """A noisy grid with legs taken out, some one-ways and some turn restrictions.

    Parameters
    ----------
    columns, rows : int
        Nodes of the grid.
    kept, one_way : float
        Share of legs that stay, and of those that are one-way.
    bans, via_bans : int
        Turn restrictions over a node and over a way (of these some fall away, at dead ends).
    seed : int
        Of the random numbers.
    """
    rng = np.random.default_rng(seed)
    at = np.arange(columns * rows).reshape(rows, columns)
    pairs = np.concatenate([
        np.column_stack([at[:, :-1].ravel(), at[:, 1:].ravel()]),
        np.column_stack([at[:-1].ravel(), at[1:].ravel()]),
    ])  # fmt: skip
    pairs = pairs[rng.random(len(pairs)) < kept]
    x = (at % columns).ravel() * STEP_M + rng.uniform(-50, 50, at.size)
    y = (at // columns).ravel() * STEP_M + rng.uniform(-50, 50, at.size)
    return RoadData(
        edges=_edges(rng, pairs, x, y, one_way),
        nodes=pd.DataFrame(
            {"node_id": at.ravel(), "x": x, "y": y, "tags": [{} for _ in range(at.size)]}
        ),
        turns=_restrictions(rng, pairs, bans, via_bans),
        crs=UTM,
        source="invented",
    )


def _edges(rng, pairs, x, y, one_way):
    u, v = pairs.T
    count = len(pairs)
    ends = np.stack([np.column_stack([x[u], y[u]]), np.column_stack([x[v], y[v]])], axis=1)
    side = rng.random(count)
    return gpd.GeoDataFrame(
        {
            "leg_id": [f"{way}-0" for way in range(count)],
            "way_id": np.arange(count),
            "u": u,
            "v": v,
            "length_m": np.hypot(x[u] - x[v], y[u] - y[v]) * rng.uniform(1.0, 1.3, count),
            "highway": "unclassified",
            "name": "",
            "forward": side >= one_way / 2,
            "backward": side < 1 - one_way / 2,
            "tags": [{} for _ in range(count)],
            "under": [() for _ in range(count)],
        },
        geometry=shapely.linestrings(ends),
        crs=UTM,
    )


def _restrictions(rng, pairs, bans, via_bans):
    """Restrictions over what meets; a way is one leg and has the row of its leg for an id."""
    at: dict[int, list[int]] = {}
    for way, (u, v) in enumerate(pairs.tolist()):
        at.setdefault(u, []).append(way)
        at.setdefault(v, []).append(way)
    rows = []
    busy = [node for node, ways in at.items() if len(ways) > 2]
    for node in rng.choice(busy, bans).tolist() if bans and busy else []:
        one, other = rng.choice(at[node], 2, replace=False).tolist()
        rule = "only_straight_on" if rng.random() < 0.1 else "no_left_turn"
        rows.append((rule, one, other, node, ()))
    for _ in range(via_bans):
        way = int(rng.integers(len(pairs)))
        u, v = pairs[way].tolist()
        if len(at[u]) > 1 and len(at[v]) > 1:
            one = int(rng.choice([other for other in at[u] if other != way]))
            to = int(rng.choice([other for other in at[v] if other != way]))
            rows.append(("no_u_turn", one, to, -1, (way,)))
    table = pd.DataFrame(rows, columns=["rule", "from_way", "to_way", "via_node", "via_ways"])
    return table.assign(relation_id=np.arange(len(table)), except_for="").astype(
        {"from_way": "int64", "to_way": "int64", "via_node": "int64"}
    )
