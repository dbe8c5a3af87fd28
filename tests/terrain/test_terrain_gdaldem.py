"""Slope and aspect against GDAL's own terrain program, Horn's method."""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np
import pytest
import rasterio
from numpy.typing import NDArray

from fieldmap.read.elevation import ElevationFile
from fieldmap.terrain.slope import slope

TOLERANCE_DEG = 0.01
#: flatter than this the aspect hangs on the last digits of heights held in four bytes
FLAT_DEG = 0.5


def asked(program: str, what: str, raster: Path, folder: Path) -> NDArray[np.float64]:
    out = folder / f"{what}.tif"
    subprocess.run(
        [program, what, str(raster), str(out), "-alg", "Horn", "-q"], check=True, timeout=120
    )
    with rasterio.open(out) as file:
        return file.read(1, masked=True).astype(np.float64).filled(np.nan)


def agrees(program: str, raster: Path, folder: Path) -> int:
    """Hold the whole raster against the program; how many cells were compared."""
    with ElevationFile(raster, unit="m") as file:
        rows, columns = file.info.shape
        west, north = file.info.transform @ (0, 0)
        east, south = file.info.transform @ (columns, rows)
        window = file.window((west, south, east, north))
        crs = file.info.crs
    margin = (window.shape[0] - rows) // 2
    ours = slope(window, crs=crs)
    cut = (slice(margin, margin + rows), slice(margin, margin + columns))
    percent, aspect = ours.percent.values[cut], ours.aspect.values[cut]
    theirs = asked(program, "slope", raster, folder)
    known = np.isfinite(theirs)
    assert (np.isfinite(percent) == known).all()
    degrees = np.degrees(np.arctan(percent / 100.0))
    assert np.abs(degrees - theirs)[known].max() < TOLERANCE_DEG
    facing = asked(program, "aspect", raster, folder)
    turned = known & (theirs > FLAT_DEG)
    off = (aspect - facing + 180.0) % 360.0 - 180.0
    assert np.abs(off)[turned].max() < TOLERANCE_DEG
    return int(turned.sum())


@pytest.mark.gdaldem
def test_demo_elevation_referee(gdaldem: str, demo_geodata: Path, tmp_path: Path) -> None:
    """Referee: gdaldem slope and aspect on the invented farm, to 0.01 deg, same gaps."""
    assert agrees(gdaldem, demo_geodata / "elevation.tif", tmp_path) > 100_000


@pytest.mark.gdaldem
@pytest.mark.real_ground
def test_real_elevation_referee(gdaldem: str, bayreuth: Path, tmp_path: Path) -> None:
    """Referee: gdaldem slope and aspect on a real district in 30 m cells, to 0.01 deg."""
    assert agrees(gdaldem, bayreuth / "bayreuth_srtm3_utm32_30m.tif", tmp_path) > 100_000
