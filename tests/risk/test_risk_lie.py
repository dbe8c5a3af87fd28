"""What governs ground of which all, or not all, is known: heights, machine, error. By hand."""

from __future__ import annotations

import math

import numpy as np
from lie_ground import (
    ALL,
    ALL_LEVELS,
    CELL_M,
    CELLS,
    FIELD,
    PLAIN,
    governs,
    judged,
    shaped,
    told,
    wide_look,
)
from small_ground import (
    TABLES,
    box,
    heights,
    layers_of,
    mower,
    plane,
)


def test_flat_and_all_known_is_ok_by_hand() -> None:
    """By hand: level ground, a known machine, walked all over: no cell and no finding but ok."""
    layers, found = judged(shaped(PLAIN), mower(), error_m=1e-6)
    assert (layers.level.values[layers.inside] == 0).all()
    found.pop("wet ground")  # nobody gave the farm's drainage here
    assert set(found.values()) == {"ok"}


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
    assert governs(exact, 32, 58) == "no braking"  # 24 % takes more than wet grass gives
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


def test_use_of_the_limit_by_hand() -> None:
    """By hand: T / 2h is 1; a bump rolls by 4.30 deg, 12 % are 6.84, 8 km/h at 5 m lean 5.75."""
    layers = judged(plane(0.12, 0.0, cells=CELLS, cell_m=CELL_M), mower(), error_m=1e-6)[0]
    row, column = layers.inside.shape[0] // 2, layers.inside.shape[1] // 2
    use = layers.lie.use.values
    assert math.isclose(use[row, column], math.tan(math.radians(4.301)), rel_tol=1e-3)
    assert math.isclose(use[row, 2], math.tan(math.radians(4.301 + 6.843 + 5.750)), rel_tol=1e-3)


def test_a_side_slope_within_the_error_of_its_limit_by_hand() -> None:
    """By hand: one line of travel, along 24 %: 1.8 points of error may bring it over 25 %."""
    mine = TABLES.with_overrides({"side_slopes.headings": 1})
    for percent, error_m, cause in (
        (0.24, 0.1, "perhaps side slope"),
        (0.14, 0.1, "some side slope"),
        (0.24, 1e-6, "rather steep"),
        (0.14, 1e-6, "none"),
    ):
        values = plane(percent, 0.0, cells=CELLS, cell_m=CELL_M)
        layers, found = judged(values, mower(), error_m=error_m, tables=mine)
        assert governs(layers, 60, 58) == cause
        level = ALL_LEVELS[cause] if cause != "rather steep" else "care"
        assert found["side slope on the best heading"] == level


