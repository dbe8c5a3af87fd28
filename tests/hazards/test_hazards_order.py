"""The order of a walk: the same whichever way its steps are had, and however often a way comes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from fieldmap.hazards import order
from fieldmap.hazards.order import short_order

place = st.tuples(st.integers(0, 40), st.integers(0, 40))


def ends_of(lines: list[tuple[tuple[int, int], tuple[int, int]]]) -> NDArray[np.float64]:
    return np.array(lines, float).reshape(-1, 2, 2)


@given(
    lines=st.lists(st.tuples(place, place), max_size=14),
    apart=st.sampled_from([0.0, 30.0]),
    points=st.booleans(),
)
def test_steps_out_of_a_table_or_reckoned_anew_give_one_order(
    lines: list[tuple[tuple[int, int], tuple[int, int]]], apart: float, points: bool
) -> None:
    """Property: the table of steps is only for speed; each item stands once in the order."""
    ends = ends_of(lines)
    if points:
        ends[:, 1] = ends[:, 0]
    ground = np.arange(len(ends)) % 3
    tabled = short_order(ends, (0.0, 0.0), ground=ground, apart_m=apart)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(order, "_TABLED", 0)
        anew = short_order(ends, (0.0, 0.0), ground=ground, apart_m=apart)
    assert tabled.rows.tolist() == anew.rows.tolist()
    assert tabled.turned.tolist() == anew.turned.tolist()
    assert tabled.length_m == anew.length_m
    assert sorted(tabled.rows.tolist()) == list(range(len(ends)))


@given(lines=st.lists(st.tuples(place, place), min_size=1, max_size=14))
def test_the_length_is_that_of_the_steps(
    lines: list[tuple[tuple[int, int], tuple[int, int]]],
) -> None:
    """Property: from the start to the end where each line is entered, and on from its other end."""
    ends = ends_of(lines)
    found = short_order(ends, (3.0, 4.0))
    here, total = np.array([3.0, 4.0]), 0.0
    for row, turned in zip(found.rows, found.turned, strict=True):
        entered, left = ends[row][::-1] if turned else ends[row]
        total += float(np.hypot(*(entered - here)))
        here = left
    assert found.length_m == pytest.approx(total, abs=1e-9)
