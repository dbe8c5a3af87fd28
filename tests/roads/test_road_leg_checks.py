"""Three-valued checks by leg and node, by hand: one road, one tag at a time."""

from __future__ import annotations

import pandas as pd
import pytest
from small_roads import district, machine

from fieldmap.roads.checks import check_ground, ground_of
from fieldmap.roads.facts import on_road
from fieldmap.roads.measured import lay
from fieldmap.roads.verdict import BASIS_OF, LEVEL_OF
from fieldmap.tables import load_tables

TABLES = load_tables()


def answer(tmp_path, tags, check, *, state=0, node=None, checks=None, tables=TABLES, **changes):
    """Level and basis of a check on a single road, or on its middle node."""
    data = district(
        tmp_path,
        {1: (0, 0), 2: (1, 0), 3: (2, 0)},
        [(7, [1, 2, 3], {"highway": "road"} | tags)],
        node_tags={2: node} if node else None,
    )
    one = machine(**changes)
    found = check_ground(
        ground_of(data), on_road(one, one.transport[state]), lay(checks, data), tables=tables
    )
    verdict = (found.nodes if node else found.legs)[check]
    return LEVEL_OF[verdict.level[0]], BASIS_OF[verdict.basis[0]]


def measured(place, kind, value):
    return pd.DataFrame(
        {
            "place": [place],
            "kind": [kind],
            "value": [value],
            "who": ["A"],
            "when": pd.to_datetime(["2026-05-02"]),
        }
    )


@pytest.mark.parametrize(
    ("tags", "level", "basis"),
    [
        ({"width": "3.5"}, "ok", "mapped"),  # 2.5 + 2 x 0.5
        ({"width": "3.4"}, "stop", "mapped"),
        ({"width": "6", "width:carriageway": "3.4"}, "stop", "mapped"),
        ({"width": "narrow", "highway": "tertiary"}, "unknown", "mapped"),
        ({"width": "6", "maxwidth": "3"}, "stop", "mapped"),
        ({"width": "6", "maxwidth:physical": "3"}, "stop", "mapped"),
        ({"maxwidth": "6"}, "unknown", "assumed"),
        ({"est_width": "3.4"}, "stop", "assumed"),
        ({"est_width": "9"}, "unknown", "assumed"),
        ({"highway": "tertiary"}, "ok", "assumed"),
        ({"highway": "tertiary", "oneway": "yes"}, "unknown", "assumed"),
        ({"highway": "track"}, "unknown", "assumed"),
        ({"highway": "track", "lanes": "2"}, "ok", "assumed"),
        ({"highway": "tertiary", "lanes": "1"}, "unknown", "assumed"),
        ({"highway": "not_a_class"}, "unknown", "assumed"),
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
        ({"maxheight": "4.5", "maxheight:backward": "3.6"}, "stop", "mapped"),
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
        ({"maxaxleload": "5"}, "ok"),
        ({"maxaxleload": "4.9"}, "stop"),
        ({"bridge": "yes"}, "unknown"),
        ({"bridge": "yes", "maxweight": "12"}, "ok"),
        ({"bridge": "yes", "maxweight": "none"}, "unknown"),
        ({"bridge": "yes", "highway": "secondary"}, "ok"),
        ({"bridge": "no"}, "ok"),
        ({"maxweight": "12", "maxbogieweight": "8"}, "unknown"),
        ({"maxweight": "light"}, "unknown"),
    ],
)
def test_mass_by_hand(tmp_path, tags, level):
    assert answer(tmp_path, tags, "mass")[0] == level


def test_mass_over_the_statutory_one_and_axles_not_known_by_hand(tmp_path):
    assert answer(tmp_path, {}, "mass", mass_kg=40_000.0)[0] == "unknown"
    assert answer(tmp_path, {"maxaxleload": "8"}, "mass", axles=())[0] == "unknown"


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
        ({"motor_vehicle:conditional": "no @ (22:00-06:00)"}, "unknown", "mapped"),
    ],
)
def test_access_by_hand(tmp_path, tags, level, basis):
    assert answer(tmp_path, tags, "access") == (level, basis)


