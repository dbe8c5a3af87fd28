"""Power at the shaft and up a slope: published checks, worked chains, and what may never help."""

from __future__ import annotations

import math
from typing import Any, get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.machine import Drive, Machine
from fieldmap.risk.power import (
    BEST,
    HIGH,
    LOW,
    VALUE,
    Pull,
    drawbar_kw,
    motion_resistance,
    needed_kw,
    pull_ends,
    pull_n,
    pull_of,
    rotary_kw,
    speed_by_power_kmh,
)
from fieldmap.tables import load_tables
from fieldmap.units import (
    METRE_PER_FOOT,
    METRE_PER_MILE,
    NEWTON_PER_POUND_FORCE,
    WATT_PER_HORSEPOWER,
)

TABLES = load_tables()
HP_KW = WATT_PER_HORSEPOWER / 1000.0
CHAIN = Pull(
    power_kw=60.0, shaft_kw=24.0, rolled_kg=2500.0, lifted_kg=2500.0, resistance=0.0582, ratio=0.77
)


def train(**given_: Any) -> Machine:
    """A tractor with a pull-type mower-conditioner of which all is known, but for what is said."""
    known = {
        "id": "m",
        "name": "the train",
        "kind": "pull-type",
        "working_width_m": 3.0,
        "mass_kg": 7500.0,
        "mower_mass_kg": 2500.0,
        "power_kw": 90.0,
        "drive": "front_assist",
        "conditioner": "rubber_rolls",
        "field_speed_kmh": 11.0,
    }
    return Machine.model_validate({**known, **given_})


def resistance(bn: float, slip: float = 0.0) -> float:
    return float(
        motion_resistance(
            bn,
            least=TABLES.number("power.resistance_least"),
            by_slip=TABLES.number("power.resistance_by_slip"),
            slip=slip,
        )
    )


@pytest.mark.parametrize(
    ("key", "width_m", "kw"),
    [
        ("disc_mower", 3.0, 15.0),
        ("disc_conditioner", 3.0, 24.0),
        ("disc_conditioner", 13 * METRE_PER_FOOT, 31.70),
    ],
)
def test_rotary_power_referee(key: str, width_m: float, kw: float) -> None:
    """Referee, from memory: ASABE D497 rotary power, a = c = 0, b 5.0 and 8.0 kW/m."""
    rate = TABLES.number(f"power.{key}_kw_per_m")
    found = rotary_kw(width_m, base_kw=TABLES.number("power.base_kw"), per_metre_kw=rate)
    assert float(found) == pytest.approx(kw, abs=0.005)


def test_rotary_power_with_feed_by_hand() -> None:
    """By hand: 2 + 5 x 3 + 0.5 x 10 = 22."""
    found = rotary_kw(3.0, base_kw=2.0, per_metre_kw=5.0, per_feed_kw=0.5, feed_t_h=10.0)
    assert float(found) == 22.0


def test_power_of_a_foot_referee() -> None:
    """Referee, from memory: 8.0 kW/m are 3.270 hp for each foot."""
    rate = TABLES.number("power.disc_conditioner_kw_per_m")
    assert rate * METRE_PER_FOOT / HP_KW == pytest.approx(3.270, abs=5e-4)


@pytest.mark.parametrize("key", ["disc_mower", "disc_conditioner"])
def test_rotary_rates_are_as_wide_as_the_handbook_says(key: str) -> None:
    """Referee, from memory: ASABE D497 expects up to 30 percent either way."""
    row = TABLES[f"power.{key}_kw_per_m"]
    assert (row.low, row.high) == pytest.approx((0.7 * row.number(), 1.3 * row.number()))
    assert TABLES.sources[row.source].mark == "memory"


@pytest.mark.parametrize(
    ("soil", "ratio"),
    [("hard", 0.0525), ("firm", 0.0582), ("tilled", 0.0733), ("soft", 0.1067)],
)
def test_motion_resistance_referee(soil: str, ratio: float) -> None:
    """Referee, from memory: ASABE D497 motion resistance ratio at no slip, Bn 80, 55, 30, 15."""
    assert resistance(TABLES.number(f"power.bn_{soil}")) == pytest.approx(ratio, abs=5e-5)


def test_motion_resistance_with_slip_by_hand() -> None:
    """By hand: 1/25 + 0.04 + 0.5 x 0.1 / 5 = 0.09."""
    assert resistance(25.0, slip=0.1) == pytest.approx(0.09)


