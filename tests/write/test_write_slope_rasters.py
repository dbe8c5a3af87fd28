"""Slope and aspect of whole rasters: the same as cell by cell, in strips, whole or not at all."""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.errors import InputError, StoreError
from fieldmap.grid import Grid
from fieldmap.read.elevation import ElevationFile
from fieldmap.terrain.slope import slope
from fieldmap.write import slope_rasters
from fieldmap.write.slope_rasters import write_slope_rasters

UTM = CRS.from_epsg(32615)
PLACE = Affine(10.0, 0, 500_000.0, 0, -10.0, 4_500_000.0)


def hills(rows: int, columns: int) -> NDArray[np.float32]:
    row, column = np.indices((rows, columns), dtype=float)
    noise = np.random.default_rng(7).normal(0, 0.3, (rows, columns))
    values = 300 + 15 * np.sin(row / 9) * np.cos(column / 11) + noise
    values[rows // 3, columns // 2] = -9999.0
    values[: rows // 5, : columns // 5] = 12.0  # level ground
    return values.astype(np.float32)


def raster(path: Path, values: NDArray, **more: object) -> Path:
    profile = {
        "driver": "GTiff", "count": 1, "height": values.shape[0], "width": values.shape[1],
        "dtype": values.dtype, "crs": "EPSG:32615", "transform": PLACE, "nodata": -9999.0,
    }  # fmt: skip
    with rasterio.open(path, "w", **(profile | more)) as file:
        file.write(values, 1)
        file.units = ("m",)
    return path


def written(source: Path, folder: Path, *, crs: CRS = UTM) -> list[NDArray[np.float64]]:
    found = []
    for path in write_slope_rasters(source, folder, crs=crs):
        with rasterio.open(path) as file:
            found.append(file.read(1, masked=True).astype(float).filled(np.nan))
    return found


def in_one(source: Path) -> list[NDArray[np.float32]]:
    """The same by ``slope()`` on the raster as a whole."""
    with ElevationFile(source) as file:
        heights = Grid(
            file.rows(0, file.info.shape[0]), file.info.transform, file.info.crs, "m", "elevation"
        )
    return [grid.values for grid in slope(heights, crs=UTM)]


@pytest.fixture
def small_strips(monkeypatch: pytest.MonkeyPatch) -> None:
    """Strips of a few rows, so that a small raster has many seams."""
    monkeypatch.setattr(slope_rasters, "_STRIP_CELLS", 7 * 130)


@pytest.mark.parametrize(
    "layout",
    [
        {},
        {"blockysize": 1},
        {"tiled": True, "blockxsize": 32, "blockysize": 16, "compress": "deflate", "predictor": 3},
        {"tiled": True, "blockxsize": 64, "blockysize": 64, "compress": "lzw"},
    ],
    ids=["plain", "row by row", "small tiles", "tiles larger than a strip"],
)
@pytest.mark.usefixtures("small_strips")
def test_strips_are_the_whole_referee(
    tmp_path: Path, layout: dict, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Referee: ``slope()`` on the whole raster, digit for digit: in one system nothing differs."""
    monkeypatch.setattr(slope_rasters, "_BLOCK_CELLS", 32 * 130)
    source = raster(tmp_path / "e.tif", hills(101, 130), **layout)
    for ours, theirs in zip(written(source, tmp_path / "out"), in_one(source), strict=True):
        np.testing.assert_array_equal(ours.astype(np.float32), theirs)
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        "aspect_deg.tif",
        "slope_pct.tif",
    ]


@pytest.mark.parametrize("shape", [(1, 9), (2, 9), (3, 3), (9, 1), (9, 2), (4, 5)])
@pytest.mark.usefixtures("small_strips")
def test_small_rasters_by_hand(
    tmp_path: Path, shape: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """By hand: a plane of 20 % that falls to the west; its rim, and all of too little, unknown."""
    monkeypatch.setattr(slope_rasters, "_STRIP_CELLS", 1)
    column = np.indices(shape)[1]
    source = raster(tmp_path / "e.tif", (2.0 * column).astype(np.float32), nodata=None)
    percent, aspect = written(source, tmp_path)
    inside = np.zeros(shape, bool)
    inside[1:-1, 1:-1] = True
    assert percent[inside] == pytest.approx(20.0)
    assert (aspect[inside] == 270.0).all()
    assert np.isnan(percent[~inside]).all()
    assert np.isnan(aspect[~inside]).all()


@pytest.mark.usefixtures("small_strips")
def test_what_the_files_say_by_hand(tmp_path: Path) -> None:
    """By hand: place, system, nodata, name and unit; level ground has a slope and no aspect."""
    source = raster(tmp_path / "e.tif", hills(50, 60))
    paths = write_slope_rasters(source, tmp_path / "deep" / "out", crs=UTM)
    for path, name, unit in zip(paths, ("slope_pct", "aspect_deg"), ("%", "deg"), strict=True):
        assert path.name == f"{name}.tif"
        with rasterio.open(path) as file, rasterio.open(source) as given:
            assert file.descriptions == (name,)
            assert file.units == (unit,)
            assert (file.nodata, file.dtypes) == (-9999.0, ("float32",))
            assert (file.crs, file.transform, file.shape) == (
                given.crs,
                given.transform,
                given.shape,
            )
    percent, aspect = written(source, tmp_path)
    assert (percent[2:8, 2:8] == 0).all()
    assert np.isnan(aspect[2:8, 2:8]).all()


@pytest.mark.gdaldem
@pytest.mark.usefixtures("small_strips")
def test_gdaldem_referee(gdaldem: str, tmp_path: Path) -> None:
    """Referee: gdaldem slope -p and aspect (Horn), the same cells known, to 0.01.

    gdaldem adds up in four bytes: eight heights of 300 m have a last digit of 0.24 mm, 3e-6 of a
    gradient on 10 m cells, and 0.009 degrees of aspect at 2 %; aspect is compared from there on.
    """
    source = raster(tmp_path / "e.tif", hills(210, 190))
    percent, aspect = written(source, tmp_path)
    theirs = []
    for what, more in (("slope", ["-p"]), ("aspect", [])):
        out = tmp_path / f"{what}.tif"
        subprocess.run([gdaldem, what, "-q", *more, source, out], check=True, timeout=60)
        with rasterio.open(out) as file:
            theirs.append(file.read(1, masked=True).astype(float).filled(np.nan))
    np.testing.assert_array_equal(np.isnan(percent), np.isnan(theirs[0]))
    np.testing.assert_array_equal(np.isnan(aspect), np.isnan(theirs[1]))
    assert np.nanmax(np.abs(percent - theirs[0])) < 0.01
    off = (aspect - theirs[1] + 180.0) % 360.0 - 180.0
    assert np.abs(off[percent > 2.0]).max() < 0.01


def test_degrees_take_the_jacobian_afresh_referee(tmp_path: Path) -> None:
    """Referee: ``slope()`` on small windows of a raster a degree high and wide, in degrees.

    Within 0.1 % of the slope and 0.1 degrees: here a Jacobian is that of a place at most 32 rows
    and 64 columns away, 0.03 and 0.05 degrees, and a degree of latitude makes columns 1.8 %
    narrower. One Jacobian for the whole raster is off by ten times as much, which is seen too.
    """
    size, cell = 1200, 1 / 1200
    place = Affine(cell, 0, -94.0, 0, -cell, 46.0)
    row, column = np.indices((size, size), dtype=float)
    values = (400 + 30 * np.sin(row / 6) * np.cos(column / 8)).astype(np.float32)
    source = raster(tmp_path / "e.tif", values, crs="EPSG:4326", transform=place)
    percent, aspect = written(source, tmp_path)
    whole = in_one(source)[0]
    worst_whole = 0.0
    with ElevationFile(source) as file:
        for top, left in ((3, 3), (3, 1100), (600, 250), (1100, 700), (1180, 1180)):
            cut = slice(top, top + 16), slice(left, left + 16)
            west, north = place @ (left, top)
            east, south = place @ (left + 16, top + 16)
            found = slope(file.window((west, south, east, north)), crs=UTM)
            margin = (found.percent.shape[0] - 16) // 2
            here = slice(margin, margin + 16), slice(margin, margin + 16)
            near = found.percent.values[here]
            steep = near > 1.0
            assert steep.sum() > 50
            assert np.abs(percent[cut] / near - 1)[steep].max() < 1e-3
            off = (aspect[cut] - found.aspect.values[here] + 180) % 360 - 180
            assert np.abs(off[steep]).max() < 0.1
            worst_whole = max(worst_whole, np.abs(whole[cut] / near - 1)[steep].max())
    assert worst_whole > 5e-3


def test_a_metric_system_that_does_not_reach_by_hand(tmp_path: Path) -> None:
    """By hand: where the run's system has no metres for a cell the slope is unknown, not 0."""
    place = Affine(0.01, 0, 86.9, 0, -0.01, 0.2)  # a quarter of the globe from zone 15
    source = raster(tmp_path / "e.tif", hills(30, 30), crs="EPSG:4326", transform=place)
    percent, _ = written(source, tmp_path, crs=CRS.from_proj4("+proj=gnom +lat_0=0 +lon_0=-93"))
    assert np.isnan(percent).all()


def test_same_input_same_bytes_regression(tmp_path: Path) -> None:
    """Regression: threads finish in any order; the files are the same to the byte."""
    source = raster(tmp_path / "e.tif", hills(400, 300))
    first = [path.read_bytes() for path in write_slope_rasters(source, tmp_path / "a", crs=UTM)]
    second = [path.read_bytes() for path in write_slope_rasters(source, tmp_path / "b", crs=UTM)]
    assert first == second


def test_an_open_file_stays_open_by_hand(tmp_path: Path) -> None:
    """By hand: who opened the elevation closes it; heights in feet are told as slopes in metres."""
    source = raster(tmp_path / "e.tif", hills(30, 40))
    metres = written(source, tmp_path / "m")[0]
    with rasterio.open(source, "r+") as file:
        file.units = ("ft",)
    with ElevationFile(source, unit="ft") as elevation:
        path, _ = write_slope_rasters(elevation, tmp_path / "ft", crs=UTM)
        assert elevation.rows(0, 1).shape == (1, 40)
    with rasterio.open(path) as file:
        feet = file.read(1, masked=True).astype(float).filled(np.nan)
    np.testing.assert_allclose(feet, metres * 0.3048, rtol=1e-4, atol=1e-3)


def test_nothing_in_the_way_is_lost_by_hand(tmp_path: Path) -> None:
    """By hand: a file of that name stays as it is, unless it may be replaced."""
    source = raster(tmp_path / "e.tif", hills(30, 40))
    (tmp_path / "aspect_deg.tif").write_text("mine")
    with pytest.raises(InputError, match="a file in the way"):
        write_slope_rasters(source, tmp_path, crs=UTM)
    assert (tmp_path / "aspect_deg.tif").read_text() == "mine"
    assert not (tmp_path / "slope_pct.tif").exists()
    write_slope_rasters(source, tmp_path, crs=UTM, overwrite=True)
    with rasterio.open(tmp_path / "aspect_deg.tif") as file:
        assert file.count == 1


def test_a_raster_that_breaks_off_leaves_nothing_by_hand(tmp_path: Path) -> None:
    """By hand: half a file is told, and no half of an answer stands."""
    source = tmp_path / "e.tif"
    with rasterio.open(
        source, "w", driver="GTiff", count=1, height=400, width=300, dtype="float32",
        crs="EPSG:32615", transform=PLACE, blockysize=8,
    ) as file:  # fmt: skip
        file.write(hills(400, 300), 1)
    source.write_bytes(source.read_bytes()[: source.stat().st_size // 2])
    with (
        ElevationFile(source, unit="m") as elevation,
        pytest.raises(InputError, match="breaks off"),
    ):
        write_slope_rasters(elevation, tmp_path / "out", crs=UTM)
    assert list((tmp_path / "out").iterdir()) == []


def test_a_full_disk_leaves_nothing_by_hand(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By hand: a file that came out short is told as a disk's fault, and nothing stands."""
    source = raster(tmp_path / "e.tif", hills(30, 40))

    def short(self: object, row: int, buffer: object, count: int) -> None:
        """Write nothing."""
        self._free.append(buffer)

    real = slope_rasters._Lane.__exit__

    def closed_short(self: object, *more: object) -> None:
        real(self, *more)
        Path(self._file.name).write_bytes(b"II*\0")

    monkeypatch.setattr(slope_rasters._Lane, "send", short)
    monkeypatch.setattr(slope_rasters._Lane, "__exit__", closed_short)
    with pytest.raises(StoreError, match="cannot be written"):
        write_slope_rasters(source, tmp_path / "out", crs=UTM)
    assert list((tmp_path / "out").iterdir()) == []
