"""How steep a leg is from the heights under it, and what a machine's brakes hold of it."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
import shapely
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS
from small_roads import machine

from fieldmap.grid import Grid
from fieldmap.roads.facts import places_of
from fieldmap.roads.grades import (
    grade_check,
    hold_of,
    incline_pct,
    inclines_on,
    no_grades,
    steepest_fall_pct,
    untold,
)
from fieldmap.roads.profile import Reading, heights_at, steepest
from fieldmap.roads.verdict import BASIS_OF, LEVEL_OF
from fieldmap.tables import load_tables

TABLES = load_tables()
UTM = CRS.from_epsg(32632)
CELL = 5.0
EXACT = Reading(error_m=0.0, cell_m=CELL, base_m=50.0, step_m=25.0, line_off_m=0.0)


def ground(height, *, cells=200, crs=UTM, west=500_000.0, north=5_540_000.0):
    """Heights by a function of metres east and north of the lower left corner."""
    middles = (np.arange(cells) + 0.5) * CELL
    x, y = np.meshgrid(middles, middles[::-1])
    return Grid(
        np.asarray(height(x, y), np.float32),
        Affine(CELL, 0, west, 0, -CELL, north + cells * CELL),
        crs,
        "m",
        "elevation",
    )


def line(*points):
    return shapely.LineString([(500_000.0 + x, 5_540_000.0 + y) for x, y in points])


def fall(lines, heights, *, bridged=None, reading=EXACT, length_m=None):
    held = np.empty(len(lines), dtype=object)
    held[:] = lines
    return steepest(
        held,
        np.array([one.length for one in lines]) if length_m is None else np.array(length_m),
        np.zeros(len(lines), dtype=bool) if bridged is None else np.array(bridged),
        grid=heights,
        crs=UTM,
        reading=reading,
    )


def test_by_hand_a_plane_falls_the_same_everywhere_and_climbs_the_other_way():
    found = fall([line((100, 100), (500, 100)), line((100, 100), (100, 300))],
                 ground(lambda x, _: 0.08 * x))  # fmt: skip
    assert found.low_pct == pytest.approx([-8.0, 8.0, 0.0, 0.0], abs=1e-3)
    assert found.high_pct == pytest.approx([-8.0, 8.0, 0.0, 0.0], abs=1e-3)


def test_by_hand_a_crest_falls_both_ways():
    """By hand: up at 6 % to the middle, down at 4 % behind it."""
    hill = ground(lambda x, _: np.where(x < 500, 0.06 * x, 30.0 - 0.04 * (x - 500)))
    found = fall([line((100, 500), (900, 500))], hill)
    assert found.high_pct == pytest.approx([4.0, 6.0], abs=0.01)


def test_by_hand_a_short_leg_is_taken_as_part_of_a_length_of_ground():
    """By hand: 4 m of road on an even slope are as steep as the slope."""
    found = fall([line((500, 500), (504, 500))], ground(lambda x, _: 0.1 * x))
    assert found.low_pct == pytest.approx([-10.0, 10.0], abs=1e-3)


def test_by_hand_the_ground_under_a_bridge_is_not_the_road():
    """By hand: a gorge 30 m deep between two rims of the same height."""
    gorge = ground(lambda x, _: np.where((x > 300) & (x < 700), -30.0, 0.0))
    way = [line((250, 500), (750, 500))]
    assert fall(way, gorge, bridged=[True]).high_pct == pytest.approx([0.0, 0.0])
    assert fall(way, gorge).high_pct.min() > 50.0


def test_by_hand_metres_are_those_on_the_ground_not_those_of_the_projection():
    way = [line((100, 100), (500, 100))]
    found = fall(way, ground(lambda x, _: 0.08 * x), length_m=[800.0])
    assert found.high_pct == pytest.approx([-4.0, 4.0], abs=1e-3)


def test_by_hand_heights_in_degrees_are_read_at_the_same_places():
    """By hand: a level raster in longitude and latitude gives its level, and nothing beyond it."""
    level = Grid(np.full((10, 10), 7.0, np.float32), Affine(0.01, 0, 8.95, 0, -0.01, 50.05),
                 CRS.from_epsg(4326), "m", "elevation")  # fmt: skip
    found = heights_at(level, UTM, np.array([500_000.0, 600_000.0]), np.array([5_538_630.0] * 2))
    assert found[0] == 7.0
    assert math.isnan(found[1])


def test_by_hand_where_the_elevation_ends_the_steep_end_is_unknown_and_a_known_pitch_stays():
    def broken(x, y):
        return np.where(x < 300, 0.2 * x, np.where(x < 500, 60.0, np.nan))

    found = fall([line((100, 500), (900, 500)), line((700, 100), (900, 100))], ground(broken))
    assert np.isnan(found.high_pct).all()
    assert found.low_pct[1] == pytest.approx(20.0, abs=0.01)
    assert np.isnan(found.low_pct[2:]).all()


def test_by_hand_a_line_without_length_and_no_line_at_all():
    point = shapely.LineString([(500_500, 5_540_500)] * 2)
    assert np.isnan(fall([point], ground(lambda x, _: x)).high_pct).all()
    assert len(fall([], ground(lambda x, _: x)).high_pct) == 0


def test_referee_the_band_holds_the_truth_as_often_as_it_says():
    """Referee: five hundred rasters of independent normal errors on a known slope (Monte Carlo).

    The low end of a leg of many pitches must be under the truth in 95 of 100, its high end over it
    in at least as many.
    """
    rng = np.random.default_rng(20261125)
    reading = Reading(error_m=0.5, cell_m=CELL, base_m=50.0, step_m=25.0, line_off_m=0.0)
    under, over = 0, 0
    for _ in range(500):
        noisy = ground(lambda x, _: 0.05 * x + rng.normal(0.0, 0.5, x.shape))
        found = fall([line((102.5, 502.5), (902.5, 502.5))], noisy, reading=reading)
        under += bool(found.low_pct[1] <= 5.0)
        over += bool(found.high_pct[1] >= 5.0)
    assert under >= 460
    assert over >= 460
    assert under < 500  # an interval that always holds would say nothing


def test_by_hand_a_side_slope_turns_the_lines_own_error_into_a_slope():
    """By hand: 30 % across and 3 m off are 0.9 m; two of them over 50 m, times 1.645."""
    reading = Reading(error_m=0.0, cell_m=CELL, base_m=50.0, step_m=25.0, line_off_m=3.0)
    found = fall([line((300, 500), (350, 500))], ground(lambda _, y: 0.3 * y), reading=reading)
    wide = NormalDist().inv_cdf(0.95) * 100.0 * math.sqrt(2.0) * 0.9 / 50.0
    assert found.high_pct == pytest.approx([wide, wide], rel=1e-3)


TOWED = machine(mass_kg=9000.0, mower_mass_kg=3000.0)
CARRIED = machine(kind="rear-mounted", mower_mass_kg=900.0)


def level(low, high, one=TOWED, **more):
    found = grade_check(np.array(low, float), np.array(high, float), one, tables=TABLES, **more)
    return [LEVEL_OF[code] for code in found.level]


def test_by_hand_what_a_towed_mower_without_brakes_leaves_to_hold():
    """By hand: two thirds of 9 t are the tractor's, and its tyres grip 0.3 of that."""
    assert hold_of(TOWED, tables=TABLES).low == pytest.approx(0.2)
    assert hold_of(CARRIED, tables=TABLES).low == pytest.approx(0.3)
    # g cos q (0.2 - tan q) = 0: on 20 % nothing is left over
    assert steepest_fall_pct(0.2, 0.0) == pytest.approx(20.0)
    left = 0.2 * math.cos(math.atan(0.1494)) - math.sin(math.atan(0.1494))
    assert left == pytest.approx(0.05, abs=1e-4)


