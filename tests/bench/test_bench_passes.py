"""Runs of 36 headings, fields a second, beside shapely. Run with ``make bench``; never a test."""

from __future__ import annotations

import math
import sys

import numpy as np
import pytest
import shapely
from shapely import affinity

from fieldmap.terrain.passes import headland, passes

WIDTH_M = 3.9
HEADINGS = np.arange(36) * 5.0
FIELDS = 200
GROUP = "runs of 36 headings on one field of 10 ha and 60 corners"


def field(seed: int) -> shapely.Polygon:
    """About 10 ha, 60 corners, concave, where a UTM field lies."""
    rng = np.random.default_rng(seed)
    turn = np.linspace(0.0, 2.0 * np.pi, 60, endpoint=False)
    reach = 178.0 * rng.uniform(0.85, 1.15, 60)
    x, y = 500_000.0 + reach * np.sin(turn), 4_500_000.0 + reach * np.cos(turn)
    return shapely.Polygon(np.stack([x, y], axis=1))


def by_shapely(ground: shapely.Polygon) -> list[int]:
    """All strips of a heading cut out of the field in one call."""
    counts = []
    for heading in HEADINGS:
        level = affinity.rotate(ground, heading - 90.0)
        west, south, east, north = level.bounds
        count = math.ceil((north - south) / WIDTH_M)
        low = south + np.arange(count) * (north - south) / count
        strips = shapely.box(west, low, east, low + (north - south) / count)
        cut = shapely.intersection(level, strips)
        counts.append(int(shapely.get_num_geometries(cut).sum()))
    return counts


@pytest.mark.benchmark(group=GROUP)
def test_bench_passes_ours(benchmark) -> None:
    ground = field(0)
    passes(ground, HEADINGS, width_m=WIDTH_M)
    found = benchmark.pedantic(
        lambda: passes(ground, HEADINGS, width_m=WIDTH_M), rounds=5, iterations=20
    )
    assert np.abs(found.runs - by_shapely(ground)).max() <= 2


@pytest.mark.benchmark(group=GROUP)
def test_bench_passes_shapely(benchmark) -> None:
    ground = field(0)
    counts = benchmark.pedantic(lambda: by_shapely(ground), rounds=3)
    assert min(counts) > 50


@pytest.mark.benchmark(group=f"laps and runs of 36 headings, {FIELDS} fields")
def test_bench_passes_many_fields(benchmark) -> None:
    grounds = [field(seed) for seed in range(FIELDS)]

    def all_fields() -> float:
        total = 0.0
        for ground in grounds:
            inner = headland(ground, width_m=WIDTH_M, laps=2, scrap_squares=1.0).inner
            total += passes(inner, HEADINGS, width_m=WIDTH_M, join_m=10.0).runs.sum()
        return total

    assert all_fields() > FIELDS * len(HEADINGS) * 50
    benchmark.pedantic(all_fields, rounds=3)
    rate = FIELDS / benchmark.stats.stats.min
    benchmark.extra_info["fields_a_second"] = round(rate)
    sys.stdout.write(f"\n{rate:.0f} fields a second, laps and 36 headings, on one core\n")
