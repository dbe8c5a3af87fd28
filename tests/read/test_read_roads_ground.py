"""Roads of a real district; skipped where its file is absent. Counts are its README's."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from pyproj import CRS

from fieldmap.read.osm_scan import scan
from fieldmap.read.roads import read_roads
from fieldmap.schemas import EDGES, NODES, TURNS, checked

FILE = Path(__file__).parents[2] / ".." / "shared" / "data" / "bayreuth" / "bayreuth.osm.pbf"
pytestmark = [
    pytest.mark.real_ground,
    pytest.mark.skipif(not FILE.is_file(), reason="the district is not here"),
]


@pytest.fixture(scope="module")
def data():
    return read_roads(FILE, crs=CRS.from_epsg(32632))


def bare(kind, *keys):
    """Things of one kind as pyosmium hands them out, with one of the keys: the referee."""
    import osmium

    return osmium.FileProcessor(str(FILE), kind).with_filter(osmium.filter.KeyFilter(*keys))


def test_referee_turns_limits_and_bridges_are_all_there(data):
    """Referee: the README beside the file, not by this reader."""
    ways = data.edges.drop_duplicates("way_id")["tags"]
    assert data.turns["relation_id"].nunique() == 40
    assert sum("maxweight" in tags for tags in ways) == 6
    assert sum("maxheight" in tags for tags in ways) == 1


def test_referee_every_turn_restriction_and_which_can_be_used(data):
    """Referee: a bare pass of pyosmium over the relations; 2 of 40 name a way that is no road."""
    import osmium

    rows = set()
    roads = set(data.edges["way_id"])
    whole = 0
    for one in bare(osmium.osm.RELATION, "restriction"):
        ends = {
            role: [m.ref for m in one.members if m.role == role] for role in ("from", "via", "to")
        }
        assert [len(ends[role]) for role in ("from", "via", "to")] == [1, 1, 1]
        rule = one.tags["restriction"]
        rows.add((one.id, rule, ends["from"][0], ends["via"][0], ends["to"][0]))
        whole += {ends["from"][0], ends["to"][0]} <= roads
    via = data.nodes["node_id"].to_numpy()[data.turns["via_node"]]
    names = ("relation_id", "rule", "from_way")
    ours = zip(*(data.turns[name] for name in names), via, data.turns["to_way"], strict=True)
    assert {tuple(row) for row in ours} == rows
    assert (len(rows), whole) == (40, 38)
    assert data.warnings == ("2 turn restrictions with a way that is no road in the file",)


def test_referee_every_barrier_and_crossing_on_a_road_is_a_node_with_its_tags(data):
    """Referee: bare passes of pyosmium, over ways for the points on roads, then over points."""
    import osmium

    roads = set(data.edges["way_id"])
    on_roads = {
        ref.ref for way in bare(osmium.osm.WAY, "highway") if way.id in roads for ref in way.nodes
    }
    wished = {
        node.id: dict(node.tags)
        for node in bare(osmium.osm.NODE, "barrier", "railway", "access", "maxwidth")
        if node.id in on_roads
        and ("railway" not in node.tags or node.tags["railway"] == "level_crossing")
    }
    assert len(wished) > 20
    held = dict(zip(data.nodes["node_id"], data.nodes["tags"], strict=True))
    assert {key: held[key] for key in wished} == wished


def test_referee_roads_under_power_lines(data):
    """Referee: each line laid over each road with shapely alone, the roads' lines whole."""
    import osmium
    import shapely

    ways = osmium.FileProcessor(str(FILE)).with_locations()
    lines, roads = {}, {}
    wanted = set(data.edges["way_id"])
    for way in ways.with_filter(osmium.filter.EntityFilter(osmium.osm.WAY)):
        if way.tags.get("power") in ("line", "minor_line"):
            lines[way.id] = shapely.LineString([(n.lon, n.lat) for n in way.nodes])
        elif way.id in wanted:
            roads[way.id] = shapely.LineString([(n.lon, n.lat) for n in way.nodes])
    wished = {
        (road, line)
        for line, shape in lines.items()
        for road, own in roads.items()
        if shape.intersects(own)
    }
    ours = {
        (way, int(said.rpartition("/")[2]))
        for way, under in zip(data.edges["way_id"], data.edges["under"], strict=True)
        for said in under
        if said.startswith("power line")
    }
    assert len(wished) > 20
    assert ours == wished


def test_referee_widths_seen_are_on_roads_or_on_paths_left_out(data):
    """Referee: README, 33 widths on all highway ways; paths and foot ways take the rest."""
    import osmium

    ways = osmium.FileProcessor(str(FILE), osmium.osm.WAY).with_filter(
        osmium.filter.KeyFilter("highway")
    )
    wide = {way.id: way.tags["highway"] for way in ways if "width" in way.tags}
    assert len(wide) == 33
    left = {kind for key, kind in wide.items() if key not in set(data.edges["way_id"])}
    assert left == {"path", "cycleway", "footway"}


def test_property_tables_keep_their_contracts(data):
    for table, schema in ((data.edges, EDGES), (data.nodes, NODES), (data.turns, TURNS)):
        assert len(checked(table, schema, where="district")) == len(table)
    xy = data.nodes[["x", "y"]].to_numpy()
    first = np.array([line.coords[0] for line in data.edges.geometry])
    last = np.array([line.coords[-1] for line in data.edges.geometry])
    assert np.allclose(xy[data.edges["u"]], first, atol=1e-6)
    assert np.allclose(xy[data.edges["v"]], last, atol=1e-6)
    assert np.abs(data.edges.length / data.edges["length_m"] - 1).max() < 1e-3


def test_property_every_road_of_the_scan_becomes_legs(data):
    found = scan(FILE)
    assert set(data.edges["way_id"]) == set(found.roads.ids)
