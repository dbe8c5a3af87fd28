"""Gates, grids, bars, signs at a point. By hand: one node, one tag at a time."""

from __future__ import annotations

import pytest
from one_road import asked
from one_road import told as measured
from small_roads import district, machine, spot

from fieldmap.roads.move import plan
from fieldmap.tables import load_tables


@pytest.mark.parametrize(
    ("node", "check", "level"),
    [
        ({"barrier": "gate"}, "opening", "unknown"),
        ({"barrier": "gate", "maxwidth": "3.1"}, "opening", "ok"),  # 2.5 + 0.6
        ({"barrier": "gate", "maxwidth": "3.0"}, "opening", "stop"),
        ({"barrier": "gate", "maxwidth": "3.0"}, "width_limit", "ok"),
        ({"barrier": "gate", "maxwidth": "2.4"}, "width_limit", "stop"),
        ({"barrier": "gate", "maxwidth": "2.4", "maxwidth:physical": "3.1"}, "opening", "ok"),
        ({"barrier": "gate", "maxwidth": "2.4", "maxwidth:physical": "3.1"}, "width_limit", "stop"),
        ({"barrier": "gate", "width": "3"}, "opening", "stop"),
        ({"barrier": "gate", "width": "3.1"}, "opening", "ok"),
        ({"barrier": "gate", "width": "3.1", "maxwidth": "3"}, "opening", "stop"),
        ({"barrier": "gate", "width": "broad"}, "opening", "unknown"),
        ({"barrier": "gate", "est_width": "3"}, "opening", "stop"),
        ({"barrier": "gate", "est_width": "9"}, "opening", "unknown"),
        ({"barrier": "gate", "est_width": "3", "width": "4"}, "opening", "ok"),
        ({"highway": "passing_place", "width": "2"}, "opening", "ok"),
        ({"highway": "passing_place", "maxwidth": "2"}, "opening", "stop"),
        ({"covered": "yes"}, "height", "unknown"),
        ({"covered": "yes", "maxheight": "3.9"}, "height", "ok"),
        ({"barrier": "gate", "access": "private"}, "access", "unknown"),
        ({"barrier": "gate", "access": "no"}, "access", "stop"),
        ({"barrier": "gate", "locked": "yes"}, "access", "unknown"),
        ({"barrier": "gate", "access:conditional": "no @ (19:00-07:00)"}, "access", "unknown"),
        ({"barrier": "lift_gate", "motor_vehicle": "no", "agricultural": "yes"}, "access", "ok"),
        ({"barrier": "toll_booth"}, "access", "unknown"),
        ({"barrier": "bollard"}, "opening", "stop"),
        ({"barrier": "bollard", "width": "9"}, "opening", "stop"),
        ({"barrier": "bollard", "maxwidth": "9"}, "opening", "ok"),
        ({"barrier": "bollard", "maxwidth:physical": "9"}, "opening", "ok"),
        ({"barrier": "something"}, "opening", "unknown"),
        ({"barrier": "cattle_grid"}, "opening", "unknown"),
        ({"barrier": "cattle_grid"}, "mass", "unknown"),
        ({"barrier": "cattle_grid", "maxweight": "9"}, "mass", "ok"),
        ({"barrier": "cattle_grid", "maxweight": "8.9"}, "mass", "stop"),
        ({"maxweightrating": "7.5"}, "mass", "unknown"),
        ({"maxaxleload": "4.9"}, "axles", "stop"),
        ({"maxaxleload": "5"}, "axles", "ok"),
        ({"maxlength": "8"}, "length", "stop"),
        ({"maxlength": "9"}, "length", "ok"),
        ({"barrier": "height_restrictor"}, "height", "unknown"),
        ({"barrier": "height_restrictor", "maxheight": "3.8"}, "height", "stop"),  # 3.4 + 0.5
        ({"barrier": "height_restrictor", "maxheight": "3.9"}, "height", "ok"),
        ({"barrier": "height_restrictor", "maxheight": "3.4"}, "height_limit", "ok"),
        ({"maxheight": "3.3"}, "height_limit", "stop"),
        ({"maxheight:backward": "3.3"}, "height_limit", "stop"),  # driven both ways
        ({"maxheight:physical:forward": "3.8"}, "height", "stop"),
        ({"barrier": "gate", "vehicle:forward": "no"}, "access", "unknown"),
        ({"ford": "yes"}, "water", "unknown"),
        ({"traffic_calming": "choker"}, "opening", "unknown"),
        ({"traffic_calming": "hump"}, "opening", "ok"),
        ({"railway": "level_crossing"}, "opening", "ok"),
    ],
)
def test_nodes_by_hand(tmp_path, node, check, level):
    assert asked(tmp_path, {}, check, node=node).level == level


@pytest.mark.parametrize(
    ("kind", "value", "node", "check", "level"),
    [
        ("opening", 3.1, {"barrier": "bollard"}, "opening", "ok"),
        ("opening", 3.0, {"barrier": "gate", "width": "9"}, "opening", "stop"),
        ("width", 3.1, {"barrier": "gate"}, "opening", "ok"),
        ("opening", 9.0, {"barrier": "gate", "maxwidth": "2"}, "width_limit", "stop"),
        ("width_limit", 2.5, {"barrier": "gate", "maxwidth": "2"}, "width_limit", "ok"),
        ("height", 3.9, {"barrier": "height_restrictor"}, "height", "ok"),
        ("mass", 9000.0, {"barrier": "cattle_grid"}, "mass", "ok"),
        ("mass", 8999.0, {"barrier": "cattle_grid"}, "mass", "stop"),
        ("axle", 5000.0, {"maxaxleload": "2"}, "axles", "ok"),
        ("length_limit", 9.0, {"maxlength": "2"}, "length", "ok"),
        ("access", 1.0, {"barrier": "gate", "locked": "yes"}, "access", "ok"),
        ("access", 0.0, {"barrier": "gate"}, "access", "stop"),
        ("ford", 1.0, {"ford": "yes"}, "water", "ok"),
        ("ford", 0.0, {"ford": "yes"}, "water", "stop"),
    ],
)
def test_what_was_measured_at_a_node_wins_by_hand(tmp_path, kind, value, node, check, level):
    checks = measured("node/2", kind, value)
    assert asked(tmp_path, {}, check, node=node, checks=checks).level == level


def test_a_refusal_at_a_node_names_its_tag_by_hand(tmp_path):
    assert "(barrier=bollard)." in asked(tmp_path, {}, "opening", node={"barrier": "bollard"}).why
    narrow = {"barrier": "gate", "width": "3"}
    assert "(width=3)." in asked(tmp_path, {}, "opening", node=narrow).why


@pytest.mark.parametrize(
    ("node", "what"),
    [
        ({"railway": "level_crossing"}, "railway crossing"),
        ({"traffic_calming": "hump"}, "hump in the road"),
    ],
)
def test_rails_and_humps_on_the_way_are_told_with_care_by_hand(tmp_path, node, what):
    road = {"highway": "tertiary"}
    data = district(
        tmp_path, {1: (0, 0), 2: (1, 0), 3: (2, 0)}, [(7, [1, 2, 3], road)], node_tags={2: node}
    )
    found = plan(
        data,
        None,
        machine(),
        state=None,
        start=spot(0, 0),
        goal=spot(2, 0),
        tables=load_tables(),
    )
    assert [one.level for one in found.findings if one.what == what] == ["care"]
