"""The invented farm assessed: what it says, that it says it twice, and on a cluster too."""

from __future__ import annotations

import dataclasses
import re
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from distributed import LocalCluster
from farm_pieces import copied_farm

from fieldmap.assessment import Assessment, assess
from fieldmap.errors import MisuseError
from fieldmap.farm import Farm
from fieldmap.field_answer import FieldAnswer
from fieldmap.finding import Finding, rank, worst

DAY = date(2026, 6, 9)
MACHINE = "pull-39"
COLUMNS = [
    "field_id", "name", "crop", "area_ha", "level", "reason", "slope_known_share", "slope_p95_pct",
    "slope_max_pct", "slope_error_pct", "heading_deg", "runs", "turns", "mowing_min",
    "side_slope_max_pct", "side_slope_use_max", "sight_ahead_min_m", "speed_limit_kmh", "hollows",
    "drop_offs", "wet_share", "unknown_share", "looked_share",
    "flooded_share", "marks", "cut_height_m", "skid_shoe", "knife", "conditioner",
    "strikes", "strikes_low", "strikes_high", "wraps", "forage_things", "set_up_cost",
    "set_up_margin", "power_needed_kw", "work_rate_ha_h",
]  # fmt: skip


@pytest.fixture(scope="module")
def demo_farm(tmp_path_factory: pytest.TempPathFactory, demo_geodata: Path) -> Farm:
    return copied_farm(tmp_path_factory.mktemp("assessed"), demo_geodata)


@pytest.fixture(scope="module")
def demo_assessed(demo_farm: Farm) -> Assessment:
    return assess(demo_farm, day=DAY, machine_id=MACHINE)


def of(assessed: Assessment, field_id: str) -> FieldAnswer:
    (found,) = (answer for answer in assessed.answers if answer.field_id == field_id)
    return found


def about(answer: FieldAnswer, what: str) -> Finding:
    (found,) = (one for one in (*answer.findings, *answer.settings) if one.what == what)
    return found


def check_same(first: Assessment, second: Assessment) -> None:
    """Every answer, finding, cell and zone alike."""
    pd.testing.assert_frame_equal(first.table, second.table)
    for one, two in zip(first.answers, second.answers, strict=True):
        assert one.findings == two.findings
        assert one.settings == two.settings
        assert (one.to_change, one.ground, one.marks) == (two.to_change, two.ground, two.marks)
        for ours, theirs in zip(one.layers.bands(), two.layers.bands(), strict=True):
            assert np.array_equal(ours.values, theirs.values, equal_nan=True)
        assert one.zones.to_wkb().equals(two.zones.to_wkb())


def test_every_field_is_answered_by_hand(demo_assessed: Assessment) -> None:
    """By hand: twelve fields in the order of the file, the columns that the design names."""
    table = demo_assessed.table
    assert list(table.columns) == COLUMNS
    assert table["field_id"].tolist() == [f"S{number}" for number in range(1, 13)]
    assert sum(demo_assessed.counts().values()) == 12
    shares = table[["unknown_share", "looked_share", "flooded_share"]]
    assert ((shares >= 0) & (shares <= 1)).all(axis=None)


def test_the_answer_is_the_worst_of_its_findings_property(demo_assessed: Assessment) -> None:
    """Property: no field is better than anything that was found about it, and all says so."""
    for answer in demo_assessed.answers:
        told = (*answer.findings, *answer.settings)
        assert answer.level == worst(one.level for one in told)
        assert [rank(one.level) for one in answer.findings] == sorted(
            (rank(one.level) for one in answer.findings), reverse=True
        )
        if answer.level in ("stop", "unknown"):
            assert answer.to_change


def test_nothing_is_called_safe_property(demo_assessed: Assessment) -> None:
    """Property: the word is in no sentence of any finding."""
    for answer in demo_assessed.answers:
        words = [answer.reason, *answer.to_change, *answer.ground, *answer.zones["reason"]]
        for one in (*answer.findings, *answer.settings):
            words += [one.what, one.why, one.caution, one.choice]
        assert not re.search(r"\bsafe", " ".join(words), re.IGNORECASE)


def test_every_finding_can_be_argued_with_property(demo_assessed: Assessment) -> None:
    """Property: each names its sources; a level over ok on the ground carries its caution."""
    for answer in demo_assessed.answers:
        for one in (*answer.findings, *answer.settings):
            assert one.sources, one.what
            assert all(one.sources), one.what
            assert one.why.endswith("."), one.what


