"""Places by longitude and latitude onto the nearest leg."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from fieldmap.crs import WGS84, transformer
from fieldmap.errors import Fault, InputError
from fieldmap.network import RoadData
from fieldmap.roads.search import OnLeg
from fieldmap.roads.verdict import Codes

#: Legs this much farther than the nearest count as equally near (m): ends at one junction.
_EQUAL_M = 0.01


@dataclass(frozen=True, slots=True)
class Snapped:
    """Where a place comes onto the network, and how far it lies from it (m)."""

    on: OnLeg
    away_m: float
    lon: float
    lat: float


def snap(
    data: RoadData, place: tuple[float, float], *, level: Codes, most_m: float, what: str
) -> Snapped:
    """The nearest point of the network; of legs equally near the one with the least against it.

    Parameters
    ----------
    data : RoadData
    place : tuple of float
        Longitude, latitude in degrees.
    level : ndarray
        Level of each directed leg for the machine.
    most_m : float
        How far a place may lie from the network.
    what : str
        ``"start"`` or ``"goal"``, for the words of an error.

    Raises
    ------
    InputError
        Not a place on Earth, or too far from the nearest leg; the distance is named.
    """
    lon, lat = place
    if not (-180 <= lon <= 180 and -90 <= lat <= 90):
        raise InputError(
            Fault(
                f"the {what} is not a place",
                f"{lon}, {lat}",
                "it cannot be put on the map",
                "give longitude, latitude",
            )
        )
    x, y = transformer(WGS84, data.crs).transform(lon, lat)
    spot = shapely.Point(x, y)
    lines = data.edges.geometry.to_numpy()
    tree = data.edges.sindex
    _, metres = tree.nearest([spot], return_all=False, return_distance=True)
    away = float(metres[0]) if len(metres) and np.isfinite(x) else np.inf
    if away > most_m:
        raise InputError(
            Fault(
                f"the {what} is too far from any road",
                f"{away:,.0f} m",
                "the way there would be a guess",
                f"give a place within {most_m:,.0f} m of a mapped road",
            )
        )
    near = np.sort(tree.query(spot, predicate="dwithin", distance=away + _EQUAL_M))
    better_way = level.reshape(-1, 2).min(axis=1)
    leg = int(near[np.argmin(better_way[near])])
    fraction = float(shapely.line_locate_point(lines[leg], spot, normalized=True))
    return Snapped(OnLeg(leg, fraction), away, lon, lat)
