"""What lies under the maps: where it lies, which side is lit, and what the raster file holds."""

from __future__ import annotations

import base64
import warnings
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from pyproj import CRS
from rasterio.errors import NotGeoreferencedWarning
from rasterio.io import MemoryFile

from fieldmap.grid import Grid
from fieldmap.write import tints
from fieldmap.write.pictures import _speeds, _wet
from fieldmap.write.rasters import NODATA, _png, cog_bytes, hillshade, picture

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


def painted(src: str) -> np.ndarray:
    """Red, green, blue and opacity of a picture's pixels, its palette looked up by hand."""
    data = base64.b64decode(src.removeprefix("data:image/png;base64,"))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        with MemoryFile(data) as memory, memory.open() as file:
            held = file.read()
            if file.count == 4:
                return np.moveaxis(held, 0, -1)
            colours = file.colormap(1)
    table = np.array([colours[number] for number in range(max(colours) + 1)], np.uint8)
    return table[held[0]]


def share_of(pixels: np.ndarray, tint: tuple[int, int, int]) -> float:
    """Share of the opaque pixels that have this tint."""
    opaque = pixels[pixels[..., 3] > 0][:, :3]
    return float((opaque == np.array(tint)).all(axis=1).mean())


def test_a_palette_keeps_every_colour() -> None:
    """Property: few colours or many, the picture shows what was painted."""
    rng = np.random.default_rng(4)
    few = rng.choice(np.array([[0, 0, 0, 0], [9, 200, 30, 255], [9, 200, 31, 215]]), (30, 40))
    many = rng.integers(0, 256, (30, 40, 4))
    for rgba, count in ((few, 1), (many, 4)):
        bands = np.moveaxis(rgba, -1, 0).astype(np.uint8)
        png = _png(bands)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            with MemoryFile(png) as memory, memory.open() as file:
                assert file.count == count
        src = f"data:image/png;base64,{base64.b64encode(png).decode()}"
        assert np.array_equal(painted(src), rgba)


def test_few_tones_still_rise_with_the_light() -> None:
    """By hand: a smooth picture in few tones is nowhere brighter than painted, nor 5 darker."""
    grey = np.tile(np.linspace(70, 255, 200).astype(np.uint8), (60, 1))
    rgba = np.stack([grey, grey, grey, np.full_like(grey, 255)])
    place = grid(np.zeros((60, 200)))
    pixels = painted(picture(rgba, place, widest_px=200, smooth=True)[0])
    row = pixels[pixels.shape[0] // 2, 3:-3, 0].astype(int)
    assert (np.diff(row) >= 0).all()
    assert len(set(row.tolist())) < 45
    assert abs(row[0] - 70) < 10
    assert row[-1] >= 245


def lying(limit_kmh: np.ndarray, rank: np.ndarray) -> Any:
    """Layers of which only speed and wetness are asked."""
    like = grid(np.zeros(limit_kmh.shape))
    return SimpleNamespace(
        lie=SimpleNamespace(
            ground=SimpleNamespace(percent=like),
            speed=SimpleNamespace(limit_kmh=limit_kmh),
            water=SimpleNamespace(rank=rank),
        )
    )


@pytest.mark.parametrize(
    ("kmh", "units", "number"),
    [
        (3.0, "metric", 0), (3.01, "metric", 1), (12.0, "metric", 3), (12.5, "metric", 4),
        (2 * 1.609344, "us", 0), (12.0, "us", 3), (8 * 1.609344, "us", 3), (13.0, "us", 4),
    ],
)  # fmt: skip
def test_a_speed_limit_on_a_break_counts_to_the_slower_class(
    kmh: float, units: Any, number: int
) -> None:
    """By hand: 12 km/h is 7.5 mph; 8 mph is 12.87 km/h."""
    rows = np.full((10, 10), kmh)
    whole = shapely.box(500_000, 4_499_900, 500_100, 4_500_000)
    made = _speeds(lying(rows, rows), whole, units)
    assert share_of(painted(made["src"]), tints.SPEED[number]) > 0.99
    assert len(made["legend"]) == len(tints.SPEED) + 1
    assert (
        made["legend"][1]["text"] == {"us": "over 2 to 4 mph", "metric": "over 3 to 6 km/h"}[units]
    )


def test_unknown_speed_and_rank_are_hatched() -> None:
    """By hand: half the cells are not known: there no class is painted, only dark lines."""
    values = np.full((10, 10), 20.0)
    values[:, 5:] = np.nan
    whole = shapely.box(500_000, 4_499_900, 500_100, 4_500_000)
    pixels = painted(_speeds(lying(values, values), whole, "us")["src"])
    left, right = np.array_split(pixels, 2, axis=1)
    assert share_of(left, tints.SPEED[4]) > 0.99
    assert share_of(right, tints.INK) > 0.99
    assert 0.1 < (right[..., 3] > 0).mean() < 0.6


def test_wet_ground_is_told_by_rank() -> None:
    """By hand: the wettest tenth, the next fifth, the rest; a rank on a break is the wetter."""
    rank = np.repeat([0.95, 0.9, 0.7, 0.69, 0.2], 2) * np.ones((10, 1))
    whole = shapely.box(500_000, 4_499_900, 500_100, 4_500_000)
    made = _wet(lying(rank, rank), whole)
    pixels = painted(made["src"])
    shares = [share_of(pixels, tint) for tint in tints.WET]
    assert shares == pytest.approx([0.4, 0.2, 0.4], abs=0.02)
    assert "tenth" in made["legend"][0]["text"]
    assert made["legend"][-1]["hatched"]


def test_nothing_is_painted_beyond_the_boundary() -> None:
    """By hand: the field is the western half of the cells."""
    values = np.full((10, 10), 5.0)
    west = shapely.box(500_000, 4_499_900, 500_050, 4_500_000)
    pixels = painted(_speeds(lying(values, values), west, "us")["src"])
    half = pixels.shape[1] // 2
    assert (pixels[:, : half - 3, 3] > 0).mean() > 0.95
    assert not pixels[:, half + 3 :, 3].any()
