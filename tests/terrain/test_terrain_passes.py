"""Runs, laps and minutes against shapely's strips, against a raster count, and by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity

from fieldmap.errors import InputError
from fieldmap.tables import load_tables
from fieldmap.terrain.passes import Passes, headland, minutes, passes, run_lines

NAN = float("nan")
ALONG, ACROSS = 90.0, 0.0  # of a field that is long from west to east
BOX = shapely.box(0, 0, 100, 40)
#: An U of two arms 40 m wide and 60 m long, over a foot 40 m deep; the arms stand 20 m apart.
U_SHAPE = shapely.union_all(
    [shapely.box(0, 0, 100, 40), shapely.box(0, 40, 40, 100), shapely.box(60, 40, 100, 100)]
)
HOLED = shapely.difference(BOX, shapely.box(40, 16, 60, 24))


def star(radii: list[float], *, hole: float = 0.0) -> shapely.Polygon:
    """Corners evenly round the compass at the given distances; a star-shaped field."""
    turn = np.linspace(0.0, 2.0 * np.pi, len(radii), endpoint=False)
    shell = np.array(radii)[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    return shapely.Polygon(shell, [shell[::-1] * hole] if hole else None)


stars = st.builds(
    star,
    st.lists(st.floats(60.0, 200.0), min_size=5, max_size=24),
    hole=st.sampled_from([0.0, 0.2, 0.4]),
)
widths = st.floats(2.0, 12.0)
bearings = st.floats(0.0, 180.0)


def found(ground: shapely.Geometry, heading: float, width: float, join: float = 0.0) -> list[float]:
    """Runs, metres and turns of one heading."""
    seen = passes(ground, [heading], width_m=width, join_m=join)
    return [float(seen.runs[0]), float(seen.length_m[0]), float(seen.turns[0])]


def spans_by_shapely(
    ground: shapely.Geometry, heading: float, width: float, join: float
) -> list[tuple[float, float]]:
    """The same runs by cutting out every strip of every piece and looking at what comes out."""
    level = affinity.rotate(ground, heading - 90.0, origin=(0, 0))
    runs = []
    for piece in shapely.get_parts(level):
        west, south, east, north = piece.bounds
        count = math.ceil((north - south - 0.001) / width)
        step = (north - south) / count
        for k in range(count):
            strip = shapely.box(west - 1, south + k * step, east + 1, south + (k + 1) * step)
            parts = shapely.get_parts(shapely.intersection(piece, strip))
            boxes = sorted(
                (part.bounds[0], part.bounds[2])
                for part in parts
                if part.area > 0 and part.bounds[3] - part.bounds[1] > 0.001
            )
            merged: list[list[float]] = []
            for low, high in boxes:
                if merged and low - merged[-1][1] < max(join, 0.002):
                    merged[-1][1] = max(merged[-1][1], high)
                else:
                    merged.append([low, high])
            runs += [(low, high) for low, high in merged]
    return runs


def test_a_rectangle_by_hand() -> None:
    """By hand: 40 m by 4 m is ten runs of 100 m; the other way 25 of 40 m; askew more."""
    assert found(BOX, ALONG, 4.0) == pytest.approx([10, 1000, 9])
    assert found(BOX, ACROSS, 4.0) == pytest.approx([25, 1000, 24])
    assert found(BOX, ALONG, 4.1) == pytest.approx([10, 1000, 9])
    assert found(BOX, ALONG, 3.9) == pytest.approx([11, 1100, 10])
    # at 45 degrees the strips' wedges lie across 140 / sqrt 2 m: 24.7 strips, so 25
    assert found(BOX, 45.0, 4.0)[0] == 25


def test_a_concave_field_by_hand() -> None:
    """By hand: ten runs over the foot, then each of 15 strips is split by the 20 m gap; where
    gaps up to 25 m are driven through there are 25 runs of 100 m. Lengthwise nothing is split:
    ten runs up each arm, five of 40 m under the gap."""
    assert found(U_SHAPE, ALONG, 4.0, join=10.0) == pytest.approx([10 + 30, 1000 + 15 * 80, 39])
    assert found(U_SHAPE, ALONG, 4.0, join=25.0) == pytest.approx([25, 2500, 24])
    assert found(U_SHAPE, ACROSS, 4.0, join=10.0) == pytest.approx([25, 20 * 100 + 5 * 40, 24])


def test_a_hole_in_the_middle_by_hand() -> None:
    """By hand: the hole takes two whole strips of ten: 8 runs of 100 m and 4 of 40 m; across,
    five strips of 25 are split in two of 16 m. A strip that the hole only fills half is whole."""
    assert found(HOLED, ALONG, 4.0, join=10.0) == pytest.approx([12, 960, 11])
    assert found(HOLED, ACROSS, 4.0, join=5.0) == pytest.approx([30, 960, 29])
    low = shapely.difference(BOX, shapely.box(40, 18, 60, 24))
    assert found(low, ALONG, 4.0) == pytest.approx([11, 980, 10])


def test_a_triangle_by_hand() -> None:
    """By hand: 40 m high on a foot of 100 m; a strip is as long as its lower, longer side:
    100, 90, ... 10 m, and not what its middle line would give (95, 85, ...)."""
    triangle = shapely.Polygon([(0, 0), (100, 0), (0, 40)])
    assert found(triangle, ALONG, 4.0) == pytest.approx([10, 550, 9], abs=0.1)
    assert found(triangle, ACROSS, 4.0) == pytest.approx([25, sum(range(1, 26)) * 1.6, 24], abs=0.1)


def test_narrow_and_empty_ground_by_hand() -> None:
    """By hand: narrower than one width is one run; no ground is no run and no turn, not -1."""
    assert found(shapely.box(0, 0, 100, 3), ALONG, 4.0) == pytest.approx([1, 100, 0])
    assert found(shapely.box(0, 0, 100, 3), ACROSS, 4.0) == pytest.approx([25, 75, 24])
    assert found(shapely.Polygon(), ALONG, 4.0) == [0, 0, 0]
    assert found(shapely.box(0, 0, 0, 3).boundary, ALONG, 4.0) == [0, 0, 0]


def test_two_parts_are_mown_by_themselves_by_hand() -> None:
    """By hand: two parts 6 m wide take two runs each, though both together lie across 14 m."""
    parts = shapely.multipolygons([shapely.box(0, 0, 50, 6), shapely.box(0, 8, 30, 14)])
    assert found(parts, ALONG, 4.0) == pytest.approx([4, 160, 3])


def test_laps_by_hand() -> None:
    """By hand: middle lines 2 m and 6 m inside; round a hole they are 2 m and 6 m outside, with
    quarter circles at its corners; what is left is 8 m from both."""
    plain = headland(BOX, width_m=4.0, laps=2)
    assert plain.lap_m == pytest.approx([2 * (96 + 36), 2 * (88 + 28)])
    assert plain.inner.bounds == pytest.approx((8, 8, 92, 32))
    assert plain.inner.area == pytest.approx(84 * 24)
    large = shapely.difference(shapely.box(0, 0, 100, 100), shapely.box(45, 45, 55, 55))
    holed = headland(large, width_m=4.0, laps=2)
    round_hole = [40 + 2 * math.pi * 2, 40 + 2 * math.pi * 6]
    assert holed.lap_m == pytest.approx([4 * 96 + round_hole[0], 4 * 88 + round_hole[1]], rel=1e-3)
    assert holed.inner.area == pytest.approx(84**2 - (100 + 40 * 8 + math.pi * 64), rel=1e-3)
    assert headland(BOX, width_m=4.0, laps=0).inner == BOX
    assert headland(BOX, width_m=4.0, laps=0).lap_m.size == 0


def test_what_is_too_narrow_for_a_lap_is_left_by_hand() -> None:
    """By hand: of 10 m the first lap takes 4 m on both sides; the second finds 2 m and cannot
    enter them: they stay for one run. Two fields joined by a 3 m neck: the neck stays, but for
    what a square corner of the lap takes of its mouths, 1.5 m x 1.5 x 1.5 / sqrt(4 - 2.25) each."""
    thin = headland(shapely.box(0, 0, 100, 10), width_m=4.0, laps=2)
    assert thin.lap_m == pytest.approx([2 * (96 + 6), 0])
    assert thin.inner.bounds == pytest.approx((4, 4, 96, 6), abs=0.01)
    assert found(thin.inner, ALONG, 4.0) == pytest.approx([1, 92, 0], abs=0.01)
    neck = shapely.union_all([shapely.box(0, 0, 40, 40), shapely.box(40, 20, 80, 23),
                              shapely.box(80, 0, 120, 40)])  # fmt: skip
    left = shapely.get_parts(headland(neck, width_m=4.0, laps=2).inner)
    assert len(left) == 3
    assert min(shapely.area(left)) == pytest.approx(120 - 2 * 1.5**3 / math.sqrt(1.75), rel=0.01)


def test_a_sharp_tip_by_hand() -> None:
    """By hand: a tip of 10 degrees is left by the lap, and let go when scraps may be large."""
    tip = shapely.Polygon([(0, 0), (200, 0), (200, 200 * math.tan(math.radians(10)))])
    assert len(shapely.get_parts(headland(tip, width_m=4.0, laps=1).inner)) > 1
    assert len(shapely.get_parts(headland(tip, width_m=4.0, laps=1, scrap_squares=3).inner)) == 1


def test_run_lines_by_hand() -> None:
    """By hand: the first arm of the U is finished before the second, and every line turns back."""
    lines = run_lines(U_SHAPE, ALONG, width_m=4.0, join_m=10.0)
    middle = shapely.get_coordinates(shapely.centroid(lines))
    assert middle[:15, 0] == pytest.approx([20] * 15)
    assert np.diff(middle[:15, 1]) == pytest.approx(-4.0)
    steps = shapely.get_coordinates(lines).reshape(-1, 2, 2)
    east = np.sign(steps[:, 1, 0] - steps[:, 0, 0])
    assert east.tolist() == [1.0 if at % 2 == 0 else -1.0 for at in range(40)]
    shorter = shapely.difference(U_SHAPE, shapely.box(0, 80, 40, 100))
    lines = run_lines(shorter, ALONG, width_m=4.0, join_m=10.0)
    middle = shapely.get_coordinates(shapely.centroid(lines))
    assert middle[:25, 0] == pytest.approx([80] * 15 + [50] * 10)  # the longer arm, the foot
    assert middle[25:, 0] == pytest.approx([20] * 10)


@settings(max_examples=60)
@given(ground=stars, heading=bearings, width=widths, turn=st.floats(-360.0, 360.0))
def test_turning_field_and_heading_together_property(
    ground: shapely.Polygon, heading: float, width: float, turn: float
) -> None:
    """Property: the same field turned clockwise, with its heading, has the same runs."""
    other = affinity.rotate(ground, -turn, origin=(0, 0))
    assert found(other, heading + turn, width, 10.0) == pytest.approx(
        found(ground, heading, width, 10.0), rel=1e-6
    )


@settings(max_examples=60)
@given(ground=stars, heading=bearings, width=widths)
def test_where_it_lies_and_which_way_does_not_matter_property(
    ground: shapely.Polygon, heading: float, width: float
) -> None:
    """Property: far from the origin, as a UTM field lies, and driven the other way round."""
    here = found(ground, heading, width, 10.0)
    far = affinity.translate(ground, 500_000.3, 4_500_000.7)
    assert found(far, heading, width, 10.0) == pytest.approx(here, rel=1e-6)
    assert found(ground, heading + 180.0, width, 10.0) == pytest.approx(here, rel=1e-6)


@settings(max_examples=60)
@given(ground=stars, heading=bearings, width=widths, wider=st.floats(0.0, 8.0))
def test_a_wider_machine_never_needs_more_runs_property(
    ground: shapely.Polygon, heading: float, width: float, wider: float
) -> None:
    """Property: on a convex field; there the runs are its extent over the width, rounded up."""
    hull = ground.convex_hull
    runs = found(hull, heading, width)[0]
    assert found(hull, heading, width + wider)[0] <= runs
    level = affinity.rotate(hull, heading - 90.0).bounds
    assert runs == math.ceil((level[3] - level[1] - 0.001) / width)


@settings(max_examples=60)
@given(ground=stars, heading=bearings, width=widths, join=st.sampled_from([0.0, 10.0, 30.0]))
def test_runs_hold_all_the_ground_property(
    ground: shapely.Polygon, heading: float, width: float, join: float
) -> None:
    """Property: length times width is no less than the area; joining gaps takes runs away and
    adds length; the lines drawn are the runs counted."""
    runs, length, turns = found(ground, heading, width, join)
    split = found(ground, heading, width)
    assert length * width >= ground.area * (1 - 1e-4)
    assert runs <= split[0]
    assert length >= split[1] - 1e-6
    assert turns == runs - 1
    lines = run_lines(ground, heading, width_m=width, join_m=join)
    assert len(lines) == runs
    assert shapely.length(lines).sum() == pytest.approx(length)


big_stars = st.builds(
    star,
    st.lists(st.floats(100.0, 250.0), min_size=5, max_size=24),
    hole=st.sampled_from([0.0, 0.2, 0.4]),
)


@settings(max_examples=25)
@given(
    ground=big_stars,
    heading=bearings,
    width=st.floats(2.0, 4.5),
    laps=st.integers(0, 4),
    scrap=st.sampled_from([0.0, 1.0]),
)
def test_laps_and_runs_cover_the_field_property(
    ground: shapely.Polygon, heading: float, width: float, laps: int, scrap: float
) -> None:
    """Property: of places on a fine grid over the field 99 % are mown by a run or a lap (round
    corners); the laps' middle lines are drawn here from their definition."""
    found_laps = headland(ground, width_m=width, laps=laps, scrap_squares=scrap)
    middles = [ground.buffer(-(k + 0.5) * width).boundary for k in range(laps)]
    assert found_laps.lap_m == pytest.approx([one.length for one in middles], rel=1e-2)
    lines = run_lines(found_laps.inner, heading, width_m=width)
    mown = shapely.union_all(
        [*shapely.buffer(lines, width / 2, cap_style="flat"), *shapely.buffer(middles, width / 2)]
    )
    side = np.linspace(-250.0, 250.0, 250)
    x, y = (axis.ravel() for axis in np.meshgrid(side, side))
    shapely.prepare([ground, mown])
    inside = shapely.contains_xy(ground, x, y)
    assert shapely.contains_xy(mown, x[inside], y[inside]).mean() >= 0.99


