"""What the count of things left rests on: the ground, the marks that count, who saw them."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime, timedelta
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from fieldmap.hazards import events as ev
from fieldmap.hazards.chance import sweep_width_m
from fieldmap.hazards.looked import FieldLooking
from fieldmap.tables import Tables

#: Ways that no public road traffic throws litter from.
_NO_TRAFFIC = frozenset(
    ("track", "footway", "path", "cycleway", "bridleway", "pedestrian", "steps", "busway")
)


class Log(NamedTuple):
    """A farm's hazard log, made ready once for all fields; arrays of shape (marks,).

    Only marks that count are in it: see :func:`log_of`. ``within_m`` is the radius a mark is
    uncertain by, ``seen_by`` who told of it, by ``key``. ``known`` is false without a log.
    """

    name: str
    known: bool
    shapes: NDArray[np.object_]
    within_m: NDArray[np.float64]
    kind: NDArray[np.object_]
    hits: NDArray[np.int64]
    key: NDArray[np.object_]
    seen_by: Mapping[str, Collection[str]]
    tree: shapely.STRtree


class Roads(NamedTuple):
    """Public roads, made ready once for all fields: lines, how far each one's litter reaches.

    ``reached`` is the box round the whole network, also round its tracks and paths.
    """

    lines: NDArray[np.object_]
    reach_m: NDArray[np.float64]
    reached: shapely.Geometry
    tree: shapely.STRtree


class Ground(NamedTuple):
    """A field as plain arrays, all of shape (pieces,); ``road_edge`` is ``None`` when not known."""

    area_m2: NDArray[np.float64]
    flooded: NDArray[np.bool_]
    road_edge: NDArray[np.bool_] | None


class Marks(NamedTuple):
    """What was found in a field, as plain arrays of shape (marks,).

    ``flooded``, ``dry`` and ``road_edge`` say on which ground a mark may lie; one near a border
    lies on both sides. ``walked`` says whether a walk that counts came near enough to show it,
    ``None`` that all were found so.
    """

    kind: NDArray[np.object_]
    hits: NDArray[np.int64]
    flooded: NDArray[np.bool_]
    dry: NDArray[np.bool_]
    road_edge: NDArray[np.bool_]
    walked: NDArray[np.bool_] | None = None


def log_of(
    name: str,
    events: pd.DataFrame,
    marks: gpd.GeoDataFrame | None,
    *,
    day: datetime,
    tables: Tables,
) -> Log:
    """The log as the count of things left wants it.

    Parameters
    ----------
    name : str
        The file's name.
    events : DataFrame
        What was told up to the day.
    marks : GeoDataFrame or None
        The fold of these events (:func:`fieldmap.hazards.fold.fold`, so also what was cleared)
        in the run's metric system, not grown; ``None`` without a log. What stands counts
        whenever it was found. What was cleared counts when it was last told of or cleared
        within the days a look is good for, or nobody knows when.
    day : datetime
        The end of the day the question is asked, aware.
    tables : Tables
        ``looking.valid_days``, and ``looking.position_radius_m``: the least radius a mark is
        uncertain by.
    """
    since = day - timedelta(days=tables.number("looking.valid_days"))
    if marks is None:
        none = np.empty(0, object)
        empty = (none, np.empty(0), none, np.empty(0, np.int64), none)
        return Log(name, False, *empty, {}, shapely.STRtree([]))
    kept = marks[_counts(marks, pd.Timestamp(since))]
    shapes = kept.geometry.to_numpy()
    own = kept["radius_m"].fillna(0.0).to_numpy(float)
    return Log(
        name=name,
        known=True,
        shapes=shapes,
        within_m=np.maximum(own, tables.number("looking.position_radius_m")),
        kind=kept["kind"].to_numpy(dtype=object),
        hits=kept["hits"].to_numpy(np.int64),
        key=kept["key"].to_numpy(dtype=object),
        seen_by=who_saw(events, kept, since=since),
        tree=shapely.STRtree(shapes),
    )


def roads_of(edges: gpd.GeoDataFrame | None, *, tables: Tables) -> Roads | None:
    """The public roads beside which litter gathers; ``None`` without roads.

    Parameters
    ----------
    edges : GeoDataFrame or None
        Legs of the road network in the run's metric system, columns ``highway`` and ``tags``.
    tables : Tables
        ``density.road_edge_m`` beside the road, and half the assumed width of its class; a
        class that is not in the table is taken for the widest.
    """
    if edges is None or edges.empty:
        return None
    rows = (row for row in tables.rows("road_widths") if row.unit == "m")
    half = {row.key.split(".", 1)[1]: row.number() / 2.0 for row in rows}
    public = edges[_public(edges)]
    beside = public["highway"].map(half).fillna(max(half.values())).to_numpy(float)
    lines = public.geometry.to_numpy()
    return Roads(
        lines=lines,
        reach_m=tables.number("density.road_edge_m") + beside,
        reached=shapely.box(*edges.total_bounds),
        tree=shapely.STRtree(lines),
    )


def ground_of(looked: FieldLooking, road: shapely.Geometry | None) -> Ground:
    """The field's cells, or a few whole pieces where nobody walked.

    Parameters
    ----------
    looked : FieldLooking
    road : shapely geometry or None
        As :func:`road_zone` gives it.
    """
    if not looked.walked:
        return _pieces(looked.outline, _wet(looked), road)
    cells = looked.cells
    edge = None if road is None else _inside(road, cells.x, cells.y)
    return Ground(np.full(len(cells.x), cells.area_m2), cells.flood > 0, edge)


def _wet(looked: FieldLooking) -> shapely.Geometry:
    return shapely.union_all([one.ground for one in looked.floods])


def _inside(
    zone: shapely.Geometry, x: NDArray[np.float64], y: NDArray[np.float64]
) -> NDArray[np.bool_]:
    shapely.prepare(zone)
    return shapely.contains_xy(zone, x, y)


def _pieces(outline: shapely.Geometry, wet: shapely.Geometry, road: shapely.Geometry) -> Ground:
    """Wet and dry, beside the road and not: the areas of the four."""
    shapes, flooded, beside = [], [], []
    edge = shapely.Polygon() if road is None else road
    for whole, is_wet in (
        (shapely.intersection(outline, wet), True),
        (shapely.difference(outline, wet), False),
    ):
        shapes += [shapely.intersection(whole, edge), shapely.difference(whole, edge)]
        flooded += [is_wet, is_wet]
        beside += [True, False]
    area_m2 = shapely.area(np.array(shapes, dtype=object))
    kept = area_m2 > 0
    at_edge = None if road is None else np.array(beside)[kept]
    return Ground(area_m2[kept], np.array(flooded)[kept], at_edge)


def road_zone(field: shapely.Geometry, roads: Roads | None) -> shapely.Geometry | None:
    """Ground near enough to a public road to gather its litter; ``None`` when nobody knows.

    Parameters
    ----------
    field : shapely geometry
        Boundary, metric.
    roads : Roads or None

    Returns
    -------
    shapely geometry or None
        The part of the field, empty when no public road is near. A network that does not reach
        round the field says nothing of the roads along it.
    """
    if roads is None or not shapely.covers(roads.reached, shapely.box(*field.bounds)):
        return None
    if len(roads.lines) == 0:
        return shapely.Polygon()
    widest = float(roads.reach_m.max())
    near = np.sort(roads.tree.query(field, predicate="dwithin", distance=widest))
    west, south, east, north = shapely.buffer(shapely.box(*field.bounds), 2 * widest).bounds
    pieces = shapely.clip_by_rect(roads.lines[near], west, south, east, north)
    beside = shapely.buffer(pieces, roads.reach_m[near])
    return shapely.union_all(shapely.intersection(beside, field))


def _public(edges: gpd.GeoDataFrame) -> NDArray[np.bool_]:
    shut = np.array([tags.get("access") in ("no", "private") for tags in edges["tags"]], bool)
    return ~edges["highway"].isin(_NO_TRAFFIC).to_numpy() & ~shut


def marks_of_field(field: shapely.Geometry, log: Log) -> NDArray[np.intp]:
    """Rows of the log's marks that may lie in a field, given how uncertain their places are."""
    if len(log.shapes) == 0:
        return np.empty(0, np.intp)
    widest = float(log.within_m.max())
    near = np.sort(log.tree.query(field, predicate="dwithin", distance=widest))
    return near[shapely.dwithin(log.shapes[near], field, log.within_m[near])]


