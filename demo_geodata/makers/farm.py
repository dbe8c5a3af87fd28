"""The fields, their gates, and the folder's own files: farm.toml and road_checks.csv."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import geopandas
import pandas as pd
import pyogrio
from makers.lanes import ELM_YARD, HOME, LEVEE_BARN, QUARRY_YARD, Roads
from makers.place import CRS, INVENTED, in_degrees, in_metres, lonlat
from shapely.geometry import Point, Polygon, mapping
from shapely.ops import nearest_points


@dataclass(frozen=True)
class Plan:
    """A field as it is drawn before roads and river are cut out of it, local metres."""

    field_id: str
    name: str
    crop: str | None
    cutting: int | None
    stoniness: int | None
    lodged: bool | None
    sward_m: float | None  # height of the standing crop when it was walked
    corners: tuple[tuple[float, float], ...]
    gate: str | tuple[float, float]  # a node of the roads, or a place
    gate_width_m: float | None
    drought: bool | None = None
    yield_t_ha: float | None = None


@dataclass(frozen=True)
class Field:
    """A finished field."""

    plan: Plan
    shape: Polygon


PLANS = (
    Plan("S1", "Long Levee", "alfalfa", 2, 0, False, 0.6,
         ((4500, 1655), (4610, 1560), (4960, 1580), (4985, 2025), (4520, 2025)),
         "levee east", 6.1, False, 3.4),
    Plan("S2", "River Crook", "tall_fescue", 1, 1, True, 0.3,
         ((2755, 1290), (3235, 1290), (3290, 1600), (3285, 2025), (3150, 2025), (2770, 1560)),
         "levee middle", 5.5),
    Plan("S3", "Old Channel", "mixed_grass", 1, 1, None, 0.55,
         ((1130, 1575), (1700, 1600), (1720, 1830), (1480, 1842), (1465, 2025), (1140, 2025)),
         "levee west", 4.9),
    Plan("S4", "South Flat", "orchardgrass", 2, 0, False, 0.2,
         ((2770, 604), (3025, 606), (3040, 838), (2780, 850)),
         "s4 track", 5.0),
    Plan("S5", "Third Bench", "bromegrass", 1, 2, False, 0.2,
         ((2720, 2560), (2880, 2545), (3050, 2575), (3045, 2715), (2850, 2728), (2715, 2718)),
         "s5 track", 4.3),
    Plan("S6", "Pond Benches", "grass_alfalfa", 2, 1, False, 0.3,
         ((2740, 2870), (3000, 2860), (3330, 2840), (3345, 3120), (3270, 3290),
          (2930, 3330), (2730, 3220)),
         "quarry lane", 4.2),
    Plan("S7", "Spoil Side", "native_warm_season", 1, 3, False, 0.4,
         ((1620, 2470), (1900, 2430), (2190, 2480), (2225, 2725), (1950, 2760), (1640, 2735)),
         "s7 track", None),
    Plan("S8", "Orchard Piece", "clover", 2, 0, False, 0.2,
         ((4440, 3165), (4700, 3150), (4820, 3180), (4830, 3555), (4430, 3555)),
         "by the orchard", 5.2, False, 3.0),
    Plan("S9", "Sink Hill", "cereal_rye", 1, 1, True, 0.7,
         ((5215, 2290), (5440, 2265), (5700, 2300), (5700, 2640), (5240, 2720)),
         "gander", 4.6, False),
    Plan("S10", "Teasel Forty", None, None, None, None, None,
         ((140, 2990), (520, 2960), (700, 3020), (690, 3410), (140, 3440)),
         "teasel", 4.0),
    Plan("S11", "Ridge Piece", "sorghum_sudan", 1, 1, False, 0.8,
         ((4430, 4245), (4830, 4245), (4850, 4560), (4660, 4690), (4440, 4660)),
         "ridge", 5.8, True),
    Plan("S12", "Edge of the Map", "pearl_millet", 1, 1, False, 0.5,
         ((5790, 3040), (6120, 3020), (6290, 3060), (6260, 3390), (5800, 3380)),
         "s12 track", 4.4),
)  # fmt: skip
POND = Point(3085, 3125).buffer(52, quad_segs=6)


def fields(roads: Roads) -> list[Field]:
    """Fields with roads, river and the pond cut out, corners worn round, local metres."""
    taken = roads.no_go()
    out = []
    for plan in PLANS:
        left = Polygon(plan.corners).difference(taken)
        if plan.field_id == "S6":
            left = left.difference(POND)
        largest = max(getattr(left, "geoms", [left]), key=lambda part: part.area)
        worn = largest.buffer(-9).buffer(8).simplify(0.5)
        out.append(Field(plan, Polygon(worn.exterior, worn.interiors)))
    return out


def write_fields(path: Path, farm: list[Field]) -> None:
    path.unlink(missing_ok=True)
    plans = [one.plan for one in farm]
    table = geopandas.GeoDataFrame(
        {
            "FLD_NO": [plan.field_id for plan in plans],
            "name": [plan.name for plan in plans],
            "crop": [plan.crop for plan in plans],
            "cutting": pd.array([plan.cutting for plan in plans], dtype="Int32"),
            "stoniness": pd.array([plan.stoniness for plan in plans], dtype="Int32"),
            "lodged": pd.array([plan.lodged for plan in plans], dtype="boolean"),
            "sward_m": [plan.sward_m for plan in plans],
            "drought": pd.array([plan.drought for plan in plans], dtype="boolean"),
            "yield_t_ha": [plan.yield_t_ha for plan in plans],
        },
        geometry=[in_metres(one.shape) for one in farm],
        crs=CRS,
    )
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2026-06-09T00:00:00.000Z"})
    pyogrio.write_dataframe(
        table, path, driver="GPKG", layer="fields", layer_options={"DESCRIPTION": INVENTED}
    )
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def gate_of(field: Field, roads: Roads) -> Point:
    """The place on the boundary nearest to where the road comes."""
    spot = field.plan.gate
    place = roads.net.places[roads.node_of[spot]] if isinstance(spot, str) else spot
    return nearest_points(field.shape.exterior, Point(place))[0]


def write_gates(path: Path, farm: list[Field], roads: Roads) -> None:
    rows = [
        {
            "type": "Feature",
            "properties": {
                "gate_id": f"G{number}",
                "field_id": field.plan.field_id,
                "width_m": field.plan.gate_width_m,
            },
            "geometry": mapping(in_degrees(gate_of(field, roads), digits=7)),
        }
        for number, field in enumerate(farm, start=1)
    ]
    table = {"type": "FeatureCollection", "name": "gates", "features": rows}
    path.write_text(json.dumps(table, indent=1) + "\n", encoding="utf-8", newline="\n")


def places(roads: Roads) -> Mapping[str, tuple[float, float]]:
    """Names a person may say instead of degrees, with local metres."""
    return {
        "home": HOME,
        "Quarry yard": QUARRY_YARD,
        "Levee barn": LEVEE_BARN,
        "Elm yard": ELM_YARD,
        "Withy": roads.net.places[roads.node_of["hamlet"]],
    }


FARM = """\
# Sallow Bottom: invented demo data. This farm, its people, roads and hills do not exist.
name = "Sallow Bottom"
note = "Invented demo farm: this farm, its people, roads and hills do not exist"
units = "us"
time_zone = "America/Chicago"
crs = "EPSG:26915"

