"""The assessment as tables: GeoPackage, CSV and JSON, with units in the names."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from fieldmap import JSON_SCHEMA
from fieldmap.assessment import Assessment
from fieldmap.finding import Finding
from fieldmap.risk.zones import COLUMNS as ZONE_COLUMNS
from fieldmap.tables import Tables
from fieldmap.write.geopackage import ANY_SHAPE, add_layer, keep_layers, stamp

FINDING_COLUMNS = (
    "field_id",
    "about",
    "level",
    "what",
    "choice",
    "value",
    "low",
    "high",
    "limit",
    "unit",
    "basis",
    "why",
    "caution",
    "sources",
)


#: Layers of ``farm.gpkg`` that an assessment writes.
LAYERS = (
    "fields",
    "zones",
    "hazards",
    "gates",
    "pick_up",
    "hollows",
    "drop_offs",
    "first_places",
)
#: What may be a point, a line or an area in one layer.
_MIXED = ("hazards", "first_places")
#: What ``fields.json`` tells of each thing on the list to walk with.
PICK_UP_TOLD = ("group", "order", "hazard_id", "kind", "action", "touch", "step_m", "lon", "lat")
_HAZARD_COLUMNS = (
    "hazard_id",
    "kind",
    "note",
    "who",
    "time",
    "radius_m",
    "height_m",
    "heading_deg",
    "last_seen",
    "hits",
    "not_found",
    "label",
    "level",
    "call",
    "action",
)


def geopackage(path: Path, assessment: Assessment, *, old: Path | None = None) -> None:
    """Write ``farm.gpkg``: the layers of :data:`LAYERS`.

    The date of change inside the file is the day of the assessment, so that the same input
    gives the same bytes. Layers that another command added to the ``old`` file stay.
    """
    farm = assessment.farm
    told = assessment.table
    shapes = farm.fields.set_index("field_id").geometry.loc[told["field_id"]]
    fields = gpd.GeoDataFrame(told, geometry=[_multi(shape) for shape in shapes], crs=farm.crs)
    moment = stamp(assessment.day)
    tables = (
        fields,
        all_zones(assessment),
        hazards_told(farm.hazards, farm.tables)[[*_HAZARD_COLUMNS, "geometry"]],
        farm.gates,
        all_pick_up(assessment),
        *all_places(assessment),
    )
    for name, table in zip(LAYERS, tables, strict=True):
        kind = ANY_SHAPE if name in _MIXED else None
        add_layer(path, table, name, moment=moment, kind=kind)
    keep_layers(old, path, but=LAYERS)


def hazards_told(marks: gpd.GeoDataFrame, tables: Tables) -> gpd.GeoDataFrame:
    """Marks (columns of the fold) with the words of their kind: ``label, level, call, action``."""
    told = marks.copy()
    rows = {kind: tables[f"hazard_kinds.{kind}"].words for kind in told["kind"].unique()}
    for column in ("label", "level", "call", "action"):
        told[column] = [rows[kind][column] for kind in told["kind"]]
        told[column] = told[column].astype(str)
    return told


def all_zones(assessment: Assessment) -> gpd.GeoDataFrame:
    """The zones of every field in one table, in the run's metric system."""
    tables = [answer.zones for answer in assessment.answers if len(answer.zones)]
    if not tables:
        empty = {
            name: pd.Series(dtype=float if name == "area_ha" else str) for name in ZONE_COLUMNS
        }
        return gpd.GeoDataFrame(empty, geometry=gpd.GeoSeries([], crs=assessment.farm.crs))
    return gpd.GeoDataFrame(pd.concat(tables, ignore_index=True), crs=assessment.farm.crs)


def all_pick_up(assessment: Assessment) -> gpd.GeoDataFrame:
    """The lists to walk with of every field in one table of points."""
    parts = [one.pick_up.assign(field_id=one.field_id) for one in assessment.answers]
    table = pd.concat(parts, ignore_index=True)
    places = gpd.points_from_xy(table.pop("x"), table.pop("y"))
    return gpd.GeoDataFrame(table, geometry=places, crs=assessment.farm.crs)


def all_places(assessment: Assessment) -> tuple[gpd.GeoDataFrame, ...]:
    """Hollows, drop-offs (their ground to keep out of) and first places to look, of every field."""
    answers = assessment.answers
    edges = [one.layers.lie.edges for one in answers]
    return (
        _gathered(assessment, [one.layers.lie.hollows for one in answers]),
        _gathered(assessment, [_kept_out(one) for one in edges]),
        _gathered(assessment, [one.first_places for one in answers]),
    )


def _gathered(assessment: Assessment, parts: list[gpd.GeoDataFrame]) -> gpd.GeoDataFrame:
    """One table of the places of many fields, each row with its field."""
    ids = [one.field_id for one in assessment.answers]
    named = [part.assign(field_id=name) for name, part in zip(ids, parts, strict=True) if len(part)]
    if named:
        return gpd.GeoDataFrame(pd.concat(named, ignore_index=True), crs=assessment.farm.crs)
    return parts[0].assign(field_id=pd.Series(dtype=str))


