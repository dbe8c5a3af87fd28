"""What has to be dealt with in a field: who must do it, and in which order on foot."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

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
    rows = {row.key.split(".", 1)[1]: row for row in tables.rows(_TABLE)}
    ranks = _ranks(rows)
    handled = [rows[kind].words["action"] not in _FOR_THE_MACHINE for kind in hazards["kind"]]
    table = hazards[np.array(handled, bool)]
    table = table.iloc[np.argsort(table["hazard_id"].to_numpy(str), kind="stable")]
    told = _told(table, rows)
    spots = _spots(table.geometry.to_numpy(), start_xy)
    told["x"], told["y"] = spots.T
    told["lon"], told["lat"] = transformer(_system(hazards), WGS84).transform(*spots.T)
    told["rank"] = [ranks[name] for name in told["group"]]
    parts = [_walked(part, start_xy) for _, part in told.groupby("rank", sort=True)]
    whole = pd.concat(parts, ignore_index=True) if parts else told.assign(order=0, step_m=0.0)
    return whole[list(COLUMNS)]


def _system(hazards: gpd.GeoDataFrame) -> object:
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


def _told(table: gpd.GeoDataFrame, rows: Mapping[str, Constant]) -> pd.DataFrame:
    words = [rows[kind].words for kind in table["kind"]]
    return pd.DataFrame(
        {
            "group": pd.Series([_group(held) for held in words], dtype=str),
            "touch": pd.Series([held["touch"] == "yes" for held in words], dtype=bool),
            **{
                name: pd.Series([held[name] for held in words], dtype=str)
                for name in ("label", "call", "action", "caution")
            },
            **{name: table[name].to_numpy() for name in ("hazard_id", "kind", "note")},
            **{name: table[name].to_numpy(float) for name in ("height_m", "radius_m")},
        }
    )


def _spots(shapes: NDArray[np.object_], start_xy: tuple[float, float]) -> NDArray[np.float64]:
    """Where each mark is gone to: its point nearest to the start; shape (marks, 2)."""
    ways = shapely.shortest_line(shapes, shapely.Point(start_xy))
    return shapely.get_coordinates(shapely.get_point(ways, 0)).reshape(-1, 2)


def _walked(part: pd.DataFrame, start_xy: tuple[float, float]) -> pd.DataFrame:
    spots = part[["x", "y"]].to_numpy(float)
    found = short_order(np.repeat(spots[:, None], 2, axis=1), start_xy)
    along = np.concatenate([[start_xy], spots[found.rows]])
    out = part.iloc[found.rows].copy()
    out["order"] = np.arange(1, len(out) + 1)
    out["step_m"] = np.hypot(*np.diff(along, axis=0).T)
    return out