@pytest.mark.parametrize(
    ("drive", "ratios"),
    [
        ("2wd", (0.87, 0.72, 0.67, 0.55)),
        ("front_assist", (0.87, 0.77, 0.73, 0.65)),
        ("4wd", (0.88, 0.78, 0.75, 0.70)),
        ("tracks", (0.88, 0.76, 0.74, 0.72)),
    ],
)
def test_drawbar_ratios_referee(drive: str, ratios: tuple[float, ...]) -> None:
    """Referee, from memory: ASABE D497 figure of drawbar over shaft power, concrete to soft."""
    soils = ("hard", "firm", "tilled", "soft")
    rows = [TABLES[f"power.drawbar_{drive}_{soil}"] for soil in soils]
    assert tuple(row.number() for row in rows) == ratios
    assert {row.source for row in rows} == {"memory"}


def test_every_drive_has_its_ratios_by_hand() -> None:
    """By hand: what a machine may be said to be driven by is in the table, and nothing else."""
    rows = {row.key for row in TABLES.rows("power") if "drawbar" in row.key}
    soils = ("hard", "firm", "tilled", "soft")
    assert rows == {f"power.drawbar_{one}_{soil}" for one in get_args(Drive) for soil in soils}


def test_drawbar_power_referee() -> None:
    """Referee: hp = lb x mph / 375: 2000 lb at 5 mph are 26.667 hp; 10 kN at 8 km/h 22.222 kW."""
    assert float(drawbar_kw(10_000.0, 8.0)) == pytest.approx(22.222, abs=5e-4)
    kw = drawbar_kw(2000 * NEWTON_PER_POUND_FORCE, 5 * METRE_PER_MILE / 1000.0)
    assert float(kw) / HP_KW == pytest.approx(26.667, abs=5e-4)


@pytest.mark.parametrize(
    ("mass", "grade", "newton"), [(2500, 0.1, 2439.5), (2500, 0.15, 3636.8), (3000, 0.2, 5769.7)]
)
def test_grade_pull_referee(mass: float, grade: float, newton: float) -> None:
    """Referee: statics, m g sin: 2500 kg on 10 and 15 %, 3000 kg on 20 %."""
    lifted = CHAIN._replace(rolled_kg=0.0, lifted_kg=mass)
    assert float(pull_n(grade, pull=lifted)) == pytest.approx(newton, abs=0.05)


def test_the_worked_chain_referee() -> None:
    """Referee, recalled figures worked by hand: 3859 N, 11.79 kW, 15.31 kW, 39.3 kW (52.7 hp)."""
    force = pull_n(0.1, pull=CHAIN)
    assert float(force) == pytest.approx(3859, abs=1)
    drawn = float(drawbar_kw(force, 11.0))
    assert drawn == pytest.approx(11.79, abs=0.005)
    assert drawn / 0.77 == pytest.approx(15.31, abs=0.01)
    need = float(needed_kw(11.0, grade=0.1, pull=CHAIN))
    assert need == pytest.approx(39.3, abs=0.05)
    assert need / HP_KW == pytest.approx(52.7, abs=0.05)


def test_the_worked_chain_from_a_machine_referee() -> None:
    """Referee, as above, of a machine and the tables: all of the train's mass is the mower's."""
    machine = train(mass_kg=2500.0, mower_mass_kg=2500.0)
    need = needed_kw(11.0, grade=0.1, pull=pull_of(machine, soft=False, tables=TABLES))
    assert float(need) == pytest.approx(39.3, abs=0.05)


def test_the_rest_of_the_train_is_lifted_by_hand() -> None:
    """By hand: on level ground the tractor's mass is in the ratio; uphill it has to go up too."""
    light, heavy = (
        pull_of(train(mass_kg=mass), soft=False, tables=TABLES) for mass in (2500.0, 7500.0)
    )
    assert needed_kw(11.0, grade=0.0, pull=light) == needed_kw(11.0, grade=0.0, pull=heavy)
    more = needed_kw(11.0, grade=0.1, pull=heavy) - needed_kw(11.0, grade=0.1, pull=light)
    lifted = 5000.0 * 9.80665 * math.sin(math.atan(0.1)) / 1000.0 * 11.0 / 3.6 / 0.77
    assert float(more) == pytest.approx(lifted, rel=1e-9)


