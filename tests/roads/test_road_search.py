"""The search against networkx on the same weights, and by hand on restrictions."""

from __future__ import annotations

import random
from dataclasses import replace

import networkx as nx
import numpy as np
import pytest
from small_roads import district

from fieldmap.roads.choose import free_costs
from fieldmap.roads.search import OnLeg, find_way
from fieldmap.roads.turns import turn_net

SIDE = 7


def grid(tmp_path, seed):
    """A grid of single-leg streets with one-ways and restrictions at random."""
    rng = random.Random(seed)  # noqa: S311
    nodes = {
        r * SIDE + c + 1: (c + rng.uniform(-0.3, 0.3), r + rng.uniform(-0.3, 0.3))
        for r in range(SIDE)
        for c in range(SIDE)
    }
    pairs = [(n, n + 1) for n in nodes if n % SIDE] + [
        (n, n + SIDE) for n in nodes if n + SIDE in nodes
    ]
    ways = []
    for number, pair in enumerate(pairs, start=101):
        tags = {"highway": "unclassified"}
        if rng.random() < 0.2:
            tags["oneway"] = rng.choice(["yes", "-1"])
        ways.append((number, list(pair), tags))
    at = {n: [key for key, refs, _ in ways if n in refs] for n in nodes}
    relations = []
    for number in range(1, 40):
        via = rng.choice(list(nodes))
        one, other = rng.sample(at[via], 2)
        rule = rng.choice(["no_left_turn", "no_right_turn", "no_straight_on", "only_straight_on"])
        relations.append(
            (
                number,
                [("w", one, "from"), ("n", via, "via"), ("w", other, "to")],
                {"type": "restriction", "restriction": rule},
            )
        )
    for number in range(50, 75):
        key, (u, v), _ = rng.choice(ways)
        one = rng.choice([way for way in at[u] if way != key])
        other = rng.choice([way for way in at[v] if way != key])
        relations.append(
            (
                number,
                [("w", one, "from"), ("w", key, "via"), ("w", other, "to")],
                {"type": "restriction", "restriction": "no_left_turn"},
            )
        )
    return district(tmp_path, nodes, ways, relations=relations), rng


