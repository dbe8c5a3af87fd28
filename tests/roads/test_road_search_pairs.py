"""Ways and matrices against networkx on the expanded line graph, a thousand pairs each."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from invented_roads import UTM, invented
from line_graph import LineGraph, three_valued

import fieldmap.roads.contracted as contracting
from fieldmap.read.roads import read_roads
from fieldmap.roads.choose import free_costs
from fieldmap.roads.landmarks import landmarks_of, no_landmarks
from fieldmap.roads.matrix import way_matrix
from fieldmap.roads.search import OnLeg, way_by
from fieldmap.roads.turns import turn_net

FILE = Path(__file__).parents[2] / ".." / "shared" / "data" / "bayreuth" / "bayreuth.osm.pbf"
GRIDS = [
    {
        "columns": 12,
        "rows": 12,
        "kept": 0.85,
        "one_way": 0.15,
        "bans": 60,
        "via_bans": 40,
        "seed": 1,
    },
    {"columns": 25, "rows": 9, "kept": 0.7, "one_way": 0.05, "bans": 30, "via_bans": 60, "seed": 2},
    {"columns": 14, "rows": 14, "kept": 0.85, "one_way": 0.3, "bans": 20, "via_bans": 0, "seed": 3},
]


def on_legs(rng, legs, count):
    fractions = np.where(rng.random(count) < 0.3, rng.integers(0, 2, count), rng.random(count))
    rows = rng.integers(0, legs, count)
    return [OnLeg(int(leg), float(part)) for leg, part in zip(rows, fractions, strict=True)]


def agree(data, rng, starts, goals, *, free=False):
    """Every start with every goal; gives how many ways there were."""
    net, referee = turn_net(data), LineGraph(data)
    costs, turns = three_valued(net, len(data.nodes), rng)
    if free:
        costs, turns = free_costs(net, len(data.nodes)), {}
    graph = referee.graph(costs, turns)
    begin, end = (on_legs(rng, len(data.edges), count) for count in (starts, goals))
    matrix = way_matrix(net, costs, [*begin, *end])
    marks, none = landmarks_of(net), no_landmarks(len(data.nodes))
    ways = 0
    for row, start in enumerate(begin):
        expected = referee.best(graph, costs, start, end)
        for column, (goal, wished) in enumerate(zip(end, expected, strict=True), start=starts):
            by_marks = way_by(net, costs, start, goal, marks=marks)
            plain = way_by(net, costs, start, goal, marks=none)
            told = matrix.places[row, column], matrix.length_m[row, column]
            if wished is None:
                assert by_marks is None
                assert plain is None
                assert told == (-1, np.inf)
                continue
            ways += 1
            for places, metres in (
                (by_marks.places, by_marks.length_m), (plain.places, plain.length_m), told
            ):  # fmt: skip
                assert places == wished[0]
                assert metres == pytest.approx(wished[1], rel=1e-9, abs=1e-8)
            driven(net, costs, by_marks, start, goal)
    return ways


def driven(net, costs, way, start, goal):
    """The legs and turns told are a way that is open and costs what is told."""
    assert len(way.turns) == len(way.legs) - 1
    assert (way.legs[0] // 2, way.legs[-1] // 2) == (start.leg, goal.leg)
    state = way.legs[0]
    places = int(costs.leg_place[state] >= 0)
    for row, before, leg in zip(way.turns, way.legs[:-1], way.legs[1:], strict=True):
        assert net.start[state] <= row < net.start[state + 1]
        state = net.follow[row]
        assert net.leg_of[state] == leg
        assert not costs.turn_barred[row]
        places += costs.turn_count[row] + costs.node_count[net.end_node[before]]
        places += int(costs.leg_place[leg] >= 0 and costs.leg_place[leg] != costs.leg_place[before])
    assert places == way.places
    assert not costs.leg_barred[way.legs].any()
    assert not costs.node_barred[net.end_node[way.legs[:-1]]].any()
    whole = net.length_m[way.legs // 2]
    if len(whole) > 1:
        shares = [
            1 - end.fraction if (leg % 2 == 0) == first else end.fraction
            for end, leg, first in ((start, way.legs[0], True), (goal, way.legs[-1], False))
        ]
        told = whole[1:-1].sum() + whole[0] * shares[0] + whole[-1] * shares[1]
        assert way.length_m == pytest.approx(told, rel=1e-9, abs=1e-8)


@pytest.mark.parametrize("shape", GRIDS, ids=["via ways", "long", "one-ways"])
def test_referee_networkx_agrees_on_a_thousand_pairs(shape):
    """Referee: networkx Dijkstra with pairs for weights, bars and unknowns, 25 x 40 pairs."""
    ways = agree(invented(**shape), np.random.default_rng(shape["seed"]), 25, 40)
    assert ways > 200


def test_referee_networkx_agrees_with_nothing_barred():
    """Referee: networkx, 10 x 40 pairs with nothing barred or unknown."""
    assert agree(invented(**GRIDS[0]), np.random.default_rng(9), 10, 40, free=True) > 300


@pytest.mark.real_ground
@pytest.mark.skipif(not FILE.is_file(), reason="the district is not here")
def test_referee_networkx_agrees_on_a_district():
    """Referee: networkx, 10 x 100 pairs of a real district, bars and unknowns invented."""
    data = read_roads(FILE, crs=UTM)
    assert agree(data, np.random.default_rng(4), 10, 100) > 200


@pytest.mark.parametrize("most", [0, 6, 40, 3000])
def test_property_matrix_is_the_ways_pair_by_pair(monkeypatch, most):
    """Property: each entry is what the search gives, also on one leg, however large the core is."""
    monkeypatch.setattr(contracting, "MOST_ARCS", most)
    data = invented(20, 20, kept=0.7, one_way=0.2, bans=30, via_bans=30, seed=8)
    rng = np.random.default_rng(8)
    net = turn_net(data)
    costs, _ = three_valued(net, len(data.nodes), rng)
    ends = on_legs(rng, len(data.edges), 30)
    ends += [OnLeg(ends[0].leg, 0.25), OnLeg(ends[0].leg, 0.75), ends[1]]
    matrix, marks = way_matrix(net, costs, ends), no_landmarks(len(data.nodes))
    core = len(net.leg_of) - contracting.contracted(net).out
    assert (core > 10) == (most < 3000)
    found = 0
    for row, start in enumerate(ends):
        for column, goal in enumerate(ends):
            way = way_by(net, costs, start, goal, marks=marks)
            if way is None:
                assert matrix.places[row, column] == -1
                assert matrix.length_m[row, column] == np.inf
                continue
            found += 1
            assert matrix.places[row, column] == way.places
            assert matrix.length_m[row, column] == pytest.approx(way.length_m, rel=1e-9, abs=1e-8)
    assert found > 300


def test_by_hand_no_ends_make_an_empty_matrix():
    data = invented(4, 4, kept=1.0)
    net = turn_net(data)
    assert way_matrix(net, free_costs(net, len(data.nodes)), []).places.shape == (0, 0)
