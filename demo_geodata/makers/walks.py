"""Tracks of people who looked: back and forth over a field, or once along a bank."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from makers.farm import Field
from makers.place import INVENTED, lonlat, rng
from shapely import clip_by_rect, get_coordinates
from shapely.affinity import rotate
from shapely.geometry import LineString, Polygon

PACE_M_S = 1.2
SPACING_M = 6.0
POINT_EVERY_M = 11.0


def write_all(folder: Path, farm: list[Field]) -> None:
    """Five walks: one before the flood, four after it."""
    folder.mkdir(parents=True, exist_ok=True)
    field = {one.plan.field_id: one.shape for one in farm}
    part = clip_by_rect(field["S2"], 2600, 1200, 2950, 1760)
    walks = (
        ("before_flood", field["S1"], 30.0, 0.0, "2026-05-20T13:00:00"),
        ("south_flat", field["S4"], SPACING_M, 2.0, "2026-06-03T12:30:00"),
        ("third_bench", field["S5"], SPACING_M, 0.0, "2026-06-04T12:20:00"),
        ("orchard_piece", field["S8"], SPACING_M, 1.0, "2026-06-06T13:10:00"),
        ("river_crook_west", part, SPACING_M, 55.0, "2026-06-02T12:50:00"),
    )
    for name, ground, spacing_m, turned_deg, start in walks:
        line = back_and_forth(ground, spacing_m=spacing_m, turned_deg=turned_deg)
        _write(folder / f"{name}.gpx", name, line, np.datetime64(start, "s"))


def back_and_forth(ground: Polygon, *, spacing_m: float, turned_deg: float) -> LineString:
    """Parallel lines over a field, joined at their ends, as a person walks them."""
    middle = ground.centroid
    level = rotate(ground.buffer(-1.0), -turned_deg, origin=middle)
    west, south, east, north = level.bounds
    stops: list[tuple[float, float]] = []
    for number, y in enumerate(np.arange(south + spacing_m / 2, north, spacing_m)):
        inside = level.intersection(LineString([(west - 1, y), (east + 1, y)]))
        parts = [
            list(part.coords) for part in getattr(inside, "geoms", [inside]) if part.length > 2
        ]
        run = [place for part in sorted(parts) for place in sorted(part)]
        stops += run if number % 2 == 0 else run[::-1]
    return rotate(LineString(stops), turned_deg, origin=middle)


def _write(path: Path, name: str, line: LineString, start: np.datetime64) -> None:
    dice = rng(f"walk {name}")
    along = np.arange(0.0, line.length, POINT_EVERY_M)
    turns = np.cumsum(np.hypot(*np.diff(get_coordinates(line), axis=0).T))[:-1]
    along = np.unique(np.concatenate([along, turns]).round(2))
    shake = np.cumsum(dice.normal(0, 0.35, (len(along), 2)), axis=0)
    shake -= np.linspace(0, 1, len(along))[:, None] * shake[-1]
    shake *= 0.9 / max(1.0, float(np.abs(shake).max()))
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<gpx version="1.1" creator="{INVENTED}" xmlns="http://www.topografix.com/GPX/1/1">',
        f"<trk><name>{name}</name><trkseg>",
    ]
    for distance, (dx, dy) in zip(along, shake, strict=True):
        spot = line.interpolate(distance)
        lon, lat = lonlat(spot.x + dx, spot.y + dy, digits=6)
        moment = start + np.timedelta64(round(distance / PACE_M_S), "s")
        lines.append(f'<trkpt lat="{lat:.6f}" lon="{lon:.6f}"><time>{moment}Z</time></trkpt>')
    path.write_text(
        "\n".join([*lines, "</trkseg></trk>", "</gpx>", ""]), encoding="utf-8", newline="\n"
    )
