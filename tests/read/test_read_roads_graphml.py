"""Road graphs as OSMnx saves them, against the same map file read by ourselves and by OSMnx."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import networkx as nx
import numpy as np
import osmnx
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_osm import UTM, osm, row_of

from fieldmap.errors import InputError
from fieldmap.network import RoadData
from fieldmap.read.graph_roads import trails
from fieldmap.read.road_tags import NODE, WAY, of_node, of_way
from fieldmap.read.roads import read_roads
from fieldmap.schemas import EDGES, NODES, TURNS, checked

FILE = Path(__file__).parents[2] / ".." / "shared" / "data" / "bayreuth" / "bayreuth.osm.pbf"
TRACK = {"highway": "track"}


@pytest.fixture
def full_tags(monkeypatch: pytest.MonkeyPatch) -> None:
    _ask_for_all(monkeypatch)


def _ask_for_all(patch: pytest.MonkeyPatch) -> None:
    bound = ("", ":forward", ":backward", ":physical", ":conditional", ":barrier", ":light")
    for name, heads in (("useful_tags_way", WAY), ("useful_tags_node", NODE)):
        patch.setattr(osmnx.settings, name, [head + one for head in heads for one in bound])


def graph_of(tmp_path: Path, *parts) -> nx.MultiDiGraph:
    (tmp_path / "small.osm").write_text(osm(*parts), "utf-8")
    return osmnx.graph_from_xml(tmp_path / "small.osm", simplify=False, retain_all=True)


def through(tmp_path: Path, graph: nx.MultiDiGraph) -> RoadData:
    osmnx.save_graphml(graph, tmp_path / "a.graphml")
    return read_roads(tmp_path / "a.graphml", crs=UTM)


def same_roads(ours: RoadData, other: RoadData) -> None:
    """Two networks with the same legs: ends, lines, lengths, directions, tags and what is above."""

    def table(data: RoadData) -> pd.DataFrame:
        ids = data.nodes["node_id"].to_numpy()
        edges = data.edges.assign(
            a=ids[data.edges["u"]],
            b=ids[data.edges["v"]],
            wkt=[line.wkt for line in data.edges.geometry],
            tags=[{key: one[key] for key in sorted(of_way(one))} for one in data.edges["tags"]],
        )
        plain = pd.DataFrame(edges.drop(columns=["geometry", "u", "v", "leg_id"]))
        return plain.sort_values(["way_id", "a", "b", "wkt"]).reset_index(drop=True)

    def points(data: RoadData) -> dict:
        said = zip(data.nodes["node_id"], data.nodes["tags"], strict=True)
        return {key: {name: tags[name] for name in sorted(of_node(tags))} for key, tags in said}

    pd.testing.assert_frame_equal(table(ours), table(other))
    assert points(ours) == points(other)


def test_by_hand_both_directions_of_a_way_are_one_leg(tmp_path):
    nodes = row_of(4, tags={2: {"highway": "passing_place"}})
    ways = {7: ([1, 2, 3], TRACK), 8: ([3, 4], TRACK | {"oneway": "yes"})}
    graph = graph_of(tmp_path, nodes, ways)
    data = through(tmp_path, graph)
    assert data.edges["leg_id"].tolist() == ["7-0", "7-1", "8-0"]  # highway= is among the defaults
    assert data.edges["forward"].tolist() == [True, True, True]
    assert data.edges["backward"].tolist() == [True, True, False]
    for table, schema in ((data.edges, EDGES), (data.nodes, NODES), (data.turns, TURNS)):
        assert len(checked(table, schema, where="graph")) == len(table)


def test_by_hand_what_such_a_graph_lacks_is_told(tmp_path):
    data = through(tmp_path, graph_of(tmp_path, row_of(2), {7: ([1, 2], TRACK)}))
    assert data.lacks[:2] == ("turn restrictions", "power lines")
    assert {"limits and rules on signs", "bridges that carry no road"} < set(data.lacks)
    assert len(data.turns) == 0
    assert data.warnings == (f"not in a.graphml, and so unknown: {', '.join(data.lacks)}",)


@pytest.mark.parametrize(
    ("tags", "wished"),
    [
        ({"oneway": "yes"}, (True, False)),
        ({"oneway": "-1"}, (True, False)),  # osmnx turned the line about
        ({"junction": "roundabout"}, (True, False)),
        ({"junction": "circular"}, (True, False)),  # osmnx opens it both ways; its class does not
        ({"highway": "motorway"}, (True, False)),
        ({}, (True, True)),
    ],
)
def test_by_hand_directions(tmp_path, tags, wished):
    data = through(tmp_path, graph_of(tmp_path, row_of(2), {7: ([1, 2], TRACK | tags)}))
    assert tuple(data.edges.loc[0, ["forward", "backward"]]) == wished


def test_by_hand_a_limit_bound_to_a_direction_of_a_turned_line_binds_both(tmp_path, full_tags):
    tags = TRACK | {"oneway": "-1", "maxheight:backward": "3.2", "maxweight:forward": "7"}
    tags |= {"maxwidth:forward": "3", "maxwidth:backward": "4"}
    data = through(tmp_path, graph_of(tmp_path, row_of(2), {7: ([1, 2], tags)}))
    held = data.edges.loc[0, "tags"]
    assert held["maxheight:forward"] == held["maxheight:backward"] == "3.2"
    assert held["maxweight:forward"] == held["maxweight:backward"] == "7"
    assert held["maxwidth:forward"] == held["maxwidth:backward"] == "3;4"  # nobody can tell


def test_by_hand_an_edge_without_its_way_back_is_one_way(tmp_path):
    graph = graph_of(tmp_path, row_of(3), {7: ([1, 2, 3], TRACK)})
    graph.remove_edge(3, 2)
    assert not through(tmp_path, graph).edges["backward"].any()


def test_by_hand_a_way_that_was_cut_out_stands_there_in_parts(tmp_path):
    graph = graph_of(tmp_path, row_of(6), {7: ([1, 2, 3, 4, 5, 6], TRACK)})
    graph.remove_node(3)
    data = through(tmp_path, graph)
    ids = data.nodes["node_id"].to_numpy()
    ends = zip(ids[data.edges["u"]], ids[data.edges["v"]], strict=True)
    assert dict(zip(data.edges["leg_id"], ends, strict=True)) == {"7-0": (1, 2), "7-1": (4, 6)}


LOOPS = {
    1: (11.500, 50.000, {}),
    2: (11.501, 50.000, {"barrier": "gate"}),
    3: (11.502, 50.001, {}),
    4: (11.502, 49.999, {}),
    5: (11.503, 50.000, {}),
}


@pytest.mark.parametrize(
    "refs", [[1, 2, 3, 4, 2], [2, 3, 4, 2, 1], [4, 5, 3, 4], [1, 2, 3, 5, 4, 2]]
)
def test_referee_lines_that_meet_themselves(tmp_path, full_tags, refs):
    """Referee: the same map file without a graph between."""
    graph = graph_of(tmp_path, LOOPS, {7: (refs, TRACK), 8: ([4, 5], TRACK)})
    same_roads(through(tmp_path, graph), read_roads(tmp_path / "small.osm", crs=UTM))


@given(st.lists(st.integers(1, 6), min_size=2, max_size=14))
def test_property_trails_hold_every_pair_once_and_no_other(points):
    pairs = [(a, b) for a, b in pairwise(points) if a != b]
    found = [pair for part in trails(pairs) for pair in pairwise(part)]
    assert sorted(found) == sorted(pairs)


@given(st.permutations(range(8)))
def test_property_a_plain_line_is_one_trail_in_whatever_order_its_pairs_come(order):
    assert trails([(one, one + 1) for one in order]) == [list(range(9))]


@pytest.fixture(scope="module")
def district(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The district as XML without its relations: what a road graph can be made of."""
    import osmium

    if not FILE.is_file():
        pytest.skip("the district is not here")
    path = tmp_path_factory.mktemp("district") / "district.osm"
    with osmium.SimpleWriter(str(path)) as writer:
        for thing in osmium.FileProcessor(str(FILE), osmium.osm.NODE | osmium.osm.WAY):
            writer.add(thing)
    return path


