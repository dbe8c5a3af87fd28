"""Flood outlines and the day the water stood there. By hand."""

from __future__ import annotations

from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from pyproj import CRS
from small_geodata import feature, geojson, point, square

from fieldmap.errors import InputError
from fieldmap.read.flood import read_flood

UTM = CRS.from_epsg(32632)


def test_by_hand_the_day_ends_where_the_farm_is(tmp_path: Path) -> None:
    path = geojson(tmp_path / "f.geojson", feature(square(), date="2026-05-28"))
    flood = read_flood(path, crs=UTM, zone=ZoneInfo("America/Chicago"))
    # the last moment of 28 May in Chicago (UTC-5 in summer)
    assert flood["date"].iloc[0].isoformat().startswith("2026-05-29T04:59:59")
    assert read_flood(path, crs=UTM)["date"].iloc[0].isoformat().startswith("2026-05-28T23:59:59")


def test_by_hand_every_bad_outline_is_named(tmp_path: Path) -> None:
    rows = [
        feature(square(), date="last week"),
        feature(square()),
        feature(point(), date="2026-05-28"),
        feature(None, date="2026-05-28"),
    ]
    with pytest.raises(InputError) as caught:
        read_flood(geojson(tmp_path / "f.geojson", *rows), crs=UTM)
    found = [(fault.where.rsplit(" ", 1)[1], fault.value) for fault in caught.value.faults]
    assert found == [
        ("1", "last week"),
        ("2", "none"),
        ("3", "point"),
        ("4", "no shape, or a broken one"),
    ]


def test_by_hand_no_date_column(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="without a date"):
        read_flood(geojson(tmp_path / "f.geojson", feature(square())), crs=UTM)
