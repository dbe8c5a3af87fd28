"""Ground counted as looked at: strips along walks, no more than was walked since the water."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldmap.hazards.looked import looking
from fieldmap.tables import load_tables

TABLES = load_tables()
DAY = datetime(2026, 6, 9, 23, 59, tzinfo=UTC)
UTM = 32615


def walks(*made: tuple[int, list[tuple[float, float]]]) -> gpd.GeoDataFrame:
    """Lines by how many days before the day they were walked."""
    started = pd.Series([DAY - timedelta(days=ago) for ago, _ in made]).astype(
        "datetime64[us, UTC]"
    )
    lines = [shapely.LineString(points) for _, points in made]
    return gpd.GeoDataFrame({"started": started}, geometry=lines, crs=UTM)


def water(*days_ago: int) -> gpd.GeoDataFrame:
    dates = pd.Series([DAY - timedelta(days=ago) for ago in days_ago], dtype="datetime64[us, UTC]")
    ground = [shapely.box(0, -50, 500, 50)] * len(days_ago)
    return gpd.GeoDataFrame({"date": dates}, geometry=ground, crs=UTM)


STRAIGHT = [(float(x), 0.0) for x in range(0, 201, 10)]


def test_a_strip_is_as_wide_as_the_table_says() -> None:
    """By hand: 200 m walked, 3 m to each side, is 1200 m2."""
    seen = looking(walks((1, STRAIGHT)), water(), day=DAY, tables=TABLES)
    half = TABLES.number("looking.strip_half_m")
    assert seen.recent.area == pytest.approx(200 * 2 * half)


def test_a_silent_device_walked_nowhere() -> None:
    """By hand: points taken out of the middle of a track take the ground there out too."""
    gap = [point for point in STRAIGHT if not 60 < point[0] < 140]
    whole = looking(walks((1, STRAIGHT)), water(), day=DAY, tables=TABLES).recent
    cut = looking(walks((1, gap)), water(), day=DAY, tables=TABLES).recent
    assert cut.area < whole.area
    assert not cut.intersects(shapely.Point(100, 0))


def test_old_and_coming_walks_do_not_count() -> None:
    """By hand: older than the days a look is good for, or after the day that is asked about."""
    days = round(TABLES.number("looking.valid_days"))
    for ago in (days + 1, -1):
        assert looking(walks((ago, STRAIGHT)), water(), day=DAY, tables=TABLES).recent.is_empty
    assert not looking(walks((days - 1, STRAIGHT)), water(), day=DAY, tables=TABLES).recent.is_empty


def test_a_walk_before_the_water_says_nothing_of_flooded_ground() -> None:
    """By hand: flood five days ago; walks six and four days ago."""
    before = looking(walks((6, STRAIGHT)), water(5), day=DAY, tables=TABLES)
    assert (before.since_flood.is_empty, before.recent.is_empty) == (True, False)
    after = looking(walks((4, STRAIGHT)), water(5), day=DAY, tables=TABLES)
    assert after.since_flood.equals(after.recent)


def test_the_last_flood_counts() -> None:
    """By hand: two floods; a walk between them is before the water again."""
    seen = looking(walks((6, STRAIGHT)), water(8, 5), day=DAY, tables=TABLES)
    assert seen.since_flood.is_empty


def test_a_flood_to_come_floods_nothing() -> None:
    """By hand: an outline dated after the day that is asked about."""
    assert looking(walks((1, STRAIGHT)), water(-2), day=DAY, tables=TABLES).flooded.is_empty


fixes = st.lists(st.tuples(st.floats(0, 300), st.floats(-40, 40)), min_size=2, max_size=12)


@settings(max_examples=60, deadline=None)
@given(one=fixes, other=fixes, left_out=st.integers(0, 11))
def test_more_walking_never_shows_less_and_lost_fixes_never_more(
    one: list[tuple[float, float]], other: list[tuple[float, float]], left_out: int
) -> None:
    """Property: a second walk only adds; no ground far from every remaining fix is counted."""
    alone = looking(walks((1, one)), water(3), day=DAY, tables=TABLES)
    both = looking(walks((1, one), (2, other)), water(3), day=DAY, tables=TABLES)
    assert shapely.difference(alone.since_flood, both.since_flood).area < 1e-6
    kept = [fix for number, fix in enumerate(one) if number != left_out]
    if len(kept) > 1:
        less = looking(walks((1, kept)), water(3), day=DAY, tables=TABLES).recent
        reach = TABLES.number("looking.longest_step_m") + TABLES.number("looking.strip_half_m")
        near = shapely.union_all(shapely.buffer(shapely.points(np.array(kept)), reach))
        assert shapely.difference(less, near).area < 1e-6
