"""Finds held against the log: what is new, what is known, what says more of a known mark."""

from __future__ import annotations

from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from fieldmap.hazards import events as ev
from fieldmap.hazards.fold import fold
from fieldmap.tables import Tables

_SAME_PLACE_DEG = 1e-6  # about a tenth of a metre: what is lost on the way through a file
_NEAR_DEG = 1e-4  # about ten metres: one thing of one kind in one file, put better
_FIGURES = ("radius_m", "height_m", "heading_deg")


class News(NamedTuple):
    """How many finds differ from each other; the events to append; how many of them edit marks."""

    told: int
    events: pd.DataFrame
    edits: int


def news(finds: gpd.GeoDataFrame, known: pd.DataFrame, *, file: str, tables: Tables) -> News:
    """The events that finds add to a log.

    A find the log has is passed over. A find with the name of a mark out of the same file says
    more of that mark when it lies at its place (seen again), or is the same telling of the same
    kind elsewhere (moved). A name alone is not enough: two people may both have a "1", and next
    week's file numbers its rows anew.

    Parameters
    ----------
    finds : GeoDataFrame
        As readers give them (WGS 84).
    known : DataFrame
        The log's events.
    file : str
        Name of the file the finds came from.
    tables : Tables

    Returns
    -------
    News
    """
    adds = ev.add_events(finds, file=file)
    told_before = set(known["event_id"])
    here = [one in told_before or _edit_id(one) in told_before for one in adds["event_id"]]
    fresh = adds[~np.array(here, dtype=bool)]
    if known.empty or not (fresh["name"] != "").any():
        return News(len(adds), fresh, 0)
    marks = fold(known, tables=tables)
    called = marks["hazard_id"].isin(fresh["name"]) | marks["name"].isin(fresh["name"])
    by_name: dict[str, list[dict[str, Any]]] = {}
    for mark in _rows(marks[called]):
        for name in {mark["name"], mark["hazard_id"]} - {""}:
            by_name.setdefault(name, []).append(mark)
    rows, edits = [], 0
    named = fresh["name"].isin(by_name.keys())
    for find in _rows(fresh[named]):
        fits = [mark for mark in by_name[find["name"]] if _one(find, mark)]
        if not fits:
            rows.append(pd.DataFrame([find]))
        elif not _same(find, fits[0]):
            rows.append(_edit(find, fits[0]))
            edits += 1
    parts = [fresh[~named], *rows]
    return News(len(adds), ev.filled(pd.concat(parts, ignore_index=True)), edits)


def _one(find: dict[str, Any], mark: dict[str, Any]) -> bool:
    """Whether find and mark are one thing.

    Nothing differs; or it is the file's find at its place, told otherwise; or the same telling
    (who, when, what) at another place. A name alone says nothing: rows are numbered anew.
    """
    one_file = find["file"] != "" and find["file"] == mark["file"]
    when = find["time"] != "" and find["time"] == ev.iso(mark["time"])
    alike = find["kind"] == mark["kind"]
    here = _same_place(find, mark) or (alike and _near(find, mark))
    one_telling = when and alike and find["who"] == mark["who"]
    return (one_file and (one_telling or here)) or _same(find, mark)


def _same(find: dict[str, Any], mark: dict[str, Any]) -> bool:
    words = find["kind"] == mark["kind"] and find["note"] in mark["note"]
    figures = all(_equal(find[name], mark[name]) for name in _FIGURES)
    return words and figures and _same_place(find, mark) and find["photo"] in (mark["photo"], "")


def _equal(one: float, other: float) -> bool:
    return bool(np.isnan(one)) or bool(np.isclose(one, other, rtol=1e-6, equal_nan=True))


def _same_place(find: dict[str, Any], mark: dict[str, Any]) -> bool:
    one, other = shapely.normalize([_shape(find), mark["geometry"]])
    return bool(shapely.equals_exact(one, other, _SAME_PLACE_DEG))


def _near(find: dict[str, Any], mark: dict[str, Any]) -> bool:
    return bool(shapely.distance(_shape(find), mark["geometry"]) <= _NEAR_DEG)


def _shape(find: dict[str, Any]) -> shapely.Geometry:
    if find["wkt"]:
        return shapely.from_wkt(find["wkt"])
    return shapely.Point(find["lon"], find["lat"])


def _edit(find: dict[str, Any], mark: dict[str, Any]) -> pd.DataFrame:
    verb = ev.SEEN_AGAIN if _same_place(find, mark) else ev.MOVED
    own = {"hazard_id": mark["key"], "seen": mark["events"], "verb": verb}
    return pd.DataFrame([find | own | {"event_id": _edit_id(find["event_id"])}])


def _edit_id(event_id: str) -> str:
    """Id of the event that a find becomes when it edits a mark: the same find, the same edit."""
    return ev.digest(("edit", event_id))


def _rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): held for name, held in row.items()} for row in table.to_dict("records")]
