"""Reading roads: small invented map files by hand, and osmnx as referee."""

from __future__ import annotations

import gzip

import numpy as np
import pytest
from pyproj import Geod
from small_osm import HEAD, UTM, osm, read, relation, row_of

from fieldmap.errors import InputError
from fieldmap.read.roads import read_roads
from fieldmap.schemas import EDGES, NODES, TURNS, checked


def directions(data):
    return [
        (bool(a), bool(b))
        for a, b in zip(data.edges["forward"], data.edges["backward"], strict=True)
    ]


def test_by_hand_cut_at_junctions_and_tagged_nodes(tmp_path):
    nodes = row_of(6, tags={3: {"barrier": "gate"}, 5: {"highway": "crossing"}})
    nodes[9] = (11.504, 50.001, {})
    data = read(
        tmp_path,
        nodes,
        {
            7: ([1, 2, 3, 4, 5, 6], {"highway": "track", "ref": "R 1"}),
            8: ([9, 4], {"highway": "service"}),
        },
    )
    assert data.edges["leg_id"].tolist() == ["7-0", "7-1", "7-2", "8-0"]
    ids = data.nodes["node_id"].to_numpy()
    ends = [
        (int(ids[u]), int(ids[v])) for u, v in zip(data.edges["u"], data.edges["v"], strict=True)
    ]
    assert ends == [(1, 3), (3, 4), (4, 6), (9, 4)]
    assert data.edges["name"].tolist() == ["R 1"] * 3 + [""]
    assert data.nodes.loc[ids == 3, "tags"].iloc[0] == {"barrier": "gate"}
    for table, schema in ((data.edges, EDGES), (data.nodes, NODES), (data.turns, TURNS)):
        assert len(checked(table, schema, where="small")) == len(table)


def test_referee_lengths_are_geodesic(tmp_path):
    """Referee: pyproj's geodesic over the whole line at once."""
    data = read(tmp_path, row_of(5), {7: ([1, 2, 3, 4, 5], {"highway": "track"})})
    wished = Geod(ellps="WGS84").line_length([11.501 + n * 0.001 for n in range(5)], [50.0] * 5)
    assert data.edges["length_m"].tolist() == [pytest.approx(wished, abs=1e-6)]


@pytest.mark.parametrize(
    ("tags", "wished"),
    [
        ({}, (True, True)),
        ({"oneway": "yes"}, (True, False)),
        ({"oneway": "1"}, (True, False)),
        ({"oneway": "true"}, (True, False)),
        ({"oneway": "-1"}, (False, True)),
        ({"oneway": "reverse"}, (False, True)),
        ({"oneway": "no"}, (True, True)),
        ({"junction": "roundabout"}, (True, False)),
        ({"junction": "circular"}, (True, False)),
        ({"junction": "roundabout", "oneway": "no"}, (True, True)),
        ({"highway": "motorway"}, (True, False)),
        ({"oneway:bicycle": "yes"}, (True, True)),
        ({"oneway": "reversible"}, (False, False)),
    ],
)
def test_by_hand_one_ways(tmp_path, tags, wished):
    data = read(tmp_path, row_of(2), {7: ([1, 2], {"highway": "tertiary"} | tags)})
    assert directions(data) == [wished]


@pytest.mark.parametrize(
    ("tags", "kept"),
    [
        ({"highway": "path"}, False),
        ({"highway": "path", "agricultural": "yes"}, True),
        ({"highway": "footway", "motor_vehicle": "designated"}, True),
        ({"highway": "cycleway", "vehicle": "no"}, False),
        ({"highway": "steps"}, False),
        ({"highway": "steps", "access": "yes"}, False),
        ({"highway": "construction"}, False),
        ({"highway": "motorway"}, True),
        ({"highway": "service", "area": "yes"}, False),
        ({"railway": "rail"}, False),
    ],
)
def test_by_hand_which_ways_are_roads(tmp_path, tags, kept):
    data = read(tmp_path, row_of(4), {7: ([1, 2], {"highway": "track"}), 8: ([3, 4], tags)})
    assert (8 in set(data.edges["way_id"])) is kept


CROSSING = {
    1: (11.500, 50.0, {}),
    2: (11.502, 50.0, {}),
    3: (11.501, 49.999, {}),
    4: (11.501, 50.001, {}),
    5: (11.503, 50.0, {}),
}


