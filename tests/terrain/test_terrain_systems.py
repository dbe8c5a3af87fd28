"""The same ground in other units and coordinate systems has the same slope."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from fieldmap.crs import metric_crs
from fieldmap.errors import InputError
from fieldmap.grid import Grid
from fieldmap.read.elevation import ElevationFile
from fieldmap.terrain.slope import Slope, slope

UTM = CRS.from_epsg(32615)
#: near the east edge of the zone, where grid north and true north differ by two degrees
LON, LAT = -90.2, 45.0
EAST, NORTH = Transformer.from_crs(4326, 32615, always_xy=True).transform(LON, LAT)
FOOT = 0.3048


def hill(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """A dome 30 m high on a plane that falls to grid east."""
    return (
        200 - 0.05 * (x - EAST) + 30 * np.exp(-((x - EAST) ** 2 + (y - NORTH) ** 2) / (2 * 150**2))
    )


def true_percent(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slope of the hill by its formula."""
    dome = 30 * np.exp(-((x - EAST) ** 2 + (y - NORTH) ** 2) / (2 * 150**2)) / 150**2
    return 100 * np.hypot(-0.05 - dome * (x - EAST), -dome * (y - NORTH))


def sampled(crs: CRS, cell: float, size: int = 81) -> tuple[Grid, NDArray, NDArray]:
    """The hill on cells of another system, and the cells' middles in the run's own."""
    x, y = Transformer.from_crs(UTM, crs, always_xy=True).transform(EAST, NORTH)
    transform = Affine(cell, 0, x - cell * size / 2, 0, -cell, y + cell * size / 2)
    rows, columns = np.indices((size, size))
    xs, ys = transform @ (columns + 0.5, rows + 0.5)
    east, north = Transformer.from_crs(crs, UTM, always_xy=True).transform(xs, ys)
    values = hill(east, north).astype(np.float32)
    return Grid(values, transform, crs, "m", "elevation"), east, north


@pytest.mark.parametrize(
    ("epsg", "cell"),
    [(32615, 10.0), (4326, 1e-4), (26915, 10.0), (3071, 10.0), (2288, 30.0), (3857, 14.0)],
    ids=[
        "utm",
        "degrees",
        "another datum",
        "state plane in metres",
        "state plane in feet",
        "web mercator, whose metres are none",
    ],
)
def test_one_hill_in_five_systems_referee(epsg: int, cell: float) -> None:
    """Referee: the hill's own formula. Within 0.25 percentage points: 10 m cells smooth a dome."""
    grid, east, north = sampled(CRS.from_epsg(epsg), cell)
    found = slope(grid, crs=UTM).percent.values
    inside = (slice(1, -1), slice(1, -1))
    assert np.abs(found - true_percent(east, north))[inside].max() < 0.25


def test_web_mercator_metres_taken_for_metres_would_be_wrong_by_hand() -> None:
    """By hand: at 45 degrees north its metre is 0.71 m, so that slopes would be 0.71 times true.

    That is why no run may use it as its metric system.
    """
    grid, east, north = sampled(CRS.from_epsg(3857), 14.0)
    wrong = slope(Grid(grid.values, grid.transform, UTM, "m", "elevation"), crs=UTM).percent.values
    right = true_percent(east, north)
    steep = np.isfinite(wrong) & (right > 8)
    assert np.median(wrong[steep] / right[steep]) == pytest.approx(
        np.cos(np.radians(LAT)), rel=0.02
    )
    for text in ("EPSG:3857", "EPSG:3395"):
        with pytest.raises(InputError, match="stretches lengths"):
            metric_crs(text)


def test_bearings_are_grid_bearings_referee() -> None:
    """Referee: far from the dome the plane falls to grid east, 90 deg; true east is 2 deg off."""
    grid, east, _ = sampled(CRS.from_epsg(4326), 1e-4, size=161)
    found = slope(grid, crs=UTM).aspect.values
    far = np.abs(east - EAST) > 600
    far[0] = far[-1] = False
    far[:, 0] = far[:, -1] = False
    assert far.sum() > 500
    assert np.abs(found[far] - 90.0).max() < 0.3


def written(folder: Path, grid: Grid, *, per_metre: float, name: str) -> Path:
    path = folder / name
    rows, columns = grid.shape
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=columns,
        height=rows,
        count=1,
        dtype="float64",
        crs=rasterio.CRS.from_wkt(grid.crs.to_wkt()),
        transform=grid.transform,
    ) as file:
        file.write(grid.values.astype(np.float64) * per_metre, 1)
    return path


def read_slope(path: Path, unit: str) -> Slope:
    with ElevationFile(path, unit=unit) as file:
        x, y = file.info.transform @ (20, 20)
        grid = file.window((x, y - 100, x + 200, y))
    return slope(grid, crs=UTM)


@pytest.mark.parametrize(("unit", "per_metre"), [("ft", 1 / FOOT), ("us-ft", 3937 / 1200)])
def test_heights_in_feet_give_the_same_slope_property(
    tmp_path: Path, unit: str, per_metre: float
) -> None:
    """Property: feet said to be feet make no ground steeper; 0.001 percentage points for float32.

    Feet taken for metres would make it 3.28 times as steep.
    """
    grid, _, _ = sampled(UTM, 10.0)
    metres = read_slope(written(tmp_path, grid, per_metre=1.0, name="m.tif"), "m")
    feet = read_slope(written(tmp_path, grid, per_metre=per_metre, name="ft.tif"), unit)
    known = np.isfinite(metres.percent.values)
    assert known.sum() > 100
    assert (known == np.isfinite(feet.percent.values)).all()
    assert np.abs(metres.percent.values - feet.percent.values)[known].max() < 1e-3
