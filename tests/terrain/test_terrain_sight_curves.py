"""Sight over crests of roads against the published lengths of vertical curves."""

from __future__ import annotations

import math

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS, Transformer

from fieldmap.grid import Grid
from fieldmap.terrain.sight import sight_ahead
from fieldmap.units import METRE_PER_FOOT

UTM = CRS.from_epsg(32615)
EAST, NORTH = 500_000.0, 4_500_000.0


def crest(along_m, *, up_pct: float, down_pct: float, length_m: float):
    """A parabola between two grades, the middle of its tangents at 0."""
    at = np.clip(along_m + length_m / 2, 0, length_m)
    start, change = up_pct / 100, (up_pct + down_pct) / 100
    curve = start * at - change * at**2 / (2 * length_m)
    before = np.minimum(along_m + length_m / 2, 0) * start
    after = np.maximum(along_m - length_m / 2, 0) * -down_pct / 100
    return 100.0 + curve + before + after


def shortest(grid: Grid, heading: float, *, eye_m: float, target_m: float, range_m: float) -> float:
    inside = np.zeros(grid.shape, bool)
    inside[1:-1, 1:-1] = True
    found = sight_ahead(
        grid, inside, np.array([heading]), crs=UTM, eye_m=eye_m, target_m=target_m, range_m=range_m
    )
    assert not np.isnan(found[0, inside]).any()
    return float(found[0, inside].min())


def road(half_m: float, step_m: float, **grades: float) -> Grid:
    """Three rows alike, running east."""
    count = round(half_m / step_m)
    along = np.arange(-count, count + 1) * step_m
    values = np.tile(crest(along, **grades), (3, 1))
    place = Affine(step_m, 0, EAST, 0, -step_m, NORTH)
    return Grid(values.astype(np.float32), place, UTM, "m", "elevation")


@pytest.mark.parametrize(
    ("change_pct", "length_ft", "sight_ft"),
    [(8.0, 669.60, 425.0), (6.0, 681.26, 495.0), (5.0, 68.40, 250.0)],
    ids=["S < L, 50 mph", "S < L, 55 mph", "S > L"],
)
def test_crest_in_feet_referee(change_pct: float, length_ft: float, sight_ft: float) -> None:
    """Referee: AASHTO crest formula, eye 3.5 ft, object 2.0 ft; within one step of half a foot."""
    foot = METRE_PER_FOOT
    half = change_pct / 2
    grid = road(
        900 * foot, 0.5 * foot, up_pct=half, down_pct=half, length_m=length_ft * foot
    )  # fmt: skip
    eyes = {"eye_m": 3.5 * foot, "target_m": 2.0 * foot, "range_m": 600 * foot}
    for heading in (90.0, 270.0):
        assert shortest(grid, heading, **eyes) / foot == pytest.approx(sight_ft, abs=0.5001)


def test_crest_in_metres_referee() -> None:
    """Referee: AASHTO metric, A 8 %, L 134.04 m, 1.08 and 0.60 m: 105.0 m, in steps of 0.1 m."""
    grid = road(250.0, 0.1, up_pct=4.0, down_pct=4.0, length_m=134.04)
    found = shortest(grid, 90.0, eye_m=1.08, target_m=0.60, range_m=150.0)
    assert found == pytest.approx(105.0, abs=0.1001)


@pytest.mark.parametrize("heading", [90.0, 270.0])
def test_unlike_grades_referee(heading: float) -> None:
    """Referee: Rogers, Highway Engineering, example 6.8: +4/-2.5 %, S 160 m, 1.05 and 0.26 m.

    The book prints L = 353 m for 353.29; 160 m within the rounding (0.07 m) and one step of 0.1 m.
    """
    grid = road(400.0, 0.1, up_pct=4.0, down_pct=2.5, length_m=353.0)
    found = shortest(grid, heading, eye_m=1.05, target_m=0.26, range_m=250.0)
    assert found == pytest.approx(160.0, abs=0.17)


def test_a_thing_as_flat_as_the_road_referee() -> None:
    """Referee: the same example with an object of no height: L 792.38 m; steps of 1 m."""
    grid = road(700.0, 1.0, up_pct=4.0, down_pct=2.5, length_m=792.38)
    found = shortest(grid, 90.0, eye_m=1.05, target_m=0.0, range_m=250.0)
    assert found == pytest.approx(160.0, abs=1.001)


LON, LAT = -90.2, 45.0  # near the edge of the zone: grid north and true north differ by 2 degrees


@pytest.mark.parametrize("heading", [90.0, 37.0, 251.0])
@pytest.mark.parametrize(
    ("epsg", "cell", "turn"),
    [(32615, 0.5, 0.0), (32615, 0.5, 33.0), (4326, 6e-6, 0.0), (2288, 1.6, 0.0), (2288, 1.6, 71.0)],
    ids=["metres", "turned", "degrees", "feet", "feet, turned"],
)
def test_crest_on_any_cells_referee(epsg: int, cell: float, turn: float, heading: float) -> None:
    """Referee: the AASHTO crest of 105.0 m, lying any way, on cells of other systems.

    Within one step and what cells that the crest crosses slantwise take away: 0.6 m. Feet taken
    for metres, or true north for grid north, would be far off.
    """
    crs = CRS.from_epsg(epsg)
    move = Transformer.from_crs(crs, UTM, always_xy=True)
    x, y = Transformer.from_crs(4326, epsg, always_xy=True).transform(LON, LAT)
    size = 340
    place = (
        Affine.translation(x, y)
        @ Affine.rotation(turn)
        @ Affine.scale(cell, -cell)
        @ Affine.translation(-size / 2, -size / 2)
    )
    rows, columns = np.indices((size, size))
    east, north = move.transform(*(place @ (columns + 0.5, rows + 0.5)))
    middle = move.transform(x, y)
    way = math.radians(heading)
    along = (east - middle[0]) * math.sin(way) + (north - middle[1]) * math.cos(way)
    # a crest in half the size, so that few cells hold it: lengths and heights go by one scale
    values = crest(along * 2, up_pct=4.0, down_pct=4.0, length_m=134.04) / 2
    grid = Grid(values.astype(np.float32), place, crs, "m", "elevation")
    found = shortest(grid, heading, eye_m=0.54, target_m=0.30, range_m=80.0)
    assert found == pytest.approx(52.5, abs=0.6)
