"""What people found, from any file they have it in, as rows ready for the log."""

from __future__ import annotations

import math
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from fieldmap.crs import WGS84
from fieldmap.errors import Fault, raise_all
from fieldmap.read.cells import CellError, figure, moment, words
from fieldmap.read.csv_finds import read_csv_finds
from fieldmap.read.finds_of import read_kml_finds, read_vector_finds
from fieldmap.read.found import Found, some
from fieldmap.read.gpx import aware
from fieldmap.read.gpx_finds import read_gpx_finds
from fieldmap.read.kinds import UNKNOWN_KIND, kind_notes, kind_of, kinds_of, says_more, with_words
from fieldmap.read.kml import SUFFIXES as KML_SUFFIXES
from fieldmap.read.paths import plain_file
from fieldmap.read.photos import SUFFIXES as PHOTO_SUFFIXES
from fieldmap.read.photos import read_photo, refuse_other_pictures
from fieldmap.read.shapes import mended, of_one_kind, place_faults
from fieldmap.read.vectors import SUFFIXES as VECTOR_SUFFIXES
from fieldmap.read.vectors import Layer, swapped
from fieldmap.schemas import HAZARDS, checked
from fieldmap.tables import Tables

__all__ = ["SUFFIXES", "UNKNOWN_KIND", "distant", "kind_of", "read_finds"]

SUFFIXES = (".csv", ".gpx", *VECTOR_SUFFIXES, *PHOTO_SUFFIXES)
_COLUMNS = (
    "hazard_id", "kind", "note", "who", "time", "radius_m", "height_m", "heading_deg", "photo",
)  # fmt: skip
_MOST_HEADING_DEG = 360.0


def read_finds(
    name: str | Path, *, tables: Tables, swap_xy: bool = False, zone: tzinfo = UTC
) -> Layer:
    """Finds as a table in WGS 84; all or nothing.

    Parameters
    ----------
    name : str or Path
        ``.geojson``, ``.gpkg``, ``.shp``, ``.kml``, ``.kmz``, ``.csv`` (columns ``lon, lat, kind``
        and what else is known), ``.gpx``, or a photo with its position (``.jpg``, ``.tif``,
        ``.png``).
    tables : Tables
        The hazard kinds and the words that mean them; what an accuracy figure is worth.
    swap_xy : bool
        The file has latitude where longitude belongs; where a position names its own
        hemispheres nothing is swapped.
    zone : tzinfo
        Where a time was written down that names no zone itself (GPX is always UTC).

    Returns
    -------
    Layer
        Columns ``hazard_id`` ("" when the file gives none), ``kind, note, who, time, radius_m,
        height_m, heading_deg`` (from true north), ``photo`` (JPEG bytes of a small picture, b""
        when none) and geometry; notes name each kind read out of words, each angle and accuracy
        that was turned into something else, each shape mended, each column not used, and how
        many times were taken as local.

    Raises
    ------
    InputError
        Every bad row at once; nothing is half read.
    """
    refuse_other_pictures(name)
    path = plain_file(name, suffixes=SUFFIXES, what="hazards")
    suffix = path.suffix.lower()
    if suffix in PHOTO_SUFFIXES:
        found, swap_xy = read_photo(path), False
    elif suffix == ".csv":
        found = read_csv_finds(path)
    elif suffix == ".gpx":
        found, zone = read_gpx_finds(path, kinds=_keys(tables)), UTC
    elif suffix in KML_SUFFIXES:
        found = read_kml_finds(path, kinds=_keys(tables))
    else:
        found, swap_xy = read_vector_finds(path, swap_xy=swap_xy), False
    return _finished(_turned(found) if swap_xy else found, path.name, tables, zone)


def _keys(tables: Tables) -> frozenset[str]:
    return frozenset(row.key.split(".", 1)[1] for row in tables.rows("hazard_kinds"))


def _turned(found: Found) -> Found:
    """Latitude and longitude exchanged, but for rows that say themselves which is which."""
    shapes = swapped(found.table.geometry).to_numpy().copy()
    kept = sorted(found.sure)
    shapes[kept] = found.table.geometry.to_numpy()[kept]
    return found._replace(table=found.table.set_geometry(shapes, crs=WGS84))


