"""Steps on real ground with an invented machine; skipped where the district is absent."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from pyproj import CRS
from small_roads import machine

from fieldmap.crs import WGS84, transformer
from fieldmap.finding import rank
from fieldmap.read.roads import read_roads
from fieldmap.roads.move import plan
from fieldmap.roads.steps import steps
from fieldmap.tables import load_tables

FILE = Path(__file__).parents[2] / ".." / "shared" / "data" / "bayreuth" / "bayreuth.osm.pbf"
pytestmark = [
    pytest.mark.real_ground,
    pytest.mark.skipif(not FILE.is_file(), reason="the district is not here"),
]


def test_property_twelve_moves_as_steps():
    """Every leg is in one step, in order; metres add up; no step is better than its legs."""
    tables, data = load_tables(), read_roads(FILE, crs=CRS.from_epsg(32632))
    rng = random.Random(7)  # noqa: S311
    usable = data.edges[~data.edges["highway"].str.startswith("motorway")]
    back = transformer(data.crs, WGS84)
    told = 0
    for _ in range(12):
        ends = [
            back.transform(*usable.geometry.iloc[rng.randrange(len(usable))].coords[0][:2])
            for _ in range(2)
        ]
        move = plan(data, None, machine(), state=None, start=ends[0], goal=ends[1], tables=tables)
        held = steps(move, data, tables=tables)
        if not held:
            assert move.legs.geometry.length.sum() < 1.0
            continue
        told += 1
        assert [row for one in held for row in range(*one.legs)] == list(range(len(move.legs)))
        whole_m = move.legs.geometry.length.sum()
        assert sum(one.length_m for one in held) == pytest.approx(whole_m)
        for one in held:
            levels = move.legs["level"].iloc[slice(*one.legs)]
            assert all(rank(one.level) >= rank(level) for level in levels)
            at = [met.at_m for met in one.met]
            assert at == sorted(at)
            assert all(one.from_m - 1.1 <= spot <= one.from_m + one.length_m + 0.01 for spot in at)
        assert held[0].words.startswith("From start go ")
        assert held[-1].words == "Arrive at goal"
        assert len(held) <= len(move.legs) + 1
    assert told >= 8
