"""What may be said of a mark, where and when: refused before anything is written."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from fieldmap.crs import WGS84
from fieldmap.errors import Fault
from fieldmap.hazards import events as ev

#: Words a person may say of a mark that is in the log.
SAYINGS = (ev.SEEN_AGAIN, ev.NOT_FOUND, ev.MOVED, ev.HIT, ev.NOTE)


def unsayable(verb: str, note: str, *, placed: bool, anew: bool) -> list[Fault]:
    """What is wrong with saying a word of a mark.

    Parameters
    ----------
    verb, note : str
    placed : bool
        A place is given with it.
    anew : bool
        A kind or a height is given with it.

    Examples
    --------
    >>> [fault.what for fault in unsayable("moved", "", placed=False, anew=False)]
    ['moved, but where to is not said']
    >>> unsayable("hit", "", placed=False, anew=False)
    []
    """
    faults = []
    if verb not in SAYINGS:
        faults.append(
            Fault(
                "nothing that can be said of a mark",
                verb,
                "the log keeps to few words, so that everybody reads them alike",
                f"use one of {', '.join(SAYINGS)}",
            )
        )
    elif placed and verb != ev.MOVED:
        faults.append(
            Fault(
                f"a place with '{verb}'",
                "--lon, --lat",
                "the mark stays where it stands, and the place would be lost",
                f"use '{ev.MOVED}' to give a mark its place; 'add' logs what is another thing",
            )
        )
    if verb == ev.MOVED and not placed:
        faults.append(
            Fault(
                "moved, but where to is not said",
                "no place",
                "the mark would be lost",
                "give --lon and --lat, or clear it and log it anew",
            )
        )
    if verb in (ev.NOT_FOUND, ev.NOTE) and anew:
        faults.append(
            Fault(
                f"'{verb}' with a kind or a height",
                verb,
                "what a thing is, is said by somebody who saw it",
                f"use '{ev.SEEN_AGAIN}' to give its kind or height",
            )
        )
    if verb == ev.NOTE and not note.strip():
        faults.append(Fault("a note without words", "empty", "it says nothing", "give --note TEXT"))
    return faults


def misplaced(lon: float, lat: float, fields: gpd.GeoDataFrame, *, beyond_m: float) -> list[Fault]:
    """What is wrong with a place in degrees: not on earth, or far from every field (metric)."""
    where = f"lon {lon:g}, lat {lat:g}"
    if not (abs(lon) <= 180 and abs(lat) <= 90):
        return [
            Fault(
                "a position that is not on earth",
                where,
                "a find without a place cannot be mapped",
                "give degrees east as --lon and degrees north as --lat",
            )
        ]
    point = gpd.GeoSeries([shapely.Point(lon, lat)], crs=WGS84).to_crs(fields.crs).iloc[0]
    far_m = shapely.distance(point, shapely.box(*fields.total_bounds))
    if far_m <= beyond_m:
        return []
    return [
        Fault(
            "a find far from every field",
            where,
            "it would be logged where nobody mows",
            "see whether --lon and --lat are swapped",
        )
    ]


def cleared_too_early(
    marks: Iterable[Mapping[str, Any]], moment: datetime, *, slack_h: float
) -> list[Fault]:
    """Marks that somebody saw after the moment they are said to have been gone.

    Parameters
    ----------
    marks : iterable of mapping
        Rows of the fold.
    moment : datetime
        Aware.
    slack_h : float
        Clocks are wrong by so many hours: what lies within them is let pass.
    """
    latest = pd.Timestamp(moment + timedelta(hours=slack_h))
    return [
        Fault(
            "a clearing from before the thing was last seen",
            f"{mark['hazard_id']}: seen {mark['last_seen']:%Y-%m-%d %H:%M} UTC, "
            f"cleared {moment:%Y-%m-%d %H:%M %Z}",
            "a thing that was seen later was not gone",
            "say when it was cleared: --time",
        )
        for mark in marks
        if not pd.isna(mark["last_seen"]) and mark["last_seen"] > latest
    ]


def moved_notes(
    name: str, fields: gpd.GeoDataFrame, before: shapely.Geometry, after: shapely.Geometry
) -> tuple[str, ...]:
    """What a move changed, in words, where the mark lies in other fields than before.

    Parameters
    ----------
    name : str
        The mark's label.
    fields : GeoDataFrame
        Column ``field_id``, metric.
    before, after : Geometry
        Where the mark was and is, in the same system.
    """
    old, new = (tuple(fields.loc[fields.intersects(one), "field_id"]) for one in (before, after))
    if old == new:
        return ()
    far_m = float(shapely.distance(before, after))
    was, now = (", ".join(names) or "no field" for names in (old, new))
    return (f"{name} moved {far_m:.0f} m: it lay in {was}, and lies in {now}",)
