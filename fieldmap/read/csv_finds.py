"""Finds from a CSV file, with quoted line ends and the list separators of other countries."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path
from typing import Any

from fieldmap.errors import Fault, InputError

_LON = ("lon", "lng", "longitude", "x")
_LAT = ("lat", "latitude", "y")
_SEPARATORS = (",", ";", "\t")


def read_csv_finds(path: Path) -> tuple[list[dict[str, Any]], list[Fault]]:
    """Rows with ``lon`` and ``lat`` as numbers and every other column as it was written.

    The first line names the columns, in any order and case; commas, semicolons or tabs stand
    between them.

    Returns
    -------
    list of dict, list of Fault
        A row that cannot be placed stays, at NaN, with its fault, so that what else is wrong
        with the file can be told at the same time.

    Raises
    ------
    InputError
        Not UTF-8, or no columns for the position.
    """
    lines = _lines(_text(path), path)
    names = [name.strip().lower() for name in lines[0][1]] if lines else []
    lon, lat = _position_columns(names, path)
    rows: list[dict[str, Any]] = []
    faults: list[Fault] = []
    for number, cells in lines[1:]:
        where = f"{path.name} line {number}"
        if len(cells) > len(names):
            faults.append(_too_many(cells, len(names), where))
        row: dict[str, Any] = dict(zip(names, cells, strict=False))
        try:
            row["lon"], row["lat"] = float(row.get(lon, "")), float(row.get(lat, ""))
        except ValueError:
            faults.append(_no_place(f"{row.get(lon, '')}, {row.get(lat, '')}", where))
            row["lon"] = row["lat"] = math.nan
        rows.append(row)
    return rows, faults


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            Fault(
                "a CSV file that is not UTF-8 text",
                f"byte {error.start + 1} is {error.object[error.start]:#x}",
                "names and notes would be garbled",
                "save it as CSV UTF-8",
                where=str(path),
            )
        ) from None


def _lines(text: str, path: Path) -> list[tuple[int, list[str]]]:
    """The number of the line a row starts on, and its cells; blank lines are left out."""
    head = text.partition("\n")[0]
    separator = max(_SEPARATORS, key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    lines, start = [], 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                lines.append((start, cells))
            start = reader.line_num + 1
    except csv.Error as error:
        raise InputError(
            Fault(
                "a row that cannot be told apart",
                str(error),
                "what follows it would be read wrongly",
                'close every quote; write a quote inside quotes twice ("")',
                where=f"{path.name} line {start}",
            )
        ) from None
    return lines


def _position_columns(names: list[str], path: Path) -> tuple[str, str]:
    lon = next((key for key in _LON if key in names), None)
    lat = next((key for key in _LAT if key in names), None)
    twice = sorted({name for name in names if name and names.count(name) > 1})
    if lon is None or lat is None:
        raise InputError(
            Fault(
                "no columns for the position",
                ", ".join(names) or "an empty file",
                "a find without a place cannot be mapped",
                "name two columns lon and lat (degrees) in the first line",
                where=str(path),
            )
        )
    if twice:
        raise InputError(
            Fault(
                "columns of the same name",
                ", ".join(twice),
                "one would hide the other",
                "give each its own name",
                where=str(path),
            )
        )
    return lon, lat


def _too_many(cells: list[str], names: int, where: str) -> Fault:
    return Fault(
        "more cells than columns",
        f"{len(cells)} cells, {names} columns",
        "it is not clear which cell is which",
        "put quotes round a note that holds the list separator",
        where=where,
    )


def _no_place(seen: str, where: str) -> Fault:
    return Fault(
        "a position that is not two numbers",
        seen,
        "a find without a place cannot be mapped",
        "give decimal degrees with a point",
        where=where,
    )
