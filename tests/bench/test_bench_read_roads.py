"""Reading roads beside pyosmium's bare pass over the same file. ``make bench``."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from time import perf_counter

import osmium
import pytest
from pyproj import CRS

from fieldmap.read.road_cache import FOLDER
from fieldmap.read.roads import read_roads

UTM = CRS(32632)
#: Tiles of the district east and north of each other, so that there are 25,000 ways of road.
TILES = 15
_ACROSS, _EAST_DEG, _NORTH_DEG = 4, 0.6, 0.4
_STRIDE = 10_000_000_000  # larger than every id of the district's


class Tile:
    """A thing of the district, moved: SimpleWriter takes whatever has its attributes."""

    def __init__(self, thing: osmium.osm.OSMObject, tile: int) -> None:
        self.id = thing.id + tile * _STRIDE
        self.version, self.visible = 1, True
        self.tags = dict(thing.tags)
        if thing.is_node():
            east, north = tile % _ACROSS * _EAST_DEG, tile // _ACROSS * _NORTH_DEG
            self.location = (thing.lon + east, thing.lat + north)
        elif thing.is_way():
            self.nodes = [point.ref + tile * _STRIDE for point in thing.nodes]
        else:
            self.members = [(one.type, one.ref + tile * _STRIDE, one.role) for one in thing.members]


@pytest.fixture(scope="session")
def county(tmp_path_factory: pytest.TempPathFactory, bayreuth: Path) -> Path:
    """The district laid beside itself: a file with as many roads as a county."""
    path = tmp_path_factory.mktemp("county") / "county.osm.pbf"
    source = str(bayreuth / "bayreuth.osm.pbf")
    with osmium.SimpleWriter(str(path)) as writer:
        for kind, add in (
            (osmium.osm.NODE, writer.add_node),
            (osmium.osm.WAY, writer.add_way),
            (osmium.osm.RELATION, writer.add_relation),
        ):
            for tile in range(TILES):
                for thing in osmium.FileProcessor(source, kind):
                    add(Tile(thing, tile))
    return path


@pytest.fixture
def cached(county: Path) -> Path:
    folder = county.parent / FOLDER
    read_roads(county, crs=UTM, cache=folder)
    assert len(list(folder.iterdir())) == 1
    return folder


GROUP = "read a county's roads (25,000 ways)"


@pytest.mark.benchmark(group=GROUP)
def test_bench_read_ours(benchmark, county: Path) -> None:
    data = benchmark.pedantic(lambda: read_roads(county, crs=UTM), rounds=3)
    assert data.edges["way_id"].nunique() > 25_000
    assert data.turns["relation_id"].nunique() == 40 * TILES


@pytest.mark.benchmark(group=GROUP)
def test_bench_read_bare_pass(benchmark, county: Path) -> None:
    """The peer: pyosmium hands out everything in the file with places, and nothing is done."""

    def bare() -> int:
        return sum(1 for _ in osmium.FileProcessor(str(county)).with_locations())

    assert benchmark.pedantic(bare, rounds=3) > 25_000


@pytest.mark.benchmark(group=GROUP)
def test_bench_read_bare_pass_over_roads(benchmark, county: Path) -> None:
    """The harder peer: the same, but everything without a road's tag is dropped unseen."""

    def bare() -> int:
        things = osmium.FileProcessor(str(county), osmium.osm.NODE | osmium.osm.WAY)
        return sum(
            1 for _ in things.with_locations().with_filter(osmium.filter.KeyFilter("highway"))
        )

    assert benchmark.pedantic(bare, rounds=3) > 25_000


@pytest.mark.benchmark(group=GROUP)
def test_bench_read_cached(benchmark, county: Path, cached: Path) -> None:
    """The promise, in one run: under three bare passes, and out of the cache under a second."""
    data = benchmark.pedantic(lambda: read_roads(county, crs=UTM, cache=cached), rounds=3)
    assert data.edges["way_id"].nunique() > 25_000
    bare = _least(lambda: sum(1 for _ in osmium.FileProcessor(str(county)).with_locations()))
    ours = _least(lambda: read_roads(county, crs=UTM))
    kept = _least(lambda: read_roads(county, crs=UTM, cache=cached))
    print(f"\nreading {ours / bare:.2f} bare passes, out of the cache {kept / bare:.2f}")  # noqa: T201
    assert ours < 3 * bare
    assert kept < min(1.0, ours)


def _least(action: Callable[[], object]) -> float:
    """The least of three times, in seconds."""
    times = []
    for _ in range(3):
        begun = perf_counter()
        action()
        times.append(perf_counter() - begun)
    return min(times)
