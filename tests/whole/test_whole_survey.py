"""Slopes of many fields of a farm: read in pieces, the same as one by one."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from affine import Affine
from pyproj import CRS

from fieldmap.errors import MisuseError
from fieldmap.farm import Farm, load_farm
from fieldmap.machine import Machine
from fieldmap.read.elevation import ElevationFile
from fieldmap.survey import survey_slopes
from fieldmap.terrain.coverage import coverage
from fieldmap.terrain.slope import slope

UTM = CRS.from_epsg(32615)
WEST, NORTH, CELL, SIZE = 500_000.0, 4_500_000.0, 10.0, 400
#: T / 2h = 0.8889
MOWER = Machine(id="m", name="m", kind="pull-type", track_width_m=1.6, cg_height_m=0.9)


def elevation(path: Path, *, crs: str = "EPSG:32615") -> Path:
    """Hills 4 km wide, some level ground in the east of it, a gap in the south."""
    row, column = np.indices((SIZE, SIZE), dtype=float)
    values = 250 + 25 * np.sin(row / 17) * np.cos(column / 13)
    values[:, 300:] = 250.0
    values[350:, :100] = -9999.0
    with rasterio.open(
        path, "w", driver="GTiff", count=1, height=SIZE, width=SIZE, dtype="float32", crs=crs,
        nodata=-9999.0, transform=Affine(CELL, 0, WEST, 0, -CELL, NORTH),
    ) as file:  # fmt: skip
        file.write(values.astype(np.float32), 1)
        file.units = ("m",)
    return path


def blob(column: float, row: float, size: float, seed: int) -> shapely.Polygon:
    around = np.linspace(0, 2 * math.pi, 15, endpoint=False)
    radii = size * np.random.default_rng(seed).uniform(0.6, 1.0, 15)
    east = WEST + CELL * (column + radii * np.cos(around))
    return shapely.Polygon(np.column_stack([east, NORTH - CELL * (row + radii * np.sin(around))]))


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Farm:
    """Sixty fields over the hills, one on level ground, one in the gap, one beyond the raster."""
    folder = tmp_path_factory.mktemp("farm")
    elevation(folder / "elevation.tif")
    rng = np.random.default_rng(2)
    fields = {f"F{k}": blob(*rng.uniform(30, 270, 2), rng.uniform(5, 20), k) for k in range(60)}
    fields |= {"level": blob(350, 100, 20, 1), "gap": blob(50, 380, 15, 2)}
    fields |= {"half": blob(50, 350, 15, 4), "beyond": blob(900, 900, 20, 3)}
    table = gpd.GeoDataFrame(
        {"field_id": list(fields)}, geometry=list(fields.values()), crs="EPSG:32615"
    )
    table.to_file(folder / "fields.gpkg")
    (folder / "farm.toml").write_text(
        'name = "Many"\nunits = "metric"\ntime_zone = "America/Chicago"\ncrs = "EPSG:32615"\n'
        '[files]\nfields = "fields.gpkg"\nelevation = "elevation.tif"\n',
        "utf-8",
    )
    return load_farm(folder)


def with_cells(farm: Farm, **figures: float) -> Farm:
    tables = farm.tables.with_overrides({f"survey.{key}": held for key, held in figures.items()})
    return dataclasses.replace(farm, tables=tables)


def test_the_table_by_hand(farm: Farm) -> None:
    """By hand: a row a field, the columns named, level ground level and unknown ground unknown."""
    table = survey_slopes(farm, machine=MOWER).table.set_index("field_id")
    assert list(table.columns) == [
        "area_ha", "slope_known_share", "slope_mean_pct", "slope_p95_pct", "slope_max_pct",
        *(f"share_slope_{k}" for k in range(6)), *(f"share_use_{k}" for k in range(4)), "cell_m",
    ]  # fmt: skip
    assert len(table) == 64
    assert table["area_ha"].to_numpy() == pytest.approx(farm.fields.area.to_numpy() / 1e4)
    level = table.loc["level"]
    assert level["slope_known_share"] == 1.0
    assert (level["slope_mean_pct"], level["slope_max_pct"]) == (0, 0)
    assert level["share_slope_0"] == pytest.approx(1.0, abs=1e-12)
    # only the bump leans: asin(0.15 / 1.6), tangent over 0.8889 is 0.106
    assert (level["share_use_0"], level["cell_m"]) == pytest.approx((1.0, 10.0), abs=1e-12)
    for name in ("gap", "beyond"):
        lost = table.loc[name].drop(["area_ha", "cell_m"])
        assert lost.pop("slope_known_share") == 0.0
        assert lost.isna().all()
    half = table.loc["half"]
    assert 0.2 < half["slope_known_share"] < 0.8
    shares = half[[f"share_slope_{k}" for k in range(6)]].sum()
    assert shares == pytest.approx(half["slope_known_share"])


def test_one_by_one_referee(farm: Farm) -> None:
    """Referee: window, ``slope()``, ``coverage()`` and numpy, field by field."""
    found = survey_slopes(farm).table
    with ElevationFile(farm.elevation) as file:
        for row in (0, 7, 21, 33, 59):
            field = farm.fields.geometry.iloc[row]
            heights = file.window(field.bounds)
            percent = slope(heights, crs=UTM).percent.values.astype(float)
            share = coverage(field, heights.transform, heights.shape)
            inside = share > 0
            mean = np.average(percent[inside], weights=share[inside])
            high = np.quantile(percent[inside], 0.95, weights=share[inside], method="inverted_cdf")
            assert found["slope_mean_pct"][row] == pytest.approx(mean, rel=1e-9)
            assert found["slope_p95_pct"][row] == pytest.approx(high, rel=1e-6)
            assert found["slope_max_pct"][row] == pytest.approx(percent[inside].max(), rel=1e-6)


@pytest.mark.parametrize(
    ("read_cells", "waste"), [(1.0, 0.0), (5000.0, 1.0), (20_000.0, 4.0), (1e9, 1e9)]
)
def test_pieces_do_not_matter_property(
    farm: Farm, read_cells: float, waste: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Property: however the raster is cut up for reading, every figure stays, to 1e-9."""
    whole = survey_slopes(farm, machine=MOWER).table
    monkeypatch.setattr("fieldmap.survey._FEW_CELLS", 0)
    cut = survey_slopes(with_cells(farm, read_cells=read_cells, waste=waste), machine=MOWER).table
    pd.testing.assert_frame_equal(whole, cut, rtol=1e-9, atol=1e-12)


