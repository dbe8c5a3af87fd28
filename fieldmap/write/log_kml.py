"""What stands in the hazard log as KML 2.2: a placemark each, all columns as extended data."""

from __future__ import annotations

import html
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import geopandas as gpd
import pandas as pd
import shapely

from fieldmap.write.log_words import moment_text, right_handed

NAMESPACE = "http://www.opengis.net/kml/2.2"


def write_kml(told: gpd.GeoDataFrame, path: Path, *, day: date, note: str) -> tuple[str, ...]:
    """Placemarks in the order of the table.

    A viewer takes a description for HTML, so the note stands there with its signs escaped and
    reads as it was written; the note itself, sign by sign, is among the extended data.
    """
    root = ET.Element("kml", {"xmlns": NAMESPACE})
    document = ET.SubElement(root, "Document")
    _text(document, "name", f"hazards {day.isoformat()}")
    if note:
        _text(document, "description", html.escape(note, quote=False))
    for row in told.drop(columns="photo_id").to_dict("records"):
        _placemark(document, row)
    ET.indent(root, " ")
    body = ET.tostring(root, encoding="unicode").replace("\r", "&#13;")
    path.write_bytes(f'<?xml version="1.0" encoding="UTF-8"?>\n{body}\n'.encode())
    photos = int((told["photo_id"] != "").sum())
    return (f"{photos} photos stay in the log",) if photos else ()


def _placemark(document: ET.Element, row: Mapping[str, Any]) -> None:
    """Elements in the order of the standard's schema."""
    place = ET.SubElement(document, "Placemark")
    _text(place, "name", row["hazard_id"])
    row = {**row, "note": row["note"].strip()}
    if row["note"]:
        _text(place, "description", html.escape(row["note"], quote=False))
    found = moment_text(row["time"])
    if found is not None:
        _text(ET.SubElement(place, "TimeStamp"), "when", found)
    columns = ET.SubElement(place, "ExtendedData")
    for name, held in row.items():
        value = moment_text(held) if isinstance(held, pd.Timestamp) else held
        if name == "geometry" or value is None or value == "" or pd.isna(value):
            continue
        _text(ET.SubElement(columns, "Data", {"name": name}), "value", str(value))
    _shape(place, right_handed(row["geometry"]))


def _shape(above: ET.Element, shape: shapely.Geometry) -> None:
    if hasattr(shape, "geoms"):
        many = ET.SubElement(above, "MultiGeometry")
        for part in shape.geoms:
            _shape(many, part)
    elif shape.geom_type == "Polygon":
        area = ET.SubElement(above, "Polygon")
        _ring(area, "outerBoundaryIs", shape.exterior)
        for hole in shape.interiors:
            _ring(area, "innerBoundaryIs", hole)
    else:
        kind = "Point" if shape.geom_type == "Point" else "LineString"
        _text(ET.SubElement(above, kind), "coordinates", _coordinates(shape))


def _ring(area: ET.Element, side: str, ring: shapely.LinearRing) -> None:
    line = ET.SubElement(ET.SubElement(area, side), "LinearRing")
    _text(line, "coordinates", _coordinates(ring))


def _coordinates(shape: shapely.Geometry) -> str:
    return " ".join(f"{lon:.8f},{lat:.8f}" for lon, lat in shape.coords)


def _text(above: ET.Element, name: str, text: str) -> None:
    ET.SubElement(above, name).text = text
