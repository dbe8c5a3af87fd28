"""What stands in the hazard log as a file for other people's programs, and for our own.

========================  =======  ========  =================  =======  =================
what                      .gpkg    .geojson  .gpx               .kml     .csv
========================  =======  ========  =================  =======  =================
points                    yes      yes       waypoints          yes      lon, lat
lines                     yes      yes       routes             yes      wkt
areas                     yes      yes       closed routes      yes      wkt
holes, several parts      yes      yes       piece by piece     yes      wkt
id, kind, note, who       yes      yes       yes                yes      yes
blanks round a note       yes      yes       no                 no       yes
control characters        yes      yes       replaced           replaced yes
time                      to 1 ms  yes       yes                yes      yes
radius, height, heading   yes      yes       extensions         yes      yes
what to do, whom to call  yes      yes       extensions         yes      yes
last seen, hits, misses   yes      yes       extensions         yes      yes
photos                    id only  no        no                 no       no
note about the file       yes      yes       yes                yes      no
========================  =======  ========  =================  =======  =================

Everywhere: WGS 84, 8 decimals (a millimetre); a zero character or half a surrogate pair is
replaced. The same input gives the same bytes. What a format cannot hold is told in
:attr:`Exported.notes`. GeoJSON and KML want outer rings anticlockwise and get them so; elsewhere
rings run as they were drawn. A spreadsheet may cut a cell of the CSV file at 32,767 characters.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from functools import partial
from pathlib import Path
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely

from fieldmap.crs import WGS84
from fieldmap.errors import Fault, MisuseError
from fieldmap.tables import Tables
from fieldmap.write.log_gpx import write_gpx
from fieldmap.write.log_kml import write_kml
from fieldmap.write.log_tables import DIGITS, write_csv, write_geojson, write_geopackage
from fieldmap.write.log_words import BARRED, BARRED_IN_XML, INSTEAD, holdable
from fieldmap.write.outputs import write_whole

#: Columns of an export beside its shapes, in their order; ``photo_id`` only where it can be held.
COLUMNS = (
    "hazard_id",
    "kind",
    "label",
    "level",
    "do",
    "call",
    "note",
    "who",
    "time",
    "last_seen",
    "radius_m",
    "height_m",
    "heading_deg",
    "hits",
    "not_found",
    "photo_id",
)
_WORDS = ("hazard_id", "kind", "label", "level", "do", "call", "note", "who", "photo_id")
_OF_KIND = {"label": "label", "level": "level", "do": "action", "call": "call"}

_Writer = Callable[..., tuple[str, ...]]
_WRITERS: dict[str, _Writer] = {
    ".gpkg": write_geopackage,
    ".geojson": write_geojson,
    ".gpx": write_gpx,
    ".kml": write_kml,
    ".csv": write_csv,
}


class Exported(NamedTuple):
    """The file, how many marks it holds, and what people should know about it."""

    path: Path
    marks: int
    notes: tuple[str, ...]


def export_log(
    table: gpd.GeoDataFrame,
    path: Path,
    *,
    tables: Tables,
    day: date,
    overwrite: bool = False,
    note: str = "",
) -> Exported:
    """Write the standing hazards to one file, whole or not at all.

    Parameters
    ----------
    table : GeoDataFrame
        What stands (:func:`fieldmap.hazards.fold.standing`, or ``Farm.hazards``), in any system.
    path : Path
        Its suffix decides: ``.gpkg`` (layer ``hazards``), ``.geojson``, ``.gpx``, ``.kml`` or
        ``.csv``.
    tables : Tables
        The hazard kinds: label, level, what to do, whom to call.
    day : date
        The day the file speaks of.
    overwrite : bool
        Also replace a file that is there.
    note : str
        Of the file as a whole, such as that its data are invented.

    Raises
    ------
    MisuseError
        The suffix is none of the five.
    InputError
        A file of that name is there.
    StoreError
        Disk or permission.
    """
    path = Path(path)
    write = _WRITERS.get(path.suffix.lower())
    if write is None:
        raise _no_format(path)
    told, lost = _told(table, tables)
    barred = BARRED_IN_XML if path.suffix.lower() in (".gpx", ".kml") else BARRED
    told, changed = holdable(told, _WORDS, barred)
    notes: list[str] = []
    write_whole(
        path,
        lambda place: notes.extend(write(told, place, day=day, note=barred.sub(INSTEAD, note))),
        overwrite=overwrite,
    )
    return Exported(path, len(told), (*_notes(path, told, lost, changed), *notes))


def _told(table: gpd.GeoDataFrame, tables: Tables) -> tuple[gpd.GeoDataFrame, int]:
    """The columns of an export in WGS 84, and how many rows have no place."""
    ground = table.to_crs(WGS84).reset_index(drop=True)
    shapes = ground.geometry.to_numpy()
    placed = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    ground, shapes = ground[placed].reset_index(drop=True), shapes[placed]
    rows = {kind: tables[f"hazard_kinds.{kind}"].words for kind in ground["kind"].unique()}
    for column, word in _OF_KIND.items():
        ground[column] = [rows[kind][word] for kind in ground["kind"]]
    ground["photo_id"] = ground["photo"]
    told = ground[list(COLUMNS)].astype(dict.fromkeys(_WORDS, object))
    flat = shapely.transform(shapely.force_2d(shapes), partial(np.round, decimals=DIGITS))
    return gpd.GeoDataFrame(told, geometry=flat, crs=WGS84), int((~placed).sum())


def _notes(path: Path, told: gpd.GeoDataFrame, lost: int, changed: int) -> list[str]:
    notes = []
    mixed = int((told.geom_type == "GeometryCollection").sum())
    if told.empty:
        notes.append(
            "no hazard stands in the log: the file is empty; a clear log is no clear field"
        )
    if lost:
        notes.append(f"{lost} hazards without a place left out")
    if mixed:
        notes.append(
            f"{mixed} hazards lie in places of several kinds, such as a point and an area, since "
            "people put them apart; settle them first if the file is to be imported again"
        )
    if changed:
        notes.append(
            f"{changed} texts with characters that {path.suffix.lower()} cannot hold: "
            f"{INSTEAD} stands in their place"
        )
    return notes


def _no_format(path: Path) -> MisuseError:
    return MisuseError(
        Fault(
            "no such format for an export",
            path.suffix or path.name,
            "nothing was written",
            f"end the file's name in one of {', '.join(_WRITERS)}",
            where=str(path),
        )
    )