@pytest.mark.parametrize("join", [0.0, 10.0])
def test_shapely_strips_referee(join: float) -> None:
    """Referee: shapely (GEOS) cuts out every strip of 400 made fields, holes and two parts among
    them; as many runs, and their length within 1e-5 (ground that reaches less than a millimetre
    into a strip counts as none)."""
    rng = np.random.default_rng(12)
    for at in range(400):
        corners = rng.integers(5, 40)
        ground = star(list(rng.uniform(40.0, 200.0, corners)), hole=(0.0, 0.25, 0.5)[at % 3])
        if at % 5 == 0:
            second = affinity.translate(star(list(rng.uniform(20.0, 60.0, 9))), 300.0, 33.0)
            ground = shapely.multipolygons([ground, second])
        heading, width = rng.uniform(0.0, 180.0), rng.uniform(2.0, 12.0)
        spans = spans_by_shapely(ground, heading, width, join)
        runs, length, _ = found(ground, heading, width, join)
        assert runs == len(spans), (at, heading, width)
        assert length == pytest.approx(sum(high - low for low, high in spans), rel=1e-5)


def test_many_corners_in_one_strip_referee() -> None:
    """Referee: shapely on a comb of 200 teeth, more ends of edges than are sorted one by one."""
    teeth = [shapely.box(5 * k, 2, 5 * k + 2, 30) for k in range(200)]
    comb = shapely.union_all([shapely.box(0, 0, 1000, 3), *teeth])
    for turn in (0.0, 180.0, 30.0):
        ground = affinity.rotate(comb, -turn, origin=(0, 0))
        spans = spans_by_shapely(ground, ALONG + turn, 10.0, 0.0)
        assert found(ground, ALONG + turn, 10.0)[0] == len(spans) == 401
        assert found(ground, ALONG + turn, 10.0, 4.0)[0] == 3


