"""What governs a cell: order of causes, marks, and ground nobody knows."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Transformer
from small_ground import (
    SOUTH,
    TABLES,
    UTM,
    WEST,
    box,
    heights,
    layers_of,
    marks,
    mower,
    plane,
    seen_in,
)

from fieldmap.finding import rank
from fieldmap.grid import Grid
from fieldmap.machine import Machine
from fieldmap.risk import causes
from fieldmap.risk.ground import slope_findings
from fieldmap.risk.layers import Layers, _governing, empty_ground, field_layers
from fieldmap.risk.lie import Heights
from fieldmap.risk.side_slope import limits_for

FIELD = box(20, 20, 100, 100)
KINDS = causes.hazard_codes(TABLES)
ALL = causes.all_causes(TABLES)


def share(layers: Layers, level: str) -> float:
    """Share of the field's cells at a level, before it is asked whether anybody looked."""
    ranks = causes.level_ranks(causes.all_causes(TABLES))[layers.acts.values.astype(int)]
    return float((ranks[layers.inside] == rank(level)).mean())  # type: ignore[arg-type]


def governing(
    percent: float,
    side: float,
    *,
    mark: str = "",
    unlooked: bool = False,
    cell_m: float = 5.0,
    machine: Machine | None = None,
    **more: object,
) -> str:
    """What governs one cell of which so much is known; ``more`` replaces parts of its lie."""
    one = np.ones((1, 1))
    given = {
        "inside": one > 0,
        "ground": SimpleNamespace(percent=SimpleNamespace(values=percent * one)),
        "across": SimpleNamespace(values=side * one),
        "steep_high": SimpleNamespace(values=(percent + 1.0) * one),
        "side_high": (abs(side) + 0.5) * one,
        "headland": one < 0,
        "in_hollow": one < 0,
        "at_edge": one < 0,
        "near_open_edge": one < 0,
        "speed": SimpleNamespace(by_sight_kmh=np.inf * one, by_turn_kmh=np.inf * one),
        "work": SimpleNamespace(radius_m=5.0, fast_kmh=11.0, own_speed=True),
        "limits": limits_for(machine or mower(), tables=TABLES),
    }
    lie = SimpleNamespace(**{**given, **more})
    for name, held in (("sight_m", 10.0 * one), ("range_m", 50.0)):
        lie.speed.__dict__.setdefault(name, held)
    code = _governing(
        lie,
        np.full((1, 1), KINDS[mark] if mark else 0, np.int16),
        np.array([[unlooked]]),
        np.array([[not unlooked]]),
        Heights(None, cell_m, cell_m, "elevation.tif"),
        TABLES,
    )
    return ALL[int(code[0, 0])].key


# slope %, side slope %, mark, flooded and unlooked -> what governs
@pytest.mark.parametrize(
    ("percent", "side", "mark", "unlooked", "governs"),
    [
        (5.0, 5.0, "", False, "none"),
        (5.0, -16.0, "", False, "some side slope"),
        (22.0, 16.0, "", False, "rather steep"),
        (29.1, 5.0, "", False, "perhaps too steep"),
        (19.1, 5.0, "", False, "rather steep"),
        (26.0, 25.0, "", False, "side slope"),
        (30.0, 30.0, "", False, "steep"),
        (math.nan, math.nan, "", False, "no elevation"),
        (math.nan, math.nan, "", True, "no elevation"),
        (5.0, 5.0, "", True, "flooded, not looked at"),
        (26.0, 26.0, "", True, "side slope"),
        (5.0, 5.0, "stone", False, "stone"),
        (5.0, 5.0, "stone", True, "stone"),
        (math.nan, math.nan, "stone", True, "stone"),
        (5.0, 5.0, "silt", False, "silt"),
        (5.0, 5.0, "silt", True, "flooded, not looked at"),
        (16.0, 16.0, "silt", False, "silt"),
        (math.nan, math.nan, "silt", False, "no elevation"),
        (26.0, 26.0, "silt", False, "side slope"),
        (26.0, 26.0, "stone", False, "stone"),
        (31.0, 5.0, "stone", False, "steep"),
        (31.0, 5.0, "drum", False, "drum"),
        (5.0, 5.0, "unknown", False, "unknown"),
        (26.0, 26.0, "unknown", False, "side slope"),
    ],
)
def test_the_worst_cause_governs_by_hand(
    percent: float, side: float, mark: str, unlooked: bool, governs: str
) -> None:
    """By hand: care under unknown under stop; of two that stop, the one that keeps out."""
    found = governing(percent, side, mark=mark, unlooked=unlooked)
    assert found == governs


