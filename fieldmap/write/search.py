"""A planned search as files: a page, tracks to follow, tables, a layer of the GeoPackage."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from fieldmap import JSON_SCHEMA
from fieldmap.crs import WGS84, moved
from fieldmap.search import FieldSearch, Search
from fieldmap.units import System, shown
from fieldmap.write.geopackage import add_layer, keep_layers, stamp
from fieldmap.write.names import page_name
from fieldmap.write.outputs import Outputs
from fieldmap.write.pages import search_page
from fieldmap.write.search_gpx import Spot, search_gpx
from fieldmap.write.search_payload import field_facts, search_payload

PACKAGE = "farm.gpkg"
LAYER = "search_lines"
PAGE = "search/index.html"
_LINES = ("field_id", "what", "n", "walker", "length_m")


def write_search(
    search: Search, out: str | Path, *, index_follows: bool = False, overwrite: bool = False
) -> tuple[Path, ...]:
    """Write a planned search into a folder.

    ``search/index.html`` is the page, ``search.json`` and ``search.csv`` hold every figure,
    ``search/<field>.gpx`` the walks of each field where there is something to walk, and
    ``farm.gpkg`` gets the layer ``search_lines``; its other layers stay as an assessment wrote
    them.

    Parameters
    ----------
    search : Search
    out : str or Path
        The folder; made when it is not there.
    index_follows : bool
        The farm's own page is about to be written beside it: link to it already.
    overwrite : bool
        Also over files that fieldmap did not write.

    Returns
    -------
    tuple of Path
        What was written, the page first.

    Raises
    ------
    StoreError
        Disk or permission.
    InputError
        A file in the way is not ours.
    """
    folder = Path(out)
    with Outputs(folder, group="search", overwrite=overwrite) as files:
        payload = search_payload(search)
        if not index_follows and not (folder / "index.html").is_file():
            payload["links"]["index"] = ""
        files.text(PAGE, search_page(payload))
        files.json("search.json", search_json(search))
        files.text("search.csv", str(search.table.to_csv(index=False, lineterminator="\n")))
        for one in search.fields:
            if one.walk.parts:
                files.text(f"search/{page_name(one.field_id)}.gpx", field_gpx(search, one))
        standing, package = files.standing(PACKAGE), files.path(PACKAGE)
        keep_layers(standing, package, but=(LAYER,))
        moment = stamp(search.day)
        add_layer(package, lines_table(search), LAYER, moment=moment, kind="LineString")
    return tuple(folder / name for name in files.names)


def search_json(search: Search) -> dict[str, Any]:
    """``search.json``: every figure of the plan, as plain JSON types."""
    return {
        "schema": JSON_SCHEMA,
        "farm": search.farm.settings.name,
        "note": search.farm.settings.note,
        "day": search.day.isoformat(),
        "walkers": search.walkers,
        "fields": [field_facts(one) for one in search.fields],
    }


def lines_table(search: Search) -> gpd.GeoDataFrame:
    """The layer ``search_lines``: each line in walking order, and the walk of each walker.

    Columns ``field_id, what`` (``line`` or ``walk``), ``n`` (place of the line in the walk, 0
    for a walk), ``walker`` (0 for a line: a walk may be shared in the middle of one) and
    ``length_m``.
    """
    rows: list[dict[str, Any]] = []
    for one in search.fields:
        rows += [
            {"what": "line", "n": n, "walker": 0, "geometry": line, "field_id": one.field_id}
            for n, line in enumerate(one.walk.lines, start=1)
        ]
        rows += [
            {"what": "walk", "n": 0, "walker": n, "geometry": line, "field_id": one.field_id}
            for n, line in enumerate(one.walk.parts, start=1)
        ]
    table = pd.DataFrame(rows, columns=[*_LINES[:-1], "geometry"])
    table = table.astype({"field_id": str, "what": str, "n": "int64", "walker": "int64"})
    lines = gpd.GeoDataFrame(table, geometry="geometry", crs=search.farm.crs)
    lines.insert(4, "length_m", lines.length.round(2))
    return lines


def field_gpx(search: Search, one: FieldSearch) -> str:
    """``search/<field>.gpx``: a track for each walker; where to start and what to keep off."""
    crs, units = search.farm.crs, search.farm.settings.units
    start = moved(shapely.Point(one.walk.start_xy), crs, WGS84)
    gate = f"Gate {one.gate}." if one.gate else "No gate is known: the nearest edge."
    spots = [Spot(start.x, start.y, "start", gate), *_avoided_spots(one, units)]
    name = one.field_id if one.name == one.field_id else f"{one.name} ({one.field_id})"
    return search_gpx(name, one.why, [moved(part, crs, WGS84) for part in one.walk.parts], spots)


def _avoided_spots(one: FieldSearch, units: System) -> list[Spot]:
    marks = one.avoided
    at = gpd.GeoSeries(shapely.point_on_surface(marks.geometry.to_numpy()), crs=marks.crs)
    places = at.to_crs(WGS84)
    return [
        Spot(
            place.x,
            place.y,
            f"keep away: {mark['label']}",
            f"{mark['hazard_id']}: keep {shown(mark['keep_m'], 'm', units)} away. "
            f"{mark['caution']} Call: {mark['call']}.",
        )
        for place, mark in zip(places, marks.to_dict("records"), strict=True)
    ]