@pytest.fixture(scope="module")
def usual(district) -> nx.MultiDiGraph:
    """The district's graph as OSMnx makes it, with every tag asked for."""
    with pytest.MonkeyPatch.context() as patch:
        _ask_for_all(patch)
        return osmnx.graph_from_xml(district, simplify=False, retain_all=True)


@pytest.mark.real_ground
def test_referee_osmnx_counts_points_ways_and_one_ways_of_a_district(district, usual):
    """Referee: osmnx.graph_from_xml, simplify=False, of the same file."""
    ours = read_roads(district, crs=UTM)
    ways = ours.edges.drop_duplicates("way_id").set_index("way_id")
    held = [(u, v, d) for u, v, d in usual.edges(data=True) if d["osmid"] in ways.index]
    assert {d["osmid"] for *_, d in held} == set(ways.index)
    assert len(ways) > 1500
    points = {u for u, _, _ in held} | {v for _, v, _ in held}
    places = {(usual.nodes[one]["x"], usual.nodes[one]["y"]) for one in points}
    seen = {tuple(np.round(xy, 3)) for line in ours.edges.geometry for xy in line.coords}
    assert len(seen) == len(places)
    one_way = {d["osmid"] for *_, d in held if d["oneway"]}
    ours_one_way = set(ways.index[ways["forward"] ^ ways["backward"]])
    implied = set(ways.index[ways["highway"] == "motorway"])  # OSMnx reads the tag alone
    assert one_way <= ours_one_way <= one_way | implied
    pieces = sum(len(line.coords) - 1 for line in ours.edges.geometry)
    assert pieces == sum(not d["reversed"] for *_, d in held)
    theirs_m = sum(d["length"] for *_, d in held if not d["reversed"])  # on a sphere
    assert ours.edges["length_m"].sum() == pytest.approx(theirs_m, rel=0.005)