def _kept_out(edges: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Drop-offs by the ground to keep out of, not by their crests."""
    zone = edges["zone"].to_numpy()
    return gpd.GeoDataFrame(
        edges.drop(columns=["zone", "perhaps", "geometry"]), geometry=zone, crs=edges.crs
    )


def fields_csv(assessment: Assessment) -> str:
    """``fields.csv``: one row a field; columns as in ``Assessment.table``."""
    return str(assessment.table.to_csv(index=False, lineterminator="\n"))


def findings_csv(assessment: Assessment) -> str:
    """``findings.csv``: one row a finding."""
    rows: list[dict[str, Any]] = []
    for answer in assessment.answers:
        for about, findings in (("ground", answer.findings), ("setting", answer.settings)):
            rows.extend(_finding_row(answer.field_id, about, finding) for finding in findings)
    out = io.StringIO()
    writer = csv.DictWriter(out, FINDING_COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def fields_json(assessment: Assessment) -> dict[str, Any]:
    """``fields.json``: what the pages show, as plain JSON types."""
    machine = assessment.machine
    told = json.loads(assessment.table.to_json(orient="records"))
    return {
        "schema": JSON_SCHEMA,
        "farm": assessment.farm.settings.name,
        "note": assessment.farm.settings.note,
        "day": assessment.day.isoformat(),
        "machine": None if machine is None else machine.id,
        "counts": assessment.counts(),
        "fields": [
            {
                **row,
                "findings": [finding.as_dict() for finding in answer.findings],
                "settings": [finding.as_dict() for finding in answer.settings],
                "set_up": None if answer.set_up is None else answer.set_up.as_dict(),
                "to_change": list(answer.to_change),
                "ground": list(answer.ground),
                "hazards": list(answer.marks),
                "pick_up": [
                    {name: plain(row[name]) for name in PICK_UP_TOLD}
                    for row in answer.pick_up.to_dict("records")
                ],
                "first_places": _places_told(answer.first_places),
                "zones": [
                    {name: zone[name] for name in ZONE_COLUMNS if name != "field_id"}
                    for zone in answer.zones.drop(columns="geometry").to_dict("records")
                ],
            }
            for row, answer in zip(told, assessment.answers, strict=True)
        ],
    }


def _places_told(places: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    """First places to look, each by a place on it, in degrees."""
    spots = places.geometry.representative_point().to_crs(4326)
    return [
        {name: plain(row[name]) for name in ("kind", "reason", "area_m2", "length_m")}
        | {"lon": round(spot.x, 6), "lat": round(spot.y, 6)}
        for row, spot in zip(places.to_dict("records"), spots, strict=True)
    ]


def _finding_row(field_id: str, about: str, finding: Finding) -> dict[str, Any]:
    held = finding.as_dict() | {
        "field_id": field_id,
        "about": about,
        "sources": ";".join(finding.sources),
    }
    return {name: held[name] for name in FINDING_COLUMNS}


def _multi(shape: shapely.Geometry) -> shapely.MultiPolygon:
    return shape if isinstance(shape, shapely.MultiPolygon) else shapely.MultiPolygon([shape])


def features(table: gpd.GeoDataFrame, columns: Iterable[str], *, digits: int = 7) -> dict[str, Any]:
    """A GeoJSON FeatureCollection in degrees with these columns; empty shapes left out.

    Parameters
    ----------
    table : GeoDataFrame
        In any system.
    columns : iterable of str
        Properties to keep.
    digits : int
        Decimals of the coordinates; 7 is about a centimetre.
    """
    names = list(columns)
    ground = table.to_crs(4326) if len(table) else table
    shapes = shapely.set_precision(ground.geometry.to_numpy(), 10.0**-digits, mode="pointwise")
    return {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {name: plain(held) for name, held in zip(names, record, strict=True)},
                "geometry": _rounded(shapely.geometry.mapping(shape), digits),
            }
            for record, shape in zip(
                ground[names].itertuples(index=False, name=None), shapes, strict=True
            )
            if shape is not None and not shape.is_empty
        ],
    }


def plain(held: Any) -> Any:
    """One value as JSON can hold it: what is not known, and what is not finite, is ``None``.

    Examples
    --------
    >>> plain(float("nan")), plain(np.float64(2.5)), plain(pd.NaT), plain("a")
    (None, 2.5, None, 'a')
    """
    if held is None or held is pd.NaT or (isinstance(held, float) and not np.isfinite(held)):
        return None
    if isinstance(held, pd.Timestamp | datetime):
        return held.isoformat()
    return held.item() if isinstance(held, np.generic) else held


def _rounded(held: Any, digits: int) -> Any:
    if isinstance(held, float):
        return round(held, digits)
    if isinstance(held, dict):
        return {key: _rounded(value, digits) for key, value in held.items()}
    if isinstance(held, tuple | list):
        return [_rounded(value, digits) for value in held]
    return held
