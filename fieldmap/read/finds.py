"""What people found, from GeoJSON, CSV or GPX waypoints, as rows ready for the log."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from fieldmap.crs import WGS84
from fieldmap.errors import Fault, InputError, raise_all
from fieldmap.read.gpx import aware, read_waypoints
from fieldmap.read.paths import plain_file
from fieldmap.read.vectors import SUFFIXES as VECTOR_SUFFIXES
from fieldmap.read.vectors import Layer, read_layer, swapped
from fieldmap.schemas import HAZARDS, checked
from fieldmap.tables import Tables

SUFFIXES = (".csv", ".gpx", *VECTOR_SUFFIXES)
UNKNOWN_KIND = "unknown"
_COLUMNS = ("hazard_id", "kind", "note", "who", "time", "radius_m", "height_m")
_CSV_LON = ("lon", "lng", "longitude", "x")
_CSV_LAT = ("lat", "latitude", "y")


def read_finds(name: str | Path, *, tables: Tables, swap_xy: bool = False) -> Layer:
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

    Returns
    -------
    Layer
        Columns ``hazard_id`` ("" when the file gives none), ``kind, note, who, time, radius_m,
        height_m`` and geometry; notes name each kind read out of words.

    Raises
    ------
    InputError
        Every bad row at once; nothing is half read.
    """
    path = plain_file(name, suffixes=SUFFIXES, what="hazards")
    suffix = path.suffix.lower()
    if suffix == ".csv":
        raw = _from_csv(path)
    elif suffix == ".gpx":
        raw = _from_rows(read_waypoints(path))
    else:
        raw = _from_vectors(path, swap_xy=swap_xy)
        swap_xy = False
    if swap_xy:
        raw = raw.set_geometry(swapped(raw.geometry))
    return _finished(raw, path.name, tables)


def kind_of(words: str, tables: Tables) -> str:
    """The hazard kind that a person's words name, ``unknown`` when none is named.

    The longest kind name, label or alias found as whole words wins.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> kind_of("loose wire", load_tables())
    'loose_wire'
    >>> kind_of("odd thing by the gate", load_tables())
    'unknown'
    >>> kind_of("", load_tables())
    'unknown'
    """
    text = _plain(words)
    best, length = UNKNOWN_KIND, 0
    for row in tables.rows("hazard_kinds"):
        key = row.key.split(".", 1)[1]
        for name in (key, row.words["label"], *row.words["aliases"].split(";")):
            said = _plain(name)
            if said and len(said) > length and re.search(rf"\b{re.escape(said)}s?\b", text):
                best, length = key, len(said)
    return best


def _plain(words: str) -> str:
    return " ".join(re.sub(r"[_\W]+", " ", words.lower()).split())


def _from_csv(path: Path) -> gpd.GeoDataFrame:
    try:
        text = path.read_text("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            Fault(
                "a CSV file that is not UTF-8 text",
                path.name,
                "names and notes would be garbled",
                "save it as UTF-8",
                where=str(path),
            )
        ) from None
    reader = csv.DictReader(text.splitlines())
    names = {str(name).strip().lower(): name for name in reader.fieldnames or ()}
    lon = next((names[key] for key in _CSV_LON if key in names), None)
    lat = next((names[key] for key in _CSV_LAT if key in names), None)
    if lon is None or lat is None:
        raise InputError(
            Fault(
                "no columns for the position",
                ", ".join(names) or "none",
                "a find without a place cannot be mapped",
                "name two columns lon and lat (degrees)",
                where=str(path),
            )
        )
    rows, faults = [], []
    for number, line in enumerate(reader, start=2):
        try:
            place = {"lon": float(line[lon]), "lat": float(line[lat])}
        except (TypeError, ValueError):
            faults.append(
                Fault(
                    "a position that is not two numbers",
                    f"{line[lon]}, {line[lat]}",
                    "a find without a place cannot be mapped",
                    "give decimal degrees with a point",
                    where=f"{path.name} line {number}",
                )
            )
            continue
        rows.append(
            place
            | {
                key: (line[theirs] or "").strip()
                for key, theirs in names.items()
                if theirs not in (lon, lat)
            }
        )
    raise_all(faults)
    return _from_rows(rows)


def _from_rows(rows: list[dict[str, Any]]) -> gpd.GeoDataFrame:
    table = pd.DataFrame(rows)
    if table.empty:
        raise InputError(
            Fault(
                "no finds in the file",
                "0 rows",
                "there is nothing to log",
                "check that the right file was exported",
            )
        )
    points = shapely.points(table["lon"].to_numpy(float), table["lat"].to_numpy(float))
    return gpd.GeoDataFrame(table.drop(columns=["lon", "lat"]), geometry=points, crs=WGS84)


def _from_vectors(path: Path, *, swap_xy: bool) -> gpd.GeoDataFrame:
    table = read_layer(path, what="hazards", swap_xy=swap_xy)
    table = table.rename(columns=str.lower).to_crs(WGS84)
    table["geometry"] = shapely.force_2d(table.geometry.to_numpy())
    return table


