"""Heights: their unit is never guessed, and a broken raster is told as one. By hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from small_geodata import raster

from fieldmap.errors import InputError
from fieldmap.read.elevation import ElevationFile

BOX = (679_000.0, 5_530_000.0, 680_000.0, 5_531_000.0)


def refused(path: Path, *, unit: str | None = None) -> str:
    with pytest.raises(InputError) as caught, ElevationFile(path, unit=unit) as elevation:
        elevation.window(BOX)
    (fault,) = caught.value.faults
    assert fault.where
    return str(fault)


@pytest.mark.parametrize(
    ("said", "given", "metres"),
    [
        ("metre", None, 400.0),
        ("m", "m", 400.0),
        (None, "m", 400.0),
        ("unknown", "ft", 400 * 0.3048),
        ("foot", None, 400 * 0.3048),
        ("US survey foot", None, 400 * 1200 / 3937),
        (None, "us-ft", 400 * 1200 / 3937),
    ],
)
def test_by_hand_units(tmp_path: Path, said: str | None, given: str | None, metres: float) -> None:
    with ElevationFile(raster(tmp_path / "e.tif", unit=said), unit=given) as elevation:
        assert elevation.window(BOX).values.max() == pytest.approx(metres, abs=1e-4)


def test_by_hand_a_unit_that_nobody_says(tmp_path: Path) -> None:
    assert "--elevation-unit" in refused(raster(tmp_path / "e.tif", unit=None))
    assert "heights of unknown unit: cubit" in refused(raster(tmp_path / "e.tif", unit="cubit"))


@pytest.mark.parametrize(("said", "given"), [("metre", "ft"), ("foot", "us-ft"), ("cm", "m")])
def test_by_hand_two_units_for_one_raster(tmp_path: Path, said: str, given: str) -> None:
    words = refused(raster(tmp_path / "e.tif", unit=said), unit=given)
    assert f"{given} was given, the raster says {said}" in words


def test_by_hand_no_coordinate_system(tmp_path: Path) -> None:
    assert "without a coordinate system" in refused(raster(tmp_path / "e.tif", crs=None))


def test_by_hand_a_picture_is_not_heights(tmp_path: Path) -> None:
    picture = np.zeros((3, 40, 40), np.uint8)
    assert "3 bands" in refused(raster(tmp_path / "e.tif", picture))


def test_by_hand_scale_and_offset_are_applied(tmp_path: Path) -> None:
    stored = np.full((1, 40, 40), 1000, np.int16)
    path = raster(tmp_path / "e.tif", stored, scale=(0.1, 300.0))
    with ElevationFile(path) as elevation:
        assert elevation.window(BOX).values.max() == pytest.approx(400.0)
        assert elevation.overview(BOX, most_px=5).values.max() == pytest.approx(400.0)


def test_by_hand_nodata_is_unknown(tmp_path: Path) -> None:
    values = np.full((1, 40, 40), -9999, np.float32)
    with ElevationFile(raster(tmp_path / "e.tif", values, nodata=-9999)) as elevation:
        assert np.isnan(elevation.window(BOX).values).all()
        assert not elevation.readable(BOX)


def test_by_hand_beyond_the_raster_is_unknown(tmp_path: Path) -> None:
    far = tuple(edge + 1e6 for edge in BOX)
    with ElevationFile(raster(tmp_path / "e.tif")) as elevation:
        assert np.isnan(elevation.window(far).values).all()
        assert not elevation.readable(far)
        assert elevation.readable(BOX)


def test_by_hand_a_raster_that_breaks_off(tmp_path: Path) -> None:
    noise = np.random.default_rng(1).normal(400, 5, (1, 40, 40)).astype(np.float32)
    path = raster(tmp_path / "e.tif", noise, blockysize=4)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 3])
    assert "elevation" in refused(path)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("e.tif", b"hello"),
        ("e.tif", b""),
        ("e.tif", b"II*\0"),
        ("e.tif", b'<VRTDataset rasterXSize="1" rasterYSize="1"></VRTDataset>'),
        ("e.asc", b"ncols 2"),
    ],
)
def test_by_hand_what_is_no_geotiff(tmp_path: Path, name: str, content: bytes) -> None:
    (tmp_path / name).write_bytes(content)
    assert "elevation" in refused(tmp_path / name)


@pytest.mark.parametrize(
    "name", ["https://somewhere.example/e.tif", "/vsicurl/http://x/e.tif", "/vsizip/a.zip/e.tif"]
)
def test_by_hand_addresses(name: str) -> None:
    with pytest.raises(InputError, match="an address, not a file"):
        ElevationFile(name)
