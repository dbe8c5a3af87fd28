"""Findings on a way: every run of legs and every node that refuses or is unknown."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from fieldmap.crs import WGS84, transformer
from fieldmap.finding import Basis, Finding, Level
from fieldmap.roads.checks import LEG_CHECKS, NODE_CHECKS
from fieldmap.roads.choose import ASKED_FOR, FIGURE_OF, lacks_figure
from fieldmap.roads.facts import OnRoad
from fieldmap.roads.tell_legs import figure_column
from fieldmap.roads.wording import CAUTION, MACHINE_MEASURE, UNITS, WHAT, WHOLE_WAY
from fieldmap.tables import Tables

_CLEARANCE = {
    "width": "clearances.side_m",
    "opening": "clearances.gate_width_m",
    "height": "clearances.height_m",
    "mass": "clearances.statutory_mass_kg",
}
#: Rows that an assumption of a check rests on, beside the class of a road.
_ASSUMED_BY = {"axles": ("axle_groups.tandem_kg", "axle_groups.two_tandems_kg")}

#: A row for each tag that speaks of the ground, for its source.
_SURFACE_WORDS = (
    "road_surfaces.tracktype_grade1",
    "road_surfaces.smoothness_good",
    "road_surfaces.surface_paved",
)

Record = dict[Any, Any]


def runs(legs: gpd.GeoDataFrame, check: str) -> Iterator[Record]:
    """Runs of legs of one way to which a check says the same thing; none where it was not made.

    Yields
    ------
    dict
        The columns of the run's middle leg, with ``length_m`` and ``legs`` of the whole run, the
        least ``low`` and ``high`` and the most ``need`` in it, ``order``, and ``lon``, ``lat``.
    """
    bad = _not_ok(legs, check)
    if len(bad) == 0:
        return
    begins = np.flatnonzero(_changes(legs, bad, check))
    ends = np.append(begins[1:], len(bad))
    middle = bad[(begins + ends) // 2]
    spots = shapely.line_interpolate_point(legs.geometry.to_numpy()[middle], 0.5, normalized=True)
    lon, lat = transformer(legs.crs, WGS84).transform(shapely.get_x(spots), shapely.get_y(spots))
    whole: dict[str, NDArray[Any]] = {
        "lon": np.asarray(lon),
        "lat": np.asarray(lat),
        "order": legs.index.to_numpy()[middle],
        "legs": ends - begins,
        "length_m": np.add.reduceat(legs["length_m"].to_numpy()[bad], begins),
    }
    for part, worst_of in (("low", np.fmin), ("high", np.fmin), ("need", np.fmax)):
        column = figure_column(check, part, UNITS.get(check, ""))
        if column in legs:
            whole[column] = worst_of.reduceat(legs[column].to_numpy(dtype=float)[bad], begins)
    yield from _records(legs, middle, whole)


def untold_legs(legs: gpd.GeoDataFrame) -> NDArray[np.bool_]:
    """Legs of whose fall nothing is known: one finding tells of them all, none is a place."""
    if "grade" not in legs:
        return np.zeros(len(legs), dtype=bool)
    low, high, need = (
        legs[figure_column("grade", part, "%")].to_numpy(float) for part in ("low", "high", "need")
    )
    assumed = ((legs["grade"] == "unknown") & (legs["grade_basis"] == "assumed")).to_numpy(bool)
    blank: NDArray[np.bool_] = assumed & np.isnan(high) & ~(low > need)
    return blank


def _not_ok(table: pd.DataFrame, check: str) -> NDArray[np.int64]:
    """Rows at which a check does not pass; none where it was not made."""
    level = table[check].to_numpy() if check in table else np.zeros(0, dtype=object)
    return np.flatnonzero(level != "ok") if len(level) else np.zeros(0, dtype=np.int64)


def _records(
    table: pd.DataFrame, rows: NDArray[np.int64], more: dict[str, NDArray[Any]]
) -> list[Record]:
    """Some rows of a table as plain records; quicker than pandas for few rows of many columns."""
    plain = pd.DataFrame(table, copy=False)
    columns = {
        name: held.to_numpy()[rows].tolist() for name, held in plain.items() if name != "geometry"
    } | {name: held.tolist() for name, held in more.items()}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def _changes(legs: gpd.GeoDataFrame, bad: NDArray[np.int64], check: str) -> NDArray[np.bool_]:
    """Where a run begins: another way, another answer, a gap, or something above of its own."""
    begins = np.ones(len(bad), dtype=bool)
    way, why = legs["way_id"].to_numpy()[bad], legs[f"{check}_why"].to_numpy()[bad]
    begins[1:] = (way[1:] != way[:-1]) | (why[1:] != why[:-1]) | (np.diff(bad) != 1)
    if check == "height":
        above = legs["under"].map(bool).to_numpy()[bad]
        begins[1:] |= above[:-1]
    return begins


def bad_nodes(nodes: pd.DataFrame, check: str) -> list[Record]:
    """Nodes at which a check does not pass; none where it was not made."""
    bad = _not_ok(nodes, check)
    return _records(nodes, bad, {"legs": np.ones(len(bad), dtype=np.int64)}) if len(bad) else []


def way_findings(
    legs: gpd.GeoDataFrame, nodes: pd.DataFrame, machine: OnRoad, *, tables: Tables, source: str
) -> list[Finding]:
    """Everything on a way that is unknown or refused, and what each check held against."""
    found: list[Finding] = []
    told: set[str] = set()  # figures of the machine that were asked for
    for check in (one for one in LEG_CHECKS if one in legs):
        if lacks_figure(machine, check):
            found += _lacking(check, legs, nodes, told, source)
            continue
        here = legs[~untold_legs(legs)] if check == "grade" else legs
        bad = [_finding(row, check, tables, source) for row in runs(here, check)]
        found += bad or _all_passed(here, check, tables, source)
    for check in NODE_CHECKS:
        if not lacks_figure(machine, check):
            found += [_finding(row, check, tables, source) for row in bad_nodes(nodes, check)]
    for kind in ("crossing", "hump"):
        over = np.flatnonzero(nodes[kind].to_numpy(dtype=bool))
        found += [_crossing(row, kind, source) for row in _records(nodes, over, {})]
    return found


def _lacking(
    check: str, legs: gpd.GeoDataFrame, nodes: pd.DataFrame, told: set[str], source: str
) -> list[Finding]:
    """That a figure of the machine is missing, once, and only where something asks for it."""
    figure = (FIGURE_OF | ASKED_FOR)[check]
    asked = check in FIGURE_OF or any(
        (table[check] != "ok").any() for table in (legs, nodes) if check in table
    )
    if not asked or figure in told:
        return []
    told.add(figure)
    above = _crosses_above(legs, source) if check == "height" else []
    return [_missing(check), *above]


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
    value = row.get(figure_column(check, part, unit), math.nan)
    return float(value) if math.isfinite(value) else None


def _sources(row: Record, check: str, tables: Tables, source: str) -> tuple[str, ...]:
    """Where limit and value come from: the table of clearances, and map, class or road checks."""
    keys = [_CLEARANCE[check]] if check in _CLEARANCE else []
    basis: Basis = row[f"{check}_basis"]
    if check == "height" and any(one.startswith("power line") for one in row.get("under", ())):
        keys = ["clearances.line_clear_m"]
    if basis == "assumed":
        by_class = {"width": f"road_widths.{row.get('highway')}"}
        by_class["surface"] = f"road_surfaces.class_{row.get('highway')}"
        keys += [*_ASSUMED_BY.get(check, ()), by_class.get(check, "")]
    elif check == "surface":
        keys += _SURFACE_WORDS
    keys = [key for key in keys if key in tables.constants]
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
        low, high, need = (
            legs[figure_column(check, part, unit)].to_numpy() for part in ("low", "high", "need")
        )
        margin = need - high if check == "grade" else low - need  # a fall has to stay under
    least = int(np.nanargmin(margin)) if np.isfinite(margin).any() else 0
    row = _records(legs, np.array([least]), {})[0] | {"lon": None, "lat": None}
    bases = set(legs[f"{check}_basis"])
    weakest: Basis = next(one for one in ("assumed", "mapped", "measured") if one in bases)
    row[f"{check}_basis"] = weakest
    row[f"{check}_why"] = f"Nothing found against it on the whole way. {row[f'{check}_why']}"
    return [_finding(row, check, tables, source)]


#: What is passable but may ground long or low trains: what it is called, and why.
_OVER = {
    "crossing": (
        "railway crossing",
        "Rails cross the road; the ground clearance it asks for is not mapped.",
    ),
    "hump": ("hump in the road", "What is built across the road may catch what hangs low."),
}


def _crossing(row: Record, kind: str, source: str) -> Finding:
    what, why = _OVER[kind]
    return Finding(
        level="care",
        what=what,
        where=where(row),
        why=why,
        basis="mapped",
        sources=(source,),
        caution=CAUTION[kind],
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
