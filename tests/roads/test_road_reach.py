"""Many places and one machine: the same answers as one move at a time."""

from __future__ import annotations

import math

import numpy as np
import pytest
from small_roads import district, machine, spot

from fieldmap.machine import Transport
from fieldmap.roads.district import district_of, hold
from fieldmap.roads.move import plan
from fieldmap.roads.pace import road_kmh, way_s
from fieldmap.roads.reach import reach
from fieldmap.tables import load_tables

TABLES = load_tables()
WIDE = {"highway": "tertiary", "width": "7", "surface": "asphalt"}
#: A road east with a narrow lane north of its middle, an unmeasured one at its end, one-way back.
NODES = {1: (0, 0), 2: (4, 0), 3: (8, 0), 4: (4, 4), 5: (8, 4), 6: (20, 0), 7: (22, 0)}
WAYS = [
    (11, [1, 2, 3], WIDE),
    (12, [2, 4], {"highway": "unclassified", "width": "1.9", "surface": "asphalt"}),
    (13, [3, 5], {"highway": "unclassified", "surface": "asphalt"}),
    (14, [6, 7], WIDE),
]
PLACES = [spot(1, 0), spot(6, 0), spot(4, 3), spot(8, 3), spot(21, 0), spot(0, 40)]
NAMES = ["yard", "east", "narrow", "unsaid", "island", "far"]


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    data = district(tmp_path_factory.mktemp("reach"), NODES, WAYS)
    prepared = district_of(data, None)
    one = machine(transport=(Transport(name="folded", width_m=2.3, height_m=3.0, length_m=6.0),))
    held = hold(prepared, one, one.transport[0], tables=TABLES)
    return reach(prepared, held, PLACES, tables=TABLES, names=NAMES), one


def test_by_hand_each_kind_of_answer(found) -> None:
    answers, _ = found
    assert list(answers.level[0, :4]) == ["ok", "ok", "stop", "unknown"]
    assert list(answers.unknown_places[0, :4]) == [0, 0, -1, 1]
    assert answers.length_m[0, 0] == 0.0


def test_by_hand_no_way_and_no_road_are_unknown_and_not_zero(found) -> None:
    answers, _ = found
    for place in (4, 5):
        assert answers.level[0, place] == "unknown"
        assert answers.unknown_places[0, place] == -1
        assert math.isnan(answers.length_m[0, place])
        assert answers.way(0, place) is None
    assert answers.far[4] == ""
    assert answers.far[5].startswith("far is too far from any road: ")


def test_property_every_pair_has_the_answer_of_its_own_move(found) -> None:
    """Property: level, length and number of unknown places are those of a move planned alone."""
    answers, one = found
    district_ = answers.district
    for start in range(5):
        for goal in range(5):
            if start == goal:
                continue
            alone = plan(
                district_.data, None, one, state=None, start=PLACES[start], goal=PLACES[goal],
                tables=TABLES,
            )  # fmt: skip
            assert answers.level[start, goal] == alone.states["folded"]
            assert answers.length_m[start, goal] == pytest.approx(alone.length_m, nan_ok=True)


def test_by_hand_seconds_of_a_way(found) -> None:
    """By hand: metres over speed; a track is slower, and a machine without a speed has a usual."""
    answers, _ = found
    ends = answers.ends
    way = answers.way(0, 1)
    taken = {
        "district": answers.district, "way": way, "start": ends[0].on, "goal": ends[1].on,
        "tables": TABLES,
    }  # fmt: skip
    seconds = way_s(**taken, speed_kmh=30.0)
    assert seconds == math.ceil(way.length_m / 30 * 3.6)
    assert road_kmh(None, TABLES) == TABLES["day.road_kmh"].low  # the slow end, not the usual
    assert way_s(**taken, speed_kmh=None) == math.ceil(way.length_m / road_kmh(None, TABLES) * 3.6)


def test_by_hand_a_track_is_driven_at_its_own_speed(tmp_path) -> None:
    """By hand: the same metres on a track take as long as its row says."""
    track = WIDE | {"highway": "track", "tracktype": "grade1"}
    data = district(tmp_path, {1: (0, 0), 2: (9, 0)}, [(1, [1, 2], track)])
    prepared = district_of(data, None)
    one = machine()
    held = hold(prepared, one, one.transport[0], tables=TABLES)
    answers = reach(prepared, held, [spot(1, 0), spot(8, 0)], tables=TABLES)
    way = answers.way(0, 1)
    ends = answers.ends
    seconds = way_s(prepared, way, start=ends[0].on, goal=ends[1].on, speed_kmh=30.0, tables=TABLES)
    assert seconds == math.ceil(way.length_m / TABLES.number("day.track_kmh") * 3.6 - 1e-6)


def test_by_hand_a_one_way_street_is_driven_one_way(tmp_path) -> None:
    ways = [(1, [1, 2], WIDE | {"oneway": "yes"})]
    data = district(tmp_path, {1: (0, 0), 2: (9, 0)}, ways)
    prepared = district_of(data, None)
    one = machine()
    held = hold(prepared, one, one.transport[0], tables=TABLES)
    answers = reach(prepared, held, [spot(1, 0), spot(8, 0)], tables=TABLES)
    assert np.isfinite(answers.length_m[0, 1])
    assert math.isnan(answers.length_m[1, 0])
