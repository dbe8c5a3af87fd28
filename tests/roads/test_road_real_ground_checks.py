"""The checks on real ground: three invented machines, two hundred moves each.

Referee of what is in the file: a bare pass of pyosmium over it. Skipped without the district.
"""

from __future__ import annotations

import itertools
import random
import re
from pathlib import Path

import numpy as np
import osmium
import pytest
from pyproj import CRS
from small_roads import machine

from fieldmap.machine import Axle, Transport
from fieldmap.read.roads import read_roads
from fieldmap.roads.choose import choose
from fieldmap.roads.district import district_of, hold
from fieldmap.roads.search import OnLeg
from fieldmap.roads.tell import way_findings
from fieldmap.roads.tell_legs import leg_table, node_table
from fieldmap.roads.verdict import FAIL, PASS, UNKNOWN
from fieldmap.tables import load_tables

FILE = Path(__file__).parents[2] / ".." / "shared" / "data" / "bayreuth" / "bayreuth.osm.pbf"
pytestmark = [
    pytest.mark.real_ground,
    pytest.mark.skipif(not FILE.is_file(), reason="the district is not here"),
]
TABLES = load_tables()
MOVES = 200
#: What a refusal must name: the tag or the class that it rests on.
NAMED = re.compile(r"\([a-z_:]+=.+\)\.$")
#: Ways for feet and bicycles, which are no roads to a machine.
ON_FOOT = {"footway", "path", "cycleway", "pedestrian", "steps", "bridleway"}


def one_machine(name, width_m, height_m, axles, mass_kg):
    state = Transport(name="road", width_m=width_m, height_m=height_m, length_m=12.0)
    held = tuple(Axle(mass_kg=kg, position_m=at) for kg, at in axles)
    return machine(id=name, name=name, mass_kg=mass_kg, axles=held, transport=(state,))


MACHINES = {
    "narrow": one_machine("narrow", 1.3, 2.6, [(1500, 0), (2000, 2.2)], 3500.0),
    "pulled": one_machine("pulled", 3.0, 3.4, [(2800, 0), (4200, 2.6), (2500, 7.5)], 9500.0),
    "wide": one_machine(
        "wide", 4.5, 4.3, [(9000, 0), (10_500, 1.8), (10_500, 9), (10_000, 10.4)], 40_000.0
    ),
}


@pytest.fixture(scope="module")
def district():
    return district_of(read_roads(FILE, crs=CRS.from_epsg(32632)), None)


@pytest.fixture(scope="module", params=MACHINES)
def held(request, district):
    one = MACHINES[request.param]
    return hold(district, one, one.transport[0], tables=TABLES)


def told(district, held, way, start, goal):
    data, checked = district.data, held.checked
    legs = leg_table(data, checked, way, start, goal)
    nodes = node_table(data, district.ground, checked, district.net, way)
    return way_findings(legs, nodes, held.size, tables=TABLES, source=data.source)


def test_property_two_hundred_moves_of_three_machines_hold_what_they_promise(district, held):
    edges = district.data.edges
    rows = np.flatnonzero(~edges["highway"].str.startswith("motorway"))
    rng = random.Random(20261125)  # noqa: S311
    checked, levels = held.checked, set()
    for _ in range(MOVES):
        start, goal = (OnLeg(int(rng.choice(rows)), rng.random()) for _ in range(2))
        found = choose(district.net, held.sure, held.fewest, start, goal)
        levels.add(found.level)
        if found.way is None:
            continue
        worst = checked.leg_level[found.way.legs].max()
        at_nodes = checked.node_level[district.net.end_node[found.way.legs[:-1]]].max(initial=PASS)
        at_turns = checked.turn_level(district.net)[found.way.turns].max(initial=PASS)
        assert (
            max(worst, at_nodes, at_turns)
            == {"ok": PASS, "unknown": UNKNOWN, "stop": FAIL}[found.level]
        )
        if FAIL in (worst, at_nodes):
            findings = told(district, held, found.way, start, goal)
            refused = [one for one in findings if one.level == "stop"]
            assert refused
            assert [one.why for one in refused if not NAMED.search(one.why)] == []
    assert levels >= {"unknown"}


def test_property_every_refusal_in_the_district_names_what_it_rests_on(held):
    checked = held.checked
    for verdict in (*checked.legs.values(), *checked.nodes.values()):
        said = set(verdict.sentences(np.flatnonzero(verdict.level == FAIL)))
        assert [one for one in said if not NAMED.search(one)] == []


def test_property_each_bigger_machine_is_held_back_at_least_as_much(district):
    level = [
        hold(district, one, one.transport[0], tables=TABLES).checked for one in MACHINES.values()
    ]
    for smaller, larger in itertools.pairwise(level):
        assert (larger.leg_level >= smaller.leg_level).all()
        assert (larger.node_level >= smaller.node_level).all()
    assert (level[0].leg_level == PASS).sum() > (level[-1].leg_level == PASS).sum()


@pytest.fixture(scope="module")
def bare():
    """Tags of every way with a ``highway`` tag, and the turn restrictions, by pyosmium alone."""
    ways, bans = {}, 0
    for thing in osmium.FileProcessor(str(FILE)):
        if thing.is_way() and "highway" in thing.tags:
            ways[thing.id] = dict(thing.tags)
        elif thing.is_relation() and thing.tags.get("type") == "restriction":
            bans += 1
    return ways, bans


@pytest.mark.parametrize(("key", "count"), [("maxweight", 6), ("maxheight", 1), ("width", 33)])
def test_referee_every_limit_in_the_file_reaches_the_checks(district, bare, key, count):
    ways, _ = bare
    tagged = {way for way, tags in ways.items() if key in tags}
    assert len(tagged) == count
    edges = district.data.edges
    seen = set(edges.loc[[key in tags for tags in edges["tags"]], "way_id"])
    assert seen <= tagged
    assert {ways[way]["highway"] for way in tagged - seen} <= ON_FOOT


def test_referee_the_turn_restrictions_of_the_file_are_read(district, bare):
    assert bare[1] == 40
    assert district.data.turns["relation_id"].nunique() == 40


def test_by_hand_the_low_passage_and_the_weak_roads_refuse(district):
    """maxheight=1.7; maxweight 6, 7.5, 12, 18, 18 and 30 t: what a train of 9.5 t meets there."""
    one = MACHINES["pulled"]
    checked = hold(district, one, one.transport[0], tables=TABLES).checked
    tags = [tags for tags in district.data.edges["tags"] for _ in range(2)]
    for row, found in enumerate(tags):
        if "maxheight" in found:
            assert checked.legs["height_limit"].level[row] == FAIL
        if "maxweight" in found:
            over = float(found["maxweight"]) < 9.5
            assert checked.legs["mass"].level[row] == (FAIL if over else PASS)
