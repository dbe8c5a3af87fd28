"""Slope and aspect beside gdaldem, and fields a second. Run with ``make bench``; never a test."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import CRS

from fieldmap.assessment import assess
from fieldmap.cli.main import answer
from fieldmap.farm import load_farm
from fieldmap.grid import Grid
from fieldmap.terrain.slope import Slope, slope

SIDE = 4000
PLACE = Affine(10.0, 0.0, 500_000.0, 0.0, -10.0, 4_500_000.0)


@pytest.fixture(scope="module")
def hills(tmp_path_factory: pytest.TempPathFactory) -> Path:
    rng = np.random.default_rng(1)
    rows, columns = np.indices((SIDE, SIDE), np.float32)
    heights = 40 * np.sin(rows / 90) * np.cos(columns / 70) + rng.normal(0, 0.2, (SIDE, SIDE))
    path = tmp_path_factory.mktemp("hills") / "hills.tif"
    with rasterio.open(
        path, "w", driver="GTiff", dtype="float32", count=1, height=SIDE, width=SIDE,
        crs="EPSG:32615", transform=PLACE,
    ) as file:  # fmt: skip
        file.write(heights.astype(np.float32), 1)
    return path


@pytest.mark.benchmark(group="slope and aspect, 16 Mpx, reading included (ours does not write)")
def test_bench_slope_ours(benchmark, hills: Path) -> None:
    def ours() -> Slope:
        with rasterio.open(hills) as file:
            grid = Grid(file.read(1), file.transform, CRS(32615), "m", "elevation")
        return slope(grid, crs=CRS(32615))

    ours()
    found = benchmark.pedantic(ours, rounds=3)
    assert np.isfinite(found.percent.values[1:-1, 1:-1]).all()


@pytest.mark.benchmark(group="slope and aspect, 16 Mpx, reading included (ours does not write)")
def test_bench_slope_gdaldem(benchmark, hills: Path, gdaldem: str, tmp_path: Path) -> None:
    plain = {key: held for key, held in os.environ.items() if not key.endswith("_SKIP")}

    def peer() -> None:
        running = [
            subprocess.Popen(
                [gdaldem, kind, "-q", str(hills), str(tmp_path / f"{kind}.tif")], env=plain
            )
            for kind in ("slope", "aspect")
        ]
        for one in running:
            assert one.wait() == 0

    benchmark.pedantic(peer, rounds=3)


@pytest.mark.benchmark(group="assess the demo's fields")
def test_bench_assess(benchmark, tmp_path: Path) -> None:
    assert answer(["demo", "--out", str(tmp_path), "--json"]) == 0
    farm = load_farm(tmp_path / "farm")
    result = benchmark.pedantic(lambda: assess(farm, day=date(2026, 6, 9)), rounds=5)
    benchmark.extra_info["fields"] = len(result.answers)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    benchmark.extra_info["peak_mb"] = round(peak)
    words = f"\n{len(result.answers)} fields a round; peak memory of the whole run {peak:.0f} MB\n"
    sys.stdout.write(words)
