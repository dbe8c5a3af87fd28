"""A planned search: what is left to look at, the walk that looks at it, and what it keeps off."""

from __future__ import annotations

import dataclasses
import json
import math
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldmap.errors import MisuseError
from fieldmap.farm import Farm, load_farm
from fieldmap.hazards.chance import coverage_for, sweep_width_m
from fieldmap.hazards.looked import field_looking, looking
from fieldmap.search import FieldSearch, plan_search

DAY = date(2026, 6, 9)
UTM = "EPSG:32615"
WEST, SOUTH = 500_000.0, 4_500_000.0
BOX = shapely.box(0, 0, 100, 60)
ELL = shapely.Polygon([(0, 0), (160, 0), (160, 50), (50, 50), (50, 140), (0, 140)])
POND = shapely.difference(shapely.box(0, 0, 120, 120), shapely.box(50, 50, 75, 80))


def put(shape: shapely.Geometry) -> shapely.Geometry:
    return shapely.affinity.translate(shape, WEST, SOUTH)


@pytest.fixture(scope="module")
def bare(tmp_path_factory: pytest.TempPathFactory) -> Farm:
    """A farm of one field of 100 x 60 m, its corner in the south-west; nothing else is known."""
    folder = tmp_path_factory.mktemp("farm")
    fields = gpd.GeoDataFrame({"field_id": ["A"]}, geometry=[put(BOX)], crs=UTM)
    fields.to_file(folder / "fields.gpkg")
    words = f'name = "Small"\nunits = "metric"\ntime_zone = "UTC"\ncrs = "{UTM}"\n[files]\n'
    (folder / "farm.toml").write_text(words + 'fields = "fields.gpkg"\nhazards = "log.gpkg"\n')
    return load_farm(folder)


def with_field(farm: Farm, shape: shapely.Geometry, *, sward_m: float = math.nan) -> Farm:
    fields = farm.fields.assign(geometry=[put(shape)], sward_m=[sward_m])
    return dataclasses.replace(farm, fields=fields)


def with_gate(farm: Farm, x: float, y: float) -> Farm:
    gates = gpd.GeoDataFrame(
        {"gate_id": ["G"], "field_id": ["A"], "width_m": [4.0]},
        geometry=[put(shapely.Point(x, y))],
        crs=UTM,
    )
    return dataclasses.replace(farm, gates=gates)


def with_walks(farm: Farm, *lines: shapely.LineString, days_ago: int = 1) -> Farm:
    """The lines as tracks: a fix every 5 m, in the farm's own system."""
    begun = datetime(2026, 6, 9, 8, tzinfo=UTC) - timedelta(days=days_ago)
    tracks = gpd.GeoDataFrame(
        {
            "file": "walk.gpx",
            "started": pd.Series([begun] * len(lines), dtype="datetime64[us, UTC]"),
        },
        geometry=list(shapely.segmentize(np.array(lines, dtype=object), 5.0)),
        crs=UTM,
    )
    return dataclasses.replace(farm, tracks=tracks)


def with_mark(farm: Farm, kind: str, x: float, y: float, *, radius_m: float = math.nan) -> Farm:
    marks = gpd.GeoDataFrame(
        {"hazard_id": ["H1"], "kind": [kind], "note": [""], "height_m": [math.nan],
         "radius_m": [radius_m]},
        geometry=[put(shapely.Point(x, y))],
        crs=UTM,
    )  # fmt: skip
    return dataclasses.replace(farm, hazards=marks)


def planned(farm: Farm, **asked: object) -> FieldSearch:
    return plan_search(farm, **{"day": DAY} | asked).fields[0]


def mean_chance(farm: Farm, found: FieldSearch, ground: shapely.Geometry) -> float:
    """Mean chance on the ground by the farm's tracks, asked of the looking itself."""
    evening = datetime(2026, 6, 9, 23, 59, tzinfo=UTC)
    seen = looking(farm.tracks, farm.flood, day=evening, tables=farm.tables)
    known = field_looking(farm.fields.geometry.iloc[0], seen)
    here = shapely.intersects_xy(ground, known.cells.x, known.cells.y)
    return float(known.chance(found.wanted.sweep_m)[here].mean())


