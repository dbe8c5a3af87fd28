"""How far one sees along a way, against what a slow machine and the cars around it need."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from fieldmap.grid import Grid
from fieldmap.roads.cars import car_speeds_kmh, limit_kmh
from fieldmap.roads.seeing import over_crests, round_bends
from fieldmap.roads.sightline import OnTheWay, _worst_at, sight_along
from fieldmap.roads.way_profile import way_profile
from fieldmap.tables import load_tables
from fieldmap.terrain.stopping import stopping_distance_m
from fieldmap.units import METRE_PER_FOOT, METRE_PER_MILE

TABLES = load_tables()
UTM = CRS.from_epsg(32632)


def crest(rise, drop, long, *, step, margin):
    """A parabola between two grades, with straight road before and behind it."""
    at = np.arange(-margin, long + margin + step, step)
    inside = rise * at - (rise - drop) * at**2 / (2.0 * long)
    behind = rise * long - (rise - drop) * long / 2.0 + drop * (at - long)
    return at + margin, np.where(at < 0, rise * at, np.where(at > long, behind, inside))


def least_sight(metres, height, eye, seen):
    flat = np.zeros(len(metres), dtype=np.int64)
    return over_crests(metres, height, flat, eye, seen, 1e9).min()


def test_referee_crest_of_a_design_policy_in_feet():
    """Referee: AASHTO crest, S <= L: 8 %, 425 ft -> L = 669.60 ft (eye 3.5 ft, object 2.0 ft)."""
    metres, height = crest(0.04, -0.04, 669.60, step=0.5, margin=600.0)
    assert least_sight(metres, height, 3.5, 2.0) == pytest.approx(425.0, abs=1.0)


def test_referee_crest_of_a_design_policy_in_metres():
    """Referee: the same in metres: 8 %, 105 m -> L = 134.04 m (eye 1.08, object 0.60 m)."""
    metres, height = crest(0.04, -0.04, 134.04, step=0.1, margin=150.0)
    assert least_sight(metres, height, 1.08, 0.60) == pytest.approx(105.0, abs=0.2)


def test_referee_second_published_crest():
    """Referee: Rogers, Highway Engineering, ex. 6.8: +4 to -2.5 %, S 160 m -> L = 353 m."""
    metres, height = crest(0.04, -0.025, 353.29, step=0.2, margin=250.0)
    assert least_sight(metres, height, 1.05, 0.26) == pytest.approx(160.0, abs=0.4)


def test_referee_sight_longer_than_the_crest():
    """Referee: AASHTO, S > L: A 5 %, S 250 ft -> L = 68.40 ft."""
    metres, height = crest(0.025, -0.025, 68.40, step=0.5, margin=600.0)
    assert least_sight(metres, height, 3.5, 2.0) == pytest.approx(250.0, abs=1.0)


@pytest.mark.parametrize(
    ("mph", "feet"),
    [(15, 76.7), (20, 111.9), (25, 151.9), (30, 196.6), (35, 246.2), (40, 300.6), (45, 359.7),
     (50, 423.7), (55, 492.4), (60, 566.0)],
)  # fmt: skip
def test_referee_stopping_distance_of_the_cars_row(mph, feet):
    """Referee: AASHTO Exhibit 3-1, calculated stopping sight distances; rounded constants."""
    far = stopping_distance_m(
        mph * METRE_PER_MILE / 1000.0,
        grade=0.0,
        reaction_s=TABLES.number("stopping.reaction_s"),
        friction=TABLES.number("meeting.car_friction"),
    )
    assert float(far) / METRE_PER_FOOT == pytest.approx(feet, rel=0.005)


@pytest.mark.parametrize(("radius", "clear"), [(30.0, 3.0), (100.0, 5.0), (250.0, 4.0)])
def test_referee_sight_round_a_bend(radius, clear):
    """Referee: m = R (1 - cos(28.65 S / R)) of the geometric design policies, in degrees."""
    angle = np.arange(0.0, 2.5, 0.25 / radius)
    x, y = radius * np.sin(angle), radius * (1.0 - np.cos(angle))
    flat = np.zeros(len(x), dtype=np.int64)
    found = round_bends(radius * angle, x, y, flat, np.full(len(x), clear), 1e9).min()
    assert clear == pytest.approx(radius * (1 - math.cos(math.radians(28.65 * found / radius))),
                                  rel=0.02)  # fmt: skip


def test_by_hand_a_straight_road_hides_nothing_and_the_way_ends_open():
    metres = np.arange(0.0, 300.0, 10.0)
    none, flat = np.zeros(30), np.zeros(30, dtype=np.int64)
    assert np.isinf(over_crests(metres, none, flat, 1.08, 0.6, 400.0)).all()
    assert np.isinf(round_bends(metres, metres, none, flat, none, 400.0)).all()


def test_by_hand_an_unknown_height_is_unknown_unless_the_view_ends_before():
    metres = np.arange(0.0, 100.0, 10.0)
    height = np.array([0, 0, 9, 0, 0, np.nan, 0, 0, 0, 0], float)
    found = over_crests(metres, height, np.zeros(10, dtype=np.int64), 1.08, 0.6, 400.0)
    assert found[0] == 20.0
    assert np.isnan(found[3:6]).all()
    assert np.isinf(found[6:]).all()


def test_by_hand_nobody_looks_over_a_crest_into_another_stretch():
    """By hand: a wall of 9 m behind which nothing is looked for, because the way turns there."""
    metres = np.arange(0.0, 60.0, 10.0)
    height = np.array([0.0, 0.0, 9.0, 0.0, 0.0, 0.0])
    one, turned = np.zeros(6, dtype=np.int64), np.array([0, 0, 0, 1, 1, 1])
    assert over_crests(metres, height, one, 1.08, 0.6, 400.0)[0] == 20.0
    assert np.isinf(over_crests(metres, height, turned, 1.08, 0.6, 400.0)[0])


def profile_of(points, *, grid=None, ways=None, bridged=False, step=10.0):
    lines = np.empty(len(points), dtype=object)
    lines[:] = [shapely.LineString(one) for one in points]
    return way_profile(
        lines,
        np.array([one.length for one in lines]),
        np.arange(len(lines)) if ways is None else np.array(ways),
        np.full(len(lines), bridged) if isinstance(bridged, bool) else np.array(bridged),
        step_m=step,
        base_m=50.0,
        grid=grid,
        crs=UTM,
    )


def hill(height, *, cell=5.0, cells=240):
    x = (np.arange(cells) + 0.5) * cell
    values = np.tile(np.asarray(height(x), np.float32), (8, 1))
    return Grid(values, Affine(cell, 0, 500_000, 0, -cell, 5_540_020), UTM, "m", "elevation")


def road(first, last):
    return [(500_000.0 + first, 5_540_000.0), (500_000.0 + last, 5_540_000.0)]


def test_by_hand_the_profile_of_a_way():
    """By hand: 200 m up at 10 %, then level, on one line cut in two legs."""
    ground = hill(lambda x: np.minimum(0.1 * x, 30.0))
    found = profile_of([road(100, 300), road(300, 500)], grid=ground)
    assert found.metres[[0, 1, -1]].tolist() == [0.0, 10.0, 400.0]
    assert found.height_m[[0, 20, 40]] == pytest.approx([10.0, 29.75, 30.0], abs=0.3)
    assert found.grade_pct[[0, 10, 35]] == pytest.approx([10.0, 10.0, 0.0], abs=0.2)
    assert np.isinf(found.radius_m).all()
    assert found.leg[[0, 19, 20, 40]].tolist() == [0, 0, 1, 1]
    told = found.as_dict()
    assert told["chainage_m"][2] == 20.0
    assert len(told["height_m"]) == len(told["grade_pct"]) == 41


def test_by_hand_over_a_bridge_the_profile_is_straight():
    """By hand: a gorge of 20 m between 10 m and 14 m of ground."""
    ground = hill(lambda x: np.where(x < 300, 10.0, np.where(x < 400, -10.0, 14.0)))
    legs = [road(200, 295), road(295, 405), road(405, 500)]
    found = profile_of(legs, grid=ground, bridged=[False, True, False])
    assert found.height_m.min() == pytest.approx(10.0, abs=1e-3)
    middle = found.height_m[np.argmin(abs(found.metres - 150.0))]
    assert middle == pytest.approx(12.0, abs=0.5)


def test_by_hand_nobody_looks_round_a_turn_onto_another_way():
    corner = [road(0, 200), [(500_200.0, 5_540_000.0), (500_200.0, 5_540_200.0)]]
    assert set(profile_of(corner).stretch) == {0, 1}
    assert set(profile_of(corner, ways=[7, 7]).stretch) == {0}


def test_by_hand_radius_of_a_bend():
    angle = np.linspace(0.0, 1.5, 200)
    bend = [(500_000 + 80 * math.sin(a), 5_540_000 + 80 * (1 - math.cos(a))) for a in angle]
    found = profile_of([bend]).radius_m
    assert found[3:-3] == pytest.approx(np.full(len(found) - 6, 80.0), rel=0.01)


def test_by_hand_no_leg_and_a_leg_without_length():
    assert len(profile_of([]).metres) == 0
    assert np.isnan(profile_of([road(100, 100)], grid=hill(lambda x: x)).grade_pct).all()


def told(profile, *, speed=30.0, car=80.0, alone=True, clear=30.0, error=0.0, hold=0.2):
    count = len(profile.metres)
    on = OnTheWay(
        speed_kmh=speed,
        hold=hold,
        car_kmh=np.full(count, car),
        alone=np.full(count, alone),
        clear_m=np.full(count, clear),
        height_error_m=error,
    )
    return sight_along(profile, on, ["A road"] * 9, tables=TABLES, stopping_m=stopping_distance_m)


def sharp(x):
    """8 % up and 8 % down over a crest of 40 m."""
    at = np.clip(x - 500.0, -20.0, 20.0)
    far = np.maximum(np.abs(x - 500.0) - 20.0, 0.0)
    return 40.0 - 0.002 * at**2 - 0.08 * far


LEVEL = hill(lambda x: np.zeros(len(x)))


def test_by_hand_a_sharp_crest_is_told_for_those_ahead_and_those_behind():
    profile = profile_of([road(100, 900)], grid=hill(sharp))
    found = told(profile)
    assert [one.level for one in found.findings] == ["care", "care"]
    assert {one["who"] for one in found.spots} == {"oncoming", "behind"}
    assert all(one["kind"] == "crest" for one in found.spots)
    worst = next(one for one in found.spots if one["who"] == "oncoming")
    # what both need: 2.5 s at 30 and 80 km/h and their braking distances
    own = 30 / 3.6 * 2.5 + (30 / 3.6) ** 2 / (2 * 9.80665 * 0.2)
    car = 80 / 3.6 * 2.5 + (80 / 3.6) ** 2 / (2 * 9.80665 * 0.3467)
    assert worst["need_m"] == pytest.approx(own + car, rel=0.15)  # the slope changes both
    assert worst["closing_s"] == pytest.approx(worst["sight_m"] / (110 / 3.6), abs=0.006)
    assert 8.9 < worst["lon"] < 9.1


def test_referee_closing_time_from_behind():
    """Referee: 55 mph behind 15 mph over 300 ft close in 5.11 s (trade facts, overtaking)."""
    profile = profile_of([road(100, 900)], grid=hill(sharp))
    mile = METRE_PER_MILE / 1000.0
    found = told(profile, speed=15 * mile, car=55 * mile, alone=False)
    one = next(spot for spot in found.spots if spot["who"] == "behind")
    assert one["closing_s"] / one["sight_m"] == pytest.approx(5.11 / (300 * METRE_PER_FOOT),
                                                              rel=5e-3)  # fmt: skip


def test_by_hand_the_error_of_the_heights_makes_a_crest_possible_and_a_hill_stays_sure():
    """By hand: rough heights lower what is told for sure; a real hill of 30 m still hides."""
    profile = profile_of([road(100, 900)], grid=hill(sharp))
    assert "surely" in {one["sure"] for one in told(profile).spots}
    gentle = profile_of([road(100, 900)], grid=hill(lambda x: 0.9 * np.cos(x / 25.0)))
    exact, rough = told(gentle), told(gentle, error=0.2)
    assert "surely" in {one["sure"] for one in exact.spots}
    assert {one["sure"] for one in rough.spots} == {"possibly"}
    assert all(one["sight_m"] < one["need_m"] for one in (*exact.spots, *rough.spots))
    assert sum(one["to_m"] - one["from_m"] for one in exact.spots) < sum(
        one["to_m"] - one["from_m"] for one in rough.spots
    )


def test_by_hand_of_a_run_the_worst_sure_place_stands_for_it():
    share = np.array([0.1, 0.6, 0.5, 0.9])
    assert _worst_at(share, np.array([False, True, True, False])) == 2
    assert _worst_at(share, np.zeros(4, dtype=bool)) == 0


def test_by_hand_where_a_car_fits_beside_nobody_has_to_stop_for_the_other():
    profile = profile_of([road(100, 900)], grid=hill(sharp))
    assert {one["who"] for one in told(profile, alone=False).spots} == {"behind"}


def test_by_hand_level_and_straight_nothing_is_found():
    found = told(profile_of([road(100, 900)], grid=LEVEL))
    assert [one.level for one in found.findings] == ["ok"]
    assert found.spots == []


def test_by_hand_a_bend_is_told_with_its_radius_even_without_elevation():
    """By hand: cars come round 40 m at 42 km/h, so those behind need little; nothing is sure."""
    angle = np.linspace(0.0, 2.5, 200)
    bend = [(500_000 + 40 * math.sin(a), 5_540_000 + 40 * (1 - math.cos(a))) for a in angle]
    found = told(profile_of([bend]), clear=3.0)
    assert {one["kind"] for one in found.spots} == {"bend"}
    assert found.spots[0]["radius_m"] == pytest.approx(40.0, rel=0.05)
    assert found.spots[0]["car_kmh"] == pytest.approx(3.6 * (0.35 * 9.80665 * 40) ** 0.5, rel=0.02)
    assert {one["sure"] for one in found.spots} == {"possibly"}
    # 2.5 s and braking: the machine's 30 km/h at 0.2 g, a car's 42 km/h at 0.3467 g
    own = 30 / 3.6 * 2.5 + (30 / 3.6) ** 2 / (2 * 9.80665 * 0.2)
    metres_a_second = found.spots[0]["car_kmh"] / 3.6
    car = metres_a_second * 2.5 + metres_a_second**2 / (2 * 9.80665 * 0.3467)
    assert found.spots[0]["need_m"] == pytest.approx(own + car, abs=0.2)
    assert [one.level for one in found.findings] == ["care", "unknown"]
    assert "anything stands" in found.findings[0].why


@pytest.mark.parametrize(
    ("grid", "more", "says"),
    [
        (None, {}, "not known all along"),
        (LEVEL, {"error": 5.0}, "too rough"),
        (LEVEL, {"error": math.nan}, "too rough"),
        (LEVEL, {"speed": math.nan}, "speed"),
        (hill(lambda x: np.where(x < 500, 0.0, np.nan)), {}, "not known all along"),
    ],
)
def test_by_hand_what_is_missing_is_unknown(grid, more, says):
    found = told(profile_of([road(100, 900)], grid=grid), **more)
    assert [one.level for one in found.findings] == ["unknown"]
    assert says in found.findings[0].why


def test_by_hand_a_way_without_legs_says_nothing_good():
    assert [one.level for one in told(profile_of([])).findings] == ["unknown"]


@given(st.floats(5, 60), st.floats(0, 40), st.floats(40, 120), st.floats(0, 0.15))
def test_property_faster_or_rougher_never_shows_fewer_metres_short(speed, more, car, error):
    profile = profile_of([road(100, 900)], grid=hill(sharp))

    def short(**given_):
        found = told(profile, **given_).spots
        return sum(one["to_m"] - one["from_m"] + 10.0 for one in found if one["who"] == "oncoming")

    here = short(speed=speed, car=car)
    assert short(speed=speed + more, car=car) >= here
    assert short(speed=speed, car=car + more) >= here
    assert short(speed=speed, car=car, error=error) >= here


@pytest.mark.parametrize(
    ("text", "kmh"),
    [("80", 80.0), ("30 mph", 48.28), ("50 km/h", 50.0), ("none", None), ("walk", None),
     ("RO:urban", None), ("0", None), ("50;30", None)],
)  # fmt: skip
def test_by_hand_posted_speeds(text, kmh):
    found = limit_kmh(text)
    assert math.isnan(found) if kmh is None else found == pytest.approx(kmh, abs=0.01)


def test_by_hand_cars_drive_the_posted_speed_or_the_fastest_of_the_class():
    tags = [{"maxspeed": "30"}, {"maxspeed:forward": "50", "maxspeed:backward": "70"}, {}, {}, {}]
    kinds = ["primary", "primary", "primary_link", "track", "motorway"]
    assert car_speeds_kmh(tags, kinds, tables=TABLES).tolist() == [30.0, 70.0, 110.0, 50.0, 110.0]
