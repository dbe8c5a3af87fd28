"""Field boundaries and gates."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS

from fieldmap.crs import WGS84, transformer, utm_for
from fieldmap.errors import Fault, InputError
from fieldmap.read.vectors import Layer, mended_polygons, read_layer
from fieldmap.schemas import FIELDS, GATES, checked

_FIELD_COLUMNS = ("field_id", "name", "crop", "cutting", "stoniness", "lodged")
_TRUE = {"1", "true", "yes", "y", "t"}
_FALSE = {"0", "false", "no", "n", "f"}
_CROP_WORDS = ("crop", "name", "field_id")


def read_fields(
    name: str | Path,
    *,
    columns: Mapping[str, str] | None = None,
    crs: CRS | None = None,
    swap_xy: bool = False,
) -> Layer:
    """Field boundaries as the tool's own table, in one metric system.

    Parameters
    ----------
    name : str or Path
        GeoPackage, GeoJSON or Shapefile; ``file.gpkg:layer`` picks a layer.
    columns : mapping, optional
        Our name -> the file's name.
    crs : pyproj.CRS, optional
        The run's metric system; else the UTM zone of the fields' middle.
    swap_xy : bool
        Exchange x and y first.

    Returns
    -------
    Layer
        Columns ``field_id, name, crop, cutting, stoniness, lodged, area_ha`` and polygons;
        what was mended, in words.

    Raises
    ------
    InputError
        Every fault of the file at once.
    """
    where = str(name)
    raw = read_layer(name, what="field boundaries", swap_xy=swap_xy)
    if raw.empty:
        raise InputError(
            Fault(
                "no fields in the file",
                "0 rows",
                "there is nothing to look at",
                "draw at least one boundary",
                where=where,
            )
        )
    table = _renamed(raw, columns or {}, where)
    notes: list[str] = []
    if "field_id" not in table:
        table["field_id"] = [str(row + 1) for row in range(len(table))]
        notes.append(
            f"{where}: no field_id column, rows numbered from 1; "
            "name yours in farm.toml under [columns.fields]"
        )
    for column in _FIELD_COLUMNS:
        if column not in table:
            table[column] = None
    for column in _CROP_WORDS:
        table[column] = table[column].map(_text)
    table["lodged"] = table["lodged"].map(_yes_or_no).astype(object)
    table = _numbered(table, ("cutting", "stoniness"))
    table = checked(table[[*_FIELD_COLUMNS, table.geometry.name]], FIELDS, where=where)
    table = table.reset_index(drop=True)
    metric = crs or _utm_of(table)
    mended, mends = mended_polygons(table, metric, where=where)
    mended["area_ha"] = mended.geometry.area / 1e4
    return Layer(mended, (*notes, *mends))


def read_gates(name: str | Path, *, crs: CRS) -> gpd.GeoDataFrame:
    """Gates as points: ``gate_id, field_id, width_m``; an unknown width is NaN.

    Raises
    ------
    InputError
        A gate that is not a point, without an id, or of an impossible width.
    """
    where = str(name)
    raw = read_layer(name, what="gates")
    table = raw.copy()
    for column in ("gate_id", "field_id", "width_m"):
        if column not in table:
            table[column] = None
    missing = table["gate_id"].isna()
    table.loc[missing, "gate_id"] = [f"gate {row + 1}" for row in np.flatnonzero(missing)]
    table["gate_id"] = table["gate_id"].map(_text)
    table["field_id"] = table["field_id"].map(_text)
    table["width_m"] = pd.to_numeric(table["width_m"], errors="coerce")
    table = checked(table[["gate_id", "field_id", "width_m", "geometry"]], GATES, where=where)
    wrong = table.geometry.geom_type != "Point"
    if wrong.any():
        raise InputError(
            Fault(
                "a gate that is not a point",
                str(row),
                "a way in has one place",
                "draw it as a point",
                where=f"{where} row {row + 1}",
            )
            for row in np.flatnonzero(wrong)
        )
    return table.to_crs(crs)


def _renamed(raw: gpd.GeoDataFrame, columns: Mapping[str, str], where: str) -> gpd.GeoDataFrame:
    lost = {ours: theirs for ours, theirs in columns.items() if theirs not in raw.columns}
    strange = [ours for ours in columns if ours not in _FIELD_COLUMNS]
    faults = [
        Fault(
            "a column that the file does not have",
            theirs,
            f"{ours} would be missing",
            f"use one of {', '.join(map(str, raw.columns.drop('geometry', errors='ignore')))}",
            where=f"{where}, farm.toml [columns.fields]",
        )
        for ours, theirs in lost.items()
    ]
    faults += [
        Fault(
            "not a column of fields",
            ours,
            "nothing reads it",
            f"use one of {', '.join(_FIELD_COLUMNS)}",
            where="farm.toml [columns.fields]",
        )
        for ours in strange
    ]
    if faults:
        raise InputError(faults)
    clash = [ours for ours, theirs in columns.items() if ours in raw.columns and ours != theirs]
    return raw.drop(columns=clash).rename(
        columns={theirs: ours for ours, theirs in columns.items()}
    )


def _utm_of(table: gpd.GeoDataFrame) -> CRS:
    west, south, east, north = table.geometry.total_bounds
    move = transformer(CRS.from_user_input(table.crs), WGS84)
    lon, lat = move.transform((west + east) / 2, (south + north) / 2)
    return utm_for(lon, lat)


def _numbered(table: gpd.GeoDataFrame, names: tuple[str, ...]) -> gpd.GeoDataFrame:
    for column in names:
        held = table[column]
        if held.dtype == object or pd.api.types.is_string_dtype(held):
            table[column] = held.map(lambda seen: float("nan") if _text(seen) is None else seen)
        table[column] = table[column].astype(float, errors="ignore")
    return table


def _text(held: Any) -> str | None:
    if held is None or (isinstance(held, float) and np.isnan(held)) or held is pd.NA:
        return None
    if isinstance(held, float) and held.is_integer():
        held = int(held)
    return str(held).strip() or None


def _yes_or_no(held: Any) -> bool | str | None:
    text = _text(held)
    if text is None:
        return None
    if text.lower() in _TRUE:
        return True
    return False if text.lower() in _FALSE else text
