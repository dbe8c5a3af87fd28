"""A way as tables: its legs in driving order and the nodes it passes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.ops import substring

from fieldmap.crs import WGS84, transformer
from fieldmap.network import RoadData
from fieldmap.roads.checks import NODE_CHECKS, Checked, Ground
from fieldmap.roads.measured import Measured
from fieldmap.roads.search import OnLeg, Way
from fieldmap.roads.turns import TurnNet
from fieldmap.roads.verdict import BASIS_OF, LEVEL_OF, MEASURED, Verdict, with_tag

Ints = NDArray[np.int64]
Columns = dict[str, Any]
#: Kinds of road checks that a check may rest on, see :data:`fieldmap.roads.measured.KINDS`.
_SETTLED_BY = {
    "width": ("width", "opening"),
    "opening": ("opening",),
    "width_limit": ("width_limit",),
    "height": ("height",),
    "height_limit": ("height_limit",),
    "mass": ("mass",),
    "axles": ("axle", "mass"),
    "length": ("length_limit",),
    "access": ("access",),
    "water": ("ford",),
    "grade": ("grade",),
    "surface": ("surface",),
}
_LEVELS = np.array(LEVEL_OF, dtype=object)
_BASES = np.array(BASIS_OF, dtype=object)


def leg_table(
    data: RoadData,
    checked: Checked,
    way: Way | None,
    start: OnLeg,
    goal: OnLeg,
    *,
    measured: Measured | None = None,
) -> gpd.GeoDataFrame:
    """The legs of a way with every check's answer; empty when there is no way.

    With ``measured``, who measured and when stands behind what rests on it.
    """
    directed = np.zeros(0, dtype=np.int64) if way is None else way.legs
    row = directed // 2
    along = directed % 2 == 0
    edges = data.edges.iloc[row]
    begin, end = _shares(directed, start, goal)
    place = [f"leg/{one}" for one in edges["leg_id"]]
    columns: Columns = {
        "place": place,
        "leg_id": edges["leg_id"].to_numpy(),
        "way_id": edges["way_id"].to_numpy(),
        "name": _names(edges),
        "highway": edges["highway"].to_numpy(),
        "along": along,
        "length_m": edges["length_m"].to_numpy() * np.abs(end - begin),
        "level": _LEVELS[checked.leg_level[directed]],
        "under": edges["under"].to_numpy(),
        **_answers(checked.legs, directed, place, measured),
    }
    columns["why"] = _worst_reason(columns, tuple(checked.legs))
    return gpd.GeoDataFrame(columns, geometry=_lines(edges, begin, end), crs=data.crs)


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


def figure_column(check: str, part: str, unit: str) -> str:
    """Name of the column with a figure of a check.

    Examples
    --------
    >>> figure_column("width_limit", "low", "m"), figure_column("grade", "need", "%")
    ('width_limit_low_m', 'grade_need_pct')
    """
    return f"{check}_{part}_{'pct' if unit == '%' else unit}"


def _answers(
    verdicts: Mapping[str, Verdict], row: Ints, place: Sequence[str], measured: Measured | None
) -> Columns:
    """The columns of all checks; figures carry the unit in the column's name."""
    columns: Columns = {}
    for name, verdict in verdicts.items():
        columns[name] = _LEVELS[verdict.level[row]]
        if verdict.unit:
            for part in ("low", "high", "need"):
                columns[figure_column(name, part, verdict.unit)] = getattr(verdict, part)[row]
        columns[f"{name}_basis"] = _BASES[verdict.basis[row]]
        columns[f"{name}_why"] = _sentences(name, verdict, row, place, measured)
    return columns


def _sentences(
    check: str, verdict: Verdict, row: Ints, place: Sequence[str], measured: Measured | None
) -> list[str]:
    """Why, for some rows of a verdict, with the name of whoever measured it."""
    said = verdict.sentences(row)
    if measured is None or not measured.told:
        return said
    for at in np.flatnonzero(verdict.basis[row] == MEASURED).tolist():
        tellers = (measured.by(place[at], kind) for kind in _SETTLED_BY.get(check, ()))
        said[at] = with_tag(said[at], next((one for one in tellers if one), ""))
    return said


def _worst_reason(columns: Columns, checks: Sequence[str]) -> list[str]:
    """The sentences of the checks that make a place's level, "" where it passes."""
    level = np.asarray(columns["level"], dtype=object)
    said: list[list[str]] = [[] for _ in level]
    for name in checks:
        for row in np.flatnonzero((level != "ok") & (columns[name] == level)).tolist():
            said[row].append(columns[f"{name}_why"][row])
    return [" ".join(one) for one in said]


def node_table(
    data: RoadData,
    ground: Ground,
    checked: Checked,
    net: TurnNet,
    way: Way | None,
    *,
    measured: Measured | None = None,
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
    place = [f"node/{one}" for one in nodes["node_id"]]
    columns: Columns = {
        "place": place,
        "node_id": nodes["node_id"].to_numpy(),
        "name": [_node_name(tags) for tags in nodes["tags"]],
        "level": _LEVELS[checked.node_level[node]],
        "crossing": ground.crossing[row],
        "hump": ground.hump[row],
        "lon": lon,
        "lat": lat,
        **_answers(checked.nodes, row, place, measured),
    }
    columns["why"] = _worst_reason(columns, NODE_CHECKS)
    return pd.DataFrame(columns)


def _node_name(tags: dict[str, str]) -> str:
    for key in ("barrier", "railway", "traffic_calming", "highway"):
        if key in tags:
            return tags[key].replace("_", " ")
    return "ford" if "ford" in tags else "limit at a point"
