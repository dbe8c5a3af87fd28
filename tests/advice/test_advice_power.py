"""Power needed against power there is, and what the field's climbs are taken for."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
import pytest
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from fieldmap.advice.power import climb_of, power_findings
from fieldmap.finding import Finding, rank
from fieldmap.grid import Grid
from fieldmap.machine import Machine
from fieldmap.risk.told import Told
from fieldmap.tables import Tables, load_tables
from fieldmap.terrain.slope import Slope

TABLES = load_tables()
UTM = CRS.from_epsg(32615)
KNOWN: dict[str, Any] = {
    "id": "m",
    "name": "the train",
    "kind": "pull-type",
    "working_width_m": 3.0,
    "mass_kg": 2500.0,
    "mower_mass_kg": 2500.0,
    "power_kw": 60.0,
    "drive": "front_assist",
    "conditioner": "rubber_rolls",
    "field_speed_kmh": 11.0,
}


def train(**given_: Any) -> Machine:
    """The worked chain's mower, all of it trailed, but for what is said."""
    return Machine.model_validate({**KNOWN, **given_})


def asked(
    machine: Machine | None,
    grade: float = 10.0,
    high: float = 10.0,
    *,
    soft: bool | None = False,
    tables: Tables = TABLES,
) -> list[Told]:
    return power_findings(
        "F", machine, grade_pct=grade, grade_high_pct=high, soft=soft, tables=tables
    )


def needed(machine: Machine | None, *args: float, **given_: Any) -> Finding:
    found = asked(machine, *args, **given_)[0].finding
    assert found.what == "power needed"
    return found


def test_the_slow_end_is_that_of_the_steepest_place_by_hand() -> None:
    """By hand: 32 kW, with a quarter kept 25.6; the knives take 24, at the highest 31.2.

    Left at 10 %: 1.6 x .77 x 3.6 / 3.859 kN = 1.15 km/h; at the highest nothing is left. With
    knives of a known rate the steepest place decides: at 20 % the pull is
    24.517 x (.0582 + .2) / 1.0198 = 6.207 kN: 0.715.
    """
    slower = asked(train(power_kw=32.0), 10.0, 20.0)[1].finding
    assert (slower.low, slower.value) == pytest.approx((0.0, 1.149), abs=2e-3)
    mine = TABLES.with_overrides({"power.disc_conditioner_kw_per_m": 8.0})
    slower = asked(train(power_kw=32.0), 10.0, 20.0, tables=mine)[1].finding
    assert (slower.low, slower.value) == pytest.approx((0.7146, 1.149), abs=2e-3)


def test_the_worked_chain_as_a_finding_referee() -> None:
    """Referee, recalled D497 figures worked by hand: 39.3 kW; the rate may be 30 % off."""
    found = needed(train())
    assert found.value == pytest.approx(39.3, abs=0.05)
    assert found.low == pytest.approx(39.3 - 7.2, abs=0.05)
    assert found.high == pytest.approx(39.3 + 7.2, abs=0.05)
    assert (found.level, found.limit, found.unit) == ("ok", 60.0, "kW")
    assert found.sources == ("memory", "own")
    assert "82% of the power" in found.why  # 1.25 x 39.31 / 60


@pytest.mark.parametrize(
    ("power", "level"), [(49.3, "ok"), (49.0, "care"), (40.0, "care"), (20.0, "care")]
)
def test_a_quarter_has_to_be_left_by_hand(power: float, level: str) -> None:
    """By hand: 1.25 x 39.31 = 49.14 kW; never more than care."""
    assert needed(train(power_kw=power)).level == level


def test_the_upper_end_of_the_climb_counts_by_hand() -> None:
    """By hand: 49.3 kW do on 10 % but the climb may be 20 %; the need is told up to there."""
    plain, steep = needed(train(power_kw=49.3)), needed(train(power_kw=49.3), 10.0, 20.0)
    assert (plain.level, steep.level) == ("ok", "care")
    assert steep.value == plain.value
    assert steep.high is not None
    assert plain.high is not None
    assert steep.high > plain.high


def test_the_speed_that_the_power_allows_by_hand() -> None:
    """By hand: 45 / 1.25 - 24 = 12 kW at the shaft, 9.24 drawn, over 3.859 kN: 8.62 km/h."""
    power, speed = asked(train(power_kw=45.0))
    assert power.finding.level == speed.finding.level == "care"
    assert speed.finding.what == "speed that the power allows"
    assert speed.finding.value == pytest.approx(8.62, abs=0.01)
    assert speed.finding.limit == 11.0
    assert "slower" in power.change
    assert len(asked(train(power_kw=60.0))) == 1


