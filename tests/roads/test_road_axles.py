"""Axle loads: the bridge formula over every group of axles in a row, and posted limits.

Referee: the worked rows of 23 CFR 658.17 as public pages repeat them,
https://clermontengineer.org/planning-and-design/federal-bridge-formula/ and
https://truckweightinfo.com/fundamentals/bridge-formula-calculation-examples/ .
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from one_road import TABLES, asked
from one_road import told as measured
from small_roads import machine

from fieldmap.machine import Axle
from fieldmap.roads.axles import (
    allowed_kg,
    formula_lb,
    groups,
    heaviest_pair_kg,
    worst_group,
)
from fieldmap.roads.facts import OnAxle, on_road
from fieldmap.units import KG_PER_POUND, METRE_PER_FOOT


def allowed_lb(*feet: float) -> float:
    return allowed_kg([one * METRE_PER_FOOT for one in feet], tables=TABLES) / KG_PER_POUND


@pytest.mark.parametrize(
    ("length_ft", "axles", "raw_lb"),
    [
        (4, 2, 34_000),
        (10, 2, 40_000),
        (20, 3, 51_000),
        (12, 3, 45_000),
        (35, 4, 65_333.3),
        (36, 4, 66_000),
        (48, 5, 78_000),
        (51, 5, 79_875),
    ],
)
def test_referee_the_formula_before_rounding(length_ft, axles, raw_lb):
    assert formula_lb(length_ft, axles) == pytest.approx(raw_lb, abs=0.05)


@pytest.mark.parametrize(
    ("feet", "pounds"),
    [
        ((0,), 20_000),
        ((0, 4), 34_000),
        ((0, 8), 34_000),  # the tandem cap; the formula alone gives 38,000
        ((0, 9), 39_000),
        ((0, 10), 40_000),
        ((0, 3), 20_000),  # within 40 in axles count as one
        ((0, 4, 8), 34_000),
        ((0, 10, 20), 51_000),
        ((0, 4, 31, 35), 65_500),
        ((0, 10, 25, 35), 65_500),
        ((0, 4, 32, 36), 68_000),  # two tandems 36 ft apart
        ((0, 10, 26, 36), 66_000),  # not two tandems
        ((0, 12, 16, 44, 48), 78_000),
        ((0, 12, 16, 47, 51), 80_000),
        ((0, 12, 16, 66, 70), 80_000),  # the gross cap; the formula alone gives 92,000
    ],
)
def test_referee_what_a_group_may_carry(feet, pounds):
    assert allowed_lb(*feet) == pytest.approx(pounds, abs=0.05)


def three_s_two(loads_lb=(12_000, 17_000, 17_000, 17_000, 17_000)):
    """The pamphlet's five axles: 1 to 3 over 20 ft, 2 to 5 over 35 ft, 1 to 5 over 51 ft."""
    feet = (0, 16, 20, 47, 51)
    return [
        OnAxle(place * METRE_PER_FOOT, load * KG_PER_POUND)
        for place, load in zip(feet, loads_lb, strict=True)
    ]


def test_referee_a_train_that_keeps_the_formula_as_a_whole_and_breaks_it_in_the_middle():
    """FHWA's 3-S2 case: only axles 2 to 5 are over, 68,000 lb where 65,500 are allowed."""
    over = [one for one in groups(three_s_two(), tables=TABLES) if one.is_over()]
    assert [(one.first, one.last) for one in over] == [(2, 5)]
    assert over[0].mass_kg / KG_PER_POUND == pytest.approx(68_000)
    assert over[0].allowed_kg / KG_PER_POUND == pytest.approx(65_500)
    whole = next(one for one in groups(three_s_two(), tables=TABLES) if one.last - one.first == 4)
    assert not whole.is_over()


def test_every_group_in_a_row_is_held_by_hand():
    found = [(one.first, one.last) for one in groups(three_s_two()[:3], tables=TABLES)]
    assert found == [(1, 1), (1, 2), (1, 3), (2, 2), (2, 3), (3, 3)]
    assert groups([], tables=TABLES) == []


