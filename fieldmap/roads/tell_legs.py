"""A way as tables: its legs in driving order and the nodes it passes."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.ops import substring

from fieldmap.crs import WGS84, transformer
from fieldmap.network import RoadData
from fieldmap.roads.checks import LEG_CHECKS, NODE_CHECKS, Checked, Ground
from fieldmap.roads.search import OnLeg, Way
from fieldmap.roads.turns import TurnNet
from fieldmap.roads.verdict import BASIS_OF, LEVEL_OF, Verdict

Ints = NDArray[np.int64]
_LEVELS = np.array(LEVEL_OF, dtype=object)
_BASES = np.array(BASIS_OF, dtype=object)


def leg_table(
    data: RoadData, checked: Checked, way: Way | None, start: OnLeg, goal: OnLeg
) -> gpd.GeoDataFrame:
    """The legs of a way with every check's answer; empty when there is no way."""
    directed = np.zeros(0, dtype=np.int64) if way is None else way.legs
    row = directed // 2
    along = directed % 2 == 0
    edges = data.edges.iloc[row]
    begin, end = _shares(directed, start, goal)
    table = pd.DataFrame(
        {
            "place": [f"leg/{one}" for one in edges["leg_id"]],
            "leg_id": edges["leg_id"].to_numpy(),
            "way_id": edges["way_id"].to_numpy(),
            "name": _names(edges),
            "highway": edges["highway"].to_numpy(),
            "along": along,
            "length_m": edges["length_m"].to_numpy() * np.abs(end - begin),
            "level": _LEVELS[checked.leg_level[row]],
            "under": edges["under"].to_numpy(),
        }
    )
    for name in LEG_CHECKS:
        _answer(table, checked.legs[name], row, name)
    table["why"] = _worst_reason(table, LEG_CHECKS)
    return gpd.GeoDataFrame(table, geometry=_lines(edges, begin, end), crs=data.crs)


def _shares(
    directed: Ints, start: OnLeg, goal: OnLeg
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Where driving begins and ends on each leg's line, 0 to 1 along the line."""
    against = (directed % 2).astype(float)
    begin, end = against.copy(), 1.0 - against
    if len(directed):
        begin[0], end[-1] = start.fraction, goal.fraction
    return begin, end


def _lines(
    edges: gpd.GeoDataFrame, begin: NDArray[np.float64], end: NDArray[np.float64]
) -> NDArray[np.object_]:
    lines = edges.geometry.to_numpy().copy()
    back = (begin == 1.0) & (end == 0.0)
    lines[back] = shapely.reverse(lines[back])
    for row in {0, len(lines) - 1} if len(lines) else ():
        if not back[row]:
            cut = substring(lines[row], begin[row], end[row], normalized=True)
            # a place right at a junction leaves no length on its leg: a line all the same
            lines[row] = shapely.LineString([cut, cut]) if cut.geom_type == "Point" else cut
    return lines


def _names(edges: gpd.GeoDataFrame) -> list[str]:
    return [
        name or f"unnamed {kind.replace('_', ' ')}"
        for name, kind in zip(edges["name"], edges["highway"], strict=True)
    ]


def _answer(table: pd.DataFrame, verdict: Verdict, row: Ints, name: str) -> None:
    """Write one check's columns; figures carry the unit in the column's name."""
    reasons = np.array(verdict.reasons, dtype=object)
    table[name] = _LEVELS[verdict.level[row]]
    if verdict.unit:
        for part in ("low", "high", "need"):
            table[f"{name}_{part}_{verdict.unit}"] = getattr(verdict, part)[row]
    table[f"{name}_basis"] = _BASES[verdict.basis[row]]
    table[f"{name}_why"] = reasons[verdict.why[row]]


def _worst_reason(table: pd.DataFrame, checks: tuple[str, ...]) -> list[str]:
    """The sentences of the checks that make a place's level, "" where it passes."""
    said: list[str] = []
    for row in table.to_dict("records"):
        bad = [
            row[f"{name}_why"]
            for name in checks
            if row["level"] != "ok" and row[name] == row["level"]
        ]
        said.append(" ".join(bad))
    return said


def node_table(
    data: RoadData, ground: Ground, checked: Checked, net: TurnNet, way: Way | None
) -> pd.DataFrame:
    """The tagged nodes a way passes, in order; what is met twice stands there once."""
    directed = np.zeros(0, dtype=np.int64) if way is None else way.legs
    passed = net.end_node[directed[:-1]]
    spot = ground.spot[passed]
    _, first = np.unique(passed, return_index=True)
    keep = np.sort(first)
    keep = keep[spot[keep] >= 0]
    node, row = passed[keep], spot[keep]
    nodes = data.nodes.iloc[node]
    lon, lat = transformer(data.crs, WGS84).transform(nodes["x"].to_numpy(), nodes["y"].to_numpy())
    table = pd.DataFrame(
        {
            "place": [f"node/{one}" for one in nodes["node_id"]],
            "node_id": nodes["node_id"].to_numpy(),
            "name": [_node_name(tags) for tags in nodes["tags"]],
            "level": _LEVELS[checked.node_level[node]],
            "crossing": ground.crossing[row],
            "lon": lon,
            "lat": lat,
        }
    )
    for name in NODE_CHECKS:
        _answer(table, checked.nodes[name], row, name)
    table["why"] = _worst_reason(table, NODE_CHECKS)
    return table


def _node_name(tags: dict[str, str]) -> str:
    for key in ("barrier", "railway", "traffic_calming"):
        if key in tags:
            return tags[key].replace("_", " ")
    return "ford" if "ford" in tags else "limit at a point"
