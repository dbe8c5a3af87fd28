"""What the lie of a field says of driving and of places, in levels, figures and words."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from small_ground import (
    AFTER,
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
    there_and_back,
)

from fieldmap.grid import Grid
from fieldmap.machine import Machine
from fieldmap.risk.layers import Site, field_layers
from fieldmap.risk.lie import Heights
from fieldmap.risk.lie_findings import lie_findings
from fieldmap.risk.place_findings import share_of, share_words
from fieldmap.risk.told import Told
from fieldmap.risk.water import FarmWater
from fieldmap.tables import Tables
from fieldmap.terrain.drainage import Drainage

CELL_M, CELLS = 4.0, 30
FIELD = box(30, 30, 90, 86)
SEEN = seen_in(FIELD, (AFTER, there_and_back(28, 28, 92, 90, apart_m=1.0)), sward_m=0.1)


def said(
    values: np.ndarray,
    machine: Machine | None = None,
    *,
    error_m: float = 1e-6,
    source_cell_m: float = 0.0,
    site: Site | None = None,
    tables: Tables = TABLES,
    field: shapely.Geometry = FIELD,
) -> dict[str, Told]:
    """All that is told of a field's lie, by what it is about."""
    one = machine or mower()
    ground = heights(values, cell_m=CELL_M, error_m=error_m, source_cell_m=source_cell_m)
    layers = field_layers(
        field, ground, marks(), SEEN, crs=UTM, machine=one, tables=tables,
        site=site or Site(rough=False),
    )  # fmt: skip
    told = lie_findings("F", layers, ground, one, tables=tables)
    return {one.finding.what: one for one in told}


def flat() -> np.ndarray:
    return np.zeros((CELLS, CELLS))


def sloping(percent: float) -> np.ndarray:
    return plane(percent / 100, 0.0, cells=CELLS, cell_m=CELL_M)


def test_level_ground_by_hand() -> None:
    """By hand: nothing against it, with the figures behind it."""
    found = said(flat())
    levels = {what: one.finding.level for what, one in found.items() if what != "wet ground"}
    assert set(levels.values()) == {"ok"}
    assert all(one.change == "" for what, one in found.items() if what != "wet ground")
    speed = found["field speed limit"].finding
    assert (speed.value, speed.low, speed.high) == (11.0, 11.0, 11.0)
    assert "the machine's own field speed on 100% of the field" in speed.why


@pytest.mark.parametrize(
    ("percent", "error_m", "level", "change"),
    [
        (5.0, 1e-6, "ok", ""),
        (14.4, 1e-6, "ok", ""),
        (14.6, 1e-6, "care", ""),
        (24.0, 0.1, "unknown", "Measure the headland"),
        (25.0, 1e-6, "stop", "Turn on gentler ground"),
        (5.0, float("nan"), "unknown", ""),
    ],
)
def test_turning_by_hand(percent: float, error_m: float, level: str, change: str) -> None:
    """By hand: at 8 km/h and 5 m a turn leans 5.75 deg, which leaves 14.6 % of 25 %."""
    told = said(sloping(percent), error_m=error_m)["turning on the headland"]
    assert told.finding.level == level
    assert told.change.startswith(change)
    assert bool(told.change) == bool(change)
    assert told.finding.limit == 25.0
    assert told.finding.value == pytest.approx(percent, rel=1e-4)
    assert told.echo == np.isnan(error_m)  # NaN: told by the elevation's error already
    assert bool(told.finding.caution) == (level != "ok")


def test_turning_without_a_radius_by_hand() -> None:
    """By hand: gentle ground needs no radius, 10 % does; the machine's file is asked for it."""
    one = mower(turning_radius_m=None)
    assert said(sloping(5.0), one)["turning on the headland"].finding.level == "ok"
    told = said(sloping(10.0), one)["turning on the headland"]
    assert (told.finding.level, told.change) == (
        "unknown",
        "Give turning_radius_m in machines.toml",
    )
    assert "radius that is not known" in told.finding.why


def test_a_hole_on_the_headland_by_hand() -> None:
    """By hand: where a slope of the headland is not known, turning there is not known."""
    values = sloping(5.0)
    values[9, 9] = np.nan
    found = said(values)
    for what in ("turning on the headland", "sight ahead", "field speed limit"):
        assert found[what].finding.level == "unknown"


