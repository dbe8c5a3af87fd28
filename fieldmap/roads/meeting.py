"""Meeting traffic: where no car fits beside the machine, how far that goes on, where to pull in."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from fieldmap.crs import WGS84, transformer
from fieldmap.finding import Basis, Finding
from fieldmap.network import RoadData
from fieldmap.roads.access import said_of_access
from fieldmap.roads.cars import car_speeds_kmh
from fieldmap.roads.verdict import Floats, Mask
from fieldmap.tables import Tables

WHAT = "meeting traffic"
_CAUTION = (
    "CAUTION: nobody mapped who else is on the road, nor whether a verge carries. Look from each "
    "place to pull in as far as the next one, or send somebody ahead with a radio or a flag; who "
    "may stop traffic is for your own law to say, and the road authority or the police answer."
)
#: Roads that a car may back into: nobody has to be asked.
_PUBLIC = frozenset(
    ("trunk", "primary", "secondary", "tertiary", "unclassified", "residential", "living_street")
)
_ASIDE = frozenset(("service", "track", "road"))
_FREE = (0, 1)  # what said_of_access gives where nothing stands against it
_NONE, _MAYBE, _SURE = 0, 1, 2
_LEVELS = ("", "possibly", "surely")


@dataclass(frozen=True, eq=False)
class Meeting:
    """What was found of meeting traffic.

    Parameters
    ----------
    findings : list of Finding
    runs : list of dict
        Stretches on which no car fits beside the machine: sure (``surely`` or ``possibly``),
        where, from_m, to_m, length_m, minutes, legs (rows of the way's table, first and last),
        lon, lat. A stretch that is surely one lies within one that is possibly one.
    pull_ins : list of dict
        Places to let others by, in order: sure, kind (``wide road``, ``passing place``,
        ``side road``), where, at_m, lon, lat.
    alone : ndarray of bool
        Legs of the way on which a car may find no room.
    """

    findings: list[Finding]
    runs: list[dict[str, Any]]
    pull_ins: list[dict[str, Any]]
    alone: Mask


def room_needed_m(machine_width_m: float, *, tables: Tables) -> float:
    """Width of road that a machine and a car beside it ask for.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> room_needed_m(3.0, tables=load_tables())
    6.0
    """
    rows = ("car_width_m", "between_m", "edge_m", "edge_m")
    return machine_width_m + sum(tables.number(f"meeting.{row}") for row in rows)


def meeting_on(
    data: RoadData,
    legs: gpd.GeoDataFrame,
    *,
    machine_width_m: float | None,
    speed_kmh: float | None,
    tables: Tables,
) -> Meeting:
    """Where a way leaves no room for a car beside the machine, and the places to pull in.

    Parameters
    ----------
    data : RoadData
    legs : GeoDataFrame
        The way, as :class:`fieldmap.roads.answer.Move` has it.
    machine_width_m : float or None
        In the transport state of the move.
    speed_kmh : float or None
        Of the machine on the road.
    tables : Tables

    Notes
    -----
    A leg is surely too narrow when the high end of its width is under what is needed, possibly
    when the low end is or nobody knows. Sure runs end at whatever may be a place to pull in,
    possible ones only at what surely is one.
    """
    if legs.empty:
        return Meeting([], [], [], np.zeros(0, dtype=bool))
    wide = math.nan if machine_width_m is None else machine_width_m
    need = room_needed_m(wide, tables=tables)
    way = _way_of(data, legs, tables)
    narrow = _narrow(legs, need)
    aside = _aside(data, way)
    runs = [
        *_runs(way, narrow == _SURE, aside.sure > _NONE, "surely", speed_kmh),
        *_runs(way, narrow >= _MAYBE, aside.sure == _SURE, "possibly", speed_kmh),
    ]
    return Meeting(
        [_finding(legs, runs, need, wide, speed_kmh=speed_kmh, tables=tables)],
        runs,
        _pull_ins(way, narrow, aside),
        narrow >= _MAYBE,
    )


@dataclass(frozen=True, eq=False)
class _Way:
    """The way's legs in the network: row, tags, car speed; where each begins; the nodes between."""

    rows: NDArray[np.int64]
    tags: list[dict[str, str]]
    names: list[str]
    ends_m: Floats  # one more than legs
    lon: Floats  # one more than legs
    lat: Floats
    node: NDArray[np.int64]  # between the legs, one fewer
    car_kmh: Floats


def _way_of(data: RoadData, legs: gpd.GeoDataFrame, tables: Tables) -> _Way:
    rows = pd.Index(data.edges["leg_id"]).get_indexer(legs["leg_id"])
    edges = data.edges.iloc[rows]
    ahead = np.where(legs["along"].to_numpy(dtype=bool), edges["v"], edges["u"])
    lines = legs.geometry.to_numpy()
    corners = shapely.get_coordinates(
        np.append(shapely.get_point(lines, 0), shapely.get_point(lines[-1:], -1))
    )
    lon, lat = transformer(data.crs, WGS84).transform(corners[:, 0], corners[:, 1])
    tags = edges["tags"].tolist()
    return _Way(
        rows=rows,
        tags=tags,
        names=legs["name"].tolist(),
        ends_m=np.concatenate([[0.0], np.cumsum(legs["length_m"].to_numpy(dtype=float))]),
        lon=lon,
        lat=lat,
        node=ahead[:-1].astype(np.int64),
        car_kmh=car_speeds_kmh(tags, legs["highway"].tolist(), tables=tables),
    )


def _narrow(legs: gpd.GeoDataFrame, need: float) -> NDArray[np.int8]:
    """0 where a car fits beside the machine, 1 where it may not, 2 where it surely does not."""
    low = legs["width_low_m"].to_numpy(dtype=float)
    high = legs["width_high_m"].to_numpy(dtype=float)
    maybe = np.where(low >= need, _NONE, _MAYBE)
    return np.where(high < need, _SURE, maybe).astype(np.int8)


@dataclass(frozen=True, eq=False)
class _Aside:
    """What each node between two legs of the way is: no place to pull in, maybe one, surely one."""

    sure: NDArray[np.int8]
    kind: list[str]


def _aside(data: RoadData, way: _Way) -> _Aside:
    sure = np.zeros(len(way.node), dtype=np.int8)
    kind = ["side road"] * len(way.node)
    ends = data.edges[["u", "v"]].to_numpy()
    touching = np.flatnonzero(np.isin(ends, way.node).any(axis=1))
    side = _side_roads(data, touching[~np.isin(touching, way.rows)])
    marked = data.nodes["tags"].iloc[way.node].tolist()
    spread = [_has_passing_places(one) for one in way.tags]
    for place, node in enumerate(way.node.tolist()):
        sure[place] = side.get(node, _NONE)
        if marked[place].get("highway") == "passing_place":
            sure[place], kind[place] = _SURE, "passing place"
        elif not sure[place] and (spread[place] or spread[place + 1]):
            sure[place], kind[place] = _MAYBE, "passing place"
    return _Aside(sure, kind)


def _side_roads(data: RoadData, rows: NDArray[np.int64]) -> dict[int, int]:
    """By node: whether a road that is not on the way leaves it that a car may back into."""
    out: dict[int, int] = {}
    edges = data.edges.iloc[rows]
    columns = (edges["u"], edges["v"], edges["highway"], edges["tags"])
    for u, v, kind, tags in zip(*columns, strict=True):
        if said_of_access(tags) not in _FREE or tags.get("motor_vehicle") == "no":
            continue
        sure = _SURE if kind.removesuffix("_link") in _PUBLIC else _NONE
        here = _MAYBE if kind in _ASIDE else sure
        for node in (int(u), int(v)):
            out[node] = max(out.get(node, _NONE), here)
    return out


def _has_passing_places(tags: dict[str, str]) -> bool:
    return tags.get("passing_places", "no") != "no"


def _runs(
    way: _Way, narrow: Mask, ends_here: Mask, sure: str, speed_kmh: float | None
) -> Iterator[dict[str, Any]]:
    """Runs of narrow legs without a place to pull in between."""
    first = None
    for leg, here in enumerate([*narrow.tolist(), False]):
        cut = first is not None and (not here or bool(ends_here[leg - 1]))
        if first is not None and cut:
            yield _run(way, first, leg, sure, speed_kmh)
            first = None
        if here and first is None:
            first = leg


def _run(way: _Way, first: int, last: int, sure: str, speed_kmh: float | None) -> dict[str, Any]:
    begin, end = float(way.ends_m[first]), float(way.ends_m[last])
    minutes = None if not speed_kmh else (end - begin) / 1000.0 / speed_kmh * 60.0
    return {
        "sure": sure,
        "where": way.names[first],
        "from_m": round(begin, 1),
        "to_m": round(end, 1),
        "length_m": round(end - begin, 1),
        "minutes": None if minutes is None else round(minutes, 2),
        "car_kmh": round(float(way.car_kmh[first:last].max()), 1),
        "legs": (first, last - 1),
        "lon": round(float(way.lon[first]), 7),
        "lat": round(float(way.lat[first]), 7),
    }


def _pull_ins(way: _Way, narrow: NDArray[np.int8], aside: _Aside) -> list[dict[str, Any]]:
    """Places to let others by, in driving order: where a wide road begins, and side roads."""
    found = [
        _pull_in(way, leg, _SURE, "wide road", leg)
        for leg in np.flatnonzero(narrow == _NONE).tolist()
        if leg == 0 or narrow[leg - 1] > _NONE
    ]
    found += [
        _pull_in(way, place + 1, int(aside.sure[place]), aside.kind[place], place)
        for place in np.flatnonzero(aside.sure > _NONE).tolist()
        if narrow[place] > _NONE or narrow[place + 1] > _NONE
    ]
    return sorted(found, key=lambda one: one["at_m"])


def _pull_in(way: _Way, at: int, sure: int, kind: str, named: int) -> dict[str, Any]:
    return {
        "sure": _LEVELS[sure],
        "kind": kind,
        "where": way.names[named],
        "at_m": round(float(way.ends_m[at]), 1),
        "lon": round(float(way.lon[at]), 7),
        "lat": round(float(way.lat[at]), 7),
    }


def _finding(
    legs: gpd.GeoDataFrame,
    runs: list[dict[str, Any]],
    need: float,
    wide: float,
    *,
    speed_kmh: float | None,
    tables: Tables,
) -> Finding:
    more: dict[str, Any] = {
        "what": WHAT,
        "sources": tables.source_of("meeting.car_width_m", "meeting.between_m", "meeting.edge_m"),
        "caution": _CAUTION,
    }
    if math.isnan(wide):
        why = "The transport width of the machine is not known."
        return Finding("unknown", where="the machine", why=why, basis="assumed", **more)
    if not runs:
        why = "On the whole way the road leaves room for a car beside the machine."
        return Finding(
            "ok", where="the whole way", why=why, basis=_weakest(legs), limit=need, unit="m", **more
        )
    longest = {
        sure: max((one for one in runs if one["sure"] == sure), key=_length, default=None)
        for sure in ("surely", "possibly")
    }
    worst = longest["possibly"] or runs[0]
    surely = longest["surely"]
    return Finding(
        "care",
        where=worst["where"],
        why=_words(runs, worst, speed_kmh),
        basis=_weakest(legs),
        low=0.0 if surely is None else surely["length_m"],
        high=worst["length_m"],
        unit="m",
        lon=worst["lon"],
        lat=worst["lat"],
        **more,
    )


def _length(run: dict[str, Any]) -> float:
    return float(run["length_m"])


def _words(runs: list[dict[str, Any]], worst: dict[str, Any], speed_kmh: float | None) -> str:
    count = {sure: sum(one["sure"] == sure for one in runs) for sure in ("surely", "possibly")}
    said = (
        f"No room for a car beside the machine: possibly on {count['possibly']}, surely on "
        f"{count['surely']} stretches. The longest between places to pull in"
    )
    if not speed_kmh:
        return f"{said} is given; how long it takes is not known, because the road speed is not."
    minutes = worst["minutes"]
    takes = f"{60 * minutes:.0f} s" if minutes < 2 else f"{minutes:.0f} min"
    return (
        f"{said} takes up to {takes} at road speed; a car may come the whole stretch towards you "
        f"in {worst['length_m'] / worst['car_kmh'] * 3.6:.0f} s."
    )


def _weakest(legs: gpd.GeoDataFrame) -> Basis:
    held = set(legs["width_basis"])
    order: tuple[Basis, ...] = ("assumed", "mapped", "measured")
    return next((one for one in order if one in held), "assumed")
