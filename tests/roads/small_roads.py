"""Small invented districts written as map files, so that tests read what a farm folder holds."""

from __future__ import annotations

from pathlib import Path
from xml.sax.saxutils import quoteattr

from pyproj import CRS

from fieldmap.machine import Axle, Machine, Transport
from fieldmap.network import RoadData
from fieldmap.read.roads import read_roads

LON, LAT, STEP = 11.5, 50.0, 0.002
UTM = CRS.from_epsg(32632)
Tags = dict[str, str]


def spot(column: float, row: float) -> tuple[float, float]:
    return LON + column * STEP, LAT + row * STEP


def osm_text(
    nodes: dict[int, tuple[float, float]],
    ways: list[tuple[int, list[int], Tags]],
    node_tags: dict[int, Tags] | None = None,
    relations: list[tuple[int, list[tuple[str, int, str]], Tags]] | None = None,
) -> str:
    """``nodes`` are columns and rows of an invented square of about 140 by 220 m."""
    lines = ["<?xml version='1.0' encoding='UTF-8'?>", "<osm version='0.6'>"]
    for key, (column, row) in nodes.items():
        lon, lat = spot(column, row)
        lines.append(f"<node id='{key}' version='1' lon='{lon:.7f}' lat='{lat:.7f}'>")
        lines += [*_tags((node_tags or {}).get(key, {})), "</node>"]
    for key, refs, tags in ways:
        lines.append(f"<way id='{key}' version='1'>")
        lines += [f"<nd ref='{ref}'/>" for ref in refs]
        lines += [*_tags(tags), "</way>"]
    for key, members, tags in relations or []:
        lines.append(f"<relation id='{key}' version='1'>")
        lines += [f"<member type='{t}' ref='{r}' role='{role}'/>" for t, r, role in members]
        lines += [*_tags(tags), "</relation>"]
    return "\n".join([*lines, "</osm>"])


def _tags(tags: Tags) -> list[str]:
    return [f"<tag k={quoteattr(key)} v={quoteattr(value)}/>" for key, value in tags.items()]


def district(folder: Path, *parts, **more) -> RoadData:
    file = folder / "small.osm"
    file.write_text(osm_text(*parts, **more), encoding="utf-8")
    return read_roads(file, crs=UTM)


def machine(**changes) -> Machine:
    """An invented mower: 2.5 m folded and 3.6 m swung."""
    given = {
        "id": "m",
        "name": "invented mower",
        "kind": "pull-type",
        "mass_kg": 9000.0,
        "road_speed_kmh": 30.0,
        "wheelbase_m": 2.6,
        "hitch_offset_m": 0.9,
        "tongue_length_m": 4.5,
        "turning_radius_m": 5.0,
        "axles": (Axle(mass_kg=4000, position_m=0), Axle(mass_kg=5000, position_m=3)),
        "transport": (
            Transport(name="folded", width_m=2.5, height_m=3.4, length_m=9.0),
            Transport(name="swung", width_m=3.6, height_m=3.0, length_m=8.0),
        ),
    }
    return Machine(**(given | changes))