def test_a_slope_where_a_wider_headland_would_lie_by_hand() -> None:
    """By hand: level headland of 9 laps, a bank of 16 % in the middle, radius not known."""
    values = np.zeros((60, 60))
    values[:, 28:33] = 0.64 * np.arange(1, 6)
    values[:, 33:38] = 0.64 * np.arange(5, 0, -1)
    values *= np.clip((15.0 - np.abs(np.arange(60) - 29.5)) / 5.0, 0.0, 1.0)[:, np.newaxis]
    ground = heights(values, cell_m=CELL_M)
    mine = TABLES.with_overrides({"edges.steep_pct": 200})
    field, one = box(4, 4, 236, 236), mower(turning_radius_m=None, side_slope_limit_pct=20.0)
    layers = layers_of(field, ground, machine=one, tables=mine)
    there = layers.lie.headland & layers.inside
    told = lie_findings("F", layers, ground, one, tables=mine)
    assert told[0].finding.level == "unknown"
    assert told[0].change == "Give turning_radius_m in machines.toml"
    assert "of the field the slope" in told[0].finding.why
    assert there.sum() < layers.inside.sum()


def test_sight_on_coarse_cells_by_hand() -> None:
    """By hand: cells over 10 m show no brow that hides a person; at 10 m they are taken."""
    assert said(flat(), source_cell_m=10.0)["sight ahead"].finding.level == "ok"
    told = said(flat(), source_cell_m=10.1)["sight ahead"]
    assert (told.finding.level, told.change[:25]) == ("unknown", "Get finer elevation to se")


def test_a_brow_is_said_by_hand() -> None:
    """By hand: 3 m down within a cell hide what lies below."""
    values = flat()
    values[15:] = -3.0
    mine = TABLES.with_overrides({"side_slopes.headings": 1, "edges.steep_pct": 200})
    found = said(values, tables=mine)
    assert found["sight ahead"].finding.level == "care"
    assert "the ground hides a low thing" in found["sight ahead"].finding.why
    assert "leaves to brake with" in found["sight ahead"].finding.why
    assert found["sight ahead"].change.startswith("Slow down before the brows")
    assert found["field speed limit"].finding.level == "care"


def test_no_speed_given_by_hand() -> None:
    """By hand: the fast end of the usual is taken, and both findings are unknown."""
    found = said(flat(), mower(field_speed_kmh=None))
    assert found["sight ahead"].finding.level == "unknown"
    assert found["sight ahead"].change == "Give field_speed_kmh in machines.toml"
    assert found["field speed limit"].finding.level == "unknown"
    assert "default field speed" in found["field speed limit"].finding.why


def test_runs_and_turns_by_hand() -> None:
    """By hand: 60 by 56 m, three laps of 4 m: 36 by 32 m are left, eight strips east and west."""
    told = said(flat(), mower(turning_radius_m=4.0))["runs and turns"]
    assert told.finding.choice == "8 runs, 7 turns"
    laps = 2 * (56 + 52) + 2 * (48 + 44) + 2 * (40 + 36)
    out = np.arccos((4 + 2) / 8)  # three arcs of 4 m: out, round, and back into the next run
    turn_min = (4 * (np.pi + 4 * out) / 5 * 3.6 + 5) / 60
    assert told.finding.value == pytest.approx(
        (laps + 8 * 36) / (11_000 / 60) + 7 * turn_min, rel=1e-3
    )
    bare = said(flat(), mower(working_width_m=None))["runs and turns"]
    assert (bare.finding.level, bare.change) == ("unknown", "Give working_width_m in machines.toml")


def test_hollows_by_hand() -> None:
    """By hand: two pits, 0.5 and 1 m; the value is the deeper. One of 0.2 m is none."""
    values = flat()
    values[12:15, 10:13], values[12:15, 17:20], values[17:19, 10:12] = -0.5, -1.0, -0.2
    told = said(values)["hollows"]
    assert (told.finding.level, told.finding.value, told.change) == ("care", 1.0, "")
    assert "deepest of 2" in told.finding.why
    unseen = field_layers(
        FIELD, heights(values, cell_m=CELL_M), marks(), seen_in(FIELD), crs=UTM, machine=mower(),
        tables=TABLES,
    )  # fmt: skip
    (left,) = [
        one
        for one in lie_findings("F", unseen, heights(values, cell_m=CELL_M), mower(), tables=TABLES)
        if one.finding.what == "hollows"
    ]
    assert left.finding.level == "unknown"
    assert left.change == "Go and look at 2 hollows on foot before driving there"


