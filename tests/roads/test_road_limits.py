"""Limits on signs: for whom, in which direction, under which conditions. By hand.

The machine of these tests is 2.5 m wide, 3.4 m tall, 9.0 m long and has 9.0 t on axles of
4.0 and 5.0 t that stand 3 m apart. Grammar: https://wiki.openstreetmap.org/wiki/Conditional_restrictions
"""

from __future__ import annotations

import numpy as np
import pytest
from one_road import asked
from small_roads import machine

from fieldmap.machine import Transport
from fieldmap.roads.conditional import clauses
from fieldmap.roads.facts import directed, on_road, places_of
from fieldmap.roads.limits import limit_of
from fieldmap.roads.tags import length_m

SIZE = on_road(machine(), machine().transport[0])


@pytest.mark.parametrize(
    ("tags", "level"),
    [
        ({}, "ok"),
        ({"maxwidth": "2.5"}, "ok"),
        ({"maxwidth": "2.4"}, "stop"),
        ({"maxwidth": "8'2\""}, "stop"),  # 2.4892 m
        ({"maxwidth": "8'3\""}, "ok"),  # 2.5146 m
        ({"maxwidth": "narrow"}, "unknown"),
        ({"maxwidth": "2.4;3"}, "unknown"),
        ({"maxwidth": "below_default"}, "unknown"),
        ({"maxwidth": "none"}, "ok"),
        ({"maxwidth:physical": "2.4"}, "ok"),  # that is for the other check
        ({"source:maxwidth": "sign"}, "ok"),
        # for whom
        ({"maxwidth": "2", "maxwidth:agricultural": "3"}, "ok"),
        ({"maxwidth": "3", "maxwidth:agricultural": "2"}, "stop"),
        ({"maxwidth": "3", "maxwidth:motor_vehicle": "2"}, "stop"),
        ({"maxwidth:hgv": "2"}, "ok"),
        ({"maxwidth:bus": "2", "maxwidth": "3"}, "ok"),
        ({"maxwidth:trailer": "2"}, "unknown"),
        ({"maxwidth:trailer": "2.5"}, "ok"),
        ({"maxwidth:lanes": "3|2"}, "unknown"),
        ({"maxwidth:lanes": "3||2.5"}, "ok"),
        ({"maxwidth:sunday": "2"}, "unknown"),
        # under conditions
        ({"maxwidth:conditional": "2 @ (22:00-06:00)"}, "unknown"),
        ({"maxwidth:conditional": "2.5 @ (22:00-06:00)"}, "ok"),
        ({"maxwidth:conditional": "2 @ hgv"}, "ok"),
        ({"maxwidth:conditional": "2 @ (hgv AND 22:00-06:00)"}, "ok"),
        ({"maxwidth:conditional": "2 @ (weight>9)"}, "unknown"),
        ({"maxwidth:conditional": "2 @ (weight > 9.1 t)"}, "ok"),
        ({"maxwidth:conditional": "2 @ (length>30 ft)"}, "ok"),  # 9.14 m
        ({"maxwidth:conditional": "2 @ (length>29 ft)"}, "unknown"),  # 8.84 m
        ({"maxwidth:conditional": "what it says"}, "unknown"),
        ({"maxwidth:agricultural:conditional": "2 @ wet"}, "unknown"),
        ({"maxwidth": "2", "maxwidth:conditional": "none @ agricultural"}, "unknown"),
        ({"maxwidth": "2", "maxwidth:conditional": "none @ destination"}, "unknown"),
        ({"maxwidth": "2", "maxwidth:conditional": "none @ bus"}, "stop"),
        ({"maxwidth": "2", "maxwidth:conditional": "1.8 @ wet"}, "stop"),
        ({"maxwidth": "3", "maxwidth:conditional": "none @ wet"}, "ok"),
    ],
)
def test_a_width_limit_by_hand(tmp_path, tags, level):
    assert asked(tmp_path, tags, "width_limit").level == level


