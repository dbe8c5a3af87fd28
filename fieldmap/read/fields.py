"""Field boundaries and gates."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from fieldmap.crs import WGS84, transformer, utm_for
from fieldmap.errors import Fault, InputError, raise_all
from fieldmap.read.vectors import Layer, mended_polygons, read_layer, shape_word
from fieldmap.schemas import FIELDS, GATES, checked

_FIELD_COLUMNS = (
    "field_id",
    "name",
    "crop",
    "cutting",
    "stoniness",
    "lodged",
    "sward_m",
    "drought",
    "yield_t_ha",
)
_GATE_COLUMNS = ("gate_id", "field_id", "width_m")
_TRUE = {"1", "true", "yes", "y", "t"}
_FALSE = {"0", "false", "no", "n", "f"}
_WORDS = ("crop", "name", "field_id")
_OUTSIDE_DEG = 3.0  # a farm may lie a little over the edge of its zone


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
        Columns ``field_id, name, crop, cutting, stoniness, lodged, sward_m, drought, yield_t_ha,
        area_ha`` and polygons; what was mended, in words. ``sward_m`` is the height of the standing
        crop, ``drought`` whether it suffered from lack of water, ``yield_t_ha`` the dry matter this
        cutting is reckoned to give; empty or NaN where nobody said.

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
    for column in _WORDS:
        table[column] = table[column].map(_text)
    for column in ("lodged", "drought"):
        table[column] = table[column].map(_yes_or_no).astype(object)
    table = _numbered(table, ("cutting", "stoniness", "sward_m", "yield_t_ha"))
    table = checked(table[[*_FIELD_COLUMNS, table.geometry.name]], FIELDS, where=where)
    table = table.reset_index(drop=True)
    lon, lat = _middle(table, where)
    metric = crs or utm_for(lon, lat)
    _reaches(metric, lon, lat)
    mended, mends = mended_polygons(table, metric, where=where)
    mended["area_ha"] = mended.geometry.area / 1e4
    return Layer(mended, (*notes, *mends))


def read_gates(name: str | Path, *, crs: CRS, swap_xy: bool = False) -> gpd.GeoDataFrame:
    """Gates as points: ``gate_id, field_id, width_m``; an unknown width is NaN.

    Raises
    ------
    InputError
        A gate that is not a point, whose id stands twice, or of an impossible width.
    """
    where = str(name)
    table = read_layer(name, what="gates", swap_xy=swap_xy).reset_index(drop=True)
    for column in _GATE_COLUMNS:
        if column not in table:
            table[column] = None
    ids = [_text(held) for held in table["gate_id"]]
    table["gate_id"] = [f"gate {row + 1}" if held is None else held for row, held in enumerate(ids)]
    table["field_id"] = table["field_id"].map(_text)
    table = _numbered(table, ("width_m",))
    table["geometry"] = _single_points(shapely.force_2d(table.geometry.to_numpy()))
    wrong = shapely.get_type_id(table.geometry.to_numpy()) != shapely.GeometryType.POINT
    wrong |= shapely.is_empty(table.geometry.to_numpy())
    raise_all(
        Fault(
            "a gate that is not a point",
            shape_word(table.geometry.iloc[row]),
            "a way in has one place",
            "draw it as a point",
            where=f"{where} row {row + 1} ({table['gate_id'].iloc[row]})",
        )
        for row in np.flatnonzero(wrong)
    )
    gates = checked(table[[*_GATE_COLUMNS, "geometry"]], GATES, where=where)
    return gpd.GeoDataFrame(gates).to_crs(crs)


def _single_points(shapes: np.ndarray) -> np.ndarray:
    """Points; a multi-point of one member is that member."""
    lone = (shapely.get_type_id(shapes) == shapely.GeometryType.MULTIPOINT) & (
        shapely.get_num_geometries(shapes) == 1
    )
    shapes[lone] = shapely.get_geometry(shapes[lone], 0)
    return shapes


def _renamed(raw: gpd.GeoDataFrame, columns: Mapping[str, str], where: str) -> gpd.GeoDataFrame:
    """The columns under our names: those that farm.toml names, then those spelt like ours."""
    theirs = [str(name) for name in raw.columns.drop("geometry")]
    raise_all(_column_faults(theirs, columns, where))
    clash = [ours for ours, named in columns.items() if ours in theirs and ours != named]
    table = raw.drop(columns=clash).rename(columns={named: ours for ours, named in columns.items()})
    spelt = {
        str(name): str(name).lower()
        for name in table.columns
        if str(name).lower() in _FIELD_COLUMNS and str(name).lower() not in table.columns
    }
    once = {name: ours for name, ours in spelt.items() if list(spelt.values()).count(ours) == 1}
    return table.rename(columns=once)


def _column_faults(theirs: list[str], columns: Mapping[str, str], where: str) -> list[Fault]:
    said = "farm.toml [columns.fields]"
    named = list(columns.values())
    lost = [
        Fault(
            "a column that the file does not have",
            name,
            f"{ours} would be missing",
            f"use one of {', '.join(theirs) or 'none in the file'}",
            where=f"{where}, {said}",
        )
        for ours, name in columns.items()
        if name not in theirs
    ]
    strange = [
        Fault(
            "not a column of fields",
            ours,
            "nothing reads it",
            f"use one of {', '.join(_FIELD_COLUMNS)}",
            where=said,
        )
        for ours in columns
        if ours not in _FIELD_COLUMNS
    ]
    twice = [
        Fault(
            "one column for two things",
            name,
            "one of them would be lost",
            "give each its own column, or leave one out",
            where=said,
        )
        for name in sorted({name for name in named if named.count(name) > 1})
    ]
    return [*lost, *strange, *twice]


def _middle(table: gpd.GeoDataFrame, where: str) -> tuple[float, float]:
    """Longitude and latitude of the middle of the box around all fields."""
    west, south, east, north = table.geometry.total_bounds
    if not np.isfinite([west, south, east, north]).all():
        raise InputError(
            Fault(
                "no field has a shape",
                f"{len(table)} rows",
                "there is no ground to look at",
                "draw the boundaries, or export them again",
                where=where,
            )
        )
    move = transformer(CRS.from_user_input(table.crs), WGS84)
    lon, lat = move.transform((west + east) / 2, (south + north) / 2)
    return lon, lat


def _reaches(crs: CRS, lon: float, lat: float) -> None:
    """Refuse a coordinate system made for another part of the world."""
    area = crs.area_of_use
    if area is None:
        return
    apart = abs((lon - (area.west + area.east) / 2 + 180) % 360 - 180)
    across = (area.east - area.west) % 360 or 360
    if (
        apart > across / 2 + _OUTSIDE_DEG
        or not area.south - _OUTSIDE_DEG <= lat <= area.north + _OUTSIDE_DEG
    ):
        raise InputError(
            Fault(
                "crs is made for another part of the world",
                f"{crs.name}; the fields lie at lat {lat:.2f}, lon {lon:.2f}",
                "lengths and slopes would be wrong",
                "correct crs, or leave it out; if the place is wrong, mend the fields' file",
                where="farm.toml crs",
            )
        )


def _numbered(table: gpd.GeoDataFrame, names: tuple[str, ...]) -> gpd.GeoDataFrame:
    for column in names:
        table[column] = _figures(table[column])
    return table


def _figures(held: pd.Series) -> pd.Series:
    """Numbers where every cell holds one; else the words, for the contract to name."""
    if pd.api.types.is_numeric_dtype(held) and not pd.api.types.is_bool_dtype(held):
        return held.astype(float)
    words = [_text(seen) for seen in held]
    try:
        figures = [float("nan") if word is None else float(word) for word in words]
    except ValueError:
        return pd.Series(words, index=held.index, dtype=object)
    return pd.Series(figures, index=held.index, dtype=float)


def _text(held: Any) -> str | None:
    if held is None or (pd.api.types.is_scalar(held) and pd.isna(held)):
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
