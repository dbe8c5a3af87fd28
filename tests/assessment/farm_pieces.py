"""The invented farm with its finds in the log, and small grounds to lay other farms on."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import rasterio
from affine import Affine
from pyproj import CRS

from fieldmap.farm import Farm, load_farm
from fieldmap.intake import take_in

CELL_M, CELLS = 5.0, 32
WEST, NORTH = 500_000.0, 4_500_000.0
#: Cells more on each side: a field needs heights as far round it as a highwall reaches.
ROUND = 4


def copied_farm(place: Path, demo_geodata: Path) -> Farm:
    """A copy of the invented farm; every find of its folder is in the log."""
    folder = place / "farm"
    leave = shutil.ignore_patterns("makers", "*.py", "__pycache__", "outputs", "hazards.gpkg*")
    shutil.copytree(demo_geodata, folder, ignore=leave)
    take_in(load_farm(folder, with_roads=False), sorted((folder / "found").glob("*.*")))
    return load_farm(folder)


def small_grounds(place: Path, crs: CRS) -> dict[str, Path]:
    """Small elevations, 160 m square and 20 m more: gentle, side slope, half steep, with a gap."""
    row, column = np.indices((CELLS + 2 * ROUND, CELLS + 2 * ROUND), dtype=float) - ROUND
    gentle = 0.03 * CELL_M * column
    half = np.where(column > CELLS / 2, 0.4, 0.02) * CELL_M * (column - CELLS / 2)
    holed = gentle.copy()
    holed[ROUND + 10 : ROUND + 14, ROUND + 10 : ROUND + 14] = -9999.0
    dome = 12.0 * np.exp(-((row - 16) ** 2 + (column - 16) ** 2) / 60)
    held = {
        "gentle": gentle,
        "side": 0.28 * CELL_M * column,
        "half": half,
        "holed": holed,
        "dome": dome,
    }
    out = {}
    for name, values in held.items():
        out[name] = place / f"{name}.tif"
        with rasterio.open(
            out[name],
            "w",
            driver="GTiff",
            width=CELLS + 2 * ROUND,
            height=CELLS + 2 * ROUND,
            count=1,
            dtype="float32",
            nodata=-9999.0,
            crs=rasterio.CRS.from_wkt(crs.to_wkt()),
            transform=Affine(CELL_M, 0, WEST, 0, -CELL_M, NORTH)
            @ Affine.translation(-ROUND, -ROUND),
        ) as file:
            file.write(values.astype(np.float32), 1)
            file.units = ("m",)
    return out
