"""Which walks count where: their age, silent devices, water, and the cells of a field."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldmap.errors import InputError
from fieldmap.hazards import looked as looked_file
from fieldmap.hazards.looked import FieldLooking, field_looking, looking
from fieldmap.tables import load_tables

TABLES = load_tables()
DAY = datetime(2026, 6, 9, 23, 59, tzinfo=UTC)
UTM = 32615
FIELD = shapely.box(0, -30, 200, 30)
WEST_HALF = shapely.box(0, -30, 100, 30)
SWEEP_M = 4.0


def walks(*made: tuple[int, list[tuple[float, float]]]) -> gpd.GeoDataFrame:
    """Lines by how many days before the day they were walked."""
    started = pd.Series([DAY - timedelta(days=ago) for ago, _ in made]).astype(
        "datetime64[us, UTC]"
    )
    lines = [shapely.LineString(points) for _, points in made]
    return gpd.GeoDataFrame({"started": started}, geometry=lines, crs=UTM)


def water(*stood: tuple[int, shapely.Geometry]) -> gpd.GeoDataFrame:
    """Outlines by how many days before the day they stood."""
    dates = pd.Series([DAY - timedelta(days=ago) for ago, _ in stood], dtype="datetime64[us, UTC]")
    return gpd.GeoDataFrame({"date": dates}, geometry=[ground for _, ground in stood], crs=UTM)


def there(
    tracks: gpd.GeoDataFrame, flood: gpd.GeoDataFrame, *, field: shapely.Geometry = FIELD
) -> FieldLooking:
    return field_looking(field, looking(tracks, flood, day=DAY, tables=TABLES))


def near(seen: FieldLooking, x: float, y: float = 0.5) -> float:
    """Chance on the cell at a place."""
    cells = seen.cells
    return float(seen.chance(SWEEP_M)[np.hypot(cells.x - x, cells.y - y).argmin()])


STRAIGHT = [(float(x), 0.5) for x in range(0, 201, 10)]


def test_the_cells_share_the_field_by_hand() -> None:
    """By hand: 200 m by 60 m on cells of 1 m are 12,000 middles; a hole has none."""
    cells = there(walks(), water()).cells
    assert (cells.x.size, cells.area_m2, cells.side_m) == (12_000, 1.0, 1.0)
    assert (cells.flood == 0).all()
    pond = shapely.difference(FIELD, shapely.box(50, -10, 70, 10))
    with_pond = there(walks(), water(), field=pond).cells
    assert with_pond.x.size == 12_000 - 400
    assert shapely.contains_xy(pond, with_pond.x, with_pond.y).all()


def test_a_field_smaller_than_a_cell_has_one_by_hand() -> None:
    """By hand: a quarter of a square metre that holds no middle; its area is its own."""
    small = there(walks((1, STRAIGHT)), water(), field=shapely.box(50.6, 0.6, 51.1, 1.1))
    assert small.cells.x.size >= 1
    assert small.cells.area_m2 * small.cells.x.size == pytest.approx(0.25)
    assert small.chance(SWEEP_M).max() > 0.5


def test_a_huge_field_gets_larger_cells_by_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: 12,000 m2 on at most 3,000 cells are cells of 2 m; the area stays."""
    monkeypatch.setattr(looked_file, "MOST_CELLS", 3_000)
    cells = there(walks(), water()).cells
    assert cells.side_m == pytest.approx(2.0)
    assert cells.area_m2 * cells.x.size == pytest.approx(FIELD.area)


def test_on_the_line_beside_it_and_far_by_hand() -> None:
    """By hand: the table's chance on the line, less beside it, none 20 m off."""
    seen = there(walks((1, STRAIGHT)), water())
    assert near(seen, 100) == pytest.approx(TABLES.number("looking.line_chance"), abs=1e-6)
    assert 0 < near(seen, 100, 3.5) < near(seen, 100, 2.5) < near(seen, 100)
    assert near(seen, 100, 20.5) == 0.0
    # a lone line holds its sweep width: 4 m times 200 m of 12,000 m2, but for its two ends
    assert seen.mean_chance(SWEEP_M) == pytest.approx(4 * 200 / 12_000, rel=0.02)


