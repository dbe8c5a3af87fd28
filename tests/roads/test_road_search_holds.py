"""What holds of every search: brute force on little nets, bars, bounds, threads, what is kept."""

from __future__ import annotations

import gc
import weakref
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_roads import invented
from line_graph import LineGraph, Two, three_valued

from fieldmap.roads.choose import free_costs
from fieldmap.roads.fitted import KEPT, digest, fitted
from fieldmap.roads.landmarks import COUNT, at_least, landmarks_of, no_landmarks
from fieldmap.roads.matrix import way_matrix
from fieldmap.roads.search import LARGE, OnLeg, find_way, way_by
from fieldmap.roads.turns import turn_net

SEEDS = st.integers(0, 2**31)


def little(seed):
    rng = np.random.default_rng(seed)
    data = invented(
        3, 3, kept=0.9, one_way=0.3, bans=int(rng.integers(3)), via_bans=int(rng.integers(3)),
        seed=seed,
    )  # fmt: skip
    net = turn_net(data)
    costs, turns = three_valued(net, len(data.nodes), rng)
    ends = [
        OnLeg(int(rng.integers(len(data.edges))), float(rng.choice([0, 1, rng.random()])))
        for _ in range(3)
    ]
    return data, net, costs, turns, ends


def every_way(referee, costs, turns, start, goal):
    """Costs of all ways that come to no legs just driven twice; a least way never does."""
    todo = []
    for leg in (2 * start.leg, 2 * start.leg + 1):
        if referee.open[leg] and not costs.leg_barred[leg]:
            places = referee.entered(costs, leg, None)
            rest = referee.length[start.leg] - referee.part(leg, start.fraction)
            ahead = referee.part(leg, goal.fraction) - referee.part(leg, start.fraction)
            if start.leg == goal.leg and ahead >= 0:
                yield Two((places, ahead))
            todo.append(((leg,), {(leg,)}, Two((places, rest))))
    while todo:
        driven, seen, cost = todo.pop()
        a = driven[-1]
        if costs.node_barred[referee.end[a]]:
            continue
        for b in referee.leaving.get(int(referee.end[a]), []):
            barred, places = turns.get((a, b), (False, 0))
            whole = (*driven, b)
            if barred or costs.leg_barred[b] or referee.barred(whole[-3:]) or whole[-2:] in seen:
                continue
            places += costs.node_count[referee.end[a]] + referee.entered(costs, b, a)
            if b // 2 == goal.leg:
                yield cost + Two((places, referee.part(b, goal.fraction)))
            todo.append((whole, seen | {whole[-2:]}, cost + Two((places, referee.length[b // 2]))))


@settings(max_examples=60)
@given(SEEDS)
def test_property_brute_force_finds_no_better_way(seed):
    """Referee: every way of a net of nine nodes, one by one."""
    data, net, costs, turns, ends = little(seed)
    referee = LineGraph(data)
    wished = min(every_way(referee, costs, turns, *ends[:2]), default=None)
    way = way_by(net, costs, *ends[:2], marks=landmarks_of(net))
    if wished is None:
        assert way is None
    else:
        assert (way.places, way.length_m) == (wished[0], pytest.approx(wished[1], abs=1e-9))


@settings(max_examples=60)
@given(SEEDS)
def test_property_barring_more_never_makes_a_way_better(seed):
    """Property: with a leg, node or turn more barred, or a place more, no way comes cheaper."""
    _, net, costs, _, ends = little(seed)
    rng = np.random.default_rng(seed + 1)
    before = way_matrix(net, costs, ends)
    for name in ("leg_barred", "node_barred", "turn_barred", "node_count", "turn_count"):
        worse = getattr(costs, name).copy()
        if len(worse) == 0:
            continue
        worse[rng.integers(len(worse))] += 1
        after = way_matrix(net, replace(costs, **{name: worse}), ends)
        tables = before.places, before.length_m, after.places, after.length_m
        ways = zip(*(one.ravel().tolist() for one in tables), strict=True)
        for places, metres, places_after, metres_after in ways:
            if places < 0:
                assert places_after < 0
            elif places_after >= 0:
                assert (places_after, metres_after + 1e-7) > (places, metres)


def test_referee_bounds_are_never_above_networkx():
    """Referee: networkx distances over nodes; no bound is above them, and many come near."""
    data = invented(15, 15, kept=0.85, one_way=0.1, seed=4)
    net = turn_net(data)
    marks = landmarks_of(net)
    graph = nx.DiGraph()
    for edge in data.edges.itertuples():
        for ends, open_ in (((edge.u, edge.v), edge.forward), ((edge.v, edge.u), edge.backward)):
            if open_:
                graph.add_edge(*ends, metres=edge.length_m)
    near = compared = 0
    for start in list(graph)[::5]:
        far = nx.single_source_dijkstra_path_length(graph, start, weight="metres")
        for goal in graph:
            bound = at_least(marks.metres, marks.slack_m, start, goal)
            assert bound >= 0.0
            assert bound <= far.get(goal, np.inf)
            compared += goal in far
            near += bound > 0.8 * far.get(goal, np.inf)
    assert marks.metres.shape[1] == 2 * COUNT
    assert near > 0.3 * compared > 100
    assert at_least(no_landmarks(len(data.nodes)).metres, 0.0, 0, 5) == 0.0


def test_property_two_threads_find_the_same_as_one():
    data = invented(40, 40, kept=0.7, bans=30, via_bans=20, seed=5)
    net = turn_net(data)
    costs, _ = three_valued(net, len(data.nodes), np.random.default_rng(5))
    rng = np.random.default_rng(6)
    pairs = [[OnLeg(int(leg), 0.5) for leg in rng.integers(0, len(data.edges), 2)]
             for _ in range(200)]  # fmt: skip

    def told(pair):
        way = find_way(net, costs, *pair)
        return None if way is None else (way.legs.tolist(), way.turns.tolist(), way.length_m)

    alone = [told(pair) for pair in pairs]
    with ThreadPoolExecutor(2) as pool:
        assert list(pool.map(told, pairs)) == alone
    assert sum(one is not None for one in alone) > 50


def test_by_hand_a_large_network_is_searched_with_landmarks_and_says_the_same():
    data = invented(150, 150, bans=100, via_bans=20, seed=6)
    net = turn_net(data)
    assert len(net.leg_of) > LARGE
    free = free_costs(net, len(data.nodes))
    rng = np.random.default_rng(6)
    for _ in range(10):
        ends = [OnLeg(int(leg), 0.5) for leg in rng.integers(0, len(data.edges), 2)]
        by_marks = find_way(net, free, *ends)
        plain = way_by(net, free, *ends, marks=no_landmarks(len(data.nodes)))
        assert (by_marks is None) == (plain is None)
        if plain is not None:
            assert by_marks.length_m == pytest.approx(plain.length_m, rel=1e-12)


def test_by_hand_a_machine_is_kept_by_what_it_may_drive_and_only_a_few():
    data = invented(6, 6, seed=7)
    net = turn_net(data)
    costs = free_costs(net, len(data.nodes))
    first = fitted(net, costs)
    assert fitted(net, replace(costs, leg_barred=costs.leg_barred.copy())) is first
    for field in fields(costs):
        changed = getattr(costs, field.name).copy()
        changed[0] = 1
        other = replace(costs, **{field.name: changed})
        assert digest(other) != digest(costs)
        assert fitted(net, other) is not first
    assert len(fields(costs)) > KEPT
    assert fitted(net, costs) is not first


def test_by_hand_a_matrix_is_kept_by_machine_and_ends():
    data = invented(6, 6, kept=1.0, seed=7)
    net = turn_net(data)
    costs, ends = free_costs(net, len(data.nodes)), [OnLeg(0, 0.5), OnLeg(7, 0.5)]
    first = way_matrix(net, costs, ends)
    assert way_matrix(net, replace(costs), list(ends)) is first
    assert way_matrix(net, costs, ends[::-1]).length_m[0, 1] == first.length_m[1, 0]
    shut = replace(costs, node_barred=np.ones(len(data.nodes), bool))
    assert way_matrix(net, shut, ends).places.tolist() == [[0, -1], [-1, 0]]
    with pytest.raises(ValueError, match="read-only"):
        first.places[0, 0] = 5


def test_by_hand_nothing_kept_outlives_its_network():
    net = turn_net(invented(5, 5, seed=2))
    free = free_costs(net, 25)
    way_matrix(net, free, [OnLeg(0, 0.5), OnLeg(3, 0.5)])
    landmarks_of(net)
    gone = weakref.ref(net)
    del net
    gc.collect()
    assert gone() is None
