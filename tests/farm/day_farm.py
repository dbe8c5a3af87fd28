"""A small invented farm for a day: five fields on roads that pass, refuse, or say nothing.

Home stands at the western end of Long Road, which runs east and is 7 m wide. Fields A and B lie
on it; C lies up Hill Lane, which is 2.3 m wide; D up Back Lane, of which nobody knows the width;
E is kilometres from every road. A column is about 143 m.
"""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from affine import Affine

from fieldmap.farm import Farm, load_farm

LON, LAT, STEP = 11.5, 50.0, 0.002
TEN_M = 0.00014  # of longitude; of latitude it is 15 m
NODES = {1: (0, 0), 2: (10, 0), 3: (20, 0), 4: (30, 0), 5: (20, 4), 6: (30, 4)}
WIDE = {"highway": "tertiary", "width": "7", "name": "Long Road", "surface": "asphalt"}
NARROW = {"highway": "unclassified", "width": "2.3", "name": "Hill Lane", "surface": "asphalt"}
UNSAID = {"highway": "unclassified", "name": "Back Lane", "surface": "asphalt"}
WAYS = [
    (11, [1, 2, 3, 4], WIDE),
    (12, [3, 5], NARROW),
    (13, [4, 6], UNSAID),
]
#: Columns and rows of the gates, a step off the middle of the road.
GATES = {"A": (5, 0), "B": (15, 0), "C": (20, 3), "D": (30, 3), "E": (60, 30)}
MACHINES = """
[[machine]]
id = "mower"
name = "Invented mower"
kind = "rear-mounted"
working_width_m = 3.0
turning_radius_m = 4.5
wheelbase_m = 2.4
hitch_offset_m = 0.9
mass_kg = 4600
mower_mass_kg = 950
drive = "4wd"
axles = [{ mass_kg = 1600, position_m = 0.0 }, { mass_kg = 3000, position_m = 2.4 }]
road_speed_kmh = 30
field_speed_kmh = 12

[[machine.transport]]
name = "folded"
width_m = 2.4
height_m = 3.4
length_m = 5.1

[[machine.transport]]
name = "slim"
width_m = 1.4
height_m = 3.4
length_m = 5.1

[[machine]]
id = "second"
name = "Second mower"
kind = "rear-mounted"
working_width_m = 6.0
turning_radius_m = 4.5
wheelbase_m = 2.4
hitch_offset_m = 0.9
mass_kg = 4600
mower_mass_kg = 950
drive = "4wd"
axles = [{ mass_kg = 1600, position_m = 0.0 }, { mass_kg = 3000, position_m = 2.4 }]
road_speed_kmh = 30
field_speed_kmh = 12

[[machine.transport]]
name = "folded"
width_m = 2.4
height_m = 3.4
length_m = 5.1
"""
TOML = """
name = "Small"
units = "metric"
time_zone = "Europe/Berlin"
crs = "EPSG:32632"
[files]
{elevation}
fields = "fields.geojson"
gates = "gates.geojson"
roads = "roads.osm"
machines = "machines.toml"
[places]
home = [11.5, 50.0]
{more}
"""
ELEVATION = 'elevation = "elevation.tif"\nelevation_product = "lidar"'


def spot(column: float, row: float) -> tuple[float, float]:
    return LON + column * STEP, LAT + row * STEP


def osm_text() -> str:
    lines = ["<?xml version='1.0' encoding='UTF-8'?>", "<osm version='0.6'>"]
    for key, place in NODES.items():
        lon, lat = spot(*place)
        lines.append(f"<node id='{key}' version='1' lon='{lon:.7f}' lat='{lat:.7f}'/>")
    for key, refs, tags in WAYS:
        lines.append(f"<way id='{key}' version='1'>")
        lines += [f"<nd ref='{ref}'/>" for ref in refs]
        lines += [f"<tag k='{name}' v='{value}'/>" for name, value in tags.items()]
        lines.append("</way>")
    return "\n".join([*lines, "</osm>"])


def flat(folder: Path) -> None:
    """Level ground, 30 m cells, under the roads and all fields but E."""
    with rasterio.open(
        folder / "elevation.tif", "w", driver="GTiff", width=260, height=100, count=1,
        dtype="float32", crs="EPSG:32632", transform=Affine(30, 0, 678_000, 0, -30, 5_543_500),
    ) as file:  # fmt: skip
        file.write(np.full((100, 260), 300.0, dtype=np.float32), 1)
        file.units = ("m",)


def written(
    folder: Path,
    more: str = "",
    *,
    machines: str = MACHINES,
    gate_m: float = 6.0,
    level: bool = True,
) -> Path:
    """The farm's folder; ``more`` is added to farm.toml, ``level`` gives it level ground."""
    folder.mkdir(exist_ok=True)
    if level:
        flat(folder)
    names = list(GATES)
    gates, fields = [], []
    for place in GATES.values():
        lon, lat = spot(*place)
        lon, lat = (lon, lat + TEN_M / 5) if place[1] == 0 else (lon + TEN_M / 5, lat)
        gates.append(shapely.Point(lon, lat))
        fields.append(shapely.box(lon, lat, lon + 15 * TEN_M, lat + 7 * TEN_M))
    crs = "EPSG:4326"
    gpd.GeoDataFrame(
        {"field_id": names, "name": [f"Field {name}" for name in names], "crop": "alfalfa",
         "cutting": 2, "stoniness": 0, "lodged": False},
        geometry=fields, crs=crs,
    ).to_file(folder / "fields.geojson")  # fmt: skip
    gpd.GeoDataFrame(
        {"gate_id": [f"G{name}" for name in names], "field_id": names, "width_m": gate_m},
        geometry=gates, crs=crs,
    ).to_file(folder / "gates.geojson")  # fmt: skip
    (folder / "roads.osm").write_text(osm_text(), "utf-8")
    (folder / "machines.toml").write_text(machines, "utf-8")
    (folder / "farm.toml").write_text(
        TOML.format(more=more, elevation=ELEVATION if level else ""), "utf-8"
    )
    return folder


def day_farm(folder: Path, more: str = "", **changes) -> Farm:
    return load_farm(written(folder, more, **changes))
