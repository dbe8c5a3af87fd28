"""The survey list: the fewest places whose measuring would settle a way."""

from __future__ import annotations

import math
from typing import Any

import geopandas as gpd
import pandas as pd

from fieldmap.roads.checks import LEG_CHECKS, NODE_CHECKS
from fieldmap.roads.choose import FIGURE_OF, figure_missing
from fieldmap.roads.facts import OnRoad
from fieldmap.roads.tell import Record, bad_nodes, runs, where
from fieldmap.roads.wording import LINE_MEASURE, MACHINE_MEASURE, MEASURE, UNITS


def survey(legs: gpd.GeoDataFrame, nodes: pd.DataFrame, machine: OnRoad) -> list[dict[str, Any]]:
    """Where to go and what to measure, each with the figure it must beat.

    What is unknown is on the list, and what is refused on an assumption only. One way asks
    for one measure once, however many of its legs are driven.

    Returns
    -------
    list of dict
        place, where, measure, must_beat, unit, why, lon, lat.
    """
    found: dict[tuple[str, str], dict[str, Any]] = {}
    for attribute in ("width_m", "height_m", "mass_kg"):
        check = next(one for one, figure in FIGURE_OF.items() if figure == attribute)
        if figure_missing(machine, check):
            found["machine", check] = _of_machine(check)
    for check in LEG_CHECKS:
        if not figure_missing(machine, check):
            for row in runs(legs, check):
                _add(found, _place(row, check), row, check)
    for check in NODE_CHECKS:
        if not figure_missing(machine, check):
            for row in bad_nodes(nodes, check):
                _add(found, row["place"], row, check)
    return list(found.values())


def _place(row: Record, check: str) -> str:
    return row["place"] if check == "height" and row["under"] else f"way/{row['way_id']}"


def _add(found: dict[tuple[str, str], dict[str, Any]], place: str, row: Record, check: str) -> None:
    measurable = row[check] == "unknown" or row[f"{check}_basis"] == "assumed"
    if not measurable or (place, check) in found:
        return
    unit = UNITS.get(check, "")
    need = row.get(f"{check}_need_{unit}", math.nan)
    line = check == "height" and any(one.startswith("power line") for one in row.get("under") or ())
    found[place, check] = {
        "place": place,
        "where": where(row),
        "measure": LINE_MEASURE if line else MEASURE[check],
        "must_beat": float(need) if math.isfinite(need) else None,
        "unit": unit,
        "why": row[f"{check}_why"],
        "lon": float(row["lon"]),
        "lat": float(row["lat"]),
    }


def _of_machine(check: str) -> dict[str, Any]:
    return {
        "place": "machine",
        "where": "the machine",
        "measure": MACHINE_MEASURE[check],
        "must_beat": None,
        "unit": UNITS[check],
        "why": "Without it nothing on the road can be held against it.",
        "lon": None,
        "lat": None,
    }