@pytest.mark.parametrize(
    ("percent", "governs"),
    [
        (5.0, "coarse elevation"),
        (22.0, "coarse elevation"),
        (31.0, "steep"),
        (math.nan, "no elevation"),
    ],
)
def test_blind_cells_call_gentle_ground_unknown_by_hand(percent: float, governs: str) -> None:
    """By hand: a cell that sees no bank cannot call ground gentle; steep it can."""
    assert governing(percent, min(percent, 10.0), cell_m=31.0) == governs


@pytest.mark.parametrize(
    ("machine", "side", "governs"),
    [
        ({"cg_height_m": None}, 0.0, "machine not known"),
        ({"cg_height_m": None}, 26.0, "side slope"),
        ({"cg_height_m": None, "side_slope_limit_pct": 30.0}, 5.0, "none"),
        ({"cg_height_m": None, "side_slope_limit_pct": 30.0}, 16.0, "machine not known"),
        ({"cg_height_m": None, "side_slope_limit_pct": 30.0}, 31.0, "side slope"),
        ({"side_slope_limit_pct": 30.0}, 16.0, "none"),
        ({"side_slope_limit_pct": 30.0}, 19.0, "some side slope"),
        ({}, 24.6, "perhaps side slope"),
        ({}, 14.6, "some side slope"),
    ],
)
def test_what_is_not_known_of_the_machine_by_hand(
    machine: dict[str, object], side: float, governs: str
) -> None:
    """By hand: the user's own limit alone proves nothing beyond the tool's care limit of 15 %."""
    held = mower(**machine)
    assert governing(min(side, 18.9), side, machine=held) == governs


YES = np.ones((1, 1), bool)
INF, NAN, SEVEN, TWELVE = (np.full((1, 1), one) for one in (np.inf, np.nan, 7.0, 12.0))
NOUGHT, EIGHT, ELEVEN = (np.full((1, 1), one) for one in (0.0, 8.0, 11.0))


@pytest.mark.parametrize(
    ("percent", "more", "governs"),
    [
        (5.0, {"at_edge": YES}, "drop-off"),
        (31.0, {"at_edge": YES}, "drop-off"),
        (5.0, {"near_open_edge": YES}, "perhaps a highwall"),
        (25.0, {"headland": YES}, "steep headland"),
        (25.0, {}, "rather steep"),
        (5.0, {"in_hollow": YES}, "hollow looked at"),
        (5.0, {"in_hollow": YES, "unlooked": True}, "flooded, not looked at"),
        (5.0, {"speed": SimpleNamespace(by_sight_kmh=SEVEN, by_turn_kmh=INF)}, "blind crest"),
        (5.0, {"speed": SimpleNamespace(by_sight_kmh=TWELVE, by_turn_kmh=INF)}, "none"),
        (5.0, {"speed": SimpleNamespace(by_sight_kmh=ELEVEN, by_turn_kmh=INF)}, "none"),
        (
            5.0,
            {"speed": SimpleNamespace(by_sight_kmh=NOUGHT, by_turn_kmh=INF, sight_m=INF)},
            "no braking",
        ),
        (5.0, {"speed": SimpleNamespace(by_sight_kmh=INF, by_turn_kmh=EIGHT)}, "sloping headland"),
        (15.0, {"headland": YES}, "sloping headland"),
        (
            5.0,
            {"speed": SimpleNamespace(by_sight_kmh=NAN, by_turn_kmh=INF)},
            "sight not known",
        ),
        (
            5.0,
            {"speed": SimpleNamespace(by_sight_kmh=INF, by_turn_kmh=SEVEN)},
            "sloping headland",
        ),
        (
            5.0,
            {
                "speed": SimpleNamespace(by_sight_kmh=INF, by_turn_kmh=SEVEN),
                "work": SimpleNamespace(radius_m=math.nan, fast_kmh=11.0, own_speed=True),
            },
            "turning not known",
        ),
    ],
)
def test_the_lie_of_the_land_by_hand(percent: float, more: dict[str, object], governs: str) -> None:
    """By hand: edges keep out, headlands count the full slope, brows and turns slow down."""
    assert governing(percent, 5.0, **more) == governs


