"""Ways into legs: cut at junctions and tagged nodes, with lengths and directions."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Geod

from fieldmap.crs import WGS84, transformer
from fieldmap.read.osm_scan import Scan
from fieldmap.read.road_tags import Tags

_ELLIPSOID = Geod(ellps="WGS84")
_ALONG = frozenset(("yes", "1", "true"))
_AGAINST = frozenset(("-1", "reverse"))
_BOTH = frozenset(("no", "0", "false", "alternating"))
_ONE_WAY_KEYS = ("oneway:agricultural", "oneway:motor_vehicle", "oneway:vehicle", "oneway")
_ROUND = frozenset(("roundabout", "circular"))

_NOTHING: Tags = {}  # one for all points that say nothing

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Legs:
    """The tables cut so far, and which points each leg is made of."""

    edges: gpd.GeoDataFrame
    nodes: pd.DataFrame
    way_rows: Ints  # row of the way of each leg
    warnings: tuple[str, ...]


def directions(tags: Tags) -> tuple[bool, bool]:
    """Whether a way may be driven along its line and against it, by its one-way tags.

    A one-way that is turned about by the hour (``reversible``), or says what nobody can read,
    is open in neither direction; one by the hour counts at every hour. What is said of farm or
    motor vehicles goes before what is said of all.

    Examples
    --------
    >>> directions({"oneway": "yes"}), directions({"oneway": "-1"}), directions({})
    ((True, False), (False, True), (True, True))
    >>> directions({"highway": "motorway"}), directions({"junction": "roundabout"})
    ((True, False), (True, False))
    >>> directions({"oneway": "yes", "oneway:agricultural": "no"}), directions({"oneway": "maybe"})
    ((True, True), (False, False))
    """
    said = next((tags[key] for key in _ONE_WAY_KEYS if key in tags), None)
    implied = tags.get("junction") in _ROUND or tags.get("highway") == "motorway"
    along, against = (True, not implied) if said is None else _open(said)
    for part in tags.get("oneway:conditional", "").split(";"):
        if "@" in part:
            now = _open(part.partition("@")[0])
            along, against = along and now[0], against and now[1]
    return along, against


def _open(said: str) -> tuple[bool, bool]:
    word = said.strip().lower()
    if word in _BOTH:
        return True, True
    return word in _ALONG, word in _AGAINST


def cut(found: Scan, *, crs: CRS) -> Legs:
    """Cut the roads of one pass into legs.

    Parameters
    ----------
    found : Scan
    crs : pyproj.CRS
        Projected, metres: what lines and nodes are handed on in. Lengths are geodesic on the
        WGS 84 ellipsoid, so they do not depend on it.
    """
    roads = found.roads
    lon, lat = roads.lon_lat()
    refs = np.array(roads.refs, dtype=np.int64)
    way = np.repeat(np.arange(len(roads.ids)), np.diff(roads.start))
    here = np.isfinite(lon)
    keep = here & ~_repeated(refs, way)
    run = np.cumsum(~here)[keep]  # changes wherever a point is missing
    warnings = _missing(here, way)
    refs, way, lon, lat = refs[keep], way[keep], lon[keep], lat[keep]
    first, last = _cuts(refs, way, run, _cut_at(found))
    return _tables(found, refs, way, (lon, lat), first, last, crs=crs, warnings=warnings)


def _repeated(refs: Ints, way: Ints) -> NDArray[np.bool_]:
    same = np.zeros(len(refs), dtype=bool)
    same[1:] = (refs[1:] == refs[:-1]) & (way[1:] == way[:-1])
    return same


def _missing(here: NDArray[np.bool_], way: Ints) -> tuple[str, ...]:
    gone = int((~here).sum())
    if gone == 0:
        return ()
    ways = len(np.unique(way[~here]))
    return (f"{gone} points of {ways} ways are not in the file; the ways end there",)


def _cut_at(found: Scan) -> Ints:
    via = [
        ref
        for rule in found.rules
        for kind, ref, role in rule.members
        if kind == "n" and role == "via"
    ]
    return np.array([*found.node_tags, *via], dtype=np.int64)


def _cuts(refs: Ints, way: Ints, run: Ints, tagged: Ints) -> tuple[Ints, Ints]:
    """First and last point of every leg, as rows of the points."""
    if len(refs) == 0:
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    _, row, count = np.unique(refs, return_inverse=True, return_counts=True)
    begins = np.ones(len(refs), dtype=bool)
    begins[1:] = (way[1:] != way[:-1]) | (run[1:] != run[:-1])
    ends = np.append(begins[1:], True)
    stop = begins | ends | (count[row] > 1) | np.isin(refs, tagged)
    at = np.flatnonzero(stop)
    joined = ~begins[at[1:]]
    return at[:-1][joined], at[1:][joined]


def _tables(
    found: Scan,
    refs: Ints,
    way: Ints,
    degrees: tuple[Floats, Floats],
    first: Ints,
    last: Ints,
    *,
    crs: CRS,
    warnings: tuple[str, ...],
) -> Legs:
    lon, lat = degrees
    x, y = transformer(WGS84, crs).transform(lon, lat)
    node_ids, at = np.unique(refs[np.concatenate([first, last])], return_index=True)
    point = np.concatenate([first, last])[at]
    nodes = pd.DataFrame(
        {"node_id": node_ids, "x": np.asarray(x)[point], "y": np.asarray(y)[point]}
    )
    nodes["tags"] = _column([found.node_tags.get(one, _NOTHING) for one in node_ids.tolist()])
    size = last - first + 1
    leg = np.repeat(np.arange(len(first)), size)
    points = np.arange(int(size.sum())) - np.repeat(np.cumsum(size) - size - first, size)
    lines = shapely.linestrings(np.column_stack([x, y])[points], indices=leg)
    rows = way[first]
    edges = _edges(found, rows, _lengths(lon[points], lat[points], leg, len(first)))
    edges["u"] = np.searchsorted(node_ids, refs[first])
    edges["v"] = np.searchsorted(node_ids, refs[last])
    return Legs(gpd.GeoDataFrame(edges, geometry=lines, crs=crs), nodes, rows, warnings)


def _lengths(lon: Floats, lat: Floats, leg: Ints, count: int) -> Floats:
    if count == 0:
        return np.zeros(0)
    _, _, metres = _ELLIPSOID.inv(lon[:-1], lat[:-1], lon[1:], lat[1:])
    within = leg[1:] == leg[:-1]
    sums = np.bincount(leg[1:][within], weights=metres[within], minlength=count)
    return sums.astype(np.float64)


def _edges(found: Scan, rows: Ints, length_m: Floats) -> pd.DataFrame:
    roads = found.roads
    ids = np.array(roads.ids, dtype=np.int64)[rows]
    piece = pd.Series(ids).groupby(ids).cumcount()  # a way may stand there in several parts
    ways = [directions(tags) for tags in roads.tags]
    open_ = np.array(ways, dtype=bool).reshape(-1, 2)[rows]
    kind = [tags["highway"] for tags in roads.tags]
    name = [tags.get("name") or tags.get("ref") or "" for tags in roads.tags]
    order = rows.tolist()
    return pd.DataFrame(
        {
            "leg_id": [
                f"{way}-{part}" for way, part in zip(ids.tolist(), piece.tolist(), strict=True)
            ],
            "way_id": ids,
            "length_m": length_m,
            "highway": [kind[row] for row in order],
            "name": [name[row] for row in order],
            "forward": open_[:, 0],
            "backward": open_[:, 1],
            "tags": _column([roads.tags[row] for row in order]),
        }
    ).astype({"leg_id": "str", "highway": "str", "name": "str"})


def _column(things: list[Tags]) -> pd.Series:
    held = np.empty(len(things), dtype=object)
    held[:] = things
    return pd.Series(held, dtype=object)
