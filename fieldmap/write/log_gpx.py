"""What stands in the hazard log as GPX 1.1: waypoints, and routes where it is a line or area.

GPX knows points and lines, and no fields of ours. So a hazard of several parts, or with a hole,
is written piece by piece; name, kind, note and time go into the standard's own elements, all
other columns into ``<extensions>`` of the namespace :data:`NAMESPACE`, where ``shape`` says what
a piece is (point, line, area, hole: a hole belongs to the area before it), ``part`` and ``parts``
its number and their count. A route has no time of its own: its first point holds it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element
from xml.sax.saxutils import escape

import geopandas as gpd
import gpxpy.gpx
import pandas as pd
import shapely

from fieldmap.write.log_words import moment_text

NAMESPACE = "urn:fieldmap:log:1"
_PREFIX = "fieldmap"
#: Longitudes of the standard's schema end just before 180.
_EAST_END = 179.99999999
_LEFT_OUT = ("geometry", "note", "photo_id")


def write_gpx(told: gpd.GeoDataFrame, path: Path, *, day: date, note: str) -> tuple[str, ...]:
    """Waypoints and routes; what GPX cannot hold is told."""
    gpx = gpxpy.gpx.GPX()
    gpx.creator = "fieldmap"
    gpx.name, gpx.description = "hazards", note or None
    gpx.time = datetime.combine(day, time(), UTC)
    gpx.nsmap[_PREFIX] = NAMESPACE
    split = areas = 0
    for row in told.to_dict("records"):
        pieces = list(pieces_of(row["geometry"]))
        split += len(pieces) > 1
        areas += any(shape == "area" for shape, _ in pieces)
        for number, (shape, line) in enumerate(pieces, start=1):
            _add(gpx, row, line, {"shape": shape, "part": number, "parts": len(pieces)})
    path.write_bytes(_with_carriage_returns(gpx.to_xml(version="1.1")).encode())
    return (*_notes(told, areas, split),)


def pieces_of(shape: shapely.Geometry) -> Iterator[tuple[str, shapely.Geometry]]:
    """A shape as points, lines and rings, each with what it is; a hole follows its area.

    Examples
    --------
    >>> [what for what, _ in pieces_of(shapely.MultiPoint([(0, 0), (1, 1)]))]
    ['point', 'point']
    >>> ground = shapely.box(0, 0, 9, 9).difference(shapely.box(1, 1, 2, 2))
    >>> [what for what, _ in pieces_of(ground)]
    ['area', 'hole']
    """
    if hasattr(shape, "geoms"):
        for part in shape.geoms:
            yield from pieces_of(part)
    elif shape.geom_type == "Polygon":
        yield "area", shape.exterior
        yield from (("hole", ring) for ring in shape.interiors)
    else:
        yield ("point" if shape.geom_type == "Point" else "line"), shape


def _add(
    gpx: gpxpy.gpx.GPX, row: Mapping[str, Any], line: shapely.Geometry, piece: Mapping[str, Any]
) -> None:
    """One piece of a hazard as a waypoint or a route."""
    places = [(min(lon, _EAST_END), lat) for lon, lat in line.coords]
    held: gpxpy.gpx.GPXWaypoint | gpxpy.gpx.GPXRoute
    first: gpxpy.gpx.GPXWaypoint | gpxpy.gpx.GPXRoutePoint
    if piece["shape"] == "point":
        ((lon, lat),) = places
        held = first = gpxpy.gpx.GPXWaypoint(lat, lon)
        gpx.waypoints.append(held)
    else:
        held = gpxpy.gpx.GPXRoute()
        held.points = [gpxpy.gpx.GPXRoutePoint(lat, lon) for lon, lat in places]
        first = held.points[0]
        gpx.routes.append(held)
    first.time = None if pd.isna(row["time"]) else row["time"].to_pydatetime(warn=False)
    several = f" ({piece['part']} of {piece['parts']})" if piece["parts"] > 1 else ""
    held.name = row["hazard_id"] + several
    held.description = row["note"].strip() or None
    held.type = row["kind"]
    ours = {name: value for name, value in row.items() if name not in _LEFT_OUT}
    held.extensions = list(_elements({**ours, **piece}))


def _elements(row: Mapping[str, Any]) -> Iterator[Element]:
    """The columns as extension elements; what is not known gets none.

    gpxpy writes the text of an extension as it stands, so it is escaped here.
    """
    for name, held in row.items():
        value = moment_text(held) if isinstance(held, pd.Timestamp) else held
        if value is None or value == "" or pd.isna(value):
            continue
        element = Element(f"{{{NAMESPACE}}}{name}")
        element.text = escape(str(value))
        yield element


def _with_carriage_returns(text: str) -> str:
    """A carriage return as a reference: a reader of XML takes a bare one for a line end."""
    return text.replace("\r", "&#13;")


def _notes(told: gpd.GeoDataFrame, areas: int, split: int) -> Iterator[str]:
    photos = int((told["photo_id"] != "").sum())
    if photos:
        yield f"{photos} photos stay in the log"
    if areas:
        yield f"GPX has no areas: {areas} written as closed routes"
    if split:
        yield (
            f"GPX has no shapes of several parts or with holes: {split} hazards written piece by "
            "piece; a program that does not know our part numbers takes each for one of its own, "
            "and a hole for an area"
        )
