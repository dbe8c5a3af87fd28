"""Ground that somebody walked, and whether it was since the last flood."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import NamedTuple

import geopandas as gpd
import numpy as np
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
        ``looking.strip_half_m`` (ground seen to each side of a walker),
        ``looking.longest_step_m`` (no walk is assumed over a longer gap between two fixes) and
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
    after = good[good["started"] > past["date"].max()] if len(past) else good
    step = tables.number("looking.longest_step_m")
    recent, since = (_strips(walked(some, longest_step_m=step), half) for some in (good, after))
    return Looking(recent, since, flooded)


def walked(tracks: gpd.GeoDataFrame, *, longest_step_m: float) -> np.ndarray:
    """The lines of tracks, cut where the device was silent: nobody is known to have walked there.

    Parameters
    ----------
    tracks : GeoDataFrame
        Lines in a metric system.
    longest_step_m : float
        Two fixes farther apart than this are not joined.

    Returns
    -------
    ndarray of LineString

    Examples
    --------
    >>> line = shapely.LineString([(0, 0), (10, 0), (20, 0), (500, 0), (510, 0)])
    >>> cut = walked(gpd.GeoDataFrame(geometry=[line]), longest_step_m=40)
    >>> [round(float(one.length)) for one in cut]
    [20, 10]
    """
    runs: list[shapely.LineString] = []
    for line in tracks.geometry:
        fixes = shapely.get_coordinates(line)
        steps = np.hypot(*np.diff(fixes, axis=0).T)
        parts = np.split(fixes, np.flatnonzero(steps > longest_step_m) + 1)
        runs.extend(shapely.LineString(part) for part in parts if len(part) > 1)
    return np.array(runs, dtype=object)


def _strips(lines: np.ndarray, half_m: float) -> shapely.Geometry:
    return shapely.union_all(shapely.buffer(lines, half_m, cap_style="flat"))
