"""The farm's own gate at the end of a move."""

from __future__ import annotations

import dataclasses
import math

import geopandas as gpd
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.finding import rank
from fieldmap.roads.answer import Move
from fieldmap.roads.gates import Gate, through_gate
from fieldmap.roads.tell import off_road
from fieldmap.tables import load_tables

TABLES = load_tables()
NOTHING = gpd.GeoDataFrame(geometry=[], crs=32615)
MOVE = Move(
    level="ok", reason="", machine="m", state="folded", legs=NOTHING, nodes=pd.DataFrame(),
    direct=NOTHING, direct_nodes=pd.DataFrame(), findings=(), refusals=(), survey=[],
    states={"folded": "ok"}, length_m=0.0, minutes=None, start=(0.0, 0.0), goal=(0.0, 0.0),
)  # fmt: skip


def through(width_m: float, machine_m: float | None) -> Move:
    return through_gate(
        MOVE, Gate("G1", width_m, -93.0, 40.0), machine_width_m=machine_m, tables=TABLES
    )


def test_fao_rule_for_an_opening() -> None:
    """Referee: FAO farm structures, opening = vehicle + 0.6 m: 3.0 m needs 3.6 m."""
    assert through(3.6, 3.0).level == "ok"
    assert through(3.59, 3.0).level == "stop"
    assert through(3.59, 3.0).findings[0].limit == pytest.approx(3.6)


def test_an_unknown_gate_is_unknown_and_to_be_measured() -> None:
    """By hand: no width, then unknown, and the figure to beat stands on the survey list."""
    move = through(math.nan, 3.0)
    assert move.level == "unknown"
    (row,) = move.survey
    assert (row["place"], row["must_beat"], row["unit"]) == ("gate/G1", pytest.approx(3.6), "m")
    assert move.findings[0].value is None


def test_an_unknown_machine_is_unknown_whatever_the_gate() -> None:
    """By hand: a wide gate says nothing about a machine nobody measured."""
    assert through(12.0, None).level == "unknown"


@given(
    gate=st.floats(0.5, 20), machine=st.floats(0.5, 10), wider=st.floats(0, 5),
)  # fmt: skip
def test_wider_never_turns_stop_into_ok(gate: float, machine: float, wider: float) -> None:
    """Property: a wider machine at the same gate is never better off."""
    assert rank(through(gate, machine + wider).level) >= rank(through(gate, machine).level)


def test_the_reason_follows_the_level() -> None:
    """By hand: a way chosen because all of it passes still says that its gate does not."""
    sure = dataclasses.replace(MOVE, reason="The shortest way on which every check passes.")
    gate = Gate("G1", 2.0, -93.0, 40.0)
    narrow = through_gate(sure, gate, machine_width_m=3.0, tables=TABLES)
    assert narrow.level == "stop"
    assert narrow.reason.endswith("But farm gate: stop.")
    wide = through_gate(sure, gate._replace(width_m=9.0), machine_width_m=3.0, tables=TABLES)
    assert wide.reason == sure.reason


def test_a_gate_never_betters_a_move() -> None:
    """By hand: a stop on the way stays a stop behind a wide gate."""
    finding = dataclasses.replace(through(3.0, 3.0).findings[0])
    stopped = dataclasses.replace(MOVE, level="stop", findings=(finding,))
    wide = Gate("G1", 12.0, -93.0, 40.0)
    assert through_gate(stopped, wide, machine_width_m=3.0, tables=TABLES).level == "stop"


def test_ground_off_the_road_is_looked_at_near_and_unknown_far() -> None:
    """By hand: at the verge's limit care, beyond it unknown; never ok."""
    verge = TABLES.number("clearances.verge_m")
    near = off_road("S1", verge, -93.0, 40.0, tables=TABLES)
    far = off_road("S1", verge + 0.1, -93.0, 40.0, tables=TABLES)
    assert (near.level, far.level) == ("care", "unknown")
    assert off_road("S1", 0.0, -93.0, 40.0, tables=TABLES).level == "care"
