"""What lies under the maps: where it lies, which side is lit, and what the raster file holds."""

from __future__ import annotations

import base64

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import CRS
from rasterio.io import MemoryFile

from fieldmap.grid import Grid
from fieldmap.write.rasters import NODATA, cog_bytes, hillshade, picture

UTM = CRS(32615)
PLACE = Affine(10.0, 0.0, 500_000.0, 0.0, -10.0, 4_500_000.0)


def grid(values: np.ndarray, name: str = "elevation") -> Grid:
    return Grid(values.astype(np.float32), PLACE, UTM, "m", name)


def test_the_side_towards_the_north_west_is_lit() -> None:
    """By hand: a bank facing north-west is brighter than the flat, one facing away darker."""
    rows, columns = np.indices((20, 20))
    flat = hillshade(grid(np.zeros((20, 20))), 10.0)[10, 10]
    towards = hillshade(grid(2.0 * (rows + columns)), 10.0)[10, 10]
    away = hillshade(grid(-2.0 * (rows + columns)), 10.0)[10, 10]
    assert away < flat < towards


def test_a_picture_lies_between_its_corners() -> None:
    """Referee: pyproj's own transform of the grid's corners."""
    from fieldmap.crs import WGS84, transformer

    rgba = np.full((4, 30, 40), 255, np.uint8)
    src, ((south, west), (north, east)) = picture(rgba, grid(np.zeros((30, 40))), widest_px=120)
    lon, lat = transformer(UTM, WGS84).transform(
        [500_000.0, 500_400.0, 500_000.0, 500_400.0],
        [4_500_000.0, 4_500_000.0, 4_499_700.0, 4_499_700.0],
    )
    assert (west, east) == (pytest.approx(min(lon), abs=1e-6), pytest.approx(max(lon), abs=1e-6))
    assert (south, north) == (pytest.approx(min(lat), abs=1e-6), pytest.approx(max(lat), abs=1e-6))
    data = base64.b64decode(src.removeprefix("data:image/png;base64,"))
    assert data.startswith(b"\x89PNG")


def test_a_cog_keeps_names_units_gaps_and_words() -> None:
    """Referee: rasterio reads back what was written; the file says it is cloud-optimised."""
    values = np.arange(12.0).reshape(3, 4)
    values[1, 2] = np.nan
    bands = (grid(values, "slope_pct"), grid(values + 1, "level"))
    data = cog_bytes(bands, tags={"level": "0 ok; 1 care"})
    with MemoryFile(data) as memory, memory.open() as file:
        assert file.descriptions == ("slope_pct", "level")
        assert file.units == ("m", "m")
        assert file.tags()["level"] == "0 ok; 1 care"
        assert file.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert file.nodata == NODATA
        back = file.read(1, masked=True)
        assert back.mask.sum() == 1
        assert np.array_equal(back.filled(-1), np.where(np.isnan(values), -1, values))
        assert rasterio.CRS.from_epsg(32615) == file.crs
    assert cog_bytes(bands, tags={"level": "0 ok; 1 care"}) == data
