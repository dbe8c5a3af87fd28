"""Where the invented ground lies, and the few things every maker shares.

Local metres: x east, y north, from the south-west corner of the elevation raster.
Nothing on this ground exists.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from pyproj import Transformer
from shapely import get_coordinates, set_coordinates
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry

SEED = 20260609
CRS = "EPSG:26915"
EAST_0 = 501_200.0
NORTH_0 = 4_494_100.0
WIDTH_M = 6000.0
HEIGHT_M = 5000.0
CELL_M = 5.0
FLOOD_DATE = "2026-05-28"
OFFSET = "-05:00"
INVENTED = "Invented demo data: this ground, these roads and these people do not exist."

_TO_DEGREES = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)


def rng(part: str) -> np.random.Generator:
    """A generator of its own for each part, so that one part does not stir another."""
    return np.random.default_rng([SEED, *part.encode()])


def lonlat(x: float, y: float, *, digits: int = 7) -> tuple[float, float]:
    """Degrees of a local place."""
    lon, lat = _TO_DEGREES.transform(x + EAST_0, y + NORTH_0)
    return round(float(lon), digits), round(float(lat), digits)


def in_degrees(shape: BaseGeometry, *, digits: int = 6) -> BaseGeometry:
    """A local geometry in degrees, rounded."""
    local = get_coordinates(shape)
    lon, lat = _TO_DEGREES.transform(local[:, 0] + EAST_0, local[:, 1] + NORTH_0)
    return set_coordinates(shape, np.column_stack([lon, lat]).round(digits))


def in_metres(shape: BaseGeometry) -> BaseGeometry:
    """A local geometry in the metres of the farm's coordinate system, to the centimetre."""
    moved = translate(shape, EAST_0, NORTH_0)
    return set_coordinates(moved, get_coordinates(moved).round(2))


def noise(shape: tuple[int, int], wave_m: float, part: str) -> NDArray[np.float64]:
    """Smooth noise with mean 0 and standard deviation 1; bumps about ``wave_m`` across."""
    fy = np.fft.fftfreq(shape[0], CELL_M)
    fx = np.fft.rfftfreq(shape[1], CELL_M)
    rows, columns = np.abs(fy) < 4 / wave_m, fx < 4 / wave_m  # beyond, nothing is left
    parts = rng(part).standard_normal((2, rows.sum(), columns.sum()))
    keep = np.exp(-((fy[rows, None] ** 2 + fx[None, columns] ** 2) * (wave_m / 1.6) ** 2))
    waves = np.zeros((shape[0], len(fx)), complex)
    waves[np.ix_(rows, columns)] = keep * (parts[0] + 1j * parts[1])
    smooth = np.fft.irfft2(waves, s=shape)
    smooth -= smooth.mean()
    return smooth / smooth.std()


def step(value: NDArray[np.float64]) -> NDArray[np.float64]:
    """Smooth step from 0 to 1 as the value goes from 0 to 1."""
    held = np.clip(value, 0.0, 1.0)
    return held * held * (3.0 - 2.0 * held)
