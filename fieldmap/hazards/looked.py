"""Ground that somebody walked, and whether it was since the last flood."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import NamedTuple

import geopandas as gpd
import shapely

from fieldmap.tables import Tables


class Looking(NamedTuple):
    """Ground counted as looked at, in the run's metric system.

    ``recent`` was walked within the days that a look is good for; ``since_flood`` leaves out
    what was walked before the water; ``flooded`` is the ground that stood under water.
    """

    recent: shapely.Geometry
    since_flood: shapely.Geometry
    flooded: shapely.Geometry


def looking(
    tracks: gpd.GeoDataFrame, flood: gpd.GeoDataFrame, *, day: datetime, tables: Tables
) -> Looking:
    """What was looked at by a day.

    Parameters
    ----------
    tracks : GeoDataFrame
        Columns ``started`` (aware) and lines, metric; may be empty.
    flood : GeoDataFrame
        Columns ``date`` (aware) and polygons, metric; may be empty.
    day : datetime
        The end of the day the question is asked, aware.
    tables : Tables
        ``looking.strip_half_m`` (ground seen to each side of a walker) and
        ``looking.valid_days``.

    Notes
    -----
    A strip is a first measure of looking: it says where somebody was, not what was seen. Small
    things in tall grass are missed inside it.
    """
    past = flood[flood["date"] <= day]
    flooded = shapely.union_all(past.geometry.to_numpy())
    oldest = day - timedelta(days=tables.number("looking.valid_days"))
    good = tracks[(tracks["started"] >= oldest) & (tracks["started"] <= day)]
    half = tables.number("looking.strip_half_m")
    recent = _strips(good, half)
    after = good[good["started"] > past["date"].max()] if len(past) else good
    return Looking(recent, _strips(after, half), flooded)


def _strips(tracks: gpd.GeoDataFrame, half_m: float) -> shapely.Geometry:
    lines = tracks.geometry.to_numpy()
    return shapely.union_all(shapely.buffer(lines, half_m, cap_style="flat"))