def test_a_self_propelled_machine_rolls_and_climbs_whole_by_hand() -> None:
    """By hand: whatever is said of the mower's mass, all of it is the machine's."""
    own = pull_of(train(kind="self-propelled"), soft=True, tables=TABLES)
    assert (own.rolled_kg, own.lifted_kg, own.ratio) == (7500.0, 7500.0, 0.65)


def test_what_is_missing_has_two_ends_by_hand() -> None:
    """By hand: none or all of the mass is trailed, any drive, mower or mower-conditioner."""
    held = pull_ends(train(mower_mass_kg=None, drive=None, conditioner=None), None, TABLES)
    assert list(np.asarray(held.rolled_kg)) == [0.0, 0.0, 7500.0, 7500.0]
    assert list(np.asarray(held.lifted_kg)) == [7500.0] * 4
    assert np.asarray(held.shaft_kw) == pytest.approx([10.5, 15.0, 24.0, 31.2])
    assert list(np.asarray(held.ratio)) == [0.78, 0.78, 0.55, 0.55]
    assert np.asarray(held.resistance) == pytest.approx([0.0582, 0.0582, 0.1067, 0.1067], abs=5e-5)


@pytest.mark.parametrize("key", ["mass_kg", "working_width_m", "power_kw"])
def test_what_nothing_bounds_is_not_known_by_hand(key: str) -> None:
    """By hand: without it there is no speed, and but for the power no need."""
    gone = {key: None, "mower_mass_kg": None} if key == "mass_kg" else {key: None}
    held = pull_of(train(**gone), soft=False, tables=TABLES)
    assert math.isnan(speed_by_power_kmh(0.05, pull=held))
    assert math.isnan(needed_kw(11.0, grade=0.05, pull=held)) == (key != "power_kw")


def test_no_machine_is_known_by_nothing_by_hand() -> None:
    """By hand: every figure is unknown."""
    assert np.isnan(np.array(pull_of(None, soft=False, tables=TABLES))).all()


def test_unknown_ground_has_no_speed_by_hand() -> None:
    """By hand: cell by cell, a hole stays a hole; downhill nothing is pulled."""
    found = speed_by_power_kmh(np.array([[0.1, np.nan], [-0.3, 0.0]]), pull=CHAIN)
    assert np.isnan(found[0, 1])
    assert found[1, 0] == math.inf
    assert 0.0 < found[0, 0] < found[1, 1] < math.inf


def test_no_power_left_is_no_speed_by_hand() -> None:
    """By hand: knives that take all leave 0, uphill and down; with a quarter kept 30 kW give 24."""
    for grade in (0.1, -0.3):
        for power in (20.0, 24.0):
            weak = CHAIN._replace(power_kw=power)
            assert float(speed_by_power_kmh(grade, pull=weak)) == 0.0
    weak = CHAIN._replace(power_kw=30.0)
    assert float(speed_by_power_kmh(0.1, pull=weak, reserve=0.25)) == 0.0
    assert float(speed_by_power_kmh(0.1, pull=weak)) > 0.0


SPEEDS = st.floats(0.5, 30.0)
GRADES = st.floats(-0.5, 1.0)
MASSES = st.floats(500.0, 20_000.0)
WIDTHS = st.floats(1.0, 10.0)
DRIVES = st.sampled_from(get_args(Drive))


@given(speed=SPEEDS, grade=st.floats(0.0, 1.0), mass=MASSES, drive=DRIVES, soft=st.booleans())
def test_the_speed_takes_just_the_power_property(
    speed: float, grade: float, mass: float, drive: Drive, soft: bool
) -> None:
    """Property: the power that a speed takes, turned round, gives the speed again."""
    machine = train(mass_kg=mass, mower_mass_kg=mass / 2, drive=drive)
    held = pull_of(machine, soft=soft, tables=TABLES)
    need = needed_kw(speed, grade=grade, pull=held)
    back = speed_by_power_kmh(grade, pull=held._replace(power_kw=need * 1.25), reserve=0.25)
    assert float(back) == pytest.approx(speed, rel=1e-9)


