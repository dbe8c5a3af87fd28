"""Finds from a CSV file, with quoted line ends and the list separators of other countries."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import shapely
from shapely.errors import ShapelyError

from fieldmap.errors import Fault, InputError
from fieldmap.read.cells import CellError, figure
from fieldmap.read.columns import METRES, PLACES, Columns, columns_of, unused_note
from fieldmap.read.csv_guard import as_written
from fieldmap.read.csv_rows import csv_rows
from fieldmap.read.found import Found, from_rows, some
from fieldmap.read.positions import PositionError, angle, pair
from fieldmap.words import plain_words

_SHOWN = 5
_ORDERS = {"position": None, "lat_lon": ("lat", "lon"), "lon_lat": ("lon", "lat")}


class _Place(NamedTuple):
    """Where a row lies, what to tell of how it was read, and whether it named its hemisphere."""

    shape: shapely.Geometry
    read: tuple[str, ...] = ()
    sure: bool = False


def read_csv_finds(path: Path) -> Found:
    """Rows under the tool's own column names, each with its place.

    The first line names the columns, in any order and case, by any of the plain names in
    :mod:`fieldmap.read.columns`; commas, semicolons or tabs stand between them. A place is a
    shape in a ``wkt`` column (WGS 84, longitude first), two columns, or one column of position.

    Returns
    -------
    Found
        A row that cannot be placed stays, without a shape, with its fault, so that what else is
        wrong with the file can be told at the same time. Angles written in minutes are told as
        they were read.

    Raises
    ------
    InputError
        Not to be opened, not UTF-8 or UTF-16, no columns for the position, or two columns that
        mean the same.
    """
    lines = csv_rows(path, what="a CSV file of finds").rows
    names = [name.strip() for name in lines[0][1]] if lines else []
    columns = _columns(names, lines[1:], path)
    rows: list[dict[str, Any]] = []
    faults: list[Fault] = []
    shown: list[str] = []
    for number, cells in lines[1:]:
        where = f"{path.name} line {number}"
        if len(cells) > len(names):
            faults.append(_too_many(cells, len(names), where))
        held = as_written(dict(zip(names, cells, strict=False)))
        row = {role: held.get(name, "") for role, name in columns.named.items()}
        try:
            place = _place(row)
        except (CellError, PositionError) as error:
            faults.append(_no_place(error, row, where))
            rows.append(row | {"place": where, "geometry": None, "told": True})
            continue
        shown.extend(f"{path.name} line {number}: {words}" for words in place.read)
        rows.append(row | {"place": where, "geometry": place.shape, "sure": place.sure})
    notes = [*some(shown, path.name, most=_SHOWN), *unused_note(columns.unused, path.name)]
    return from_rows([_without_places(row) for row in rows], path, faults=faults, notes=notes)


def _without_places(row: dict[str, Any]) -> dict[str, Any]:
    return {role: held for role, held in row.items() if role not in PLACES}


def _columns(names: list[str], lines: Sequence[tuple[int, list[str]]], path: Path) -> Columns:
    """What the columns mean, of those that hold anything or might place a row."""
    twice = sorted({name.lower() for name in names if name and _times(name, names) > 1})
    filled = {names[place] for _, cells in lines for place in range(min(len(cells), len(names)))
              if cells[place].strip()}  # fmt: skip
    asked = {plain for held in PLACES.values() for plain in held}
    used = [name for name in names if name in filled or plain_words(name) in asked]
    found = columns_of(used, where=str(path), places=True)
    named = _placed_by(found.named)
    if named is None:
        raise InputError(_no_columns(names, path))
    faults = [_same_name(twice, path)] if twice else list(found.faults)
    if faults:
        raise InputError(faults)
    return found._replace(named=named)


def _times(name: str, names: list[str]) -> int:
    return sum(other.lower() == name.lower() for other in names)


def _placed_by(named: dict[str, str]) -> dict[str, str] | None:
    """The columns, x and y standing for longitude and latitude where nothing better is there."""
    if "lon" not in named and "lat" not in named and {"x", "y"} <= set(named):
        turn = {"x": "lon", "y": "lat"}
        named = {turn.get(role, role): name for role, name in named.items()}
    one_column = any(role in named for role in ("wkt", *_ORDERS))
    return named if one_column or {"lon", "lat"} <= set(named) else None


def _place(row: dict[str, str]) -> _Place:
    """A row's place: its shape, else its two columns, else its one column."""
    if row.get("wkt", "").strip():
        return _Place(_shape(row["wkt"]))
    lon, lat = row.get("lon", "").strip(), row.get("lat", "").strip()
    whole = next((role for role in _ORDERS if row.get(role, "").strip()), None)
    if whole is not None and not (lon or lat):
        said = row[whole].strip()
        x, y, sure = pair(said, _ORDERS[whole])
        shown = (f"{said} read as {y:.6f}, {x:.6f} (latitude, longitude)",) if sure else ()
        return _Place(shapely.Point(x, y), shown, sure)
    if not (lon and lat):
        raise PositionError(
            "a position that is not two numbers", "give decimal degrees with a point"
        )
    east, north = _degrees(lon, "lon"), _degrees(lat, "lat")
    sure = bool(east[2] and north[2])
    return _Place(shapely.Point(east[0], north[0]), (*north[1], *east[1]), sure)


def _degrees(cell: str, axis: str) -> tuple[float, tuple[str, ...], str]:
    """Degrees, how they were read when not from a plain number, and the letter."""
    try:
        return figure(cell, degrees=True), (), ""
    except CellError:
        found = angle(cell, axis)
    return found.degrees, (f"{cell} read as {found.degrees:.6f}",), found.letter


def _shape(words: str) -> shapely.Geometry:
    try:
        return shapely.from_wkt(words.strip())
    except ShapelyError:
        raise PositionError(
            "a wkt that is no shape", "write it as LINESTRING (-92.9 40.6, -92.8 40.6)"
        ) from None


def _no_columns(names: list[str], path: Path) -> Fault:
    metres = [name for name in names if plain_words(name) in METRES]
    return Fault(
        "a position in metres of a system that is not named"
        if metres
        else "no columns for the position",
        ", ".join(metres or names) or "an empty file",
        "a find without a place cannot be mapped",
        "save it in degrees (lon, lat in WGS 84), or as GeoPackage with its coordinate system"
        if metres
        else "name two columns lon and lat (degrees) in the first line",
        where=str(path),
    )


def _same_name(twice: list[str], path: Path) -> Fault:
    return Fault(
        "columns of the same name",
        ", ".join(twice),
        "one would hide the other",
        "give each its own name",
        where=str(path),
    )


def _too_many(cells: list[str], names: int, where: str) -> Fault:
    return Fault(
        "more cells than columns",
        f"{len(cells)} cells, {names} columns",
        "it is not clear which cell is which",
        "put quotes round a note that holds the list separator",
        where=where,
    )


def _no_place(error: CellError | PositionError, row: dict[str, str], where: str) -> Fault:
    one = next((row[role] for role in ("wkt", *_ORDERS) if row.get(role, "").strip()), None)
    two = f"{row.get('lon', '')}, {row.get('lat', '')}"
    return Fault(
        error.what if isinstance(error, PositionError) else f"a position that {error.what}",
        (two if one is None else one)[:60],
        "a find without a place cannot be mapped",
        error.mend,
        where=where,
    )
