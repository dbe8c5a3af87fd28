"""Small files of every kind, good and bad, for the readers' tests. Invented ground."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from affine import Affine

WEST, SOUTH = 11.5, 49.9
GPX = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<gpx version="1.1" creator="invented" xmlns="http://www.topografix.com/GPX/1/1">'
)


def ring(*corners: tuple[Any, Any]) -> dict[str, Any]:
    return {"type": "Polygon", "coordinates": [[list(corner) for corner in corners]]}


def square(x: float = WEST, y: float = SOUTH, side: float = 0.01) -> dict[str, Any]:
    return ring((x, y), (x + side, y), (x + side, y + side), (x, y + side), (x, y))


def point(x: float = WEST, y: float = SOUTH) -> dict[str, Any]:
    return {"type": "Point", "coordinates": [x, y]}


def feature(geometry: dict[str, Any] | None, **properties: Any) -> dict[str, Any]:
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def geojson(path: Path, *features: dict[str, Any], **members: Any) -> Path:
    held = {"type": "FeatureCollection", "features": list(features), **members}
    path.write_text(json.dumps(held, ensure_ascii=False), "utf-8")
    return path


def two_fields(crs: int = 4326) -> gpd.GeoDataFrame:
    boxes = [shapely.box(x, SOUTH, x + 0.01, SOUTH + 0.01) for x in (WEST, WEST + 0.02)]
    table = gpd.GeoDataFrame({"field_id": ["a", "b"], "crop": ["alfalfa", None]}, geometry=boxes)
    return table.set_crs(4326).to_crs(crs)


def raster(path: Path, values: np.ndarray | None = None, **options: Any) -> Path:
    """A small GeoTIFF of heights around the two fields (UTM 32 north)."""
    held = np.full((1, 40, 40), 400.0, np.float32) if values is None else values
    unit = options.pop("unit", "metre")
    scale = options.pop("scale", None)
    profile = {
        "driver": "GTiff",
        "count": held.shape[0],
        "height": held.shape[1],
        "width": held.shape[2],
        "dtype": held.dtype,
        "crs": "EPSG:32632",
        "transform": Affine(100.0, 0, 678_000.0, 0, -100.0, 5_533_000.0),
    } | options
    with rasterio.open(path, "w", **{k: v for k, v in profile.items() if v is not None}) as file:
        file.write(held)
        if unit is not None:
            file.units = [unit] * held.shape[0]
        if scale is not None:
            file.scales, file.offsets = [scale[0]], [scale[1]]
    return path