def test_a_drum_is_not_hidden_by_a_stone_regression() -> None:
    """Regression: where two marks overlap, keep out wins over pick up first, in either order."""
    stone, drum = box(30, 30, 50, 50), box(40, 30, 60, 50)
    for lying in (
        marks(("stone", stone), ("drum", drum)),
        marks(("drum", drum), ("stone", stone)),
    ):
        layers = layers_of(FIELD, heights(plane(0.0, 0.0)), lying=lying)
        alone = layers_of(FIELD, heights(plane(0.0, 0.0)), lying=marks(("drum", drum)))
        reached = alone.cause.values == KINDS["drum"]
        assert reached.sum() >= 16
        assert (layers.cause.values[reached] == KINDS["drum"]).all()
        assert (layers.cause.values == KINDS["stone"]).any()


@given(
    x=st.floats(20.01, 99.99),
    y=st.floats(20.01, 99.99),
    radius=st.floats(0.001, 0.4),
    cell_m=st.sampled_from([0.7, 5.0, 30.0]),
)
@settings(max_examples=60, deadline=None)
def test_a_mark_is_never_lost_between_cells_property(
    x: float, y: float, radius: float, cell_m: float
) -> None:
    """Property: however small a mark and large the cells, ground under it is stopped."""
    cells = math.ceil(130 / cell_m)
    spot = shapely.Point(WEST + x, SOUTH + y).buffer(radius)
    layers = layers_of(
        FIELD,
        heights(np.zeros((cells, cells)), cell_m=cell_m),
        lying=marks(("stone", spot)),
    )
    under = (layers.cause.values == KINDS["stone"]) & layers.inside
    assert under.any()
    column, row = ~layers.cause.transform @ (WEST + x, SOUTH + y)
    assert layers.cause.values[math.floor(row), math.floor(column)] == KINDS["stone"]


def test_no_marks_by_hand() -> None:
    """By hand: gentle, dry, unmarked ground of a known machine has nothing against it."""
    layers = layers_of(FIELD, heights(plane(0.02, 0.01)))
    assert share(layers, "ok") == 1.0


def test_a_field_off_the_elevation_is_unknown_by_hand() -> None:
    """By hand: heights that are nowhere known make every cell unknown and name the lack."""
    ground = heights(np.full((24, 24), np.nan))
    layers = layers_of(FIELD, ground)
    assert share(layers, "unknown") == 1.0
    assert layers.lie.heading is None
    assert np.isnan(layers.lie.use.values).all()
    (told,) = slope_findings("F", layers, ground, mower(), tables=TABLES)
    assert told.finding.level == "unknown"
    assert told.change