def unknown(seen: Passes) -> list[bool]:
    return np.isnan([seen.runs, seen.length_m, seen.turns]).all(axis=0).tolist()


def test_unknown_stays_unknown_by_hand() -> None:
    """By hand: no width, no outline, no heading, no number of laps: no figure, and no line."""
    assert unknown(passes(BOX, [0, 90], width_m=NAN)) == [True, True]
    assert unknown(passes(None, [0, 90], width_m=4.0)) == [True, True]
    assert unknown(passes(BOX, [0, NAN, 90], width_m=4.0)) == [False, True, False]
    assert unknown(passes(BOX, [0], width_m=4.0, join_m=NAN)) == [True]
    for laps in (headland(BOX, width_m=NAN, laps=2), headland(BOX, width_m=4.0, laps=NAN),
                 headland(None, width_m=4.0, laps=2)):  # fmt: skip
        assert laps.inner is None
        assert np.isnan(laps.lap_m.sum())
        assert unknown(passes(laps.inner, [0], width_m=4.0)) == [True]
    assert run_lines(None, 0.0, width_m=4.0).size == 0
    assert run_lines(BOX, NAN, width_m=4.0).size == 0
    assert run_lines(BOX, 0.0, width_m=NAN).size == 0


def test_minutes_by_hand() -> None:
    """By hand: 1000 m and 500 m at 10 km/h are 9 min; 9 turns of 50 m at 5 km/h are 5.4 min, and
    5 s with each 0.75 min more. One unknown among the figures leaves no time."""
    known = {"speed_kmh": 10.0, "turn_m": 50.0, "turn_kmh": 5.0, "fixed_s": 5.0}
    assert minutes(1000.0, 500.0, 9, **known) == pytest.approx(9.0 + 5.4 + 0.75)
    assert minutes([1000.0, 2000.0], 500.0, [9, 0], **known) == pytest.approx([15.15, 15.0])
    for key in known:
        assert np.isnan(minutes(1000.0, 500.0, 9, **known | {key: NAN})), key
    assert np.isnan(minutes([NAN, 1.0], [1.0, NAN], [1, 1], **known)).all()
    assert np.isnan(minutes(1.0, 1.0, NAN, **known))


