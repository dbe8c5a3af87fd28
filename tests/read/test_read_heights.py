"""Heights by rows, and stored numbers turned into metres as GDAL's own mask would have it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from hypothesis import given
from hypothesis import strategies as st
from small_geodata import raster

from fieldmap.read.elevation import ElevationFile
from fieldmap.read.heights import PLAIN, Meaning, to_metres


@pytest.mark.parametrize("kind", [*PLAIN, "int32", "float64"])
@pytest.mark.parametrize("nodata", [None, 7.0])
def test_any_kind_of_number_referee(tmp_path: Path, kind: str, nodata: float | None) -> None:
    """Referee: rasterio's masked reading, scale and offset by numpy in eight bytes."""
    values = np.arange(40 * 40).reshape(1, 40, 40) % 120
    path = raster(
        tmp_path / "e.tif", values.astype(kind), nodata=nodata, scale=(0.25, 100.0), unit="foot"
    )
    with rasterio.open(path) as file:
        held = file.read(1, masked=True).astype(float).filled(np.nan)
    with ElevationFile(path) as elevation:
        found = elevation.rows(0, 40)
    assert found.dtype == np.float32
    np.testing.assert_array_equal(found, ((held * 0.25 + 100.0) * 0.3048).astype(np.float32))
    assert np.isnan(found).sum() == (0 if nodata is None else (values == 7).sum())


def test_a_mark_with_fewer_digits_referee(tmp_path: Path) -> None:
    """Referee: GDAL's own mask for -3.4028235e38 stored and -3.40282e38 named; and near misses."""
    lowest = np.finfo(np.float32).min
    stored = np.array([lowest, -99.0, -99.00001, -98.9, 0.0, np.inf, np.nan], np.float32)
    for nodata in (float(lowest), -3.4028234663852886e38, -99.0, 0.0, np.nan):
        values = np.tile(stored, (1, 40, 6))[:, :, :40].copy()
        path = raster(tmp_path / "e.tif", values, nodata=nodata)
        with rasterio.open(path) as file:
            known = file.read_masks(1) > 0
        with ElevationFile(path) as elevation:
            found = elevation.rows(0, 40)
        there = np.isfinite(values[0]) & (values[0] != lowest)  # no ground lies so low
        np.testing.assert_array_equal(np.isfinite(found), known & there)


def test_a_mask_beside_the_numbers_by_hand(tmp_path: Path) -> None:
    """By hand: a mask of the file's own says what is known, whatever number stands there."""
    path = raster(tmp_path / "e.tif")
    mask = np.full((40, 40), 255, np.uint8)
    mask[3, 4] = 0
    with rasterio.Env(GDAL_TIFF_INTERNAL_MASK=True), rasterio.open(path, "r+") as file:
        file.write_mask(mask)
    with ElevationFile(path) as elevation:
        into = np.zeros((5, 40), np.float32)
        found = elevation.rows(2, 6, into=into)
    assert np.argwhere(np.isnan(found)).tolist() == [[1, 4]]
    assert found.base is into
    assert (into[4] == 0).all()


def test_rows_by_hand(tmp_path: Path) -> None:
    """By hand: rows are cut to the raster; a given array is filled from its first row on."""
    values = np.arange(40 * 40, dtype=np.float32).reshape(1, 40, 40)
    with ElevationFile(raster(tmp_path / "e.tif", values)) as elevation:
        np.testing.assert_array_equal(elevation.rows(7, 9), values[0, 7:9])
        np.testing.assert_array_equal(elevation.rows(-5, 2), values[0, :2])
        into = np.full((4, 40), -1.0, np.float32)
        np.testing.assert_array_equal(elevation.rows(38, 50, into=into), values[0, 38:])
        assert (into[2:] == -1.0).all()
        assert elevation.rows(40, 50).shape == (0, 40)


@given(
    number=st.floats(-500, 9000, width=32),
    nodata=st.floats(-1e4, 1e4, width=32),
    unit=st.sampled_from([1.0, 0.3048]),
)
def test_only_the_mark_is_unknown_property(number: float, nodata: float, unit: float) -> None:
    """Property: a height is told in metres unless it is the mark, but for two last digits."""
    found = to_metres(np.array([[number]], np.float32), Meaning(nodata, 1.0, 0.0, unit))[0, 0]
    if abs(number - nodata) > 1e-6 * max(abs(number), abs(nodata)):
        assert found == np.float32(number * unit)
    elif number == nodata:
        assert np.isnan(found)


@pytest.mark.parametrize("mark", [-9999.0, -32768.0, 3.4e38, -3.4e38, 20000.0])
def test_a_mark_that_no_tag_names_regression(tmp_path: Path, mark: float) -> None:
    """Regression: a raster without a nodata tag had banks of ten kilometres, or broke the page."""
    values = np.full((1, 40, 40), 210.0, np.float32)
    values[0, 10:20] = mark
    with ElevationFile(raster(tmp_path / "e.tif", values, nodata=None)) as elevation:
        found = elevation.rows(0, 40)
    assert np.isnan(found[10:20]).all()
    assert (found[:10] == 210.0).all()