@pytest.mark.parametrize(
    ("own", "other", "under"),
    [
        ({}, {"highway": "footway", "bridge": "yes"}, ("bridge way/8",)),
        ({}, {"waterway": "canal", "bridge": "aqueduct"}, ("bridge way/8",)),
        ({}, {"railway": "rail"}, ()),
        ({}, {"highway": "track", "bridge": "no"}, ()),
        ({}, {"power": "line"}, ("power line way/8",)),
        ({}, {"power": "minor_line"}, ("power line way/8",)),
        ({}, {"power": "cable"}, ()),
        ({"bridge": "yes"}, {"power": "line"}, ("power line way/8",)),
        ({"bridge": "yes", "layer": "2"}, {"railway": "rail", "bridge": "yes"}, ()),
        ({"bridge": "yes"}, {"railway": "rail", "bridge": "yes"}, ()),
        ({"bridge": "yes"}, {"railway": "rail", "bridge": "yes", "layer": "2"}, ("bridge way/8",)),
    ],
)
def test_by_hand_what_crosses_above(tmp_path, own, other, under):
    data = read(tmp_path, CROSSING, {7: ([1, 2], {"highway": "track"} | own), 8: ([3, 4], other)})
    leg = data.edges[data.edges["way_id"] == 7].iloc[0]
    assert leg["under"] == under


def test_by_hand_a_bridge_is_not_above_the_road_it_carries_on(tmp_path):
    data = read(
        tmp_path,
        CROSSING,
        {7: ([1, 2], {"highway": "track"}), 8: ([2, 5], {"highway": "track", "bridge": "yes"})},
    )
    assert data.edges["under"].tolist() == [(), ()]


def test_by_hand_a_way_that_leaves_the_file_is_cut_there(tmp_path):
    data = read(
        tmp_path,
        row_of(6),
        {7: ([1, 2, 99, 3, 4, 98, 5], {"highway": "track"}), 8: ([5, 6], {"highway": "track"})},
    )
    assert data.edges["leg_id"].tolist() == ["7-0", "7-1", "8-0"]
    assert data.warnings == ("2 points of 1 ways are not in the file; the ways end there",)


def test_by_hand_turn_restrictions_over_nodes_and_ways(tmp_path):
    text = (
        relation(
            1,
            "no_left_turn",
            ("way", 7, "from"),
            ("node", 2, "via"),
            ("way", 8, "to"),
            **{"except": "agricultural"},
        )
        + relation(2, "no_u_turn", ("way", 7, "from"), ("way", 8, "via"), ("way", 9, "to"))
        + relation(3, "no_left_turn", ("way", 7, "from"), ("node", 77, "via"), ("way", 8, "to"))
    )
    track = {"highway": "track"}
    data = read(
        tmp_path,
        row_of(4),
        {7: ([1, 2], track), 8: ([2, 3], track), 9: ([3, 4], track)},
        relations=text,
    )
    rows = data.turns.to_dict("records")
    assert [(r["relation_id"], r["rule"], r["via_ways"], r["except_for"]) for r in rows] == [
        (1, "no_left_turn", (), "agricultural"),
        (2, "no_u_turn", (8,), ""),
    ]
    assert data.nodes["node_id"].iloc[rows[0]["via_node"]] == 2
    assert rows[1]["via_node"] == -1
    assert data.warnings == ("1 turn restriction without a via point or way in the file: left out",)


def test_referee_osmnx_counts_ways_pieces_and_one_ways(tmp_path):
    """Referee: osmnx.graph_from_xml, simplify=False, retain_all=True, on the same file."""
    import osmnx

    nodes = {
        r * 5 + c + 1: (11.5 + c * 0.001, 50 + r * 0.001, {}) for r in range(5) for c in range(5)
    }
    kinds = [
        {},
        {"oneway": "yes"},
        {"oneway": "-1"},
        {"highway": "residential"},
        {"junction": "roundabout"},
    ]
    ways = {
        100 + r: ([r * 5 + c + 1 for c in range(5)], {"highway": "tertiary"} | kinds[r])
        for r in range(5)
    }
    ways |= {200 + c: ([r * 5 + c + 1 for r in range(5)], {"highway": "track"}) for c in (0, 3)}
    data = read(tmp_path, nodes, ways)
    graph = osmnx.graph_from_xml(tmp_path / "small.osm", simplify=False, retain_all=True)
    edges = data.edges
    pieces = np.array([len(line.coords) - 1 for line in edges.geometry])
    both = (edges["forward"] & edges["backward"]).to_numpy()
    assert int((pieces * np.where(both, 2, 1)).sum()) == graph.number_of_edges()
    held = list(graph.edges(data=True))
    assert set(edges["way_id"]) == {d["osmid"] for *_, d in held}
    one_way = {d["osmid"] for *_, d in held if d["oneway"]}
    assert set(edges.loc[~both, "way_id"]) == one_way
    points = {tuple(np.round(xy, 2)) for line in edges.geometry for xy in line.coords}
    assert len(points) == graph.number_of_nodes()
    total = sum(d["length"] for *_, d in held)
    ours = float((edges["length_m"] * np.where(both, 2, 1)).sum())
    assert ours == pytest.approx(total, rel=0.005)  # theirs is on a sphere