@pytest.mark.real_ground
def test_referee_a_district_through_a_graph_is_the_district(
    district, tmp_path, monkeypatch, full_tags
):
    """Referee: the same file without a graph between. As ``fieldmap roads`` fetches: all_oneway.

    Ways that run round have no first point in a graph, so their legs may be cut elsewhere.
    """
    monkeypatch.setattr(osmnx.settings, "all_oneway", True)
    graph = osmnx.graph_from_xml(district, simplify=False, retain_all=True)
    both = (read_roads(district, crs=UTM), through(tmp_path, graph))
    assert len(both[0].edges) > 3000
    assert both[0].edges["under"].map(len).sum() > 50
    ids = both[0].nodes["node_id"].to_numpy()
    ends = both[0].edges.groupby("way_id").agg(first=("u", "first"), last=("v", "last"))
    rounds = ends.index[ids[ends["first"]] == ids[ends["last"]]]
    assert len(rounds) < 0.02 * len(ends)
    whole = [one.edges[one.edges["way_id"].isin(rounds)]["length_m"].sum() for one in both]
    assert whole[0] == pytest.approx(whole[1], rel=1e-12)
    same_roads(*(_without(one, set(rounds)) for one in both))


def _without(data: RoadData, ways: set[int]) -> RoadData:
    """The network without some ways and without the points that only they have."""
    edges = data.edges[~data.edges["way_id"].isin(ways)]
    kept = np.union1d(edges["u"], edges["v"])
    moved = np.full(len(data.nodes), -1)
    moved[kept] = np.arange(len(kept))
    edges = edges.assign(u=moved[edges["u"]], v=moved[edges["v"]])
    return replace(data, edges=edges, nodes=data.nodes.iloc[kept])


@pytest.mark.real_ground
def test_property_a_graph_never_opens_what_the_map_shuts(district, tmp_path, usual):
    """Property: of a graph made the usual way no leg is open where the map's own is not."""
    ours = read_roads(district, crs=UTM)
    both = [
        one.edges.groupby("way_id")[["forward", "backward"]].all().sum(axis=1)
        for one in (ours, through(tmp_path, usual))
    ]
    assert (both[0].index == both[1].index).all()
    assert (both[1] <= both[0]).all()


def refused(tmp_path: Path, text: str | bytes, name: str = "bad.graphml") -> str:
    (tmp_path / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(InputError) as caught:
        read_roads(tmp_path / name, crs=UTM)
    return str(caught.value)


def test_by_hand_graphs_that_lost_what_a_check_needs_are_refused(tmp_path):
    nodes, ways = row_of(4), {7: ([1, 2, 3, 4], TRACK)}
    graph = graph_of(tmp_path, nodes, ways)
    osmnx.save_graphml(osmnx.simplify_graph(graph.copy()), tmp_path / "s.graphml")
    assert "simplify=False" in refused(tmp_path, (tmp_path / "s.graphml").read_bytes())
    simple = osmnx.simplify_graph(graph.copy())
    del simple.graph["simplified"]
    osmnx.save_graphml(simple, tmp_path / "u.graphml")
    assert "simplify=False" in refused(tmp_path, (tmp_path / "u.graphml").read_bytes())
    osmnx.save_graphml(osmnx.project_graph(graph.copy()), tmp_path / "p.graphml")
    assert "projected" in refused(tmp_path, (tmp_path / "p.graphml").read_bytes())
    graph.edges[1, 2, 0]["highway"] = "primary"
    osmnx.save_graphml(graph, tmp_path / "e.graphml")
    assert "different things" in refused(tmp_path, (tmp_path / "e.graphml").read_bytes())


def test_by_hand_files_that_are_no_graph_are_refused(tmp_path):
    graph = graph_of(tmp_path, row_of(3), {7: ([1, 2, 3], TRACK)})
    osmnx.save_graphml(graph, tmp_path / "good.graphml")
    good = (tmp_path / "good.graphml").read_text("utf-8")
    assert "no roads" not in good
    for text, said in (
        ("<!DOCTYPE graphml [<!ENTITY a 'b'>]>" + good.partition("?>")[2], "DOCTYPE"),
        (good[: len(good) // 2], "cannot be parsed"),
        ("", "cannot be parsed"),
        (good.replace("epsg:4326", "none"), "degrees"),
        (good.replace('<node id="2">', '<node id="two">'), "point that OSMnx did not write"),
        (good.replace('<node id="2">', '<node id="22">'), "points are not in the file"),
        (good.replace(">7</data>", ">[7, 8]</data>"), "simplified"),
        (good.replace(">7</data>", ">seven</data>"), "edge that OSMnx did not write"),
        (good.replace(">True</data>", ">maybe</data>"), "edge that OSMnx did not write"),
        (good.replace("reversed", "turned"), "edge that OSMnx did not write"),
        (good.replace(">track</data>", ">steps</data>"), "no roads"),
        (good.replace(">50.0</data>", ">north</data>"), "point that OSMnx did not write"),
    ):
        assert text != good
        assert said in refused(tmp_path, text), said