@pytest.mark.parametrize(
    ("node", "check", "level"),
    [
        ({"barrier": "gate"}, "opening", "unknown"),
        ({"barrier": "gate", "maxwidth": "3.1"}, "opening", "ok"),  # 2.5 + 0.6
        ({"barrier": "gate", "width": "3"}, "opening", "stop"),
        ({"barrier": "gate", "access": "private"}, "access", "unknown"),
        ({"barrier": "gate", "access": "no"}, "access", "stop"),
        ({"barrier": "gate", "locked": "yes"}, "access", "unknown"),
        ({"barrier": "bollard"}, "opening", "stop"),
        ({"barrier": "bollard", "width": "9"}, "opening", "stop"),
        ({"barrier": "bollard", "maxwidth": "9"}, "opening", "ok"),
        ({"barrier": "something"}, "opening", "unknown"),
        ({"barrier": "cattle_grid"}, "opening", "unknown"),
        ({"barrier": "cattle_grid"}, "mass", "unknown"),
        ({"barrier": "height_restrictor"}, "height", "unknown"),
        ({"barrier": "height_restrictor", "maxheight": "3.8"}, "height", "stop"),
        ({"barrier": "height_restrictor", "maxheight": "3.9"}, "height", "ok"),
        ({"ford": "yes"}, "water", "unknown"),
        ({"traffic_calming": "choker"}, "opening", "unknown"),
        ({"traffic_calming": "hump"}, "opening", "ok"),
        ({"railway": "level_crossing"}, "opening", "ok"),
    ],
)
def test_nodes_by_hand(tmp_path, node, check, level):
    assert answer(tmp_path, {}, check, node=node)[0] == level


@pytest.mark.parametrize(
    ("place", "kind", "value", "tags", "check", "level"),
    [
        ("way/7", "width", 3.5, {"width": "2"}, "width", "ok"),
        ("leg/7-0", "width", 3.4, {"width": "9"}, "width", "stop"),
        ("way/7", "height", 3.7, {"tunnel": "yes"}, "height", "ok"),
        ("way/7", "mass", 8000.0, {"bridge": "yes"}, "mass", "stop"),
        ("way/8", "mass", 8000.0, {"bridge": "yes"}, "mass", "unknown"),
    ],
)
def test_what_was_measured_wins_by_hand(tmp_path, place, kind, value, tags, check, level):
    assert answer(tmp_path, tags, check, checks=measured(place, kind, value))[0] == level


def test_a_measured_opening_lets_past_a_bollard_by_hand(tmp_path):
    node = {"barrier": "bollard"}
    assert answer(
        tmp_path, {}, "opening", node=node, checks=measured("node/2", "opening", 3.1)
    ) == ("ok", "measured")


def test_a_figure_missing_in_the_machine_is_unknown_everywhere_by_hand(tmp_path):
    from fieldmap.machine import Transport

    bare = {"transport": (Transport(name="as it is"),), "mass_kg": None, "axles": ()}
    for check in ("width", "height", "mass"):
        assert answer(tmp_path, {"width": "9", "maxheight": "9"}, check, **bare)[0] == "unknown"


def test_a_check_of_no_such_place_is_named_by_hand(tmp_path):
    data = district(tmp_path, {1: (0, 0), 2: (1, 0)}, [(7, [1, 2], {"highway": "track"})])
    assert "way/8" in lay(measured("way/8", "width", 3.0), data).lost[0]


def test_the_newest_figure_counts_and_the_legs_own_beats_its_ways_by_hand(tmp_path):
    days = pd.to_datetime(["2026-05-03", "2026-05-02", "2026-05-04"])
    rows = {"kind": ["width"] * 3, "value": [3.0, 9.0, 2.0], "who": ["A"] * 3, "when": days}
    same = pd.DataFrame(rows | {"place": ["way/7"] * 3})
    data = district(tmp_path, {1: (0, 0), 2: (1, 0)}, [(7, [1, 2], {"highway": "track"})])
    assert lay(same, data).legs["width"].tolist() == [2.0]
    own = pd.DataFrame(rows | {"place": ["leg/7-0", "leg/7-0", "way/7"]})
    assert lay(own, data).legs["width"].tolist() == [3.0]