def test_a_silent_device_walked_nowhere_by_hand() -> None:
    """By hand: points taken out of the middle of a track take the ground there out too."""
    gap = [point for point in STRAIGHT if not 60 < point[0] < 140]
    whole, cut = (there(walks((1, path)), water()) for path in (STRAIGHT, gap))
    assert (near(whole, 100), near(cut, 100)) == (pytest.approx(0.9, abs=1e-6), 0.0)
    assert (cut.chance(SWEEP_M) <= whole.chance(SWEEP_M)).all()


def test_old_and_coming_walks_do_not_count_by_hand() -> None:
    """By hand: older than the days a look is good for, or after the day that is asked about."""
    days = round(TABLES.number("looking.valid_days"))
    for ago in (days + 1, -1):
        seen = there(walks((ago, STRAIGHT)), water())
        assert not seen.walked
        assert seen.mean_chance(SWEEP_M) == 0.0
        assert seen.chance(SWEEP_M).max() == 0.0
    assert there(walks((days - 1, STRAIGHT)), water()).walked


def test_a_walk_far_from_the_field_is_not_near_it_by_hand() -> None:
    """By hand: 500 m off; and of a long track only the steps near the field are held."""
    off = [(x, y + 500) for x, y in STRAIGHT]
    assert not there(walks((1, off)), water()).walked
    long = [(float(x), 0.5) for x in range(-20_000, 20_001, 10)]
    seen = there(walks((1, long)), water())
    assert 20 <= len(seen.steps.xy) < 100
    assert near(seen, 100) == pytest.approx(0.9, abs=1e-6)


def test_a_walk_before_the_water_says_nothing_of_flooded_ground_by_hand() -> None:
    """By hand: flood five days ago over the west half; walked six days ago, and four."""
    before = there(walks((6, STRAIGHT)), water((5, WEST_HALF)))
    assert (near(before, 50), near(before, 150)) == (0.0, pytest.approx(0.9, abs=1e-6))
    after = there(walks((4, STRAIGHT)), water((5, WEST_HALF)))
    assert (near(after, 50), near(after, 150)) == pytest.approx((0.9, 0.9), abs=1e-6)


def test_each_place_asks_for_its_own_last_flood_by_hand() -> None:
    """By hand: the west flooded 8 days ago, the middle of it again 3 days ago; walked 5 ago."""
    again = shapely.box(40, -30, 60, 30)
    seen = there(walks((5, STRAIGHT)), water((3, again), (8, WEST_HALF)))
    held = [near(seen, x) for x in (20, 50, 80, 150)]
    assert held == pytest.approx([0.9, 0.0, 0.9, 0.9], abs=1e-6)
    dates = seen.flooded_on()
    middle = np.abs(seen.cells.x - 50) < 9
    assert (dates[middle] == np.datetime64((DAY - timedelta(days=3)).replace(tzinfo=None))).all()
    assert np.isnat(dates[seen.cells.x > 101]).all()
    assert not np.isnat(dates[seen.cells.x < 99]).any()


def test_a_walk_that_began_before_the_water_rose_does_not_count_by_hand() -> None:
    """By hand: begun in the very moment that the flood is dated at, it is not after it."""
    seen = there(walks((5, STRAIGHT)), water((5, FIELD)))
    assert seen.walked
    assert seen.chance(SWEEP_M).max() == 0.0


def test_a_puddle_beside_the_middle_of_a_cell_wets_the_cell_by_hand() -> None:
    """By hand: a hand's breadth of water in the corner of one cell, walked before it."""
    seen = there(walks((5, STRAIGHT)), water((3, shapely.box(100.1, 0.1, 100.2, 0.2))))
    assert (seen.cells.flood > 0).sum() == 1
    assert (near(seen, 100.5), near(seen, 102.5)) == (0.0, pytest.approx(0.9, abs=1e-6))


