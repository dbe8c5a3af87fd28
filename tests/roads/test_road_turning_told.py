"""The corners of a way, one by one: where they are, what they say, and how they are drawn."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from small_roads import district, machine, spot

from fieldmap.crs import WGS84, transformer
from fieldmap.machine import Transport
from fieldmap.roads.choose import free_costs
from fieldmap.roads.corner_told import CAUTION, MOST_DRAWN, GateAt, corner_findings, corners_on
from fieldmap.roads.search import OnLeg, find_way
from fieldmap.roads.train import trains_of
from fieldmap.roads.turn_check import Widths, turn_check
from fieldmap.roads.turns import turn_net
from fieldmap.roads.verdict import LEVEL_OF
from fieldmap.tables import load_tables

TABLES = load_tables()
STATE = Transport(name="folded", width_m=3.0, height_m=3.0, length_m=11.2)
PULLED = machine(wheelbase_m=2.75, hitch_offset_m=0.9, tongue_length_m=5.4, turning_radius_m=5.4)
#: Eastward from 1, to the left at 2, a bend to the right inside the second road, to its end at 5.
NODES = {1: (0, 0), 2: (1, 0), 3: (1, 1), 4: (2, 1), 5: (3, 1), 6: (2, 0)}
ROADS = [
    (12, [1, 2], {"highway": "tertiary", "name": "Mill Road"}),
    (13, [2, 3, 4, 5], {"highway": "unclassified"}),
    (14, [2, 6], {"highway": "tertiary"}),
]


class Way:
    def __init__(
        self, folder, low, high, gates=(), trials=None, state=STATE, train=PULLED, back=False
    ):
        self.data = district(folder, NODES, ROADS)
        self.net = turn_net(self.data)
        ids = self.data.edges["leg_id"].tolist()
        ends = OnLeg(ids.index("12-0"), 0.1), OnLeg(ids.index("13-0"), 0.9)
        ends = ends[::-1] if back else ends
        self.way = find_way(self.net, free_costs(self.net, len(self.data.nodes)), *ends)
        legs = np.ones(2 * len(ids))
        self.widths = Widths(legs * low, legs * high)
        self.trains = trains_of(train, state, tables=TABLES)
        self.verdict = turn_check(
            self.data, self.net, *self.widths, train, state, tables=TABLES, trials=trials
        )
        self.corners = corners_on(
            self.data,
            self.net,
            self.way,
            widths=self.widths,
            trains=self.trains,
            tables=TABLES,
            trials=trials,
            gates=gates,
        )


def test_by_hand_a_corner_and_a_bend_in_driving_order(tmp_path):
    """A quarter to the left at node 2, a quarter to the right inside the road after it."""
    corner, bend = Way(tmp_path, 5.0, 8.0).corners
    assert (corner.place, bend.place) == ("node/2", "leg/13-0")
    assert corner.where == "from Mill Road into unclassified (way 13)"
    assert bend.where == "bend of unclassified (way 13)"
    assert (corner.deflection_deg, bend.deflection_deg) == pytest.approx((-90, 90), abs=1)
    assert (corner.lon, corner.lat) == pytest.approx(spot(1, 0), abs=1e-6)
    assert (bend.lon, bend.lat) == pytest.approx(spot(1, 1), abs=1e-6)
    assert (corner.low_m, corner.high_m) == pytest.approx((5.0, 8.0))
    assert (bend.low_m, bend.high_m) == pytest.approx((5.0, 8.0))
    assert corner.need_m < bend.need_m  # a mouth is rounded, a bend is taken for sharp


def test_by_hand_the_way_back_has_the_same_places_turned_about(tmp_path):
    """The bend lies a quarter along its leg: on the way back it is still there, to the left."""
    bend, corner = Way(tmp_path, 9.0, 12.0, back=True).corners
    assert (bend.place, corner.place) == ("leg/13-0", "node/2")
    assert (bend.lon, bend.lat) == pytest.approx(spot(1, 1), abs=1e-6)
    assert (bend.deflection_deg, corner.deflection_deg) == pytest.approx((-90, 90), abs=1)
    assert bend.path[0][0] > 10
    assert bend.path[-1][1] < -10


@pytest.mark.parametrize(
    ("low", "high", "level"), [(3.2, 3.3, "stop"), (5, 8, "unknown"), (20, 20, "ok")]
)
def test_by_hand_level_and_reason_are_those_of_the_check(tmp_path, low, high, level):
    one = Way(tmp_path, low, high)
    (row,) = one.way.turns
    worst = max(LEVEL_OF.index(corner.level) for corner in one.corners)
    assert one.verdict.level[row] == worst
    assert {corner.level for corner in one.corners} == {level}
    assert one.corners[0].why in one.verdict.reasons


def test_by_hand_the_drawing_lies_the_way_the_roads_run(tmp_path):
    """In from the west, out to the north: the lanes and the path say so, and hold the crossing."""
    corner, bend = Way(tmp_path, 9.0, 12.0).corners
    assert corner.path[0][0] < -10 < 10 < corner.path[-1][1]
    assert bend.path[0][1] < -10 < 10 < bend.path[-1][0]
    for one in (corner, bend):
        lane, wide, swept = (shapely.Polygon(it) for it in (one.lane_low, one.lane_high, one.swept))
        assert lane.contains(shapely.Point(0, 0))
        assert wide.buffer(0.02).contains(lane)
        near = shapely.Point(0, 0).buffer(14)
        assert lane.contains(swept.intersection(near))
        assert swept.buffer(0.05).contains(shapely.LineString(one.path))


def test_by_hand_a_corner_that_does_not_fit_sticks_out_of_its_lane(tmp_path):
    corner = Way(tmp_path, 4.0, 4.0).corners[0]
    lane, swept = shapely.Polygon(corner.lane_low), shapely.Polygon(corner.swept)
    near = shapely.Point(0, 0).buffer(12)
    assert swept.intersection(near).difference(lane).area > 1.0


def test_by_hand_a_trial_drive_settles_the_corner_it_names(tmp_path):
    corner, bend = Way(tmp_path, 5.0, 8.0, trials={("12-0", "13-0"): 1.0}).corners
    assert (corner.level, bend.level) == ("ok", "unknown")
    corner, bend = Way(tmp_path, 5.0, 8.0, trials={("13-0", "13-0"): 0.0}).corners
    assert (corner.level, bend.level) == ("unknown", "stop")


@pytest.mark.parametrize("lost", ["length_m", "width_m"])
def test_property_what_is_not_known_leaves_every_corner_unknown(tmp_path, lost):
    corners = Way(tmp_path, 20.0, 20.0, state=STATE.model_copy(update={lost: None})).corners
    assert [one.level for one in corners] == ["unknown", "unknown"]
    assert all("transport" in one.why for one in corners)
    for one in Way(tmp_path, math.nan, math.nan).corners:
        assert one.level == "unknown"
        assert one.lane_low == one.swept == one.path == []
        assert math.isnan(one.low_m)


def gate_beside(folder, metres, width, *, leaving):
    """A gate beside the first road (south of it) or at the end of the last one."""
    column, row = (0.1, 0) if leaving else (2.9, 1)
    lon, lat = spot(column, row)
    return GateAt("G1", width, lon, lat - metres / 111_200, leaving)


@pytest.mark.parametrize(
    ("width", "level"), [(20.0, "ok"), (4.0, "unknown"), (math.nan, "unknown")]
)
def test_by_hand_a_gate_beside_the_road_is_a_square_corner(tmp_path, width, level):
    """Out of a gate south of an eastward road: north, then a quarter to the right."""
    gate = gate_beside(tmp_path, 12.0, width, leaving=True)
    first = Way(tmp_path, 9.0, 9.0, gates=[gate]).corners[0]
    assert (first.place, first.where, first.level) == ("gate/G1", "gate G1", level)
    assert first.deflection_deg == pytest.approx(90, abs=1)
    assert (first.lon, first.lat) == pytest.approx((gate.lon, gate.lat))
    gate = gate_beside(tmp_path, 12.0, width, leaving=False)
    last = Way(tmp_path, 9.0, 9.0, gates=[gate]).corners[-1]
    assert (last.place, last.level) == ("gate/G1", level)
    assert last.deflection_deg == pytest.approx(90, abs=1)


def test_by_hand_a_gate_too_narrow_for_the_machine_is_refused(tmp_path):
    gate = gate_beside(tmp_path, 12.0, 2.8, leaving=False)
    assert Way(tmp_path, 9.0, 9.0, gates=[gate]).corners[-1].level == "stop"


def test_by_hand_a_gate_on_the_road_is_taken_for_a_square_turn(tmp_path):
    """The map does not show which way it lies."""
    gate = gate_beside(tmp_path, 1.0, 6.0, leaving=False)
    last = Way(tmp_path, 9.0, 9.0, gates=[gate]).corners[-1]
    assert abs(last.deflection_deg) == TABLES.number("turning.gate_deg")


def test_by_hand_a_gate_straight_on_at_the_end_of_a_road_is_no_corner(tmp_path):
    """East of the end of the last road, which runs east; its opening is the gate's own check."""
    lon, lat = spot(3.2, 1)
    ahead = GateAt("G1", math.nan, lon, lat, leaving=False)
    assert [one.place for one in Way(tmp_path, 9.0, 9.0, gates=[ahead]).corners] == [
        "node/2",
        "leg/13-0",
    ]


