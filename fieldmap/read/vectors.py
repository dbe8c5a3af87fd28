"""Vector layers of any of the open formats, with their place on earth made sure of."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from pyproj import CRS
from shapely.errors import ShapelyError

from fieldmap.crs import WGS84
from fieldmap.errors import Fault, InputError, raise_all
from fieldmap.read.kml import SUFFIXES as KML_SUFFIXES
from fieldmap.read.kml import Placemark, read_placemarks
from fieldmap.read.paths import plain_file

SUFFIXES = (".gpkg", ".geojson", ".json", ".shp", *KML_SUFFIXES)
MEND_SWAP = (
    "give --swap-xy (start, hazards import), or name the file in swap_xy under [files] of farm.toml"
)
_ASK_ABOVE_SHARE = 0.01
_DEGREES_LON, _DEGREES_LAT = 180.0, 90.0


class Layer(NamedTuple):
    """A table with geometry, and what was mended on the way, in words."""

    table: gpd.GeoDataFrame
    notes: tuple[str, ...]


def read_layer(name: str | Path, *, what: str, swap_xy: bool = False) -> gpd.GeoDataFrame:
    """One layer of a vector file: column ``geometry`` present, coordinates believable.

    Parameters
    ----------
    name : str or Path
        The file; ``file.gpkg:layer`` picks a layer.
    what : str
        What is being read, for the words of an error.
    swap_xy : bool
        The file has latitude where longitude belongs: swap them.

    Raises
    ------
    InputError
        Not readable, several layers and none picked, no coordinate system, or coordinates
        that cannot be what the coordinate system says.
    """
    file, layer = split_layer(str(name))
    path = plain_file(file, suffixes=SUFFIXES, what=what)
    if path.suffix.lower() in KML_SUFFIXES:
        return _from_kml(path, what, swap_xy=swap_xy)
    _complete(path, what)
    try:
        table = _read(path, _only_layer(path, what) if layer is None else layer, what)
    except (RuntimeError, ValueError, ShapelyError) as error:
        raise InputError(
            Fault(
                f"{what} cannot be read",
                _short(error),
                "nothing of it can be used",
                "export it again from the program it came from",
                where=str(name),
            )
        ) from None
    if not isinstance(table, gpd.GeoDataFrame):
        raise InputError(
            Fault(
                f"{what} without geometry",
                path.name,
                "there is nothing to put on a map",
                "export it with its shapes",
                where=str(name),
            )
        )
    if table.crs is None:
        raise InputError(
            Fault(
                "no coordinate system",
                "none",
                "the ground cannot be placed",
                "save the file with its coordinate system (a .prj beside a .shp)",
                where=str(name),
            )
        )
    if not (table.crs.is_projected or table.crs.is_geographic):
        raise InputError(
            Fault(
                "a coordinate system that is tied to no place on earth",
                table.crs.name,
                "the ground cannot be placed",
                "save the file in degrees, or in the UTM zone",
                where=str(name),
            )
        )
    if table.geometry.name != "geometry":
        table = table.drop(columns="geometry", errors="ignore").rename_geometry("geometry")
    if swap_xy:
        table = table.set_geometry(swapped(table.geometry))
    _believable(table, str(name))
    return table


def _from_kml(path: Path, what: str, *, swap_xy: bool) -> gpd.GeoDataFrame:
    """Every placemark as a row: ``name, description`` and its extended data, in WGS 84.

    A placemark without a shape stays, for its row to say.

    Raises
    ------
    InputError
        A placemark that cannot be read, or a link to another file, where ground would be lost.
    """
    marks = read_placemarks(path)
    faults = list(marks.faults)
    if marks.links:
        faults.append(
            Fault(
                f"{what}: links to other files",
                str(marks.links),
                "what stands behind them is not read, and would be missing",
                "export what they show into the file itself",
                where=str(path),
            )
        )
    raise_all(faults)
    table = pd.DataFrame([_cells(mark) for mark in marks.rows], dtype=object)
    for column in ("name", "description"):
        if column not in table.columns:
            table[column] = None
    shapes = [mark.shape for mark in marks.rows]
    out = gpd.GeoDataFrame(table, geometry=gpd.GeoSeries(shapes, crs=WGS84))
    if swap_xy:
        out = out.set_geometry(swapped(out.geometry))
    _believable(out, str(path))
    return out


def _cells(mark: Placemark) -> dict[str, str | None]:
    """A placemark's columns; extended data called like one of its own keeps a name beside it."""
    own: dict[str, str | None] = {"name": mark.name or None,
                                  "description": mark.description or None}  # fmt: skip
    for name, held in mark.data.items():
        if name == "geometry" or own.get(name, held) not in (held, None):
            own[f"{name} (data)"] = held
        else:
            own[name] = held
    return own


