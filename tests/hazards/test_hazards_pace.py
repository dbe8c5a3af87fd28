"""What of a track counts as walked: not what was driven, not what a resting device drew."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldmap.hazards.looked import field_looking, looking
from fieldmap.hazards.pace import Paced, paced
from fieldmap.tables import load_tables

TABLES = load_tables()
FASTEST = TABLES.number("looking.fastest_kmh")
STANDING_M = TABLES.number("looking.position_radius_m")
STANDING_S = TABLES.number("looking.standing_s")
DAY = datetime(2026, 6, 9, 23, 59, tzinfo=UTC)
FIELD = shapely.box(0, -30, 200, 30)
UTM = 32615


def track(*fixes: tuple[float, float, float]) -> gpd.GeoDataFrame:
    """One track: x, y in metres and seconds, NaN where the device wrote no time."""
    begun = pd.Series([DAY], dtype="datetime64[us, UTC]")
    seconds = pd.Series([np.array([one[2] for one in fixes])], dtype=object)
    line = shapely.LineString([one[:2] for one in fixes])
    return gpd.GeoDataFrame({"started": begun, "seconds": seconds}, geometry=[line], crs=UTM)


def cut(table: gpd.GeoDataFrame) -> Paced:
    return paced(table, fastest_kmh=FASTEST, standing_m=STANDING_M, standing_s=STANDING_S)


def straight(kmh: float, *, every_s: float = 1.0, length_m: float = 200.0) -> gpd.GeoDataFrame:
    step = kmh / 3.6 * every_s
    count = int(length_m / step) + 1
    return track(*[(step * n, 0.0, every_s * n) for n in range(count)])


def walked_m(table: gpd.GeoDataFrame) -> float:
    return float(cut(table).tracks.length.sum())


def chance(table: gpd.GeoDataFrame) -> float:
    """Mean chance over the field by what counts of a track."""
    seen = looking(cut(table).tracks, water(), day=DAY, tables=TABLES)
    return field_looking(FIELD, seen).mean_chance(4.0)


def water() -> gpd.GeoDataFrame:
    dates = pd.Series([], dtype="datetime64[us, UTC]")
    return gpd.GeoDataFrame({"date": dates}, geometry=[], crs=UTM)


def test_a_drive_is_no_look_and_a_walk_is_by_hand() -> None:
    """By hand: 4 km/h counts whole; 90 km/h, a fix a second 25 m on, not a metre of it."""
    walk, drive = straight(4.0), straight(90.0)
    assert walked_m(walk) == pytest.approx(float(walk.length.sum()))
    assert cut(walk).fast_m.tolist() == [0.0]
    assert walked_m(drive) == 0.0
    assert cut(drive).fast_m.tolist() == pytest.approx([200.0])
    assert chance(walk) > 0.05
    assert chance(drive) == 0.0


def test_a_walk_after_a_drive_counts_alone_by_hand() -> None:
    """By hand: 100 m driven at 36 km/h, then 50 m walked at 3.6 km/h."""
    driven = [(10.0 * n, 0.0, 1.0 * n) for n in range(11)]
    walked = [(100.0 + n, 0.0, 10.0 + n) for n in range(1, 51)]
    found = cut(track(*driven, *walked))
    assert found.tracks.length.tolist() == pytest.approx([50.0])
    assert found.tracks.total_bounds.tolist() == [100.0, 0.0, 150.0, 0.0]
    assert (found.fast_m.tolist(), found.untold_m.tolist()) == ([100.0], [0.0])


def test_a_step_of_unknown_speed_is_no_look_by_hand() -> None:
    """By hand: without a time, at a time before the last one, and no second passed."""
    for seconds in ([0.0, math.nan, math.nan], [50.0, 30.0, 10.0], [5.0, 5.0, 5.0]):
        fixes = [(10.0 * n, 0.0, second) for n, second in enumerate(seconds)]
        found = cut(track(*fixes))
        assert len(found.tracks) == 0
        assert found.untold_m.tolist() == [20.0]


def test_a_device_that_rounds_to_seconds_walks_all_the_same_by_hand() -> None:
    """By hand: two fixes a second, half a metre apart, are 3.6 km/h; ten metres apart 72 km/h."""
    for apart_m, share in ((0.5, 1.0), (10.0, 0.0)):
        fixes = [(apart_m * n, 0.0, float(n // 2)) for n in range(41)]
        found = walked_m(track(*fixes))
        assert found == pytest.approx(share * 40 * apart_m, abs=apart_m)


def drift(spread_m: float, memory_s: float, *, count: int = 3600) -> np.ndarray:
    """A device at rest, a fix a second: errors of a circular normal law that change slowly."""
    rng = np.random.default_rng(7)
    kept = math.exp(-1.0 / memory_s)
    pushes = rng.normal(0.0, spread_m * math.sqrt(1.0 - kept * kept), (count, 2))
    out = np.zeros((count, 2))
    for n in range(1, count):
        out[n] = kept * out[n - 1] + pushes[n]
    return out


@pytest.mark.parametrize(("spread_m", "memory_s"), [(2.0, 30.0), (4.0, 30.0), (4.0, 120.0)])
def test_a_resting_device_counts_once_by_hand(spread_m: float, memory_s: float) -> None:
    """By hand: an hour at rest in the middle of a walk is no longer look than the way through.

    A spread of 4 m a side is a 95 % radius of 9.8 m, that of the table.
    """
    rest = [(100 + x, y, 100.0 + n) for n, (x, y) in enumerate(drift(spread_m, memory_s))]
    before = [(float(n), 0.0, float(n)) for n in range(100)]
    after = [(100.0 + n, 0.0, 3700.0 + n) for n in range(1, 101)]
    through, stood = track(*before, *after), track(*before, *rest, *after)
    assert float(stood.length.sum()) > 2000.0  # what the device drew while it lay there
    assert walked_m(stood) == pytest.approx(200.0, abs=3 * STANDING_M)
    assert chance(stood) <= chance(through) * 1.05
    plain = looking(stood.drop(columns="seconds"), water(), day=DAY, tables=TABLES)
    assert field_looking(FIELD, plain).mean_chance(4.0) > 1.1 * chance(stood)


def test_lines_of_a_search_count_whole_by_hand() -> None:
    """By hand: lines of 100 m, 4 m apart, to and fro at 4 km/h: no turn is taken for a rest."""
    way = [(float(x) if k % 2 == 0 else 100.0 - x, 4.0 * k) for k in range(5) for x in range(101)]
    table = track(*[(x, y, 0.9 * n) for n, (x, y) in enumerate(way)])
    # the four steps across are 4 m in 0.9 s, which nobody walks
    assert walked_m(table) == pytest.approx(5 * 100.0)
    assert cut(table).fast_m.tolist() == [16.0]


def test_a_short_halt_leaves_no_gap_by_hand() -> None:
    """By hand: five minutes at one place in the middle of a walk; the whole way still counts."""
    fixes = [(float(n), 0.0, float(n + (300 if n > 60 else 0))) for n in range(121)]
    assert walked_m(track(*fixes)) == pytest.approx(120.0)


STEPS = st.lists(
    st.tuples(
        st.floats(-30, 30), st.floats(-30, 30), st.one_of(st.floats(-1, 30), st.just(math.nan))
    ),
    min_size=2,
    max_size=25,
)


def made(steps: list[tuple[float, float, float]]) -> gpd.GeoDataFrame:
    x = y = at = 0.0
    fixes = []
    for east, north, later in steps:
        x, y = x + east, y + north
        at += 0.0 if math.isnan(later) else later
        fixes.append((x, y, math.nan if math.isnan(later) else at))
    return track(*fixes)


@settings(max_examples=100, deadline=None)
@given(steps=STEPS)
def test_nothing_is_walked_that_was_not_drawn_property(
    steps: list[tuple[float, float, float]],
) -> None:
    """Property: pieces are never longer than the track; each of its metres goes to one count."""
    table = made(steps)
    found, whole = cut(table), float(table.length.sum())
    walked = float(found.tracks.length.sum())
    assert walked + float(found.fast_m.sum() + found.untold_m.sum()) <= whole + 1e-6  # some stood
    assert set(found.tracks.columns) == {"started", "geometry"}


@settings(max_examples=100, deadline=None)
@given(steps=STEPS, which=st.integers(0, 24))
def test_a_time_taken_away_never_makes_more_of_a_walk_property(
    steps: list[tuple[float, float, float]], which: int
) -> None:
    """Property: without standing, less told of the times is never more ground looked at."""
    table = made(steps)
    less = table.copy()
    times = table["seconds"].iloc[0].copy()
    times[which % len(times)] = math.nan
    less["seconds"] = pd.Series([times], dtype=object)
    one, other = (
        paced(held, fastest_kmh=FASTEST, standing_m=0.0, standing_s=STANDING_S)
        for held in (table, less)
    )
    whole = shapely.buffer(shapely.union_all(one.tracks.geometry.to_numpy()), 1e-6)
    left = shapely.difference(shapely.union_all(other.tracks.geometry.to_numpy()), whole)
    assert left.length == pytest.approx(0.0, abs=1e-6)
