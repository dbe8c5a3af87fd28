"""Invented marks for the tests of the exported log, and what any words and shapes may be."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from hypothesis import strategies as st

from fieldmap.tables import load_tables
from fieldmap.write.log_export import Exported, export_log

TABLES = load_tables()
DAY = date(2026, 6, 2)
KINDS = sorted(row.key.split(".", 1)[1] for row in TABLES.rows("hazard_kinds"))
SUFFIXES = (".gpkg", ".geojson", ".gpx", ".kml", ".csv")
MOMENT = datetime(2026, 6, 1, 9, 30, tzinfo=UTC)
SQUARE = shapely.box(11.5, 49.9, 11.51, 49.91)
HOLED = SQUARE.difference(shapely.box(11.502, 49.902, 11.504, 49.904))
APART = shapely.MultiPolygon([HOLED, shapely.box(11.52, 49.9, 11.53, 49.91)])
SHAPES = {
    "point": shapely.Point(11.5, 49.9),
    "line": shapely.LineString([(11.5, 49.9), (11.51, 49.905), (11.5, 49.91)]),
    "area": SQUARE,
    "holed": HOLED,
    "points": shapely.MultiPoint([(11.5, 49.9), (11.51, 49.9)]),
    "lines": shapely.MultiLineString([[(11.5, 49.9), (11.51, 49.9)], [(11.5, 50), (11.6, 50)]]),
    "apart": APART,
    "mixed": shapely.GeometryCollection([shapely.Point(11.6, 49.9), SQUARE]),
}
NASTY = (
    'he said "stop", twice', "two\nlines\r\nand\rone", "\U0001f69c in the ditch", "a < b > c & d",
    "]]> &amp; <![CDATA[", "=1+1", "'=1+1", "a;=HYPERLINK(1)", 'x;"=1+1;"', "; ; ;", "\t@SUM(1)",
    "-", "+x", "\r", " \t ",
    "  blanks  ", "<script>x</script>", "ünï\u2028cødé", "null", "2026-06-01", "1e5", "{\"a\": 1}",
    ' xmlns:ns1="x" xmlns="y"',
)  # fmt: skip
_CELL_DEG = 1e-3

WORDS = st.one_of(
    st.sampled_from(["", *NASTY]),
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=30),
)
IDS = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=12)
FIGURES = st.one_of(st.just(float("nan")), st.floats(0, 60))
TIMES = st.one_of(
    st.none(),
    st.integers(0, 4 * 10**12).map(lambda ms: datetime(1990, 1, 1, tzinfo=UTC) + ms * _MS),
)
_MS = timedelta(milliseconds=1)
PLACES = st.tuples(st.integers(-179_000, 179_000), st.integers(-89_000, 89_000)).map(
    lambda held: (held[0] / 1000, held[1] / 1000)
)


def _square(cell: int) -> shapely.Polygon:
    return shapely.box(cell * 3, 0, cell * 3 + 2, 2)


def _holed(cell: int) -> shapely.Polygon:
    hole = shapely.box(cell * 3 + 0.5, 0.5, cell * 3 + 1.25, 1.5)
    return _square(cell).difference(hole)


_AREAS = st.lists(st.sampled_from([_square, _holed]), min_size=2, max_size=4).map(
    lambda made: shapely.MultiPolygon([make(cell) for cell, make in enumerate(made)])
)
_STEPS = st.lists(
    st.tuples(st.integers(0, 9), st.integers(0, 9)), min_size=2, max_size=6, unique=True
)
_PLANS = st.one_of(
    st.just(shapely.Point(0, 0)),
    _STEPS.map(shapely.LineString),
    st.sampled_from([_square(0), _holed(0), shapely.reverse(_square(1))]),
    _AREAS,
    _STEPS.map(shapely.MultiPoint),
    _STEPS.map(lambda steps: shapely.MultiLineString([steps, [(20, 0), (21, 1)]])),
)


def _laid(plan: shapely.Geometry, place: tuple[float, float]) -> shapely.Geometry:
    """The plan on the ground: its cells a thousandth of a degree, at odd decimals."""
    off = np.array(place) + 1.23456e-5
    return shapely.transform(plan, lambda xy: xy * _CELL_DEG + off)


LAID = st.builds(_laid, _PLANS, PLACES)
ROW = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(KINDS),
        "note": WORDS,
        "who": WORDS.map(str.strip),
        "time": TIMES,
        "radius_m": FIGURES,
        "height_m": FIGURES,
        "heading_deg": st.one_of(st.just(float("nan")), st.floats(0, 359.5)),
        "geometry": LAID,
    }
)
MARKS = st.dictionaries(IDS, ROW, min_size=1, max_size=5).map(
    lambda held: marks([{"hazard_id": name, **row} for name, row in sorted(held.items())])
)


def mark(**given: Any) -> dict[str, Any]:
    """One standing mark; what is not given is known and plain."""
    plain = {
        "hazard_id": "W-1", "kind": "loose_wire", "note": "by the gate", "who": "Ann",
        "time": MOMENT, "radius_m": 5.0, "height_m": 0.25, "heading_deg": 270.0, "photo": "",
        "last_seen": None, "hits": 0, "not_found": 0, "file": "a.csv", "geometry": SHAPES["point"],
    }  # fmt: skip
    return {**plain, **given}


def marks(rows: list[dict[str, Any]]) -> gpd.GeoDataFrame:
    """Standing marks as the log's fold gives them."""
    table = gpd.GeoDataFrame([mark(**row) for row in rows or [{}]], crs=4326)
    for name in ("time", "last_seen"):
        table[name] = pd.to_datetime(table[name], utc=True).astype("datetime64[us, UTC]")
    return table if rows else table.iloc[:0]


def export(table: gpd.GeoDataFrame, path: Path, **options: Any) -> Exported:
    return export_log(table, path, tables=TABLES, day=DAY, **options)


def cells(path: Path, delimiter: str = ",") -> list[list[str]]:
    """The rows of a CSV file as a program with this list separator takes them."""
    text = path.read_bytes().decode("utf-8")
    return list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