def test_no_power_left_by_hand() -> None:
    """By hand: 30 kW less the reserve are just what the knives take."""
    _, speed = asked(train(power_kw=30.0))
    assert speed.finding.value == 0.0
    assert "nothing is left" in speed.finding.why


@pytest.mark.parametrize(
    "gone",
    ["power_kw", "mass_kg", "working_width_m", "field_speed_kmh", "grade", "high", "machine"],
)
def test_what_nothing_bounds_makes_it_unknown_by_hand(gone: str) -> None:
    """By hand: one such figure missing, and the answer says which and what would change it."""
    machine: Machine | None = train()
    grade, high = 10.0, 10.0
    if gone == "machine":
        machine = None
    elif gone == "grade":
        grade = math.nan
    elif gone == "high":
        high = math.nan
    else:
        extra = {"mower_mass_kg": None} if gone == "mass_kg" else {}
        machine = train(**{gone: None}, **extra)
    told = asked(machine, grade, high)[0]
    assert told.finding.level == "unknown"
    assert told.change
    if gone in KNOWN:
        assert gone in told.finding.why
        assert gone in told.change


def test_without_a_speed_there_is_no_upper_end_by_hand() -> None:
    """By hand: low at 8 km/h, the value at the 11 of the table; more may be driven."""
    found = needed(train(field_speed_kmh=None))
    usual = needed(train())
    slow = needed(train(field_speed_kmh=8.0))
    assert (found.low, found.value, found.high) == (slow.low, usual.value, None)


def test_without_a_slope_level_ground_is_the_least_by_hand() -> None:
    """By hand: where no slope is known there is a low end, that of level ground, and no more."""
    found, level = needed(train(), math.nan, math.nan), needed(train(), 0.0, 0.0)
    assert (found.low, found.value, found.high) == (level.low, None, None)


def test_without_the_mass_the_knives_alone_are_told_by_hand() -> None:
    """By hand: 5.6 kW/m at the least over 3 m, and no upper end."""
    found = needed(train(mass_kg=None, mower_mass_kg=None))
    assert found.low == pytest.approx(16.8)
    assert (found.value, found.high) == (None, None)


@pytest.mark.parametrize("gone", ["drive", "conditioner", "mower_mass_kg", "soft"])
def test_what_is_bounded_is_unknown_only_where_it_matters_by_hand(gone: str) -> None:
    """By hand: 500 kW do and 15 do not whatever it is; in between it hangs on it."""
    soft = None if gone == "soft" else False
    given_: dict[str, Any] = {} if gone == "soft" else {gone: None}
    if gone == "mower_mass_kg":
        given_["mass_kg"] = 9000.0
    levels = [needed(train(power_kw=kw, **given_), soft=soft).level for kw in (500.0, 15.0)]
    assert levels == ["ok", "care"]
    best = needed(train(**{**given_, gone: BEST_OF[gone]} if gone in BEST_OF else given_))
    assert best.value is not None
    surely = train(power_kw=best.value * 1.249, **given_)
    assert needed(surely, soft=soft).level == "care"
    worst = needed(train(power_kw=500.0, **given_), soft=soft)
    assert worst.value is not None
    told = asked(train(power_kw=worst.value * 1.249, **given_), soft=soft)[0]
    assert told.finding.level == "unknown"
    assert ("soft" if gone == "soft" else gone) in told.change


def test_the_farms_own_reserve_wins_by_hand() -> None:
    """By hand: with no reserve asked for only the spread of the rate is left to fit: 46.5 kW."""
    mine = TABLES.with_overrides({"power.reserve_share": 0})
    assert needed(train(power_kw=47.0), tables=mine).level == "ok"
    assert needed(train(power_kw=46.0), tables=mine).level == "care"
    assert "farm" in needed(train(), tables=mine).sources


#: What a missing figure may be at its best; the ground then is firm.
BEST_OF = {"drive": "4wd", "conditioner": "none", "mower_mass_kg": 1e-6}
INPUTS = (
    "power_kw", "mass_kg", "mower_mass_kg", "working_width_m", "field_speed_kmh", "drive",
    "conditioner", "soft", "grade", "high",
)  # fmt: skip


