"""The farm's own gates at the ends of a way, by hand: what they leave of the widest machine."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fieldmap.reaching_ends import Target, through_gates
from fieldmap.roads.gates import Gate
from fieldmap.roads.search import Way
from fieldmap.roads.widest import Bound, Widest
from fieldmap.tables import load_tables

TABLES = load_tables()
MORE = TABLES.number("clearances.gate_width_m")
WAY = Way(np.array([0]), np.array([], dtype=np.int64), 0, 10.0)
BARN = Target("barn", 11.5, 50.0, None)


def gated(width_m: float, *, sure: float = 3.0, possible: float = 5.0) -> Widest:
    """A way for machines of 3 m surely and 5 m possibly, that ends at a gate."""
    field = Target("S1", 11.5, 50.0, Gate("G1", width_m, 11.5, 50.0))
    found = Widest(Bound(sure, WAY, ()), Bound(possible, WAY, ()))
    return through_gates(found, (BARN, field), TABLES)


def test_by_hand_a_gate_that_is_not_known_leaves_nothing_sure() -> None:
    found = gated(math.nan)
    assert found.surely.width_m == 0.0
    (one,) = found.surely.decides
    assert (one.place, one.kind) == ("gate/G1", "")
    assert "not known" in one.why
    assert (found.possibly.width_m, found.possibly.decides) == (5.0, ())


@pytest.mark.parametrize(
    ("clear", "surely", "possibly"),
    [(6.0, 3.0, 5.0), (4.0, 3.0, 4.0), (2.0, 2.0, 2.0), (-0.1, 0.0, 0.0)],
)
def test_by_hand_a_gate_leaves_its_opening_less_its_clearance(
    clear: float, surely: float, possibly: float
) -> None:
    found = gated(clear + MORE)
    for bound, width_m, before in ((found.surely, surely, 3.0), (found.possibly, possibly, 5.0)):
        assert bound.width_m == pytest.approx(width_m)
        assert [one.place for one in bound.decides] == (["gate/G1"] if width_m < before else [])


def test_by_hand_no_way_stays_no_way() -> None:
    none = Bound(math.nan, None, ())
    field = Target("S1", 11.5, 50.0, Gate("G1", 2.0, 11.5, 50.0))
    found = through_gates(Widest(none, none), (field, BARN), TABLES)
    assert found.surely is found.possibly is none
    without = through_gates(Widest(none, none), (BARN, BARN), TABLES)
    assert without.surely is none
