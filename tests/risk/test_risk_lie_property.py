"""Whatever is taken from the ground or the machine, no cell and no finding gets better."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from lie_ground import (
    PLAIN,
    USUAL,
    assert_not_better,
    judged,
    shaped,
)
from small_ground import (
    mower,
)

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
@settings(max_examples=80, deadline=None)
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
@example(parts=PLAIN | {"north": -0.1}, machine=USUAL | {"working_width_m": 1.5,
         "turning_radius_m": 1.0}, error_m=0.4, gone="working_width_m")  # fmt: skip
@example(parts=PLAIN | {"north": -0.1}, machine=USUAL | {"working_width_m": 1.5,
         "turning_radius_m": 1.0}, error_m=0.4, gone="turning_radius_m")  # fmt: skip
@example(parts=PLAIN | {"east": 0.13, "brow_m": 2.5, "brow_at": 10, "wall_m": 3.0, "wall_at": 22},
         machine=USUAL | {"working_width_m": 1.5, "turning_radius_m": 1.0, "field_speed_kmh": 5.0,
         "cg_height_m": 0.7}, error_m=1e-6, gone="working_width_m")  # fmt: skip
@settings(max_examples=80, deadline=None)
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
