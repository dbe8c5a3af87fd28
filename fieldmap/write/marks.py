"""Marks as the pages and the GPX show them: words of their kind, walking order, pictures."""

from __future__ import annotations

import base64
from datetime import tzinfo
from typing import Any

import geopandas as gpd
import gpxpy.gpx
import pandas as pd

from fieldmap.crs import WGS84
from fieldmap.farm import Farm
from fieldmap.field_answer import FieldAnswer
from fieldmap.hazards.store import read_photos
from fieldmap.read.gpx_plan import CREATOR, PLANNED
from fieldmap.tables import Tables
from fieldmap.units import System, shown
from fieldmap.write.files import features, hazards_told

HAZARD_COLUMNS = (
    "hazard_id",
    "kind",
    "label",
    "level",
    "note",
    "who",
    "time",
    "call",
    "action",
    "radius_m",
    "heading_deg",
    "since",
    "lon",
    "lat",
)
_FOR_THE_MACHINE = "for the machine: slow, or raise the cut"
_DEGREE_DIGITS = 6


def hazards_shown(marks: gpd.GeoDataFrame, tables: Tables, zone: tzinfo) -> gpd.GeoDataFrame:
    """Marks (columns of the fold) with the words of their kind, times as a person reads them.

    ``since`` says what became of a mark after it was found, in a few words; ``lon`` and ``lat``
    are a place on it.
    """
    told = hazards_told(marks, tables)
    for column in ("time", "last_seen", "closed"):
        told[column] = told[column].dt.tz_convert(zone).dt.strftime("%Y-%m-%d %H:%M")
        told[column] = told[column].astype(object).where(told[column].notna(), None)
    told["since"] = [since(row) for row in told.drop(columns="geometry").to_dict("records")]
    place = told.geometry.representative_point().to_crs(WGS84)
    told["lon"], told["lat"] = place.x.round(_DEGREE_DIGITS), place.y.round(_DEGREE_DIGITS)
    return told


def since(row: dict[Any, Any]) -> str:
    """What happened to a mark since it was found, in a few words."""
    if not row["stands"]:
        return f"cleared {row['closed'] or ''} by {row['closed_by'] or 'nobody named'}"
    told = []
    if row["last_seen"] and row["last_seen"] != row["time"]:
        told.append(f"seen {row['last_seen']}")
    if row["hits"]:
        told.append(f"hit {row['hits']}x")
    if row["not_found"]:
        told.append(f"looked for and not found {row['not_found']}x")
    return ", ".join(told)


def pictures_of(farm: Farm) -> dict[str, str]:
    """The pictures of the standing marks as addresses that hold them, by mark."""
    named = farm.hazards[farm.hazards["photo"] != ""]
    held = read_photos(farm.folder / farm.settings.files.hazards, set(named["photo"]))
    return {
        name: f"data:image/jpeg;base64,{base64.b64encode(held[photo]).decode()}"
        for name, photo in zip(named["hazard_id"], named["photo"], strict=True)
        if photo in held
    }


def marks_of_field(
    answer: FieldAnswer, marks: gpd.GeoDataFrame, photos: dict[str, str]
) -> dict[str, Any]:
    """The marks of one field in walking order, grouped by who must deal with them."""
    listed = answer.pick_up.set_index("hazard_id")[["group", "step_m"]]
    near = marks[marks["hazard_id"].isin(answer.marks)].set_index("hazard_id", drop=False)
    rest = [name for name in answer.marks if name not in listed.index]
    ordered = near.loc[[*listed.index, *rest]].reset_index(drop=True)
    told = listed.reindex(ordered["hazard_id"])
    ordered["group"] = told["group"].fillna(_FOR_THE_MACHINE).to_numpy(dtype=object)
    ordered["step_m"] = told["step_m"].to_numpy(float)
    ordered["photo"] = [photos.get(name, "") for name in ordered["hazard_id"]]
    return features(ordered, (*HAZARD_COLUMNS, "group", "step_m", "photo"))


def pick_up_gpx(name: str, rows: pd.DataFrame, units: System) -> str:
    """The list to walk with as GPX 1.1: a waypoint a mark, numbered as on the page.

    Each names its mark, and says that it is planned, so that no import takes it for a find.

    Parameters
    ----------
    name : str
        The field.
    rows : DataFrame
        Columns of :func:`fieldmap.hazards.pick_up.pick_up`.
    units : {"us", "metric"}
    """
    gpx = gpxpy.gpx.GPX()
    gpx.creator = CREATOR
    gpx.name = f"{name}: what lies there, in walking order"
    for number, row in enumerate(rows.to_dict("records"), start=1):
        told = [row["action"], row["note"], f"who: {row['group']}", row["caution"].rstrip(".")]
        if row["height_m"] == row["height_m"]:
            told.insert(1, f"{shown(row['height_m'], 'm', units)} high")
        told += [f"Mark {row['hazard_id']}", PLANNED]
        spot = gpxpy.gpx.GPXWaypoint(
            round(row["lat"], 7),
            round(row["lon"], 7),
            name=f"{number} {row['label']}",
            description=". ".join(filter(None, told)),
            type=row["kind"],
        )
        spot.source = PLANNED
        gpx.waypoints.append(spot)
    return gpx.to_xml(version="1.1")
