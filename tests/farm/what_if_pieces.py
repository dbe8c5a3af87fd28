"""A small invented farm for what-if: two fields, two machines, marks where one likes."""

from __future__ import annotations

import dataclasses
import math
from datetime import UTC, date, datetime
from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely

from fieldmap.farm import Farm, load_farm
from fieldmap.field_answer import history_on
from fieldmap.hazards import events as ev

DAY = date(2026, 6, 9)
UTM = "EPSG:32615"
WEST, SOUTH = 500_000.0, 4_500_000.0
MACHINES = """
[[machine]]
id = "narrow"
name = "Narrow mower"
kind = "rear-mounted"
working_width_m = 3.0
skid_shoes = [{ name = "base", cut_height_m = 0.05 }, { name = "high", cut_height_m = 0.1 }]
knives = ["low_lift"]

[[machine]]
id = "wide"
name = "Wide mower"
kind = "front-and-rear"
working_width_m = 9.0
"""


def small_farm(folder: Path) -> Farm:
    """Fields A and B of 100 x 60 m, B 40 m east of A; crop, stoniness and lodging are known."""
    shapes = [shapely.box(x, 0, x + 100, 60) for x in (0, 140)]
    fields = gpd.GeoDataFrame(
        {
            "field_id": ["A", "B"], "name": ["West", "East"], "crop": ["alfalfa"] * 2,
            "cutting": [2, 2], "stoniness": [0, 0], "lodged": [False, False],
        },
        geometry=[shapely.affinity.translate(one, WEST, SOUTH) for one in shapes],
        crs=UTM,
    )  # fmt: skip
    fields.to_file(folder / "fields.gpkg")
    (folder / "machines.toml").write_text(MACHINES, "utf-8")
    (folder / "farm.toml").write_text(
        f'name = "Small"\nunits = "metric"\ntime_zone = "UTC"\ncrs = "{UTM}"\n[files]\n'
        'fields = "fields.gpkg"\nmachines = "machines.toml"\nhazards = "log.gpkg"\n',
        "utf-8",
    )
    return load_farm(folder)


def with_finds(farm: Farm, *finds: tuple[str, str, float, float]) -> Farm:
    """The farm with a log of finds: name, kind, metres east and north of the corner of A."""
    names, kinds, east, north = zip(*finds, strict=True)
    points = gpd.GeoSeries(
        [shapely.Point(WEST + x, SOUTH + y) for x, y in zip(east, north, strict=True)], crs=UTM
    )
    told = gpd.GeoDataFrame(
        {
            "hazard_id": names,
            "kind": kinds,
            "note": "",
            "who": "Ada",
            "time": pd.Series([datetime(2026, 6, 1, tzinfo=UTC)] * len(names)),
            "radius_m": math.nan,
            "height_m": math.nan,
        },
        geometry=points.to_crs(4326),
        crs=4326,
    )
    events = ev.add_events(told, file="")
    events["sequence"] = range(1, len(events) + 1)
    farm = dataclasses.replace(farm, events=events, log_read=True)
    marks = history_on(farm, DAY)
    return dataclasses.replace(farm, hazards=marks[marks["stands"]].reset_index(drop=True))
