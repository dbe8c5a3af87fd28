"""Flood outlines, each with the day the water stood there."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, tzinfo
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS

from fieldmap.errors import Fault, raise_all
from fieldmap.read.gpx import aware
from fieldmap.read.vectors import read_layer, shape_word


def read_flood(
    name: str | Path, *, crs: CRS, zone: tzinfo = UTC, swap_xy: bool = False
) -> gpd.GeoDataFrame:
    """Flooded ground: column ``date`` (aware UTC, the end of that day) and polygons.

    Parameters
    ----------
    name : str or Path
    crs : pyproj.CRS
        The run's metric system.
    zone : tzinfo
        Whose day it is: a walk on the evening of that day is held to come before the water.
    swap_xy : bool
        Exchange x and y first.

    Raises
    ------
    InputError
        An outline without a readable ``date`` or that is not a polygon.
    """
    table = read_layer(name, what="the flood outline", swap_xy=swap_xy).reset_index(drop=True)
    faults: list[Fault] = []
    ends = []
    held = table["date"] if "date" in table.columns else [None] * len(table)
    for row, day in enumerate(held):
        try:
            evening = datetime.combine(date.fromisoformat(str(day)[:10]), time.max, zone)
            moment = aware(evening)
        except ValueError:
            faults.append(
                Fault(
                    "a flood outline without a date",
                    "none" if pd.isna(day) else str(day),
                    "nobody could tell a walk before the water from one after it",
                    'give each outline a date such as "2026-05-28"',
                    where=f"{name} row {row + 1}",
                )
            )
            continue
        ends.append(moment)
    wrong = ~table.geometry.geom_type.isin(["Polygon", "MultiPolygon"])
    faults.extend(
        Fault(
            "a flood outline that is not a polygon",
            shape_word(table.geometry.iloc[row]),
            "it has no wetted ground",
            "draw the outline as an area",
            where=f"{name} row {row + 1}",
        )
        for row in np.flatnonzero(wrong)
    )
    raise_all(faults)
    out = table[["geometry"]].copy()
    out["date"] = pd.Series(ends, index=out.index, dtype="datetime64[us, UTC]")
    out["geometry"] = out.geometry.make_valid()
    return out.to_crs(crs)
