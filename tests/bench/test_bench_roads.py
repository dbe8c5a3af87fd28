"""A way beside networkx, and whole moves. ``make bench``."""

from __future__ import annotations

from pathlib import Path

import networkx as nx
import numpy as np
import pytest
from pyproj import CRS

from fieldmap.machine import Machine, Transport
from fieldmap.read.roads import read_roads
from fieldmap.roads.choose import free_costs
from fieldmap.roads.move import plan
from fieldmap.roads.search import OnLeg, find_way
from fieldmap.roads.turns import turn_net
from fieldmap.tables import load_tables

UTM = CRS(32632)


@pytest.mark.benchmark(group="plan a whole move, every check over the district")
def test_bench_plan(benchmark, bayreuth: Path) -> None:
    data = read_roads(bayreuth / "bayreuth.osm.pbf", crs=UTM)
    machine = Machine(
        id="a", name="a", kind="rear-mounted", mass_kg=6500, road_speed_kmh=30,
        transport=(Transport(name="folded", width_m=2.4, height_m=3.0, length_m=6.0),),
    )  # fmt: skip
    places = _places(data, 12)

    def moves() -> list[str]:
        return [
            plan(data, None, machine, state=None, start=a, goal=b, tables=load_tables()).level
            for a, b in zip(places[::2], places[1::2], strict=True)
        ]

    moves()
    levels = benchmark.pedantic(moves, rounds=3)
    assert len(levels) == len(places) // 2
    assert set(levels) <= {"ok", "care", "unknown", "stop"}


def _places(data, count: int) -> list[tuple[float, float]]:
    from fieldmap.crs import WGS84, transformer

    rows = np.random.default_rng(7).integers(0, len(data.nodes), count)
    nodes = data.nodes.iloc[rows]
    lon, lat = transformer(data.crs, WGS84).transform(nodes["x"].to_numpy(), nodes["y"].to_numpy())
    return list(zip(lon.tolist(), lat.tolist(), strict=True))


WAYS = "twenty ways over the district's network, no checks"


@pytest.mark.benchmark(group=WAYS)
def test_bench_way_ours(benchmark, bayreuth: Path) -> None:
    data = read_roads(bayreuth / "bayreuth.osm.pbf", crs=UTM)
    net = turn_net(data)
    count = len(data.edges)
    free = free_costs(net, len(data.nodes))
    pairs = np.random.default_rng(3).integers(0, count, (20, 2))

    def ways() -> int:
        found = [find_way(net, free, OnLeg(int(a), 0.0), OnLeg(int(b), 1.0)) for a, b in pairs]
        return sum(way is not None for way in found)

    ways()
    assert benchmark.pedantic(ways, rounds=5) > 5


@pytest.mark.benchmark(group=WAYS)
def test_bench_way_networkx(benchmark, bayreuth: Path) -> None:
    """The peer knows neither turns nor places; it is given the plain node graph."""
    data = read_roads(bayreuth / "bayreuth.osm.pbf", crs=UTM)
    graph = nx.DiGraph()
    for edge in data.edges.itertuples():
        if edge.forward:
            graph.add_edge(edge.u, edge.v, metres=edge.length_m)
        if edge.backward:
            graph.add_edge(edge.v, edge.u, metres=edge.length_m)
    edges = data.edges
    pairs = np.random.default_rng(3).integers(0, len(edges), (20, 2))

    def ways() -> int:
        found = 0
        for a, b in pairs:
            start, goal = edges["u"].iloc[a], edges["v"].iloc[b]
            try:
                nx.bidirectional_dijkstra(graph, start, goal, weight="metres")
                found += 1
            except (nx.NetworkXNoPath, nx.NodeNotFound):
                continue
        return found

    assert benchmark.pedantic(ways, rounds=3) > 5
