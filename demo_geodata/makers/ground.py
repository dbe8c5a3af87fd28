"""The ground: a river on a flat floor, reclaimed benches and rolling hills; and the flood."""

from __future__ import annotations

import json
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import rasterio
import shapely
from affine import Affine
from makers.place import (
    CELL_M,
    CRS,
    EAST_0,
    FLOOD_DATE,
    HEIGHT_M,
    INVENTED,
    NORTH_0,
    WIDTH_M,
    in_degrees,
    noise,
    rng,
    step,
)
from numpy.typing import NDArray
from rasterio.features import shapes
from shapely.geometry import LineString, Polygon, mapping, shape

Array = NDArray[np.float64]

ROWS, COLUMNS = int(HEIGHT_M / CELL_M), int(WIDTH_M / CELL_M)
NODATA = -9999.0
QUANTUM_M = 1 / 64
RIVER_FAR_M = (-3300.0, 9400.0)
BENCH_RISE_M = 7.0
NO_RETURN = (5450.0, 2490.0, 24.0)  # x, y, radius of the hole in the raster
OLD_CHANNEL = LineString(
    [(640, 1790), (860, 1660), (1150, 1640), (1370, 1730), (1560, 1850), (1800, 1835)]
)
DRAWS = (  # the lower end first; side draws are grown from these
    LineString([(560, 1950), (520, 2450), (760, 3050), (590, 3600), (700, 4300), (560, 5100)]),
    LineString(
        [(4060, 1950), (3960, 2450), (4120, 3050), (3780, 3650), (3900, 4300), (3500, 5100)]
    ),
    LineString(
        [(5540, 1950), (5440, 2450), (5660, 3000), (5400, 3600), (5560, 4300), (5300, 5100)]
    ),
    LineString([(3560, 4150), (2900, 4250), (2300, 4500), (1750, 4480), (1300, 4750)]),
    LineString([(2700, 520), (2820, 250), (2760, -200)]),
    LineString([(4800, 520), (4700, 250), (4950, -200)]),
    LineString([(900, 520), (1020, 250), (900, -200)]),
)
HIGHWALL = LineString([(1420, 3690), (1700, 3745), (2050, 3720), (2380, 3765)])
HOLLOWS = (  # x, y, radius (m), depth (m)
    (1480, 2700, 11, 1.4), (1720, 2985, 9, 1.1), (1930, 3300, 13, 1.9), (2210, 2560, 10, 1.3),
    (2330, 3130, 12, 1.6), (2760, 2620, 9, 1.2), (2900, 3060, 14, 2.0), (3010, 3350, 10, 1.3),
    (2530, 3420, 12, 1.7), (1350, 3240, 10, 1.2), (3120, 2760, 11, 1.5), (1850, 2480, 8, 1.0),
)  # fmt: skip


@cache
def river() -> LineString:
    """The middle of the river: a sine-generated curve, never turning back on itself."""
    along = np.arange(0.0, 22_000.0, 12.0)
    turn = np.radians(50 + 13 * np.sin(along / 1730.0) + 7 * np.sin(along / 611.0 + 2.0))
    phase = 2 * np.pi * along / 1430.0 + 1.5 * np.sin(along / 1350.0) + 0.5 * np.sin(along / 427.0)
    heading = turn * np.sin(phase)
    x = RIVER_FAR_M[0] + np.cumsum(12.0 * np.cos(heading))
    y = np.cumsum(12.0 * np.sin(heading))
    y += 1245.0 - np.polyval(np.polyfit(x, y, 7), x)
    keep = x < RIVER_FAR_M[1]
    return LineString(np.column_stack([x[keep], y[keep]]))


def _centres() -> tuple[Array, Array]:
    x = CELL_M * (np.arange(COLUMNS) + 0.5)
    y = HEIGHT_M - CELL_M * (np.arange(ROWS) + 0.5)
    return np.broadcast_to(x, (ROWS, COLUMNS)), np.broadcast_to(y[:, None], (ROWS, COLUMNS))