class Referee:
    """The line graph of the last three legs driven, with the rules read row by row."""

    def __init__(self, data):
        e = data.edges
        self.way = np.repeat(e["way_id"].to_numpy(), 2)
        self.begin = np.column_stack([e["u"], e["v"]]).ravel()
        self.end = np.column_stack([e["v"], e["u"]]).ravel()
        self.length = np.repeat(e["length_m"].to_numpy(), 2)
        self.open = e[["forward", "backward"]].to_numpy().ravel()
        self.rules = list(data.turns.itertuples())

    def barred(self, driven):
        a, b = driven[-2:]
        if a == b ^ 1:
            return True
        for rule in self.rules:
            if not rule.via_ways:
                here = self.way[a] == rule.from_way and self.end[a] == rule.via_node
                to = self.way[b] == rule.to_way
                if here and to != rule.rule.startswith("only_"):
                    return True
            elif len(driven) == 3 and [self.way[leg] for leg in driven] == [
                rule.from_way,
                *rule.via_ways,
                rule.to_way,
            ]:
                return True
        return False

    def graph(self, place):
        """Weights are metres plus a large number for every unknown place entered."""
        graph = nx.DiGraph()
        todo = [(int(leg),) for leg in np.flatnonzero(self.open)]
        seen = set(todo)
        while todo:
            driven = todo.pop()
            for leg in np.flatnonzero(self.open & (self.begin == self.end[driven[-1]])).tolist():
                whole = (*driven, leg)
                if self.barred(whole):
                    continue
                nxt = whole[-2:] if len(whole) > 2 else whole
                new = place[leg // 2] >= 0 and place[leg // 2] != place[driven[-1] // 2]
                graph.add_edge(driven, nxt, metres=self.length[leg], places=int(new))
                if nxt not in seen:
                    seen.add(nxt)
                    todo.append(nxt)
        return graph


def best(graph, referee, place, start, goal, big):
    """Least weight from the end of the start leg to the end of the goal leg."""
    found = []
    for side in (0, 1):
        first = (2 * start + side,)
        if not referee.open[first[0]] or first not in graph:
            continue
        far = nx.single_source_dijkstra_path_length(
            graph, first, weight=lambda _u, _v, d: d["metres"] + big * d["places"]
        )
        extra = big * (place[start] >= 0) + referee.length[first[0]]
        found += [extra + held for key, held in far.items() if key[-1] // 2 == goal]
    return min(found, default=None)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_referee_networkx_agrees_on_turns_and_metres(tmp_path, seed):
    """Referee: networkx Dijkstra on the line graph, 100 pairs for each of three grids."""
    data, rng = grid(tmp_path, seed)
    referee, net = Referee(data), turn_net(data)
    count = len(data.edges)
    nothing = np.full(count, -1)
    graph = referee.graph(nothing)
    free = free_costs(net, len(data.nodes))
    reached = 0
    for _ in range(100):
        start, goal = rng.sample(range(count), 2)
        expected = best(graph, referee, nothing, start, goal, 0.0)
        ways = [
            find_way(net, free, OnLeg(start, side), OnLeg(goal, end))
            for side, end in ((0.0, 0.0), (0.0, 1.0), (1.0, 0.0), (1.0, 1.0))
        ]
        if expected is None:
            assert ways == [None] * 4
            continue
        reached += 1
        for way, (side, end) in zip(
            ways, ((0.0, 0.0), (0.0, 1.0), (1.0, 0.0), (1.0, 1.0)), strict=True
        ):
            wished = partial(graph, referee, start, goal, side, end)
            assert way.length_m == pytest.approx(wished, abs=1e-9)
            for size in (2, 3):
                for row in range(len(way.legs) - size + 1):
                    assert not referee.barred(tuple(way.legs[row : row + size].tolist()))
    assert reached > 60


def partial(graph, referee, start, goal, side, end):
    """Metres from a fraction of the start leg to a fraction of the goal leg."""
    found = []
    for way in (0, 1):
        first = (2 * start + way,)
        if not referee.open[first[0]] or first not in graph:
            continue
        rest = (1 - side if way == 0 else side) * referee.length[first[0]]
        far = nx.single_source_dijkstra_path_length(graph, first, weight="metres")
        for key, held in far.items():
            if key[-1] // 2 == goal and len(key) > 1:
                share = end if key[-1] % 2 == 0 else 1 - end
                found.append(rest + held - (1 - share) * referee.length[key[-1]])
    return min(found)


def test_referee_networkx_agrees_on_the_fewest_unknown_places(tmp_path):
    """Referee: networkx, a place worth more metres than there are; the counts agree."""
    data, rng = grid(tmp_path, 5)
    referee, net = Referee(data), turn_net(data)
    count = len(data.edges)
    place = np.array([rng.randrange(12) if rng.random() < 0.6 else -1 for _ in range(count)])
    big = 1e6
    graph = referee.graph(place)
    costs = replace(free_costs(net, len(data.nodes)), leg_place=np.repeat(place, 2))
    for _ in range(60):
        start, goal = rng.sample(range(count), 2)
        expected = best(graph, referee, place, start, goal, big)
        ends = [find_way(net, costs, OnLeg(start, side), OnLeg(goal, 1.0)) for side in (0.0, 1.0)]
        if expected is None:
            assert ends == [None, None]
            continue
        assert min(way.places for way in ends) == int(expected // big)


CROSS = {1: (0, 0), 2: (1, 0), 3: (2, 0), 4: (3, 0), 5: (1, 1), 6: (2, 1), 7: (2, -1)}
STREETS = [
    (11, [1, 2], {"highway": "track"}),
    (12, [2, 3], {"highway": "track"}),
    (13, [3, 4], {"highway": "track"}),
    (14, [2, 5], {"highway": "track"}),
    (15, [5, 6], {"highway": "track"}),
    (16, [6, 3], {"highway": "track"}),
    (17, [3, 7], {"highway": "track"}),
]


def driven(tmp_path, relations, *, first=11, last=13, nodes_barred=()):
    data = district(tmp_path, CROSS, STREETS, relations=relations)
    row = {way: leg for leg, way in enumerate(data.edges["way_id"])}
    barred = data.nodes["node_id"].isin(nodes_barred).to_numpy()
    net = turn_net(data)
    free = replace(free_costs(net, len(data.nodes)), node_barred=barred)
    way = find_way(net, free, OnLeg(row[first], 0.0), OnLeg(row[last], 1.0))
    return None if way is None else data.edges["way_id"].to_numpy()[way.legs // 2].tolist()


def rule(text, *members, **tags):
    return [(1, list(members), {"type": "restriction", "restriction": text} | tags)]


def test_by_hand_restrictions_over_a_node_and_over_ways(tmp_path):
    straight, round_ = [11, 12, 13], [11, 14, 15, 16, 13]
    node = (("w", 12, "from"), ("n", 3, "via"), ("w", 13, "to"))
    ways = (("w", 11, "from"), ("w", 12, "via"), ("w", 13, "to"))
    assert driven(tmp_path, []) == straight
    assert driven(tmp_path, rule("no_straight_on", *node)) == round_
    assert driven(tmp_path, rule("no_straight_on", *ways)) == round_
    assert driven(tmp_path, rule("no_straight_on", *ways), last=17) == [11, 12, 17]
    only = (("w", 11, "from"), ("n", 2, "via"), ("w", 14, "to"))
    assert driven(tmp_path, rule("only_left_turn", *only)) == round_
    over = (("w", 11, "from"), ("w", 12, "via"), ("w", 17, "to"))
    assert driven(tmp_path, rule("only_right_turn", *over)) is None
    assert driven(tmp_path, rule("only_right_turn", *over), last=17) == [11, 12, 17]


def test_by_hand_a_restriction_that_lets_farm_machines_through(tmp_path):
    node = (("w", 12, "from"), ("n", 3, "via"), ("w", 13, "to"))
    for text in ("agricultural", "bus;agricultural", "motor_vehicle"):
        assert driven(tmp_path, rule("no_straight_on", *node, **{"except": text})) == [11, 12, 13]
    assert driven(tmp_path, rule("no_straight_on", *node, **{"except": "bus"})) != [11, 12, 13]


def test_by_hand_a_refused_node_is_not_passed_and_nobody_turns_about(tmp_path):
    assert driven(tmp_path, [], nodes_barred=(2,)) is None
    assert driven(tmp_path, [], nodes_barred=(5,)) == [11, 12, 13]
    ban = rule("no_right_turn", ("w", 12, "from"), ("n", 3, "via"), ("w", 17, "to"))
    assert driven(tmp_path, ban, last=17) == [11, 14, 15, 16, 17]


def test_by_hand_start_and_goal_on_one_leg(tmp_path):
    data = district(tmp_path, CROSS, STREETS)
    net = turn_net(data)
    free = free_costs(net, len(data.nodes))
    for start, goal, along in ((0.2, 0.7, 0), (0.7, 0.2, 1)):
        way = find_way(net, free, OnLeg(0, start), OnLeg(0, goal))
        assert way.legs.tolist() == [along]
        assert way.length_m == pytest.approx(0.5 * data.edges["length_m"].iloc[0])
