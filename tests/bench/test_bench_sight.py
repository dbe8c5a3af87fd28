"""Sight ahead, cells a second. Run with ``make bench``; never a test."""

from __future__ import annotations

import sys

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS

from fieldmap.grid import Grid
from fieldmap.terrain.sight import sight_ahead

SIDE = 1000
UTM = CRS.from_epsg(32615)
ROSE = np.arange(16) * 22.5


def ground(kind: str) -> Grid:
    """A million cells of 1 m: hills with crests that hide, or a level that ends no ray early."""
    rows, columns = np.indices((SIDE, SIDE), np.float32)
    values = np.full((SIDE, SIDE), 200.0)
    if kind == "hills":
        noise = np.random.default_rng(1).normal(0, 0.03, values.shape)
        values += 12 * np.sin(rows / 40) * np.cos(columns / 35) + noise
    place = Affine(1.0, 0.0, 500_000.0, 0.0, -1.0, 4_500_000.0)
    return Grid(values.astype(np.float32), place, UTM, "m", "elevation")


@pytest.mark.benchmark(group="sight ahead, a million cells of 1 m, 16 headings each")
@pytest.mark.parametrize("range_m", [40.0, 100.0])
@pytest.mark.parametrize("kind", ["hills", "level"])
def test_bench_sight(benchmark, kind: str, range_m: float) -> None:
    grid = ground(kind)
    inside = np.zeros(grid.shape, bool)
    inside[2:-2, 2:-2] = True

    def ours() -> np.ndarray:
        return sight_ahead(
            grid, inside, ROSE, crs=UTM, eye_m=2.0, target_m=0.3, range_m=range_m
        )  # fmt: skip

    ours()
    found = benchmark.pedantic(ours, rounds=5)
    assert not np.isnan(found[:, inside]).any()
    a_second = inside.sum() / benchmark.stats.stats.median / 1e6
    benchmark.extra_info["million_cells_a_second"] = round(a_second, 2)
    sys.stdout.write(f"\n{kind}, {range_m:.0f} m: {a_second:.2f} million cells a second\n")