def test_a_farm_without_elevation_is_unknown_by_hand() -> None:
    """By hand: no elevation at all, and the marks still stop."""
    grid = empty_ground(FIELD, UTM, cell_m=5.0)
    ground = Heights(grid, 5.0, 5.0, "")
    layers = layers_of(FIELD, ground, lying=marks(("stone", box(50, 50, 51, 51))))
    assert share(layers, "unknown") + share(layers, "stop") == 1.0
    assert share(layers, "stop") > 0
    (told,) = slope_findings("F", layers, ground, mower(), tables=TABLES)
    assert told.finding.level == "unknown"


def test_cells_are_split_not_blurred_by_hand() -> None:
    """By hand: 30 m cells become 5 m cells; blind begins above 30 m, or by what they came from."""
    flat, field = np.zeros((7, 7)), box(40, 40, 160, 160)
    layers = layers_of(field, heights(flat, cell_m=30.0))
    assert layers.lie.cell_area_m2 == pytest.approx(25.0)
    assert share(layers, "ok") == 1.0
    assert share(layers_of(field, heights(flat, cell_m=30.1)), "unknown") == 1.0
    assert share(layers_of(field, heights(flat, cell_m=30.0, source_cell_m=90.0)), "unknown") == 1.0


def test_huge_cells_do_not_fill_memory_regression() -> None:
    """Regression: cells of 25 km were split to 5 m over five cells each way."""
    middle = shapely.box(WEST + 62_000, SOUTH + 62_000, WEST + 62_400, SOUTH + 62_300)
    layers = layers_of(middle, heights(np.zeros((5, 5)), cell_m=25_000.0))
    assert max(layers.level.shape) < 100
    assert share(layers, "unknown") == 1.0


def test_a_field_smaller_than_a_cell_by_hand() -> None:
    """By hand: a field of a quarter of a square metre lies on a cell, and is judged there."""
    small = box(52.1, 52.1, 52.6, 52.6)
    layers = layers_of(small, heights(plane(0.4, 0.0)))
    assert layers.inside.sum() == 1
    assert share(layers, "stop") == 1.0


def test_parts_and_holes_by_hand() -> None:
    """By hand: cells of both parts are in, the middle of a pond is not."""
    parts = shapely.union(box(10, 10, 30, 100), box(60, 10, 110, 100))
    field = shapely.difference(parts, box(70, 30, 100, 80))
    layers = layers_of(field, heights(plane(0.0, 0.0)))
    for x, y, held in ((20, 50, True), (45, 50, False), (85, 55, False), (65, 55, True)):
        column, row = ~layers.level.transform @ (WEST + x, SOUTH + y)
        assert layers.inside[math.floor(row), math.floor(column)] == held, (x, y)


def test_a_raster_in_degrees_says_the_same_property() -> None:
    """Property: the same steep half on a raster in degrees stops the same ground, to 3 %."""
    degrees = CRS.from_epsg(4326)
    lon, lat = Transformer.from_crs(UTM, degrees, always_xy=True).transform(WEST, SOUTH)
    size, cell = 90, 2e-5
    transform = Affine(cell, 0, lon - 10 * cell, 0, -cell, lat + 75 * cell)
    rows, columns = np.indices((size, size))
    xs, ys = transform @ (columns + 0.5, rows + 0.5)
    east, _ = Transformer.from_crs(degrees, UTM, always_xy=True).transform(xs, ys)
    values = 0.4 * np.maximum(east - WEST - 60, 0)
    grid = Grid(values.astype(np.float32), transform, degrees, "m", "elevation")
    cell_m = cell * 111_000 * math.sqrt(math.cos(math.radians(lat)))
    layers = field_layers(
        FIELD,
        Heights(grid, cell_m, cell_m, "elevation.tif"),
        marks(),
        seen_in(FIELD),
        crs=UTM,
        machine=mower(),
        tables=TABLES,
    )
    assert share(layers, "stop") == pytest.approx(0.5, abs=0.03)
    assert np.nanmax(layers.lie.ground.percent.values) == pytest.approx(40.0, abs=0.1)