def test_figures_that_cannot_be_are_refused_by_hand() -> None:
    """By hand: nothing is mown with no width or at no speed."""
    with pytest.raises(InputError) as caught:
        passes(BOX, [0], width_m=0.0, join_m=-1.0)
    assert [fault.value for fault in caught.value.faults] == ["0 m", "-1 m"]
    with pytest.raises(InputError, match="number of laps"):
        headland(BOX, width_m=4.0, laps=-1)
    with pytest.raises(InputError, match="working width"):
        run_lines(BOX, 0.0, width_m=-4.0)
    with pytest.raises(InputError, match="field speed"):
        minutes(1.0, 1.0, 1, speed_kmh=0.0, turn_m=9.0, turn_kmh=5.0)


def test_the_table_is_ours_and_fits_by_hand() -> None:
    """By hand: every figure is the tool's own, says so, and is taken by the functions."""
    tables = load_tables()
    assert {row.source for row in tables.rows("passes")} == {"own"}
    assert all(row.place == "own default" for row in tables.rows("passes"))
    left = headland(
        BOX,
        width_m=4.0,
        laps=tables.number("passes.laps_least"),
        scrap_squares=tables.number("passes.scrap_squares"),
    )
    join_m = tables.number("passes.join_m")
    assert found(left.inner, ALONG, 4.0, join_m) == pytest.approx([6, 6 * 84, 5])


def test_a_field_too_small_for_a_run_regression() -> None:
    """Regression: a scrap of a field left nothing to lap or run, and that broke."""
    found = headland(shapely.box(0, 0, 1, 1), width_m=4.0, laps=2, scrap_squares=1.0)
    assert found.inner is not None
    assert found.inner.is_empty
