"""Slopes beside gdaldem and exactextract, and fields a second. Run with ``make bench``.

Every group is one job by ours and by the peers, one after the other; state ratios.
"""

from __future__ import annotations

import dataclasses
import os
import resource
import subprocess
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from affine import Affine
from exactextract import exact_extract
from pyproj import CRS
from rasterio.windows import Window

from fieldmap.assessment import assess
from fieldmap.cli.main import answer
from fieldmap.farm import Farm, load_farm
from fieldmap.survey import survey_slopes
from fieldmap.write.slope_rasters import write_slope_rasters

PLACE = Affine(10.0, 0.0, 500_000.0, 0.0, -10.0, 4_500_000.0)
UTM = CRS.from_epsg(32615)
#: what gdaldem must not inherit: the drivers that fieldmap switches off for itself
PLAIN = {key: held for key, held in os.environ.items() if not key.endswith("_SKIP")}
SIDE, FIELDS_A_SIDE, GIGABYTE = 4000, 100, 16_384
FIELDS = "10,000 fields of 10 ha on 10 m cells: mean, p95, max, shares by class; reading included"
RASTERS = "slope and aspect of 100 Mpx, {}, reading and writing included"
LAYOUTS = ["uncompressed", "DEFLATE, predictor 3, tiled"]
BREAKS = (3.0, 8.0, 16.0, 30.0, 60.0)


def made_hills(path: Path, side: int, **layout: object) -> Path:
    """Hills of ``side`` cells a side, written strip by strip."""
    rng = np.random.default_rng(1)
    column = np.arange(side, dtype=np.float32)
    with rasterio.open(
        path, "w", driver="GTiff", dtype="float32", count=1, height=side, width=side,
        crs="EPSG:32615", transform=PLACE, **layout,
    ) as file:  # fmt: skip
        for first in range(0, side, 512):
            row = np.arange(first, min(first + 512, side), dtype=np.float32)[:, None]
            heights = 200 + 40 * np.sin(row / 90) * np.cos(column / 70)
            heights += rng.normal(0, 0.2, heights.shape).astype(np.float32)
            file.write(heights.astype(np.float32), 1, window=Window(0, first, side, len(heights)))
        file.units = ("m",)
    return path


@pytest.fixture(scope="module")
def many_fields(tmp_path_factory: pytest.TempPathFactory) -> Farm:
    """A farm folder of 10,000 fields with 24 corners each, of about 10 ha."""
    folder = tmp_path_factory.mktemp("many")
    made_hills(folder / "elevation.tif", SIDE)
    rng = np.random.default_rng(1)
    steps = np.arange(FIELDS_A_SIDE) * 395.0  # metres; the last stand 500 m from the rim
    east, north = (
        held.ravel()[:, None] for held in np.meshgrid(500_400 + steps, 4_499_600 - steps)
    )
    around = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    radii = 178 * (1 + 0.1 * rng.normal(size=(len(east), 24)))
    corners = np.stack([east + radii * np.cos(around), north + radii * np.sin(around)], axis=-1)
    table = gpd.GeoDataFrame(geometry=shapely.polygons(corners), crs="EPSG:32615")
    assert 9.0 < table.area.mean() / 1e4 < 11.0
    table["field_id"] = [f"F{row}" for row in range(len(table))]
    table.to_file(folder / "fields.gpkg")
    (folder / "farm.toml").write_text(
        'name = "Many"\nunits = "metric"\ntime_zone = "America/Chicago"\ncrs = "EPSG:32615"\n'
        '[files]\nfields = "fields.gpkg"\nelevation = "elevation.tif"\n',
        "utf-8",
    )
    return load_farm(folder)


