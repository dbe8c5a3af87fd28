"""Sight ahead: planes, banks, gaps, turns of the landscape, and a plain search as the referee."""

from __future__ import annotations

import math

import numpy as np
import pytest
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.errors import InputError
from fieldmap.grid import Grid
from fieldmap.terrain import sight
from fieldmap.terrain.sight import sight_ahead

UTM = CRS.from_epsg(32615)
WEST, NORTH = 500_000.0, 4_500_000.0
ROSE = np.arange(16) * 22.5
#: what four bytes may do to a height, with room; a sight that hangs on less is a tie
ROUNDING_M = 2e-4


def heights(values: object, *, cell_m: float = 1.0) -> Grid:
    transform = Affine(cell_m, 0, WEST, 0, -cell_m, NORTH)
    return Grid(np.asarray(values, np.float32), transform, UTM, "m", "elevation")


def but_the_rim(shape: tuple[int, int]) -> NDArray[np.bool_]:
    inside = np.zeros(shape, bool)
    inside[1:-1, 1:-1] = True
    return inside


def look(grid: Grid, inside: NDArray, headings: object, **changes: float) -> NDArray[np.float32]:
    figures = {"eye_m": 2.0, "target_m": 0.3, "range_m": 40.0} | changes
    return sight_ahead(grid, inside, np.atleast_1d(np.asarray(headings, float)), crs=UTM, **figures)


def same(one: NDArray, other: NDArray) -> NDArray[np.bool_]:
    """Alike to the rounding of a distance, and unknown together."""
    with np.errstate(invalid="ignore"):
        near = (one == other) | (np.abs(one - other) < 1e-3)
    return near | (np.isnan(one) & np.isnan(other))


def assert_agrees(found: NDArray, low: NDArray, high: NDArray) -> None:
    """As both ends say where they agree; where a hair decides, between them."""
    plain = same(low, high)
    assert plain.mean() > 0.95
    assert same(found, low)[plain].all()
    assert (same(found, low) | same(found, high) | ((found > low) & (found < high)))[~plain].all()


@given(
    east=st.floats(-1.0, 1.0),
    north=st.floats(-1.0, 1.0),
    cell_m=st.floats(0.25, 30.0),
    target_m=st.floats(0.05, 1.0),
)
@settings(max_examples=40)
def test_a_plane_hides_nothing_property(
    east: float, north: float, cell_m: float, target_m: float
) -> None:
    """Property: level or tilted, a plane is seen all the way every way."""
    row, column = np.indices((12, 15), dtype=float)
    grid = heights(300.0 + cell_m * (east * column - north * row), cell_m=cell_m)
    inside = but_the_rim((12, 15))
    found = look(grid, inside, ROSE, range_m=20 * cell_m, target_m=target_m)
    assert np.isinf(found[:, inside]).all()
    assert np.isnan(found[:, ~inside]).all()


def test_a_bank_hides_what_lies_behind_it_by_hand() -> None:
    """By hand: eye 2.0 over a bank of 1.0 at 4 m sees the ground again at 8 m; 0.5 high at 6 m.

    The line from the eye over the bank falls 1 m in 4 m: at 5 m it is 0.75 over the ground. A
    target of 0.8 is seen there and all the way on, as the line is lower farther out; one of 0.5 is
    lost at 5 m, so that the last place it was seen all the way is the bank.
    """
    ground = np.zeros((3, 40))
    ground[:, 10] = 1.0
    inside = but_the_rim(ground.shape)
    for target_m, expected in ((0.74, 4.0), (0.5, 4.0), (0.76, math.inf)):
        found = look(heights(ground), inside, 90.0, target_m=target_m, range_m=20.0)
        assert found[0, 1, 6] == expected


