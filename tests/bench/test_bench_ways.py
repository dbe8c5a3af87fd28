"""Ways and matrices over 200,000 invented nodes beside networkx, igraph, scipy and pandana.

The peers are given the plain graph of nodes with the machine's bars already taken out, which
costs them nothing here. They know no turn restrictions, nobody keeps them from turning about on
a leg, and they have one part of the cost: they cannot count unknown places. Ours looks up the
bars inside the query. ``make bench``; never a test of speed.

igraph and pandana are under the GPL's family: for the bench only, never a dependency
(``pip install igraph pandana``).
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from functools import cache
from itertools import count
from pathlib import Path

import networkx as nx
import numpy as np
import pytest
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components, dijkstra

from fieldmap.roads.choose import free_costs
from fieldmap.roads.contracted import contracted
from fieldmap.roads.fitted import fit
from fieldmap.roads.landmarks import landmarks_of
from fieldmap.roads.matrix import way_matrix
from fieldmap.roads.search import Costs, OnLeg, find_way
from fieldmap.roads.turns import TurnNet, turn_net

sys.path.append(str(Path(__file__).parents[1] / "roads"))
from invented_roads import invented

PAIRS, ENDS = 40, 50
SIDE, LITTLE = 450, 100
MADE = "made once for a network of 200,000 nodes"
WAYS = "40 ways over 200,000 nodes for a machine, bars looked up inside"
FIRST = "matrix of 50 x 50 ends over 200,000 nodes, first for a machine"
AGAIN = "matrix of 50 x 50 new ends over 200,000 nodes, the machine known"
SMALL = "matrix of 50 x 50 new ends over 10,000 nodes, the machine known"


@dataclass(frozen=True, eq=False)
class Country:
    """A network, a machine's bars, ends on legs, and the same as arrays for the peers."""

    net: TurnNet
    costs: Costs
    legs: np.ndarray  # two-way, open to the machine, joined with most of the network
    u: np.ndarray
    v: np.ndarray
    arcs: tuple[np.ndarray, np.ndarray, np.ndarray]  # from, to, metres of what is open
    x: np.ndarray
    y: np.ndarray


