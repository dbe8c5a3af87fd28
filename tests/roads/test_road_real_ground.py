"""Moves on real ground with an invented machine; skipped where the district is absent."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from pyproj import CRS
from small_roads import machine

from fieldmap.crs import WGS84, transformer
from fieldmap.read.roads import read_roads
from fieldmap.roads.move import plan
from fieldmap.tables import load_tables

FILE = Path(__file__).parents[2] / ".." / "shared" / "data" / "bayreuth" / "bayreuth.osm.pbf"
pytestmark = [
    pytest.mark.real_ground,
    pytest.mark.skipif(not FILE.is_file(), reason="the district is not here"),
]


def test_property_thirty_moves_hold_what_they_promise():
    data = read_roads(FILE, crs=CRS.from_epsg(32632))
    rng = random.Random(20261125)  # noqa: S311
    usable = data.edges[~data.edges["highway"].str.startswith("motorway")]
    back = transformer(data.crs, WGS84)
    levels = set()
    for number in range(30):
        ends = [
            usable.geometry.iloc[rng.randrange(len(usable))].interpolate(
                rng.random(), normalized=True
            )
            for _ in range(2)
        ]
        start, goal = (back.transform(one.x, one.y) for one in ends)
        size = 1.2 if number % 3 == 0 else 2.5
        one = machine(
            transport=(
                {"name": "a", "width_m": size, "height_m": 3.0},
                {"name": "b", "width_m": 3.2, "height_m": 3.0},
            )
        )
        found = plan(data, None, one, state=None, start=start, goal=goal, tables=load_tables())
        levels.add(found.level)
        legs = found.legs
        if found.states["a"] == "ok":
            assert set(legs["level"]) == {"ok"}
            assert set(found.nodes["level"]) <= {"ok"}
        elif found.states["a"] == "unknown" and len(legs):
            assert "stop" not in set(legs["level"])
            assert found.survey
        elif len(legs):
            assert found.refusals
        gap = legs.geometry.iloc[1:].reset_index(drop=True)
        for before, after in zip(legs.geometry.iloc[:-1], gap, strict=True):
            assert before.coords[-1] == pytest.approx(after.coords[0], abs=1e-6)
    assert "unknown" in levels