@given(
    known=st.fixed_dictionaries(
        {
            "power_kw": st.floats(10.0, 200.0),
            "mass_kg": st.floats(5000.0, 15_000.0),
            "mower_mass_kg": st.floats(500.0, 5000.0),
            "working_width_m": st.floats(1.5, 9.0),
            "field_speed_kmh": st.floats(3.0, 30.0),
            "drive": st.sampled_from(["2wd", "front_assist", "4wd", "tracks"]),
            "conditioner": st.sampled_from(["none", "tine"]),
            "kind": st.sampled_from(["pull-type", "rear-mounted", "self-propelled"]),
        }
    ),
    soft=st.booleans(),
    grade=st.floats(0.0, 40.0),
    band=st.floats(0.0, 20.0),
    first=st.sets(st.sampled_from(INPUTS), max_size=3),
    second=st.sampled_from(INPUTS),
)
def test_knowing_less_is_never_better_property(
    known: dict[str, Any],
    soft: bool,
    grade: float,
    band: float,
    first: set[str],
    second: str,
) -> None:
    """Property: one thing more left out: no better level, no lower upper end; ranges hold."""
    before, after = (
        _without(known, soft, grade, grade + band, gone) for gone in (first, first | {second})
    )
    assert rank(after.level) >= rank(before.level)
    tops = [math.inf if one.high is None else one.high for one in (before, after)]
    assert tops[1] >= tops[0] * (1.0 - 1e-9)
    for found in (before, after):
        ends = [one for one in (found.low, found.value, found.high) if one is not None]
        assert all(np.diff(ends) >= -1e-9 * max(ends, default=0.0))


def _without(
    known: dict[str, Any], soft: bool, grade: float, high: float, gone: set[str]
) -> Finding:
    machine = train(**{**known, **{key: None for key in gone if key in known}})
    return needed(
        machine,
        math.nan if "grade" in gone else grade,
        math.nan if "high" in gone else high,
        soft=None if "soft" in gone else soft,
    )


class _Way(NamedTuple):
    degrees: float


class _Turns(NamedTuple):
    radius_m: float


class _Ground(NamedTuple):
    """What :func:`climb_of` reads of the lie of a field."""

    inside: np.ndarray
    headland: np.ndarray
    ground: Slope
    steep_high: Grid
    heading: _Way | None
    work: _Turns
    sigma: float


def ground(steep: list[float], facing: float = 90.0, **given_: Any) -> _Ground:
    """A row of cells that all face one way; the first is headland."""
    values = np.array([steep], np.float32)
    like = Grid(values, Affine(5, 0, 0, 0, -5, 0), UTM, "%", "slope_pct")
    held = _Ground(
        inside=np.ones(values.shape, bool),
        headland=np.arange(len(steep))[np.newaxis] == 0,
        ground=Slope(like, like.with_values(np.full_like(values, facing), unit="deg", name="a")),
        steep_high=like.with_values(values + 2.0, unit="%", name="slope_high_pct"),
        heading=_Way(0.0),
        work=_Turns(5.0),
        sigma=1e-6,
    )
    return held._replace(**given_)


def climb(held: _Ground) -> tuple[float, float]:
    return tuple(climb_of(held))  # type: ignore[arg-type]


def test_runs_climb_along_the_line_and_headlands_as_they_are_by_hand() -> None:
    """By hand: ground that falls east, mown north and south: runs are level, the headland is not.

    The 95th percentile of 8, 0, 0, 0, 0 is a fifth of the way from the fourth to the last: 6.4.
    """
    usual, high = climb(ground([8.0, 20.0, 20.0, 20.0, 20.0]))
    assert usual == pytest.approx(6.4, abs=1e-4)
    assert high == pytest.approx(10.0, abs=1e-3)
    usual, high = climb(ground([8.0] + [20.0] * 4, facing=180.0))
    assert usual == pytest.approx(20.0)
    assert high == pytest.approx(20.0, abs=1e-3)


@pytest.mark.parametrize("gone", [{"heading": None}, {"work": _Turns(math.nan)}])
def test_without_line_or_radius_the_steepest_counts_by_hand(gone: dict[str, Any]) -> None:
    """By hand: the machine may then stand any way, or turn anywhere."""
    assert climb(ground([8.0] + [20.0] * 4, **gone)) == (pytest.approx(20.0), 22.0)


def test_an_unknown_slope_leaves_no_upper_end_by_hand() -> None:
    """By hand: a hole, or no error of the elevation: nobody knows how steep it may be."""
    hole = ground([8.0, 20.0, 20.0, math.nan, 20.0], facing=180.0)
    assert climb(hole) == (pytest.approx(20.0), pytest.approx(math.nan, nan_ok=True))
    assert math.isnan(climb(ground([8.0, 20.0], sigma=math.nan))[1])
    nothing = climb(ground([math.nan, math.nan]))
    assert all(map(math.isnan, nothing))