def refused(tmp_path, name, data):
    file = tmp_path / name
    file.write_bytes(data)
    with pytest.raises(InputError) as caught:
        read_roads(file, crs=UTM)
    return str(caught.value)


def test_by_hand_what_is_refused_before_parsing(tmp_path):
    bad = f"{HEAD}<!DOCTYPE osm [<!ENTITY a 'b'>]><osm version='0.6'/>".encode()
    assert "DOCTYPE" in refused(tmp_path, "a.osm", bad)
    assert "DOCTYPE" in refused(tmp_path, "a.osm.gz", gzip.compress(bad))
    late = b"<osm>" + b" " * (1 << 20) + b"<!ENTITY x 'y'>"
    assert "ENTITY" in refused(tmp_path, "b.osm", late)
    across = b"<osm>" + b" " * ((1 << 20) - 8) + b"<!ENTITY x 'y'>"
    assert "ENTITY" in refused(tmp_path, "c.osm", across)
    assert "UTF-8" in refused(tmp_path, "d.osm", bad.decode().encode("utf-16"))
    assert "unpacks" in refused(tmp_path, "e.osm.gz", gzip.compress(b"<osm>" + b" " * 5_000_000))
    assert "broken" in refused(tmp_path, "f.osm.gz", gzip.compress(bad)[:-9])
    assert refused(tmp_path, "g.osm", b"<OGRVRTDataSource></OGRVRTDataSource>")
    assert refused(tmp_path, "h.osm.pbf", b"no such thing")
    assert "no roads" in refused(tmp_path, "i.osm", f"{HEAD}<osm version='0.6'/>".encode())


@pytest.mark.parametrize(
    "name", ["https://example.org/a.osm", "/vsizip/a.zip/a.osm", "no.osm", "roads.vrt"]
)
def test_by_hand_names_that_are_not_plain_files(tmp_path, name):
    with pytest.raises(InputError):
        read_roads(name, crs=UTM)


def test_by_hand_gz_reads_like_the_plain_file(tmp_path):
    text = osm(row_of(3), {7: ([1, 2, 3], {"highway": "track"})})
    (tmp_path / "a.osm.gz").write_bytes(gzip.compress(text.encode()))
    data = read_roads(tmp_path / "a.osm.gz", crs=UTM)
    assert data.edges["leg_id"].tolist() == ["7-0"]
    assert data.source == "a.osm.gz"


def test_by_hand_what_was_deleted_is_gone(tmp_path):
    text = osm(row_of(3), {7: ([1, 2], {"highway": "track"}), 8: ([2, 3], {"highway": "track"})})
    gone = text.replace("<way id='8'", "<way id='8' visible='false'")
    (tmp_path / "a.osm").write_text(gone, "utf-8")
    assert read_roads(tmp_path / "a.osm", crs=UTM).edges["leg_id"].tolist() == ["7-0"]
    for word in ("action='delete'", 'action="delete"'):
        marked = text.replace("<way id='8'", f"<way id='8' {word}")
        assert "deleted" in refused(tmp_path, "b.osm", marked.encode())


def test_by_hand_a_way_that_stands_there_twice_is_refused(tmp_path):
    text = osm(row_of(3), {7: ([1, 2], {"highway": "track"}), 8: ([2, 3], {"highway": "track"})})
    (tmp_path / "a.osm").write_text(text.replace("<way id='8'", "<way id='7'"), "utf-8")
    with pytest.raises(InputError, match="way/7"):
        read_roads(tmp_path / "a.osm", crs=UTM)