def on_axles(*kg_at_m, mass_kg=None):
    axles = tuple(Axle(mass_kg=kg, position_m=at) for kg, at in kg_at_m)
    whole = sum(one.mass_kg for one in axles) if mass_kg is None else mass_kg
    return {"axles": axles, "mass_kg": whole}


def _size(**more):
    one = machine(**more)
    return on_road(one, one.transport[0])


def test_axles_that_are_not_all_there_are_not_known_by_hand():
    """7.5 t on axles of a machine of 9 t: one is missing."""
    assert _size(**on_axles((4000, 0), (3500, 3), mass_kg=9000)).axles == ()
    assert math.isnan(_size(**on_axles((4000, 0), (3500, 3), mass_kg=9000)).axle_kg)
    assert len(_size(**on_axles((4000, 0), (4000, 3), mass_kg=9000)).axles) == 2


def test_axles_stand_in_order_whatever_the_order_of_the_file_by_hand():
    turned = _size(**on_axles((5000, 3), (4000, 0)))
    assert turned.axles == _size(**on_axles((4000, 0), (5000, 3))).axles


def test_without_axles_only_a_light_machine_keeps_the_formula_by_hand():
    """Whatever stands on one axle is no more than the whole: 9.07 t is the cap for one."""
    light = worst_group(_size(axles=(), mass_kg=9000.0), tables=TABLES)
    assert not light.is_over()
    assert worst_group(_size(axles=(), mass_kg=9100.0), tables=TABLES) is None
    assert worst_group(_size(axles=(), mass_kg=None), tables=TABLES) is None


def test_the_heaviest_of_axles_close_together_by_hand():
    three = _size(**on_axles((5000, 0), (4000, 3), (4500, 5.4)))  # 2.4 m are close, 3 m are not
    assert heaviest_pair_kg(three, tables=TABLES) == 8500
    assert heaviest_pair_kg(_size(**on_axles((9000, 0), (4000, 3))), tables=TABLES) == 9000
    assert math.isnan(heaviest_pair_kg(_size(axles=()), tables=TABLES))


HEAVY = on_axles((6000, 0), (11_000, 3))  # 11 t are over the cap of 9.07 t for one axle
CLOSE = on_axles((4000, 0), (4500, 3), (4500, 4.3))  # 9.0 t on two close together
UNKNOWN_HEAVY = {"axles": (), "mass_kg": 14_000.0}
UNKNOWN_LIGHT = {"axles": (), "mass_kg": 8000.0}


@pytest.mark.parametrize(
    ("tags", "size", "level", "basis"),
    [
        ({}, {}, "ok", "assumed"),
        ({"maxaxleload": "5"}, {}, "ok", "mapped"),
        ({"maxaxleload": "4.9"}, {}, "stop", "mapped"),
        ({"maxaxleload": "heavy"}, {}, "unknown", "mapped"),
        ({"maxaxleload:conditional": "4 @ winter"}, {}, "unknown", "mapped"),
        ({"maxbogieweight": "8"}, {}, "ok", "mapped"),  # 3 m apart is no bogie; 5 t is kept
        ({"maxbogieweight": "9"}, CLOSE, "ok", "mapped"),
        ({"maxbogieweight": "8.9"}, CLOSE, "stop", "mapped"),
        ({"maxbogieweight": "8.9", "maxaxleload": "20"}, CLOSE, "stop", "mapped"),
        ({"maxbogieweight": "20", "maxaxleload": "4"}, CLOSE, "stop", "mapped"),
        # the formula, on a bridge and off it; a posted limit that is kept beats it
        ({}, HEAVY, "unknown", "assumed"),
        ({"bridge": "yes"}, HEAVY, "unknown", "assumed"),
        ({"bridge": "yes", "maxweight": "17"}, HEAVY, "ok", "mapped"),
        ({"bridge": "yes", "maxweight": "16"}, HEAVY, "unknown", "assumed"),
        ({"maxaxleload": "11"}, HEAVY, "ok", "mapped"),
        ({"maxaxleload:conditional": "11 @ dry"}, HEAVY, "unknown", "assumed"),
        # axles that are not known
        ({}, UNKNOWN_HEAVY, "unknown", "assumed"),
        ({"maxaxleload": "14"}, UNKNOWN_HEAVY, "ok", "mapped"),
        ({"maxaxleload": "10"}, UNKNOWN_HEAVY, "unknown", "mapped"),
        ({}, UNKNOWN_LIGHT, "ok", "assumed"),
        ({"bridge": "yes"}, UNKNOWN_LIGHT, "ok", "assumed"),
        ({"maxaxleload": "8"}, UNKNOWN_LIGHT, "ok", "mapped"),
        ({"maxaxleload": "7"}, UNKNOWN_LIGHT, "unknown", "mapped"),
        ({"maxbogieweight": "7"}, UNKNOWN_LIGHT, "unknown", "mapped"),
        ({"maxbogieweight": "8"}, UNKNOWN_LIGHT, "ok", "mapped"),
    ],
)
def test_axle_loads_on_a_road_by_hand(tmp_path, tags, size, level, basis):
    found = asked(tmp_path, tags, "axles", **size)
    assert (found.level, found.basis) == (level, basis)


