"""Parallel lines: all of the ground, nothing outside it, no more than is needed."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.hazards.lines import search_lines

EDGE_M = 1e-6


def lengths(ground: shapely.Geometry, **asked: float) -> list[float]:
    return sorted(shapely.length(search_lines(ground, **asked).lines).round(6).tolist())


def from_lines_m(ground: shapely.Geometry, lines: np.ndarray) -> np.ndarray:
    """How far each place of a fine raster of the ground is from the nearest line."""
    west, south, east, north = ground.bounds
    x, y = np.meshgrid(np.linspace(west, east, 51), np.linspace(south, north, 51))
    shapely.prepare(ground)
    inside = shapely.intersects_xy(ground, x, y)
    places = np.append(shapely.points(x[inside], y[inside]), shapely.point_on_surface(ground))
    found = shapely.STRtree(lines).query_nearest(places, all_matches=False, return_distance=True)
    return np.asarray(found[1])


def test_a_rectangle_gets_six_long_lines() -> None:
    """By hand: 100 x 60 m, 10 m apart: six lines of 100 m, the first 5 m in from the edge."""
    laid = search_lines(shapely.box(0, 0, 100, 60), spacing_m=10)
    assert laid.bearing_deg == 90.0
    assert shapely.length(laid.lines).tolist() == pytest.approx([100] * 6)
    middles = sorted(line.centroid.y for line in laid.lines)
    assert middles == pytest.approx([5, 15, 25, 35, 45, 55])


def test_lines_run_as_asked() -> None:
    """By hand: due north over the same rectangle: ten lines of 60 m, each straight up."""
    laid = search_lines(shapely.box(0, 0, 100, 60), spacing_m=10, bearing_deg=180)
    assert laid.bearing_deg == 0.0
    ends = shapely.get_coordinates(laid.lines).reshape(-1, 2, 2)
    assert len(ends) == 10
    assert ends[:, 0, 0] == pytest.approx(ends[:, 1, 0])
    assert sorted(ends[:, 0, 0]) == pytest.approx(np.arange(5, 100, 10))


def test_lines_are_never_farther_apart_than_asked() -> None:
    """By hand: 60 m at most 7 m apart is nine strips of 6.67 m; no strip is left over."""
    laid = search_lines(shapely.box(0, 0, 100, 60), spacing_m=7)
    across = np.sort([line.centroid.y for line in laid.lines])
    assert len(across) == 9
    assert np.diff(across) == pytest.approx(60 / 9)
    assert across[0] == pytest.approx(60 / 18)


def test_an_l_keeps_to_its_legs() -> None:
    """By hand: an L of two legs 40 m wide: four lines of 100 m and six of 40 m."""
    ell = shapely.Polygon([(0, 0), (100, 0), (100, 40), (40, 40), (40, 100), (0, 100)])
    assert lengths(ell, spacing_m=10) == pytest.approx([40] * 6 + [100] * 4)


def test_a_pond_is_left_out() -> None:
    """By hand: a square pond of 20 m in 100 x 100 m cuts the two lines that meet it in two."""
    ground = shapely.difference(shapely.box(0, 0, 100, 100), shapely.box(40, 40, 60, 60))
    assert lengths(ground, spacing_m=10) == pytest.approx([40] * 4 + [100] * 8)


def test_two_pieces_are_both_laid() -> None:
    """By hand: two pieces 30 m and 14 m wide, 10 m apart: three strips and two."""
    two = shapely.union(shapely.box(0, 0, 100, 30), shapely.box(0, 200, 100, 214))
    laid = search_lines(two, spacing_m=10)
    middles = sorted(line.centroid.y for line in laid.lines)
    assert middles == pytest.approx([5, 15, 25, 203.5, 210.5])


@pytest.mark.parametrize("turn_deg", [0, 37, 90])
def test_a_narrow_arm_between_two_lines_gets_a_line(turn_deg: float) -> None:
    """By hand: an arm 3 m wide and 60 m long at any angle is walked nearly to its end."""
    arm = shapely.affinity.rotate(shapely.box(90, 48.5, 160, 51.5), turn_deg, origin=(50, 50))
    ground = shapely.union(shapely.box(0, 0, 100, 100), arm)
    laid = search_lines(ground, spacing_m=10)
    tip = shapely.affinity.rotate(shapely.Point(160, 50), turn_deg, origin=(50, 50))
    assert shapely.distance(shapely.union_all(laid.lines), tip) < 5


def test_ground_narrower_than_everything_still_gets_one_line() -> None:
    """By hand: a strip 1 m wide and a piece of 2 x 2 m, lines 300 m apart."""
    assert lengths(shapely.box(0, 0, 50, 1), spacing_m=300) == pytest.approx([50])
    assert lengths(shapely.box(0, 0, 2, 2), spacing_m=300) == pytest.approx([2])


def test_no_ground_no_lines() -> None:
    """By hand: nothing, a line and a point have no area; a spacing of nothing is refused."""
    nothing = (shapely.Polygon(), shapely.LineString([(0, 0), (1, 1)]), shapely.Point(0, 0))
    for ground in nothing:
        laid = search_lines(ground, spacing_m=10)
        assert len(laid.lines) == 0
        assert math.isnan(laid.bearing_deg)
    for spacing_m in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(ValueError, match="spacing"):
            search_lines(shapely.box(0, 0, 1, 1), spacing_m=spacing_m)


def test_the_best_bearing_has_the_fewest_lines_of_all() -> None:
    """Referee: every whole degree tried on a turned rectangle; none needs fewer lines."""
    ground = shapely.affinity.rotate(shapely.box(0, 0, 200, 55), 23)
    best = search_lines(ground, spacing_m=10)
    assert best.bearing_deg == pytest.approx(67, abs=0.01)
    counts = [len(search_lines(ground, spacing_m=10, bearing_deg=b).lines) for b in range(180)]
    assert len(best.lines) <= min(counts)


metres = st.integers(0, 30_000).map(lambda cm: cm / 100)
places = st.tuples(metres, metres)
hulls = (
    st.lists(places, min_size=3, max_size=12)
    .map(lambda some: shapely.MultiPoint(some).convex_hull)
    .filter(lambda hull: hull.area > 100)
)


@given(
    sides=st.tuples(st.floats(1, 300), st.floats(1, 300)),
    turn_deg=st.floats(0, 180),
    spacing_m=st.floats(2, 40),
)
def test_all_of_a_rectangle_is_within_half_a_spacing(
    sides: tuple[float, float], turn_deg: float, spacing_m: float
) -> None:
    """Property: any rectangle at any angle, a thousandth for the bearing's two decimals."""
    ground = shapely.affinity.rotate(shapely.box(0, 0, *sides), turn_deg)
    laid = search_lines(ground, spacing_m=spacing_m)
    limit_m = 0.5 * spacing_m + 0.001 * max(sides)
    assert from_lines_m(ground, laid.lines).max() <= limit_m


