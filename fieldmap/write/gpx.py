"""A move as GPX for the cab: the way as a track, its steps as a route, places as waypoints."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import gpxpy.gpx
import shapely

from fieldmap.read.gpx_plan import CREATOR, PLANNED

Spot = Mapping[str, Any]


def move_gpx(
    name: str,
    description: str,
    lines: Iterable[shapely.LineString],
    places: Iterable[Spot],
    steps: Iterable[Spot] = (),
) -> str:
    """GPX 1.1 text.

    Parameters
    ----------
    name, description : str
        Of the track and the route.
    lines : iterable of LineString
        The legs in order of travel, degrees.
    places : iterable of mapping
        ``lon, lat, name, text`` of each place to stop and look: waypoints.
    steps : iterable of mapping
        The same of each step, in driving order: the route.
    """
    gpx = gpxpy.gpx.GPX()
    gpx.creator = CREATOR
    gpx.waypoints.extend(_point(place, gpxpy.gpx.GPXWaypoint) for place in places)
    points = [_point(step, gpxpy.gpx.GPXRoutePoint) for step in steps]
    if points:
        route = gpxpy.gpx.GPXRoute(name=name, description=f"{description} {PLANNED}")
        route.source = PLANNED
        route.points.extend(points)
        gpx.routes.append(route)
    gpx.tracks.append(_track(name, description, lines))
    return gpx.to_xml(version="1.1")


def _track(name: str, description: str, lines: Iterable[shapely.LineString]) -> gpxpy.gpx.GPXTrack:
    track = gpxpy.gpx.GPXTrack(name=name, description=description)
    segment = gpxpy.gpx.GPXTrackSegment()
    last = None
    for line in lines:
        for lon, lat in shapely.get_coordinates(line):
            if (lon, lat) != last:
                segment.points.append(gpxpy.gpx.GPXTrackPoint(round(lat, 7), round(lon, 7)))
            last = (lon, lat)
    track.segments.append(segment)
    return track


def _point(place: Spot, kind: Any) -> Any:
    """A planned place: it says of itself that nobody found anything there."""
    spot = kind(round(place["lat"], 7), round(place["lon"], 7))
    spot.name, spot.description = place["name"], f"{place['text']} {PLANNED}"
    spot.source = PLANNED
    return spot