@cache
def country(side: int, *, bans: bool = True) -> Country:
    data = invented(side, side, bans=side * 4 * bans, via_bans=side * bans // 2, seed=11)
    edges, nodes = data.edges, len(data.nodes)
    rng = np.random.default_rng(12)
    leg = np.repeat(rng.random(len(edges)) < 0.03, 2)
    net = turn_net(data)
    costs = replace(free_costs(net, nodes), leg_barred=leg)
    u, v, metres = (edges[key].to_numpy() for key in ("u", "v", "length_m"))
    open_ = net.is_open & ~leg
    ahead, against = open_[::2], open_[1::2]
    arcs = (
        np.concatenate([u[ahead], v[against]]),
        np.concatenate([v[ahead], u[against]]),
        np.concatenate([metres[ahead], metres[against]]),
    )
    _, part = connected_components(graph_of(arcs, nodes), connection="strong")
    largest = np.argmax(np.bincount(part))
    legs = np.flatnonzero(ahead & against & (part[u] == largest))
    x, y = data.nodes["x"].to_numpy(), data.nodes["y"].to_numpy()
    return Country(net, costs, legs, u, v, arcs, x, y)


def graph_of(arcs, nodes: int) -> sp.csr_matrix:
    return sp.csr_matrix((arcs[2], (arcs[0], arcs[1])), shape=(nodes, nodes))


def pairs(here: Country) -> list[tuple[int, int]]:
    chosen = np.random.default_rng(13).choice(here.legs, (PAIRS, 2), replace=False)
    return [(int(a), int(b)) for a, b in chosen]


def ends(here: Country, seed: int = 14) -> np.ndarray:
    return np.random.default_rng(seed).choice(here.legs, ENDS, replace=False)


def our_ways(here: Country) -> np.ndarray:
    ways = [find_way(here.net, here.costs, OnLeg(a, 0.0), OnLeg(b, 1.0)) for a, b in pairs(here)]
    return np.array([np.inf if way is None else way.length_m for way in ways])


_SEEDS = count(100)


def our_matrix(here: Country, seed: int | None = None) -> np.ndarray:
    """Between ends that were not asked for before, unless a seed is given."""
    seed = next(_SEEDS) if seed is None else seed
    on = [OnLeg(int(leg), 0.0) for leg in ends(here, seed)]
    return way_matrix(here.net, here.costs, on).length_m


def by_scipy(here: Country, starts: np.ndarray, goals: np.ndarray) -> np.ndarray:
    return dijkstra(graph_of(here.arcs, len(here.x)), indices=starts)[:, goals]


@pytest.mark.benchmark(group=MADE)
def test_bench_turns(benchmark) -> None:
    data = invented(SIDE, SIDE, bans=SIDE * 4, via_bans=SIDE // 2, seed=11)
    net = benchmark.pedantic(lambda: turn_net(data), rounds=3)
    assert len(net.leg_of) > 450_000


@pytest.mark.benchmark(group=MADE)
def test_bench_landmarks(benchmark) -> None:
    net = country(SIDE).net
    landmarks_of(country(LITTLE).net)  # compiled before it is timed
    marks = benchmark.pedantic(lambda: landmarks_of.__wrapped__(net), rounds=2)
    assert len(marks.metres) > 190_000


@pytest.mark.benchmark(group=MADE)
def test_bench_contracting(benchmark) -> None:
    net = country(SIDE).net
    contracted(country(LITTLE).net)
    order = benchmark.pedantic(lambda: contracted.__wrapped__(net), rounds=2)
    assert order.out > 450_000


@pytest.mark.benchmark(group=WAYS)
def test_bench_ways_ours(benchmark) -> None:
    here = country(SIDE)
    our_ways(here)
    found = benchmark.pedantic(lambda: our_ways(here), rounds=5)
    # on the same legs without restrictions the answers agree with scipy's
    bare = country(SIDE, bans=False)
    starts, goals = (np.array(side) for side in zip(*pairs(bare), strict=True))
    peer = by_scipy(bare, bare.u[starts], bare.v[goals]).diagonal()
    assert np.isfinite(peer).all()
    np.testing.assert_allclose(our_ways(bare), peer, rtol=1e-9)
    assert (found >= peer * (1 - 1e-9)).all()


@pytest.mark.benchmark(group=WAYS)
def test_bench_ways_networkx(benchmark) -> None:
    here = country(SIDE)
    graph = nx.DiGraph()
    graph.add_weighted_edges_from(
        zip(*(column.tolist() for column in here.arcs), strict=True), weight="metres"
    )

    def ways() -> list[float]:
        return [
            nx.bidirectional_dijkstra(graph, int(here.u[a]), int(here.v[b]), weight="metres")[0]
            for a, b in pairs(here)
        ]

    found = benchmark.pedantic(ways, rounds=1)
    starts, goals = (np.array(side) for side in zip(*pairs(here), strict=True))
    np.testing.assert_allclose(found, by_scipy(here, here.u[starts], here.v[goals]).diagonal())


@pytest.mark.benchmark(group=WAYS)
def test_bench_ways_igraph(benchmark) -> None:
    igraph = pytest.importorskip("igraph", reason="NO igraph: ways are not compared with it")
    here = country(SIDE)
    graph = igraph.Graph(
        n=len(here.x), edges=np.column_stack(here.arcs[:2]), directed=True,
        edge_attrs={"metres": here.arcs[2]},
    )  # fmt: skip

    def ways() -> int:
        return sum(
            len(graph.get_shortest_path(int(here.u[a]), int(here.v[b]), weights="metres")) > 0
            for a, b in pairs(here)
        )

    assert benchmark.pedantic(ways, rounds=3) == PAIRS


@pytest.mark.benchmark(group=FIRST)
def test_bench_first_matrix_ours(benchmark) -> None:
    """The machine filled in and the matrix; the network is contracted already."""
    here = country(SIDE)
    order = contracted(here.net)
    our_matrix(here)

    def first() -> np.ndarray:
        fit(here.net, order, here.costs)
        return our_matrix(here)

    benchmark.pedantic(first, rounds=3)
    bare = country(SIDE, bans=False)
    rows = bare.u[ends(bare)]
    np.testing.assert_allclose(
        our_matrix(bare, 14), by_scipy(bare, rows, rows), rtol=1e-9, atol=1e-7
    )


@pytest.mark.benchmark(group=FIRST)
def test_bench_first_matrix_scipy(benchmark) -> None:
    here = country(SIDE)
    rows, graph = here.u[ends(here)], graph_of(here.arcs, len(here.x))
    found = benchmark.pedantic(lambda: dijkstra(graph, indices=rows)[:, rows], rounds=2)
    assert np.isfinite(found).all()


@pytest.mark.benchmark(group=AGAIN)
def test_bench_matrix_again_ours(benchmark) -> None:
    here = country(SIDE)
    our_matrix(here)
    assert np.isfinite(benchmark.pedantic(lambda: our_matrix(here), rounds=3)).mean() > 0.9


@pytest.mark.benchmark(group=AGAIN)
def test_bench_matrix_again_scipy(benchmark) -> None:
    test_bench_first_matrix_scipy(benchmark)


@pytest.mark.benchmark(group=SMALL)
def test_bench_small_matrix_ours(benchmark) -> None:
    here = country(LITTLE)
    our_matrix(here)
    assert np.isfinite(benchmark.pedantic(lambda: our_matrix(here), rounds=5)).mean() > 0.9


@pytest.mark.benchmark(group=SMALL)
@pytest.mark.filterwarnings("ignore")
def test_bench_small_matrix_pandana(benchmark) -> None:
    """Its hierarchy, made anew for every machine, takes minutes on the large network."""
    pandana = pytest.importorskip("pandana", reason="NO pandana: the matrix is not compared")
    import pandas as pd

    here = country(LITTLE)
    from_, to, metres = (pd.Series(column) for column in here.arcs)
    graph = pandana.Network(
        pd.Series(here.x), pd.Series(here.y), from_, to, metres.to_frame("metres"), twoway=False
    )
    rows = here.u[ends(here)]
    starts, goals = np.repeat(rows, ENDS), np.tile(rows, ENDS)
    found = benchmark.pedantic(lambda: graph.shortest_path_lengths(starts, goals), rounds=5)
    expected = by_scipy(here, rows, rows).ravel()
    # it counts in whole thousandths
    np.testing.assert_allclose(found, expected, rtol=1e-3, atol=0.1)
