"""GPX tracks: who looked where."""

from __future__ import annotations

import math
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any

import geopandas as gpd
import gpxpy
import numpy as np
import pandas as pd
import shapely
from gpxpy.gpx import GPX, GPXException, GPXTrackPoint
from pyproj import CRS

from fieldmap.crs import WGS84
from fieldmap.errors import Fault, InputError, raise_all
from fieldmap.read.paths import plain_file, refuse_doctype


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
        Columns ``file, started`` (aware UTC), ``seconds`` (for each point its time since
        ``started``, NaN where it has none) and lines; notes about segments left out because
        nothing says when they were walked, and about files without any.

    Raises
    ------
    InputError
        Every file that is not GPX, every segment with a point that is not on earth.
    """
    rows: list[dict[str, Any]] = []
    notes: list[str] = []
    faults: list[Fault] = []
    for path in names:
        try:
            gpx = _open(path, what="a walk")
        except InputError as error:
            faults.extend(error.faults)
            continue
        segments = [part for track in gpx.tracks for part in track.segments]
        if not segments:
            notes.append(f"{path.name}: no track in it: no ground counts as looked at by it")
        for number, segment in enumerate(segments, start=1):
            where = f"{path.name} segment {number}"
            points = [(point.longitude, point.latitude) for point in segment.points]
            times = [_moment(point) for point in segment.points]
            started = next((time for time in times if time is not None), None)
            if not _on_earth(points):
                faults.append(_off_earth(where, points))
            elif len(points) < 2:
                notes.append(f"{where} left out: fewer than two points")
            elif started is None:
                notes.append(f"{where} left out: no time says when it was walked")
            else:
                line = shapely.LineString(points)
                seconds = np.array([_since(started, time) for time in times])
                rows.append({"file": path.name, "started": started, "seconds": seconds,
                             "geometry": line})  # fmt: skip
    raise_all(faults)
    table = gpd.GeoDataFrame(
        {
            "file": pd.Series([row["file"] for row in rows], dtype=str),
            "started": pd.Series([row["started"] for row in rows], dtype="datetime64[us, UTC]"),
            "seconds": pd.Series([row["seconds"] for row in rows], dtype=object),
        },
        geometry=[row["geometry"] for row in rows],
        crs=WGS84,
    )
    return table.to_crs(crs), tuple(notes)


def _moment(point: GPXTrackPoint) -> datetime | None:
    try:
        return None if point.time is None else aware(point.time)
    except ValueError:
        return None


def _since(started: datetime, moment: datetime | None) -> float:
    return math.nan if moment is None else (moment - started).total_seconds()


def _on_earth(points: list[tuple[float, float]]) -> bool:
    # NaN is on no side of a limit, so it fails here too
    return all(abs(lon) <= 180 and abs(lat) <= 90 for lon, lat in points)


def _off_earth(where: str, points: list[tuple[float, float]]) -> Fault:
    lon, lat = next(point for point in points if not _on_earth([point]))
    return Fault(
        "a walked point that is not on earth",
        f"lat {lat:g}, lon {lon:g}",
        "nobody can tell which ground was walked",
        "export it again from the device, or take the point out",
        where=where,
    )


def aware(moment: datetime, zone: tzinfo = UTC) -> datetime:
    """The moment in UTC; one that names no zone is taken as in ``zone``.

    Raises
    ------
    ValueError
        The moment lies outside the years a calendar here can hold.

    Examples
    --------
    >>> aware(datetime(2026, 6, 1, 9, 0)).isoformat()
    '2026-06-01T09:00:00+00:00'
    """
    held = moment if moment.tzinfo is not None else moment.replace(tzinfo=zone)
    try:
        return held.astimezone(UTC)
    except OverflowError:
        raise ValueError(f"{moment} is out of reach") from None


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
