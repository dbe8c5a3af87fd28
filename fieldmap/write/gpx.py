"""A move as GPX for the cab: the way as a track, what must be looked at as waypoints."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import gpxpy.gpx
import shapely

from fieldmap.read.gpx_plan import CREATOR, PLANNED


def move_gpx(
    name: str,
    description: str,
    lines: Iterable[shapely.LineString],
    places: Iterable[Mapping[str, Any]],
) -> str:
    """GPX 1.1 text.

    Parameters
    ----------
    name, description : str
        Of the track.
    lines : iterable of LineString
        The legs in order of travel, degrees.
    places : iterable of mapping
        ``lon, lat, name, text`` of each place to stop and look.
    """
    gpx = gpxpy.gpx.GPX()
    gpx.creator = CREATOR
    track = gpxpy.gpx.GPXTrack(name=name, description=description)
    segment = gpxpy.gpx.GPXTrackSegment()
    last = None
    for line in lines:
        for lon, lat in shapely.get_coordinates(line):
            if (lon, lat) != last:
                segment.points.append(gpxpy.gpx.GPXTrackPoint(round(lat, 7), round(lon, 7)))
            last = (lon, lat)
    track.segments.append(segment)
    gpx.tracks.append(track)
    for place in places:
        spot = gpxpy.gpx.GPXWaypoint(
            round(place["lat"], 7),
            round(place["lon"], 7),
            name=place["name"],
            description=f"{place['text']} {PLANNED}",
        )
        spot.source = PLANNED
        gpx.waypoints.append(spot)
    return gpx.to_xml(version="1.1")