@pytest.mark.parametrize(
    ("fall_pct", "one", "told"),
    [
        (10.0, TOWED, "ok"),
        (14.9, TOWED, "ok"),
        (15.0, TOWED, "unknown"),
        (60.0, TOWED, "unknown"),  # brakes on every wheel might hold it
        (71.0, TOWED, "stop"),  # over 0.7 nothing does
        (17.0, CARRIED, "ok"),
        (21.0, CARRIED, "unknown"),
        (9.0, machine(up_down_limit_pct=8.0, mower_mass_kg=1.0), "stop"),
        (7.0, machine(up_down_limit_pct=8.0, mower_mass_kg=1.0), "ok"),
        (1.0, machine(mass_kg=None, axles=()), "unknown"),
        (1.0, machine(mower_mass_kg=None), "unknown"),
        (9.0, machine(mower_mass_kg=None, up_down_limit_pct=8.0), "stop"),
    ],
)
def test_by_hand_a_fall_against_the_machine(fall_pct, one, told):
    assert level([fall_pct, -fall_pct], [fall_pct, -fall_pct], one)[0] == told


def test_by_hand_a_climb_needs_no_braking_left_over():
    """By hand: 17 % are driven up by a hold of 0.2, and not down."""
    assert level([17.0, -17.0], [17.0, -17.0]) == ["unknown", "ok"]