def _read(path: Path, layer: str, what: str) -> gpd.GeoDataFrame | pd.DataFrame:
    """The layer as it is; a shape that cannot be built comes back as none, for its row to say."""
    names = _layers(path)
    if layer not in names:
        raise InputError(
            Fault(
                f"{what}: no such layer",
                layer,
                "nothing of it can be used",
                f"pick one of {', '.join(names) or 'none in the file'}",
                where=str(path),
            )
        )
    options = {"DATE_AS_STRING": "YES"} if path.suffix.lower() in (".geojson", ".json") else {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library's remarks; what matters is checked here
        return gpd.read_file(path, layer=layer, engine="pyogrio", on_invalid="ignore", **options)


def _layers(path: Path) -> list[str]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return [str(name) for name in pyogrio.list_layers(path)[:, 0]]


def _complete(path: Path, what: str) -> None:
    """A .shp needs its .shx and .dbf beside it: without them rows and ids are lost."""
    if path.suffix.lower() != ".shp":
        return
    beside = {one.suffix.lower() for one in path.parent.iterdir() if one.stem == path.stem}
    lost = [ending for ending in (".shx", ".dbf") if ending not in beside]
    if lost:
        raise InputError(
            Fault(
                f"{what}: parts of the shapefile are not there",
                ", ".join(path.stem + ending for ending in lost),
                "its rows and their names are kept in them",
                "copy every file of that name, not the .shp alone",
                where=str(path),
            )
        )


def _short(error: Exception) -> str:
    """The last thing the library said, without its advice to programmers."""
    lines = str(error).splitlines() or [type(error).__name__]
    parts = [part for part in lines[0].split("; ") if not part.startswith("It might help")]
    return parts[-1][:160] if parts else lines[0][:160]


def split_layer(name: str) -> tuple[str, str | None]:
    """File and layer of ``file.gpkg:layer``; the layer is ``None`` when none is named.

    Examples
    --------
    >>> split_layer("farm.gpkg:fields")
    ('farm.gpkg', 'fields')
    >>> split_layer("fields.geojson")
    ('fields.geojson', None)
    """
    marker = ".gpkg:"
    at = name.lower().rfind(marker)
    if at < 0:
        return name, None
    return name[: at + len(marker) - 1], name[at + len(marker) :]


def swapped(geometry: gpd.GeoSeries) -> gpd.GeoSeries:
    """The same shapes with x and y exchanged."""
    turned = shapely.transform(geometry.to_numpy(), lambda xy: xy[:, ::-1])
    return gpd.GeoSeries(turned, index=geometry.index, crs=geometry.crs)


def mended_polygons(table: gpd.GeoDataFrame, crs: CRS, *, where: str) -> Layer:
    """Polygons in the run's system, self-crossing rings mended and said.

    Parameters
    ----------
    table : GeoDataFrame
        As read; column ``field_id`` names the rows in the notes.
    crs : pyproj.CRS
        The run's metric system.
    where : str
        File, for the words of an error.

    Raises
    ------
    InputError
        Every row that is empty, not a polygon, or whose area moves by more than one percent
        when mended.
    """
    notes: list[str] = []
    flat = shapely.force_2d(table.to_crs(crs).geometry.to_numpy())
    empty = shapely.is_missing(flat) | shapely.is_empty(flat)
    polygonal = np.isin(shapely.get_type_id(flat), (3, 6))
    faults = [
        Fault(
            "a field that is not a polygon",
            shape_word(flat[row]),
            "it has no ground to look at",
            "draw its boundary, or take the row out",
            where=f"{where} row {row + 1} ({table['field_id'].iloc[row]})",
        )
        for row in np.flatnonzero(empty | ~polygonal)
    ]
    for row in np.flatnonzero(~empty & polygonal & ~shapely.is_valid(flat)):
        before = abs(shapely.area(flat[row]))
        flat[row] = _polygons_only(shapely.make_valid(flat[row]))
        after = shapely.area(flat[row])
        words = f"{where} row {row + 1} ({table['field_id'].iloc[row]})"
        if after <= 0 or abs(after - before) > _ASK_ABOVE_SHARE * max(before, after):
            faults.append(
                Fault(
                    "a boundary that crosses itself",
                    f"{before:.0f} m2 drawn, {after:.0f} m2 when mended",
                    "it is not clear which ground is meant",
                    "redraw the boundary",
                    where=words,
                )
            )
        else:
            notes.append(
                f"{words}: boundary crossed itself, mended: "
                f"{before:.0f} m2 before, {after:.0f} m2 after"
            )
    raise_all(faults)
    out = table.set_geometry(gpd.GeoSeries(flat, index=table.index, crs=crs))
    return Layer(out, tuple(notes))


def _polygons_only(shape: shapely.Geometry) -> shapely.Geometry:
    parts = shapely.get_parts(shape)
    return shapely.union_all(parts[np.isin(shapely.get_type_id(parts), (3, 6))])


def shape_word(shape: shapely.Geometry | None) -> str:
    """What kind of shape a row has, for the words of an error.

    Examples
    --------
    >>> shape_word(shapely.Point(1, 2)), shape_word(None), shape_word(shapely.Polygon())
    ('point', 'no shape, or a broken one', 'no shape, or a broken one')
    """
    if shape is None or shape.is_empty:
        return "no shape, or a broken one"
    return str(shape.geom_type).lower()


def _only_layer(path: Path, what: str) -> str:
    names = _layers(path)
    if len(names) == 1:
        return names[0]
    shapes = [str(name) for name, kind in pyogrio.list_layers(path) if kind is not None]
    if len(shapes) == 1:
        return shapes[0]
    first = shapes[0] if shapes else ""
    raise InputError(
        Fault(
            f"{what} has several layers" if names else f"{what} has no layer",
            ", ".join(names) or "none",
            "any of them could be meant" if names else "there is nothing to put on a map",
            f"pick one: {path.name}:{first}" if first else "export it with its shapes",
            where=str(path),
        )
    )


def _believable(table: gpd.GeoDataFrame, where: str) -> None:
    bounds = table.geometry.total_bounds
    if not np.isfinite(bounds).all():
        return
    west, south, east, north = bounds
    in_degrees = (
        max(abs(west), abs(east)) <= _DEGREES_LON and max(abs(south), abs(north)) <= _DEGREES_LAT
    )
    seen = f"x {west:.6g} to {east:.6g}, y {south:.6g} to {north:.6g}"
    geographic = table.crs is not None and table.crs.is_geographic
    if geographic and not in_degrees:
        turned = (
            max(abs(south), abs(north)) <= _DEGREES_LON
            and max(abs(west), abs(east)) <= _DEGREES_LAT
        )
        raise InputError(
            Fault(
                "latitude and longitude look swapped"
                if turned
                else "coordinates too large for degrees",
                seen,
                "the ground would lie elsewhere",
                MEND_SWAP if turned else "say which coordinate system the file is in",
                where=where,
            )
        )
    if not geographic and in_degrees:
        raise InputError(
            Fault(
                "coordinates look like degrees",
                seen,
                f"the file says metres ({table.crs.name if table.crs else 'unknown'})",
                "save it with the coordinate system it is in",
                where=where,
            )
        )
