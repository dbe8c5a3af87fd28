"""The look at a field in its answer: how well, with what sward, and since the water."""

from __future__ import annotations

import dataclasses
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from farm_pieces import copied_farm

from fieldmap.assessment import Assessment, assess
from fieldmap.farm import Farm
from fieldmap.field_answer import FieldAnswer
from fieldmap.finding import Finding, rank
from fieldmap.hazards.chance import hardest_kind, sweep_width_m
from fieldmap.write.assessment import run_facts

DAY = date(2026, 6, 9)
FLOODED, WALKED = "S1", ["S4", "S5", "S8"]


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory, demo_geodata: Path) -> Farm:
    return copied_farm(tmp_path_factory.mktemp("looked"), demo_geodata)


def with_sward(farm: Farm, sward_m: float) -> Farm:
    return dataclasses.replace(farm, fields=farm.fields.assign(sward_m=sward_m))


def answers(assessed: Assessment) -> dict[str, FieldAnswer]:
    return {answer.field_id: answer for answer in assessed.answers}


def about(answer: FieldAnswer, what: str) -> Finding:
    (found,) = (one for one in answer.findings if one.what == what)
    return found


def test_lines_six_metres_apart_are_enough_in_a_low_sward_by_hand(farm: Farm) -> None:
    """By hand: walked 6 m apart; at 0.25 m a stone shows over 6.1 m, in tall sward over 3 m."""
    low = answers(assess(with_sward(farm, 0.25), day=DAY, field_ids=WALKED))
    tall = answers(assess(with_sward(farm, np.nan), day=DAY, field_ids=WALKED))
    for name in WALKED:
        assert about(low[name], "ground looked at").level == "ok"
        assert about(low[name], "what the walks may have missed").level == "ok"
        unsaid = about(tall[name], "ground looked at")
        assert unsaid.level == "unknown"
        assert any("sward_m" in words for words in tall[name].to_change)
        assert not any("sward_m" in words for words in low[name].to_change)


def test_a_taller_sward_never_looks_better_property(farm: Farm) -> None:
    """Property: of the demo's walks, through heights up to unknown, which is as tall."""
    before = None
    for sward_m in (0.0, 0.2, 0.3, 0.4, 0.5, np.nan):
        assessed = assess(with_sward(farm, sward_m), day=DAY)
        table = assessed.table.set_index("field_id")
        if before is not None:
            assert (table["looked_share"] <= before["looked_share"] + 1e-9).all()
            for name, answer in answers(assessed).items():
                assert rank(answer.level) >= rank(before.loc[name, "level"])
        before = table
    assert before is not None
    assert (
        assess(with_sward(farm, 0.5), day=DAY)
        .table["looked_share"]
        .equals(before["looked_share"].reset_index(drop=True))
    )


def test_a_field_never_walked_after_its_flood_is_unknown_by_hand(farm: Farm) -> None:
    """By hand: even with its sward shorn; S1 was walked before the water only."""
    answer = answers(assess(with_sward(farm, 0.0), day=DAY, field_ids=[FLOODED]))[FLOODED]
    assert rank(answer.level) >= rank("unknown")
    for what in ("ground looked at", "flooded ground looked at since"):
        assert (about(answer, what).level, about(answer, what).value) == ("unknown", 0.0)


def test_an_answer_carries_the_look_and_holds_no_cells_by_hand(farm: Farm) -> None:
    """By hand: who plans a search asks the answer; until then it holds walks and outline only."""
    found = answers(assess(with_sward(farm, 0.25), day=DAY, field_ids=["S4", "S6"]))
    seen = found["S4"].seen
    assert "cells" not in vars(seen)
    assert not seen._chances
    kind = hardest_kind(0.25, farm.tables)
    chance = seen.chance(sweep_width_m(kind, seen.sward_m, farm.tables))
    assert chance.shape == seen.cells.x.shape
    assert f"{chance.mean():.2f}" in about(found["S4"], "ground looked at").why
    area_ha = farm.fields.set_index("field_id").loc["S4", "area_ha"]
    assert seen.cells.area_m2 * seen.cells.x.size == pytest.approx(1e4 * area_ha)
    assert not found["S6"].seen.walked


def test_the_run_names_a_sweep_width_of_the_farms_own_by_hand(farm: Farm) -> None:
    """By hand: the width that was given and the one it replaced, not the kind's height."""
    key = "hazard_kinds.stone.sweep_tall_m"
    own = dataclasses.replace(farm, tables=farm.tables.with_overrides({key: 4}))
    overrides = run_facts(assess(own, day=DAY, field_ids=["S6"]))["overrides"]
    assert overrides[key] == {"value": 4.0, "was": 3.0, "unit": "m"}
    assert "hazard_kinds.stone" not in overrides
    assert overrides["side_slopes.care_pct"]["value"] == 14.0
