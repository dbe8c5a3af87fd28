"""The demo's roads: enough legs, every special place there, and the moves as interesting as told.

The file is read here with pyosmium alone and split at shared nodes, apart from fieldmap.roads.
Class ranges and the room beside a machine are those the tool assumes.
"""

from __future__ import annotations

import csv
import json
import tomllib
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import geopandas
import networkx as nx
import numpy as np
import osmium
import pytest
import shapely
from shapely.geometry import LineString

from fieldmap.crs import WGS84, metric_crs, transformer

DEMO = Path(__file__).resolve().parents[2] / "demo_geodata"
TO_METRES = transformer(WGS84, metric_crs("EPSG:26915"))
LOW_M = {
    "secondary": 5.5, "tertiary": 4.5, "unclassified": 3.0,
    "residential": 3.5, "service": 2.5, "track": 2.0,
}  # fmt: skip
HIGH_M = {
    "secondary": 7.3, "tertiary": 6.7, "unclassified": 6.0,
    "residential": 7.0, "service": 4.0, "track": 4.0,
}  # fmt: skip
ROOM_M = 1.0
LOW_BRIDGE_M = 11.5 * 0.3048


@dataclass(frozen=True)
class Way:
    nodes: tuple[int, ...]
    tags: dict[str, str]
    line: LineString


@dataclass(frozen=True)
class District:
    nodes: dict[int, tuple[float, float]]
    node_tags: dict[int, dict[str, str]]
    ways: dict[int, Way]
    restrictions: list[tuple[dict[str, str], list[tuple[str, int, str]]]]

    def roads(self) -> dict[int, Way]:
        return {number: way for number, way in self.ways.items() if "highway" in way.tags}

    def having(self, **tags: str) -> list[int]:
        return [n for n, way in self.ways.items() if tags.items() <= way.tags.items()]


@pytest.fixture(scope="module")
def district() -> District:
    nodes, node_tags, shapes, restrictions = {}, {}, {}, []
    for one in osmium.FileProcessor(str(DEMO / "roads.osm.pbf")):
        tags = {tag.k: tag.v for tag in one.tags}
        if isinstance(one, osmium.osm.Node):
            nodes[one.id] = TO_METRES.transform(one.location.lon, one.location.lat)
            node_tags[one.id] = tags
        elif isinstance(one, osmium.osm.Way):
            shapes[one.id] = tuple(node.ref for node in one.nodes), tags
        elif isinstance(one, osmium.osm.Relation):
            restrictions.append((tags, [(m.type, m.ref, m.role) for m in one.members]))
    ways = {
        number: Way(refs, tags, LineString([nodes[ref] for ref in refs]))
        for number, (refs, tags) in shapes.items()
    }
    return District(nodes, node_tags, ways, restrictions)


@pytest.fixture(scope="module")
def graph(district: District) -> nx.Graph:
    """Node to node, every way; one-way signs are left out, as none stands on these moves."""
    out = nx.Graph()
    for number, way in district.roads().items():
        for a, b in pairwise(way.nodes):
            length = float(np.hypot(*np.subtract(district.nodes[a], district.nodes[b])))
            out.add_edge(a, b, way=number, length=length)
    return out


def legs_of(district: District) -> list[tuple[int, int, int]]:
    """Way, first and last node of each leg, split at nodes that other roads use."""
    used = Counter(node for way in district.roads().values() for node in set(way.nodes))
    out = []
    for number, way in district.roads().items():
        last = len(way.nodes) - 1
        cuts = [i for i, node in enumerate(way.nodes) if i in (0, last) or used[node] > 1]
        out += [(number, way.nodes[i], way.nodes[j]) for i, j in pairwise(cuts)]
    return out


def place(name: str) -> tuple[float, float]:
    farm = tomllib.loads((DEMO / "farm.toml").read_text(encoding="utf-8"))
    return TO_METRES.transform(*farm["places"][name])


def gate(field_id: str) -> tuple[float, float]:
    table = json.loads((DEMO / "gates.geojson").read_text(encoding="utf-8"))["features"]
    one = next(one for one in table if one["properties"]["field_id"] == field_id)
    return TO_METRES.transform(*one["geometry"]["coordinates"])


def nearest(district: District, graph: nx.Graph, spot: tuple[float, float]) -> tuple[int, float]:
    away = {node: float(np.hypot(*np.subtract(district.nodes[node], spot))) for node in graph}
    best = min(away, key=away.__getitem__)
    return best, away[best]


def width_m(way: Way) -> tuple[float, float]:
    """Low and high width: a plain figure on the map, else the range of its class."""
    text = way.tags.get("width", "")
    try:
        return float(text), float(text)
    except ValueError:
        return LOW_M[way.tags["highway"]], HIGH_M[way.tags["highway"]]