def test_by_hand_a_band_over_the_limit_is_unknown_and_heights_too_rough_are_no_place_to_measure():
    assert level([8.0, -22.0], [22.0, -8.0]) == ["unknown", "unknown"]
    found = grade_check(np.array([-40.0, -40.0]), np.array([40.0, 40.0]), TOWED, tables=TABLES)
    assert untold(found).all()
    assert "rough" in found.reasons[found.why[0]]
    found = grade_check(np.array([8.0, -22.0]), np.array([22.0, -8.0]), TOWED, tables=TABLES)
    assert not untold(found).any()


def test_by_hand_without_heights_it_is_unknown_and_no_place_to_measure():
    found = grade_check(*no_grades(2), TOWED, tables=TABLES)
    assert [LEVEL_OF[code] for code in found.level] == ["unknown", "unknown"]
    assert untold(found).all()


def test_by_hand_a_known_steep_pitch_on_a_leg_that_is_not_known_whole_is_a_place():
    found = grade_check(np.array([25.0, -30.0]), np.array([np.nan, np.nan]), TOWED, tables=TABLES)
    assert not untold(found)[0]
    assert LEVEL_OF[found.level[0]] == "unknown"


def tagged(**tags):
    one = dict(tags)
    return inclines_on(places_of([one, one]))


@pytest.mark.parametrize(
    ("text", "percent"),
    [("10%", 10.0), ("-10 %", -10.0), ("+4.5%", 4.5), ("5.71°", 9.999), ("up", None),
     ("down", None), ("10", None), ("1:8", None), ("90°", None)],
)  # fmt: skip
def test_by_hand_the_tag_of_the_slope(text, percent):
    found = incline_pct(text)
    assert math.isnan(found) if percent is None else found == pytest.approx(percent, abs=1e-3)


def test_by_hand_the_worse_of_map_and_ground_is_taken_and_the_map_alone_lets_nothing_through():
    flat = [0.0, 0.0]
    assert level(flat, flat, mapped=tagged(incline="-16%")) == ["unknown", "ok"]  # down, then up
    assert level(flat, flat, mapped=tagged(incline="-75%")) == ["stop", "stop"]
    assert level([16.0, -16.0], [16.0, -16.0], mapped=tagged(incline="2%"))[0] == "unknown"
    assert level(flat, flat, mapped=tagged(incline="steep")) == ["unknown", "unknown"]
    assert level(flat, flat, mapped=tagged(incline="up")) == ["ok", "ok"]
    nothing = no_grades(2)
    assert level(*nothing, mapped=tagged(incline="2%")) == ["unknown", "unknown"]
    found = grade_check(*nothing, TOWED, tables=TABLES, mapped=tagged(incline="75%"))
    assert [LEVEL_OF[code] for code in found.level] == ["stop", "stop"]
    assert BASIS_OF[found.basis[0]] == "mapped"


def test_by_hand_a_drive_settles_what_is_unknown_and_lifts_no_refusal():
    yes, no = np.array([1.0, 1.0]), np.array([0.0, 0.0])
    assert level([16.0, -16.0], [16.0, -16.0], driven=yes) == ["ok", "ok"]
    assert level(*no_grades(2), driven=yes) == ["ok", "ok"]
    assert level([75.0, -75.0], [75.0, -75.0], driven=yes) == ["stop", "stop"]
    assert level([0.0, 0.0], [0.0, 0.0], driven=no) == ["stop", "stop"]


_ORDER = {"ok": 0, "unknown": 1, "stop": 2}
_GRADES = st.floats(-90, 90)
_MASSES = st.none() | st.floats(500, 8000)


@given(_GRADES, st.floats(0, 40), st.floats(0, 40), _MASSES, st.floats(0, 2000))
def test_property_heavier_tow_or_steeper_or_less_known_never_comes_out_better(
    low, width, more, tow, heavier
):
    def told(lows, highs, mass):
        one = machine(mass_kg=None if mass is None else 4000.0 + mass, mower_mass_kg=mass, axles=())
        found = level([lows, -highs], [highs, -lows], one)
        return [_ORDER[name] for name in found]

    here = told(low, low + width, tow)
    assert told(low, low + width, None)[0] >= min(here[0], 1)
    assert told(np.nan, np.nan, tow)[0] >= min(here[0], 1)
    assert told(low, np.nan, tow)[0] >= min(here[0], 1)
    if tow is not None:
        assert told(low, low + width, tow + heavier)[0] >= here[0]
    if low >= 0:
        assert told(low + more, low + width + more, tow)[0] >= here[0]


@given(st.text(max_size=12))
def test_property_no_text_in_the_tag_breaks_it_or_answers(text):
    held = level([0.0, 0.0], [0.0, 0.0], mapped=tagged(incline=text))
    readable = not math.isnan(incline_pct(text)) or text in ("up", "down")
    assert readable or held == ["unknown", "unknown"]
