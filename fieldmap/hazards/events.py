"""Finds become events, and events become what stands in the log now."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from fieldmap.crs import WGS84

ADD = "add"
_SAME = ("kind", "note", "who", "time", "radius_m", "height_m", "wkt")
EVENT_COLUMNS = (
    "event_id",
    "hazard_id",
    "verb",
    "kind",
    "note",
    "who",
    "time",
    "radius_m",
    "height_m",
    "lon",
    "lat",
    "wkt",
    "file",
)


def add_events(finds: gpd.GeoDataFrame, *, file: str, taken: set[str]) -> pd.DataFrame:
    """One ``add`` event for each find.

    An event's id is a digest of what was found, where, when, by whom and under what id, so the
    same find imported twice is the same event.

    Parameters
    ----------
    finds : GeoDataFrame
        As :func:`fieldmap.read.finds.read_finds` gives them (WGS 84).
    file : str
        Name of the file they came from.
    taken : set of str
        Hazard ids that the log already uses; a clash gets the event's first digits added.

    Returns
    -------
    DataFrame
        Columns :data:`EVENT_COLUMNS`.
    """
    shapes = finds.geometry.to_numpy()
    middle = shapely.point_on_surface(shapes)
    events = pd.DataFrame(finds.drop(columns=finds.geometry.name)).assign(
        verb=ADD,
        file=file,
        lon=shapely.get_x(middle),
        lat=shapely.get_y(middle),
        wkt=shapely.to_wkt(shapes, rounding_precision=8),
    )
    events["time"] = [_iso(moment) for moment in events["time"]]
    events["event_id"] = [
        _digest(row if given == "" else (*row, given))
        for given, row in zip(
            events["hazard_id"], events[list(_SAME)].itertuples(index=False), strict=True
        )
    ]
    events = events.drop_duplicates("event_id")
    events["hazard_id"] = _free_ids(events["hazard_id"], events["event_id"], taken)
    return events[list(EVENT_COLUMNS)].reset_index(drop=True)


def standing(events: pd.DataFrame) -> gpd.GeoDataFrame:
    """What the log says is lying or standing at a place now: the fold of its events.

    Returns
    -------
    GeoDataFrame
        Columns ``hazard_id, kind, note, who, time, radius_m, height_m``, WGS 84, in order of id.

    Examples
    --------
    >>> len(standing(pd.DataFrame(columns=list(EVENT_COLUMNS))))
    0
    """
    added = events[events["verb"] == ADD].sort_values("hazard_id", kind="stable")
    table = added[["hazard_id", "kind", "note", "who", "time", "radius_m", "height_m"]].copy()
    table["time"] = pd.to_datetime(
        table["time"].replace("", None), utc=True, format="ISO8601"
    ).astype("datetime64[us, UTC]")
    for column in ("radius_m", "height_m"):
        table[column] = table[column].astype(float)
    shapes = shapely.from_wkt(added["wkt"].to_numpy(dtype=object))
    return gpd.GeoDataFrame(table.reset_index(drop=True), geometry=np.atleast_1d(shapes), crs=WGS84)


def _iso(moment: Any) -> str:
    return "" if pd.isna(moment) else pd.Timestamp(moment).isoformat()


def _digest(row: Any) -> str:
    text = "\x1f".join("" if pd.isna(held) else str(held) for held in row)
    return hashlib.sha256(text.encode()).hexdigest()[:24]


def _free_ids(given: Iterable[str], event_ids: Iterable[str], taken: set[str]) -> list[str]:
    """The given ids, or the start of the event's; as much of that added as makes each its own."""
    used = set(taken)
    free = []
    for name, event_id in zip(given, event_ids, strict=True):
        start = name or event_id[:8]
        choices = (start, *(f"{start}~{event_id[:size]}" for size in (4, 8, 16, 24)))
        last = f"{start}~{event_id}~{len(used)}"
        free.append(next((choice for choice in choices if choice not in used), last))
        used.add(free[-1])
    return free
