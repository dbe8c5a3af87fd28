"""A layer of a GeoPackage: the day it speaks for inside it, the disk's refusals as such."""

from __future__ import annotations

import errno
from collections.abc import Collection
from datetime import UTC, date, datetime, time
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
from pyogrio.errors import DataLayerError, DataSourceError

#: Shapes of any kind in one layer, each as it is.
ANY_SHAPE = "Unknown"


def stamp(day: date) -> str:
    """The moment a GeoPackage is dated by for a day, the same in every run.

    Examples
    --------
    >>> stamp(date(2026, 6, 9))
    '2026-06-09T00:00:00.000Z'
    """
    return datetime.combine(day, time(), UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")


def add_layer(
    path: Path,
    table: gpd.GeoDataFrame,
    name: str,
    *,
    moment: str,
    kind: str | None = None,
    note: str = "",
) -> None:
    """Add one layer to a GeoPackage, made when it is not there.

    Parameters
    ----------
    path : Path
    table : GeoDataFrame
    name : str
    moment : str
        As :func:`stamp` gives it: the same input then gives the same bytes.
    kind : str, optional
        Type of the layer's shapes; :data:`ANY_SHAPE` keeps each as it is.
    note : str
        The layer's description.

    Raises
    ------
    OSError
        The library could not write it.
    """
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": moment})
    try:
        pyogrio.write_dataframe(
            table,
            path,
            layer=name,
            driver="GPKG",
            append=path.exists(),
            geometry_type=kind,
            promote_to_multi=False if kind == ANY_SHAPE else None,
            layer_options={"SPATIAL_INDEX": "YES", **({"DESCRIPTION": note} if note else {})},
        )
    except (DataSourceError, DataLayerError) as error:
        said = str(error).partition(":")[0]
        raise OSError(errno.EIO, f"layer {name} is not whole: {said}") from error
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def keep_layers(old: Path | None, path: Path, *, but: Collection[str]) -> None:
    """Take an older GeoPackage's other layers over as they were, each with its own date.

    Parameters
    ----------
    old : Path or None
        The file that stands; nothing is done without one.
    path : Path
        The new one.
    but : collection of str
        Layers that are not taken over.
    """
    for name, kind in [] if old is None else pyogrio.list_layers(old):
        if name not in but:
            held = pyogrio.read_dataframe(old, layer=name)
            add_layer(path, held, name, moment=_date_of(old, name), kind=kind)


def _date_of(package: Path | None, layer: str) -> str:
    """The date that a GeoPackage gives one of its layers."""
    contents = pyogrio.read_dataframe(
        package, sql="SELECT table_name, last_change FROM gpkg_contents", read_geometry=False
    )
    held = contents.loc[contents["table_name"] == layer, "last_change"].iloc[0]
    return pd.Timestamp(held).strftime("%Y-%m-%dT%H:%M:%S.000Z")