def _counts(marks: gpd.GeoDataFrame, since: pd.Timestamp) -> NDArray[np.bool_]:
    moments = [marks[name] for name in ("time", "last_seen", "closed")]
    known = np.array([moment.notna() for moment in moments], bool).any(axis=0)
    lately = np.array([moment >= since for moment in moments], bool).any(axis=0)
    return marks["stands"].to_numpy(bool) | lately | ~known


def placed_marks(
    log: Log,
    rows: NDArray[np.intp],
    looked: FieldLooking,
    road: shapely.Geometry | None,
    *,
    tables: Tables,
) -> Marks:
    """On which ground each mark of a field may lie, and whether the walks account for it.

    Parameters
    ----------
    log : Log
    rows : ndarray of int, shape (marks,)
        As :func:`marks_of_field` gives them.
    looked : FieldLooking
        Whose floods count.
    road : shapely geometry or None
        As :func:`road_zone` gives it.
    tables : Tables
        Sweep widths of the kinds.
    """
    shapes, within = log.shapes[rows], log.within_m[rows]
    wet = _wet(looked)
    # a mark whose whole circle is wet, or outside the field, cannot lie on the field's dry part
    dry = shapely.difference(looked.outline, wet)
    none = np.zeros(len(rows), bool)
    return Marks(
        kind=log.kind[rows],
        hits=log.hits[rows],
        flooded=shapely.dwithin(shapes, wet, within),
        dry=shapely.dwithin(shapes, dry, within),
        road_edge=none if road is None else shapely.dwithin(shapes, road, within),
        walked=_walked(shapes, within, log.kind[rows], looked, tables),
    )