@pytest.mark.parametrize(
    ("tags", "along", "against"),
    [
        ({"maxheight": "3.4"}, "ok", "ok"),  # no margin at a sign
        ({"maxheight:forward": "3.3"}, "stop", "ok"),
        ({"maxheight:backward": "3.3"}, "ok", "stop"),
        ({"maxheight": "3.3", "maxheight:forward": "4"}, "stop", "stop"),  # the least counts
        ({"maxheight:forward:conditional": "3.3 @ wet"}, "unknown", "ok"),
        ({"maxheight:agricultural:backward": "3.3"}, "ok", "stop"),
    ],
)
def test_a_height_limit_by_direction_by_hand(tmp_path, tags, along, against):
    assert asked(tmp_path, tags, "height_limit").level == along
    assert asked(tmp_path, tags, "height_limit", along=False).level == against


@pytest.mark.parametrize(
    ("tags", "along", "against"),
    [
        ({"maxheight:forward": "3.6"}, "stop", "ok"),  # 3.4 m and the margin of 0.3 m
        ({"maxheight:physical:backward": "3.6"}, "ok", "stop"),
        ({"maxwidth:physical:forward": "2.4"}, "ok", "ok"),
    ],
)
def test_what_fits_by_direction_by_hand(tmp_path, tags, along, against):
    assert asked(tmp_path, tags, "height").level == along
    assert asked(tmp_path, tags, "height", along=False).level == against


@pytest.mark.parametrize(
    ("tags", "level"),
    [
        ({}, "ok"),
        ({"maxlength": "9"}, "ok"),
        ({"maxlength": "8.9"}, "stop"),
        ({"maxlength:physical": "8.9"}, "stop"),
        ({"maxlength:physical": "9", "maxlength": "8.9"}, "stop"),
        ({"maxlength": "long"}, "unknown"),
        ({"maxlength:physical": "long"}, "unknown"),
        ({"maxlength:conditional": "8 @ snow"}, "unknown"),
    ],
)
def test_a_length_limit_by_hand(tmp_path, tags, level):
    assert asked(tmp_path, tags, "length").level == level


@pytest.mark.parametrize(
    ("check", "tags"),
    [
        ("width_limit", {"maxwidth": "9"}),
        ("width_limit", {"maxwidth:conditional": "9 @ wet"}),
        ("height_limit", {"maxheight": "9"}),
        ("length", {"maxlength": "30"}),
        ("length", {"maxlength:physical": "30"}),
        ("mass", {"maxgcweight": "60"}),
        ("axles", {"maxaxleload": "60"}),
        ("axles", {"maxbogieweight": "60"}),
    ],
)
def test_a_limit_that_a_machine_without_figures_meets_is_unknown_by_hand(tmp_path, check, tags):
    bare = {"transport": (Transport(name="as it is"),), "mass_kg": None, "axles": ()}
    assert asked(tmp_path, tags, check, **bare).level == "unknown"


def test_a_tag_folded_into_a_direction_reads_as_the_plain_one_does_by_hand():
    """Along a line ``k:forward`` is ``k``, and against it ``k:backward`` is."""
    bound = places_of(directed([{"maxwidth:forward": "2.3", "maxwidth:backward": "3.1"}]))
    plain = places_of([{"maxwidth": "2.3"}, {"maxwidth": "3.1"}])
    one, other = (limit_of(each, "maxwidth", length_m, SIZE) for each in (bound, plain))
    assert one.value.tolist() == other.value.tolist() == [2.3, 3.1]
    assert np.isnan(one.maybe).all()


@pytest.mark.parametrize(
    ("text", "values", "conditions"),
    [
        ("no @ wet", ["no"], [("wet",)]),
        ("no@ hgv", ["no"], [("hgv",)]),
        ("3.5 @ (a; b); none @ (c)", ["3.5", "none"], [("a; b",), ("c",)]),
        ("yes @ (x AND y and z)", ["yes"], [("x", "y", "z")]),
    ],
)
def test_clauses_of_a_conditional_tag_by_hand(text, values, conditions):
    found = clauses(text)
    assert [one.value for one in found] == values
    assert [one.conditions for one in found] == conditions


@pytest.mark.parametrize("text", ["", "no", "@ wet", "no @", "no @ ()", ";", "no @ wet; broken"])
def test_a_conditional_tag_that_breaks_the_grammar_is_not_read_by_hand(text):
    assert clauses(text) is None