@given(ground=hulls, spacing_m=st.floats(2, 40), bearing_deg=st.floats(0, 360))
def test_all_of_convex_ground_is_near_a_line(
    ground: shapely.Geometry, spacing_m: float, bearing_deg: float
) -> None:
    """Property: places beside a line are within half a spacing of it; off the ends of lines,
    along slanting edges and in tips like needles, it is more for at most a tenth of ground that
    is no mere scrap or strip narrower than a spacing, nowhere more than a spacing and a half."""
    corners = shapely.minimum_rotated_rectangle(ground).exterior.coords
    narrow_m = min(math.dist(corners[0], corners[1]), math.dist(corners[1], corners[2]))
    scrap = ground.area < 4 * spacing_m**2 or narrow_m < spacing_m
    for bearing in (None, bearing_deg):
        laid = search_lines(ground, spacing_m=spacing_m, bearing_deg=bearing)
        away = from_lines_m(ground, laid.lines) / spacing_m
        assert away.max() <= 1.5
        assert (away <= 0.61).mean() >= 0.9 or scrap


rings = st.lists(st.tuples(places, st.floats(4, 60)), min_size=1, max_size=7)


@given(made=rings, holes=rings, spacing_m=st.floats(2, 30))
def test_lines_stay_on_any_ground_and_reach_every_piece(
    made: list[tuple[tuple[float, float], float]],
    holes: list[tuple[tuple[float, float], float]],
    spacing_m: float,
) -> None:
    """Property: pieces, holes and bays: lines inside, the same twice, one in every piece, and
    nothing farther than a spacing and a half from a line."""
    discs, taken = (
        shapely.union_all([shapely.Point(xy).buffer(r, quad_segs=4) for xy, r in some])
        for some in (made, holes)
    )
    ground = shapely.difference(discs, shapely.buffer(taken, -3))
    laid = search_lines(ground, spacing_m=spacing_m)
    again = search_lines(ground, spacing_m=spacing_m)
    assert shapely.equals_exact(laid.lines, again.lines).all()
    if ground.is_empty:
        return
    assert shapely.covers(shapely.buffer(ground, EDGE_M), laid.lines).all()
    assert from_lines_m(ground, laid.lines).max() <= 1.5 * spacing_m
    for piece in shapely.get_parts(ground):
        assert shapely.intersects(shapely.buffer(piece, EDGE_M), laid.lines).any()
