"""An invented farm of many fields for the benchmarks: hills, marks, a flood, walks, a machine."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
import shapely
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.crs import WGS84, transformer
from fieldmap.hazards import events as ev
from fieldmap.hazards.store import append

UTM = CRS.from_epsg(32615)
WEST, NORTH = 500_000.0, 4_500_000.0
CELL_M, CORNERS, ROOM_M = 10.0, 24, 600.0
MARKS_A_FIELD = 50
KINDS = ("stone", "loose_wire", "twine", "post", "sheet_metal", "glass", "timber", "litter", "drum")
SWARDS_M = (0.15, 0.3, 0.5, np.nan)

_FARM = """name = "Many"
units = "metric"
time_zone = "America/Chicago"
crs = "EPSG:32615"
[files]
fields = "fields.gpkg"
elevation = "elevation.tif"
elevation_error_m = 0.1
machines = "machines.toml"
hazards = "hazards.gpkg"
flood = "flood.geojson"
tracks = ["*.gpx"]
"""
_MACHINE = """[[machine]]
id = "one"
name = "Rear mower"
kind = "rear-mounted"
working_width_m = 3.2
mass_kg = 5200
mower_mass_kg = 800
axles = [{ mass_kg = 1700, position_m = 0.0 }, { mass_kg = 3500, position_m = 2.5 }]
drive = "4wd"
power_kw = 80
track_width_m = 1.9
cg_height_m = 0.95
wheelbase_m = 2.5
hitch_offset_m = 0.9
turning_radius_m = 5.0
road_speed_kmh = 35
field_speed_kmh = 13
side_slope_limit_pct = 25
up_down_limit_pct = 35
skid_shoes = [{ name = "base", cut_height_m = 0.05 }, { name = "high", cut_height_m = 0.1 }]
knives = ["low_lift", "high_lift"]
fitted_shoe = "base"
fitted_knives = "low_lift"
knife_interval_ha = 40
knife_interval_strikes = 5
conditioner = "none"
tyres = [
  { axle = 1, load_kg = 850, inflation_kpa = 150, speed_kmh = 40 },
  { axle = 2, load_kg = 1750, inflation_kpa = 120, speed_kmh = 40 },
]
"""


def invented_fields(folder: Path, *, count: int, hectares: float) -> Path:
    """A farm folder with everything known; the same every time.

    ``count`` fields of about ``hectares`` with 24 corners each on gentle and steep hills, 50 marks
    in each, a flood over one field in seven, walks in every twentieth.
    """
    folder.mkdir(parents=True, exist_ok=True)
    dice = np.random.default_rng(20260601)
    a_side = int(np.ceil(np.sqrt(count)))
    steps = ROOM_M + np.arange(a_side) * ROOM_M
    east, down = (held.ravel()[:count] for held in np.meshgrid(steps, steps))
    middles = np.column_stack([WEST + east, NORTH - down])
    fields = _outlines(middles, hectares, dice)
    _hills(folder / "elevation.tif", a_side)
    _fields_file(folder / "fields.gpkg", fields, dice)
    _log(folder / "hazards.gpkg", middles, hectares, dice)
    _flood(folder / "flood.geojson", a_side)
    radius_m = float(np.sqrt(hectares * 1e4 / np.pi))
    for number in range(0, count, 20):
        _walk(folder / f"walk_{number}.gpx", middles[number], 0.6 * radius_m)
    (folder / "machines.toml").write_text(_MACHINE, "utf-8")
    (folder / "farm.toml").write_text(_FARM, "utf-8")
    return folder


def _outlines(
    middles: NDArray[np.float64], hectares: float, dice: np.random.Generator
) -> NDArray[np.object_]:
    around = np.linspace(0, 2 * np.pi, CORNERS, endpoint=False)
    radii = 1 + 0.1 * dice.normal(size=(len(middles), CORNERS))
    corners = radii[:, :, None] * np.column_stack([np.cos(around), np.sin(around)])
    areas = shapely.area(shapely.polygons(corners))
    corners *= np.sqrt(hectares * 1e4 / areas)[:, None, None]
    return shapely.polygons(corners + middles[:, None])


def _hills(path: Path, a_side: int) -> None:
    cells = int(ROOM_M / CELL_M) * (a_side + 2)
    row, column = np.arange(cells, dtype=float)[:, None], np.arange(cells, dtype=float)
    dice = np.random.default_rng(7)
    heights = 200 + 18 * np.sin(row / 31) * np.cos(column / 23) + 0.02 * column
    heights += dice.normal(0, 0.05, heights.shape)
    place = Affine(CELL_M, 0, WEST, 0, -CELL_M, NORTH)
    with rasterio.open(
        path, "w", driver="GTiff", dtype="float32", count=1, height=cells, width=cells,
        crs="EPSG:32615", transform=place, tiled=True, compress="deflate", predictor=3,
    ) as file:  # fmt: skip
        file.write(heights.astype(np.float32), 1)
        file.units = ("m",)


def _fields_file(path: Path, fields: NDArray[np.object_], dice: np.random.Generator) -> None:
    count = len(fields)
    table = gpd.GeoDataFrame(
        {
            "field_id": [f"F{number:05d}" for number in range(count)],
            "name": [f"Field {number}" for number in range(count)],
            "crop": dice.choice(["alfalfa", "grass", "mixed hay"], count),
            "cutting": dice.choice([1.0, 2.0, 3.0], count),
            "stoniness": dice.choice([0.0, 1.0, 2.0], count),
            "lodged": dice.choice([True, False], count),
            "sward_m": dice.choice(SWARDS_M, count),
            "drought": dice.choice([True, False], count),
            "yield_t_ha": dice.uniform(1.5, 5.0, count).round(1),
        },
        geometry=fields,
        crs=UTM,
    )
    table.to_file(path)


def _log(
    path: Path, middles: NDArray[np.float64], hectares: float, dice: np.random.Generator
) -> None:
    count = len(middles) * MARKS_A_FIELD
    radius = 0.8 * np.sqrt(hectares * 1e4 / np.pi) * np.sqrt(dice.uniform(0, 1, count))
    turn = dice.uniform(0, 2 * np.pi, count)
    at = np.repeat(middles, MARKS_A_FIELD, axis=0)
    at = at + np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])
    lon, lat = transformer(UTM, WGS84).transform(*at.T)
    moments = pd.Timestamp("2026-05-29", tz="UTC") + pd.to_timedelta(np.arange(count), "s")
    finds = gpd.GeoDataFrame(
        {
            "hazard_id": [f"S{number:06d}" for number in range(count)],
            "kind": dice.choice(KINDS, count),
            "note": "",
            "who": dice.choice(["Ada", "Bo"], count),
            "time": pd.Series(moments).astype("datetime64[us, UTC]"),
            "radius_m": dice.choice([3.0, 5.0, np.nan], count),
            "height_m": dice.choice([0.1, 0.3, np.nan], count),
        },
        geometry=shapely.points(lon, lat),
        crs=WGS84,
    )
    append(path, ev.add_events(finds, file="made.csv"))


def _flood(path: Path, a_side: int) -> None:
    """A river across the farm, some 1.5 fields wide, that bends."""
    along = np.linspace(0, ROOM_M * (a_side + 1), 40 * a_side)
    middle = 0.5 * ROOM_M * a_side + 0.2 * ROOM_M * a_side * np.sin(along / 2000.0)
    line = shapely.LineString(np.column_stack([WEST + along, NORTH - middle]))
    water = shapely.buffer(line, 0.05 * ROOM_M * a_side)
    table = gpd.GeoDataFrame({"date": ["2026-05-28"]}, geometry=[water], crs=UTM)
    table.to_crs(WGS84).to_file(path, driver="GeoJSON")


def _walk(path: Path, middle: NDArray[np.float64], reach_m: float) -> None:
    """Lines 12 m apart over the inner part of a field, a fix every 10 s."""
    aside = np.arange(-reach_m, reach_m, 12.0)
    along = np.arange(-reach_m, reach_m, 10.0)
    y = np.where(np.arange(len(aside))[:, None] % 2 == 0, along, along[::-1]).ravel()
    x = np.repeat(aside, len(along))
    lon, lat = transformer(UTM, WGS84).transform(middle[0] + x, middle[1] + y)
    begun = pd.Timestamp("2026-06-05T13:00:00Z")
    moments = begun + pd.to_timedelta(np.arange(len(x)) * 10, "s")
    fixes = "".join(
        f'<trkpt lat="{one:.7f}" lon="{other:.7f}"><time>{at:%Y-%m-%dT%H:%M:%SZ}</time></trkpt>'
        for one, other, at in zip(lat, lon, moments, strict=True)
    )
    path.write_text(
        '<?xml version="1.0"?><gpx version="1.1" creator="invented" '
        'xmlns="http://www.topografix.com/GPX/1/1"><trk><name>walk</name><trkseg>'
        f"{fixes}</trkseg></trk></gpx>",
        "utf-8",
    )
