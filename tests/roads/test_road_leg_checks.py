"""Three-valued checks by leg and node, by hand: one road, one tag at a time."""

from __future__ import annotations

import pandas as pd
import pytest
from one_road import TABLES, asked
from one_road import told as measured
from small_roads import district

from fieldmap.machine import Transport
from fieldmap.roads.measured import lay

# classes with a range so wide that only the tag under test can decide
ROAD = {"highway": "road"}


def answer(tmp_path, tags, check, **more):
    return asked(tmp_path, ROAD | tags, check, **more)[:2]


@pytest.mark.parametrize(
    ("tags", "level", "basis"),
    [
        ({"width": "3.5"}, "ok", "mapped"),  # 2.5 + 2 x 0.5
        ({"width": "3.4"}, "stop", "mapped"),
        ({"width": "6", "width:carriageway": "3.4"}, "stop", "mapped"),
        ({"width": "narrow", "highway": "tertiary"}, "unknown", "mapped"),
        ({"width": "6", "maxwidth": "3"}, "stop", "mapped"),
        ({"width": "6", "maxwidth:physical": "3"}, "stop", "mapped"),
        ({"maxwidth:physical": "3.5", "maxwidth": "2.6"}, "ok", "mapped"),
        ({"maxwidth:physical": "wide", "width": "6"}, "unknown", "mapped"),
        ({"maxwidth": "6"}, "unknown", "assumed"),
        ({"est_width": "3.4"}, "stop", "assumed"),
        ({"est_width": "9"}, "unknown", "assumed"),
        ({"highway": "tertiary"}, "ok", "assumed"),
        ({"highway": "tertiary", "oneway": "yes"}, "unknown", "assumed"),
        ({"highway": "track"}, "unknown", "assumed"),
        ({"highway": "track", "lanes": "2"}, "ok", "assumed"),
        ({"highway": "tertiary", "lanes": "1"}, "unknown", "assumed"),
        ({"highway": "not_a_class"}, "unknown", "assumed"),
        ({"highway": "tertiary", "narrow": "yes"}, "unknown", "assumed"),
        ({"highway": "track", "lanes": "2", "lane_markings": "no"}, "unknown", "assumed"),
    ],
)
def test_width_by_hand(tmp_path, tags, level, basis):
    assert answer(tmp_path, tags, "width") == (level, basis)


def test_width_override_of_the_user_wins(tmp_path):
    """By hand: a class said to be 3.2 m everywhere refuses a need of 3.5 m."""
    mine = TABLES.with_overrides({"road_widths.tertiary": 3.2})
    assert answer(tmp_path, {"highway": "tertiary"}, "width", tables=mine)[0] == "stop"


@pytest.mark.parametrize(
    ("tags", "level", "basis"),
    [
        ({}, "ok", "assumed"),
        ({"maxheight": "3.7"}, "ok", "mapped"),  # 3.4 + 0.3
        ({"maxheight": "3.6"}, "stop", "mapped"),
        ({"maxheight": "3.6", "maxheight:physical": "3.7"}, "ok", "mapped"),
        ({"maxheight": "4.5", "maxheight:physical": "3.6"}, "stop", "mapped"),
        ({"maxheight": "below_default"}, "unknown", "mapped"),
        ({"tunnel": "yes"}, "unknown", "assumed"),
        ({"tunnel": "building_passage", "maxheight": "default"}, "unknown", "assumed"),
        ({"covered": "yes", "maxheight": "4"}, "ok", "mapped"),
    ],
)
def test_height_by_hand(tmp_path, tags, level, basis):
    assert answer(tmp_path, tags, "height") == (level, basis)


@pytest.mark.parametrize(
    ("tags", "level"),
    [
        ({}, "ok"),
        ({"maxweight": "9"}, "ok"),
        ({"maxweight": "8.9"}, "stop"),
        ({"maxweight": "9 st"}, "stop"),  # 8.16 t
        ({"bridge": "yes"}, "unknown"),
        ({"bridge": "yes", "maxweight": "12"}, "ok"),
        ({"bridge": "yes", "maxweight": "none"}, "unknown"),
        ({"bridge": "yes", "highway": "secondary"}, "ok"),
        ({"bridge": "no"}, "ok"),
        ({"maxweight": "12", "maxweightrating": "12"}, "unknown"),
        ({"maxweightrating": "none"}, "ok"),
        ({"maxweightrating:hgv": "3.5"}, "ok"),
        ({"maxweight": "12", "maxgcweight": "8.9"}, "stop"),
        ({"maxgcweight": "9"}, "ok"),
        ({"maxweight": "light"}, "unknown"),
    ],
)
def test_mass_by_hand(tmp_path, tags, level):
    assert answer(tmp_path, tags, "mass")[0] == level