def _finished(found: Found, where: str, tables: Tables, zone: tzinfo) -> Layer:
    raw = found.table.set_geometry(of_one_kind(found.table.geometry.to_numpy()), crs=WGS84)
    faults = list(found.faults)
    faults += place_faults(raw.geometry.to_numpy(), found.places, told=found.told)
    said, looked_up = _said(raw, tables)
    kinds = kinds_of(looked_up, tables)
    out: dict[str, Any] = {
        "hazard_id": _words(raw, "hazard_id"),
        "kind": kinds,
        "note": _notes(raw, said, kinds, tables),
        "who": _words(raw, "who"),
    }
    out["time"], local = _times(found, faults, zone)
    out |= _figures(found, faults, tables)
    out["photo"] = list(raw["photo"]) if "photo" in raw.columns else [b""] * len(raw)
    faults += _twice(out["hazard_id"], found.places)
    raise_all(faults)
    shapes, mends = mended(raw.geometry.to_numpy(), found.places)
    table = gpd.GeoDataFrame(pd.DataFrame(out)[list(_COLUMNS)], geometry=shapes, crs=WGS84)
    named = table["hazard_id"] != ""
    checked(table.assign(hazard_id=table["hazard_id"].where(named, "-")), HAZARDS, where=where)
    notes = [*some(kind_notes(looked_up, kinds, where), where), *some(mends, where), *found.notes]
    notes += _accuracy_note(raw, where, tables)
    if local:
        notes.append(f"{where}: {local} times without a zone taken as {zone} time")
    return Layer(table, tuple(notes))


def _words(raw: pd.DataFrame, name: str) -> list[str]:
    """A column as text, blanks at its ends taken off; a note keeps them, but is no note of blanks.

    Blanks are what Python's ``str.strip`` takes off: spaces, tabs and line ends of all scripts.
    """
    if name not in raw.columns:
        return [""] * len(raw)
    held = [words(cell) for cell in raw[name]]
    if name == "note":
        return [cell if cell.strip() else "" for cell in held]
    return [cell.strip() for cell in held]


def _said(raw: pd.DataFrame, tables: Tables) -> tuple[list[str], list[str]]:
    """The words for each kind, and the words it is read out of: with the name, where they need it.

    The kind's own words come first; where they name none, and do not say outright that the thing
    is unknown, the name is looked at with them.
    """
    names = _words(raw, "name")
    said = [kind or name for kind, name in zip(_words(raw, "kind"), names, strict=True)]
    looked_up = [
        f"{words} - {name}"
        if kind == UNKNOWN_KIND and name not in ("", words) and says_more(words, kind, tables)
        else words
        for words, name, kind in zip(said, names, kinds_of(said, tables), strict=True)
    ]
    return said, looked_up


def _notes(raw: pd.DataFrame, said: list[str], kinds: list[str], tables: Tables) -> list[str]:
    """The finder's note, with a name and words for the kind before it where they say more."""
    names = _words(raw, "name")
    whole = []
    for note, name, spoken, kind in zip(_words(raw, "note"), names, said, kinds, strict=True):
        told = f"{name} - {note}".removesuffix(" - ") if says_more(name, kind, tables) else note
        whole.append(with_words(told, spoken, kind, tables))
    return whole


def _twice(ids: list[str], places: list[str]) -> list[Fault]:
    seen: set[str] = set()
    faults = []
    for name, place in zip(ids, places, strict=True):
        if name and name in seen:
            faults.append(
                Fault(
                    "an id that stands twice",
                    name,
                    "one find would hide the other",
                    "give each find its own id, or none",
                    where=place,
                )
            )
        seen.add(name)
    return faults


def _times(found: Found, faults: list[Fault], zone: tzinfo) -> tuple[pd.Series, int]:
    """The moments in UTC, and how many were written without a zone."""
    raw = found.table
    nothing = [None] * len(raw)
    columns = [raw[name] if name in raw.columns else nothing for name in ("time", "date")]
    out: list[datetime | None] = [None] * len(raw)
    local = 0
    for row, (held, day) in enumerate(zip(*columns, strict=True)):
        try:
            read = moment(held, day)
            out[row] = None if read is None else aware(read, zone)
        except ValueError as error:
            faults.append(_no_time(error, " ".join(filter(None, (words(day), words(held)))),
                                   found.places[row]))  # fmt: skip
            continue
        local += read is not None and read.tzinfo is None and zone is not UTC
    return pd.Series(out, index=raw.index, dtype="datetime64[us, UTC]"), local