def test_property_a_wider_gate_is_never_worse(tmp_path):
    levels = []
    for width in np.arange(2.0, 16.0, 0.5):
        gate = gate_beside(tmp_path, 12.0, float(width), leaving=True)
        levels.append(LEVEL_OF.index(Way(tmp_path, 8.0, 8.0, gates=[gate]).corners[0].level))
    assert levels == sorted(levels, reverse=True)
    assert set(levels) == {0, 1, 2}


def test_by_hand_findings_for_what_does_not_pass_and_one_for_the_rest(tmp_path):
    corners = Way(tmp_path, 5.0, 8.0, trials={("12-0", "13-0"): 1.0}).corners
    bend, passed = corner_findings(corners, tables=TABLES)
    assert (bend.level, bend.what, bend.where) == ("unknown", "turn", corners[1].where)
    assert (bend.value, bend.unit) == (pytest.approx(5.0), "m")
    assert bend.limit == pytest.approx(corners[1].need_m)
    assert (passed.level, passed.where) == ("ok", f"1 corner, tightest: {corners[0].where}")
    for one in (bend, passed):
        assert one.caution == CAUTION
        assert "own" in one.sources
    assert "trial" in CAUTION
    assert "watching" in CAUTION
    assert "manual" in CAUTION
    assert "safe" not in CAUTION.lower()


