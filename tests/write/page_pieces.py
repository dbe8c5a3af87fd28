"""Pieces that the invented payloads of every page are made of."""

from __future__ import annotations

import base64
import math
import struct
import zlib
from typing import Any

import numpy as np

LON, LAT = -92.10, 41.60
SOURCES = {
    "invented.mower": {
        "title": "Invented mower manual",
        "publisher": "Nobody's Works",
        "year": "2020",
        "url": "",
        "mark": "own",
    },
    "invented.roads": {
        "title": "Invented road rules",
        "publisher": "Nowhere County",
        "year": "2024",
        "url": "https://example.org/rules",
        "mark": "seen",
    },
    "practice": {
        "title": "What hay makers do",
        "publisher": "",
        "year": "",
        "url": "",
        "mark": "practice",
    },
}


def common(title: str) -> dict[str, Any]:
    return {
        "title": title,
        "farm": "Sallow Bottom",
        "note": "Invented farm, invented figures",
        "units": "us",
        "made": {"date": "2026-06-09", "version": "0.1.0"},
        "sources": SOURCES,
    }


def at(east: float, north: float) -> list[float]:
    """Degrees of a place given in metres from the invented farm's south-west corner."""
    return [
        round(LON + east / (111_320 * math.cos(math.radians(LAT))), 7),
        round(LAT + north / 110_574, 7),
    ]


def polygon(*corners: tuple[float, float]) -> dict[str, Any]:
    ring = [at(*corner) for corner in corners]
    return {"type": "Polygon", "coordinates": [[*ring, ring[0]]]}


def line(*places: tuple[float, float]) -> dict[str, Any]:
    return {"type": "LineString", "coordinates": [at(*place) for place in places]}


def point(east: float, north: float) -> dict[str, Any]:
    return {"type": "Point", "coordinates": at(east, north)}


def collection(*features: tuple[dict[str, Any] | None, dict[str, Any]]) -> dict[str, Any]:
    return {
        "type": "FeatureCollection",
        "features": [
            {"type": "Feature", "geometry": shape, "properties": props} for shape, props in features
        ],
    }


def picture(values: np.ndarray) -> str:
    """Grey, grey + alpha or RGBA bytes as an inlined PNG."""
    rows, columns = values.shape[:2]
    depth = 1 if values.ndim == 2 else values.shape[2]
    kind = {1: 0, 2: 4, 4: 6}[depth]
    flat = values.astype(np.uint8).reshape(rows, columns * depth)
    raw = b"".join(b"\0" + row.tobytes() for row in flat)

    def chunk(name: bytes, held: bytes) -> bytes:
        tail = struct.pack(">I", zlib.crc32(name + held))
        return struct.pack(">I", len(held)) + name + held + tail

    head = struct.pack(">IIBBBBB", columns, rows, 8, kind, 0, 0, 0)
    whole = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(raw))
    return "data:image/png;base64," + base64.b64encode(whole + chunk(b"IEND", b"")).decode()


def images(width: float, height: float) -> list[dict[str, Any]]:
    y, x = np.mgrid[0:160, 0:220] / 40.0
    ground = np.sin(x * 1.7 + y) + 0.6 * np.cos(y * 2.3 - x * 0.4)
    dy, dx = np.gradient(ground)
    shade = np.clip(205 + 900 * (dx - dy), 90, 255)
    steep = np.hypot(dx, dy)
    classes = np.zeros((160, 220, 4))
    classes[steep > 0.045] = [201, 176, 190, 255]
    classes[steep > 0.055] = [140, 95, 130, 255]
    west, south = at(-150, -150)
    east, north = at(width + 150, height + 150)
    bounds = [[south, west], [north, east]]
    return [
        {
            "name": "Hill shade",
            "src": picture(shade),
            "bounds": bounds,
            "shown": True,
            "legend": [],
        },
        {
            "name": "Side slope",
            "src": picture(classes),
            "bounds": bounds,
            "shown": False,
            "legend": [
                {"colour": "#c9b0be", "text": "8 to 15 %", "hatched": False},
                {"colour": "#8c5f82", "text": "15 to 25 %", "hatched": False},
                {"colour": "#fffdf7", "text": "not known", "hatched": True},
            ],
        },
    ]
