"""The elevation under a farm's roads, joined: grades of its legs, and what a way comes to."""

from __future__ import annotations

import dataclasses
import math
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from affine import Affine
from pyproj import CRS, Geod
from small_roads import UTM, district, machine, spot

from fieldmap.crs import WGS84, transformer
from fieldmap.farm import load_farm
from fieldmap.grid import Grid
from fieldmap.journey import plan_move
from fieldmap.read.elevation import ElevationFile
from fieldmap.read.roads import read_roads
from fieldmap.road_ground import (
    along_the_way,
    lie_findings,
    lie_of,
    off_the_ground,
    road_lie,
)
from fieldmap.roads.checks import ground_of
from fieldmap.roads.grades import grade_check, inclines_on, no_grades, untold
from fieldmap.roads.profile import Reading
from fieldmap.roads.verdict import LEVEL_OF
from fieldmap.tables import load_tables

ROOT = Path(__file__).parents[2]
DISTRICT = ROOT / ".." / "shared" / "data" / "bayreuth"
EXACT = Reading(error_m=0.0, cell_m=10.0, base_m=50.0, step_m=25.0, line_off_m=0.0)


def slope_east(percent):
    """Heights that climb to the east, over the invented squares of small_roads."""
    x, y = transformer(WGS84, UTM).transform(*spot(0, 0))
    columns = np.arange(200) * 10.0 - 500.0
    values = np.tile(np.float32(percent / 100.0 * columns), (200, 1))
    return Grid(values, Affine(10, 0, x - 505.0, 0, -10, y + 1000.0), UTM, "m", "elevation")


def test_by_hand_one_entry_a_directed_leg_along_then_against(tmp_path):
    """By hand: a road to the east up a slope of 6 %, and one to the north along it."""
    data = district(
        tmp_path,
        {1: (0, 0), 2: (2, 0), 3: (2, 2)},
        [(7, [1, 2], {"highway": "track"}), (8, [2, 3], {"highway": "track"})],
    )
    found = lie_of(data, slope_east(6.0), EXACT)
    rows = {way: row for row, way in enumerate(data.edges["way_id"])}
    assert found.high_pct[2 * rows[7] : 2 * rows[7] + 2] == pytest.approx([-6.0, 6.0], abs=0.02)
    # 2.5 degrees east of the zone's middle grid north lies 2.5 sin 50 degrees off true north
    off = 6.0 * math.tan(math.radians(2.504 * math.sin(math.radians(50.0))))
    assert abs(found.high_pct[2 * rows[8]]) == pytest.approx(off, abs=0.003)


def test_referee_a_grade_is_taken_over_metres_on_the_ground(tmp_path):
    """Referee: the geodesic length of the leg (pyproj's Geod), not that of the projection."""
    data = district(tmp_path, {1: (0, 0), 2: (3, 0)}, [(7, [1, 2], {"highway": "track"})])
    (lon, lat), (lon2, lat2) = spot(0, 0), spot(3, 0)
    metres = Geod(ellps="WGS84").inv(lon, lat, lon2, lat2)[2]
    line = data.edges.geometry.iloc[0]
    rise = 0.06 * (line.coords[-1][0] - line.coords[0][0])
    reading = dataclasses.replace(EXACT, base_m=400.0, step_m=400.0)
    found = lie_of(data, slope_east(6.0), reading)
    assert found.high_pct[1] == pytest.approx(100.0 * rise / metres, rel=1e-4)


def test_by_hand_a_bridge_of_several_legs_has_no_ground_in_its_middle(tmp_path):
    """By hand: three legs on one bridge; the middle one begins and ends in the air."""
    data = district(
        tmp_path,
        {one: (one, 0) for one in range(6)},
        [
            (7, [0, 1], {"highway": "track"}),
            (8, [1, 2, 3, 4], {"highway": "track", "bridge": "yes"}),
            (9, [4, 5], {"highway": "track"}),
        ],
        node_tags={2: {"barrier": "gate"}, 3: {"barrier": "gate"}},
    )
    found = lie_of(data, slope_east(6.0), EXACT)
    known = np.isfinite(found.high_pct).reshape(-1, 2).all(axis=1)
    assert dict(zip(data.edges["leg_id"], known, strict=True)) == {
        "7-0": True, "8-0": False, "8-1": False, "8-2": False, "9-0": True,
    }  # fmt: skip


def test_by_hand_what_lies_off_the_ground():
    tags = [{"bridge": "viaduct"}, {"tunnel": "yes"}, {"bridge": "no"}, {"embankment": "yes"}, {}]
    assert off_the_ground(tags).tolist() == [True, True, False, False, False]


@pytest.fixture(scope="module")
def farm():
    return load_farm(ROOT / "demo_geodata")


@pytest.fixture(scope="module")
def lie(farm):
    return road_lie(farm)


def without(farm, **files):
    held = farm.settings.model_copy(update={"files": farm.settings.files.model_copy(update=files)})
    return dataclasses.replace(farm, settings=held)


def test_by_hand_a_farm_without_elevation_or_roads_has_no_lie(farm):
    assert road_lie(dataclasses.replace(farm, elevation=None)) is None
    assert road_lie(dataclasses.replace(farm, roads=None)) is None


