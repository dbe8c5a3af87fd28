"""Hectares an hour against published rows, minutes beside the runs', and the field speed."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.advice.conditions import conditions
from fieldmap.advice.field_speed import crop_limit_kmh, field_speed_findings
from fieldmap.advice.work_rate import field_capacity_ha_h, work_rate_findings
from fieldmap.finding import Finding, rank
from fieldmap.machine import Machine
from fieldmap.risk.speed import CROP, OWN, POWER, ROUGH, UNKNOWN, Speeds
from fieldmap.risk.told import Told
from fieldmap.risk.work import work_over
from fieldmap.tables import load_tables
from fieldmap.units import (
    M2_PER_ACRE,
    M2_PER_HECTARE,
    METRE_PER_FOOT,
    METRE_PER_INCH,
    METRE_PER_MILE,
)

TABLES = load_tables()
KMH_PER_MPH = METRE_PER_MILE / 1000.0
KNOWN: dict[str, Any] = {
    "id": "m",
    "name": "the mower",
    "kind": "pull-type",
    "working_width_m": 3.0,
    "field_speed_kmh": 11.0,
    "mass_kg": 7500.0,
    "power_kw": 90.0,
}


def mower(**given_: Any) -> Machine:
    return Machine.model_validate({**KNOWN, **given_})


def rate(machine: Machine | None, *, area_ha: float = 5.0, minutes: float | None = None) -> Told:
    (told,) = work_rate_findings("F", machine, area_ha=area_ha, run_minutes=minutes, tables=TABLES)
    return told


@pytest.mark.parametrize(
    ("width_m", "mph", "share", "acres"),
    [
        (40 * METRE_PER_FOOT, 6, 0.70, 20.4),
        (50 * METRE_PER_FOOT, 6, 0.70, 25.5),
        (10 * METRE_PER_FOOT, 5, 0.63, 3.8),
        (15 * METRE_PER_FOOT, 5, 0.63, 5.7),
        (15 * METRE_PER_FOOT, 6, 0.63, 6.9),
        (20 * METRE_PER_FOOT, 6, 0.63, 9.2),
        (30 * METRE_PER_FOOT, 6, 0.60, 13.1),
        (7 * 16 * METRE_PER_INCH, 5, 0.85, 4.8),
    ],
)
def test_field_capacity_referee(width_m: float, mph: float, share: float, acres: float) -> None:
    """Referee: Iowa State University PM 696 (2001), the eight printed rows, within 0.05 ac/h.

    https://studylib.net/doc/18166171/extension-store---iowa-state-university
    """
    found = float(field_capacity_ha_h(mph * KMH_PER_MPH, width_m=width_m, efficiency=share))
    assert found * M2_PER_HECTARE / M2_PER_ACRE == pytest.approx(acres, abs=0.05)


def test_a_mower_conditioner_referee() -> None:
    """Referee, secondary: 12 ft, 6 mph, 75 % printed as 6.55 ac/h; metric, ASABE EP496: 2.64."""
    found = field_capacity_ha_h(6 * KMH_PER_MPH, width_m=12 * METRE_PER_FOOT, efficiency=0.75)
    assert float(found) * M2_PER_HECTARE / M2_PER_ACRE == pytest.approx(6.55, abs=0.01)
    assert float(field_capacity_ha_h(11.0, width_m=3.0, efficiency=0.8)) == pytest.approx(2.64)


def test_efficiency_and_speeds_of_the_handbook_referee() -> None:
    """Referee: ASABE D497 from memory, 75-90/80 % and 5-12/7 mph; U. Wisconsin: 7-14, mean 10.5.

    https://hayandforage.com/article-3531-How-fast-is-too-fast.html
    """
    row = TABLES["work_rate.efficiency"]
    assert (row.low, row.number(), row.high) == (0.75, 0.80, 0.90)
    for key, mph in (("handbook_kmh", (5, 7, 12)), ("reported_kmh", (7, 10.5, 14))):
        row = TABLES[f"work_rate.{key}"]
        held = [one / KMH_PER_MPH for one in (row.low, row.number(), row.high) if one is not None]
        assert held == pytest.approx(mph, abs=0.05)
    assert TABLES.sources[TABLES["work_rate.reported_kmh"].source].mark == "seen"


def test_the_rate_of_a_field_by_hand() -> None:
    """By hand: 11 km/h, 3 m: 2.64 ha/h, 2.475 to 2.97; 5 ha in 114 min, 101 to 121."""
    found = rate(mower()).finding
    assert (found.low, found.value, found.high) == pytest.approx((2.475, 2.64, 2.97))
    assert (found.level, found.unit) == ("ok", "ha/h")
    assert "114 min (101 to 121)" in found.why
    assert found.sources == ("memory",)


@pytest.mark.parametrize(
    ("minutes", "words"),
    [
        (None, "is not known"),
        (math.nan, "is not known"),
        (110.0, "without stops, take 110 min."),
        (150.0, "cost more than usual"),
        (80.0, "without any stop. Plan with the longer"),
    ],
)
def test_the_minutes_of_the_runs_stand_beside_it_by_hand(minutes: float | None, words: str) -> None:
    """By hand: between 101 and 121 min they agree; beyond either end both are told."""
    found = rate(mower(), minutes=minutes).finding
    assert words in found.why
    assert "114 min" in found.why
    assert minutes is None or math.isnan(minutes) or f"{minutes:.0f} min" in found.why


def test_a_self_propelled_machine_has_its_own_efficiency_by_hand() -> None:
    """By hand, from memory: 70 to 85 percent."""
    found = rate(mower(kind="self-propelled")).finding
    assert (found.low, found.high) == pytest.approx((0.7 * 3.3, 0.85 * 3.3))


@pytest.mark.parametrize("gone", ["working_width_m", "field_speed_kmh"])
def test_a_rate_without_width_or_speed_by_hand(gone: str) -> None:
    """By hand: unknown; without a speed from the slowest to the fastest that pages report."""
    told = rate(mower(**{gone: None}))
    assert told.finding.level == "unknown"
    assert gone in told.change
    if gone == "field_speed_kmh":
        assert told.finding.low == pytest.approx(8.0 * 3.0 * 0.75 / 10.0)
        assert told.finding.high == pytest.approx(22.53 * 3.0 * 0.90 / 10.0)
    else:
        assert told.finding.value is told.finding.high is None
    assert rate(None).finding.level == "unknown"


def test_a_farm_that_says_nought_gets_no_rate_regression() -> None:
    """Regression: an efficiency of 0 is no rate, and no division by nought."""
    mine = TABLES.with_overrides({"work_rate.efficiency": 0})
    (told,) = work_rate_findings("F", mower(), area_ha=5.0, run_minutes=90.0, tables=mine)
    assert (told.finding.level, told.finding.value) == ("unknown", None)


@given(
    width=st.floats(1.0, 15.0),
    speed=st.floats(2.0, 22.0),
    more=st.floats(0.0, 5.0),
    gone=st.sampled_from(["working_width_m", "field_speed_kmh"]),
)
def test_wider_and_faster_mow_more_and_less_known_is_no_better_property(
    width: float, speed: float, more: float, gone: str
) -> None:
    """Property: the range holds its middle; wider or faster is no slower; no level gets better."""
    one = rate(mower(working_width_m=width, field_speed_kmh=speed)).finding
    assert one.low is not None
    assert one.value is not None
    assert one.high is not None
    assert one.low <= one.value <= one.high
    for other in (
        mower(working_width_m=width + more, field_speed_kmh=speed),
        mower(working_width_m=width, field_speed_kmh=speed + more),
    ):
        assert (rate(other).finding.value or 0.0) >= one.value
    less = rate(mower(**{"working_width_m": width, "field_speed_kmh": speed, gone: None})).finding
    assert rank(less.level) >= rank(one.level)
    assert less.high is None or less.high >= one.high * (1.0 - 1e-9)


def speeds_of(limits: list[float], causes: list[int]) -> Speeds:
    limit = np.array([limits])
    none = np.zeros(limit.shape)
    return Speeds(
        sight_m=none.astype(np.float32),
        by_sight_kmh=none,
        by_turn_kmh=none,
        any_way_kmh=none,
        limit_kmh=limit,
        cause=np.array([causes], np.int16),
        range_m=10.0,
        by_power_kmh=none,
    )


def field_speed(limits: list[float], causes: list[int], **given_: Any) -> Finding:
    work = work_over(shapely.box(0, 0, 100, 100), mower(**given_), tables=TABLES)
    speed = speeds_of(limits, causes)
    (told,) = field_speed_findings(
        "F", speed, np.ones((1, len(limits)), bool), work=work, tables=TABLES
    )
    assert told.echo
    return told.finding


def test_the_field_speed_and_what_governs_it_by_hand() -> None:
    """By hand: three cells of five at the machine's own, one rough, one by power."""
    found = field_speed([11.0, 11.0, 11.0, 8.0, 4.0], [OWN, OWN, OWN, ROUGH, POWER])
    assert (found.low, found.value, found.high) == (4.0, 11.0, 11.0)
    assert (found.level, found.limit, found.unit) == ("care", 11.0, "km/h")
    assert "the machine's own field speed on 60%, rough or stony ground on 20%" in found.why
    assert "the power on the climb on 20%" in found.why
    assert "8 to 19 km/h (5 to 12 mph), and as 11 to 23 km/h (7 to 14 mph)" in found.why
    assert field_speed([11.0] * 3, [OWN] * 3).level == "ok"
    assert field_speed([8.0] * 3, [ROUGH] * 3).level == "care"


