"""Points that say something, what crosses above, one-way signs: small invented files, by hand."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from small_osm import read, row_of

import fieldmap.roads
from fieldmap.machine import Machine, Transport
from fieldmap.read.osm_legs import directions
from fieldmap.read.road_tags import CUT, NODE, of_node, of_way, says_something
from fieldmap.roads.checks import check_ground, ground_of
from fieldmap.roads.facts import on_road
from fieldmap.roads.measured import lay
from fieldmap.roads.verdict import Verdict
from fieldmap.tables import load_tables

TRACK = {"highway": "track"}


@pytest.mark.parametrize(
    "tags",
    [
        {"barrier": "gate"},
        {"barrier": "bollard", "maxwidth": "2.2"},
        {"barrier": "height_restrictor", "maxheight": "2.8"},
        {"barrier": "cattle_grid", "maxaxleload": "8"},
        {"maxlength": "12"},
        {"maxbogieweight": "11"},
        {"maxweightrating": "7.5"},
        {"maxwidth:physical": "2.9"},
        {"maxheight:forward": "3.4"},
        {"access": "private"},
        {"motor_vehicle": "no"},
        {"agricultural": "yes"},
        {"motor_vehicle:conditional": "no @ (22:00-06:00)"},
        {"locked": "yes"},
        {"traffic_calming": "choker"},
        {"railway": "level_crossing"},
        {"highway": "passing_place"},
        {"ford": "stepping_stones"},
    ],
    ids=lambda tags: next(iter(tags.items()))[0],
)
def test_by_hand_a_point_that_says_something_cuts_the_leg_and_keeps_its_tags(tmp_path, tags):
    data = read(tmp_path, row_of(3, tags={2: tags}), {7: ([1, 2, 3], TRACK)})
    assert data.edges["leg_id"].tolist() == ["7-0", "7-1"]
    assert data.nodes.set_index("node_id").loc[2, "tags"] == tags


@pytest.mark.parametrize(
    "tags",
    [
        {"highway": "crossing"},
        {"highway": "street_lamp"},
        {"railway": "signal"},
        {"power": "pole"},
        {"name": "Oak"},
    ],
)
def test_by_hand_other_points_are_passed_over(tmp_path, tags):
    data = read(tmp_path, row_of(3, tags={2: tags}), {7: ([1, 2, 3], TRACK)})
    assert data.edges["leg_id"].tolist() == ["7-0"]


def test_by_hand_a_ford_mapped_the_old_way_is_a_ford(tmp_path):
    nodes = row_of(4, tags={2: {"highway": "ford"}})
    data = read(tmp_path, nodes, {7: ([1, 2, 3], TRACK), 8: ([3, 4], {"highway": "ford"})})
    assert data.nodes.set_index("node_id").loc[2, "tags"]["ford"] == "yes"
    assert data.edges.set_index("leg_id").loc["8-0", "tags"]["ford"] == "yes"


RAILS = {
    1: (11.500, 50.0, {}),
    2: (11.501, 50.0, {"railway": "level_crossing"}),
    3: (11.502, 50.0, {}),
    4: (11.501, 49.999, {}),
    5: (11.501, 50.001, {}),
}
WIRE = {"railway": "rail", "electrified": "contact_line"}


@pytest.mark.parametrize(
    ("own", "rails", "at", "under"),
    [
        ({}, WIRE, [4, 2, 5], True),
        ({}, WIRE, [4, 5], True),
        ({}, {"railway": "rail"}, [4, 2, 5], False),
        ({}, WIRE | {"electrified": "rail"}, [4, 2, 5], False),
        ({"bridge": "yes"}, WIRE, [4, 5], False),
        ({}, WIRE | {"layer": "-1"}, [4, 5], False),
        ({"layer": "-1"}, WIRE | {"layer": "-1"}, [4, 5], True),
    ],
)
def test_by_hand_a_contact_wire_hangs_over_a_level_crossing(tmp_path, own, rails, at, under):
    data = read(tmp_path, RAILS, {7: ([1, 2, 3], TRACK | own), 8: (at, rails)})
    seen = set(data.edges["under"])  # of the two legs that meet at the rails
    assert (("power line way/8",) in seen) is under
    assert seen <= {(), ("power line way/8",)}
    if 2 in at and under:
        assert seen == {("power line way/8",)}


@pytest.mark.parametrize(
    ("other", "under"),
    [
        ({"power": "cable", "location": "overhead"}, True),
        ({"power": "line", "location": "underground"}, False),
        ({"power": "line", "location": "underwater"}, False),
    ],
)
def test_by_hand_cables_in_the_air_and_in_the_ground(tmp_path, other, under):
    data = read(tmp_path, RAILS, {7: ([1, 3], TRACK), 8: ([4, 5], other)})
    assert data.edges["under"].tolist() == [("power line way/8",) if under else ()]


@pytest.mark.parametrize(
    ("other", "wished"),
    [
        ({"communication": "line"}, ("overhead line way/8",)),
        ({"communication": "line", "location": "underground"}, ()),
        ({"aerialway": "cable_car"}, ("overhead line way/8",)),
        ({"aerialway": "no"}, ()),
        ({"man_made": "pipeline", "location": "overhead"}, ("bridge way/8",)),
        ({"man_made": "pipeline"}, ()),
        ({"man_made": "goods_conveyor", "location": "overground"}, ("bridge way/8",)),
        ({"man_made": "goods_conveyor", "bridge": "yes"}, ("bridge way/8",)),
        ({"man_made": "embankment"}, ()),
        (WIRE | {"bridge": "yes"}, ("bridge way/8",)),
        ({"power": "line", "bridge": "yes"}, ("power line way/8",)),
    ],
)
def test_by_hand_what_else_hangs_or_stands_above(tmp_path, other, wished):
    data = read(tmp_path, RAILS, {7: ([1, 3], TRACK), 8: ([4, 5], other)})
    assert data.edges["under"].tolist() == [wished]


@pytest.mark.parametrize(
    ("tags", "wished"),
    [
        ({"oneway": "alternating"}, (True, True)),
        ({"oneway": "Yes"}, (True, False)),
        ({"oneway": "yes;no"}, (False, False)),
        ({"oneway": "yes", "oneway:agricultural": "no"}, (True, True)),
        ({"oneway:motor_vehicle": "yes"}, (True, False)),
        ({"oneway:vehicle": "-1"}, (False, True)),
        ({"oneway": "no", "oneway:conditional": "yes @ (Mo-Fr)"}, (True, False)),
        ({"oneway": "yes", "oneway:conditional": "-1 @ (15:00-18:00)"}, (False, False)),
        ({"oneway": "yes", "oneway:conditional": "no @ (22:00-06:00)"}, (True, False)),
        ({"junction": "roundabout", "oneway": "-1"}, (False, True)),
    ],
)
def test_by_hand_one_way_signs_by_hour_vehicle_and_unreadable(tags, wished):
    assert directions({"highway": "tertiary"} | tags) == wished


ROOM = Path(fieldmap.roads.__file__).parent
_A_KEY = re.compile(r"[a-z_]{3,30}(:[a-z_]{3,30}){0,2}")
_BASES = {
    False: (
        {"highway": "tertiary"},
        {"highway": "track", "bridge": "yes"},
        {"highway": "service", "tunnel": "yes"},
        {"highway": "path", "access": "yes"},
    ),
    True: ({"barrier": "gate"}, {"railway": "level_crossing"}, {"ford": "yes"}),
}
_OTHERS = ("hgv", "colour", "wikidata", "building", "source:maxheight", "note", "fixme", "kerb")
_MACHINE = Machine(
    id="a", name="a", kind="rear-mounted", mass_kg=9000, road_speed_kmh=30,
    axles=({"position_m": 0.0, "mass_kg": 5000.0}, {"position_m": 2.5, "mass_kg": 4000.0}),
    transport=(Transport(name="folded", width_m=2.9, height_m=3.5, length_m=9.0),),
)  # fmt: skip


def words_of_the_room() -> set[str]:
    """Every text in the roads room that could be the key of a tag."""
    return {
        one.value
        for path in sorted(ROOM.glob("*.py"))
        for one in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(one, ast.Constant)
        and isinstance(one.value, str)
        and _A_KEY.fullmatch(one.value)
    }


def answers(tmp_path, tags: list[dict], *, on_nodes: bool) -> list[str]:
    """What all checks say of one road, or of one point on it, for each of the tags.

    The tags are put in behind the reader, so that what it would not hand on is seen as well.
    """
    places = {n: (11.5 + n % 3 * 0.001, 50 + n // 3 * 0.001, {}) for n in range(3 * len(tags))}
    for row in range(1, 3 * len(tags), 3):
        places[row] = (*places[row][:2], {"barrier": "gate"})
    ways = {
        row: ([3 * row, 3 * row + 1, 3 * row + 2], {"highway": "tertiary"})
        for row in range(len(tags))
    }
    data = read(tmp_path, places, ways)
    if on_nodes:
        data.nodes["tags"] = [
            tags[node // 3] if node % 3 == 1 else {} for node in data.nodes["node_id"].tolist()
        ]
    else:
        data.edges["tags"] = [tags[way] for way in data.edges["way_id"].tolist()]
        data.edges["highway"] = [one["highway"] for one in data.edges["tags"]]
    machine = on_road(_MACHINE, _MACHINE.transport[0])
    checked = check_ground(ground_of(data), machine, lay(None, data), tables=load_tables())
    held, step = (checked.nodes, 1) if on_nodes else (checked.legs, 4)  # two legs, both ways
    return [
        str([_said(verdict, row * step) for verdict in held.values()]) for row in range(len(tags))
    ]


def _said(verdict: Verdict, row: int) -> tuple:
    figures = (float(one[row]) for one in (verdict.low, verdict.high, verdict.need))
    return (verdict.what, int(verdict.level[row]), *figures, verdict.reasons[verdict.why[row]])


def test_property_every_tag_that_the_roads_room_reads_is_asked_for(tmp_path):
    """Property: a tag that is not asked for on fetching changes no check of the roads room.

    Every word of the room that could be a key is tried as one, with several values.
    """
    words = words_of_the_room()
    known = {"maxheight", "maxweight", "maxaxleload", "maxlength", "width", "est_width", "ford",
             "barrier", "tunnel", "bridge", "covered"}  # fmt: skip
    assert known <= words  # the look itself sees what is read
    for on_nodes, read_of in ((False, of_way), (True, of_node)):
        not_read = sorted(words - set(read_of(words))) + list(_OTHERS)
        more = [{}, *({key: said} for key in not_read for said in ("yes", "no", "1.2"))]
        for base in _BASES[on_nodes]:
            tags = [base | one for one in more]
            told = answers(tmp_path, [*tags, base | {"maxheight": "1.2"}], on_nodes=on_nodes)
            assert told[-1] != told[0]  # the checks do see a tag
            assert not [one for one, said in zip(tags, told[:-1], strict=True) if said != told[0]]


def test_by_hand_what_is_told_beside_the_checks_is_asked_for():
    """Cars met, grades and what lies off the ground: read of the way taken, not by a check."""
    of_ways = ["passing_places", "maxspeed:forward", "incline", "layer", "bridge", "tunnel"]
    assert of_way(of_ways) == of_ways
    assert of_node(["highway", "railway", "crossing:barrier"]) != []


def test_property_a_point_that_changes_an_answer_is_handed_on(tmp_path):
    """Property: whatever tag a check of points reads cuts the leg, so that the point is there."""
    tags = [
        {"note": "x"} | one
        for key in sorted(words_of_the_room())
        for one in ({}, {key: "yes"}, {key: "no"}, {key: "1.2"})
    ]
    told = answers(tmp_path, tags, on_nodes=True)
    read_there = [one for one, said in zip(tags, told, strict=True) if said != told[0]]
    assert len(read_there) > 20
    assert [one for one in read_there if not says_something(one)] == []


def test_property_what_cuts_a_leg_is_asked_for():
    assert set(CUT) <= set(NODE)