def test_a_field_nobody_walked(bare: Farm) -> None:
    """By hand: stones in short grass have a sweep width of 8 m, 90 % asks for a coverage of
    2.3026, so 3.47 m: eighteen lines of 100 m over 60 m, and 17 turns of 3.33 m."""
    farm = with_gate(with_field(bare, BOX, sward_m=0.05), 0, 0)
    found = planned(farm, kind="stone", chance=0.9)
    facts = found.facts()
    assert (facts["level"], facts["done_share"], facts["chance_now"]) == ("unknown", 0.0, 0.0)
    assert facts["left_ha"] == pytest.approx(0.6)
    assert facts["spacing_m"] == pytest.approx(8 / coverage_for(0.9), abs=0.005)
    assert (facts["line_count"], facts["lines_m"]) == (18, 1800.0)
    assert facts["joins_m"] == pytest.approx(17 * 60 / 18 + 60 / 36, abs=0.1)
    assert facts["minutes"] == pytest.approx((1800 + 58.3) / 4000 * 60, abs=0.1)
    assert (facts["gate"], facts["crossings"], facts["avoided"]) == ("G", 0, "")
    assert found.why.startswith("0.60 ha of 0.60 ha still to be looked at for stone (90% wished).")


def test_unless_told_the_hardest_kind_and_the_tables_chance(bare: Farm) -> None:
    """By hand: the smallest sweep width of the kinds looked for, tall where nobody gave a
    height; the farm's own plan chance wins."""
    tables = bare.tables
    widths = [
        sweep_width_m(row.key.split(".")[1], None, tables)
        for row in tables.rows("hazard_kinds")
        if row.words["looked_for"] == "yes"
    ]
    found = planned(bare)
    assert found.wanted.sweep_m == min(widths)
    assert found.wanted.chance == tables.number("looking.plan_chance")
    assert "is taken as tall" in found.why
    own = tables.with_overrides({"looking.plan_chance": 0.5})
    assert planned(dataclasses.replace(bare, tables=own)).wanted.chance == 0.5


@pytest.mark.parametrize("shape", [BOX, ELL, POND, shapely.box(0, 0, 90, 4)])
@pytest.mark.parametrize("chance", [0.5, 0.9, 0.99, 0.999])
def test_once_walked_the_wish_is_met(bare: Farm, shape: shapely.Geometry, chance: float) -> None:
    """Property: the planned lines walked and read back as tracks: the mean chance on the ground
    is at least the wish, and the next plan has little left."""
    farm = with_field(bare, shape, sward_m=0.05)
    found = planned(farm, kind="stone", chance=chance)
    walked = with_walks(farm, *found.walk.lines)
    assert mean_chance(walked, found, found.left.ground) >= chance
    assert found.chance_after >= chance
    again = planned(walked, kind="stone", chance=chance)
    assert again.left.ground.area <= 0.1 * found.left.ground.area
    assert again.walk.lines_m <= 0.1 * found.walk.lines_m


def test_ground_that_was_walked_is_not_walked_again(bare: Farm) -> None:
    """By hand: the west half is done: about the east half is left, at the full spacing."""
    farm = with_field(bare, shapely.box(0, 0, 200, 60), sward_m=0.05)
    west = planned(with_field(bare, BOX, sward_m=0.05), kind="stone")
    found = planned(with_walks(farm, *west.walk.lines), kind="stone")
    assert found.left.ground.area == pytest.approx(6000, rel=0.1)
    assert found.left.ground.centroid.x > WEST + 145
    assert found.facts()["spacing_m"] == pytest.approx(8 / coverage_for(0.9), rel=0.06)
    assert found.done_share == pytest.approx(0.5, abs=0.05)


