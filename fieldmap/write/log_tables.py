"""What stands in the hazard log as tables with places: GeoPackage, GeoJSON and CSV."""

from __future__ import annotations

import csv
import io
import json
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from fieldmap.read.csv_guard import GUARD, GUARD_COLUMN, guarded
from fieldmap.write.files import features
from fieldmap.write.geopackage import ANY_SHAPE, add_layer, stamp
from fieldmap.write.log_words import moment_text, right_handed

LAYER = "hazards"
DIGITS = 8
_MOMENTS = ("time", "last_seen")
_CSV_MAY_RUN = ("hazard_id", "kind", "label", "level", "do", "call", "note", "who")


def write_geopackage(
    told: gpd.GeoDataFrame, path: Path, *, day: date, note: str
) -> tuple[str, ...]:
    """One layer of shapes of any type; the date of change in the file is ``day``."""
    add_layer(path, told, LAYER, moment=stamp(day), kind=ANY_SHAPE, note=note)
    if (told["photo_id"] == "").all():
        return ()
    return ("photos stay in the log; photo_id is the name each has there",)


def write_geojson(told: gpd.GeoDataFrame, path: Path, *, day: date, note: str) -> tuple[str, ...]:
    """RFC 7946: degrees of WGS 84, outer rings anticlockwise, one feature a line.

    ``day`` and ``note`` stand beside the features as members of our own (section 6.1).
    """
    plain = _moments_as_text(told).drop(columns="photo_id")
    columns = [name for name in plain.columns if name != "geometry"]
    plain = plain.set_geometry([right_handed(shape) for shape in plain.geometry], crs=plain.crs)
    lines = [_json(held) for held in features(plain, columns, digits=DIGITS)["features"]]
    head = {"type": "FeatureCollection", "name": LAYER, "day": day.isoformat(), "note": note}
    body = ",\n".join(lines)
    path.write_bytes(f'{_json(head)[:-1]},"features":[\n{body}\n]}}\n'.encode())
    return _photos_left(told)


def write_csv(told: gpd.GeoDataFrame, path: Path, *, day: date, note: str) -> tuple[str, ...]:
    """RFC 4180, UTF-8; ``lon, lat`` is a point on a line or area, ``wkt`` the shape itself.

    Caution: words are somebody else's, and a spreadsheet runs cells that begin with ``= + - @``.
    Such words get an apostrophe before them, and the row gets one in its column ``guard``.
    """
    del day
    shapes = told.geometry.to_numpy()
    middle = shapely.get_coordinates(shapely.point_on_surface(shapes))
    drawn = shapely.get_type_id(shapes) != shapely.GeometryType.POINT
    plain = _moments_as_text(told).drop(columns=["photo_id", "geometry"])
    kept = plain.assign(**{name: [guarded(text) for text in plain[name]] for name in _CSV_MAY_RUN})
    marks = (kept[list(_CSV_MAY_RUN)] != plain[list(_CSV_MAY_RUN)]).any(axis=1)
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(["lon", "lat", *kept.columns, "wkt", GUARD_COLUMN])
    rows = kept.itertuples(index=False, name=None)
    wkts = np.where(drawn, shapely.to_wkt(shapes, rounding_precision=DIGITS), "")
    for place, row, wkt, mark in zip(middle, rows, wkts, marks, strict=True):
        cells = [_cell(held) for held in (*place, *row)]
        writer.writerow([*cells, wkt, GUARD if mark else ""])
    path.write_bytes(out.getvalue().encode())
    return (
        *_photos_left(told),
        *([f"a CSV file has no place for a note about itself: {note}"] if note else []),
        *(
            [f"{marks.sum()} rows hold words that a spreadsheet would run: see column guard"]
            if marks.any()
            else []
        ),
    )


def _photos_left(told: gpd.GeoDataFrame) -> tuple[str, ...]:
    number = int((told["photo_id"] != "").sum())
    return (f"{number} photos stay in the log",) if number else ()


def _moments_as_text(told: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return told.assign(**{name: [moment_text(held) for held in told[name]] for name in _MOMENTS})


def _cell(held: Any) -> str:
    """One value as a cell: what is not known is empty, numbers are plain decimals."""
    if held is None:
        return ""
    if isinstance(held, str):
        return held
    if isinstance(held, int):
        return str(held)
    return np.format_float_positional(held, trim="0") if np.isfinite(held) else ""


def _json(held: dict[str, Any]) -> str:
    return json.dumps(held, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