def _away(line: LineString, x: Array, y: Array) -> Array:
    """Distance of every cell from a line, m."""
    corners = np.asarray(line.coords)
    best = np.full(x.shape, np.inf)
    for (ax, ay), (bx, by) in pairwise(corners):
        dx, dy = bx - ax, by - ay
        part = np.clip(((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy), 0, 1)
        np.minimum(best, (x - ax - part * dx) ** 2 + (y - ay - part * dy) ** 2, out=best)
    return np.sqrt(best)


def _river_away(x: Array, y: Array) -> Array:
    """Distance from the river, m; far from it a large figure."""
    course = shapely.clip_by_rect(river(), -300, 0, WIDTH_M + 300, HEIGHT_M).simplify(0.25)
    belt = course.buffer(160)
    shapely.prepare(belt)
    near = shapely.contains_xy(belt, x, y)
    out = np.full(x.shape, 1e4)
    out[near] = shapely.distance(shapely.points(x[near], y[near]), course)
    return out


def _floor(x: Array, y: Array) -> Array:
    """The valley floor with levee, banks, bed and the old channel."""
    away = _river_away(x, y)
    floor = level_of_floor(x) + 0.22 * noise(x.shape, 260, "floor")
    floor += 0.9 * np.exp(-(((away - 46) / 26) ** 2))
    floor -= 1.4 * np.exp(-((_away(OLD_CHANNEL, x, y) / 17) ** 2))
    return floor - 3.2 * step((30 - away) / 16)


def level_of_floor(x: Array) -> Array:
    """Mean height of the valley floor: it falls to the east."""
    return 216.0 - 0.0004 * x


def _draw_lines() -> list[LineString]:
    """The draws with side draws left and right, shorter towards the head."""
    lines = list(DRAWS)
    dice = rng("draws")
    for draw in DRAWS[:4]:
        for number, part in enumerate(np.arange(0.14, 0.95, 0.09)):
            foot, above = draw.interpolate([part, part + 0.03], normalized=True)
            bearing = np.arctan2(above.y - foot.y, above.x - foot.x)
            bearing += (1 if number % 2 else -1) * dice.uniform(0.75, 1.15)
            reach = dice.uniform(260, 520)
            bend = bearing + dice.uniform(-0.35, 0.35)
            middle = (
                foot.x + 0.5 * reach * np.cos(bearing),
                foot.y + 0.5 * reach * np.sin(bearing),
            )
            end = (middle[0] + 0.5 * reach * np.cos(bend), middle[1] + 0.5 * reach * np.sin(bend))
            lines.append(LineString([(foot.x, foot.y), middle, end]))
    return lines


def _draws(x: Array, y: Array) -> Array:
    """How deep the draws are cut, m; worked out on cells four times as wide and spread."""
    warp = 45 * noise(x.shape, 520, "draw east"), 45 * noise(x.shape, 520, "draw north")
    some = np.s_[::4, ::4]
    cx, cy = (x + warp[0])[some], (y + warp[1])[some]
    cut = np.zeros(cx.shape)
    for number, line in enumerate(_draw_lines()):
        deep, wide = (15.0, 120.0) if number < len(DRAWS) else (9.0, 80.0)
        away = _away(line, cx, cy)
        np.maximum(cut, deep * np.exp(1 - np.hypot(1, away / wide)), out=cut)
    return _spread(_spread(cut, x.shape[0]).T, x.shape[1]).T


def _spread(coarse: Array, rows: int) -> Array:
    """Rows between the rows, four to one, by Catmull-Rom."""
    at = np.minimum(np.arange(rows) / 4.0, coarse.shape[0] - 1.001)
    low = at.astype(int)
    part = (at - low)[:, None]
    a, b, c, d = (coarse[np.clip(low + move, 0, coarse.shape[0] - 1)] for move in (-1, 0, 1, 2))
    bend = part * (2 * a - 5 * b + 4 * c - d + part * (3 * (b - c) + d - a))
    return b + 0.5 * part * (c - a + bend)


def _hills(x: Array, y: Array) -> Array:
    """Height above the valley floor of the hills on both sides."""
    size = x.shape
    edge = 1975 + 34 * noise(size, 560, "edge")
    roll = 8.0 * noise(size, 1250, "roll") + 3.2 * noise(size, 560, "knolls")
    roll += 0.22 * noise(size, 190, "humps")
    north = 13 * step((y - edge) / 230) + 64 * step((y - edge - 60) / 1850)
    south = 15 * step((530 - y + 26 * noise(size, 560, "south")) / 230) + 8 * step((400 - y) / 500)
    hill = north + south + roll * (step((y - edge) / 420) + step((500 - y) / 300))
    hill -= _draws(x, y)
    fans = 2.6 * (step((y - edge) / 320) + step((520 - y) / 320))  # draws reach the floor on fans
    return np.logaddexp(0.0, 1.2 * (hill - 0.4)) / 1.2 + fans


def _benches(x: Array, y: Array) -> Array:
    """Reclaimed benches: near-flat treads and steep outslopes, waving along the hill."""
    size = x.shape
    plain = 4.0 + 0.05 * (y - 2150) + 4.2 * noise(size, 1000, "bench line")
    steps = plain / BENCH_RISE_M
    whole = np.floor(steps)
    part = steps - whole
    slope_share = np.clip(0.175 + 0.025 * noise(size, 500, "outslope"), 0.13, 0.24)
    rise = 0.10 * part + 0.90 * step((part - 1 + slope_share) / slope_share)
    bench = BENCH_RISE_M * (whole + rise) + 0.16 * noise(size, 55, "spoil")
    for cx, cy, radius, depth in HOLLOWS:
        bench = bench - depth * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / radius**2)
    return bench


