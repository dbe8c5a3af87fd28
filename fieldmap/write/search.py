"""A planned search as files: tracks to follow, tables, and a layer of the farm's GeoPackage."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely

from fieldmap import JSON_SCHEMA, __version__
from fieldmap.crs import WGS84, moved
from fieldmap.search import FieldSearch, Search
from fieldmap.units import M2_PER_HECTARE, System, shown
from fieldmap.write.files import features, plain
from fieldmap.write.names import page_name
from fieldmap.write.outputs import Outputs
from fieldmap.write.search_gpx import Spot, search_gpx

PACKAGE = "farm.gpkg"
LAYER = "search_lines"
_AVOIDED = ("hazard_id", "kind", "label", "call", "caution", "note", "keep_m")
_LINES = ("field_id", "what", "n", "walker", "length_m")


def write_search(search: Search, out: str | Path, *, overwrite: bool = False) -> tuple[Path, ...]:
    """Write a planned search into a folder.

    ``search.json`` and ``search.csv`` hold every figure, ``search/<field>.gpx`` the walks of
    each field where there is something to walk, and ``farm.gpkg`` gets the layer
    ``search_lines``; its other layers stay as an assessment wrote them.

    Parameters
    ----------
    search : Search
    out : str or Path
        The folder; made when it is not there.
    overwrite : bool
        Also over files that fieldmap did not write.

    Returns
    -------
    tuple of Path
        What was written.

    Raises
    ------
    StoreError
        Disk or permission.
    InputError
        A file in the way is not ours.
    """
    folder = Path(out)
    with Outputs(folder, group="search", overwrite=overwrite) as files:
        files.json("search.json", search_json(search))
        files.text("search.csv", str(search.table.to_csv(index=False, lineterminator="\n")))
        for one in search.fields:
            if one.walk.parts:
                files.text(f"search/{page_name(one.field_id)}.gpx", field_gpx(search, one))
        package = files.standing(PACKAGE)
        _with_layer(package, files.path(PACKAGE), lines_table(search), day=search.day)
    return tuple(folder / name for name in files.names)


def search_json(search: Search) -> dict[str, Any]:
    """``search.json``: every figure of the plan, as plain JSON types."""
    return {
        "schema": JSON_SCHEMA,
        "farm": search.farm.settings.name,
        "note": search.farm.settings.note,
        "day": search.day.isoformat(),
        "walkers": search.walkers,
        "fields": [_field_facts(one) for one in search.fields],
    }


def search_payload(search: Search) -> dict[str, Any]:
    """Everything on the page of a search: the figures, and shapes in degrees.

    Each field has its facts and, as GeoJSON, ``boundary, ground`` (still to be looked at),
    ``search_lines`` (in walking order), ``walks`` (one a walker), ``avoided_marks``, ``keep_off``
    (the ground round them) and ``gates`` (the one it starts at). Quantities are SI.
    """
    farm = search.farm
    return {
        "title": f"{farm.settings.name}: ground to look at",
        "farm": farm.settings.name,
        "note": farm.settings.note,
        "units": farm.settings.units,
        "made": {"date": search.day.isoformat(), "version": __version__},
        "walkers": search.walkers,
        "fields": [_field_facts(one) | _shapes(search, one) for one in search.fields],
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


def _field_facts(one: FieldSearch) -> dict[str, Any]:
    return {key: plain(held) for key, held in one.facts().items()} | {
        "crosses_outside": one.walk.crosses_outside,
        "avoided": [
            {name: plain(mark[name]) for name in _AVOIDED}
            for mark in one.avoided.to_dict("records")
        ],
        "parts": [
            {
                "area_ha": round(laid.ground.area / M2_PER_HECTARE, 4),
                "chance_now": round(laid.chance_now, 4),
                "chance_after": round(laid.chance_after, 4),
                "spacing_m": round(laid.spacing_m, 2),
                "bearing_deg": round(laid.bearing_deg, 1),
                "passes": laid.passes,
                "lines_m": round(float(shapely.length(laid.lines).sum()), 1),
            }
            for laid in one.laid
        ],
        "walks_m": [round(float(part.length), 1) for part in one.walk.parts],
    }


def _shapes(search: Search, one: FieldSearch) -> dict[str, Any]:
    farm = search.farm

    def told(shapes: Any, **columns: Any) -> dict[str, Any]:
        table = gpd.GeoDataFrame(columns, geometry=gpd.GeoSeries(shapes), crs=farm.crs)
        return features(table, columns)

    outline = farm.fields.loc[farm.fields["field_id"] == one.field_id]
    gates = farm.gates[farm.gates["gate_id"] == one.gate]
    keep_off = one.avoided.set_geometry(gpd.GeoSeries(one.avoided["keep"], crs=farm.crs))
    return {
        "boundary": features(outline, ()),
        "ground": told([laid.ground for laid in one.laid]),
        "search_lines": told(list(one.walk.lines), n=list(range(1, len(one.walk.lines) + 1))),
        "walks": told(list(one.walk.parts), walker=list(range(1, len(one.walk.parts) + 1))),
        "avoided_marks": features(one.avoided, _AVOIDED),
        "keep_off": features(keep_off, ("hazard_id", "keep_m")),
        "gates": features(gates, ("gate_id", "width_m")),
    }


def _with_layer(old: Path | None, path: Path, table: gpd.GeoDataFrame, *, day: date) -> None:
    """Write a GeoPackage anew: the old one's other layers as they were, then this layer.

    It is not changed in place, since the bytes of such a file tell how often it was changed.
    Each layer keeps the date it was written for.
    """
    moment = datetime.combine(day, time(), UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")
    try:
        for name, kind in [] if old is None else pyogrio.list_layers(old):
            if name != LAYER:
                held = pyogrio.read_dataframe(old, layer=name)
                _add_layer(path, held, name, kind=kind, moment=_date_of(old, name))
        _add_layer(path, table, LAYER, kind="LineString", moment=moment)
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _add_layer(path: Path, table: pd.DataFrame, name: str, *, kind: str, moment: str) -> None:
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": moment})
    pyogrio.write_dataframe(
        table,
        path,
        layer=name,
        driver="GPKG",
        append=path.exists(),
        geometry_type=kind,
        layer_options={"SPATIAL_INDEX": "YES"},
    )


def _date_of(package: Path | None, layer: str) -> str:
    """The date that a GeoPackage gives one of its layers."""
    contents = pyogrio.read_dataframe(
        package, sql="SELECT table_name, last_change FROM gpkg_contents", read_geometry=False
    )
    held = contents.loc[contents["table_name"] == layer, "last_change"].iloc[0]
    return pd.Timestamp(held).strftime("%Y-%m-%dT%H:%M:%S.000Z")