def test_a_turn_wider_than_was_reckoned_by_hand() -> None:
    """By hand: limit 8 % is 4.57 deg, 12 m at 8 km/h lean 2.40: 3.8 % are left, under care."""
    one = mower(turning_radius_m=None, side_slope_limit_pct=8.0)
    for slope, cause in ((0.036, "none"), (0.04, "turning not known")):
        ground = heights(plane(slope, 0.0, cells=60, cell_m=CELL_M), cell_m=CELL_M)
        layers = layers_of(box(20, 20, 220, 220), ground, machine=one)
        row, column = (size // 2 for size in layers.acts.shape)
        assert ALL[int(layers.acts.values[row, column])].key == cause


def test_finer_cells_do_not_see_more_by_hand() -> None:
    """By hand: 0.433 times 0.5 m over the 20 m the raster was made from, not over its own 4 m."""
    ground = heights(shaped(PLAIN), cell_m=CELL_M, source_cell_m=20.0, error_m=0.5)
    assert math.isclose(layers_of(FIELD, ground).lie.sigma, 0.433 * 0.5 / 20, rel_tol=1e-3)


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
        "stop",
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


def test_a_brow_beside_a_hole_leaves_the_heading_open_by_hand() -> None:
    """By hand: a step along the line hides nothing from it, but from any other that may be best."""
    mine = TABLES.with_overrides({"side_slopes.headings": 1, "edges.steep_pct": 200})
    row, column = np.indices((60, 60))
    values = np.where(column < 30, 3.0, 0.0)
    field, at = box(20, 20, 220, 220), (27, 27)
    for hole, cause in ((False, "none"), (True, "best heading not known")):
        held = np.where((row == 50) & (column == 10) & hole, np.nan, values)
        layers = layers_of(field, heights(held, cell_m=CELL_M), tables=mine, seen=wide_look(field))
        assert not layers.lie.headland[at]
        assert ALL[int(layers.cause.values[at])].key == cause


def test_an_edge_that_goes_on_into_a_hole_by_hand() -> None:
    """By hand: a bank of 4.5 m beside the field, its west end gone: all along it may be higher."""
    values = shaped(PLAIN | {"wall_m": 4.5, "wall_at": 5})
    layers, found = judged(values, mower(), error_m=1e-6)
    assert governs(layers, 86, 84) == "none"
    assert found["drop-offs and bench edges"] == "ok"
    values[3:6, :3] = np.nan
    layers, found = judged(values, mower(), error_m=1e-6)
    assert governs(layers, 86, 84) == "perhaps a highwall"
    assert found["drop-offs and bench edges"] == "unknown"


def test_what_a_hole_leaves_of_a_hollow_by_hand() -> None:
    """By hand: 25 cells of 1 m2, fifteen gone: the ten that are left may be part of anything."""
    field = box(5, 5, 35, 35)
    values = np.zeros((40, 40))
    values[18:23, 18:23] = -0.5
    assert len(layers_of(field, heights(values, cell_m=1.0)).lie.hollows) == 1
    values[18:21, 18:23] = np.nan
    left = layers_of(field, heights(values, cell_m=1.0))
    assert left.lie.hollows["open"].tolist() == [True]
    assert left.lie.in_hollow.sum() >= 10
    away = layers_of(box(25, 25, 35, 35), heights(values, cell_m=1.0))
    assert away.lie.hollows.empty


def test_an_error_nobody_gave_by_hand() -> None:
    """By hand: level ground, all else known: every cell and every slope is unknown."""
    layers, found = judged(shaped(PLAIN), mower(), error_m=math.nan)
    assert governs(layers, 60, 58) == "error not known"
    for what in ("error of the elevation", "slope straight up and down", "turning on the headland"):
        assert found[what] == "unknown"


def test_either_side_may_be_lower_by_hand() -> None:
    """By hand: 28 % across one line of travel, to the left as to the right."""
    mine = TABLES.with_overrides({"side_slopes.headings": 1})
    for percent in (0.28, -0.28):
        ground = heights(plane(percent, 0.0, cells=60, cell_m=CELL_M), cell_m=CELL_M)
        layers = layers_of(box(20, 20, 220, 220), ground, tables=mine)
        row, column = (size // 2 for size in layers.acts.shape)
        assert ALL[int(layers.acts.values[row, column])].key == "side slope"


def test_a_headland_beyond_what_is_proven_by_hand() -> None:
    """By hand: the user's 40 % without the centre of gravity prove 15 %; turning stands on 16."""
    one = mower(cg_height_m=None, side_slope_limit_pct=40.0)
    layers = judged(plane(0.16, 0.0, cells=CELLS, cell_m=CELL_M), one, error_m=1e-6)[0]
    assert governs(layers, 32, 58) == "machine not known"
    assert governs(layers, 60, 58) == "none"


def test_ground_that_stops_before_ground_of_care_by_hand() -> None:
    """By hand: a tenth lies 40 % to the east, the rest 24 % to the north: no line over 25 %."""
    row, column = np.indices((CELLS, CELLS), dtype=float)
    east = CELL_M * 0.4 * np.minimum(column, 10)
    values = east - CELL_M * 0.24 * np.where(column < 10, 0.0, row)
    heading = judged(values, mower(), error_m=1e-6)[0].lie.heading
    assert heading is not None
    assert heading.stop_share == heading.stop_shares.min()
    assert heading.care_share > heading.care_shares.min()


def test_a_speed_nobody_gave_by_hand() -> None:
    """By hand: level ground, all seen; but not known whether the machine stops in what is seen."""
    layers, found = judged(shaped(PLAIN), mower(field_speed_kmh=None), error_m=1e-6)
    assert governs(layers, 60, 58) == "field speed not known"
    assert {found[what] for what in ("sight ahead", "field speed limit")} == {"unknown"}
    assert (layers.acts.values[layers.inside] == 0).all()  # no zone is drawn for it
