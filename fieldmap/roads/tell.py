"""Findings on a way: every run of legs and every node that refuses or is unknown."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from fieldmap.crs import WGS84, transformer
from fieldmap.finding import Basis, Finding, Level
from fieldmap.roads.checks import LEG_CHECKS, NODE_CHECKS
from fieldmap.roads.choose import figure_missing
from fieldmap.roads.facts import OnRoad
from fieldmap.roads.wording import CAUTION, MACHINE_MEASURE, UNITS, WHAT, WHOLE_WAY
from fieldmap.tables import Tables

_CLEARANCE = {
    "width": "clearances.side_m",
    "opening": "clearances.gate_width_m",
    "height": "clearances.height_m",
    "mass": "clearances.statutory_mass_kg",
}

Record = dict[Any, Any]


def runs(legs: gpd.GeoDataFrame, check: str) -> Iterator[Record]:
    """Runs of legs of one way to which a check says the same thing.

    Yields
    ------
    dict
        The columns of the run's first leg, with ``length_m`` of the whole run, the least
        ``low`` and ``high`` in it, and ``lon``, ``lat`` of its middle leg.
    """
    bad = legs[legs[check] != "ok"]
    if bad.empty:
        return
    spot = shapely.line_interpolate_point(bad.geometry.to_numpy(), 0.5, normalized=True)
    lon, lat = transformer(legs.crs, WGS84).transform(shapely.get_x(spot), shapely.get_y(spot))
    table = pd.DataFrame(bad.drop(columns="geometry")).assign(lon=lon, lat=lat, order=bad.index)
    own = table["under"].map(bool) & (check == "height")
    changes = (
        (table["way_id"] != table["way_id"].shift())
        | (table[f"{check}_why"] != table[f"{check}_why"].shift())
        | (table["order"] != table["order"].shift() + 1)
        | own.shift(fill_value=False)
    )
    for _, run in table.groupby(changes.cumsum()):
        yield {
            **run.iloc[len(run) // 2].to_dict(),
            "length_m": float(run["length_m"].sum()),
            "legs": len(run),
        }


def bad_nodes(nodes: pd.DataFrame, check: str) -> list[Record]:
    """Nodes at which a check does not pass."""
    return [{**row, "legs": 1} for row in nodes[nodes[check] != "ok"].to_dict("records")]


def way_findings(
    legs: gpd.GeoDataFrame, nodes: pd.DataFrame, machine: OnRoad, *, tables: Tables, source: str
) -> list[Finding]:
    """Everything on a way that is unknown or refused, and what each check held against."""
    found: list[Finding] = []
    for check in LEG_CHECKS:
        if figure_missing(machine, check):
            found.append(_missing(check))
            found += _crosses_above(legs, source) if check == "height" else []
            continue
        told = [_finding(row, check, tables, source) for row in runs(legs, check)]
        found += told or _all_passed(legs, check, tables, source)
    for check in NODE_CHECKS:
        if not figure_missing(machine, check):
            found += [_finding(row, check, tables, source) for row in bad_nodes(nodes, check)]
    crossings = nodes[nodes["crossing"].astype(bool)].to_dict("records")
    return [*found, *(_crossing(row, source) for row in crossings)]


def _finding(row: Record, check: str, tables: Tables, source: str) -> Finding:
    unit = UNITS.get(check, "")
    low, high, need = (_figure(row, check, part, unit) for part in ("low", "high", "need"))
    return Finding(
        level=row[check],
        what=WHAT[check],
        where=where(row),
        why=row[f"{check}_why"],
        basis=row[f"{check}_basis"],
        sources=_sources(row, check, tables, source),
        value=low if low == high or row[check] == "ok" else None,
        low=low,
        high=high,
        limit=need,
        unit=unit,
        caution=CAUTION[check],
        lon=row["lon"],
        lat=row["lat"],
    )


def where(row: Record) -> str:
    """A place in words, with the id that a road check is written for."""
    way = f"way/{row['way_id']}" if "way_id" in row else row["place"]
    return f"{row['name']} ({way})"


def _figure(row: Record, check: str, part: str, unit: str) -> float | None:
    value = row.get(f"{check}_{part}_{unit}", math.nan)
    return float(value) if math.isfinite(value) else None


def _sources(row: Record, check: str, tables: Tables, source: str) -> tuple[str, ...]:
    """Where limit and value come from: the table of clearances, and map, class or road checks."""
    keys = [_CLEARANCE[check]] if check in _CLEARANCE else []
    basis: Basis = row[f"{check}_basis"]
    if check == "height" and any(one.startswith("power line") for one in row.get("under", ())):
        keys = ["clearances.line_clear_m"]
    if basis == "assumed" and check == "width":
        class_key = f"road_widths.{row['highway']}"
        keys += [class_key] if class_key in tables.constants else []
    seen = {"mapped": (source,), "measured": ("road_checks",), "assumed": (source,)}[basis]
    return tuple(dict.fromkeys((*tables.source_of(*keys), *seen)))


def _missing(check: str) -> Finding:
    return Finding(
        level="unknown",
        what=WHAT[check],
        where="the machine",
        why=f"The {MACHINE_MEASURE[check]} is not known.",
        basis="assumed",
        unit=UNITS[check],
        caution=CAUTION[check],
    )


def _crosses_above(legs: gpd.GeoDataFrame, source: str) -> list[Finding]:
    """Bridges and power lines over the way, which a machine of unknown height must know of."""
    under = legs[legs["under"].map(bool)]
    return [
        Finding(
            level="unknown",
            what=WHAT["height"],
            where=where(row),
            why=f"Over the road: {', '.join(row['under'])}; the machine's height is not known.",
            basis="mapped",
            sources=(source,),
            unit=UNITS["height"],
            caution=CAUTION["height"],
            lon=row["lon"],
            lat=row["lat"],
        )
        for row in runs(under, "height")
    ]


def _all_passed(legs: gpd.GeoDataFrame, check: str, tables: Tables, source: str) -> list[Finding]:
    """One finding for a check that passed everywhere: the place with the least margin."""
    if legs.empty:
        return []
    unit = UNITS.get(check, "")
    margin = np.zeros(len(legs))
    if unit:
        margin = (legs[f"{check}_low_{unit}"] - legs[f"{check}_need_{unit}"]).to_numpy()
    least = int(np.nanargmin(margin)) if np.isfinite(margin).any() else 0
    row = legs.drop(columns="geometry").iloc[least].to_dict() | {"lon": None, "lat": None}
    bases = set(legs[f"{check}_basis"])
    weakest: Basis = next(one for one in ("assumed", "mapped", "measured") if one in bases)
    row[f"{check}_basis"] = weakest
    row[f"{check}_why"] = f"Nothing found against it on the whole way. {row[f'{check}_why']}"
    return [_finding(row, check, tables, source)]


def _crossing(row: Record, source: str) -> Finding:
    return Finding(
        level="care",
        what="railway crossing",
        where=where(row),
        why="Rails cross the road; the ground clearance it asks for is not mapped.",
        basis="mapped",
        sources=(source,),
        caution=CAUTION["crossing"],
        lon=row["lon"],
        lat=row["lat"],
    )


def off_road(what: str, away_m: float, lon: float, lat: float, *, tables: Tables) -> Finding:
    """The stretch between a place and the nearest mapped road: a verge, or ground unknown."""
    verge = tables["clearances.verge_m"]
    near = away_m <= verge.number()
    return Finding(
        level="care" if near else "unknown",
        what="ground off the roads",
        where=what,
        why="A short stretch from the mapped road to the place: look at it before turning in."
        if near
        else "No road is mapped between the place and the network.",
        basis="mapped",
        sources=(verge.source,),
        value=away_m,
        limit=verge.number(),
        unit="m",
        caution=CAUTION["off"],
        lon=lon,
        lat=lat,
    )


def whole_way(level: Level, reason: str, source: str) -> Finding:
    """How the way was chosen, with the caution that belongs to every move."""
    return Finding(
        level=level,
        what=WHOLE_WAY,
        where="start to goal",
        why=reason,
        basis="mapped",
        sources=(source,),
        caution=CAUTION["way"],
    )
