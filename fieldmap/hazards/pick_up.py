"""What has to be dealt with in a field: who must do it, and in which order on foot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.crs import WGS84, transformer
from fieldmap.hazards.order import short_order
from fieldmap.tables import Constant, Tables, kept_by_tables

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
#: What is asked of the marks beside their shapes.
GIVEN = ("hazard_id", "kind", "note", "height_m", "radius_m")
#: Actions that are for the machine: nobody goes out on foot for them.
_FOR_THE_MACHINE = frozenset({"slow", "raise the cut"})
_LEAVE_ALONE = "leave alone and call: "
_TABLE = "hazard_kinds"
_SAID = ("label", "call", "action", "caution")
_NO_WALK = (np.empty(0, np.intp), np.empty(0, np.int64), np.empty(0))


class _Kind(NamedTuple):
    """The place of a kind's group in the list, the table's words on it, if anybody goes for it."""

    rank: int
    words: Mapping[str, str]
    handled: bool


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
    given = {name: hazards[name].to_numpy() for name in GIVEN}
    shapes, crs = hazards.geometry.to_numpy(), _system(hazards)
    return picked(given, shapes, crs=crs, start_xy=start_xy, tables=tables).table()


class Picked(NamedTuple):
    """The list in walking order, held as arrays of shape (marks,) until the table is asked for.

    ``marks`` are the columns that the marks came with, ``words`` what the table of kinds says of
    each, ``spots`` where it is gone to, of shape (marks, 2).
    """

    marks: Mapping[str, NDArray[Any]]
    words: tuple[Mapping[str, str], ...]
    order: NDArray[np.int64]
    step_m: NDArray[np.float64]
    spots: NDArray[np.float64]
    crs: CRS

    def table(self) -> pd.DataFrame:
        """As :func:`pick_up` gives it."""
        table = {**self.marks, **_words(self.words), "order": self.order, "step_m": self.step_m}
        table["x"], table["y"] = self.spots.T
        table["lon"], table["lat"] = transformer(self.crs, WGS84).transform(*self.spots.T)
        return pd.DataFrame({name: table[name] for name in COLUMNS})


def picked(
    marks: Mapping[str, NDArray[Any]],
    shapes: NDArray[np.object_],
    *,
    crs: CRS,
    start_xy: tuple[float, float],
    tables: Tables,
) -> Picked:
    """The list of :func:`pick_up` from plain arrays.

    Parameters
    ----------
    marks : mapping
        Columns :data:`GIVEN`, arrays of shape (marks,).
    shapes : ndarray of geometries, shape (marks,)
    crs : pyproj.CRS
        Metric, of shapes and start.
    start_xy, tables
        As :func:`pick_up` takes them.
    """
    kinds = _kinds(tables)
    given = [kinds[kind] for kind in marks["kind"].tolist()]
    handled = np.array([one.handled for one in given], bool)
    rows = np.argsort(marks["hazard_id"].astype(str), kind="stable")
    rows = rows[handled[rows]]
    spots = _spots(shapes[rows], start_xy)
    rank = np.array([given[row].rank for row in rows], np.intp)
    groups = [np.flatnonzero(rank == one) for one in np.unique(rank)]
    walks = [_walked(spots, group, start_xy) for group in groups]
    at, order, step_m = (np.concatenate(part) for part in zip(_NO_WALK, *walks, strict=True))
    rows = rows[at]
    held = {name: marks[name][rows] for name in GIVEN}
    held |= {name: held[name].astype(float) for name in ("height_m", "radius_m")}
    words = tuple(given[row].words for row in rows)
    return Picked(held, words, order, step_m, spots[at], crs)


@kept_by_tables
def _kinds(tables: Tables) -> dict[str, _Kind]:
    rows = {row.key.split(".", 1)[1]: row for row in tables.rows(_TABLE)}
    ranks = _ranks(rows)
    return {
        kind: _Kind(
            ranks[_group(row.words)], row.words, row.words["action"] not in _FOR_THE_MACHINE
        )
        for kind, row in rows.items()
    }


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


def _words(kinds: Sequence[Mapping[str, str]]) -> dict[str, Any]:
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