def _finished(raw: gpd.GeoDataFrame, where: str, tables: Tables) -> Layer:
    faults = _place_faults(raw, where)
    out: dict[str, Any] = {
        "hazard_id": _words(raw, ("hazard_id", "id")),
        "note": _words(raw, ("note", "desc", "description")),
        "who": _words(raw, ("who", "by")),
    }
    said = _words(raw, ("kind", "type", "what"))
    out["kind"] = [kind_of(words, tables) for words in said]
    notes = _kind_notes(said, out["kind"], where)
    out["time"] = _times(raw, where, faults)
    for column in ("radius_m", "height_m"):
        out[column] = _numbers(raw, column, where, faults)
    raise_all(faults)
    table = gpd.GeoDataFrame(
        pd.DataFrame(out)[list(_COLUMNS)], geometry=raw.geometry.to_numpy(), crs=WGS84
    )
    named = table["hazard_id"] != ""
    twice = named & table["hazard_id"].duplicated()
    raise_all(
        Fault(
            "an id that stands twice",
            str(table["hazard_id"][row]),
            "one find would hide the other",
            "give each find its own id, or none",
            where=f"{where} row {row + 1}",
        )
        for row in np.flatnonzero(twice)
    )
    with_ids = table.assign(hazard_id=table["hazard_id"].where(named, "-"))
    checked(with_ids, HAZARDS, where=where)
    return Layer(table, notes)


def _place_faults(raw: gpd.GeoDataFrame, where: str) -> list[Fault]:
    shapes = raw.geometry.to_numpy()
    bounds = shapely.bounds(shapes)
    bad = ~np.isfinite(bounds).all(axis=1) | (np.abs(bounds[:, [0, 2]]) > 180).any(axis=1)
    bad |= (np.abs(bounds[:, [1, 3]]) > 90).any(axis=1)
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


def _words(raw: pd.DataFrame, names: tuple[str, ...]) -> list[str]:
    for name in names:
        if name in raw.columns:
            return ["" if pd.isna(held) else _whole(held) for held in raw[name]]
    return [""] * len(raw)


def _whole(held: Any) -> str:
    if isinstance(held, float) and held.is_integer():
        return str(int(held))
    return str(held).strip()


def _kind_notes(said: list[str], kinds: list[str], where: str) -> tuple[str, ...]:
    counts: dict[tuple[str, str], int] = {}
    for words, kind in zip(said, kinds, strict=True):
        if words.strip() != kind:
            counts[words, kind] = counts.get((words, kind), 0) + 1
    return tuple(
        f"{where}: {number} x '{words}' taken as {kind}" for (words, kind), number in counts.items()
    )


def _times(raw: pd.DataFrame, where: str, faults: list[Fault]) -> pd.Series:
    if "time" not in raw.columns:
        return pd.Series(pd.NaT, index=raw.index).astype("datetime64[us, UTC]")
    found: list[datetime | None] = []
    for row, held in enumerate(raw["time"]):
        try:
            found.append(_moment(held))
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
            found.append(None)
    return pd.Series(pd.to_datetime(found, utc=True), index=raw.index).astype("datetime64[us, UTC]")


def _moment(held: Any) -> datetime | None:
    if held is None or held == "" or pd.isna(held):
        return None
    if isinstance(held, pd.Timestamp):
        held = held.to_pydatetime()
    return aware(
        held if isinstance(held, datetime) else datetime.fromisoformat(str(held))
    ).astimezone(UTC)


def _numbers(raw: pd.DataFrame, name: str, where: str, faults: list[Fault]) -> list[float]:
    if name not in raw.columns:
        return [float("nan")] * len(raw)
    out = []
    for row, held in enumerate(raw[name]):
        try:
            out.append(float("nan") if held is None or held == "" or pd.isna(held) else float(held))
        except ValueError:
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
) -> Mapping[str, Any]:
    """How many finds lie far from every field, and whether swapping x and y would cure it.

    Parameters
    ----------
    table : GeoDataFrame
        Finds in WGS 84.
    fields : GeoDataFrame
        Field boundaries in the run's metric system.
    beyond_m : float
        Distance from the box around all fields that counts as far.
    """
    crs = CRS.from_user_input(fields.crs)
    west, south, east, north = fields.geometry.total_bounds
    box = shapely.box(west - beyond_m, south - beyond_m, east + beyond_m, north + beyond_m)
    far = ~table.to_crs(crs).intersects(box)
    turned = swapped(table.geometry[far])
    legal = (turned.bounds["miny"].abs() <= 90) & (turned.bounds["maxy"].abs() <= 90)
    cured = bool(far.any()) and bool(legal.all()) and bool(turned.to_crs(crs).intersects(box).all())
    return {"far": int(far.sum()), "swap_would_cure": cured}