@pytest.fixture(scope="module")
def big(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """100 Mpx as it is and compressed."""
    folder = tmp_path_factory.mktemp("big")
    return {
        "uncompressed": made_hills(folder / "plain.tif", 10_000),
        "DEFLATE, predictor 3, tiled": made_hills(
            folder / "packed.tif", 10_000, tiled=True, blockxsize=512, blockysize=512,
            compress="deflate", predictor=3, num_threads=2,
        ),
    }  # fmt: skip


def gdaldem_run(program: str, *jobs: tuple[str, Path, Path]) -> None:
    """Run gdaldem's jobs side by side."""
    running = [
        subprocess.Popen([program, *what.split(), "-q", source, target], env=PLAIN)
        for what, source, target in jobs
    ]
    for one in running:
        assert one.wait() == 0


def reread(farm: Farm) -> Farm:
    """The farm with its boundaries read again, as the peer reads them."""
    fields = gpd.read_file(farm.folder / "fields.gpkg", engine="pyogrio")
    fields["area_ha"] = fields.area / 1e4
    return dataclasses.replace(farm, fields=fields)


@pytest.mark.benchmark(group=FIELDS)
def test_bench_fields_ours(benchmark: Callable, many_fields: Farm) -> None:
    survey_slopes(many_fields)
    found = benchmark.pedantic(lambda: survey_slopes(reread(many_fields)).table, rounds=5)
    assert (found["slope_known_share"] > 0.999).all()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    sys.stdout.write(f"\npeak memory of the whole run so far {peak:.0f} MB\n")


@pytest.mark.benchmark(group=FIELDS)
def test_bench_fields_peers(
    benchmark: Callable, many_fields: Farm, gdaldem: str, tmp_path: Path
) -> None:
    """gdaldem slope, then exactextract twice: on the slopes, and on their classes."""
    steep, classes = tmp_path / "slope.tif", tmp_path / "classes.tif"

    def peers() -> pd.DataFrame:
        gdaldem_run(gdaldem, ("slope -p", many_fields.folder / "elevation.tif", steep))
        fields = gpd.read_file(many_fields.folder / "fields.gpkg", engine="pyogrio")
        wanted = ["mean", "quantile(q=0.95)", "max"]
        figures = exact_extract(steep, fields, wanted, include_cols=["field_id"], output="pandas")
        with rasterio.open(steep) as file:
            among = np.digitize(file.read(1), BREAKS).astype(np.uint8)
            profile = file.profile | {"dtype": "uint8", "nodata": None}
        with rasterio.open(classes, "w", **profile) as file:
            file.write(among, 1)
        shares = exact_extract(classes, fields, ["unique", "frac"], output="pandas")
        return pd.concat([figures, shares], axis=1)

    theirs = benchmark.pedantic(peers, rounds=2)
    ours = survey_slopes(many_fields).table
    assert np.abs(ours["slope_mean_pct"] - theirs["mean"]).max() < 1e-3
    assert np.abs(ours["slope_max_pct"] - theirs["max"]).max() < 1e-2


def known_share(path: Path) -> float:
    """Share of the raster's cells, thinned, that have a figure."""
    with rasterio.open(path) as file:
        return float((file.read_masks(1, out_shape=(500, 500))[1:-1, 1:-1] > 0).mean())


@pytest.mark.parametrize("layout", LAYOUTS)
def test_bench_rasters_ours(
    benchmark: Callable, big: dict[str, Path], tmp_path: Path, layout: str
) -> None:
    """Ours stands on the disk when it is done: temporary file, fsync, replace."""
    benchmark.group = RASTERS.format(layout)

    def ours() -> None:
        write_slope_rasters(big[layout], tmp_path, crs=UTM, overwrite=True)

    ours()
    benchmark.pedantic(ours, setup=os.sync, rounds=5)
    assert known_share(tmp_path / "slope_pct.tif") > 0.999
    assert known_share(tmp_path / "aspect_deg.tif") > 0.999


@pytest.mark.parametrize("flushed", [False, True], ids=["as it is", "flushed as ours"])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_bench_rasters_gdaldem(
    benchmark: Callable, big: dict[str, Path], gdaldem: str, tmp_path: Path, layout: str,
    flushed: bool,
) -> None:  # fmt: skip
    """gdaldem does not wait for the disk; beside it the same with its files flushed."""
    benchmark.group = RASTERS.format(layout)
    jobs = [
        ("slope -p", big[layout], tmp_path / "slope.tif"),
        ("aspect", big[layout], tmp_path / "aspect.tif"),
    ]

    def peers() -> None:
        gdaldem_run(gdaldem, *jobs)
        for _, _, path in jobs if flushed else ():
            with path.open("rb") as file:
                os.fsync(file.fileno())

    peers()
    benchmark.pedantic(peers, setup=os.sync, rounds=5)
    assert known_share(tmp_path / "slope.tif") > 0.999
    assert known_share(tmp_path / "aspect.tif") > 0.999


MEMORY = """
import resource, sys
from pathlib import Path
from pyproj import CRS
from fieldmap.farm import load_farm
from fieldmap.survey import survey_slopes
from fieldmap.write.slope_rasters import write_slope_rasters
folder, job = Path(sys.argv[1]), sys.argv[2]
if job == "survey":
    known = survey_slopes(load_farm(folder)).table["slope_known_share"]
    assert len(known) == 10_000 and (known > 0.999).all()
else:
    write_slope_rasters(folder / "elevation.tif", folder / "out", crs=CRS.from_epsg(32615))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
"""


@pytest.mark.benchmark(group="a raster of 1 GB in windows: peak memory")
@pytest.mark.parametrize("job", ["survey", "rasters"])
def test_bench_memory(benchmark: Callable, many_fields: Farm, tmp_path: Path, job: str) -> None:
    """10,000 fields on a raster of 1 GB, and its slope and aspect, each in a process of its own."""
    for name in ("farm.toml", "fields.gpkg"):
        (tmp_path / name).write_bytes((many_fields.folder / name).read_bytes())
    source = made_hills(tmp_path / "elevation.tif", GIGABYTE)
    assert source.stat().st_size > 1e9

    def run() -> int:
        out = subprocess.run(
            # through a shell: a child begins with the peak of the process it is started from
            ["sh", "-c", '"$0" "$@"; exit $?', sys.executable, "-c", MEMORY, tmp_path, job],
            check=True, capture_output=True, text=True,
        )  # fmt: skip
        return int(out.stdout)

    peak_mb = benchmark.pedantic(run, rounds=1)
    benchmark.extra_info["peak_mb"] = peak_mb
    sys.stdout.write(f"\n{job} of a raster of 1 GB: peak memory {peak_mb} MB\n")
    assert peak_mb < 500


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