def test_a_ray_ends_where_the_field_ends_by_hand() -> None:
    """By hand: beyond the field lie a wall and a gap; nobody drives there. Before, both count."""
    ground = np.zeros((5, 30))
    ground[:, 20] = 9.0
    ground[2, 22] = np.nan
    field = but_the_rim(ground.shape)
    field[:, 18:] = False
    found = look(heights(ground), field, 90.0)
    assert np.isinf(found[0, 2, 1:18]).all()
    wider = but_the_rim(ground.shape)
    found = look(heights(ground), wider, 90.0)
    assert found[0, 2, 10] == 10.0  # to the foot of the wall's top, hidden after it
    assert np.isnan(found[0, 2, 21])
    assert found[0, 2, 24] == math.inf
    assert np.isnan(found[0, 2, 22])


def test_a_range_is_looked_at_to_its_end_by_hand() -> None:
    """By hand: what is hidden at 5 m is so for whoever looks 4.2 m far, as no step is shorter."""
    ground = np.zeros((3, 40))
    ground[:, 10] = 1.0
    inside = but_the_rim(ground.shape)
    for range_m, expected in ((4.0, math.inf), (4.2, 4.0), (5.0, 4.0)):
        found = look(heights(ground), inside, 90.0, target_m=0.5, range_m=range_m)
        assert found[0, 1, 6] == expected


def test_oblong_cells_are_walked_by_their_shorter_side_by_hand() -> None:
    """By hand: cells 10 m wide and 2 m high; a wall 3 m high stands three rows to the north.

    To the north-west the wall's line is 6 m x sqrt(2) = 8.49 m away: the step of 8 m lies 0.17
    rows before it, on ground that has risen by 2.49 m, and is the last one seen.
    """
    ground = np.zeros((30, 12))
    ground[10] = 3.0
    place = Affine(10, 0, WEST, 0, -2, NORTH)
    grid = Grid(ground.astype(np.float32), place, UTM, "m", "elevation")
    found = look(grid, but_the_rim(ground.shape), [0.0, 315.0, 90.0], range_m=30.0)
    assert found[:, 13, 6].tolist() == [6.0, 8.0, math.inf]


def test_high_ground_is_seen_as_sharply_as_low_property() -> None:
    """Property: the same hills 8,192 m higher (exact in four bytes) give the same to the bit."""
    low = np.rint(hills(8) * 256) / 256
    inside = but_the_rim(low.shape)
    found = [
        look(heights(low + lift), inside, ROSE, eye_m=0.7, target_m=0.01) for lift in (0.0, 8192.0)
    ]
    assert np.isfinite(found[0][:, inside]).mean() > 0.5
    assert np.array_equal(*found, equal_nan=True)


def test_the_next_cell_is_always_seen_by_hand() -> None:
    """By hand: one cell behind a drop of 50 m one sees to its edge; on the edge one looks down."""
    ground = np.zeros((3, 12))
    ground[:, 6:] = -50.0
    found = look(heights(ground, cell_m=5.0), but_the_rim(ground.shape), 90.0)
    assert found[0, 1, 1:7].tolist() == [20.0, 15.0, 10.0, 5.0, math.inf, math.inf]


def plain_sight(grid: Grid, inside: NDArray, heading: float, target_m: float) -> NDArray:
    """The same question put cell by cell: is any point over the line from eye to target?"""
    cell = grid.transform.a
    found = np.full(grid.shape, np.nan)
    for row, column in zip(*np.nonzero(inside), strict=True):
        found[row, column] = _plain_one(grid, inside, (row, column), heading, target_m, cell)
    return found


def _plain_one(grid, inside, start, heading, target_m, cell):
    east, north = grid.transform @ (start[1] + 0.5, start[0] + 0.5)
    eye = float(grid.values[start]) + 2.0
    if math.isnan(eye):
        return math.nan
    passed: list[tuple[float, float]] = []
    for step in range(1, 13):
        far = step * cell
        angle = math.radians(heading)
        at = ~grid.transform @ (east + far * math.sin(angle), north + far * math.cos(angle))
        column, row = at[0] - 0.5, at[1] - 0.5
        nearest = round(row), round(column)
        if not (0 <= nearest[0] < grid.shape[0] and 0 <= nearest[1] < grid.shape[1]):
            return math.inf
        if not inside[nearest]:
            return math.inf
        ground = _between(grid.values, row, column)
        if math.isnan(ground):
            return math.nan
        top = ground + target_m
        if any(high > eye + (top - eye) * there / far for there, high in passed):
            return far - cell
        passed.append((far, ground))
    return math.inf