def test_ground_half_looked_at_is_walked_on_wider_lines(bare: Farm) -> None:
    """By hand: the west walked for one half: its lines are wider than those of the east, and no
    wider than the sweep width."""
    farm = with_field(bare, shapely.box(0, 0, 300, 100), sward_m=0.05)
    west = shapely.linestrings(
        [[(WEST, SOUTH + y), (WEST + 150, SOUTH + y)] for y in np.arange(6, 100, 12)]
    )
    found = planned(with_walks(farm, *west), kind="stone")
    fresh, again = found.laid
    assert fresh.spacing_m == pytest.approx(8 / coverage_for(0.9))
    assert fresh.spacing_m < again.spacing_m <= 8
    assert again.ground.centroid.x < fresh.ground.centroid.x
    assert min(one.chance_after for one in found.laid) >= 0.9


def test_a_walk_before_the_water_does_not_count(bare: Farm) -> None:
    """By hand: all walked five days ago, flooded three days ago: all of it is left again."""
    farm = with_field(bare, BOX, sward_m=0.05)
    walked = with_walks(farm, *planned(farm, kind="stone").walk.lines, days_ago=5)
    assert planned(walked, kind="stone").level == "ok"
    dates = pd.Series([datetime(2026, 6, 6, tzinfo=UTC)], dtype="datetime64[us, UTC]")
    water = gpd.GeoDataFrame({"date": dates}, geometry=[put(BOX)], crs=UTM)
    found = planned(dataclasses.replace(walked, flood=water), kind="stone")
    assert found.left.ground.area == pytest.approx(6000)


def test_no_line_comes_near_what_people_must_keep_away_from(bare: Farm) -> None:
    """By hand: a line down in the middle of 300 x 200 m: nothing of the walk within the stand-off
    and the position's radius; that ground stays unknown, and the mark is named with its words."""
    tables = bare.tables
    keep_m = tables.number("looking.position_radius_m") + tables.number("looking.stand_off_m")
    farm = with_gate(with_field(bare, shapely.box(0, 0, 300, 200), sward_m=0.05), 0, 0)
    found = planned(with_mark(farm, "line_down", 150, 100), kind="stone", walkers=2)
    mark = put(shapely.Point(150, 100))
    ways = np.array([*found.walk.parts, found.walk.line, *found.walk.lines], dtype=object)
    assert shapely.distance(ways, mark).min() >= keep_m - 0.001
    assert found.walk.crossings == 0
    assert found.left.kept_off_m2 == pytest.approx(math.pi * keep_m**2, rel=0.02)
    assert (found.facts()["avoided"], found.level) == ("H1", "unknown")
    words = tables["hazard_kinds.line_down"].words
    assert found.avoided["caution"].tolist() == [words["caution"]]
    assert "must keep away from" in found.why
    far = planned(with_mark(farm, "line_down", 150, 100, radius_m=60), kind="stone")
    assert far.avoided["keep_m"].tolist() == [60 + tables.number("looking.stand_off_m")]


def test_where_nothing_may_be_walked_the_plan_says_so(bare: Farm) -> None:
    """By hand: a drum that lies within 100 m leaves nothing; a stone keeps nobody away."""
    found = planned(with_mark(with_gate(bare, 0, 0), "drum", 50, 30, radius_m=100), walkers=2)
    assert (found.laid, found.walk.parts, found.level) == ((), (), "unknown")
    assert "must not be walked on" in found.why
    assert found.facts()["minutes"] == 0.0
    assert planned(with_mark(bare, "stone", 50, 30, radius_m=100)).left.kept_off_m2 == 0.0


def test_a_gate_that_may_not_be_walked_at_is_told(bare: Farm) -> None:
    """By hand: a line down 10 m from the gate: the walk starts where the kept-off ground ends."""
    farm = with_mark(
        with_gate(with_field(bare, shapely.box(0, 0, 300, 200)), 0, 0), "line_down", 10, 0
    )
    found = planned(farm, kind="drum")
    assert found.start_off_m == pytest.approx(40.19, abs=10.2)
    assert found.start_off_m > 30
    assert "The first place that may be walked on" in found.why


def test_without_a_gate_the_walk_starts_at_the_edge_and_says_so(bare: Farm) -> None:
    """By hand: another field's gate is not this one's."""
    found = planned(bare, kind="drum")
    assert (found.gate, found.start_off_m) == ("", 0.0)
    edge = shapely.boundary(bare.fields.geometry.iloc[0])
    assert shapely.distance(edge, shapely.Point(found.walk.start_xy)) < 0.001
    assert "No gate is known" in found.why


