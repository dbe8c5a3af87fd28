"""The places on a way that decide how wide a machine may be, told for people."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldmap.crs import WGS84, transformer
from fieldmap.finding import Basis
from fieldmap.roads.district import District
from fieldmap.roads.room import Asked, Room
from fieldmap.roads.rooms import Rooms
from fieldmap.roads.search import Way
from fieldmap.roads.survey import KIND_OF
from fieldmap.roads.verdict import BASIS_OF, Floats, Verdict
from fieldmap.roads.wording import MEASURE, WHAT

#: Widths this much apart are the same (m).
SAME_M = 1e-6
_CALLED = ("barrier", "traffic_calming", "railway")  # tags that say what a node is
_Named = tuple[str, str, float, float]


@dataclass(frozen=True, slots=True)
class Deciding:
    """A place that decides how wide a machine may be.

    ``low_m`` and ``high_m`` are the width that is there, NaN where none is known; ``kind`` is
    the road check that would settle it, ``measure`` what to measure.
    """

    place: str
    name: str
    check: str
    low_m: float
    high_m: float
    basis: Basis
    why: str
    kind: str
    measure: str
    lon: float
    lat: float


def deciding(
    district: District, rooms: Rooms, way: Way, width_m: float, *, sure: bool
) -> list[Deciding]:
    """The places on a way with no more room than the width, each way and node once."""
    met: dict[str, Deciding] = {}
    legs = _side(rooms.legs, rooms.asked_legs, rooms.other_legs, width_m, sure=sure)
    nodes = _side(rooms.nodes, rooms.asked_nodes, rooms.other_nodes, width_m, sure=sure)
    last = len(way.legs) - 1
    for order, leg in enumerate(way.legs.tolist()):
        if legs.room[leg] <= width_m + SAME_M:
            one = _leg_told(district, leg, *legs.said(leg, len(legs.room)))
            met.setdefault(one.place, one)
        node = int(district.net.end_node[leg])
        if order < last and nodes.room[node] <= width_m + SAME_M:
            one = _node_told(district, node, *nodes.said(node, len(district.ground.spots)))
            met.setdefault(one.place, one)
    return list(met.values())


class _Side(NamedTuple):
    """One end of the room at legs or nodes, and what each check says of a wider machine."""

    room: Floats
    by: NDArray[np.int64]
    names: tuple[str, ...]
    asked: Callable[[str, int], Verdict]

    def said(self, place: int, count: int) -> tuple[str, Verdict]:
        name = self.names[int(self.by[place])]
        return name, self.asked(name, count)


def _side(
    room: Room,
    asked: dict[str, Asked],
    others: dict[str, Verdict],
    width_m: float,
    *,
    sure: bool,
) -> _Side:
    @cache
    def verdict(name: str, count: int) -> Verdict:
        wider = np.full(count, width_m + 2.0 * SAME_M)
        return others[name] if name in others else asked[name](wider)

    held = (room.low, room.low_by) if sure else (room.high, room.high_by)
    return _Side(*held, room.names, verdict)


def _leg_told(district: District, leg: int, name: str, verdict: Verdict) -> Deciding:
    row = district.data.edges.iloc[leg // 2]
    spot = row.geometry.interpolate(0.5, normalized=True)
    called = row["name"] or f"unnamed {row['highway'].replace('_', ' ')}"
    return _told(district, (f"way/{row['way_id']}", called, spot.x, spot.y), name, verdict, leg)


def _node_told(district: District, node: int, name: str, verdict: Verdict) -> Deciding:
    row = district.data.nodes.iloc[node]
    called = next((row["tags"][key] for key in _CALLED if key in row["tags"]), "a point")
    named = (f"node/{row['node_id']}", called.replace("_", " "), row["x"], row["y"])
    return _told(district, named, name, verdict, int(district.ground.spot[node]))


def _told(district: District, named: _Named, name: str, verdict: Verdict, row: int) -> Deciding:
    place, called, x, y = named
    lon, lat = transformer(district.data.crs, WGS84).transform(x, y)
    return Deciding(
        place=place,
        name=called,
        check=WHAT[name],
        low_m=float(verdict.low[row]) if verdict.unit == "m" else np.nan,
        high_m=float(verdict.high[row]) if verdict.unit == "m" else np.nan,
        basis=BASIS_OF[verdict.basis[row]],
        why=verdict.sentences(np.array([row]))[0],
        kind=KIND_OF[name],
        measure=MEASURE[name],
        lon=float(lon),
        lat=float(lat),
    )
