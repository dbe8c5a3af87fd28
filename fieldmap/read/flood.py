"""Flood outlines, each with the day the water stood there."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS

from fieldmap.errors import Fault, raise_all
from fieldmap.read.vectors import read_layer


def read_flood(name: str | Path, *, crs: CRS) -> gpd.GeoDataFrame:
    """Flooded ground: column ``date`` (aware UTC, the end of that day) and polygons.

    Raises
    ------
    InputError
        An outline without a readable ``date`` or that is not a polygon.
    """
    table = read_layer(name, what="the flood outline")
    faults: list[Fault] = []
    ends = []
    held = table["date"] if "date" in table.columns else [None] * len(table)
    for row, day in enumerate(held):
        try:
            moment = datetime.fromisoformat(str(day)[:10]).replace(hour=23, minute=59, tzinfo=UTC)
        except ValueError:
            faults.append(
                Fault(
                    "a flood outline without a date",
                    str(day),
                    "nobody could tell a walk before the water from one after it",
                    'give each outline a date such as "2026-05-28"',
                    where=f"{name} row {row + 1}",
                )
            )
            moment = datetime(1970, 1, 1, tzinfo=UTC)
        ends.append(moment)
    wrong = ~table.geometry.geom_type.isin(["Polygon", "MultiPolygon"])
    faults.extend(
        Fault(
            "a flood outline that is not a polygon",
            table.geometry.geom_type.iloc[row],
            "it has no wetted ground",
            "draw the outline as an area",
            where=f"{name} row {row + 1}",
        )
        for row in np.flatnonzero(wrong)
    )
    raise_all(faults)
    out = table[["geometry"]].copy()
    out["date"] = pd.Series(pd.to_datetime(ends, utc=True), index=out.index).astype(
        "datetime64[us, UTC]"
    )
    out["geometry"] = out.geometry.make_valid()
    return out.to_crs(crs)