def widths(*states: int) -> list[float]:
    """Transport widths of the machines in the state they are usually moved in."""
    raw = tomllib.loads((DEMO / "machines.toml").read_text(encoding="utf-8"))["machine"]
    return [raw[state]["transport"][0]["width_m"] for state in states]


def open_ways(district: District, graph: nx.Graph, *, need_m: float, sure: bool) -> nx.Graph:
    """The part of the network with room: surely, or as far as anybody can tell."""
    wide = {n for n, way in district.roads().items() if width_m(way)[0 if sure else 1] >= need_m}
    return nx.Graph((a, b, held) for a, b, held in graph.edges(data=True) if held["way"] in wide)


def test_legs_are_enough_and_hang_together(district: District, graph: nx.Graph) -> None:
    """By hand: 330 to 450 legs of six classes, in one network."""
    assert 330 <= len(legs_of(district)) <= 450
    assert nx.is_connected(graph)
    assert {way.tags["highway"] for way in district.roads().values()} == set(LOW_M)


def test_most_roads_have_no_width(district: District) -> None:
    """By hand: as on any map; a few have width, est_width or lanes."""
    tagged = Counter(key for way in district.roads().values() for key in way.tags)
    assert tagged["width"] >= 5
    assert tagged["width"] < 0.25 * len(district.roads())
    assert tagged["est_width"] >= 2
    assert tagged["lanes"] >= 3
    assert len(district.having(width="2,5")) == 1


def test_special_ways(district: District) -> None:
    """By hand: narrow lane, low bridge, weak bridge, closed tracks, one-ways."""
    assert len(district.having(name="Quarry Lane", width="2.8")) == 1
    assert len(district.having(maxheight="11'6\"")) == 1
    assert len(district.having(maxheight="below_default")) == 1
    assert len(district.having(highway="track", access="private")) == 1
    assert len(district.having(highway="track", motor_vehicle="no")) == 1
    one_way = {district.ways[n].tags["name"] for n in district.having(oneway="yes")}
    assert len(one_way) == 2
    assert len(district.having(power="line")) == 1


def test_river_bridges(district: District) -> None:
    """By hand: no road crosses the river but on a bridge; 8 t, none posted, 40 t among them."""
    river = district.ways[district.having(waterway="river")[0]].line
    over = [way for way in district.ways.values() if way.line.crosses(river)]
    assert len(over) == 6
    assert all(way.tags.get("bridge") == "yes" for way in over)
    posted = {way.tags.get("highway"): way.tags.get("maxweight") for way in over}
    assert posted["secondary"] == "40"
    lanes = [way.tags.get("maxweight") for way in over if way.tags.get("highway") == "unclassified"]
    assert sorted(lanes, key=str) == ["8", None]


def test_railway_is_crossed_on_the_level_or_under_it(district: District) -> None:
    """By hand: every meeting is a tagged node or a rail bridge; one bridge has no height."""
    heights = []
    for rail in (district.ways[number] for number in district.having(railway="rail")):
        for road in district.roads().values():
            if not rail.line.intersects(road.line):
                continue
            shared = set(rail.nodes) & set(road.nodes)
            if shared:
                tags = [district.node_tags[node].get("railway") for node in shared]
                assert tags == ["level_crossing"]
            else:
                assert rail.tags["bridge"] == "yes"
                assert rail.tags["layer"] == "1"
                heights.append(road.tags.get("maxheight"))
    assert sorted(heights, key=str) == ["11'6\"", None, "below_default"]


def test_special_nodes(district: District) -> None:
    """By hand: two gates without a width, a lift gate, a bollard, a cattle grid on roads."""
    on_roads = {node for way in district.roads().values() for node in way.nodes}
    barriers = Counter(district.node_tags[node].get("barrier") for node in on_roads)
    del barriers[None]
    assert barriers == {"gate": 2, "lift_gate": 1, "bollard": 1, "cattle_grid": 1}
    assert not any("maxwidth" in tags or "width" in tags for tags in district.node_tags.values())


def test_power_line_crosses_roads(district: District) -> None:
    """By hand: several roads and one field lie under it."""
    line = district.ways[district.having(power="line")[0]].line
    assert sum(way.line.crosses(line) for way in district.roads().values()) >= 8


