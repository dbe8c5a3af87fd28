"""The corners of a way, told one by one and drawn: turns, bends inside legs, farm gates."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import shapely

from fieldmap.crs import WGS84, transformer
from fieldmap.finding import Finding, rank
from fieldmap.network import RoadData
from fieldmap.roads.answer import Corner
from fieldmap.roads.corner import Kerb
from fieldmap.roads.corner_shape import Drawing, Place, draw
from fieldmap.roads.deflections import leg_bearings, leg_bends, turned_deg
from fieldmap.roads.search import Way
from fieldmap.roads.train import Trains
from fieldmap.roads.turn_check import Trials, Widths, bends_of, turns_of
from fieldmap.roads.turn_room import BEND, Corners, held_against, kerbs_of
from fieldmap.roads.turns import TurnNet
from fieldmap.roads.verdict import LEVEL_OF, Verdict
from fieldmap.tables import Tables

#: As many corners are drawn, the worst first.
MOST_DRAWN = 40
CAUTION = (
    "WARNING: reckoned for walking pace, without slip and without what swings out beyond the "
    "transport size. Drive it on trial with somebody watching both sides, and keep to what the "
    "maker's manual says of turning on the road."
)


class GateAt(NamedTuple):
    """A farm gate at an end of the way: its opening in metres (NaN not known) and its place."""

    gate_id: str
    width_m: float
    lon: float
    lat: float
    leaving: bool  # at the start, from the gate onto the road


class _Spot(NamedTuple):
    """What is known of one corner before it is drawn."""

    corner: Corner
    place: Place
    low: tuple[tuple[float, float], Kerb]
    high: tuple[tuple[float, float], Kerb]


class _Told(NamedTuple):
    data: RoadData
    trains: Trains
    tables: Tables


class _At(NamedTuple):
    """Where a corner is: its place, its words, x and y (m), the bearing of the road in."""

    place: str
    where: str
    x: float
    y: float
    bearing_deg: float


def corners_on(
    data: RoadData,
    net: TurnNet,
    way: Way,
    *,
    widths: Widths,
    trains: Trains,
    tables: Tables,
    trials: Trials | None = None,
    gates: Sequence[GateAt] = (),
) -> tuple[Corner, ...]:
    """Every corner of a way that is not nearly straight, in driving order.

    Parameters
    ----------
    data : RoadData
    net : TurnNet
    way : Way
        Over the same network.
    widths : Widths
        As :func:`fieldmap.roads.turn_check.turn_check` takes them.
    trains : Trains
    tables : Tables
    trials : mapping, optional
        As :func:`fieldmap.roads.turn_check.turn_check` takes them.
    gates : sequence of GateAt
        Of the farm, at the ends of the way.

    Returns
    -------
    tuple of Corner
        Only the worst :data:`MOST_DRAWN` have outlines.
    """
    told = _Told(data, trains, tables)
    held = turns_of(data, net, widths, trains, tables=tables, trials=trials).some(way.turns)
    turns = _spots(told, held, lambda order: _at_node(data, net, way, order, tables))
    held = bends_of(data, widths, tables=tables, trials=trials).some(way.legs)
    bends = _spots(told, held, lambda order: _at_bend(data, int(way.legs[order]), tables))
    through = [(gate.leaving, _gate(told, way, widths, gate)) for gate in gates]
    there = [spot for leaving, spot in through if leaving and spot is not None]
    for order in range(len(way.legs)):
        there += [held[order] for held in (bends, turns) if order in held]
    there += [spot for leaving, spot in through if not leaving and spot is not None]
    worst = sorted(range(len(there)), key=lambda row: _badness(there[row].corner))[:MOST_DRAWN]
    drawn = set(worst)
    return tuple(
        _drawn(told, spot) if row in drawn else spot.corner for row, spot in enumerate(there)
    )


def corner_findings(corners: Sequence[Corner], *, tables: Tables) -> list[Finding]:
    """A finding for every corner that does not pass, and one for those that do.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> corner_findings([], tables=load_tables())
    []
    """
    sources = tables.source_of("turning.straight_deg", "clearances.side_m")
    told = [_finding(one, sources) for one in corners if one.level != "ok"]
    passed = [one for one in corners if one.level == "ok"]
    if passed:
        tightest = min(passed, key=_badness)
        word = "corner" if len(passed) == 1 else "corners"
        told.append(
            replace(
                _finding(tightest, sources),
                where=f"{len(passed)} {word}, tightest: {tightest.where}",
            )
        )
    return told


def _finding(one: Corner, sources: tuple[str, ...]) -> Finding:
    return Finding(
        level=one.level,
        what="turn",
        where=one.where,
        why=one.why,
        basis="assumed",
        sources=sources,
        value=one.low_m if math.isfinite(one.low_m) else None,
        limit=one.need_m if math.isfinite(one.need_m) else None,
        unit="m",
        caution=CAUTION,
        lon=one.lon,
        lat=one.lat,
    )


def _badness(corner: Corner) -> tuple[float, float]:
    room = corner.low_m - corner.need_m
    return (-rank(corner.level), room if math.isfinite(room) else -math.inf)


def _spots(told: _Told, corners: Corners, at: Callable[[int], _At]) -> dict[int, _Spot]:
    """The corners that are not nearly straight, by their row."""
    verdict = held_against(corners, told.trains, tables=told.tables)
    turning = ~(np.abs(corners.deflection_deg) < told.tables.number("turning.straight_deg"))
    rows = np.flatnonzero(turning).tolist()
    return {row: _spot(told, corners, verdict, row, at(row)) for row in rows}


def _at_node(data: RoadData, net: TurnNet, way: Way, order: int, tables: Tables) -> _At:
    """Where the way goes from one of its legs into the next."""
    before, after = int(way.legs[order]), int(way.legs[order + 1])
    node = data.nodes.iloc[int(net.end_node[before])]
    _, end = leg_bearings(_only(data, before), tables.number("turning.chord_m"))
    return _At(
        f"node/{node['node_id']}",
        f"from {_name(data, before)} into {_name(data, after)}",
        float(node["x"]),
        float(node["y"]),
        float(end[before % 2]),
    )


def _at_bend(data: RoadData, leg: int, tables: Tables) -> _At:
    """Where the sharpest bend of a leg lies, and the bearing of the road before it."""
    window = tables.number("turning.bend_window_m")
    line = data.edges.geometry.iloc[leg // 2]
    at_m = float(leg_bends(_only(data, leg), window, tables.number("turning.kink_m")).at_m[0])
    if leg % 2:
        line, at_m = shapely.reverse(line), line.length - at_m
    spot, before = line.interpolate(at_m), line.interpolate(max(0.0, at_m - window / 2.0))
    return _At(
        f"leg/{data.edges['leg_id'].iloc[leg // 2]}",
        f"bend of {_name(data, leg)}",
        spot.x,
        spot.y,
        _bearing(before, spot),
    )


def _only(data: RoadData, leg: int) -> RoadData:
    return replace(data, edges=data.edges.iloc[[leg // 2]])


def _bearing(one: shapely.Point, other: shapely.Point) -> float:
    return math.degrees(math.atan2(other.x - one.x, other.y - one.y)) % 360.0


def _gate(told: _Told, way: Way, widths: Widths, gate: GateAt) -> _Spot | None:
    """The turn through a gate at an end of the way; its posts are a corner without rounding.

    ``None`` where the way goes straight through: there the opening alone is held against it.
    """
    leg = int(way.legs[0 if gate.leaving else -1])
    line = told.data.edges.geometry.iloc[leg // 2]
    line = shapely.reverse(line) if leg % 2 else line
    spot = shapely.Point(transformer(WGS84, told.data.crs).transform(gate.lon, gate.lat))
    foot_m = line.project(spot)
    foot = line.interpolate(foot_m)
    chord = told.tables.number("turning.chord_m")
    road = _bearing(line.interpolate(max(0.0, foot_m - chord)), line.interpolate(foot_m + chord))
    off = _bearing(spot, foot) if gate.leaving else _bearing(foot, spot)
    ways = (off, road) if gate.leaving else (road, off)
    turned = float(turned_deg(np.array(ways[0]), np.array(ways[1])))
    if foot.distance(spot) < np.nan_to_num(widths.high_m[leg]) / 2.0:
        turned = math.copysign(told.tables.number("turning.gate_deg"), turned)
    if abs(turned) < told.tables.number("turning.straight_deg"):
        return None
    order = slice(None, None, -1) if gate.leaving else slice(None)
    low, high = ((float(one[leg]), gate.width_m)[order] for one in widths)
    corners = Corners(
        np.array([turned]),
        np.array([low]),
        np.array([high]),
        np.array([BEND + 1]),
        np.array([len(kerbs_of(told.tables).high) - 1]),
        np.array([False]),
        *(np.array([np.nan]),) * 3,
    )
    verdict = held_against(corners, told.trains, tables=told.tables)
    at = _At(f"gate/{gate.gate_id}", f"gate {gate.gate_id}", spot.x, spot.y, ways[0])
    return _spot(told, corners, verdict, 0, at)


def _spot(told: _Told, corners: Corners, verdict: Verdict, row: int, at: _At) -> _Spot:
    kerbs = kerbs_of(told.tables)
    lon, lat = transformer(told.data.crs, WGS84).transform(at.x, at.y)
    deflection = float(corners.deflection_deg[row])
    corner = Corner(
        place=at.place,
        where=at.where,
        level=LEVEL_OF[verdict.level[row]],
        why=verdict.reasons[verdict.why[row]],
        deflection_deg=deflection,
        low_m=float(verdict.low[row]),
        high_m=float(verdict.high[row]),
        need_m=float(verdict.need[row]),
        lon=lon,
        lat=lat,
        **Drawing([], [], [], [])._asdict(),
    )
    low, high = (
        (float(one[row, 0]), float(one[row, 1])) for one in (corners.low_m, corners.high_m)
    )
    return _Spot(
        corner,
        Place(deflection, at.bearing_deg),
        (low, kerbs.careful[corners.low_kerb[row]]),
        (high, kerbs.high[corners.high_kerb[row]]),
    )


def _drawn(told: _Told, spot: _Spot) -> Corner:
    """The corner with its outlines; one that is too sharp to be reckoned has none."""
    if abs(spot.corner.deflection_deg) > told.tables.number("turning.sharpest_deg"):
        return spot.corner
    drawing = draw(
        spot.place,
        spot.low,
        spot.high,
        train=told.trains.most or told.trains.least,
        clear_m=told.tables.number("clearances.side_m"),
    )
    return replace(spot.corner, **drawing._asdict())


def _name(data: RoadData, leg: int) -> str:
    """Name of a leg's road, or its class and way."""
    row = data.edges.iloc[leg // 2]
    return str(row["name"]) or f"{row['highway'].replace('_', ' ')} (way {row['way_id']})"