def test_mass_over_the_statutory_one_by_hand(tmp_path):
    assert answer(tmp_path, {}, "mass", mass_kg=40_000.0)[0] == "unknown"


@pytest.mark.parametrize(
    ("tags", "level", "basis"),
    [
        ({}, "ok", "assumed"),
        ({"access": "no"}, "stop", "mapped"),
        ({"access": "no", "motor_vehicle": "yes"}, "ok", "mapped"),
        ({"motor_vehicle": "no", "agricultural": "yes"}, "ok", "mapped"),
        ({"motor_vehicle": "agricultural"}, "ok", "mapped"),
        ({"motor_vehicle": "agricultural;forestry"}, "ok", "mapped"),
        ({"motor_vehicle": "forestry"}, "stop", "mapped"),
        ({"access": "private"}, "unknown", "mapped"),
        ({"vehicle": "destination"}, "unknown", "mapped"),
        ({"access": "permit"}, "unknown", "mapped"),
        ({"access": "scribble"}, "unknown", "mapped"),
        ({"highway": "motorway"}, "stop", "mapped"),
        ({"highway": "trunk", "motorroad": "yes"}, "stop", "mapped"),
        ({"highway": "service", "service": "driveway"}, "unknown", "assumed"),
        ({"highway": "path", "access": "yes"}, "unknown", "mapped"),
        ({"highway": "trunk", "motorroad": "no"}, "ok", "assumed"),
        ({"access": "customers"}, "unknown", "mapped"),
        ({"motor_vehicle": "delivery"}, "unknown", "mapped"),
        ({"hgv": "no"}, "ok", "assumed"),
        ({"hgv": "no", "motorcar": "no", "bus": "no"}, "ok", "assumed"),
        ({"agricultural": "no", "access": "yes"}, "stop", "mapped"),
        ({"access": "no", "vehicle": "yes", "motor_vehicle": "no"}, "stop", "mapped"),
        ({"trailer": "no"}, "unknown", "mapped"),
        ({"toll": "yes"}, "unknown", "mapped"),
        ({"toll": "no"}, "ok", "assumed"),
        ({"toll:hgv": "yes"}, "ok", "assumed"),
        ({"route": "ferry"}, "unknown", "mapped"),
        ({"seasonal": "winter"}, "unknown", "mapped"),
        ({"highway": "trunk", "minspeed": "60", "agricultural": "yes"}, "unknown", "mapped"),
        ({"motor_vehicle:conditional": "no @ (22:00-06:00)"}, "unknown", "mapped"),
        ({"motor_vehicle:conditional": "no @ hgv"}, "ok", "assumed"),
        ({"motor_vehicle:conditional": "no @ (weight>9.5)"}, "ok", "assumed"),  # it has 9.0 t
        ({"motor_vehicle:conditional": "no @ (weight>8.5)"}, "unknown", "mapped"),
        ({"motor_vehicle:conditional": "no @ (weight>3.5 AND wet)"}, "unknown", "mapped"),
        ({"access": "no", "access:conditional": "yes @ (agricultural)"}, "unknown", "mapped"),
        ({"access": "no", "access:conditional": "yes @ (psv)"}, "stop", "mapped"),
        ({"access": "yes", "access:conditional": "yes @ (Mo-Fr)"}, "ok", "mapped"),
        ({"access:conditional": "scribble"}, "unknown", "mapped"),
    ],
)
def test_access_by_hand(tmp_path, tags, level, basis):
    assert answer(tmp_path, tags, "access") == (level, basis)


@pytest.mark.parametrize(
    ("tags", "along", "against"),
    [
        ({"vehicle:forward": "no"}, "stop", "ok"),
        ({"vehicle:backward": "no"}, "ok", "stop"),
        ({"vehicle": "no", "vehicle:forward": "yes"}, "ok", "stop"),
        ({"access:forward:conditional": "no @ (07:00-09:00)"}, "unknown", "ok"),
    ],
)
def test_access_by_direction_by_hand(tmp_path, tags, along, against):
    assert answer(tmp_path, tags, "access")[0] == along
    assert answer(tmp_path, tags, "access", along=False)[0] == against