@given(
    speed=SPEEDS, grade=GRADES, mass=MASSES, width=WIDTHS, drive=DRIVES, more=st.floats(0.0, 1.0)
)
def test_more_of_anything_never_needs_less_property(
    speed: float, grade: float, mass: float, width: float, drive: Drive, more: float
) -> None:
    """Property: faster, steeper up a slope, heavier, wider, softer."""

    def need(
        by: float = speed, up: float = grade, kg: float = mass, m: float = width, soft: bool = False
    ) -> float:
        machine = train(mass_kg=kg, mower_mass_kg=kg / 3, working_width_m=m, drive=drive)
        return float(needed_kw(by, grade=up, pull=pull_of(machine, soft=soft, tables=TABLES)))

    least = need() * (1.0 - 1e-12)
    assert need(by=speed * (1.0 + more)) >= least
    assert need(up=grade + more) >= least
    assert need(m=width * (1.0 + more)) >= least
    if grade >= 0.0:  # downhill a heavier train pushes more
        assert need(kg=mass * (1.0 + more)) >= least
        assert need(soft=True) >= least


@given(
    grade=GRADES, mass=MASSES, power=st.floats(5.0, 300.0), drive=DRIVES, more=st.floats(0.0, 1.0)
)
def test_more_of_anything_never_goes_faster_property(
    grade: float, mass: float, power: float, drive: Drive, more: float
) -> None:
    """Property: steeper, softer, wider, more reserve; more power never slower."""

    def fast(up: float = grade, soft: bool = False, keep: float = 0.25, **given_: Any) -> float:
        whole = {"mass_kg": mass, "mower_mass_kg": mass / 3, "power_kw": power, "drive": drive}
        held = pull_of(train(**{**whole, **given_}), soft=soft, tables=TABLES)
        return float(speed_by_power_kmh(up, pull=held, reserve=keep))

    most = fast() * (1.0 + 1e-12)
    assert fast(up=grade + more) <= most
    assert fast(soft=True) <= most
    assert fast(working_width_m=3.0 + more) <= most
    assert fast(keep=0.25 + more) <= most
    assert fast(power_kw=power * (1.0 + more)) >= fast() * (1.0 - 1e-12)


@given(
    speed=SPEEDS,
    grade=st.floats(0.0, 1.0),
    mass=MASSES,
    share=st.floats(0.01, 1.0),
    drive=DRIVES,
    conditioner=st.sampled_from(["none", "tine", "rubber_rolls"]),
    soft=st.booleans(),
    gone=st.sets(st.sampled_from(["mower_mass_kg", "drive", "conditioner", "soft"]), min_size=1),
)
def test_the_ends_hold_whatever_is_missing_property(
    speed: float,
    grade: float,
    mass: float,
    share: float,
    drive: Drive,
    conditioner: str,
    soft: bool,
    gone: set[str],
) -> None:
    """Property: low <= best <= value <= high, and what is left out only widens them."""
    known: dict[str, Any] = {
        "mass_kg": mass,
        "mower_mass_kg": mass * share,
        "drive": drive,
        "conditioner": conditioner,
    }
    sure = needed_kw(speed, grade=grade, pull=pull_ends(train(**known), soft, TABLES))
    known.update(dict.fromkeys(gone - {"soft"}))
    held = pull_ends(train(**known), None if "soft" in gone else soft, TABLES)
    loose = needed_kw(speed, grade=grade, pull=held)
    for ends in (sure, loose):
        assert (np.diff(ends) >= -1e-9 * ends[HIGH]).all()
    slack = 1e-9 * float(loose[HIGH])
    assert loose[LOW] <= sure[LOW] + slack
    assert loose[BEST] <= sure[BEST] + slack
    assert loose[VALUE] >= sure[VALUE] - slack
    assert loose[HIGH] >= sure[HIGH] - slack


def test_a_nought_from_the_farm_is_no_crash_regression() -> None:
    """Regression: a farm that says a ratio of 0 needs endless power; a mobility of 0 is unknown."""
    mine = TABLES.with_overrides({"power.drawbar_front_assist_firm": 0, "power.bn_soft": 0})
    held = pull_of(train(), soft=False, tables=mine)
    assert float(needed_kw(11.0, grade=0.1, pull=held)) == math.inf
    assert float(speed_by_power_kmh(0.1, pull=held)) == 0.0
    held = pull_of(train(), soft=True, tables=mine)
    assert math.isnan(needed_kw(11.0, grade=0.1, pull=held))


def test_next_to_nothing_to_pull_is_no_crash_regression() -> None:
    """Regression: a climb of the least figure there is, of a mower that may weigh nothing."""
    light = Pull(60.0, 24.0, 0.0, 2500.0, 0.0582, 0.77)
    assert float(speed_by_power_kmh(5e-324, pull=light)) == math.inf
