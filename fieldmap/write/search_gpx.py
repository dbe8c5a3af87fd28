"""A planned search as GPX: one track a walker, and what to keep away from as waypoints.

No point carries a time: a plan that comes back among the walks counts as walked by nobody. Each
waypoint says that it is planned: one that comes back among the finds is no mark.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import gpxpy.gpx
import shapely

from fieldmap.read.gpx_plan import CREATOR, PLANNED

_DEGREE_DIGITS = 7
_PLAN = "A plan, not a walk: it has no times and does not count as looked at."


class Spot(NamedTuple):
    """A place to show beside the tracks, degrees."""

    lon: float
    lat: float
    name: str
    text: str


def search_gpx(
    name: str, why: str, walks: Iterable[shapely.LineString], spots: Iterable[Spot]
) -> str:
    """GPX 1.1 text.

    Parameters
    ----------
    name : str
        Of the field; a track's name adds the walker's number where there are several.
    why : str
        Of the plan.
    walks : iterable of LineString
        One a walker, degrees.
    spots : iterable of Spot

    Examples
    --------
    >>> text = search_gpx("S1", "All of it.", [shapely.LineString([(-92, 40), (-92, 41)])], [])
    >>> "<name>S1</name>" in text, "<time>" in text
    (True, False)
    """
    gpx = gpxpy.gpx.GPX()
    gpx.creator = CREATOR
    every = list(walks)
    for number, line in enumerate(every, start=1):
        called = name if len(every) == 1 else f"{name}, walker {number} of {len(every)}"
        track = gpxpy.gpx.GPXTrack(name=called, description=f"{why} {_PLAN}")
        track.segments.append(gpxpy.gpx.GPXTrackSegment(_points(line)))
        gpx.tracks.append(track)
    for spot in spots:
        place = gpxpy.gpx.GPXWaypoint(
            round(spot.lat, _DEGREE_DIGITS),
            round(spot.lon, _DEGREE_DIGITS),
            name=spot.name,
            description=f"{spot.text} {PLANNED}",
        )
        place.source = PLANNED
        gpx.waypoints.append(place)
    return gpx.to_xml(version="1.1")


def _points(line: shapely.LineString) -> list[gpxpy.gpx.GPXTrackPoint]:
    places = shapely.get_coordinates(line).round(_DEGREE_DIGITS).tolist()
    return [gpxpy.gpx.GPXTrackPoint(lat, lon) for lon, lat in places]