def _between(values, row, column):
    total = 0.0
    for i in (math.floor(row + 1e-7), math.floor(row + 1e-7) + 1):
        for j in (math.floor(column + 1e-7), math.floor(column + 1e-7) + 1):
            share = max(0.0, 1 - abs(row - i)) * max(0.0, 1 - abs(column - j))
            if share > 1e-6:
                total += share * float(values[i, j])
    return total


rough = hnp.arrays(np.float64, (11, 13), elements=st.floats(0, 4, width=32))


@given(
    ground=rough,
    heading=st.sampled_from([*ROSE, 10.0, 77.0, 201.0, 359.0]),
    gaps=st.sets(st.tuples(st.integers(0, 10), st.integers(0, 12)), max_size=4),
    outside=st.sets(st.tuples(st.integers(0, 10), st.integers(0, 12)), max_size=6),
    cell_m=st.sampled_from([0.5, 1.0, 8.0]),
)
@settings(max_examples=60)
def test_sight_against_a_plain_search_referee(ground, heading, gaps, outside, cell_m) -> None:
    """Referee: every point passed held against the straight line from eye to target."""
    for place in gaps:
        ground[place] = np.nan
    inside = but_the_rim(ground.shape)
    for place in outside:
        inside[place] = False
    grid = heights(ground, cell_m=cell_m)
    found = look(grid, inside, heading, target_m=0.3, range_m=12 * cell_m)[0]
    low, high = (plain_sight(grid, inside, heading, 0.3 + o) for o in (-ROUNDING_M, ROUNDING_M))
    assert_agrees(found, low, high)


def hills(seed: int, shape: tuple[int, int] = (40, 55)) -> NDArray[np.float64]:
    row, column = np.indices(shape, dtype=float)
    rng = np.random.default_rng(seed)
    turn = rng.uniform(0, 6.3, 3)
    return (
        150.0
        + 2.5 * np.sin(row / 5 + turn[0]) * np.cos(column / 4 + turn[1])
        + 1.5 * np.sin((row - column) / 7 + turn[2])
        + rng.normal(0, 0.05, shape)
    )


seeds = st.integers(0, 10**6)


@given(seed=seeds, gaps=st.lists(st.integers(0, 40 * 55 - 1), min_size=1, max_size=40))
@settings(max_examples=25)
def test_taking_heights_away_never_shows_more_property(seed: int, gaps: list[int]) -> None:
    """Property: with gaps a sight is what it was, or unknown; over a gap it is unknown."""
    full = hills(seed)
    holed = full.copy()
    holed.flat[gaps] = np.nan
    inside = but_the_rim(full.shape)
    before, after = look(heights(full), inside, ROSE), look(heights(holed), inside, ROSE)
    kept = ~np.isnan(after)
    middle = round(float(full.mean())) == round(float(np.nanmean(holed)))
    assert middle  # the same four bytes on both sides
    assert (after[kept] == before[kept]).all()
    assert np.isnan(after[:, np.isnan(holed)]).all()
    more = look(heights(np.where(np.indices(full.shape)[0] == 20, np.nan, holed)), inside, ROSE)
    assert (np.isnan(more) | ~np.isnan(after)).all()
    assert np.isnan(more).sum() > np.isnan(after).sum()


@given(seed=seeds, quarters=st.integers(1, 3), lift=st.integers(-100, 900))
@settings(max_examples=25)
def test_turning_and_shifting_the_landscape_property(seed: int, quarters: int, lift: int) -> None:
    """Property: the whole landscape turned, lifted and moved: every sight turns with it."""
    full = hills(seed)
    inside = but_the_rim(full.shape)
    inside[5:9, 20:30] = False
    turned = Grid(
        np.rot90(full + lift, quarters).astype(np.float32),
        Affine(1, 0, WEST + 4321, 0, -1, NORTH - 1234),
        UTM,
        "m",
        "elevation",
    )
    found = look(turned, np.rot90(inside, quarters), ROSE - 90.0 * quarters)
    back = np.rot90(found, -quarters, axes=(1, 2))
    low, high = (
        look(heights(full), inside, ROSE, target_m=0.3 + off) for off in (-ROUNDING_M, ROUNDING_M)
    )
    assert_agrees(back, low, high)