def test_pieces_that_cannot_be_reached_are_counted(bare: Farm) -> None:
    """By hand: a field in two pieces with 40 m between."""
    two = shapely.union(shapely.box(0, 0, 100, 60), shapely.box(140, 0, 240, 60))
    found = planned(with_gate(with_field(bare, two), 0, 0), kind="drum")
    assert found.walk.crossings == 1
    assert "1 of the ways leave the ground" in found.why


def test_more_walkers_take_less_time(bare: Farm) -> None:
    """By hand: three share the lines; each comes from the gate, so it is more than a third."""
    farm = with_gate(bare, 0, 0)
    one, three = (planned(farm, walkers=number).walk for number in (1, 3))
    assert len(three.parts) == 3
    assert one.minutes / 3 < three.minutes < one.minutes / 2


def test_a_kind_that_hides_is_planned_for_with_a_word(bare: Farm) -> None:
    """By hand: wire is not looked for: nobody can be expected to see it."""
    assert "cannot be expected to see" in planned(bare, kind="loose_wire").why
    assert "cannot be expected" not in planned(bare, kind="stone").why


def test_everything_wrong_is_told_at_once(bare: Farm) -> None:
    """By hand: two fields, a kind, a chance and the walkers."""
    with pytest.raises(MisuseError) as caught:
        plan_search(bare, day=DAY, chance=1.0, kind="bears", field_ids=["A", "B", "C"], walkers=0)
    assert [fault.value for fault in caught.value.faults] == ["B", "C", "bears", "1", "0"]
    for chance in (0.0, -0.5, 0.9999, math.nan):
        with pytest.raises(MisuseError, match="chance"):
            plan_search(bare, day=DAY, chance=chance)
    assert len(plan_search(bare, day=DAY, chance=0.999, kind="drum").fields) == 1


def test_the_same_farm_gives_the_same_plan(bare: Farm) -> None:
    """Property: twice the same, figures and shapes."""
    farm = with_gate(with_field(bare, ELL), 0, 0)
    one, two = (planned(farm, walkers=2) for _ in range(2))
    assert json.dumps(one.facts()) == json.dumps(two.facts())
    assert shapely.equals_exact(one.walk.line, two.walk.line)


tracks = st.lists(
    st.tuples(st.integers(0, 100), st.integers(0, 60), st.integers(0, 100), st.integers(0, 60)),
    min_size=1,
    max_size=6,
).map(lambda made: [one for one in made if one[:2] != one[2:]])


@settings(max_examples=40)
@given(made=tracks, kept=st.integers(0, 5), radius_m=st.floats(1, 30))
def test_less_known_never_leaves_less_to_do(
    bare: Farm, made: list[tuple[int, int, int, int]], kept: int, radius_m: float
) -> None:
    """Property: without some of the walks no more is done; the rest of the ground is all
    accounted for: done, left, a sliver, or kept off; the wish is met, or it is told."""
    walks = [put(shapely.LineString([one[:2], one[2:]])) for one in made]
    farm = with_mark(bare, "drum", 50, 30, radius_m=radius_m)
    more = planned(with_walks(farm, *walks), kind="stone")
    less = planned(with_walks(farm, *walks[:kept]), kind="stone")
    assert less.done_share <= more.done_share
    assert less.chance_now <= more.chance_now + 1e-12
    for found in (more, less):
        told_m2 = found.left.ground.area + found.left.slivers_m2 + found.left.kept_off_m2
        assert told_m2 >= (1 - found.done_share) * 6000 - 1
        if found.laid:  # ground narrower than a cell may fall short, and then it is told
            reached = found.chance_after >= found.wanted.chance
            assert reached or "That gives only" in found.why


def test_a_plan_rests_on_no_file(bare: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    """Property: the farm is in memory; planning opens nothing."""

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError

    monkeypatch.setattr(Path, "open", refuse)
    monkeypatch.setattr("builtins.open", refuse)
    assert planned(bare, kind="drum").walk.length_m > 0