@pytest.mark.parametrize(
    ("value", "tags", "size", "level"),
    [
        (11_000.0, {}, HEAVY, "ok"),
        (10_999.0, {}, HEAVY, "stop"),
        (11_000.0, {"maxaxleload": "8"}, HEAVY, "ok"),
        (5000.0, {"maxbogieweight": "8.9"}, CLOSE, "stop"),
        (14_000.0, {}, UNKNOWN_HEAVY, "ok"),
        (10_000.0, {}, UNKNOWN_HEAVY, "unknown"),
    ],
)
def test_an_axle_limit_read_on_the_spot_by_hand(tmp_path, value, tags, size, level):
    checks = measured("way/7", "axle", value)
    assert asked(tmp_path, tags, "axles", checks=checks, **size).level == level


def test_a_mass_limit_read_on_the_spot_beats_the_formula_by_hand(tmp_path):
    for limit, level in ((17_000.0, "ok"), (16_999.0, "unknown")):
        checks = measured("way/7", "mass", limit)
        assert asked(tmp_path, {}, "axles", checks=checks, **HEAVY).level == level


def test_what_is_over_the_formula_names_the_axles_and_the_country_by_hand(tmp_path):
    found = asked(tmp_path, {}, "axles", **HEAVY)
    assert found.why.startswith("One axle over what the US bridge formula allows")
    assert found.need == 11_000
    assert found.low == pytest.approx(9071.85)
    three = on_axles((5000, 0), (8500, 3), (8500, 4.3))
    assert asked(tmp_path, {}, "axles", **three).why.startswith("Axles 2 to 3 over")


AXLES = st.lists(st.tuples(st.floats(0, 12), st.floats(200, 15_000)), min_size=1, max_size=6).map(
    lambda found: sorted(OnAxle(*one) for one in found)
)


@settings(deadline=None, max_examples=200)
@given(axles=AXLES, more=st.floats(1, 2))
def test_property_heavier_axles_never_take_less_of_what_is_allowed(axles, more):
    heavier = [one._replace(mass_kg=one.mass_kg * more) for one in axles]
    before, after = (groups(one, tables=TABLES) for one in (axles, heavier))
    for one, other in zip(before, after, strict=True):
        assert other.share() >= one.share()


@settings(deadline=None, max_examples=100)
@given(axles=AXLES)
def test_property_no_group_may_carry_more_than_the_whole_and_a_pound_is_a_pound(axles):
    for one in groups(axles, tables=TABLES):
        pounds = one.allowed_kg / KG_PER_POUND
        assert pounds <= 80_000.1
        assert np.isclose(pounds / 500, round(pounds / 500), atol=1e-3)