def test_property_removing_what_is_known_of_the_heights_never_lets_a_leg_through(farm, lie):
    """Property: no elevation, no error, a larger error: no level of any machine gets better."""
    nobody = road_lie(without(farm, elevation_product=None))
    rough = road_lie(without(farm, elevation_product=None, elevation_error_m=3.0))
    assert math.isnan(nobody.reading.error_m)
    places = ground_of(farm.roads).legs
    bands = [(one.grade_low_pct, one.grade_high_pct) for one in (lie, rough, nobody)]
    bands.append(no_grades(len(places.row)))
    for one in farm.machines:
        held = [
            grade_check(*band, one, tables=farm.tables, mapped=inclines_on(places))
            for band in bands
        ]
        assert (held[1].level >= np.minimum(held[0].level, 1)).all()
        assert set(held[2].level.tolist()) == set(held[3].level.tolist()) == {1}
        assert untold(held[2]).all()
        assert untold(held[3]).all()
        assert 0 in held[0].level


def test_by_hand_what_a_way_comes_to(farm, lie):
    one = farm.machine("rear-3")
    move = plan_move(farm, start="home", goal="S5", machine_id="rear-3")
    found = along_the_way(farm, lie, move, one)
    assert {told.what for told in found.findings} == {
        "meeting traffic", "sight along the way", "braking downhill", "being seen",
    }  # fmt: skip
    chainage = found.profile["chainage_m"]
    assert chainage[-1] == pytest.approx(move.length_m, abs=0.2)
    assert len(found.profile["height_m"]) == len(found.profile["grade_pct"]) == len(chainage)
    assert max(run["to_m"] for run in found.meeting["runs"]) <= move.length_m + 0.1
    for spot_ in (*found.meeting["runs"], *found.meeting["pull_ins"], *found.meeting["sight"]):
        assert -93.1 < spot_["lon"] < -92.8
        assert 40.5 < spot_["lat"] < 40.7
    bare = along_the_way(farm, None, move, one)
    assert bare.profile is None
    assert "unknown" in {told.level for told in bare.findings}


@pytest.mark.parametrize(
    ("lie_of_it", "high", "level", "says"),
    [
        (None, math.nan, "unknown", "No elevation"),
        ("there", math.nan, "unknown", "The heights are too rough"),
        ("there", 5.0, "ok", None),
    ],
)
def test_by_hand_what_the_heights_leave_unknown_is_one_finding(
    farm, lie, lie_of_it, high, level, says
):
    legs = pd.DataFrame(
        {
            "length_m": [100.0, 50.0],
            "grade": [level] * 2,
            "grade_high_pct": [high] * 2,
            "grade_why": ["The heights are too rough"] * 2,
        }
    )
    told = lie_findings(lie if lie_of_it else None, legs, tables=farm.tables)
    assert [one.level for one in told] == ([] if says is None else ["unknown"])
    assert all(says in one.why and one.value == 150.0 for one in told)
    assert lie_findings(None, legs.iloc[:0], tables=farm.tables) == []
    unlooked = lie_findings(None, legs[["length_m"]], tables=farm.tables)
    assert [one.level for one in unlooked] == ["unknown"]


@pytest.mark.real_ground
@pytest.mark.skipif(not DISTRICT.is_dir(), reason="the district is not here")
def test_property_real_hills_and_a_district_of_legs_in_about_a_second():
    data = read_roads(DISTRICT / "bayreuth.osm.pbf", crs=CRS.from_epsg(32632))
    with ElevationFile(DISTRICT / "bayreuth_srtm3_utm32_30m.tif", unit="m") as file:
        grid = file.thinned(tuple(data.edges.total_bounds), most_cells=10**7)
    good = Reading(error_m=0.5, cell_m=30.0, base_m=50.0, step_m=25.0, line_off_m=3.0)
    found = lie_of(data, grid, good)
    known = np.isfinite(found.high_pct)
    assert known.mean() > 0.98
    assert (found.low_pct[known] <= found.high_pct[known]).all()
    # hills, and no cliffs: of the middle of the bands
    middle = (found.low_pct + found.high_pct)[known] / 2.0
    assert 8.0 < np.quantile(middle, 0.99) < 30.0
    longer = pd.concat([data.edges] * 15, ignore_index=True)
    begin = time.perf_counter()
    lie_of(dataclasses.replace(data, edges=longer), grid, good)
    assert time.perf_counter() - begin < 10.0  # 47,000 legs; about a second on a quiet machine


@pytest.mark.real_ground
@pytest.mark.skipif(not DISTRICT.is_dir(), reason="the district is not here")
def test_property_a_worldwide_radar_product_tells_no_grade_and_says_so():
    """Property: an error of 9.73 m over 50 m leaves every leg unknown, and no place to measure."""
    data = read_roads(DISTRICT / "bayreuth.osm.pbf", crs=CRS.from_epsg(32632))
    with ElevationFile(DISTRICT / "bayreuth_srtm3_utm32_30m.tif", unit="m") as file:
        grid = file.thinned(tuple(data.edges.total_bounds), most_cells=10**7)
    reading = Reading(error_m=9.73, cell_m=30.0, base_m=50.0, step_m=25.0, line_off_m=3.0)
    found = lie_of(data, grid, reading)
    one = machine(mower_mass_kg=3000.0)
    held = grade_check(found.low_pct, found.high_pct, one, tables=load_tables())
    assert {LEVEL_OF[code] for code in np.unique(held.level)} == {"unknown"}
    assert untold(held).all()
