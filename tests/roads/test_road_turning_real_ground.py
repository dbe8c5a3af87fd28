"""Corners of real roads with an invented train; skipped where the district is absent."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
from pyproj import CRS
from small_roads import machine

from fieldmap.machine import Transport
from fieldmap.read.roads import read_roads
from fieldmap.roads.choose import free_costs
from fieldmap.roads.corner_shape import MOST_POINTS
from fieldmap.roads.corner_told import MOST_DRAWN, corners_on
from fieldmap.roads.deflections import rows_of
from fieldmap.roads.search import OnLeg, find_way
from fieldmap.roads.train import trains_of
from fieldmap.roads.turn_check import Widths, turn_check
from fieldmap.roads.turns import turn_net
from fieldmap.roads.verdict import FAIL, LEVEL_OF, PASS
from fieldmap.tables import load_tables

FILE = Path(__file__).parents[2] / ".." / "shared" / "data" / "bayreuth" / "bayreuth.osm.pbf"
pytestmark = [
    pytest.mark.real_ground,
    pytest.mark.skipif(not FILE.is_file(), reason="the district is not here"),
]
TABLES = load_tables()
STATE = Transport(name="folded", width_m=3.0, height_m=3.0, length_m=11.2)
TRAIN = machine(wheelbase_m=2.75, hitch_offset_m=0.9, tongue_length_m=5.4, turning_radius_m=5.4)


@pytest.fixture(scope="module", name="ground")
def _ground():
    data = read_roads(FILE, crs=CRS.from_epsg(32632))
    return data, turn_net(data)


def test_property_a_corner_turns_as_much_there_as_back(ground):
    data, net = ground
    rows = rows_of(data, net, 12.0)
    turned = {
        (int(one), int(other)): deg
        for one, other, deg in zip(rows.before, rows.after, rows.deflection_deg, strict=True)
    }
    back = [(deg, turned.get((other ^ 1, one ^ 1))) for (one, other), deg in turned.items()]
    both = np.array([pair for pair in back if pair[1] is not None])
    assert len(both) > 0.8 * len(turned)
    apart = (both.sum(axis=1) + 180.0) % 360.0 - 180.0
    assert np.abs(apart).max() < 1e-6
    assert 0.05 < (np.abs(both[:, 0]) < 10).mean() < 0.6


def test_property_wider_roads_are_never_worse_and_a_wider_train_never_better(ground):
    data, net = ground
    low = np.random.default_rng(5).uniform(2.5, 9.0, 2 * len(data.edges))
    wide = STATE.model_copy(update={"width_m": 3.9})

    def levels(low, high, state=STATE):
        return turn_check(data, net, low, high, TRAIN, state, tables=TABLES).level

    here = levels(low, low + 0.5)
    assert set(np.unique(here)) == {0, 1, 2}
    assert (levels(low + 1.0, low + 1.5) <= here).all()
    wider = levels(low, low + 0.5, wide)
    assert not ((here == FAIL) & (wider == PASS)).any()
    assert (wider == PASS).sum() < (here == PASS).sum()


def test_property_ways_have_corners_that_can_be_drawn(ground):
    data, net = ground
    rng = np.random.default_rng(11)
    low = rng.uniform(3.5, 9.0, 2 * len(data.edges))
    widths, trains = Widths(low, low + 2.0), trains_of(TRAIN, STATE, tables=TABLES)
    verdict = turn_check(data, net, *widths, TRAIN, STATE, tables=TABLES)
    seen = 0
    for _ in range(6):
        ends = [OnLeg(int(rng.integers(len(data.edges))), 0.5) for _ in range(2)]
        way = find_way(net, free_costs(net, len(data.nodes)), *ends)
        if way is None:
            continue
        found = corners_on(data, net, way, widths=widths, trains=trains, tables=TABLES)
        seen += len(found)
        assert sum(bool(one.swept) for one in found) <= MOST_DRAWN
        named = {one.place: one for one in found}
        assert len(named) <= len(found) <= 2 * len(way.legs)
        worst = max((LEVEL_OF.index(one.level) for one in found), default=0)
        assert worst >= verdict.level[way.turns].max(initial=0)
        for one in found:
            assert abs(one.deflection_deg) >= TABLES.number("turning.straight_deg")
            for line in (one.lane_low, one.lane_high, one.swept):
                assert len(line) <= MOST_POINTS + 1
            assert bool(one.swept) <= (abs(one.deflection_deg) <= 135)
            if one.swept and abs(one.deflection_deg) < 100:
                lane = shapely.Polygon(one.lane_low)
                assert lane.buffer(0.1).contains(shapely.Point(0, 0))
                if one.level == "ok":
                    near = shapely.Polygon(one.swept).intersection(shapely.Point(0, 0).buffer(9))
                    assert near.difference(shapely.make_valid(lane).buffer(0.6)).area < 0.01
    assert seen > 20
