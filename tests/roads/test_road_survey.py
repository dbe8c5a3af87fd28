"""The survey list: what is on it settles the way when it is done, and nothing else is on it."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS
from small_roads import district, machine, spot

from fieldmap.crs import WGS84, transformer
from fieldmap.machine import Axle, Transport
from fieldmap.read.road_kinds import KINDS, sort_of
from fieldmap.read.roads import read_roads
from fieldmap.roads.answer import Corner
from fieldmap.roads.choose import choose
from fieldmap.roads.district import district_of, hold
from fieldmap.roads.measured import ANSWERED
from fieldmap.roads.move import plan, plan_in
from fieldmap.roads.search import OnLeg
from fieldmap.roads.snap import snap
from fieldmap.roads.survey import KIND_OF, bend_rows, survey, turn_rows
from fieldmap.roads.tell_legs import leg_table, node_table
from fieldmap.roads.verdict import ASSUMED, FAIL, MAPPED, PASS, UNKNOWN, Verdict
from fieldmap.tables import load_tables

TABLES = load_tables()
WIDE = {"highway": "tertiary", "width": "9", "name": "Long Road"}
NODES = {1: (0, 0), 2: (1, 0), 3: (2, 0), 4: (3, 0)}
#: An invented train that is told in full: 9 t on three axles, 2.5 m wide, 3.4 m tall, 9 m long.
TRAIN = machine(
    axles=tuple(Axle(mass_kg=3000, position_m=at) for at in (0.0, 3.0, 6.0)),
    transport=(Transport(name="folded", width_m=2.5, height_m=3.4, length_m=9.0),),
)
#: The same, with what a turn and a grade ask of it.
TURNS = {"wheelbase_m": 2.7, "hitch_offset_m": 0.9, "tongue_length_m": 5.0, "turning_radius_m": 6.0}
TOLD = TRAIN.model_copy(update=TURNS | {"mower_mass_kg": 3000.0})


def roads(folder, middle, node=None):
    """A road of three ways; the middle one, or the node before it, has something to settle."""
    ways = [(21, [1, 2], WIDE), (22, [2, 3], WIDE | middle), (23, [3, 4], WIDE)]
    return district(folder, NODES, ways, node_tags={2: node} if node else None)


def move(data, checks=None, one=TRAIN):
    table = None if not checks else pd.DataFrame(checks)
    return plan(data, table, one, state=None, start=spot(0.5, 0), goal=spot(2.5, 0), tables=TABLES)


def done(item, value=None):
    """The road check that somebody writes after doing what an item of the list asks."""
    need = item["must_beat"]
    figure = (1.0 if need is None else need * 1.01) if value is None else value
    return {
        "place": item["place"],
        "kind": item["kind"],
        "value": figure,
        "who": "Ines",
        "when": pd.Timestamp("2026-05-03"),
        "machine": "m" if KINDS[item["kind"]].needs_machine else "",
    }


#: What is unknown on the middle way or its node, and the kinds of road checks that settle it.
CASES = {
    "width": ({"width": "narrow"}, None, {"width"}),
    "width by class": ({"highway": "unclassified", "width": ""}, None, {"width"}),
    "est_width": ({"width": "", "est_width": "3.2"}, None, {"width"}),
    "width_limit": ({"maxwidth": "see sign"}, None, {"width_limit"}),
    "height": ({"tunnel": "yes"}, None, {"height"}),
    "height_limit": ({"maxheight": "below_default"}, None, {"height_limit"}),
    "length_limit": ({"maxlength": "long"}, None, {"length_limit"}),
    "mass": ({"maxweight": "heavy"}, None, {"mass"}),
    "axle": ({"maxaxleload": "heavy"}, None, {"axle"}),
    "access": ({"access": "private"}, None, {"access"}),
    "ford": ({"ford": "yes"}, None, {"ford"}),
    "surface": ({"highway": "track"}, None, {"surface"}),
    "opening": ({}, {"barrier": "gate"}, {"opening"}),
    "grid": ({}, {"barrier": "cattle_grid", "maxwidth": "6"}, {"mass"}),
    "node access": ({}, {"barrier": "gate", "maxwidth": "6", "access": "private"}, {"access"}),
    "node ford": ({}, {"ford": "yes"}, {"ford"}),
    "bar": ({}, {"barrier": "height_restrictor"}, {"height"}),
    "node limit": ({}, {"barrier": "gate", "width": "6", "maxweight": "heavy"}, {"mass"}),
}


@pytest.mark.parametrize("case", CASES)
def test_by_hand_each_kind_is_asked_for_and_settled(tmp_path, case):
    """By hand: done above its figure an item goes, done below it the way is not passed."""
    middle, node, kinds = CASES[case]
    data = roads(tmp_path, middle, node)
    before = move(data)
    assert before.level == "unknown"
    asked = {one["kind"] for one in before.survey}
    assert kinds <= asked
    for one in before.survey:
        assert one["place"] == ("way/22" if node is None else "node/2")
        assert sort_of(one["place"]) in KINDS[one["kind"]].at
        assert (one["must_beat"] is None) == (one["kind"] in ANSWERED)
        assert one["unit"] == KINDS[one["kind"]].unit
    checks = [done(one) for one in before.survey]
    for n, one in enumerate(before.survey):
        after = move(data, checks[: n + 1])
        assert (one["place"], one["kind"]) not in {(o["place"], o["kind"]) for o in after.survey}
    assert move(data, checks).level in ("ok", "care")
    assert move(data, checks).survey == []
    for n, one in enumerate(before.survey):
        short = 0.0 if one["must_beat"] is None else one["must_beat"] * 0.99
        assert move(data, [*checks[:n], done(one, short), *checks[n + 1 :]]).level == "stop"


def test_by_hand_every_kind_has_a_case_or_a_turn():
    told = set().union(*(kinds for *_, kinds in CASES.values()))
    assert told | {"turn", "grade"} == set(KINDS) == set(KIND_OF.values())


def test_by_hand_what_a_sign_refuses_is_not_on_the_list(tmp_path):
    found = move(roads(tmp_path, {"maxweight": "7.5", "maxwidth": "2.3", "ford": "yes"}))
    assert found.level == "stop"
    assert {one["kind"] for one in found.survey} == {"ford"}


def test_by_hand_the_machines_own_figures_are_asked_for_once(tmp_path):
    """By hand: without sizes the list asks for the machine's, and not for the road's."""
    bare = machine(mass_kg=None, axles=(), transport=(Transport(name="folded"),))
    data = roads(tmp_path, {"maxweight": "7.5", "maxheight": "3", "maxaxleload": "5", "width": "4"})
    found = move(data, one=bare)
    asked = [(one["place"], one["kind"]) for one in found.survey]
    assert set(asked) == {("machine", "")}
    words = [one["measure"] for one in found.survey]
    assert len(words) == len(set(words)) == 4  # width, height, mass, axles


def test_by_hand_driving_order(tmp_path):
    """By hand: a gate before its way, whatever the order of the checks."""
    ways = [
        (21, [1, 2], WIDE | {"ford": "yes"}),
        (22, [2, 3], WIDE | {"access": "private"}),
        (23, [3, 4], WIDE | {"width": "narrow"}),
    ]
    data = district(tmp_path, NODES, ways, node_tags={2: {"barrier": "gate"}, 3: {"ford": "yes"}})
    there = [one["place"] for one in move(data).survey]
    assert there == ["way/21", "node/2", "way/22", "node/3", "way/23"]
    back = plan(data, None, TRAIN, state=None, start=spot(2.5, 0), goal=spot(0.5, 0), tables=TABLES)
    assert [one["place"] for one in back.survey] == there[::-1]


def test_by_hand_one_way_asks_for_one_measure_once(tmp_path):
    nodes = NODES | {5: (1, 1), 6: (2, 1)}
    ways = [
        (31, [1, 2, 3, 4], WIDE | {"width": "narrow"}),
        (32, [2, 5], WIDE),
        (33, [3, 6], WIDE),
    ]
    found = move(district(tmp_path, nodes, ways))
    assert len(found.legs) == 3
    (asked,) = found.survey
    assert (asked["place"], asked["kind"]) == ("way/31", "width")
    assert asked["measure"].endswith("the least along all of it")


def turn_verdict(net, level, row):
    levels = np.zeros(len(net.follow), dtype=np.int8)
    levels[row] = level
    figures = np.full(len(levels), 4.0)
    basis = np.full(len(levels), ASSUMED if level == UNKNOWN else MAPPED, dtype=np.int8)
    why = np.zeros(len(levels), dtype=np.int16)
    return Verdict("turn", "m", levels, figures, figures, figures, basis, why, ("Too tight.",))


@pytest.mark.parametrize(("level", "asked"), [(UNKNOWN, True), (FAIL, False), (PASS, False)])
def test_by_hand_a_turn_is_named_by_its_legs(tmp_path, level, asked):
    data = roads(tmp_path, {})
    place = district_of(data, None)
    held = hold(place, TRAIN, TRAIN.transport[0], tables=TABLES)
    ends = [OnLeg(int(np.flatnonzero(data.edges["leg_id"] == leg)[0]), 0.5) for leg in LEGS]
    way = choose(place.net, held.sure, held.fewest, *ends).way
    checked = replace(held.checked, turns=turn_verdict(place.net, level, way.turns[0]))
    legs = leg_table(data, checked, way, *ends)
    nodes = node_table(data, place.ground, checked, place.net, way)
    items = survey(legs, nodes, held.size, turn_rows(data, checked, way))
    told = [(one["place"], one["kind"], one["must_beat"], one["unit"]) for one in items]
    assert told == ([("turn/21-0/22-0", "turn", None, "")] if asked else [])
    assert turn_rows(data, replace(checked, turns=None), way) == []
    assert turn_rows(data, checked, None) == []
    if asked:
        x, y = transformer(WGS84, data.crs).transform(items[0]["lon"], items[0]["lat"])
        node = data.nodes[data.nodes["node_id"] == 2].iloc[0]
        assert (x, y) == pytest.approx((node["x"], node["y"]), abs=0.01)


def corner_move(folder, checks=None):
    """A square corner between two roads, on which it depends on their mouth whether one turns."""
    narrow = WIDE | {"width": "4.5"}
    corner = {1: (0, 0), 2: (1, 0), 3: (1, 1)}
    data = district(folder, corner, [(21, [1, 2], narrow), (22, [2, 3], narrow)])
    return plan(
        data,
        None if checks is None else pd.DataFrame(checks),
        TOLD,
        state=None,
        start=spot(0.3, 0),
        goal=spot(1, 0.7),
        tables=TABLES,
    )


@pytest.mark.parametrize(
    ("value", "who_for", "level"),
    [
        (1.0, "m", "ok"),
        (1.0, "m/folded", "ok"),
        (1.0, "other", "unknown"),
        (1.0, "m/swung", "unknown"),
        (0.0, "", "stop"),
    ],
)
def test_by_hand_a_trial_drive_settles_a_turn_for_its_machine(tmp_path, value, who_for, level):
    before = corner_move(tmp_path)
    (asked,) = before.survey
    assert (before.level, asked["place"], asked["kind"]) == ("unknown", "turn/21-0/22-0", "turn")
    after = corner_move(tmp_path, [done(asked, value) | {"machine": who_for}])
    assert after.states["folded"] == level
    assert len(after.survey) == (level == "unknown")


def test_by_hand_a_bend_inside_a_leg_is_named_by_the_leg(tmp_path):
    """By hand: only what is not settled and lies inside a leg of the way, where it is met."""
    found = move(roads(tmp_path, {"ford": "yes"}))

    def corner(place, level):
        return Corner(place, "a bend", level, "Tight.", 80.0, 4.0, 5.0, 4.5, 11.5, 50.0, *[[]] * 4)

    told = [("leg/22-0", "unknown"), ("leg/21-0", "ok"), ("leg/9-0", "unknown"), ("node/2", "stop")]
    rows = bend_rows([corner(*one) for one in told], found.legs)
    held = hold(district_of(roads(tmp_path, {}), None), TRAIN, TRAIN.transport[0], tables=TABLES)
    items = survey(found.legs, found.nodes, held.size, rows)
    assert [(one["place"], one["kind"]) for one in items] == [
        ("way/22", "ford"), ("leg/22-0", "turn"),
    ]  # fmt: skip
    assert "turn" in KINDS
    assert "leg" in KINDS["turn"].at


@pytest.mark.parametrize(("low", "high", "asked"), [(2, 25, True), (np.nan, np.nan, False)])
def test_by_hand_a_grade_that_was_driven_is_settled(tmp_path, low, high, asked):
    """By hand: a drive settles a steep way, and one without heights, which is no place to go to."""
    data = roads(tmp_path, {})
    middle = np.repeat((data.edges["way_id"] == 22).to_numpy(), 2)
    band = tuple(np.where(middle, figure, 0.0) for figure in (low, high))

    def answer(machine_id):
        drive = {"place": "way/22", "kind": "grade", "must_beat": None}
        checks = pd.DataFrame([done(drive) | {"machine": machine_id}])
        place = district_of(data, checks, grades=band)
        ends = {"start": spot(0.5, 0), "goal": spot(2.5, 0)}
        return plan_in(place, TOLD, state=None, **ends, tables=TABLES)

    before, after = answer("other"), answer("m")
    told = [(one["place"], one["kind"], one["must_beat"]) for one in before.survey]
    assert told == ([("way/22", "grade", None)] if asked else [])
    assert before.states == {"folded": "unknown"}
    assert (after.states, after.survey) == ({"folded": "ok"}, [])


LEGS = ("21-0", "23-0")
DOUBTS = st.fixed_dictionaries(
    {},
    optional={
        "width": st.sampled_from(["", "narrow", "9"]),
        "maxwidth": st.sampled_from(["sign", "8"]),
        "maxheight": st.sampled_from(["below_default", "6"]),
        "maxlength": st.sampled_from(["sign", "30"]),
        "maxweight": st.sampled_from(["sign", "40"]),
        "maxaxleload": st.sampled_from(["sign", "10"]),
        "access": st.sampled_from(["private", "yes"]),
        "ford": st.just("yes"),
        "highway": st.sampled_from(["track", "unclassified", "tertiary"]),
        "bridge": st.just("yes"),
        "tunnel": st.just("yes"),
        "smoothness": st.sampled_from(["bad", "good"]),
    },
)
AT_NODE = st.fixed_dictionaries(
    {},
    optional={
        "barrier": st.sampled_from(["gate", "cattle_grid", "height_restrictor"]),
        "maxwidth": st.sampled_from(["sign", "6"]),
        "maxweight": st.sampled_from(["sign", "40"]),
        "access": st.sampled_from(["private", "yes"]),
        "ford": st.just("yes"),
    },
)


@settings(deadline=None, max_examples=25)
@given(ways=st.tuples(DOUBTS, DOUBTS, DOUBTS), node=AT_NODE)
def test_property_doing_all_that_is_asked_settles_the_way(tmp_path_factory, ways, node):
    """Property: after everything on the list is done the list is empty and the way passes."""
    tagged = [(21 + n, [n + 1, n + 2], WIDE | tags) for n, tags in enumerate(ways)]
    data = district(tmp_path_factory.mktemp("s"), NODES, tagged, node_tags={2: node})
    before = move(data)
    items = [(one["place"], one["kind"]) for one in before.survey]
    assert len(items) == len(set(items))
    assert bool(items) == (before.level == "unknown")
    after = move(data, [done(one) for one in before.survey])
    assert after.survey == []
    assert after.level in ("ok", "care")


FILE = Path(__file__).parents[2] / ".." / "shared" / "data" / "bayreuth" / "bayreuth.osm.pbf"


@pytest.mark.real_ground
@pytest.mark.skipif(not FILE.is_file(), reason="the district is not here")
def test_property_the_list_is_no_longer_than_what_the_search_counted():
    """Property on real ground: a place on the list is a place that the search counted."""
    data = read_roads(FILE, crs=CRS.from_epsg(32632))
    place = district_of(data, None)
    held = hold(place, TRAIN, TRAIN.transport[0], tables=TABLES)
    rng = random.Random(20261126)  # noqa: S311
    usable = data.edges[~data.edges["highway"].str.startswith("motorway")]
    back = transformer(data.crs, WGS84)
    met = 0
    for _ in range(40):
        ends = []
        for _ in range(2):
            leg = usable.geometry.iloc[rng.randrange(len(usable))]
            at = leg.interpolate(rng.random(), normalized=True)
            lon_lat = back.transform(at.x, at.y)
            ends.append(snap(data, lon_lat, level=held.checked.leg_level, most_m=150, what="it").on)
        choice = choose(place.net, held.sure, held.fewest, *ends)
        if choice.level != "unknown" or choice.way is None:
            continue
        legs = leg_table(data, held.checked, choice.way, *ends)
        nodes = node_table(data, place.ground, held.checked, place.net, choice.way)
        items = survey(legs, nodes, held.size, turn_rows(data, held.checked, choice.way))
        # a leg under a line is gone to together with what its way is asked for
        gone_to = {one["place"].replace("leg/", "way/").partition("-")[0] for one in items}
        assert 0 < len(gone_to) <= choice.way.places
        met += 1
    assert met > 10