@pytest.mark.parametrize(
    ("tags", "level", "basis"),
    [
        ({"highway": "tertiary"}, "ok", "assumed"),
        ({"highway": "road"}, "unknown", "assumed"),
        ({"highway": "not_a_class"}, "unknown", "assumed"),
        ({"highway": "track"}, "unknown", "assumed"),
        ({"highway": "track", "surface": "gravel"}, "unknown", "assumed"),
        ({"highway": "track", "tracktype": "grade1"}, "ok", "mapped"),
        ({"highway": "track", "tracktype": "grade3"}, "ok", "mapped"),
        ({"highway": "track", "tracktype": "grade4"}, "unknown", "mapped"),
        ({"highway": "track", "tracktype": "grade5"}, "unknown", "mapped"),
        ({"highway": "track", "tracktype": "grade9"}, "unknown", "mapped"),
        ({"highway": "track", "tracktype": "grade2", "surface": "mud"}, "unknown", "mapped"),
        ({"highway": "tertiary", "surface": "gravel"}, "ok", "mapped"),
        ({"highway": "tertiary", "surface": "dirt"}, "unknown", "mapped"),
        ({"highway": "tertiary", "surface": "asphalt;dirt"}, "unknown", "mapped"),
        ({"highway": "tertiary", "smoothness": "bad"}, "ok", "mapped"),
        ({"highway": "tertiary", "smoothness": "horrible"}, "unknown", "mapped"),
        ({"highway": "tertiary", "smoothness": "impassable"}, "stop", "mapped"),
        ({"surface": "asphalt", "smoothness": "impassable"}, "stop", "mapped"),
    ],
)
def test_surface_by_hand(tmp_path, tags, level, basis):
    assert answer(tmp_path, tags, "surface") == (level, basis)


@pytest.mark.parametrize(
    ("tags", "level"),
    [
        ({}, "ok"),
        ({"ford": "yes"}, "unknown"),
        ({"ford": "no"}, "ok"),
        ({"flood_prone": "yes"}, "unknown"),
        ({"tidal": "yes"}, "unknown"),
        ({"bridge": "low_water_crossing"}, "unknown"),
        ({"bridge": "yes"}, "ok"),
    ],
)
def test_water_by_hand(tmp_path, tags, level):
    assert answer(tmp_path, tags, "water")[0] == level


@pytest.mark.parametrize(
    ("place", "kind", "value", "tags", "check", "level"),
    [
        ("way/7", "width", 3.5, {"width": "2"}, "width", "ok"),
        ("leg/7-0", "width", 3.4, {"width": "9"}, "width", "stop"),
        ("way/7", "height", 3.7, {"tunnel": "yes"}, "height", "ok"),
        ("way/7", "mass", 8000.0, {"bridge": "yes"}, "mass", "stop"),
        ("way/8", "mass", 8000.0, {"bridge": "yes"}, "mass", "unknown"),
        ("way/7", "access", 1.0, {"access": "private"}, "access", "ok"),
        ("way/7", "access", 0.0, {}, "access", "stop"),
        ("way/7", "access", 1.0, {"highway": "motorway"}, "access", "stop"),
        ("way/7", "ford", 1.0, {"ford": "yes"}, "water", "ok"),
        ("way/7", "ford", 0.0, {"ford": "yes"}, "water", "stop"),
        ("way/7", "surface", 1.0, {"highway": "track"}, "surface", "ok"),
        ("way/7", "surface", 0.0, {"surface": "asphalt"}, "surface", "stop"),
        ("way/7", "mass", 9000.0, {"maxweightrating": "3.5"}, "mass", "ok"),
        ("way/7", "width", 6.0, {"maxwidth": "2.4"}, "width_limit", "stop"),
        ("way/7", "width_limit", 2.5, {"maxwidth": "2.4"}, "width_limit", "ok"),
        ("way/7", "width_limit", 3.5, {"width": "6", "maxwidth": "3"}, "width", "ok"),
        ("way/7", "width_limit", 3.4, {"width": "6"}, "width", "stop"),
        ("way/7", "width", 6.0, {"maxwidth": "2.4"}, "width", "ok"),
        ("way/7", "width_limit", 2.4, {"width": "9"}, "width_limit", "stop"),
        ("way/7", "height", 9.0, {"maxheight": "3.3"}, "height_limit", "stop"),
        ("way/7", "height_limit", 3.4, {"maxheight": "3.3"}, "height_limit", "ok"),
        ("way/7", "height_limit", 3.7, {"maxheight": "3.3"}, "height", "ok"),
        ("way/7", "length_limit", 9.0, {"maxlength": "8"}, "length", "ok"),
        ("way/7", "length_limit", 8.9, {}, "length", "stop"),
    ],
)
def test_what_was_measured_wins_by_hand(tmp_path, place, kind, value, tags, check, level):
    assert answer(tmp_path, tags, check, checks=measured(place, kind, value))[0] == level


