"""Finds held against the log: what is new, what is known, what says more of a known mark."""

from __future__ import annotations

from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from fieldmap.hazards import events as ev
from fieldmap.hazards.fold import fold
from fieldmap.hazards.labels import TAIL_DIGITS, carries_key, keys_named, rows_by_key
from fieldmap.tables import Tables

_SAME_PLACE_DEG = 1e-6  # about a tenth of a metre: what is lost on the way through a file
_NEAR_DEG = 1e-4  # about ten metres: one thing of one kind in one file, put better
_FIGURES = ("radius_m", "height_m", "heading_deg")


class News(NamedTuple):
    """How many finds differ from each other; the events to append; how many of them edit marks.

    ``revived`` are the labels of marks that had been cleared and stand again by an edit.
    """

    told: int
    events: pd.DataFrame
    edits: int
    revived: tuple[str, ...] = ()


def news(finds: gpd.GeoDataFrame, known: pd.DataFrame, *, file: str, tables: Tables) -> News:
    """The events that finds add to a log.

    A find the log has is passed over. A find whose name holds a mark's key, as the labels of an
    export do where the finder gave no name or one that is used twice, says more of that mark,
    wherever it lies. A find with the name of a mark out of the same file says more of that mark
    when it lies at its place (seen again), or is the same telling of the same kind elsewhere
    (moved). A name alone is not enough: two people may both have a "1", and next week's file
    numbers its rows anew.

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
    by_name = _by_name(set(fresh["name"]) - {""}, marks, known)
    rows: list[pd.DataFrame] = []
    revived: dict[str, None] = {}
    edits = 0
    named = fresh["name"].isin(by_name.keys())
    for find in _rows(fresh[named]):
        fits = [mark for mark in by_name[find["name"]] if _one(find, mark)]
        if not fits:
            rows.append(pd.DataFrame([find]))
        elif not _same(find, fits[0]):
            rows.append(_edit(find, fits[0]))
            edits += 1
            revived |= {} if fits[0]["stands"] else {fits[0]["hazard_id"]: None}
    parts = [fresh[~named], *rows]
    events = ev.filled(pd.concat(parts, ignore_index=True))
    return News(len(adds), events, edits, tuple(revived))


def _by_name(
    names: set[str], marks: gpd.GeoDataFrame, known: pd.DataFrame
) -> dict[str, list[dict[str, Any]]]:
    """The marks that each name may mean: those whose key it holds first."""
    numbers = rows_by_key(marks)
    starts: dict[str, set[int]] = {}
    for key, row in numbers.items():
        starts.setdefault(key[:TAIL_DIGITS], set()).add(row)
    meant: dict[str, set[int]] = {}
    for name, keys in keys_named(known, names).items():
        meant[name] = {numbers[key] for key in keys if key in numbers}
        last = name.rpartition("~")[2]
        meant[name] |= starts.get(last[:TAIL_DIGITS], set())
    for column in ("hazard_id", "name"):
        there = marks[column].isin(names)
        for at, name in zip(np.flatnonzero(there), marks.loc[there, column], strict=True):
            meant[name].add(int(at))
    wanted = sorted(set().union(*meant.values()))
    held = dict(zip(wanted, _rows(marks.iloc[wanted]), strict=True))
    return {
        name: sorted((held[row] for row in sorted(rows)), key=lambda mark: not _keyed(name, mark))
        for name, rows in meant.items()
        if rows
    }


def _keyed(name: str, mark: dict[str, Any]) -> bool:
    return carries_key(name, mark["name"], ev.ids(mark["members"]))


def _one(find: dict[str, Any], mark: dict[str, Any]) -> bool:
    """Whether find and mark are one thing.

    Its name holds the mark's key; or nothing differs; or it is the file's find at its place, told
    otherwise; or the same telling (who, when, what) at another place. A name alone says nothing:
    rows are numbered anew.
    """
    one_file = find["file"] != "" and find["file"] == mark["file"]
    when = find["time"] != "" and find["time"] == ev.iso(mark["time"])
    alike = find["kind"] == mark["kind"]
    here = _same_place(find, mark) or (alike and _near(find, mark))
    one_telling = when and alike and find["who"] == mark["who"]
    if _keyed(find["name"], mark) or (one_file and (one_telling or here)):
        return True
    return _same(find, mark)


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
    own = {"hazard_id": mark["key"], "name": mark["name"], "seen": mark["events"], "verb": verb}
    return pd.DataFrame([find | own | {"event_id": _edit_id(find["event_id"])}])


def _edit_id(event_id: str) -> str:
    """Id of the event that a find becomes when it edits a mark: the same find, the same edit."""
    return ev.digest(("edit", event_id))


def _rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): held for name, held in row.items()} for row in table.to_dict("records")]
