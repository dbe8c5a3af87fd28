"""The farm's elevation as a whole: its error, its drainage, and a flood given by its depth."""

from __future__ import annotations

import math
from datetime import datetime, time
from typing import NamedTuple

import geopandas as gpd
import pandas as pd
import shapely

from fieldmap.crs import moved
from fieldmap.farm import Farm
from fieldmap.read.elevation import cell_size_m
from fieldmap.risk.place_findings import share_words
from fieldmap.risk.water import FarmWater, farm_water, stage_ground
from fieldmap.tables.loader import FARM_SOURCE


class HeightError(NamedTuple):
    """The standard error of a height (m), NaN when nobody said, and the source behind it."""

    metres: float
    source: str


def height_error(farm: Farm) -> HeightError:
    """What the farm folder says of its elevation's error: a figure, or a product's name."""
    files = farm.settings.files
    if files.elevation_error_m is not None:
        return HeightError(files.elevation_error_m, FARM_SOURCE)
    if files.elevation_product is not None:
        row = farm.tables[f"elevation_products.{files.elevation_product}"]
        return HeightError(row.number(), row.source)
    return HeightError(math.nan, "")


def drained(farm: Farm) -> FarmWater | None:
    """The drainage of the farm's fields and the ground round them; ``None`` without elevation.

    The ground reaches ``drainage.around_m`` beyond the fields. Where it has more cells than
    ``drainage.most_cells`` it is thinned to larger ones, by their mean.

    Raises
    ------
    InputError
        The raster breaks off.
    """
    elevation = farm.open_elevation()
    if elevation is None or farm.fields.empty:
        return None
    tables = farm.tables
    with elevation:
        info = elevation.info
        around = tables.number("drainage.around_m")
        box = shapely.buffer(shapely.box(*farm.fields.total_bounds), around, join_style="mitre")
        outline = moved(shapely.segmentize(box, max(box.length / 64, 1.0)), farm.crs, info.crs)
        most = round(tables.number("drainage.most_cells"))
        heights = elevation.thinned(outline.bounds, most_cells=most)
        middle = outline.centroid
        native = cell_size_m(info, farm.crs, middle.x, middle.y)
    larger = abs(heights.transform.determinant / info.transform.determinant)
    return farm_water(
        heights,
        list(farm.fields.geometry),
        crs=farm.crs,
        cell_m=native * math.sqrt(larger),
        native_m=native,
        tables=tables,
    )


def with_stage(farm: Farm, water: FarmWater | None) -> Farm:
    """The farm with the ground that a flood of the depth given in farm.toml wets.

    Ground whose height above the channel is not known is reckoned as wetted, fields that the
    elevation does not reach among it.
    """
    files = farm.settings.files
    if files.flood_depth_m is None or files.flood_date is None:
        return farm
    fields = shapely.union_all(farm.fields.geometry.to_numpy())
    wet, unknown = stage_ground(water, files.flood_depth_m, fields, crs=farm.crs)
    evening = datetime.combine(files.flood_date, time.max, farm.settings.zone())
    moment = pd.Series([evening]).dt.tz_convert("UTC").astype("datetime64[us, UTC]")
    row = gpd.GeoDataFrame({"date": moment}, geometry=[shapely.union(wet, unknown)], crs=farm.crs)
    flood = row if farm.flood.empty else pd.concat([farm.flood, row], ignore_index=True)
    blank = shapely.intersection(unknown, fields).area / max(fields.area, 1e-9)
    guessed = (
        f"; on {share_words(blank)} of the fields' ground the height over the channel is not known "
        "(water may come from beyond the elevation), and it is reckoned as wetted"
        if blank > 0
        else ""
    )
    note = (
        f"the flood of {files.flood_date} is reckoned from {files.flood_depth_m:g} m over the "
        "channel: a screening by height, without levees thinner than a cell, backwater or culverts"
        + guessed
    )
    return farm.with_flood(flood, note)


def flooded(farm: Farm) -> Farm:
    """The farm with its flood by depth; its drainage is worked out only when one is given."""
    if farm.settings.files.flood_depth_m is None:
        return farm
    return with_stage(farm, drained(farm))