def _bench_share(x: Array, y: Array) -> Array:
    wave = 60 * noise(x.shape, 380, "bench edge")
    across = step((x - 1040 + wave) / 240) * step((3560 - x + wave) / 260)
    return across * step((y - 2200 + 0.5 * wave) / 150) * step((3790 - y) / 120)


def _highwall(x: Array, y: Array) -> Array:
    """How far the old pit floor lies below, south of what is left of the highwall."""
    crest = np.interp(x[0], *np.asarray(HIGHWALL.coords).T)[None, :]
    south = crest - y
    ends = step((x - 1400) / 120) * step((2400 - x) / 120)
    return 9.5 * ends * step(south / 11) * np.exp(-np.maximum(south, 0) / 95)


@cache
def elevation() -> NDArray[np.float32]:
    """Heights, m, rows from the north; the hole in the raster holds the nodata value."""
    x, y = _centres()
    share = _bench_share(x, y)
    hill = (1 - share) * _hills(x, y) + share * _benches(x, y) - _highwall(x, y)
    height = np.round((_floor(x, y) + hill) / QUANTUM_M) * QUANTUM_M
    hx, hy, radius = NO_RETURN
    height[(x - hx) ** 2 + (y - hy) ** 2 < radius**2] = NODATA
    return height.astype(np.float32)


def write_elevation(path: Path) -> None:
    profile = {
        "driver": "GTiff", "width": COLUMNS, "height": ROWS, "count": 1, "dtype": "float32",
        "crs": CRS, "nodata": NODATA, "compress": "deflate", "predictor": 3, "zlevel": 9,
        "transform": Affine(CELL_M, 0, EAST_0, 0, -CELL_M, NORTH_0 + HEIGHT_M),
        "tiled": True, "blockxsize": 256, "blockysize": 256,
    }  # fmt: skip
    with rasterio.open(path, "w", **profile) as out:
        out.write(elevation(), 1)
        out.units = ("m",)
        out.set_band_description(1, "elevation")
        out.update_tags(note=INVENTED)


@cache
def flood() -> Polygon:
    """What the water reached: ground under a stage that falls with the floor, local metres."""
    x, _ = _centres()
    wet = elevation() < level_of_floor(x) + 1.0
    coarse = wet[::4, ::4].astype(np.uint8)
    cells = Affine(4 * CELL_M, 0, 0, 0, -4 * CELL_M, HEIGHT_M)
    parts = [shape(part) for part, value in shapes(coarse, transform=cells) if value == 1]
    whole = shapely.union_all(parts).buffer(30).buffer(-45).buffer(25).simplify(4)
    largest = max(getattr(whole, "geoms", [whole]), key=lambda part: part.area)
    holes = [ring for ring in largest.interiors if Polygon(ring).area > 20_000]
    return Polygon(largest.exterior, holes)


def write_flood(path: Path) -> None:
    outline = {
        "type": "Feature",
        "properties": {"date": FLOOD_DATE, "note": INVENTED},
        "geometry": mapping(in_degrees(flood())),
    }
    text = json.dumps({"type": "FeatureCollection", "features": [outline]}, indent=1)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")