def test_the_ground_between_is_not_read_by_hand(
    farm: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By hand: two small fields in far corners: two small windows; each piece keeps the limit."""
    read: list[int] = []
    real = ElevationFile.window

    def watched(self: ElevationFile, bounds: tuple[float, float, float, float]) -> object:
        grid = real(self, bounds)
        read.append(grid.values.size)
        return grid

    monkeypatch.setattr(ElevationFile, "window", watched)
    monkeypatch.setattr("fieldmap.survey._FEW_CELLS", 0)
    corners = farm.fields.iloc[:2].set_geometry(
        gpd.GeoSeries([blob(10, 10, 5, 1), blob(390, 390, 5, 2)], crs=UTM)
    )
    survey_slopes(dataclasses.replace(farm, fields=corners))
    assert len(read) == 2
    assert max(read) < 20 * 20
    read.clear()
    survey_slopes(with_cells(farm, read_cells=12_000.0))
    assert len(read) > 5
    assert max(read) <= 12_000
    assert sum(read) < SIZE * SIZE * 2


def test_headings_and_machine_by_hand(farm: Farm) -> None:
    """By hand: straight up and down there is no side slope; no heading given counts it all across.

    The plane rises 30 % to the east: across, (0.3 + 0.0942) / (1 - 0.3 x 0.0942) / 0.8889 = 0.456.
    """
    column = np.indices((60, 60), dtype=float)[1]
    path = farm.folder / "plane.tif"
    with rasterio.open(
        path, "w", driver="GTiff", count=1, height=60, width=60, dtype="float32",
        crs="EPSG:32615", transform=Affine(CELL, 0, WEST, 0, -CELL, NORTH),
    ) as file:  # fmt: skip
        file.write((3.0 * column).astype(np.float32), 1)
        file.units = ("m",)
    fields = farm.fields.iloc[:2].set_geometry(
        gpd.GeoSeries([blob(20, 20, 9, 1), blob(40, 40, 9, 2)], crs=UTM)
    )
    steep = dataclasses.replace(farm, fields=fields, elevation=path)
    table = survey_slopes(steep, machine=MOWER, headings_deg={"F0": 90.0}).table
    use = table[[f"share_use_{k}" for k in range(4)]].to_numpy()
    assert use == pytest.approx(np.array([[1, 0, 0, 0], [0, 1, 0, 0]]), abs=1e-12)
    unmeasured = MOWER.model_copy(update={"cg_height_m": None})
    for machine in (None, unmeasured):
        unknown = survey_slopes(steep, machine=machine).table
        assert unknown[[f"share_use_{k}" for k in range(4)]].isna().all(axis=None)
        assert unknown["slope_mean_pct"].to_numpy() == pytest.approx(30.0, rel=1e-5)


def test_fields_asked_for_by_hand(farm: Farm) -> None:
    """By hand: only these, in the farm's order; a strange name is told."""
    whole = survey_slopes(farm).table.set_index("field_id")
    some = survey_slopes(farm, field_ids=["level", "F7"]).table
    assert some["field_id"].tolist() == ["F7", "level"]
    assert some["slope_mean_pct"][0] == whole.loc["F7", "slope_mean_pct"]
    with pytest.raises(MisuseError, match="no such field: F99"):
        survey_slopes(farm, field_ids=["F7", "F99"])
    with pytest.raises(MisuseError, match="no such field: X"):
        survey_slopes(farm, headings_deg={"X": 10.0})


def test_no_elevation_by_hand(farm: Farm) -> None:
    """By hand: a farm without elevation has areas and nothing else."""
    table = survey_slopes(dataclasses.replace(farm, elevation=None), machine=MOWER).table
    assert table["area_ha"].notna().all()
    assert (table["slope_known_share"] == 0).all()
    assert table.drop(columns=["field_id", "area_ha", "slope_known_share"]).isna().all(axis=None)


def test_users_own_breaks_win_by_hand(farm: Farm) -> None:
    """By hand: a break given in the farm folder moves the classes."""
    tables = farm.tables.with_overrides({"terrain.break_1": 0.0})
    table = survey_slopes(dataclasses.replace(farm, tables=tables)).table.set_index("field_id")
    level = table.loc["level", ["share_slope_0", "share_slope_1"]].to_numpy(float)
    assert level == pytest.approx([0.0, 1.0], abs=1e-12)


def test_another_system_referee(farm: Farm, tmp_path: Path) -> None:
    """Referee: the same raster under another datum's name, whose metres lie the same (to a metre).

    NAD83 and WGS 84 zone 15 differ by about a metre at most; the figures to 0.05 points.
    """
    other = dataclasses.replace(farm, elevation=elevation(tmp_path / "e.tif", crs="EPSG:26915"))
    ours, theirs = survey_slopes(farm).table, survey_slopes(other).table
    for name in ("slope_mean_pct", "slope_p95_pct"):
        assert np.nanmax(np.abs(ours[name] - theirs[name])) < 0.05


def test_demo_farm_by_hand(demo_geodata: Path) -> None:
    """By hand: on the invented farm the figures are in order, and the shares make up the known."""
    farm = load_farm(demo_geodata, with_roads=False)
    table = survey_slopes(farm, machine=farm.machine(None)).table
    known = table[table["slope_known_share"] > 0]
    assert len(known) > 5
    assert (known["slope_mean_pct"] <= known["slope_p95_pct"] + 1e-9).sum() > 0.9 * len(known)
    assert (known["slope_p95_pct"] <= known["slope_max_pct"]).all()
    shares = known[[f"share_slope_{k}" for k in range(6)]].sum(axis=1)
    assert shares.to_numpy() == pytest.approx(known["slope_known_share"].to_numpy())
