"""What people found, from GeoJSON, CSV or GPX waypoints, as rows ready for the log."""

from __future__ import annotations

import re
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from fieldmap.crs import WGS84
from fieldmap.errors import Fault, InputError, raise_all
from fieldmap.read.csv_finds import read_csv_finds
from fieldmap.read.gpx import aware, read_waypoints
from fieldmap.read.paths import plain_file
from fieldmap.read.vectors import SUFFIXES as VECTOR_SUFFIXES
from fieldmap.read.vectors import Layer, read_layer, swapped
from fieldmap.schemas import HAZARDS, checked
from fieldmap.tables import Tables
from fieldmap.words import plain_words

SUFFIXES = (".csv", ".gpx", *VECTOR_SUFFIXES)
UNKNOWN_KIND = "unknown"
_DENIED = re.compile(r"\b(no|not|none|without|removed|cleared|gone|picked up|taken away)\b")
_COLUMNS = ("hazard_id", "kind", "note", "who", "time", "radius_m", "height_m")


def read_finds(
    name: str | Path, *, tables: Tables, swap_xy: bool = False, zone: tzinfo = UTC
) -> Layer:
    """Finds as a table in WGS 84; all or nothing.

    Parameters
    ----------
    name : str or Path
        ``.geojson``, ``.gpkg``, ``.shp``, ``.csv`` (columns ``lon, lat, kind`` and what else is
        known) or ``.gpx``.
    tables : Tables
        The hazard kinds and the words that mean them.
    swap_xy : bool
        The file has latitude where longitude belongs.
    zone : tzinfo
        Where a time was written down that names no zone itself (GPX is always UTC).

    Returns
    -------
    Layer
        Columns ``hazard_id`` ("" when the file gives none), ``kind, note, who, time, radius_m,
        height_m`` and geometry; notes name each kind read out of words, each shape mended, and how
        many times were taken as local.

    Raises
    ------
    InputError
        Every bad row at once; nothing is half read.
    """
    path = plain_file(name, suffixes=SUFFIXES, what="hazards")
    suffix = path.suffix.lower()
    faults: list[Fault] = []
    if suffix == ".csv":
        rows, faults = read_csv_finds(path)
        raw = _from_rows(rows, path)
    elif suffix == ".gpx":
        raw, zone = _from_rows(read_waypoints(path), path), UTC
    else:
        raw = _from_vectors(path, swap_xy=swap_xy)
        swap_xy = False
    if swap_xy:
        raw = raw.set_geometry(swapped(raw.geometry))
    return _finished(raw, path.name, tables, zone, faults)


def kind_of(words: str, tables: Tables) -> str:
    """The hazard kind that a person's words name, ``unknown`` when none is named.

    The longest kind name, label or alias found as whole words wins. Words that say a thing is
    gone or was not there name no kind.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> kind_of("loose wire", load_tables())
    'loose_wire'
    >>> kind_of("odd thing by the gate", load_tables())
    'unknown'
    >>> kind_of("propane bottle", load_tables()), kind_of("no wire left", load_tables())
    ('drum', 'unknown')
    >>> kind_of("", load_tables())
    'unknown'
    """
    text = plain_words(words)
    if _DENIED.search(text):
        return UNKNOWN_KIND
    best, length = UNKNOWN_KIND, 0
    for row in tables.rows("hazard_kinds"):
        key = row.key.split(".", 1)[1]
        for name in (key, row.words["label"], *row.words["aliases"].split(";")):
            said = plain_words(name)
            if said and len(said) > length and re.search(rf"\b{re.escape(said)}s?\b", text):
                best, length = key, len(said)
    return best


def _none_in(path: Path) -> Fault:
    return Fault(
        "no finds in the file",
        "0 rows",
        "there is nothing to log",
        "check that the right file was exported",
        where=str(path),
    )