@given(seed=seeds, more=st.floats(0.05, 3.0), which=st.sampled_from(["eye_m", "target_m"]))
@settings(max_examples=25)
def test_a_taller_eye_or_target_is_seen_as_far_property(seed: int, more: float, which: str) -> None:
    """Property: taller never shortens a sight; it may carry on into what is unknown."""
    full = hills(seed)
    full[12, 30] = np.nan
    inside = but_the_rim(full.shape)
    figures = {"eye_m": 1.5, "target_m": 0.2}
    short = look(heights(full), inside, ROSE, **figures)
    tall = look(heights(full), inside, ROSE, **figures | {which: figures[which] + more})
    assert ((tall >= short) | np.isnan(tall))[~np.isnan(short)].all()
    assert np.isnan(tall[np.isnan(short)]).all()


@given(
    seed=seeds,
    row=st.integers(2, 37),
    column=st.integers(2, 52),
    rise=st.floats(0.01, 5.0),
)
@settings(max_examples=25)
def test_a_raised_cell_shows_nothing_behind_it_property(
    seed: int, row: int, column: int, rise: float
) -> None:
    """Property: who lost a target beyond a cell loses it no later once that cell is higher.

    Only where the cell lies wholly before the end of the sight: raised at the end, it is itself
    the thing that comes into view; raised under the seat, it lifts the eye.
    """
    full = hills(seed)
    raised = full.copy()
    raised[row, column] += rise
    inside = but_the_rim(full.shape)
    before, after = look(heights(full), inside, ROSE), look(heights(raised), inside, ROSE)
    rows, columns = np.indices(full.shape)
    away = np.hypot(rows - row, columns - column)
    beyond = inside & (away > 0) & (away + 1.5 < before + 1.0)
    assert beyond.sum() > 100
    assert (after <= before)[beyond].all()


def test_many_threads_and_long_rows_change_nothing_by_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: a wide field in parts gives what one thread gives, and what a cut-out gives."""
    full = np.rint(hills(3, (60, 2300)) * 64) / 64  # whole in four bytes, so that all is equal
    inside = but_the_rim(full.shape)
    found = look(heights(full), inside, ROSE)
    monkeypatch.setattr(sight, "_WORTH_THREADS", math.inf)
    assert np.array_equal(found, look(heights(full), inside, ROSE), equal_nan=True)
    cut = slice(950, 1150)
    part = look(heights(full[:, cut]), inside[:, cut], ROSE)[:, :, 45:-45]
    assert np.array_equal(part, found[:, :, cut][:, :, 45:-45], equal_nan=True)


def test_nothing_to_look_at_by_hand() -> None:
    """By hand: no heading, no field and no height give nothing, unknown and unknown."""
    ground = np.zeros((6, 7))
    assert look(heights(ground), but_the_rim((6, 7)), []).shape == (0, 6, 7)
    assert np.isnan(look(heights(ground), np.zeros((6, 7), bool), ROSE)).all()
    assert np.isnan(look(heights(ground * np.nan), but_the_rim((6, 7)), ROSE)).all()
    assert np.isinf(look(heights(ground), but_the_rim((6, 7)), 0.0, range_m=0.0)[0, 1, 1])


def test_what_cannot_be_worked_with_is_told_at_once_by_hand() -> None:
    """By hand: five faults in one error."""
    with pytest.raises(InputError) as caught:
        look(
            heights(np.zeros((6, 7))), np.zeros((7, 6), bool), [0.0, np.nan],
            eye_m=-1.0, target_m=math.nan, range_m=math.inf,
        )  # fmt: skip
    assert len(caught.value.faults) == 5
