"""How fast a field may be driven: stopping, turning, rough ground, and what is not known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from small_ground import TABLES, UTM, box, heights, layers_of, marks, mower, plane, seen_in

from fieldmap.risk import causes
from fieldmap.risk.layers import Layers, Site, field_layers
from fieldmap.risk.lie import Heights
from fieldmap.risk.lie_findings import lie_findings
from fieldmap.risk.power import needed_kw
from fieldmap.risk.speed import (
    CROP,
    DEFAULT,
    OWN,
    POWER,
    ROUGH,
    SIGHT,
    SPEED_CAUSES,
    TURN,
    UNKNOWN,
    reckoned_radius_m,
)
from fieldmap.risk.work import work_over
from fieldmap.tables import Tables
from fieldmap.terrain.stopping import stopping_distance_m, stopping_speed_kmh

CELL_M, CELLS = 4.0, 60
FIELD = box(20, 20, 220, 220)
ALL = causes.all_causes(TABLES)
#: One line of travel, north and south, and no drop-offs: for brows that are steep themselves.
NORTH = TABLES.with_overrides({"side_slopes.headings": 1, "edges.steep_pct": 200})
LAZY = {"reaction_s": 2.5, "friction": 0.2}


def on_plane(
    east: float,
    north: float = 0.0,
    *,
    tables: Tables = TABLES,
    rough: bool | None = False,
    **own: object,
) -> tuple[Layers, Heights]:
    ground = heights(plane(east, 0.0, cells=CELLS, cell_m=CELL_M), cell_m=CELL_M)
    return smooth(ground, tables=tables, rough=rough, **own), ground


def smooth(
    ground: Heights, *, tables: Tables = TABLES, rough: bool | None = False, **own: object
) -> Layers:
    return field_layers(
        FIELD, ground, marks(), seen_in(FIELD), crs=UTM, machine=mower(**own), tables=tables,
        site=Site(rough=rough),
    )  # fmt: skip


def middle(values: np.ndarray) -> float:
    row, column = (size // 2 for size in values.shape)
    return float(values[row, column])


def level_of(layers: Layers, ground: Heights, what: str) -> str:
    told = lie_findings("F", layers, ground, mower(), tables=TABLES)
    (found,) = [one.finding.level for one in told if one.finding.what == what]
    return found


@pytest.mark.parametrize(
    ("rough", "own", "limit", "cause"),
    [
        (False, 11.0, 11.0, OWN),
        (True, 11.0, 8.0, ROUGH),
        (None, 11.0, 8.0, ROUGH),
        (True, 6.0, 6.0, OWN),
        (False, None, 11.0, DEFAULT),
    ],
)
def test_what_governs_on_level_ground_by_hand(
    rough: bool | None, own: float | None, limit: float, cause: int
) -> None:
    """By hand: the machine's own, the default, or 8 km/h on ground that may be rough."""
    layers, _ = on_plane(0.0, rough=rough, field_speed_kmh=own)
    assert middle(layers.lie.speed.limit_kmh) == limit
    assert middle(layers.lie.speed.cause) == cause


def test_a_turn_on_a_slope_by_hand() -> None:
    """By hand: limit 25 % is 14.04 deg, 12 % are 6.84: sqrt(g 5 tan 7.19 deg) = 2.488 m/s."""
    layers, _ = on_plane(0.12, field_speed_kmh=20.0)
    speed = layers.lie.speed
    assert float(speed.limit_kmh[8, 3]) == pytest.approx(2.488 * 3.6, rel=1e-3)
    assert speed.cause[8, 3] == TURN
    assert middle(speed.by_turn_kmh) == math.inf
    assert middle(speed.limit_kmh) == 20.0


def test_the_turn_counts_the_upper_end_of_the_slope_by_hand() -> None:
    """By hand: with an error of the heights the ground may be steeper, and the turn slower."""
    ground = heights(plane(0.12, 0.0, cells=CELLS, cell_m=CELL_M), cell_m=CELL_M, error_m=0.3)
    unsure = smooth(ground).lie
    lean = math.degrees(math.atan(unsure.steep_high.values[8, 3] / 100))
    fast = 3.6 * math.sqrt(9.80665 * 5.0 * math.tan(math.radians(14.0362 - lean)))
    assert float(unsure.speed.by_turn_kmh[8, 3]) == pytest.approx(fast, rel=1e-3)
    assert lean > 8.5


