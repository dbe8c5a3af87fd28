"""A second telling of the search for networkx: legs last driven as nodes, rules read row by row.

It shares no code with the search. A node of the graph is the directed legs last driven (two where
a restriction runs over a way of one leg, else one); costs are pairs that add part by part.
"""

from __future__ import annotations

import networkx as nx
import numpy as np

from fieldmap.roads.search import Costs, OnLeg


class Two(tuple):
    """Unknown places and metres; a plain 0 counts as none of either."""

    __slots__ = ()

    def __add__(self, other):
        return self if other == 0 else Two((self[0] + other[0], self[1] + other[1]))

    __radd__ = __add__

    def __lt__(self, other):
        return tuple.__lt__(self, (0, 0.0) if other == 0 else other)

    def __gt__(self, other):
        return tuple.__gt__(self, (0, 0.0) if other == 0 else other)


class LineGraph:
    """What may follow what, worked out from the tables of the network alone."""

    def __init__(self, data):
        edges = data.edges
        self.way = np.repeat(edges["way_id"].to_numpy(), 2)
        self.begin = np.column_stack([edges["u"], edges["v"]]).ravel()
        self.end = np.column_stack([edges["v"], edges["u"]]).ravel()
        self.length = edges["length_m"].to_numpy()
        self.open = edges[["forward", "backward"]].to_numpy().ravel()
        self.rules = {}
        for rule in data.turns.itertuples():
            self.rules.setdefault(rule.from_way, []).append(rule)
        assert all(len(ways) <= 1 for ways in data.turns["via_ways"])
        self.memory = 2 if data.turns["via_ways"].map(len).any() else 1
        self.leaving = {}
        for leg in np.flatnonzero(self.open).tolist():
            self.leaving.setdefault(int(self.begin[leg]), []).append(leg)
        self.arcs = list(self._arcs())

    def barred(self, driven):
        """Whether the last turn of these legs is forbidden, by a rule or as turning about."""
        a, b = driven[-2:]
        if a == b ^ 1:
            return True
        for rule in self.rules.get(self.way[a], []):
            at_node = not rule.via_ways and self.end[a] == rule.via_node
            if at_node and (self.way[b] == rule.to_way) != rule.rule.startswith("only_"):
                return True
        if len(driven) < 3:
            return False
        return any(
            rule.via_ways == (self.way[a],) and rule.to_way == self.way[b]
            for rule in self.rules.get(self.way[driven[-3]], [])
        )

    def _arcs(self):
        todo = [(int(leg),) for leg in np.flatnonzero(self.open)]
        seen = set(todo)
        while todo:
            driven = todo.pop()
            for leg in self.leaving.get(int(self.end[driven[-1]]), []):
                whole = (*driven, leg)
                if self.barred(whole):
                    continue
                after = whole[-self.memory :]
                yield driven, after
                if after not in seen:
                    seen.add(after)
                    todo.append(after)

    def graph(self, costs: Costs, turns):
        """The graph for these costs; ``turns`` gives (barred, places) of a pair of legs."""
        graph = nx.DiGraph()
        for driven, after in self.arcs:
            a, b = driven[-1], after[-1]
            barred, places = turns.get((a, b), (False, 0))
            node = self.end[a]
            if barred or costs.leg_barred[b] or costs.leg_barred[a] or costs.node_barred[node]:
                continue
            places += costs.node_count[node] + self.entered(costs, b, a)
            graph.add_edge(driven, after, cost=Two((int(places), float(self.length[b // 2]))))
        return graph

    def entered(self, costs, leg, before):
        place = costs.leg_place[leg]
        return int(place >= 0 and (before is None or costs.leg_place[before] != place))

    def part(self, leg, fraction):
        return (fraction if leg % 2 == 0 else 1.0 - fraction) * self.length[leg // 2]

    def best(self, graph, costs, start: OnLeg, goals):
        """Least cost from a start to each goal, ``None`` where there is no way."""
        graph = graph.copy()
        firsts = [2 * start.leg + side for side in (0, 1)]
        firsts = [leg for leg in firsts if self.open[leg] and not costs.leg_barred[leg]]
        for leg in firsts:
            rest = self.length[start.leg] - self.part(leg, start.fraction)
            first = Two((self.entered(costs, leg, None), float(rest)))
            graph.add_edge("start", (leg,), cost=first)
        if not firsts:
            return [None] * len(goals)
        far = nx.single_source_dijkstra_path_length(graph, "start", weight="cost")
        return [self._onto(graph, costs, far, firsts, start, goal) for goal in goals]

    def _onto(self, graph, costs, far, firsts, start, goal):
        found = []
        for leg in firsts:
            ahead = self.part(leg, goal.fraction) - self.part(leg, start.fraction)
            if start.leg == goal.leg and ahead >= 0:
                found.append((self.entered(costs, leg, None), ahead))
        for node in far:
            if node == "start":
                continue
            for after, arc in graph[node].items():
                if after[-1] // 2 == goal.leg:
                    back = self.length[goal.leg] - self.part(after[-1], goal.fraction)
                    found.append(far[node] + arc["cost"] + Two((0, -float(back))))
        return min(found, default=None)


def three_valued(net, nodes, rng):
    """Invented costs with things barred and unknown, and the turns by pairs of legs."""
    legs = len(net.end_node)
    level = rng.choice(3, legs, p=[0.75, 0.2, 0.05])
    level[1::2] = np.where(rng.random(legs // 2) < 0.8, level[::2], level[1::2])
    number = np.repeat(rng.integers(0, max(legs // 12, 1), legs // 2), 2)
    node = rng.choice(3, nodes, p=[0.9, 0.08, 0.02])
    source = net.leg_of[np.repeat(np.arange(len(net.leg_of)), np.diff(net.start))]
    pairs = list(zip(source.tolist(), net.leg_of[net.follow].tolist(), strict=True))
    kinds = [(False, 0)] * 17 + [(False, 1), (False, 2), (True, 0)]
    turns = {pair: kinds[rng.integers(20)] for pair in sorted(set(pairs))}
    costs = Costs(
        leg_barred=level == 2,
        node_barred=node == 2,
        turn_barred=np.array([turns[pair][0] for pair in pairs], bool),
        leg_place=np.where(level == 1, number, -1),
        node_count=(node == 1).astype(np.int64),
        turn_count=np.array([turns[pair][1] for pair in pairs], np.int64),
    )
    return costs, turns