def test_a_figure_missing_in_the_machine_is_unknown_everywhere_by_hand(tmp_path):
    bare = {"transport": (Transport(name="as it is"),), "mass_kg": None, "axles": ()}
    for check in ("width", "height", "mass"):
        assert answer(tmp_path, {"width": "9", "maxheight": "9"}, check, **bare)[0] == "unknown"


def test_a_check_of_no_such_place_is_named_by_hand(tmp_path):
    data = district(tmp_path, {1: (0, 0), 2: (1, 0)}, [(7, [1, 2], {"highway": "track"})])
    assert "way/8" in lay(measured("way/8", "width", 3.0), data).lost[0]


def test_the_newest_figure_counts_and_the_legs_own_beats_its_older_ways_by_hand(tmp_path):
    days = pd.to_datetime(["2026-05-03", "2026-05-02", "2026-05-04"])
    rows = {"kind": ["width"] * 3, "value": [3.0, 9.0, 2.0], "who": ["A"] * 3, "when": days}
    same = pd.DataFrame(rows | {"place": ["way/7"] * 3})
    data = district(tmp_path, {1: (0, 0), 2: (1, 0)}, [(7, [1, 2], {"highway": "track"})])
    assert lay(same, data).legs["width"].tolist() == [2.0]
    older = rows | {"when": pd.to_datetime(["2026-05-03", "2026-05-02", "2026-05-01"])}
    own = pd.DataFrame(older | {"place": ["leg/7-0", "leg/7-0", "way/7"]})
    assert lay(own, data).legs["width"].tolist() == [3.0]


@pytest.mark.parametrize(
    ("tags", "check", "words"),
    [
        ({"width": "3.4"}, "width", "width=3.4"),
        ({"width": "9", "width:carriageway": "3.4"}, "width", "width:carriageway=3.4"),
        ({"est_width": "3.4"}, "width", "est_width=3.4"),
        ({"maxwidth": "2.3"}, "width_limit", "maxwidth=2.3"),
        ({"maxheight:forward": "3.3"}, "height_limit", "maxheight=3.3 in this direction"),
        ({"maxheight:physical": "3.3"}, "height", "maxheight:physical=3.3"),
        ({"maxweight": "8.9"}, "mass", "maxweight=8.9"),
        ({"maxaxleload": "4.9"}, "axles", "maxaxleload=4.9"),
        ({"maxlength": "8"}, "length", "maxlength=8"),
        ({"agricultural": "no"}, "access", "agricultural=no"),
        ({"highway": "motorway"}, "access", "highway=motorway"),
        ({"motorroad": "yes"}, "access", "motorroad=yes"),
        ({"smoothness": "impassable"}, "surface", "smoothness=impassable"),
    ],
)
def test_a_refusal_names_the_tag_it_rests_on_by_hand(tmp_path, tags, check, words):
    found = asked(tmp_path, ROAD | tags, check)
    assert found.level == "stop"
    assert f"({words})." in found.why


def test_what_a_sign_says_under_conditions_stands_in_its_own_words_by_hand(tmp_path):
    words = "3.5 @ (Mo-Fr 07:00-09:00)"
    found = asked(tmp_path, {"maxweight:conditional": words}, "mass")
    assert (found.level, found.basis) == ("unknown", "mapped")
    assert f"maxweight:conditional={words}" in found.why


def test_the_figure_that_height_is_held_against_by_hand(tmp_path):
    """3.4 m tall: without a margin at the statutory height, with 0.3 m under what is mapped."""
    assert asked(tmp_path, {}, "height").need == pytest.approx(3.4)
    assert asked(tmp_path, {"maxheight": "4"}, "height").need == pytest.approx(3.7)
    assert asked(tmp_path, {"maxheight": "3.5"}, "height").need == pytest.approx(3.7)
    assert asked(tmp_path, {"maxheight": "3.5"}, "height_limit").need == pytest.approx(3.4)
