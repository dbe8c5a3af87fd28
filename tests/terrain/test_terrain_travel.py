"""Slope along and across a heading, against the small table that vectors give."""

from __future__ import annotations

import numpy as np
import pytest
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from fieldmap.grid import Grid
from fieldmap.terrain.slope import Slope
from fieldmap.terrain.travel import across_pct, across_rms_pct, across_shares, along_pct, headings


def ground(percent: object, aspect: object) -> Slope:
    cells = Grid(
        np.atleast_2d(np.asarray(percent, np.float32)),
        Affine(10, 0, 0, 0, -10, 0),
        CRS.from_epsg(32615),
        "%",
        "slope_pct",
    )
    facing = np.atleast_2d(np.asarray(aspect, float))
    return Slope(cells, cells.with_values(facing, unit="deg", name="aspect_deg"))


@pytest.mark.parametrize(
    ("heading", "along", "across"),
    [
        (180.0, -20.0, 0.0),
        (90.0, 0.0, -20.0),
        (135.0, -14.142135623, -14.142135623),
        (45.0, 14.142135623, -14.142135623),
        (0.0, 20.0, 0.0),
        (270.0, 0.0, 20.0),
    ],
)
def test_along_and_across_referee(heading: float, along: float, across: float) -> None:
    """Referee: plane vector algebra for 20 % facing south; 1e-9 less what float32 takes away."""
    south = ground(20.0, 180.0)
    assert float(along_pct(south, heading).values[0, 0]) == pytest.approx(along, abs=3e-6)
    assert float(across_pct(south, heading).values[0, 0]) == pytest.approx(across, abs=3e-6)


@given(
    percent=st.floats(0.01, 300.0),
    aspect=st.floats(0.0, 359.99),
    heading=st.floats(0.0, 720.0),
    turn=st.floats(0.0, 360.0),
)
def test_along_and_across_make_up_the_slope_property(
    percent: float, aspect: float, heading: float, turn: float
) -> None:
    """Property: the two add up to the slope as sides of a right angle; turning all changes none."""
    here = ground(percent, aspect)
    along = float(along_pct(here, heading).values[0, 0])
    across = float(across_pct(here, heading).values[0, 0])
    assert np.hypot(along, across) == pytest.approx(percent, rel=1e-4)
    turned = ground(percent, (aspect + turn) % 360.0)
    slack = 1e-4 * percent
    assert float(along_pct(turned, heading + turn).values[0, 0]) == pytest.approx(along, abs=slack)
    back = float(across_pct(here, heading + 180.0).values[0, 0])
    assert back == pytest.approx(-across, abs=slack)


def test_unknown_slope_stays_unknown_by_hand() -> None:
    """By hand: no slope, no side slope; level ground has none either way."""
    here = ground([[np.nan, 0.0]], [[np.nan, np.nan]])
    across = across_pct(here, 30.0).values
    assert np.isnan(across[0, 0])
    assert across[0, 1] == 0.0


def test_shares_by_hand() -> None:
    """By hand: of four cells, one unknown; across a slope of 20 % one in three reaches 20."""
    here = ground([[20.0, 10.0, 2.0, np.nan]], [[180.0, 180.0, 180.0, 180.0]])
    shares = across_shares(here, np.ones((1, 4), bool), np.array([0.0, 90.0]), (19.999, 9.999))
    assert shares[0].tolist() == [0.0, 0.0]
    assert shares[1] == pytest.approx([1 / 3, 2 / 3])


def test_shares_of_nothing_known_are_unknown_by_hand() -> None:
    """By hand: nothing known, or no cell inside, is no share of zero."""
    here = ground([[np.nan, 5.0]], [[np.nan, 90.0]])
    outside = np.array([[True, False]])
    assert np.isnan(across_shares(here, outside, headings(4), (25.0, 15.0))).all()


def test_side_slope_over_all_by_hand() -> None:
    """By hand: 30 % and 40 % facing south: run east, root of (900 + 1600) / 2; run south, none."""
    here = ground([[30.0, 40.0, np.nan]], [[180.0, 180.0, 180.0]])
    rms = across_rms_pct(here, np.ones((1, 3), bool), np.array([90.0, 180.0]))
    assert rms == pytest.approx([35.355339, 0.0], abs=1e-5)
    assert np.isnan(across_rms_pct(here, np.zeros((1, 3), bool), np.array([90.0]))).all()


def test_a_limit_that_is_reached_counts_by_hand() -> None:
    """By hand: a cell at the limit has reached it."""
    here = ground([[25.0]], [[90.0]])
    shares = across_shares(here, np.ones((1, 1), bool), np.array([0.0]), (25.0, 15.0))
    assert shares.tolist() == [[1.0, 1.0]]
