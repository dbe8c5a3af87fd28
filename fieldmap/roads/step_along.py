"""A way as one line, and a thing that is met on it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from fieldmap.crs import WGS84, transformer
from fieldmap.finding import Level


@dataclass(frozen=True, slots=True)
class Met:
    """One thing on the way.

    Parameters
    ----------
    at_m : float
        Metres driven from the start to it.
    level : {"ok", "care", "unknown", "stop"}
    what : str
        In trade words: a gate, the road width, single file.
    words : str
        What to do there, or why it has its level.
    caution : str
        The usual caution; may be empty.
    ask : str
        Who decides; may be empty.
    lon, lat : float
        Degrees.
    long_m : float
        How far it goes on; 0 for a spot.
    """

    at_m: float
    level: Level
    what: str
    words: str
    caution: str
    ask: str
    lon: float
    lat: float
    long_m: float = 0.0


class Along:
    """A way as one line: from a place to the metres driven, and back."""

    def __init__(self, legs: gpd.GeoDataFrame) -> None:
        lines = legs.geometry.to_numpy()
        self.legs = legs
        self.lengths = shapely.length(lines)
        #: Metres driven where each leg begins; one more for the end of the last.
        self.begin = np.concatenate([[0.0], np.cumsum(self.lengths)])
        corners = [xy for line in lines for xy in shapely.get_coordinates(line)]
        self.line = shapely.LineString(corners) if len(corners) > 1 else None
        self._out = transformer(legs.crs, WGS84)
        self._in = transformer(WGS84, legs.crs)

    def at(self, lon: float | None, lat: float | None, *, near_m: float) -> float | None:
        """Metres driven to a place; ``None`` for one without a place or away from the way."""
        if self.line is None or not known(lon) or not known(lat):
            return None
        point = shapely.Point(*self._in.transform(lon, lat))
        if shapely.distance(self.line, point) > near_m:
            return None
        return float(shapely.line_locate_point(self.line, point))

    def place(self, at_m: float) -> tuple[float, float]:
        """Longitude and latitude after so many metres."""
        point = shapely.line_interpolate_point(self.line, at_m)
        lon, lat = self._out.transform(point.x, point.y)
        return float(lon), float(lat)


def known(figure: float | None) -> bool:
    """Whether a figure is there."""
    return figure is not None and math.isfinite(figure)
