"""Bends inside legs: found, held against the train, round ones apart from sharp ones."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from small_roads import district, machine
from test_road_turning_check import found
from turning_grid import UTM

from fieldmap.machine import Transport
from fieldmap.network import RoadData
from fieldmap.roads.deflections import leg_bends
from fieldmap.roads.tractrix import ring_width_m
from fieldmap.roads.train import trains_of
from fieldmap.roads.turn_check import Widths, bend_check
from fieldmap.roads.turn_room import BEND, Corners, held_against
from fieldmap.roads.turns import turn_net
from fieldmap.roads.verdict import FAIL, PASS, UNKNOWN
from fieldmap.tables import load_tables

TABLES = load_tables()
STATE = Transport(name="folded", width_m=3.0, height_m=3.0, length_m=11.2)
PULLED = machine(wheelbase_m=2.75, hitch_offset_m=0.9, tongue_length_m=5.4, turning_radius_m=5.4)


def flat(data, width):
    return (np.full(2 * len(data.edges), width),) * 2


def test_by_hand_a_bend_inside_a_leg_is_charged_to_the_turn_into_it(tmp_path):
    """Straight on at the node, a square bend 60 m farther on."""
    nodes = {1: (0, 0), 2: (1, 0), 3: (1.4, 0), 4: (1.4, 1), 5: (1, -1)}
    roads = [
        (12, [1, 2], {"highway": "tertiary"}),
        (13, [2, 3, 4], {"highway": "tertiary"}),
        (14, [2, 5], {"highway": "tertiary"}),
    ]
    data = district(tmp_path, nodes, roads)
    net = turn_net(data)
    bends = leg_bends(data, 20.0, 6.0)
    row = data.edges["leg_id"].tolist().index("13-0")
    assert bends.deflection_deg[row] == pytest.approx(-90, abs=0.5)
    assert bends.at_m[row] == pytest.approx(57, abs=2)
    told = {width: found((data, net), width)["12-0", "13-0"] for width in (3.2, 6.0, 12.0)}
    assert [level for level, _ in told.values()] == [FAIL, UNKNOWN, PASS]
    assert told[6.0][1].startswith("A bend farther on: ")
    assert found((data, net), 6.0, trials={("12-0", "13-0"): 1.0})["12-0", "13-0"][0] == PASS
    assert found((data, net), 6.0, trials={("13-0", "13-0"): 1.0})["12-0", "13-0"][0] == PASS
    trains = trains_of(PULLED, STATE, tables=TABLES)
    verdict = bend_check(data, Widths(*flat(data, 6.0)), trains, tables=TABLES)
    assert verdict.level.tolist() == [
        UNKNOWN if leg // 2 == row else PASS for leg in range(2 * len(data.edges))
    ]


def test_by_hand_bends_within_a_window_add_up_and_others_do_not():
    """Three vertices of 30 degrees, 8 m apart, then 50 m to one of 20: 90 within 20 m."""
    points, bearing = [(0.0, 0.0)], 0.0
    for length, turn in ((30, 30), (8, 30), (8, 30), (50, 20), (30, 0)):
        x, y = points[-1]
        points.append((x + length * math.sin(bearing), y + length * math.cos(bearing)))
        bearing += math.radians(turn)
    data = RoadData(gpd.GeoDataFrame(geometry=[shapely.LineString(points)]), None, None, None, "")
    bends = leg_bends(data, 20.0, 6.0)
    assert bends.deflection_deg[0] == pytest.approx(90.0)
    assert bends.at_m[0] == pytest.approx(38.0)
    # 30 in one corner; of the rest the tightest pair turns 60 degrees over 8 m
    assert bends.kink_deg[0] == pytest.approx(30.0)
    assert bends.radius_m[0] == pytest.approx(8.0 / math.radians(60.0))
    assert leg_bends(data, 10.0, 6.0).deflection_deg[0] == pytest.approx(60.0)
    assert leg_bends(data, 100.0, 6.0).deflection_deg[0] == pytest.approx(110.0)


def _round(radius, gap, turn, straight=60.0):
    """A road with a round bend: its line has a vertex every few metres."""
    steps = int(math.radians(turn) * radius / gap)
    points, bearing = [(0.0, 0.0), (0.0, straight)], 0.0
    for _ in range(steps):
        bearing += math.radians(turn) / steps
        x, y = points[-1]
        points.append((x + gap * math.sin(bearing), y + gap * math.cos(bearing)))
    x, y = points[-1]
    points.append((x + straight * math.sin(bearing), y + straight * math.cos(bearing)))
    line = shapely.LineString(points)
    edges = gpd.GeoDataFrame({"leg_id": ["1-0"], "highway": ["tertiary"]}, geometry=[line], crs=UTM)
    return RoadData(edges, None, None, UTM, "")


@pytest.mark.parametrize("gap", [2.0, 3.0, 5.0])
def test_by_hand_a_round_bend_asks_for_less_than_a_sharp_corner(gap):
    """40 m round, 60 degrees: the sharpest 20 m turn by some 30, and the ring asks for less."""
    data = _round(40.0, gap, 60.0)
    bends = leg_bends(data, 20.0, 6.0)
    assert 25.0 < bends.deflection_deg[0] < 50.0
    assert 18.0 < bends.radius_m[0] < 40.0
    trains = trains_of(PULLED, STATE, tables=TABLES)
    verdict = bend_check(data, Widths(*flat(data, 5.2)), trains, tables=TABLES)
    assert verdict.level.tolist() == [PASS, PASS]
    ring = ring_width_m(trains.most, np.array([40.0]))[0] + 1.0
    sharp = Corners(
        bends.deflection_deg,
        np.array([[5.2, 5.2]]),
        np.array([[5.2, 5.2]]),
        np.array([BEND]),
        np.array([0]),
        np.array([False]),
        *(np.array([np.nan]),) * 3,
    )
    corner = held_against(sharp, trains, tables=TABLES)
    assert corner.level.tolist() == [UNKNOWN]
    assert ring <= verdict.need[0] < corner.need[0]
    narrow = bend_check(data, Widths(*flat(data, ring - 0.01)), trains, tables=TABLES)
    assert narrow.level.tolist() == [UNKNOWN, UNKNOWN]


@given(st.floats(3.0, 60.0), st.floats(1.0, 15.0), st.floats(15.0, 120.0))
@settings(max_examples=60, deadline=None)
def test_property_the_radius_read_off_a_line_is_never_more_than_it_has(radius, gap, turn):
    bends = leg_bends(_round(radius, gap, turn), 20.0, 6.0)
    true = gap / (math.radians(turn) / max(1, int(math.radians(turn) * radius / gap)))
    if np.isfinite(bends.radius_m[0]):
        assert bends.radius_m[0] <= true + 1e-6