def test_by_hand_only_so_many_corners_are_drawn_the_worst_first(tmp_path):
    """A road of 50 bends in 50 legs: the 40 worst have outlines."""
    count = 50
    nodes = {one: (one * 0.5, 0.25 * (one % 2)) for one in range(count + 2)}
    ways = [
        (100 + one, [one, one + 1], {"highway": "tertiary" if one % 2 else "track"})
        for one in range(count + 1)
    ]
    data = district(tmp_path, nodes, ways)
    net = turn_net(data)
    ids = data.edges["leg_id"].tolist()
    ends = OnLeg(ids.index("100-0"), 0.1), OnLeg(ids.index(f"{100 + count}-0"), 0.9)
    way = find_way(net, free_costs(net, len(data.nodes)), *ends)
    legs = np.linspace(4.0, 9.0, 2 * len(ids))
    found = corners_on(
        data,
        net,
        way,
        widths=Widths(legs, legs),
        trains=trains_of(PULLED, STATE, tables=TABLES),
        tables=TABLES,
    )
    assert len(found) == count
    drawn = [bool(one.swept) for one in found]
    assert sum(drawn) == MOST_DRAWN
    room = [one.low_m - one.need_m for one in found]
    assert max(it for it, yes in zip(room, drawn, strict=True) if yes) <= min(
        it for it, yes in zip(room, drawn, strict=True) if not yes
    )
    x, _ = transformer(WGS84, data.crs).transform([one.lon for one in found], [0] * count)
    assert sorted(x) == list(x)
