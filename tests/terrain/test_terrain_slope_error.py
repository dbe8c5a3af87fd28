"""The error of a slope against simulated heights, and its band against laws of another library."""

from __future__ import annotations

import math

import numpy as np
import pytest
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from pyproj import CRS
from scipy.stats import foldnorm, rice

from fieldmap.errors import InputError
from fieldmap.grid import Grid
from fieldmap.tables import load_tables
from fieldmap.terrain.slope import slope
from fieldmap.terrain.slope_error import across_band_pct, gradient_sigma, slope_band_pct

UTM = CRS.from_epsg(32615)
FACTOR = load_tables().number("terrain.dem_slope_error_factor")


@pytest.mark.parametrize(
    ("error_m", "cell_m", "expected"),
    [(0.10, 1.0, 0.0433), (0.20, 10.0, 0.00866), (0.50, 10.0, 0.02165), (1.0, 30.0, 0.01443)],
)
def test_error_of_a_component_referee(error_m: float, cell_m: float, expected: float) -> None:
    """Referee: sqrt(12) / 8 of the height error over the cell, worked out from the weights."""
    assert gradient_sigma(error_m, cell_m=cell_m, factor=FACTOR) == pytest.approx(
        expected, abs=5e-6
    )


@pytest.mark.parametrize("error_m", [None, math.nan, -0.1])
def test_an_unknown_error_has_no_sigma_by_hand(error_m: float | None) -> None:
    """By hand: and neither has a cell of no size."""
    assert math.isnan(gradient_sigma(error_m, cell_m=10.0, factor=FACTOR))
    assert math.isnan(gradient_sigma(0.1, cell_m=0.0, factor=FACTOR))


