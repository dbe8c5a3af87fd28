"""Finds and events for the tests of the log."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
import shapely

from fieldmap.hazards import events as ev
from fieldmap.hazards.fold import fold
from fieldmap.tables import load_tables

TABLES = load_tables()
EMPTY = {"hazard_id": "", "kind": "stone", "note": "", "who": "", "time": None}


def finds(*rows: dict[str, object]) -> gpd.GeoDataFrame:
    """Finds a thousandth of a degree apart, or at ``at`` (lon, lat)."""
    figures = {"radius_m": None, "height_m": None, "heading_deg": None, "photo": b""}
    table = pd.DataFrame([EMPTY | figures | row for row in rows])
    table["time"] = pd.to_datetime(table["time"], utc=True).astype("datetime64[us, UTC]")
    numbers = ["radius_m", "height_m", "heading_deg"]
    table[numbers] = table[numbers].astype(float)
    shapes = [
        row.get("shape") or shapely.Point(row.get("at", (11.5 + 0.001 * number, 49.9)))
        for number, row in enumerate(rows)
    ]
    table = table.drop(columns=["at", "shape"], errors="ignore")
    return gpd.GeoDataFrame(table, geometry=shapes, crs=4326)


def adds(*rows: dict[str, object], file: str = "walk.csv") -> pd.DataFrame:
    return ev.add_events(finds(*rows), file=file)


def told(verb: str, seen: pd.DataFrame, **said: object) -> pd.DataFrame:
    """One more event on the mark of the first event seen, by somebody who had all of these."""
    first = seen.iloc[0]
    place = {"lon": first["lon"], "lat": first["lat"], "time": "2026-06-02T10:00:00+00:00"}
    known = {"seen": ev.joined(seen["event_id"]), "sequence": int(seen["sequence"].max()) + 1}
    return ev.told_event(verb, first["hazard_id"], **place | known | said)


def both(*parts: pd.DataFrame) -> pd.DataFrame:
    return pd.concat(parts, ignore_index=True)


def folded(*parts: pd.DataFrame, **limits: object) -> gpd.GeoDataFrame:
    return fold(both(*parts), tables=TABLES, **limits)


def standing_ids(*parts: pd.DataFrame) -> set[str]:
    table = folded(*parts)
    return set(table.loc[table["stands"], "key"])