def _no_time(error: ValueError, seen: str, place: str) -> Fault:
    told = isinstance(error, CellError)
    return Fault(
        error.what if isinstance(error, CellError) else "a time that cannot be read",
        seen[:60],
        "what was found before a flood and after it would be mixed up",
        error.mend if told else "write it as 2026-06-01T09:30:00-05:00",  # type: ignore[attr-defined]
        where=place,
    )


def _figures(found: Found, faults: list[Fault], tables: Tables) -> dict[str, list[float]]:
    """Radius (given, else out of the device's accuracy), height and heading."""
    limits = {name: HAZARDS.columns[name].checks[0].statistics for name in ("radius_m", "height_m")}
    most = {name: (held["min_value"], held["max_value"]) for name, held in limits.items()}
    factor = tables.number("looking.accuracy_factor")
    radius, height, heading, accuracy = (
        _numbers(found, name, faults, within)
        for name, within in (
            ("radius_m", most["radius_m"]),
            ("height_m", most["height_m"]),
            ("heading_deg", (0.0, _MOST_HEADING_DEG)),
            ("accuracy_m", (0.0, most["radius_m"][1] / factor)),
        )
    )
    worth = [factor * held if held > 0 else math.nan for held in accuracy]  # 0: nothing was known
    return {
        "radius_m": [w if math.isnan(r) else r for r, w in zip(radius, worth, strict=True)],
        "height_m": height,
        "heading_deg": [held % _MOST_HEADING_DEG for held in heading],
    }


def _accuracy_note(raw: pd.DataFrame, where: str, tables: Tables) -> list[str]:
    """How many radii are a device's accuracy figure times the factor of the tables."""
    if "accuracy_m" not in raw.columns:
        return []
    radius = raw["radius_m"] if "radius_m" in raw.columns else [""] * len(raw)
    pairs = zip(raw["accuracy_m"], radius, strict=True)
    count = sum(figure(held) > 0 and math.isnan(figure(given)) for held, given in pairs)
    factor = tables.number("looking.accuracy_factor")
    return [f"{where}: {count} x accuracy times {factor:g} taken as the 95 % radius"] * bool(count)


def _numbers(
    found: Found, name: str, faults: list[Fault], within: tuple[float, float]
) -> list[float]:
    if name not in found.table.columns:
        return [math.nan] * len(found.table)
    out = []
    for held, place in zip(found.table[name], found.places, strict=True):
        try:
            read = _within(held, *within)
        except CellError as error:
            read = math.nan
            faults.append(
                Fault(
                    f"{name} {error.what}",
                    words(held)[:60],
                    "the mark would be misplaced",
                    error.mend,
                    where=place,
                )
            )
        out.append(read)
    return out


def _within(held: Any, low: float, high: float) -> float:
    read = figure(held)
    if read < low or read > high:
        raise CellError("is out of range", f"give {low:g} to {high:.4g}")
    return read


def distant(
    table: gpd.GeoDataFrame, fields: gpd.GeoDataFrame, *, beyond_m: float
) -> tuple[tuple[int, ...], bool]:
    """Rows that lie far from every field, and whether swapping x and y would bring them home.

    Parameters
    ----------
    table : GeoDataFrame
        Finds in WGS 84.
    fields : GeoDataFrame
        Field boundaries in the run's metric system.
    beyond_m : float
        Distance from the box around all fields that counts as far.

    Returns
    -------
    tuple of int, bool
        Rows counted from 1.
    """
    crs = CRS.from_user_input(fields.crs)
    west, south, east, north = fields.geometry.total_bounds
    box = shapely.box(west - beyond_m, south - beyond_m, east + beyond_m, north + beyond_m)
    far = ~table.to_crs(crs).intersects(box).to_numpy()
    turned = swapped(table.geometry[far])
    legal = (turned.bounds["miny"].abs() <= 90) & (turned.bounds["maxy"].abs() <= 90)
    cured = bool(far.any()) and bool(legal.all()) and bool(turned.to_crs(crs).intersects(box).all())
    return tuple(int(row) + 1 for row in np.flatnonzero(far)), cured