def test_a_flood_to_come_and_one_beside_the_field_flood_nothing_by_hand() -> None:
    """By hand: an outline after the day, and one that shares an edge with the field."""
    beside = shapely.box(200, -30, 300, 30)
    for flood in (water((-2, FIELD)), water((2, beside))):
        seen = there(walks((5, STRAIGHT)), flood)
        assert seen.floods == ()
        assert near(seen, 100) > 0.89


def test_a_copy_without_cells_says_the_same_property() -> None:
    """Property: what is held is worked out again alike; the light copy holds nothing."""
    seen = there(walks((4, STRAIGHT)), water((5, WEST_HALF)))
    seen.chance(SWEEP_M)
    light = seen.light()
    assert "cells" not in vars(light)
    assert not light._chances
    assert np.array_equal(light.chance(SWEEP_M), seen.chance(SWEEP_M))


@pytest.mark.parametrize("key", ["looking.line_chance", "looking.enough_chance"])
@pytest.mark.parametrize("wrong", [0.0, 1.0, 90.0])
def test_what_is_no_chance_is_refused_by_hand(key: str, wrong: float) -> None:
    """By hand: a farm that writes 90 for 0.9, or asks for nothing at all, is told so."""
    tables = TABLES.with_overrides({key: wrong})
    with pytest.raises(InputError, match="not a chance") as caught:
        looking(walks(), water(), day=DAY, tables=tables)
    assert "farm.toml" in caught.value.faults[0].where


fixes = st.lists(st.tuples(st.floats(-20, 220), st.floats(-40, 40)), min_size=2, max_size=12)
when = st.integers(0, 12)
floods = st.lists(
    st.tuples(st.integers(-1, 12), st.sampled_from([WEST_HALF, FIELD, shapely.box(60, -9, 90, 9)])),
    max_size=3,
)


@settings(max_examples=60, deadline=None)
@given(one=fixes, other=fixes, ago=when, later=when, stood=floods)
def test_more_walking_never_shows_less_property(
    one: list[tuple[float, float]],
    other: list[tuple[float, float]],
    ago: int,
    later: int,
    stood: list[tuple[int, shapely.Geometry]],
) -> None:
    """Property: another walk lowers no cell; another flood raises none; order does not matter."""
    alone = there(walks((ago, one)), water(*stood)).chance(SWEEP_M)
    both = there(walks((ago, one), (later, other)), water(*stood)).chance(SWEEP_M)
    turned = there(walks((later, other), (ago, one)), water(*stood[::-1])).chance(SWEEP_M)
    assert (both >= alone - 1e-12).all()
    assert turned == pytest.approx(both, abs=1e-12)
    wetter = there(walks((ago, one)), water(*stood, (5, FIELD))).chance(SWEEP_M)
    assert (wetter <= alone + 1e-12).all()


@settings(max_examples=40, deadline=None)
@given(one=fixes, left_out=st.integers(0, 11))
def test_lost_fixes_show_nothing_far_from_those_that_are_left_property(
    one: list[tuple[float, float]], left_out: int
) -> None:
    """Property: no ground farther from every fix than a step and the reach of a look is seen."""
    kept = [fix for number, fix in enumerate(one) if number != left_out]
    if len(kept) < 2:
        return
    seen = there(walks((1, kept)), water())
    at = np.column_stack([seen.cells.x, seen.cells.y])[:, None, :] - np.array(kept)
    apart = np.hypot(at[..., 0], at[..., 1]).min(axis=1)
    reach = TABLES.number("looking.longest_step_m") + 5 * SWEEP_M
    assert (seen.chance(SWEEP_M)[apart > reach] == 0.0).all()