def _walked(
    shapes: NDArray[np.object_],
    within_m: NDArray[np.float64],
    kinds: NDArray[np.object_],
    looked: FieldLooking,
    tables: Tables,
) -> NDArray[np.bool_]:
    """Marks that lie within half their sweep width, and their own error, of a walk that counts.

    What was marked in passing, where nobody walked, says that it lies there and no more: it tells
    nothing of how many lie on a hectare.
    """
    near = np.zeros(len(shapes), bool)
    if not looked.walked or len(shapes) == 0:
        return near
    widths = {kind: sweep_width_m(str(kind), looked.sward_m, tables) for kind in set(kinds)}
    reach = within_m + np.array([widths[kind] / 2.0 for kind in kinds])
    flood = np.zeros(len(shapes), np.int16)
    for number, one in enumerate(looked.floods, 1):
        flood[shapely.dwithin(shapes, one.ground, within_m)] = number
    for numbers, lines in looked.walks_by_flood(np.unique(flood)):
        here = np.isin(flood, numbers)
        near[here] = shapely.dwithin(shapes[here], lines, reach[here])
    return near


def who_saw(
    events: pd.DataFrame, marks: gpd.GeoDataFrame, *, since: datetime
) -> dict[str, set[str]]:
    """The people who each found a mark by themselves.

    Only finds count, so two people only where two finds were merged: who sees a mark again knew
    of it, and has not found it anew.

    Parameters
    ----------
    events : DataFrame
        The log, columns ``hazard_id, verb, who, time`` (ISO text).
    marks : GeoDataFrame
        Its fold, columns ``key`` and ``members`` (ids with spaces between).
    since : datetime
        Earlier looks are left out; those of an unknown time are not.

    Returns
    -------
    dict
        ``key`` -> names; a mark that nobody told of since is not in it.
    """
    keys = marks["key"].tolist()
    key_of = dict(zip(keys, keys, strict=True))
    for key, members in zip(keys, marks["members"].tolist(), strict=True):
        if members != key:
            key_of |= dict.fromkeys((key, *ev.ids(members)), key)
    told = events[events["verb"] == ev.ADD]
    told = told[told["hazard_id"].isin(key_of)]
    times = pd.to_datetime(told["time"].replace("", None), utc=True, format="ISO8601")
    told = told[times.isna() | (times >= pd.Timestamp(since))]
    out: dict[str, set[str]] = {}
    for hazard_id, who in zip(told["hazard_id"].tolist(), told["who"].tolist(), strict=True):
        out.setdefault(str(key_of[hazard_id]), set()).add(who)
    return out
