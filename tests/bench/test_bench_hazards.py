"""The log beside geopandas reading the same rows. ``make bench``."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from fieldmap.hazards import events as ev
from fieldmap.hazards.fold import fold
from fieldmap.hazards.store import append, read_events
from fieldmap.tables import load_tables

FINDS, WORDS = 80_000, 20_000
VERBS = (ev.CLEARED, ev.SEEN_AGAIN, ev.MOVED, ev.NOT_FOUND, ev.HIT, ev.NOTE)


def made() -> pd.DataFrame:
    """80,000 finds and 20,000 further words on them."""
    dice = np.random.default_rng(20260601)
    moments = pd.Timestamp("2026-06-01", tz="UTC") + pd.to_timedelta(np.arange(FINDS), "s")
    finds = gpd.GeoDataFrame(
        {
            "hazard_id": [f"S{number}" for number in range(FINDS)],
            "kind": dice.choice(["stone", "post", "drum"], FINDS),
            "note": [f"find {number}" for number in range(FINDS)],
            "who": dice.choice(["Ada", "Bo"], FINDS),
            "time": pd.Series(moments).astype("datetime64[us, UTC]"),
            "radius_m": 3.0,
            "height_m": 0.1,
        },
        geometry=shapely.points(dice.uniform(11, 12, FINDS), dice.uniform(49, 50, FINDS)),
        crs=4326,
    )
    added = ev.add_events(finds, file="made.csv")
    on = dice.choice(FINDS, WORDS)
    told = added.iloc[on].assign(
        verb=dice.choice(VERBS, WORDS),
        seen=added["event_id"].to_numpy()[on],
        event_id=[f"word{number:020d}" for number in range(WORDS)],
    )
    return pd.concat([added, told], ignore_index=True)


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The log, and the same rows as a layer of points."""
    folder = tmp_path_factory.mktemp("logs")
    events = made()
    assert append(folder / "log.gpkg", events) == FINDS + WORDS
    points = gpd.GeoDataFrame(
        read_events(folder / "log.gpkg"),
        geometry=shapely.points(events["lon"].to_numpy(), events["lat"].to_numpy()),
        crs=4326,
    )
    points.to_file(folder / "points.gpkg", layer="events")
    return folder / "log.gpkg", folder / "points.gpkg"


@pytest.mark.benchmark(group="100,000 events")
def test_bench_load_and_fold(benchmark, logs: tuple[Path, Path]) -> None:
    tables = load_tables()
    table = benchmark.pedantic(lambda: fold(read_events(logs[0]), tables=tables), rounds=5)
    assert len(table) == FINDS
    assert 0 < table["stands"].sum() < FINDS


@pytest.mark.benchmark(group="100,000 events")
def test_bench_geopandas_reads_the_same_rows(benchmark, logs: tuple[Path, Path]) -> None:
    table = benchmark.pedantic(lambda: gpd.read_file(logs[1]), rounds=5)
    assert len(table) == FINDS + WORDS


@pytest.mark.benchmark(group="100,000 events")
def test_bench_write(benchmark, tmp_path: Path) -> None:
    events = made()
    made_logs = iter(range(100))

    def write() -> int:
        return append(tmp_path / f"{next(made_logs)}.gpkg", events)

    assert benchmark.pedantic(write, rounds=3) == len(events)