def test_turn_restrictions_hold_together(district: District) -> None:
    """By hand: members exist and meet; one only_, one by a way, one with an exception."""
    rules = Counter(tags["restriction"] for tags, _ in district.restrictions)
    assert rules == {"no_left_turn": 2, "only_straight_on": 1, "no_right_turn": 1}
    assert sum("except" in tags for tags, _ in district.restrictions) == 1
    by_way = 0
    for _, members in district.restrictions:
        part = {role: (kind, number) for kind, number, role in members}
        ends = {
            role: {district.ways[part[role][1]].nodes[i] for i in (0, -1)}
            for role in ("from", "to")
        }
        kind, via = part["via"]
        through = {via} if kind == "n" else {district.ways[via].nodes[i] for i in (0, -1)}
        by_way += kind == "w"
        assert ends["from"] & through
        assert ends["to"] & through
    assert by_way == 1


def test_a_tight_corner(district: District) -> None:
    """By hand: Switchback Lane turns by more than 100 degrees at one node."""
    lane = np.array(district.ways[district.having(name="Switchback Lane")[0]].line.coords)
    heading = np.degrees(np.arctan2(*np.diff(lane, axis=0).T))
    turn = np.abs((np.diff(heading) + 180) % 360 - 180)
    assert turn.max() > 100


def test_fields_lie_clear_of_roads_railway_and_river(district: District) -> None:
    """By hand: nothing runs through a field but the power line."""
    fields = geopandas.read_file(DEMO / "fields.gpkg").geometry
    lines = [way.line for way in district.ways.values() if "power" not in way.tags]
    away = shapely.distance(np.array(lines)[:, None], fields.to_numpy()[None, :])
    assert away.min() > 5


def test_gates_stand_near_a_road_node(district: District, graph: nx.Graph) -> None:
    """By hand: within 25 m of a node of the network, for every field."""
    fields = geopandas.read_file(DEMO / "fields.gpkg").FLD_NO
    assert max(nearest(district, graph, gate(field_id))[1] for field_id in fields) < 25


def test_road_checks_name_real_places_off_the_bench_way(district: District) -> None:
    """By hand: four rows, and none of them on a road to the benches."""
    with (DEMO / "road_checks.csv").open(encoding="utf-8", newline="") as page:
        rows = list(csv.DictReader(page))
    assert len(rows) == 4
    assert {row["kind"] for row in rows} == {"width", "mass", "opening"}
    for row in rows:
        kind, number = row["place"].split("/")
        assert int(number) in (district.ways if kind == "way" else district.nodes)
        assert float(row["value"]) > 0
    ways = [district.ways[int(row["place"][4:])] for row in rows if row["place"].startswith("way")]
    assert {way.tags["name"] for way in ways} == {"Reed Road", "Teasel Road", "Long Acre Road"}


def test_narrow_machine_has_a_sure_way_to_the_river(district: District, graph: nx.Graph) -> None:
    """By hand: a longer way with room, nothing overhead and no bridge; the short one unknown."""
    home, _ = nearest(district, graph, place("home"))
    river_gate, _ = nearest(district, graph, gate("S1"))
    narrow, _ = widths(0, 2)
    sure = open_ways(district, graph, need_m=narrow + ROOM_M, sure=True)
    way = nx.shortest_path(sure, home, river_gate, weight="length")
    numbers = {graph.edges[pair]["way"] for pair in pairwise(way)}
    assert not any("bridge" in district.ways[n].tags for n in numbers)
    driven = LineString([district.nodes[node] for node in way])
    over = [*district.having(power="line"), *district.having(railway="rail", bridge="yes")]
    assert not any(driven.intersects(district.ways[n].line) for n in over)
    short = nx.shortest_path(graph, home, river_gate, weight="length")
    names = {district.ways[graph.edges[pair]["way"]].tags.get("name") for pair in pairwise(short)}
    assert names == {"Cider Lane"}


@pytest.mark.parametrize("field_id", ["S5", "S6", "S7"])
def test_wide_machine_to_the_benches(district: District, graph: nx.Graph, field_id: str) -> None:
    """By hand: direct way too low and too narrow, no sure way, another that may pass."""
    home, _ = nearest(district, graph, place("home"))
    end, _ = nearest(district, graph, gate(field_id))
    _, wide = widths(0, 2)
    direct = nx.shortest_path(graph, home, end, weight="length")
    ways = [district.ways[graph.edges[pair]["way"]] for pair in pairwise(direct)]
    assert any(way.tags.get("width") == "2.8" for way in ways)
    assert any(way.tags.get("maxheight") == "11'6\"" for way in ways)
    raw = tomllib.loads((DEMO / "machines.toml").read_text(encoding="utf-8"))["machine"]
    assert raw[2]["transport"][0]["height_m"] > LOW_BRIDGE_M
    surely = open_ways(district, graph, need_m=wide + ROOM_M, sure=True)
    assert end not in surely or not nx.has_path(surely, home, end)
    possibly = open_ways(district, graph, need_m=wide + ROOM_M, sure=False)
    assert nx.has_path(possibly, home, end)