def _from_rows(rows: list[dict[str, Any]], path: Path) -> gpd.GeoDataFrame:
    if not rows:
        raise InputError(_none_in(path))
    table = pd.DataFrame(rows, dtype=object)
    points = shapely.points(table["lon"].to_numpy(float), table["lat"].to_numpy(float))
    return gpd.GeoDataFrame(table.drop(columns=["lon", "lat"]), geometry=points, crs=WGS84)


def _from_vectors(path: Path, *, swap_xy: bool) -> gpd.GeoDataFrame:
    table = read_layer(path, what="hazards", swap_xy=swap_xy)
    if table.empty:
        raise InputError(_none_in(path))
    table = table[sorted(table.columns, key=lambda name: str(name) != str(name).lower())]
    names = pd.Index([str(name).lower() for name in table.columns])  # a name spelt like ours first
    table = table.set_axis(names, axis="columns").loc[:, ~names.duplicated()].to_crs(WGS84)
    table["geometry"] = shapely.force_2d(table.geometry.to_numpy())
    return table


def _finished(
    raw: gpd.GeoDataFrame, where: str, tables: Tables, zone: tzinfo, faults: list[Fault]
) -> Layer:
    faults += _place_faults(raw, where, unplaced=bool(faults))
    out: dict[str, Any] = {
        "hazard_id": _words(raw, ("hazard_id", "id")),
        "note": _words(raw, ("note", "desc", "description"), bare=False),
        "who": _words(raw, ("who", "by")),
    }
    said = _words(raw, ("kind", "type", "what"))
    out["kind"] = [kind_of(words, tables) for words in said]
    out["note"] = [
        _with_words(note, words, kind, tables)
        for note, words, kind in zip(out["note"], said, out["kind"], strict=True)
    ]
    out["time"], local = _times(raw, where, faults, zone)
    for column in ("radius_m", "height_m"):
        out[column] = _numbers(raw, column, where, faults)
    faults += _twice(out["hazard_id"], where)
    raise_all(faults)
    shapes, mends = _mended(raw.geometry.to_numpy(), where)
    table = gpd.GeoDataFrame(pd.DataFrame(out)[list(_COLUMNS)], geometry=shapes, crs=WGS84)
    named = table["hazard_id"] != ""
    checked(table.assign(hazard_id=table["hazard_id"].where(named, "-")), HAZARDS, where=where)
    notes = [*_kind_notes(said, out["kind"], where), *mends]
    if local:
        notes.append(f"{where}: {local} times without a zone taken as {zone} time")
    return Layer(table, tuple(notes))


def _with_words(note: str, words: str, kind: str, tables: Tables) -> str:
    """The note, with the finder's own words for the kind before it where they say more."""
    label = tables[f"hazard_kinds.{kind}"].words["label"]
    told = plain_words(words)
    if not told or told in (plain_words(kind), plain_words(label)) or told in plain_words(note):
        return note
    return f"{words.strip()} - {note}" if note else words.strip()


def _twice(ids: list[str], where: str) -> list[Fault]:
    seen: set[str] = set()
    faults = []
    for row, name in enumerate(ids, start=1):
        if name and name in seen:
            faults.append(
                Fault(
                    "an id that stands twice",
                    name,
                    "one find would hide the other",
                    "give each find its own id, or none",
                    where=f"{where} row {row}",
                )
            )
        seen.add(name)
    return faults


def _mended(shapes: np.ndarray, where: str) -> tuple[np.ndarray, list[str]]:
    """The shapes with self-crossing areas mended, and which, in words."""
    bad = np.flatnonzero(~shapely.is_valid(shapes))
    if not bad.size:
        return shapes, []
    whole = shapes.copy()
    whole[bad] = shapely.make_valid(shapes[bad])
    return whole, [f"{where} row {row + 1}: outline crossed itself, mended" for row in bad]