@pytest.mark.parametrize(("radius", "reckoned"), [(None, 3.0), (1.0, 3.0), (3.0, 3.0), (9.0, 9.0)])
def test_the_radius_turns_are_reckoned_with_by_hand(radius: float | None, reckoned: float) -> None:
    """By hand: 3 m when it is not known, and for what can turn tighter and does so at a walk."""
    work = work_over(FIELD, mower(turning_radius_m=radius), tables=TABLES)
    assert reckoned_radius_m(work, TABLES) == reckoned


def brow(height_m: float) -> Heights:
    """Level ground on both sides of a step that runs west to east; the north is the lower side."""
    values = np.zeros((CELLS, CELLS))
    values[:30] = -height_m
    return heights(values, cell_m=CELL_M)


def test_a_brow_across_the_field_by_hand() -> None:
    """By hand: 11 km/h need 10 m; an eye at 2 m some way behind the edge does not see 3 m below it.

    Nor does it see the upper ground from the foot. Along the brow nothing is hidden.
    """
    layers = smooth(brow(3.0), tables=NORTH)
    fast = layers.lie.speed.by_sight_kmh[:, layers.level.shape[1] // 2]
    sight = layers.lie.speed.sight_m[:, layers.level.shape[1] // 2]
    hides = (sight < layers.lie.speed.range_m - 0.01) & (fast < 11.0)
    rows = np.flatnonzero(hides) - (layers.level.shape[0] // 2)
    assert hides.any()
    assert rows.max() >= 1  # on the upper side, in the south
    code = layers.acts.values[np.flatnonzero(hides)[-1], layers.level.shape[1] // 2]
    assert ALL[int(code)].key == "blind crest"
    along = smooth(heights(brow(3.0).grid.values.T, cell_m=CELL_M), tables=NORTH)
    assert middle(along.lie.speed.by_sight_kmh) == math.inf


def test_the_worse_of_both_ways_by_hand() -> None:
    """By hand: a brow hides the ground from one side only; it is driven from both."""
    upper = brow(3.0).grid.values
    for values in (upper, upper[::-1]):
        one = smooth(heights(values, cell_m=CELL_M), tables=NORTH)
        assert (one.lie.speed.by_sight_kmh[20:40, 25] < 11.0).any()


def test_on_headlands_it_is_looked_all_round_by_hand() -> None:
    """By hand: a brow along the line of travel hides nothing in runs, but from who turns."""
    along = smooth(heights(brow(3.0).grid.values.T, cell_m=CELL_M), tables=NORTH).lie
    middle_row, beside = along.inside.shape[0] // 2, along.inside.shape[1] // 2 + 2
    assert along.headland[3, beside]
    assert not along.headland[middle_row, beside]
    assert along.speed.by_sight_kmh[3, beside] < 11.0
    assert along.speed.by_sight_kmh[middle_row, beside] == math.inf
    assert along.speed.sight_m[3, beside] < along.speed.range_m
    assert along.speed.sight_m[middle_row, beside] == pytest.approx(along.speed.range_m)
    # how deep the headland is hangs on the radius: without it the machine may turn in the middle
    ground = heights(brow(3.0).grid.values.T, cell_m=CELL_M)
    loose = smooth(ground, tables=NORTH, turning_radius_m=None).lie
    assert loose.speed.by_sight_kmh[middle_row, beside] < 11.0
    untold = smooth(ground, tables=NORTH, turning_radius_m=None, field_speed_kmh=None)
    assert ALL[int(untold.acts.values[middle_row, beside])].key == "sight not known"


def test_beyond_a_brow_one_brakes_downhill_by_hand() -> None:
    """By hand: up 18 % to a brow, then down 5 %: who sees too late beyond it brakes going down.

    On the way up there would be 0.38 to brake with, beyond the brow there are 0.15.
    """
    row = np.arange(CELLS)[:, np.newaxis] * np.ones((1, CELLS))
    values = np.where(row < 30, 12.0 - 0.05 * 4 * (30 - row), 12.0 - 0.18 * 4 * (row - 30))
    lie = smooth(heights(values, cell_m=CELL_M), tables=NORTH, field_speed_kmh=14.0).lie
    column = lie.inside.shape[1] // 2
    fast, sight = lie.speed.by_sight_kmh[:, column], lie.speed.sight_m[:, column]
    short = np.flatnonzero(np.isfinite(fast) & (sight < lie.speed.range_m - 0.01))
    climbs = short[short > lie.inside.shape[0] // 2 + 1]
    assert climbs.size
    slowest = stopping_speed_kmh(sight[climbs], grade=-0.05, **LAZY)
    fastest = stopping_speed_kmh(sight[climbs], grade=0.18, **LAZY)
    assert (fast[climbs] >= slowest * 0.999).all()
    assert (fast[climbs] < fastest * 0.999).all()  # as if it went on uphill


@pytest.mark.parametrize("slope", [0.15, 0.18])
def test_a_sharp_crest_is_told_regression(slope: float) -> None:
    """Regression: a tent of 18 % each way was called seen far enough, braked for on the way up.

    9 m before the crest one sees some 11 m; beyond it 14 km/h take over 25 m to stop on 15 %. From
    12.7 km/h one stops within 10 m, still on the way up.
    """
    row = np.arange(CELLS)[:, np.newaxis] * np.ones((1, CELLS))
    values = -slope * CELL_M * np.abs(row - 30)
    layers = smooth(heights(values, cell_m=CELL_M), tables=NORTH, field_speed_kmh=14.0)
    column = layers.inside.shape[1] // 2
    codes = layers.acts.values[:, column].astype(int)
    assert "blind crest" in {ALL[code].key for code in codes}
    limit, middle_row = layers.lie.speed.limit_kmh[:, column], layers.inside.shape[0] // 2
    assert limit[middle_row - 3] < 14.0  # 10 to 14 m before the crest, on either side
    assert limit[middle_row + 2] < 14.0
    assert np.nanmin(limit[middle_row - 6 : middle_row + 6]) < 12.8


def test_seeing_far_enough_but_not_braking_by_hand() -> None:
    """By hand: on 21 % downhill a friction of 0.2 leaves nothing to brake with; on 19 % 155 m."""
    mine = TABLES.with_overrides(
        {"side_slopes.up_down_care_pct": 30, "side_slopes.up_down_stop_pct": 40}
    )
    steep, ground = on_plane(0.21, tables=mine)
    assert middle(steep.lie.speed.by_sight_kmh) == 0.0
    assert ALL[int(middle(steep.acts.values))].key == "no braking"
    assert middle(steep.lie.speed.limit_kmh) == 0.0
    assert level_of(steep, ground, "sight ahead") == "care"
    nearly, ground = on_plane(0.19, tables=mine, field_speed_kmh=19.0)
    need = float(stopping_distance_m(19.0, grade=-0.19, **LAZY))
    assert need == pytest.approx(155.2, abs=0.1)
    assert nearly.lie.speed.range_m == 100.0
    assert middle(nearly.lie.speed.by_sight_kmh) < 19.0  # 100 m are seen, no more is looked for


def test_it_is_looked_as_far_as_the_machine_needs_by_hand() -> None:
    """By hand: at 11 km/h on level ground 7.64 m of reaction and 2.38 m of braking."""
    layers, ground = on_plane(0.0)
    assert layers.lie.speed.range_m == pytest.approx(7.639 + 2.381, abs=2e-3)
    assert middle(layers.lie.speed.sight_m) == pytest.approx(layers.lie.speed.range_m)
    assert level_of(layers, ground, "sight ahead") == "ok"


def test_a_short_range_proves_nothing_regression() -> None:
    """Regression: a farm that said nobody looks farther than 2 m had no blind crest at all."""
    mine = TABLES.with_overrides({"stopping.farthest_m": 2})
    layers, ground = on_plane(0.0, tables=mine)
    assert middle(layers.lie.speed.by_sight_kmh) < 3.0
    assert level_of(layers, ground, "sight ahead") == "care"


def test_ground_of_no_slope_has_no_speed_by_hand() -> None:
    """By hand: a hole has no limit, and its cause says so."""
    values = plane(0.02, 0.0, cells=CELLS, cell_m=CELL_M)
    values[30, 30] = np.nan
    layers = smooth(heights(values, cell_m=CELL_M))
    unknown = np.isnan(layers.lie.ground.percent.values) & layers.inside
    assert unknown.sum() == 9
    assert np.isnan(layers.lie.speed.limit_kmh[unknown]).all()
    assert (layers.lie.speed.cause[unknown] == UNKNOWN).all()


def test_the_brow_governs_the_speed_by_hand() -> None:
    """By hand: before the brow the speed is what sight allows, below the machine's own."""
    one = smooth(brow(3.0), tables=NORTH)
    speed = one.lie.speed
    slow = (speed.by_sight_kmh < 11.0) & one.inside
    assert (speed.cause[slow] == SIGHT).mean() > 0.9
    assert (speed.limit_kmh[slow] <= speed.by_sight_kmh[slow]).all()


def test_layers_of_is_rough_when_nobody_says_by_hand() -> None:
    """By hand: a field of which no stoniness is said is reckoned as rough."""
    ground = heights(plane(0.0, 0.0, cells=CELLS, cell_m=CELL_M), cell_m=CELL_M)
    assert middle(layers_of(FIELD, ground).lie.speed.limit_kmh) == 8.0


STRONG = {
    "power_kw": 70.0,
    "mass_kg": 7500.0,
    "mower_mass_kg": 2500.0,
    "drive": "front_assist",
    "conditioner": "rubber_rolls",
    "field_speed_kmh": 20.0,
}
ONLY_POWER = TABLES.with_overrides(
    {"side_slopes.up_down_care_pct": 60, "side_slopes.up_down_stop_pct": 80, "stopping.friction": 2}
)


def climbing(
    north: float, *, soft: bool | None = False, crop_kmh: float = math.inf, **own: object
) -> Layers:
    """A plane that climbs to the north, mown up and down."""
    ground = heights(plane(0.0, north, cells=CELLS, cell_m=CELL_M), cell_m=CELL_M)
    return field_layers(
        FIELD, ground, marks(), seen_in(FIELD), crs=UTM, machine=mower(**own), tables=ONLY_POWER,
        site=Site(rough=False, soft=soft, crop_kmh=crop_kmh),
    )  # fmt: skip


def test_codes_stay_where_they_were_regression() -> None:
    """Regression: layers that were written before are read by their codes."""
    assert [SPEED_CAUSES[code] for code in (UNKNOWN, OWN, DEFAULT, ROUGH, TURN, SIGHT)] == [
        "not known",
        "the machine's own field speed",
        "the tool's default field speed",
        "rough or stony ground",
        "turning on the slope",
        "sight ahead and stopping",
    ]
    assert (POWER, CROP) == (6, 7)


def test_power_slows_a_climb_by_hand() -> None:
    """By hand: a 4 m wide mower-conditioner takes 32 of 56 kW; on 20 % that leaves 4.2 km/h.

    70 / 1.25 - 32 = 24 kW at the shaft, 18.48 at the drawbar; 2500 kg roll with .0582 and 7500 kg
    are lifted by .1961 g: 15.82 kN, so 1.168 m/s.
    """
    layers = climbing(0.20, **STRONG)
    speed = layers.lie.speed
    assert layers.lie.heading is not None
    assert layers.lie.heading.degrees == 0.0
    assert middle(speed.by_power_kmh) == pytest.approx(1.168 * 3.6, rel=1e-3)
    assert middle(speed.limit_kmh) == pytest.approx(middle(speed.by_power_kmh))
    assert middle(speed.cause) == POWER


def test_the_speed_by_power_takes_all_but_the_reserve_by_hand() -> None:
    """By hand: at the limit the need and a quarter on top are the 70 kW that there are."""
    layers = climbing(0.20, **STRONG)
    at = middle(layers.lie.speed.by_power_kmh)
    assert float(needed_kw(at, grade=0.2, pull=layers.lie.work.pull)) * 1.25 == pytest.approx(
        70.0, rel=1e-3
    )


def test_both_ways_climb_once_by_hand() -> None:
    """By hand: the line is driven up and down, so a fall to the north is as slow as a rise."""
    up, down = (climbing(north, **STRONG).lie.speed for north in (0.2, -0.2))
    assert middle(up.by_power_kmh) == pytest.approx(middle(down.by_power_kmh), rel=1e-4)


def test_along_the_contour_nothing_climbs_but_on_the_headland_by_hand() -> None:
    """By hand: one line of travel, north and south, on a plane that rises east: runs are level."""
    ground = heights(plane(0.2, 0.0, cells=CELLS, cell_m=CELL_M), cell_m=CELL_M)
    mine = ONLY_POWER.with_overrides({"side_slopes.headings": 1})
    lie = smooth(ground, tables=mine, **STRONG).lie
    level, climb = climbing(0.0, soft=None, **STRONG).lie, climbing(0.2, soft=None, **STRONG).lie
    assert not lie.headland[25, 25]
    assert middle(lie.speed.by_power_kmh) == pytest.approx(
        middle(level.speed.by_power_kmh), rel=1e-4
    )
    assert lie.headland[25, 3]
    assert float(lie.speed.by_power_kmh[25, 3]) == pytest.approx(
        middle(climb.speed.by_power_kmh), rel=1e-3
    )


@pytest.mark.parametrize("gone", ["power_kw", "mass_kg", "working_width_m"])
def test_want_of_power_blanks_no_cell_by_hand(gone: str) -> None:
    """By hand: without power, mass or width the climb asks for nothing, and the rest stays."""
    known = {**STRONG, gone: None}
    if gone == "mass_kg":
        known["mower_mass_kg"] = None
    speed = climbing(0.20, **known).lie.speed
    assert middle(speed.by_power_kmh) == math.inf
    assert middle(speed.limit_kmh) <= 20.0
    assert middle(speed.cause) in (OWN, TURN)


@pytest.mark.parametrize("gone", ["mower_mass_kg", "drive", "conditioner"])
def test_what_is_bounded_is_reckoned_at_its_worst_by_hand(gone: str) -> None:
    """By hand: not saying it never makes the climb faster, nor does not saying that it is dry."""
    known = middle(climbing(0.15, **STRONG).lie.speed.by_power_kmh)
    assert middle(climbing(0.15, **{**STRONG, gone: None}).lie.speed.by_power_kmh) <= known
    assert middle(climbing(0.15, soft=None, **STRONG).lie.speed.by_power_kmh) < known


@pytest.mark.parametrize(
    ("crop_kmh", "limit", "cause"),
    [(8.0, 8.0, CROP), (math.nan, 8.0, CROP), (math.inf, 11.0, OWN), (13.0, 11.0, OWN)],
)
def test_the_crop_slows_by_hand(crop_kmh: float, limit: float, cause: int) -> None:
    """By hand: 8 km/h in a lodged or thick crop, or one of which nothing is known."""
    speed = climbing(0.0, crop_kmh=crop_kmh).lie.speed
    assert middle(speed.limit_kmh) == limit
    assert middle(speed.cause) == cause


@pytest.mark.parametrize("key", ["lodged", "thick"])
def test_a_crop_nobody_asked_of_is_the_slowest_by_hand(key: str) -> None:
    """By hand: one kind of crop allows 6 km/h, the other 8: unknown is held to 6."""
    mine = TABLES.with_overrides({f"stopping.crop_{key}_kmh": 6.0})
    ground = heights(plane(0.0, 0.0, cells=CELLS, cell_m=CELL_M), cell_m=CELL_M)
    layers = field_layers(
        FIELD, ground, marks(), seen_in(FIELD), crs=UTM, machine=mower(field_speed_kmh=11.0),
        tables=mine, site=Site(rough=False, crop_kmh=math.nan),
    )  # fmt: skip
    assert middle(layers.lie.speed.limit_kmh) == 6.0
    assert middle(layers.lie.speed.cause) == CROP