def noisy_components(
    error_m: float, cell_m: float, east: float, north: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gradient components that ``slope`` finds in 100,489 windows of a plane, no two sharing a
    cell, when every height has an error of its own."""
    side = 3 * 317
    row, column = np.indices((side, side), dtype=float)
    plane = cell_m * (east * column - north * row)
    noise = np.random.default_rng(20).normal(0, error_m, plane.shape)
    place = Affine(cell_m, 0, 5e5, 0, -cell_m, 4.5e6)
    found = slope(Grid((plane + noise).astype(np.float32), place, UTM, "m", "elevation"), crs=UTM)
    steep = found.percent.values[1::3, 1::3].astype(float).ravel() / 100
    facing = np.radians(found.aspect.values[1::3, 1::3].astype(float)).ravel()
    assert steep.size == 100_489
    return -steep * np.sin(facing), -steep * np.cos(facing)


@pytest.mark.parametrize(("east", "north"), [(0.0, 0.0), (0.12, -0.05)])
def test_the_law_of_the_error_referee(east: float, north: float) -> None:
    """Referee: Monte-Carlo, 1e5 windows through ``slope``, 0.5 m on 10 m cells: 0.02165 to 1 %."""
    found = noisy_components(0.5, 10.0, east, north)
    for component, true in zip(found, (east, north), strict=True):
        assert component.std() == pytest.approx(0.02165, rel=0.01)
        assert component.mean() == pytest.approx(true, abs=4 * 0.02165 / math.sqrt(1e5))
    assert abs(np.corrcoef(*found)[0, 1]) < 0.02  # independent, as the band takes them


MEASURED = np.concatenate([np.linspace(0.0, 25.0, 501), np.geomspace(41.0, 1e5, 60)])


@pytest.mark.parametrize("share", [0.5, 0.8, 0.9, 0.95, 0.99])
def test_band_of_a_slope_referee(share: float) -> None:
    """Referee: quantiles of Rice's law by scipy.stats.rice, to 1e-3 of an error."""
    sigma = 0.02
    ends = slope_band_pct(100 * sigma * MEASURED, sigma=sigma, share=share)
    for end, chance in zip(ends, ((1 - share) / 2, (1 + share) / 2), strict=True):
        off = end / (100 * sigma) - rice.ppf(chance, MEASURED)
        assert np.abs(off).max() < 1e-3


@pytest.mark.parametrize("share", [0.5, 0.8, 0.9, 0.95, 0.99])
@pytest.mark.parametrize("side", [1, -1])
def test_band_of_a_side_slope_referee(share: float, side: int) -> None:
    """Referee: quantiles of the folded normal law by scipy.stats.foldnorm, to 1e-3 of an error."""
    sigma = 0.02
    ends = across_band_pct(side * 100 * sigma * MEASURED, sigma=sigma, share=share)
    for end, chance in zip(ends, ((1 - share) / 2, (1 + share) / 2), strict=True):
        off = end / (100 * sigma) - foldnorm.ppf(chance, MEASURED)
        assert np.abs(off).max() < 1e-3


def test_how_often_the_band_holds_the_truth_referee() -> None:
    """Referee: simulation. True gradients spread evenly over a wide square, each measured with an
    error; of those measured well inside the square 90 % of the bands hold the true slope.

    Also of those measured nearly level, where the band does not hold the measured slope.
    """
    rng = np.random.default_rng(5)
    sigma, wide = 0.02, 0.3
    true = rng.uniform(-wide, wide, (2, 2_000_000))
    seen = true + rng.normal(0, sigma, true.shape)
    well_inside = (np.abs(seen) < wide - 6 * sigma).all(axis=0)
    true, seen = true[:, well_inside], seen[:, well_inside]
    steep, measured = 100 * np.hypot(*true), 100 * np.hypot(*seen)
    low, high = slope_band_pct(measured, sigma=sigma)
    below, above = steep < low, steep > high
    assert below.mean() == pytest.approx(0.05, abs=0.002)
    assert above.mean() == pytest.approx(0.05, abs=0.002)
    level = measured < 100 * sigma
    assert level.sum() > 5000
    assert (below | above)[level].mean() == pytest.approx(0.10, abs=0.015)
    low, high = across_band_pct(100 * seen[0], sigma=sigma)
    size = 100 * np.abs(true[0])
    assert ((size < low) | (size > high)).mean() == pytest.approx(0.10, abs=0.002)


slopes = st.floats(0.0, 300.0)
errors = st.floats(0.0, 0.5)
shares = st.floats(0.01, 0.999)


@given(percent=slopes, sigma=errors, more=st.floats(0.0, 0.5), share=shares)
def test_a_larger_error_never_lowers_the_high_end_property(
    percent: float, sigma: float, more: float, share: float
) -> None:
    """Property: knowing less of the heights never makes the ground less steep at its worst."""
    for band in (slope_band_pct, across_band_pct):
        high = float(band(percent, sigma=sigma, share=share)[1])
        assert float(band(percent, sigma=sigma + more, share=share)[1]) >= high - 0.02 * sigma


@given(percent=slopes, sigma=errors, share=shares, side=st.sampled_from([-1, 1]))
def test_the_ends_are_in_order_and_a_wider_share_holds_a_narrower_property(
    percent: float, sigma: float, share: float, side: int
) -> None:
    """Property: 0 <= low <= high; a band that must hold more is no narrower."""
    for band, measured in ((slope_band_pct, percent), (across_band_pct, side * percent)):
        low, high = (float(end) for end in band(measured, sigma=sigma, share=share))
        assert 0.0 <= low <= high
        narrow = [float(end) for end in band(measured, sigma=sigma, share=share / 2)]
        assert low <= narrow[0] + 0.02 * sigma
        assert high >= narrow[1] - 0.02 * sigma


def test_no_error_and_no_knowledge_by_hand() -> None:
    """By hand: heights without error have the slope they have; unknown figures have no band."""
    measured = np.array([[0.0, 12.5, np.nan]])
    for band in (slope_band_pct, across_band_pct):
        low, high = band(measured, sigma=0.0)
        assert np.array_equal(low, measured, equal_nan=True)
        assert np.array_equal(high, measured, equal_nan=True)
        for sigma in (math.nan, math.inf, -0.1):
            assert np.isnan(band(measured, sigma=sigma)).all()
        low, high = band(measured, sigma=np.array([[0.02], [math.nan]]))
        assert np.isnan(high).tolist() == [[False, False, True], [True, True, True]]


@pytest.mark.parametrize("share", [0.0, 1.0, 1.5, -0.1, math.nan])
def test_a_share_that_is_none_is_refused_by_hand(share: float) -> None:
    """By hand."""
    for band in (slope_band_pct, across_band_pct):
        with pytest.raises(InputError, match="between 0 and 1"):
            band(10.0, sigma=0.02, share=share)