def test_cells_outside_the_field_do_not_count_by_hand() -> None:
    """By hand: the slow cell lies outside."""
    work = work_over(shapely.box(0, 0, 100, 100), mower(), tables=TABLES)
    inside = np.array([[True, True, False]])
    held = speeds_of([11.0, 11.0, 2.0], [OWN, OWN, POWER])
    (told,) = field_speed_findings("F", held, inside, work=work, tables=TABLES)
    assert (told.finding.low, told.finding.level) == (11.0, "ok")
    assert "power" not in told.finding.why


@pytest.mark.parametrize("gone", ["field_speed_kmh", "power_kw", "mass_kg", "working_width_m"])
def test_a_field_speed_of_which_something_is_missing_by_hand(gone: str) -> None:
    """By hand: unknown, though every cell has a limit, and no upper end."""
    found = field_speed([11.0, 8.0], [OWN, CROP], **{gone: None})
    assert (found.level, found.high) == ("unknown", None)


def test_a_cell_without_a_limit_by_hand() -> None:
    """By hand: half of the field is not known, and no cell at all is no speed."""
    found = field_speed([11.0, math.nan], [OWN, UNKNOWN])
    assert found.level == "unknown"
    assert "No limit is known on 50%" in found.why
    assert field_speed([math.nan], [UNKNOWN]).value is None
    assert field_speed([], []).level == "unknown"


@pytest.mark.parametrize(
    ("row", "limit"),
    [
        ({"crop": "alfalfa", "lodged": False}, math.inf),
        ({"crop": "alfalfa", "lodged": True}, 8.0),
        ({"crop": "alfalfa", "lodged": None}, 8.0),
        ({"crop": "pearl millet", "lodged": False}, 8.0),
        ({"crop": None, "lodged": False}, 8.0),
        ({"crop": "hops", "lodged": False}, 8.0),
    ],
)
def test_the_crops_own_speed_by_hand(row: dict[str, Any], limit: float) -> None:
    """By hand, own defaults: lodged and thick stems are slow, and so is what nobody said."""
    held = conditions({"field_id": "F", **row}, kinds=(), flooded=False, tables=TABLES)
    assert crop_limit_kmh(held, tables=TABLES) == limit
    mine = TABLES.with_overrides({"stopping.crop_lodged_kmh": 6, "stopping.crop_thick_kmh": 5})
    slow = {"lodged": 6.0, "thick": 5.0}
    wanted = [slow["lodged"]] if row["lodged"] is not False else []
    wanted += [] if row["crop"] == "alfalfa" else [slow["thick"]]
    assert crop_limit_kmh(held, tables=mine) == min(wanted, default=math.inf)
