"""What has to be dealt with in a field: who must do it, and in which order on foot."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.crs import WGS84, transformer
from fieldmap.hazards.order import short_order
from fieldmap.tables import Constant, Tables

COLUMNS = (
    "group",
    "touch",
    "order",
    "hazard_id",
    "kind",
    "label",
    "call",
    "action",
    "note",
    "height_m",
    "radius_m",
    "lon",
    "lat",
    "x",
    "y",
    "step_m",
    "caution",
)
#: Actions that are for the machine: nobody goes out on foot for them.
_FOR_THE_MACHINE = frozenset({"slow", "raise the cut"})
_LEAVE_ALONE = "leave alone and call: "
_TABLE = "hazard_kinds"
_SAID = ("label", "call", "action", "caution")
_NO_WALK = (np.empty(0, np.intp), np.empty(0, np.int64), np.empty(0))


class _Kind(NamedTuple):
    """The place of a kind's group in the list, and the table's words on it."""

    rank: int
    words: Mapping[str, str]


def pick_up(
    hazards: gpd.GeoDataFrame, *, start_xy: tuple[float, float], tables: Tables
) -> pd.DataFrame:
    """The list to walk with: one row a mark, by who must deal with it, in walking order.

    Groups are made of the table's own words. What must not be touched comes first, and of that
    what endangers people; then the groups in the order of the table. Each group is a walk of
    its own from the start: a short way, not proven the shortest.

    Parameters
    ----------
    hazards : GeoDataFrame
        Marks of one field, in a metric system: ``hazard_id, kind, note, height_m, radius_m``.
    start_xy : tuple of float
        Where people come in, in the same system.
    tables : Tables
        The kinds' ``action, call, touch, endangers, label, caution``. Marks that the machine
        only slows down or lifts for are left out.

    Returns
    -------
    DataFrame
        Columns :data:`COLUMNS`. ``group`` says who; ``touch`` is false for what is to be left
        alone; ``order`` counts from 1 within the group; ``step_m`` is the straight way from the
        one before, or from the start. Lines and areas are gone to at the point nearest to the
        start. Heights and radii that nobody gave are NaN.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> marks = gpd.GeoDataFrame(
    ...     {"hazard_id": ["far", "can", "near"], "kind": ["stone", "drum", "stone"], "note": "",
    ...      "height_m": np.nan, "radius_m": np.nan},
    ...     geometry=gpd.points_from_xy([90, 50, 10], [0, 0, 0]), crs=32615)
    >>> found = pick_up(marks, start_xy=(0, 0), tables=load_tables())
    >>> found[["touch", "order", "hazard_id", "step_m"]].to_records(index=False).tolist()
    [(False, 1, 'can', 50.0), (True, 1, 'near', 10.0), (True, 2, 'far', 80.0)]
    """
    told = _handled(hazards, _kinds(tables))
    rank, kinds = told.pop("rank"), told.pop("words")
    spots = _spots(told.pop("shape"), start_xy)
    groups = [np.flatnonzero(rank == one) for one in np.unique(rank)]
    walks = [_walked(spots, rows, start_xy) for rows in groups]
    rows, order, step_m = (np.concatenate(part) for part in zip(_NO_WALK, *walks, strict=True))
    table = {name: held[rows] for name, held in told.items()}
    table |= _words([kinds[row] for row in rows])
    table["order"], table["step_m"] = order, step_m
    table["x"], table["y"] = spots[rows].T
    table["lon"], table["lat"] = transformer(_system(hazards), WGS84).transform(*spots[rows].T)
    return pd.DataFrame({name: table[name] for name in COLUMNS})


def _handled(hazards: gpd.GeoDataFrame, kinds: Mapping[str, _Kind]) -> dict[str, Any]:
    """The columns of the marks that somebody goes out for, by the names of the marks."""
    names = hazards["hazard_id"].to_numpy(str)
    given = [kinds[kind] for kind in hazards["kind"]]
    handled = np.array([one.words["action"] not in _FOR_THE_MACHINE for one in given], bool)
    rows = np.argsort(names, kind="stable")
    rows = rows[handled[rows]]
    return {
        "shape": hazards.geometry.to_numpy()[rows],
        "rank": np.array([given[row].rank for row in rows], np.intp),
        "words": [given[row].words for row in rows],
        **{name: hazards[name].to_numpy()[rows] for name in ("hazard_id", "kind", "note")},
        **{name: hazards[name].to_numpy(float)[rows] for name in ("height_m", "radius_m")},
    }


def _kinds(tables: Tables) -> dict[str, _Kind]:
    rows = {row.key.split(".", 1)[1]: row for row in tables.rows(_TABLE)}
    ranks = _ranks(rows)
    return {kind: _Kind(ranks[_group(row.words)], row.words) for kind, row in rows.items()}


def _system(hazards: gpd.GeoDataFrame) -> CRS:
    if hazards.crs is None:
        raise ValueError("marks without a coordinate system cannot be walked to")
    return hazards.crs


def _group(words: Mapping[str, str]) -> str:
    return words["call"] if words["touch"] == "yes" else f"{_LEAVE_ALONE}{words['call']}"


def _ranks(rows: Mapping[str, Constant]) -> dict[str, int]:
    """Every group of the table by its place in the list."""
    first: dict[str, tuple[bool, bool, int]] = {}
    for place, row in enumerate(rows.values()):
        words = row.words
        people = "people" in words["endangers"].split(";")
        key = (words["touch"] == "yes", words["touch"] == "no" and not people, place)
        name = _group(words)
        first[name] = min(first.get(name, key), key)
    return {name: rank for rank, name in enumerate(sorted(first, key=lambda name: first[name]))}


def _words(kinds: list[Mapping[str, str]]) -> dict[str, Any]:
    """What the table of kinds says of each mark."""
    words = {name: [held[name] for held in kinds] for name in _SAID}
    words["group"] = [_group(held) for held in kinds]
    return {
        "touch": np.array([held["touch"] == "yes" for held in kinds], bool),
        **{name: pd.array(held, dtype="str") for name, held in words.items()},
    }


def _spots(shapes: NDArray[np.object_], start_xy: tuple[float, float]) -> NDArray[np.float64]:
    """Where each mark is gone to: its point nearest to the start; shape (marks, 2)."""
    ways = shapely.shortest_line(shapes, shapely.Point(start_xy))
    return shapely.get_coordinates(shapely.get_point(ways, 0)).reshape(-1, 2)


def _walked(
    spots: NDArray[np.float64], rows: NDArray[np.intp], start_xy: tuple[float, float]
) -> tuple[NDArray[np.intp], NDArray[np.int64], NDArray[np.float64]]:
    """Some of the marks in walking order, their numbers from 1, and the way to each."""
    found = short_order(np.repeat(spots[rows, None], 2, axis=1), start_xy)
    rows = rows[found.rows]
    along = np.concatenate([[start_xy], spots[rows]])
    return rows, np.arange(1, len(rows) + 1), np.hypot(*np.diff(along, axis=0).T)
