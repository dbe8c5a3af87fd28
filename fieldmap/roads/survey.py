"""The survey list: the fewest places whose measuring would settle a way."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from fieldmap.crs import WGS84, transformer
from fieldmap.network import RoadData
from fieldmap.roads.answer import Corner
from fieldmap.roads.checks import LEG_CHECKS, NODE_CHECKS, Checked
from fieldmap.roads.choose import ASKED_FOR, FIGURE_OF, lacks_figure
from fieldmap.roads.facts import OnRoad
from fieldmap.roads.measured import ANSWERED
from fieldmap.roads.search import Way
from fieldmap.roads.tell import Record, bad_nodes, runs, untold_legs, where
from fieldmap.roads.tell_legs import figure_column
from fieldmap.roads.verdict import BASIS_OF, LEVEL_OF
from fieldmap.roads.wording import LINE_MEASURE, MACHINE_MEASURE, MEASURE, UNITS

#: Which kind of road check settles a check; see :data:`fieldmap.roads.measured.KINDS`.
KIND_OF = {
    "width": "width",
    "opening": "opening",
    "width_limit": "width_limit",
    "height": "height",
    "height_limit": "height_limit",
    "length": "length_limit",
    "mass": "mass",
    "axles": "axle",
    "access": "access",
    "water": "ford",
    "surface": "surface",
    "grade": "grade",
    "turn": "turn",
}
#: A figure told for a way counts for all its legs, so it has to be that of the worst of them.
_ALONG = {"width": "the least along all of it", "height": "the least along all of it"} | {
    "surface": "all along it"
}
_NODE, _TURN = 0.5, 0.6  # behind the leg that leads to them

Found = dict[tuple[str, str], dict[str, Any]]


def survey(
    legs: gpd.GeoDataFrame,
    nodes: pd.DataFrame,
    machine: OnRoad,
    turns: Sequence[Record] = (),
) -> list[dict[str, Any]]:
    """Where to go and what to measure, each with the figure it must beat, in driving order.

    What is unknown is on the list, and what is refused on an assumption only; what a sign or a
    law refuses is not, nor a fall of which no height is known. One way asks for one measure
    once, however many of its legs are driven: the least along it. What the machine's own
    missing figure makes unknown is asked for once.

    Parameters
    ----------
    legs, nodes : DataFrame
        The way as :func:`fieldmap.roads.tell_legs.leg_table` and ``node_table`` give it.
    machine : OnRoad
    turns : sequence of dict
        As :func:`turn_rows` and :func:`bend_rows` give them.

    Returns
    -------
    list of dict
        place, where, kind (of the road check that settles it, "" when none does), measure,
        must_beat (``None`` where an answer is wanted), unit, why, lon, lat.
    """
    found: Found = {}
    for check in _lacking(legs, nodes, machine):
        found["machine", check] = _of_machine(check)
    rows = [*_bad_legs(legs, machine), *_bad_nodes(legs, nodes, machine), *_bad_turns(turns)]
    for _, place, row, check in sorted(rows, key=lambda one: one[0]):
        _add(found, place, row, check)
    return list(found.values())


def _lacking(legs: gpd.GeoDataFrame, nodes: pd.DataFrame, machine: OnRoad) -> list[str]:
    """One check for each figure of the machine that is missing and asked for."""
    first: dict[str, str] = {}
    for check in (*LEG_CHECKS, *NODE_CHECKS):
        asked = any((table[check] != "ok").any() for table in (legs, nodes) if check in table)
        if lacks_figure(machine, check) and (check in FIGURE_OF or asked):
            first.setdefault((FIGURE_OF | ASKED_FOR)[check], check)
    return list(first.values())


_Bad = Iterator[tuple[float, str, Record, str]]


def _bad_legs(legs: gpd.GeoDataFrame, machine: OnRoad) -> _Bad:
    for check in LEG_CHECKS:
        if not lacks_figure(machine, check):
            told = legs[~untold_legs(legs)] if check == "grade" else legs
            for row in runs(told, check):
                yield float(row["order"]), _place(row, check), row, check


def _bad_nodes(legs: gpd.GeoDataFrame, nodes: pd.DataFrame, machine: OnRoad) -> _Bad:
    behind = dict(zip(nodes["place"], _legs_before(legs, nodes), strict=True))
    for check in NODE_CHECKS:
        if not lacks_figure(machine, check):
            for row in bad_nodes(nodes, check):
                yield behind[row["place"]] + _NODE, row["place"], row, check


def _legs_before(legs: gpd.GeoDataFrame, nodes: pd.DataFrame) -> list[int]:
    """The number of the leg that ends at each node of the way."""
    if nodes.empty:
        return []
    ends = shapely.get_point(legs.geometry.to_numpy(), -1)
    x, y = transformer(WGS84, legs.crs).transform(nodes["lon"].to_numpy(), nodes["lat"].to_numpy())
    return [int(np.argmin(shapely.distance(ends, spot))) for spot in shapely.points(x, y)]


def _bad_turns(turns: Sequence[Record]) -> _Bad:
    return ((row["order"] + _TURN, row["place"], row, "turn") for row in turns)


def _place(row: Record, check: str) -> str:
    return row["place"] if check == "height" and row["under"] else f"way/{row['way_id']}"


def _add(found: Found, place: str, row: Record, check: str) -> None:
    measurable = row[check] == "unknown" or row[f"{check}_basis"] == "assumed"
    kind = KIND_OF[check]
    if not measurable or (place, kind) in found:
        return
    unit = "" if kind in ANSWERED else UNITS[check]
    need = float(row.get(figure_column(check, "need", unit), math.nan)) if unit else math.nan
    line = check == "height" and any(one.startswith("power line") for one in row.get("under") or ())
    found[place, kind] = {
        "place": place,
        "where": where(row),
        "kind": kind,
        "measure": LINE_MEASURE if line else _measure(check, place, kind),
        "must_beat": None if math.isnan(need) else need,
        "unit": unit,
        "why": row[f"{check}_why"],
        "lon": float(row["lon"]),
        "lat": float(row["lat"]),
    }


def _measure(check: str, place: str, kind: str) -> str:
    along = _ALONG.get(kind, "") if place.startswith("way/") else ""
    return f"{MEASURE[check]}, {along}" if along else MEASURE[check]


def _of_machine(check: str) -> dict[str, Any]:
    return {
        "place": "machine",
        "where": "the machine",
        "kind": "",
        "measure": MACHINE_MEASURE[check],
        "must_beat": None,
        "unit": UNITS[check],
        "why": "Without it nothing on the road can be held against it.",
        "lon": None,
        "lat": None,
    }


def turn_rows(data: RoadData, checked: Checked, way: Way | None) -> list[Record]:
    """The turns of a way that do not pass, as rows for :func:`survey`.

    Parameters
    ----------
    data : RoadData
    checked : Checked
        On the same network; without turns in it there are no rows.
    way : Way or None

    Returns
    -------
    list of dict
        place (``turn/12-0/13-0``), name of the road turned into, order (of the leg before it),
        turn (its level), turn_basis, turn_why, lon, lat.
    """
    verdict = checked.turns
    if way is None or verdict is None:
        return []
    edges = data.edges
    found = []
    for order, row in enumerate(way.turns):
        level = LEVEL_OF[verdict.level[row]]
        if level != "ok":
            one, other = edges.iloc[way.legs[order] // 2], edges.iloc[way.legs[order + 1] // 2]
            node = one["u"] if way.legs[order] % 2 else one["v"]
            lon, lat = transformer(data.crs, WGS84).transform(*data.nodes.loc[node, ["x", "y"]])
            found.append(
                {
                    "place": f"turn/{one['leg_id']}/{other['leg_id']}",
                    "name": f"the turn into {other['name'] or 'an unnamed road'}",
                    "order": order,
                    "turn": level,
                    "turn_basis": BASIS_OF[verdict.basis[row]],
                    "turn_why": verdict.sentences(np.array([row]))[0],
                    "lon": lon,
                    "lat": lat,
                }
            )
    return found


def bend_rows(corners: Sequence[Corner], legs: gpd.GeoDataFrame) -> list[Record]:
    """The bends inside legs of a way that are not settled, as rows for :func:`survey`.

    Parameters
    ----------
    corners : sequence of Corner
        Of the way; those at nodes and gates are passed over.
    legs : GeoDataFrame
        The way.
    """
    order = {place: number for number, place in enumerate(legs["place"])}
    return [
        {
            "place": one.place,
            "name": one.where,
            "order": order[one.place] - _TURN,  # before whatever stands at its end
            "turn": one.level,
            "turn_basis": "assumed" if one.level == "unknown" else "mapped",
            "turn_why": one.why,
            "lon": one.lon,
            "lat": one.lat,
        }
        for one in corners
        if one.place in order and one.level != "ok"
    ]
