"""Whatever is taken from the ground or the machine, no cell and no finding gets better."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from small_ground import (
    AFTER,
    SOUTH,
    TABLES,
    WEST,
    box,
    heights,
    layers_of,
    mower,
    plane,
    seen_in,
    there_and_back,
)

from fieldmap.finding import Level, rank
from fieldmap.machine import Machine
from fieldmap.risk import causes
from fieldmap.risk.ground import slope_findings
from fieldmap.risk.layers import Layers
from fieldmap.risk.lie import Heights
from fieldmap.risk.lie_findings import lie_findings
from fieldmap.tables import Tables

CELL_M, CELLS = 4.0, 30
FIELD = box(30, 30, 90, 86)
SEEN = seen_in(FIELD, (AFTER, there_and_back(28, 28, 92, 90, apart_m=1.0)), sward_m=0.1)
UNKNOWN = rank("unknown")
ALL = causes.all_causes(TABLES)


def told(layers: Layers, ground: Heights, machine: Machine | None) -> dict[str, Level]:
    """Levels of all that the ground is said to be, by what it is about."""
    found = [
        *slope_findings("F", layers, ground, machine, tables=TABLES),
        *lie_findings("F", layers, ground, machine, tables=TABLES),
    ]
    return {one.finding.what: one.finding.level for one in found}


def judged(
    values: np.ndarray, machine: Machine | None, *, error_m: float, tables: Tables = TABLES
) -> tuple[Layers, dict[str, Level]]:
    ground = heights(values, cell_m=CELL_M, error_m=error_m)
    known = machine is not None
    layers = layers_of(FIELD, ground, seen=SEEN, machine=machine, tables=tables, known=known)
    return layers, told(layers, ground, machine)


def assert_not_better(
    after: tuple[Layers, dict[str, Level]], before: tuple[Layers, dict[str, Level]]
) -> None:
    """A stop may become unknown; nothing else gets better, neither cell nor finding."""
    inside = before[0].inside
    was, now = before[0].level.values[inside], after[0].level.values[inside]
    bad = np.flatnonzero(now < np.minimum(was, UNKNOWN))
    named = {
        (ALL[int(one)].key, ALL[int(other)].key)
        for one, other in zip(
            before[0].cause.values[inside][bad], after[0].cause.values[inside][bad], strict=True
        )
    }
    assert not named
    for what, level in after[1].items():
        if what in before[1]:
            assert rank(level) >= min(rank(before[1][what]), UNKNOWN), what


def shaped(parts: dict[str, Any]) -> np.ndarray:
    """A plane with a brow, a pit, a wall and some roughness on it, in metres."""
    row, column = np.indices((CELLS, CELLS), dtype=float)
    x, y = CELL_M * column, -CELL_M * row
    out = parts["east"] * x + parts["north"] * y
    out += parts["brow_m"] * np.exp(-(((column - parts["brow_at"]) / 3.0) ** 2))
    near = (column - parts["pit_x"]) ** 2 + (row - parts["pit_y"]) ** 2
    out -= parts["pit_m"] * (near <= parts["pit_r"] ** 2)
    out += parts["wall_m"] * (row < parts["wall_at"])
    rng = np.random.default_rng(parts["seed"])
    return out + rng.normal(0.0, parts["rough_m"], out.shape)


GROUNDS = st.fixed_dictionaries(
    {
        "east": st.sampled_from([0.0, 0.02, 0.13, 0.16, 0.24, 0.28]),
        "north": st.sampled_from([0.0, 0.01, -0.1, 0.17]),
        "brow_m": st.sampled_from([0.0, 1.0, 2.5]),
        "brow_at": st.integers(5, 25),
        "pit_m": st.sampled_from([0.0, 0.5, 2.0]),
        "pit_x": st.integers(6, 24),
        "pit_y": st.integers(6, 24),
        "pit_r": st.integers(1, 4),
        "wall_m": st.sampled_from([0.0, 0.0, 3.0, 7.5, 20.0]),
        "wall_at": st.integers(2, 26),
        "rough_m": st.sampled_from([0.0, 0.02, 0.2]),
        "seed": st.integers(0, 99),
    }
)
MACHINES = st.fixed_dictionaries(
    {
        "working_width_m": st.sampled_from([1.5, 3.0, 8.7, 30.0]),
        "turning_radius_m": st.sampled_from([1.0, 3.5, 9.0, 20.0]),
        "field_speed_kmh": st.sampled_from([5.0, 11.0, 28.0]),
        "cg_height_m": st.sampled_from([0.7, 1.0, 1.6]),
    }
)
ERRORS = st.sampled_from([1e-6, 0.1, 0.4])
PLAIN = {
    "east": 0.0, "north": 0.0, "brow_m": 0.0, "brow_at": 5, "pit_m": 0.0, "pit_x": 6, "pit_y": 6,
    "pit_r": 1, "wall_m": 0.0, "wall_at": 2, "rough_m": 0.0, "seed": 0,
}  # fmt: skip
USUAL = {
    "working_width_m": 3.0,
    "turning_radius_m": 5.0,
    "field_speed_kmh": 11.0,
    "cg_height_m": 1.0,
}


def test_flat_and_all_known_is_ok_by_hand() -> None:
    """By hand: level ground, a known machine, walked all over: no cell and no finding but ok."""
    layers, found = judged(shaped(PLAIN), mower(), error_m=1e-6)
    assert (layers.level.values[layers.inside] == 0).all()
    found.pop("wet ground")  # nobody gave the farm's drainage here
    assert set(found.values()) == {"ok"}


def governs(layers: Layers, x: float, y: float) -> str:
    """What governs the cell at a place in metres from the lower left corner."""
    column, row = ~layers.cause.transform @ (WEST + x, SOUTH + y)
    return ALL[int(layers.cause.values[math.floor(row), math.floor(column)])].key


def test_a_plane_over_the_machines_limit_by_hand() -> None:
    """By hand: 12 % to the east, limit 10 %: run east and west; the headland is too steep."""
    layers, found = judged(
        plane(0.12, 0.0, cells=CELLS, cell_m=CELL_M), mower(side_slope_limit_pct=10.0), error_m=1e-6
    )
    assert layers.lie.heading is not None
    assert layers.lie.heading.degrees == 90.0
    assert governs(layers, 60, 58) == "none"
    assert governs(layers, 32, 58) == "steep headland"
    assert found["turning on the headland"] == "stop"
    assert found["side slope on the best heading"] == "ok"


def test_a_headland_within_the_error_of_its_limit_by_hand() -> None:
    """By hand: 24 % with a band of 1 to each side: no turning there before somebody measured."""
    values = plane(0.24, 0.0, cells=CELLS, cell_m=CELL_M)
    layers, found = judged(values, mower(), error_m=0.1)
    assert layers.lie.steep_high.values[layers.inside].min() > 25.0
    assert governs(layers, 32, 58) == "perhaps side slope"
    assert found["turning on the headland"] == "unknown"
    exact, found = judged(values, mower(), error_m=1e-6)
    assert governs(exact, 32, 58) == "rather steep"
    assert found["turning on the headland"] == "care"


def test_the_turn_of_a_machine_nobody_measured_by_hand() -> None:
    """By hand: at 8 km/h and 3 m radius a turn leans 9.5 deg; of 14 deg 7.9 % of slope are left."""
    one = mower(turning_radius_m=None)
    for slope, cause in ((0.077, "none"), (0.081, "turning not known")):
        values = plane(slope, 0.0, cells=CELLS, cell_m=CELL_M)
        layers, found = judged(values, one, error_m=1e-6)
        assert governs(layers, 32, 58) == cause
        assert found["turning on the headland"] == ("ok" if cause == "none" else "unknown")


def test_beyond_a_headland_of_unknown_depth_by_hand() -> None:
    """By hand: 9 laps of 4 m are reckoned for 12 m radius; what needs more turns in the middle."""
    field, one = box(20, 20, 220, 220), mower(turning_radius_m=None)
    for slope, cause in ((0.12, "none"), (0.16, "turning not known")):
        ground = heights(plane(slope, 0.0, cells=60, cell_m=CELL_M), cell_m=CELL_M)
        layers = layers_of(field, ground, machine=one)
        assert layers.lie.work.laps == 9
        row, column = (size // 2 for size in layers.acts.shape)
        assert not layers.lie.headland[row, column]
        assert ALL[int(layers.acts.values[row, column])].key == cause


def test_a_wide_turn_on_ground_of_care_by_hand() -> None:
    """By hand: 16 % under a turn of 20 m radius leans 10.5 deg of 14; care begins at 15 %."""
    values = plane(0.16, 0.0, cells=CELLS, cell_m=CELL_M)
    layers, found = judged(values, mower(turning_radius_m=20.0, working_width_m=9.0), error_m=1e-6)
    assert governs(layers, 32, 58) == "sloping headland"
    assert found["turning on the headland"] == "care"


def test_a_strip_narrower_than_the_mower_is_all_headland_by_hand() -> None:
    """By hand: no lap fits on 3 m of ground; the machine turns there all the same."""
    strip = box(30, 50, 90, 53)
    ground = heights(plane(0.0, 0.26, cells=CELLS, cell_m=CELL_M), cell_m=CELL_M)
    layers = layers_of(strip, ground, machine=mower())
    assert (layers.lie.headland & layers.inside).sum() == layers.inside.sum()
    assert {ALL[int(code)].key for code in layers.acts.values[layers.inside]} == {"steep headland"}


def test_a_wall_in_a_hole_of_the_heights_by_hand() -> None:
    """By hand: 8 m of wall on 4 m cells is steep; without its heights nobody may go within 30 m."""
    values = shaped(PLAIN | {"wall_m": 8.0, "wall_at": 5})
    layers, found = judged(values, mower(), error_m=1e-6)
    assert layers.lie.edges["highwall"].tolist() == [True]
    assert governs(layers, 60, 82) == "drop-off"
    assert governs(layers, 60, 50) == "none"
    values[3:7, :] = np.nan
    values[:3, :] = 0.0
    blank, seen = judged(values, mower(), error_m=1e-6)
    assert blank.lie.edges.empty
    assert np.isfinite(blank.lie.ground.percent.values[blank.inside]).all()
    assert governs(blank, 60, 82) == "perhaps a highwall"
    assert governs(blank, 60, 50) == "none"
    assert (found["drop-offs and bench edges"], seen["drop-offs and bench edges"]) == (
        "care",
        "unknown",
    )


def test_a_pit_by_hand() -> None:
    """By hand: a pit that somebody walked over is care; nobody, or a hole in its place, unknown."""
    values = shaped(PLAIN | {"pit_m": 0.5, "pit_x": 15, "pit_y": 14, "pit_r": 2})
    layers, found = judged(values, mower(), error_m=1e-6)
    assert layers.lie.hollows["depth_m"].tolist() == [0.5]
    assert (governs(layers, 62, 62), found["hollows"]) == ("hollow looked at", "care")
    ground = heights(values, cell_m=CELL_M)
    bare = layers_of(FIELD, ground)
    assert governs(bare, 62, 62) == "hollow"
    assert told(bare, ground, mower())["hollows"] == "unknown"
    values[10:19, 11:20] = np.nan
    blank, found = judged(values, mower(), error_m=1e-6)
    assert blank.lie.hollows.empty
    assert found["hollows"] == "unknown"


def test_a_hollow_under_something_worse_is_not_looked_at_regression() -> None:
    """Regression: an unknown machine lay over the hollow, and its finding fell to care."""
    ground = heights(
        shaped(PLAIN | {"pit_m": 0.5, "pit_x": 15, "pit_y": 14, "pit_r": 2}), cell_m=CELL_M
    )
    layers = layers_of(FIELD, ground, known=False)
    assert governs(layers, 62, 62) == "machine not known"
    assert told(layers, ground, None)["hollows"] == "unknown"


def test_a_hole_leaves_the_heading_open_by_hand() -> None:
    """By hand: 16 % run up and down is fine; with a hole in the corner another line may be best."""
    values = plane(0.16, 0.0, cells=CELLS, cell_m=CELL_M)
    assert governs(judged(values, mower(), error_m=1e-6)[0], 60, 58) == "none"
    values[8:10, 8:10] = np.nan
    layers, _ = judged(values, mower(), error_m=1e-6)
    assert governs(layers, 80, 50) == "best heading not known"
    assert "best heading not known" not in {ALL[int(code)].key for code in layers.acts.values.flat}
    gentle = plane(0.05, 0.0, cells=CELLS, cell_m=CELL_M)
    gentle[8:10, 8:10] = np.nan
    assert governs(judged(gentle, mower(), error_m=1e-6)[0], 80, 50) == "none"


def test_a_speed_nobody_gave_by_hand() -> None:
    """By hand: level ground, all seen; but not known whether the machine stops in what is seen."""
    layers, found = judged(shaped(PLAIN), mower(field_speed_kmh=None), error_m=1e-6)
    assert governs(layers, 60, 58) == "field speed not known"
    assert {found[what] for what in ("sight ahead", "field speed limit")} == {"unknown"}
    assert (layers.acts.values[layers.inside] == 0).all()  # no zone is drawn for it


@given(
    parts=GROUNDS,
    machine=MACHINES,
    error_m=ERRORS,
    hole=st.tuples(*(st.integers(2, 22), st.integers(2, 22), st.integers(1, 6), st.integers(1, 6))),
)
@example(
    parts=PLAIN | {"wall_m": 20.0, "wall_at": 5}, machine=USUAL, error_m=0.1, hole=(2, 2, 5, 26)
)
@example(parts=PLAIN | {"pit_m": 2.0, "pit_x": 15, "pit_y": 15, "pit_r": 2}, machine=USUAL,
         error_m=0.1, hole=(11, 11, 8, 8))  # fmt: skip
@example(parts=PLAIN | {"brow_m": 2.5, "brow_at": 15}, machine=USUAL, error_m=0.1,
         hole=(8, 10, 12, 2))  # fmt: skip
@settings(max_examples=120, deadline=None)
def test_a_hole_in_the_heights_never_makes_better_property(
    parts: dict[str, Any], machine: dict[str, float], error_m: float, hole: tuple[int, ...]
) -> None:
    """Property: heights taken out anywhere, near brows, pits, walls, headlands.

    Held for drop-offs no higher than the tool keeps from a highwall that it cannot see (30 m).
    """
    values = shaped(parts)
    row, column, tall, wide = hole
    less = values.copy()
    less[row : row + tall, column : column + wide] = np.nan
    one = mower(**machine)
    before = judged(values, one, error_m=error_m)
    assume(before[0].lie.edges["height_m"].max() < 30.0 or before[0].lie.edges.empty)
    assert_not_better(judged(less, one, error_m=error_m), before)


@given(
    parts=GROUNDS,
    machine=MACHINES,
    error_m=ERRORS,
    gone=st.sampled_from([*USUAL, "track_width_m", "machine", "error"]),
)
@example(parts=PLAIN, machine=USUAL | {"turning_radius_m": 1.0}, error_m=0.1,
         gone="turning_radius_m")  # fmt: skip
@example(parts=PLAIN | {"east": 0.28}, machine=USUAL | {"turning_radius_m": 20.0}, error_m=1e-6,
         gone="turning_radius_m")  # fmt: skip
@example(parts=PLAIN | {"brow_m": 2.5, "brow_at": 15}, machine=USUAL | {"field_speed_kmh": 28.0},
         error_m=0.1, gone="field_speed_kmh")  # fmt: skip
@example(parts=PLAIN | {"pit_m": 2.0, "pit_x": 15, "pit_y": 15}, machine=USUAL, error_m=0.1,
         gone="machine")  # fmt: skip
@settings(max_examples=120, deadline=None)
def test_forgetting_the_machine_never_makes_better_property(
    parts: dict[str, Any], machine: dict[str, float], error_m: float, gone: str
) -> None:
    """Property: any figure of the machine, all of it, or the error of the elevation."""
    values = shaped(parts)
    before = judged(values, mower(**machine), error_m=error_m)
    if gone == "error":
        after = judged(values, mower(**machine), error_m=math.nan)
    elif gone == "machine":
        after = judged(values, None, error_m=error_m)
    else:
        after = judged(values, mower(**{**machine, gone: None}), error_m=error_m)
    assert_not_better(after, before)


@given(parts=GROUNDS, machine=MACHINES, errors=st.tuples(ERRORS, ERRORS).map(sorted))
@settings(max_examples=40, deadline=None)
def test_a_larger_error_never_makes_better_property(
    parts: dict[str, Any], machine: dict[str, float], errors: list[float]
) -> None:
    """Property: the levels go by the upper end of the band."""
    values, one = shaped(parts), mower(**machine)
    before = judged(values, one, error_m=errors[0])
    assert_not_better(judged(values, one, error_m=errors[1]), before)