def test_ground_outside_the_raster_is_unknown_by_hand(demo_assessed: Assessment) -> None:
    """By hand: more than half of S12 has no elevation, and all that rests on it says unknown."""
    answer = of(demo_assessed, "S12")
    row = demo_assessed.table.set_index("field_id").loc["S12"]
    assert row["unknown_share"] > 0.5
    assert about(answer, "elevation under the field").level == "unknown"
    assert about(answer, "slope straight up and down").level == "unknown"
    assert about(answer, "side slope on the best heading").level == "unknown"
    bare = answer.zones[answer.zones["cause"] == "no elevation"]
    assert bare["area_ha"].sum() > 0.5 * row["area_ha"]


def test_a_hole_in_the_raster_is_unknown_by_hand(demo_assessed: Assessment) -> None:
    """By hand: S9 has a hole in its elevation."""
    answer = of(demo_assessed, "S9")
    assert 0 < about(answer, "elevation under the field").value < 100  # type: ignore[operator]
    assert "no elevation" in set(answer.zones["cause"])


def test_a_field_without_a_crop_by_hand(demo_assessed: Assessment) -> None:
    """By hand: of S10 nobody said crop, cutting, stoniness or lodging: no setting is known."""
    answer = of(demo_assessed, "S10")
    assert about(answer, "cut height and skid shoe").level == "unknown"
    assert about(answer, "conditioner").level == "unknown"
    assert about(answer, "cutterbar tilt").level in ("unknown", "care")
    row = demo_assessed.table.set_index("field_id").loc["S10"]
    assert row["skid_shoe"] == ""
    assert row["conditioner"] == ""


def test_flooded_ground_walked_before_the_water_by_hand(demo_assessed: Assessment) -> None:
    """By hand: S1 was walked before the flood only; that look counts for nothing."""
    answer = of(demo_assessed, "S1")
    assert about(answer, "flooded ground looked at since").value == 0.0
    dry = answer.layers.inside & (answer.layers.level.values < rank("unknown"))
    assert dry.sum() == 0


def test_the_growers_own_figure_is_cited_by_hand(demo_assessed: Assessment) -> None:
    """By hand: the farm set care at 14 %, and the machine its own limit: both are the farm's."""
    assert demo_assessed.farm.tables["side_slopes.care_pct"].overridden
    side = about(of(demo_assessed, "S8"), "side slope on the best heading")
    assert "farm" in side.sources
    assert side.limit == 20.0


def test_the_tables_override_is_cited_by_hand(demo_farm: Farm) -> None:
    """By hand: the machine without a limit of its own is held to the farm's 14 %."""
    (answer,) = assess(demo_farm, day=DAY, machine_id="rear-3", field_ids=["S8"]).answers
    assert answer.layers.lie.limits.care_pct == 14.0
    assert "farm" in about(answer, "side slope on the best heading").sources


def test_the_same_twice_property(demo_farm: Farm, demo_assessed: Assessment) -> None:
    """Property: the same farm, machine and day give the same answer to the last cell."""
    check_same(assess(demo_farm, day=DAY, machine_id=MACHINE), demo_assessed)


def test_a_few_fields_are_answered_alike_property(
    demo_farm: Farm, demo_assessed: Assessment
) -> None:
    """Property: asked alone a field gets the answer it has among the others."""
    some = assess(demo_farm, day=DAY, machine_id=MACHINE, field_ids=["S12", "S2"])
    among = tuple(of(demo_assessed, name) for name in ("S2", "S12"))
    check_same(some, dataclasses.replace(demo_assessed, answers=among))


def test_on_a_cluster_property(demo_farm: Farm, demo_assessed: Assessment) -> None:
    """Property: sent out in chunks the answers are the same."""
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
    ) as cluster:
        there = assess(demo_farm, day=DAY, machine_id=MACHINE, cluster=cluster.scheduler_address)
    check_same(there, demo_assessed)


def test_no_such_field_by_hand(demo_farm: Farm) -> None:
    """By hand: each name that is not there is told, with those that are."""
    with pytest.raises(MisuseError) as error:
        assess(demo_farm, day=DAY, field_ids=["S1", "S77", "S99"])
    assert [fault.value for fault in error.value.faults] == ["S77", "S99"]
    assert "S12" in error.value.faults[0].mend


def test_no_such_machine_by_hand(demo_farm: Farm) -> None:
    """By hand: a machine that is not in the file."""
    with pytest.raises(MisuseError, match="no such machine"):
        assess(demo_farm, day=DAY, machine_id="big")


def test_before_the_flood_by_hand(demo_farm: Farm) -> None:
    """By hand: on the day before the water no ground was flooded."""
    early = assess(demo_farm, day=date(2026, 5, 27), machine_id=MACHINE).table
    assert (early["flooded_share"] == 0).all()