[files]
fields      = "fields.gpkg"
gates       = "gates.geojson"
elevation   = "elevation.tif"
elevation_product = "lidar"        # whose error is taken: see `fieldmap values elevation_products`
roads       = "roads.osm.pbf"
road_checks = "road_checks.csv"
machines    = "machines.toml"
hazards     = "hazards.gpkg"       # made by `fieldmap hazards import` from the files in found/
ledger      = "ledger.csv"          # `fieldmap ledger` writes in it
tracks      = ["walks/*.gpx"]
flood       = "flood.geojson"

[columns.fields]
field_id = "FLD_NO"

[road_rules]
source = "invented county road office, invented sheet read 2026-05-02"
escort_over_width_m = 3.6

[tables]
"side_slopes.care_pct" = 14        # the grower's own figure; it wins over the table's

[places]                           # longitude, latitude
"""


def write_farm(path: Path, roads: Roads) -> None:
    lines = []
    for name, place in places(roads).items():
        lon, lat = lonlat(*place, digits=6)
        key = f'"{name}"' if " " in name else name
        lines.append(f"{key} = [{lon:.6f}, {lat:.6f}]\n")
    path.write_text(FARM + "".join(lines), encoding="utf-8", newline="\n")


def write_road_checks(path: Path, roads: Roads) -> None:
    way, node = roads.way_of, roads.node_of
    rows = (
        ("place", "kind", "value", "who", "when"),
        (f"way/{way['reed']}", "width", "5.2", "Ines", "2026-05-03"),
        (f"way/{way['gravel']}", "width", "4.4", "Ines", "2026-05-03"),
        (f"way/{way['long acre bridge']}", "mass", "24000", "Tobias", "2026-05-06"),
        (f"node/{node['river gate']}", "opening", "4.9", "Ada", "2026-06-02"),
    )
    path.write_text("".join(",".join(row) + "\n" for row in rows), encoding="utf-8", newline="\n")