def _place_faults(raw: gpd.GeoDataFrame, where: str, *, unplaced: bool) -> list[Fault]:
    """Positions off the earth; where the reader told of rows without one, no more of those."""
    shapes = raw.geometry.to_numpy()
    bounds = shapely.bounds(shapes)
    bad = ~np.isfinite(bounds).all(axis=1) | (np.abs(bounds[:, [0, 2]]) > 180).any(axis=1)
    bad |= (np.abs(bounds[:, [1, 3]]) > 90).any(axis=1)
    if unplaced:
        bad &= np.isfinite(bounds).all(axis=1)
    turned = (np.abs(bounds[:, 0]) <= 90) & (np.abs(bounds[:, 1]) > 90)
    return [
        Fault(
            "a position that is not on earth",
            f"{shapes[row]}"[:60],
            "a find without a place cannot be mapped",
            "give --swap-xy: latitude and longitude look swapped"
            if turned[row]
            else "give degrees east and north",
            where=f"{where} row {row + 1}",
        )
        for row in np.flatnonzero(bad)
    ]


def _words(raw: pd.DataFrame, names: tuple[str, ...], *, bare: bool = True) -> list[str]:
    """The first of these columns as text, blanks at its ends taken off; a note keeps them."""
    for name in names:
        if name in raw.columns:
            words = [_whole(held) for held in raw[name]]
            return [word.strip() for word in words] if bare else words
    return [""] * len(raw)


def _whole(held: Any) -> str:
    if _nothing(held):
        return ""
    if isinstance(held, float) and held.is_integer():
        return str(int(held))
    return str(held)


def _nothing(held: Any) -> bool:
    return held is None or held is pd.NA or (pd.api.types.is_scalar(held) and bool(pd.isna(held)))


def _kind_notes(said: list[str], kinds: list[str], where: str) -> tuple[str, ...]:
    counts: dict[tuple[str, str], int] = {}
    for words, kind in zip(said, kinds, strict=True):
        if words != kind:
            counts[words, kind] = counts.get((words, kind), 0) + 1
    return tuple(
        f"{where}: {number} x '{words}' taken as {kind}"
        if words
        else f"{where}: {number} without a kind, logged as {kind}"
        for (words, kind), number in counts.items()
    )


def _times(
    raw: pd.DataFrame, where: str, faults: list[Fault], zone: tzinfo
) -> tuple[pd.Series, int]:
    """The moments in UTC, and how many were written without a zone."""
    found: list[datetime | None] = [None] * len(raw)
    local = 0
    for row, held in enumerate(raw["time"] if "time" in raw.columns else ()):
        try:
            moment = _moment(held)
            found[row] = None if moment is None else aware(moment, zone)
        except ValueError:
            faults.append(
                Fault(
                    "a time that cannot be read",
                    str(held),
                    "what was found before a flood and after it would be mixed up",
                    "write it as 2026-06-01T09:30:00-05:00",
                    where=f"{where} row {row + 1}",
                )
            )
            continue
        local += moment is not None and moment.tzinfo is None and zone is not UTC
    return pd.Series(found, index=raw.index, dtype="datetime64[us, UTC]"), local


def _moment(held: Any) -> datetime | None:
    if _nothing(held) or (isinstance(held, str) and not held.strip()):
        return None
    if isinstance(held, pd.Timestamp):
        return held.to_pydatetime()
    return held if isinstance(held, datetime) else datetime.fromisoformat(str(held).strip())


def _numbers(raw: pd.DataFrame, name: str, where: str, faults: list[Fault]) -> list[float]:
    if name not in raw.columns:
        return [float("nan")] * len(raw)
    out = []
    for row, held in enumerate(raw[name]):
        try:
            out.append(float("nan") if _whole(held).strip() == "" else float(held))
        except (TypeError, ValueError):
            faults.append(
                Fault(
                    f"{name} is not a number",
                    str(held),
                    "the mark would be misplaced",
                    "give metres with a decimal point",
                    where=f"{where} row {row + 1}",
                )
            )
            out.append(float("nan"))
    return out


def distant(
    table: gpd.GeoDataFrame, fields: gpd.GeoDataFrame, *, beyond_m: float
) -> tuple[tuple[int, ...], bool]:
    """Which rows lie far from every field, and whether swapping x and y would cure them all.

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