@pytest.mark.parametrize(
    ("wall", "at", "level", "words", "keep"),
    [
        (8.0, 5, "stop", "Keep out: mark off 1 highwall and the ground near it", 30),
        (4.5, 10, "care", "Mark off 1 edge where the ground falls away", 5),
    ],
)
def test_edges_by_hand(wall: float, at: int, level: str, words: str, keep: float) -> None:
    """By hand: 8 m on 4 m cells are held for a highwall, 4.5 m for a bank; each is kept from."""
    values = flat()
    values[:at] = wall
    told = said(values)["drop-offs and bench edges"]
    assert (told.finding.level, told.finding.value) == (level, pytest.approx(wall))
    assert told.change.startswith(words)
    assert told.finding.limit == 4.0  # two cells of 4 m at 50 %
    lie = layers_of(FIELD, heights(values, cell_m=CELL_M)).lie
    foot = 120 - 4 * at - 4  # the patch is a cell on each side of the wall
    zone = lie.edges["zone"].iloc[0]
    middle = WEST + 60
    assert zone.covers(shapely.Point(middle, SOUTH + foot - keep + 0.1))
    assert not zone.covers(shapely.Point(middle, SOUTH + foot - keep - 0.1))
    assert (lie.at_edge & lie.inside).any()


def test_a_highwall_that_goes_on_into_a_hole_by_hand() -> None:
    """By hand: the hole lies far from the field, but the wall beside it may be higher there."""
    values = flat()
    values[:5] = 8.0
    values[3:6, :2] = np.nan
    told = said(values, field=box(60, 30, 90, 86))["drop-offs and bench edges"]
    assert told.finding.level == "stop"
    assert "goes on into ground of unknown height" in told.finding.why
    assert "Beside ground of unknown height" not in told.finding.why


def test_an_edge_beside_ground_of_no_slope_by_hand() -> None:
    """By hand: no slope is known in the field, but there is a wall beside it: that is said."""
    values = flat()
    values[:5] = 8.0
    values[8:] = np.nan
    found = said(values)
    assert set(found) == {"runs and turns", "drop-offs and bench edges"}
    assert found["drop-offs and bench edges"].finding.level == "stop"
    assert set(said(np.full((CELLS, CELLS), np.nan))) == {"runs and turns"}


def wet_farm(rank: np.ndarray, cut: float = 0.0) -> Site:
    ground: Heights = heights(rank, cell_m=CELL_M)
    grid = ground.grid
    none = grid.with_values(np.full(grid.shape, np.nan), unit="", name="none")
    cuts: Grid = grid.with_values(np.full(grid.shape, cut), unit="", name="cut")
    return Site(
        False, FarmWater(Drainage(none, none, none, none, none, cuts), grid, CELL_M, CELL_M)
    )


@pytest.mark.parametrize(
    ("rows", "unknown", "level"),
    [(14, False, "care"), (3, False, "ok"), (14, True, "unknown"), (0, False, "ok")],
)
def test_wet_ground_by_hand(rows: int, unknown: bool, level: str) -> None:
    """By hand: from three tenths of the field among the wettest tenth on, care."""
    rank = np.full((CELLS, CELLS), 0.5)
    rank[8 : 8 + rows] = 0.9
    if unknown:
        rank[15, 15] = np.nan
    told = said(flat(), site=wet_farm(rank, cut=1.0))["wet ground"]
    assert told.finding.level == level
    assert "beyond the elevation" in told.finding.why
    assert bool(told.change) == unknown
    brim = TABLES.with_overrides({"drainage.wet_share": 1})
    full = said(flat(), site=wet_farm(np.full((CELLS, CELLS), 0.9)), tables=brim)["wet ground"]
    assert full.finding.level == "care"
    dry = said(flat(), site=wet_farm(rank))["wet ground"]
    assert "beyond the elevation" not in dry.finding.why


def test_shares_in_words_by_hand() -> None:
    """By hand: what is there is never rounded to nothing; no cells have no share."""
    assert [share_words(one) for one in (0.0, 1e-6, 0.01, 0.5, 1.0)] == [
        "0%",
        "less than 1%",
        "1%",
        "50%",
        "100%",
    ]
    assert share_of(np.array([], bool)) == 0.0
