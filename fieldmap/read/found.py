"""What a reader of finds hands on: rows under the tool's own column names, and where each stood."""

from __future__ import annotations

from pathlib import Path
from typing import Any, NamedTuple

import geopandas as gpd
import pandas as pd

from fieldmap.crs import WGS84
from fieldmap.errors import SHOWN_AT_ONCE, Fault, InputError


class Found(NamedTuple):
    """Finds as a file gives them, before their words, times and figures are read.

    ``table`` holds what is known of ``hazard_id, kind, name, note, who, time, date, radius_m,
    accuracy_m, height_m, heading_deg, photo`` and geometry in WGS 84; ``places`` says file and
    row of each. ``told`` are rows whose missing place is among the faults already; ``sure`` are
    rows whose position says itself which way it runs, so that it is never swapped.
    """

    table: gpd.GeoDataFrame
    places: list[str]
    faults: list[Fault]
    notes: list[str]
    told: frozenset[int] = frozenset()
    sure: frozenset[int] = frozenset()


def from_rows(
    rows: list[dict[str, Any]], path: Path, *, faults: list[Fault], notes: list[str]
) -> Found:
    """Rows with ``place``, ``geometry`` and what else is known, as one table.

    A row may hold ``told`` (its missing place is a fault already) and ``sure``.

    Raises
    ------
    InputError
        There are neither rows nor faults.
    """
    if not rows and faults:
        raise InputError(faults)
    if not rows:
        raise InputError(none_in(path, notes))
    table = pd.DataFrame(rows, dtype=object)
    shapes = [row["geometry"] for row in rows]
    marks = ["place", "geometry", "told", "sure"]
    return Found(
        gpd.GeoDataFrame(table.drop(columns=marks, errors="ignore"), geometry=shapes, crs=WGS84),
        [row["place"] for row in rows],
        faults,
        notes,
        frozenset(number for number, row in enumerate(rows) if row.get("told")),
        frozenset(number for number, row in enumerate(rows) if row.get("sure")),
    )


def some(notes: list[str], name: str, *, most: int = SHOWN_AT_ONCE) -> list[str]:
    """Notes of one sort, the first of them and a count of the rest.

    Examples
    --------
    >>> some(["a", "b", "c"], "f.csv", most=1)
    ['a', 'f.csv: and 2 more like it']
    """
    more = len(notes) - most
    return [*notes[:most], f"{name}: and {more} more like it"] if more > 0 else notes


def none_in(path: Path, notes: list[str] | None = None) -> Fault:
    """The fault of a file in which nothing was found; notes say what was passed over."""
    return Fault(
        "no finds in the file",
        "; ".join(["0 rows", *(notes or [])]),
        "there is nothing to log",
        "check that the right file was exported",
        where=str(path),
    )
