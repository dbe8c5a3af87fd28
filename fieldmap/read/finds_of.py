"""Finds out of drawn layers: vector files by their columns, KML by its placemarks."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from fieldmap.crs import WGS84
from fieldmap.errors import InputError
from fieldmap.read.cells import nothing
from fieldmap.read.columns import Columns, columns_of, unused_note
from fieldmap.read.found import Found, from_rows, none_in, some
from fieldmap.read.kml import Placemark, read_placemarks
from fieldmap.read.vectors import read_layer
from fieldmap.words import plain_words


def read_vector_finds(path: Path, *, swap_xy: bool) -> Found:
    """Finds of a GeoJSON, GeoPackage or Shapefile, its columns by any of their plain names.

    Raises
    ------
    InputError
        The layer cannot be read or is empty, or two of its columns mean the same.
    """
    raw = read_layer(path, what="hazards", swap_xy=swap_xy)
    if raw.empty:
        raise InputError(none_in(path))
    cells = pd.DataFrame(raw.drop(columns="geometry"))
    filled = [name for name in cells.columns if not all(map(_blank, cells[name]))]
    columns = columns_of(filled, where=str(path), places=False)
    if columns.faults:
        raise InputError(columns.faults)
    shapes = raw.geometry.to_crs(WGS84).to_numpy()
    held = cells[list(columns.named.values())].set_axis(list(columns.named), axis="columns")
    places = [f"{path.name} row {row}" for row in range(1, len(raw) + 1)]
    notes = unused_note([str(name) for name in columns.unused], path.name)
    table = gpd.GeoDataFrame(held.reset_index(drop=True), geometry=shapes, crs=WGS84)
    return Found(table, places, [], notes)


def _blank(held: Any) -> bool:
    return nothing(held) or (isinstance(held, str) and held == "")


def read_kml_finds(path: Path, *, kinds: frozenset[str]) -> Found:
    """Finds of a KML or KMZ: its placemarks with a shape; what was passed over is told.

    Parameters
    ----------
    path : Path
        The file.
    kinds : frozenset of str
        Keys of hazard kinds: a row that names one and its own ``hazard_id`` was written by this
        tool, and its name and description are captions of it.

    Raises
    ------
    InputError
        Not KML, no placemarks with a shape, or two columns that mean the same.
    """
    marks = read_placemarks(path)
    broken = {fault.where for fault in marks.faults}
    bare = [mark for mark in marks.rows if mark.shape is None and mark.place not in broken]
    notes = some([f"{mark.place}: left out, it has no shape" for mark in bare], path.name)
    if marks.links:
        notes.append(
            f"{path.name}: {marks.links} links to other files not followed; "
            "export what stands behind them"
        )
    names = dict.fromkeys(name for mark in marks.rows for name in mark.data)
    columns = columns_of(names, where=str(path), places=False)
    shaped = [mark for mark in marks.rows if mark.shape is not None]
    rows = [_row(mark, columns, kinds) for mark in shaped]
    notes += unused_note(columns.unused, path.name)
    return from_rows(rows, path, faults=[*columns.faults, *marks.faults], notes=notes)


def _row(mark: Placemark, columns: Columns, kinds: frozenset[str]) -> dict[str, Any]:
    held = {role: mark.data.get(name, "") for role, name in columns.named.items()}
    name = mark.name or held.get("name", "")
    notes: tuple[str, ...] = (mark.description, held.get("note", ""))
    if held.get("hazard_id") and held.get("kind") in kinds:
        name, notes = "", (held.get("note", mark.description),)
    return held | {
        "name": name,
        "note": _together(notes),
        "time": held.get("time") or ("" if held.get("date") else mark.time),
        "geometry": mark.shape,
        "place": mark.place,
    }


def _together(parts: Iterable[str]) -> str:
    """Words that say different things, one behind the other."""
    said: list[str] = []
    for part in parts:
        if part and plain_words(part) not in [plain_words(one) for one in said]:
            said.append(part)
    return " - ".join(said)
