"""GPX: waypoints as finds, tracks as who looked where."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import geopandas as gpd
import gpxpy
import pandas as pd
import shapely
from gpxpy.gpx import GPX, GPXException
from pyproj import CRS

from fieldmap.crs import WGS84
from fieldmap.errors import Fault, InputError
from fieldmap.read.paths import plain_file, refuse_doctype


def read_waypoints(name: str | Path) -> list[dict[str, Any]]:
    """Waypoints of a GPX file as rows: ``lon, lat, kind, note, time, id``.

    Raises
    ------
    InputError
        Not GPX, a declared document type, or no waypoints.
    """
    gpx = _open(name, what="hazards")
    if not gpx.waypoints:
        raise InputError(
            Fault(
                "no waypoints in the file",
                "0",
                "there is nothing to log",
                "export waypoints, not only tracks",
                where=str(name),
            )
        )
    return [
        {
            "lon": point.longitude,
            "lat": point.latitude,
            "kind": point.type or point.name or "",
            "note": " - ".join(
                text for text in (point.name, point.description, point.comment) if text
            ),
            "time": point.time,
            "id": "",
        }
        for point in gpx.waypoints
    ]


def read_tracks(names: list[Path], *, crs: CRS) -> tuple[gpd.GeoDataFrame, tuple[str, ...]]:
    """Walked lines with the time each began.

    Parameters
    ----------
    names : list of Path
        GPX files.
    crs : pyproj.CRS
        The run's metric system.

    Returns
    -------
    GeoDataFrame, tuple of str
        Columns ``file, started`` (aware UTC) and lines; notes about segments left out because
        nothing says when they were walked.

    Raises
    ------
    InputError
        A file that is not GPX.
    """
    rows: list[dict[str, Any]] = []
    notes: list[str] = []
    for path in names:
        gpx = _open(path, what="a walk")
        for track in gpx.tracks:
            for number, segment in enumerate(track.segments, start=1):
                started = next((point.time for point in segment.points if point.time), None)
                if started is None or len(segment.points) < 2:
                    notes.append(
                        f"{path.name}: segment {number} left out: no time says when it was walked"
                        if len(segment.points) > 1
                        else f"{path.name}: segment {number} left out: a single point"
                    )
                    continue
                line = shapely.LineString([(p.longitude, p.latitude) for p in segment.points])
                rows.append({"file": path.name, "started": aware(started), "geometry": line})
    table = gpd.GeoDataFrame(
        {
            "file": pd.Series([row["file"] for row in rows], dtype=str),
            "started": pd.Series([row["started"] for row in rows], dtype="datetime64[us, UTC]"),
        },
        geometry=[row["geometry"] for row in rows],
        crs=WGS84,
    )
    return table.to_crs(crs), tuple(notes)


def aware(moment: datetime) -> datetime:
    """The moment in UTC; one without a zone is taken as UTC.

    Examples
    --------
    >>> aware(datetime(2026, 6, 1, 9, 0)).isoformat()
    '2026-06-01T09:00:00+00:00'
    """
    return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)


def _open(name: str | Path, *, what: str) -> GPX:
    path = plain_file(name, suffixes=(".gpx",), what=what)
    refuse_doctype(path)
    try:
        return gpxpy.parse(path.read_text("utf-8-sig"))
    except (GPXException, UnicodeDecodeError, ValueError) as error:
        raise InputError(
            Fault(
                "not a GPX file that can be read",
                str(error).splitlines()[0],
                "nothing of it was taken",
                "export it again from the device",
                where=str(path),
            )
        ) from None
