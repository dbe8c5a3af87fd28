"""Knife, cutterbar tilt and conditioner: what the trade would say."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_fields import TABLES, field, mower, told

from fieldmap.advice.conditioner import conditioner_findings
from fieldmap.advice.knife import knife_findings
from fieldmap.finding import Finding, rank
from fieldmap.machine import Machine
from fieldmap.units import NEWTON_PER_POUND_FORCE


def knife(machine: Machine | None = None, **given: object) -> Finding:
    held = knife_findings(field(**given), machine or mower(), tables=TABLES)  # type: ignore[arg-type]
    return told(held, "knife")


def tilt(**given: object) -> Finding:
    return told(knife_findings(field(**given), mower(), tables=TABLES), "cutterbar tilt")  # type: ignore[arg-type]


def test_clean_standing_crop_by_hand() -> None:
    """By hand: low-lift, and high-lift knives may stay on."""
    found = knife()
    assert (found.level, found.choice) == ("ok", "low-lift knife")
    assert "may stay on" in found.why


def test_lodged_on_clean_ground_by_hand() -> None:
    """By hand: high-lift."""
    found = knife(lodged=True)
    assert (found.level, found.choice) == ("ok", "high-lift knife")


@pytest.mark.parametrize(
    "given_",
    [
        {"stoniness": 3.0},
        {"kinds": ("stone",)},
        {"kinds": ("silt",)},
        {"flooded": True},
        {"flooded": True, "lodged": True},
        {"stoniness": 2.0, "lodged": True},
    ],
)
def test_stones_silt_and_debris_by_hand(given_: dict[str, object]) -> None:
    """By hand: low-lift with care, lodged or not."""
    found = knife(**given_)
    assert (found.level, found.choice) == ("care", "low-lift knife")


@pytest.mark.parametrize(
    "given_",
    [
        {"stoniness": None},
        {"lodged": None},
        {"stoniness": None, "lodged": True},
        {"kinds": None, "lodged": True},
    ],
)
def test_what_nobody_said_by_hand(given_: dict[str, object]) -> None:
    """By hand: unknown, and low-lift as the careful choice; never high-lift on a guess."""
    found = knife(**given_)
    assert (found.level, found.choice) == ("unknown", "low-lift knife")


def test_knives_the_machine_can_carry_by_hand() -> None:
    """By hand: none listed is unknown; the wanted one missing is care."""
    assert knife(mower(knives=[])).level == "unknown"
    assert told(knife_findings(field(), None, tables=TABLES), "knife").level == "unknown"
    found = knife(mower(knives=["low_lift"]), lodged=True)
    assert found.level == "care"
    assert "ask the maker" in found.why


@pytest.mark.parametrize(
    ("given_", "degrees", "level"),
    [
        ({}, 7.0, "ok"),
        ({"lodged": True}, 10.0, "ok"),
        ({"stoniness": 2.0}, 4.0, "care"),
        ({"stoniness": 2.0, "lodged": True}, 4.0, "care"),
        ({"kinds": ("post",)}, 4.0, "care"),
        ({"stoniness": None}, 4.0, "unknown"),
        ({"kinds": None}, 4.0, "unknown"),
        ({"flooded": True, "lodged": True}, 7.0, "care"),
        ({"lodged": None}, 7.0, "unknown"),
    ],
)
def test_tilt_referee(given_: dict[str, object], degrees: float, level: str) -> None:
    """Referee: Penn State's 4 deg on rough, 7 on normal ground, 10 in a lodged crop.

    https://www.lancasteragcouncil.com/now-is-the-time/to-adjust-your-mower-conditioner-before-you-head-to-the-field
    Silt on a lodged crop, and a crop of which nobody said how it stands, are no case for 10.
    """
    found = tilt(**given_)
    assert (found.value, found.level) == (degrees, level)


@given(
    stoniness=st.sampled_from([0.0, 2.0]),
    lodged=st.booleans(),
    kinds=st.sampled_from([(), ("stone",), ("silt",)]),
    conditioner=st.sampled_from(["none", "tine", "rubber_rolls", "steel_rolls"]),
    missing=st.sampled_from(["stoniness", "lodged", "log", "crop", "conditioner", "knives"]),
)
def test_knowing_less_is_never_better_property(
    stoniness: float, lodged: bool, kinds: tuple[str, ...], conditioner: str, missing: str
) -> None:
    """Property: leave out one thing and no setting's level gets better."""
    given_: dict[str, object] = {"stoniness": stoniness, "lodged": lodged, "kinds": kinds}
    machine: dict[str, object] = {"conditioner": conditioner}
    before = settings_of(given_, machine)
    if missing in ("stoniness", "lodged", "crop"):
        given_[missing] = None
    elif missing == "log":
        given_["kinds"] = None
    else:
        machine[missing] = None if missing == "conditioner" else []
    after = settings_of(given_, machine)
    for what, level in after.items():
        if what in before:
            assert rank(level) >= rank(before[what]), what  # type: ignore[arg-type]


def settings_of(given_: dict[str, object], machine: dict[str, object]) -> dict[str, str]:
    here, held = field(**given_), mower(**machine)  # type: ignore[arg-type]
    found = [
        *knife_findings(here, held, tables=TABLES),
        *conditioner_findings(here, held, tables=TABLES),
    ]
    return {one.finding.what: one.finding.level for one in found}


def conditioner(has: str | None, **given: object) -> Finding:
    held = conditioner_findings(field(**given), mower(conditioner=has), tables=TABLES)  # type: ignore[arg-type]
    return told(held, "conditioner")


@pytest.mark.parametrize(
    ("crop", "choice", "fits", "poor"),
    [
        ("alfalfa", "rubber rolls", ("rubber_rolls", "steel_rolls"), ("tine", "none")),
        ("red clover", "rubber rolls", ("rubber_rolls",), ("tine",)),
        ("grass and alfalfa mixture", "rubber rolls", ("rubber_rolls", "tine"), ("none",)),
        ("orchardgrass", "tine", ("tine", "rubber_rolls"), ("steel_rolls", "none")),
        ("timothy", "tine", ("tine",), ("none",)),
        ("switchgrass", "tine", ("tine", "steel_rolls"), ("none",)),
        ("sorghum-sudangrass", "steel rolls", ("steel_rolls", "tine"), ("none",)),
        ("oat hay", "tine", ("tine", "none", "rubber_rolls"), ("steel_rolls",)),
    ],
)
def test_conditioner_of_each_family_by_hand(
    crop: str, choice: str, fits: tuple[str, ...], poor: tuple[str, ...]
) -> None:
    """By hand: legumes rolls, grasses tines, thick stems steel; what does not match is care."""
    for has in fits:
        found = conditioner(has, crop=crop)
        assert (found.choice, found.level) == (choice, "ok"), has
    for has in poor:
        assert conditioner(has, crop=crop).level == "care", has


def test_conditioner_not_known_by_hand() -> None:
    """By hand: no word on the machine's, or on the crop, is unknown."""
    assert conditioner(None).level == "unknown"
    assert conditioner("tine", crop=None).level == "unknown"
    (one,) = conditioner_findings(field(), None, tables=TABLES)
    assert one.finding.level == "unknown"
    assert one.change


def test_rolls_and_stones_by_hand() -> None:
    """By hand: stones under rolls are care; nobody said is unknown; tines pass them on."""
    assert conditioner("rubber_rolls", stoniness=3.0).level == "care"
    assert conditioner("rubber_rolls", stoniness=None).level == "unknown"
    assert conditioner("tine", crop="timothy", stoniness=None).level == "ok"


@pytest.mark.parametrize(
    ("cutting", "word"), [(1.0, "thick mat"), (3.0, "thin and leafy"), (None, "")]
)
def test_roll_gap_referee(cutting: float | None, word: str) -> None:
    """Referee: Penn State: 1/16 in to start with, nine stems in ten cracked; rolls only."""
    held = conditioner_findings(field(cutting=cutting), mower(), tables=TABLES)
    gap = told(held, "roll gap to start with")
    assert gap.value == pytest.approx(1 / 16 * 0.0254, abs=2e-5)
    assert "90% of stems" in gap.why
    assert word in gap.why
    assert (cutting is None) == ("mat" not in gap.why and "thin" not in gap.why)
    tines = conditioner_findings(field(crop="timothy"), mower(conditioner="tine"), tables=TABLES)
    assert len(tines) == 1


@pytest.mark.parametrize(
    ("given_", "pounds", "level"),
    [
        ({}, (50, 70), "ok"),
        ({"stoniness": 2.0}, (35, 50), "care"),
        ({"kinds": ("post",)}, (35, 50), "care"),
        ({"stoniness": None}, (35, 50), "unknown"),
        ({"flooded": True}, (50, 70), "care"),
    ],
)
def test_float_referee(given_: dict[str, object], pounds: tuple[float, float], level: str) -> None:
    """Referee: Penn State's 35 to 50 lb at each end on rocky ground, 50 to 70 lb elsewhere.

    https://www.lancasteragcouncil.com/now-is-the-time/to-adjust-your-mower-conditioner-before-you-head-to-the-field
    """
    held = knife_findings(field(**given_), mower(), tables=TABLES)  # type: ignore[arg-type]
    found = told(held, "cutterbar float")
    assert (found.low, found.high) == pytest.approx(
        tuple(one * NEWTON_PER_POUND_FORCE for one in pounds), abs=0.5
    )
    assert (found.level, found.unit) == (level, "N")


def test_marked_stones_on_ground_nobody_classed_by_hand() -> None:
    """By hand: the flattest tilt is right, but that is not all there is to know."""
    for given_ in ({"stoniness": None}, {"lodged": None}):
        found = tilt(kinds=("stone",), **given_)
        assert (found.value, found.level) == (4.0, "unknown")
        assert knife(kinds=("stone",), **given_).level == "unknown"


def test_roll_gap_check_referee() -> None:
    """Referee: Wisconsin: a strip of foil, the machine shut off; Penn State: every 3-4 in."""
    found = told(conditioner_findings(field(), mower(), tables=TABLES), "roll gap check")
    assert "foil" in found.why
    assert "shut off" in found.why
    assert "key out" in found.caution
    assert (found.low, found.high) == pytest.approx((3 * 0.0254, 4 * 0.0254), abs=2e-3)


@pytest.mark.parametrize(
    ("crop", "low", "value", "high"),
    [("alfalfa", 0.02 * 120, 0.03 * 200, 0.04 * 300), ("red clover", 0.0, 6.0, 12.0)],
)
def test_leaf_lost_by_tines_referee(crop: str, low: float, value: float, high: float) -> None:
    """Referee: University of Wisconsin: 2 to 4 % more alfalfa dry matter lost by tines.

    http://hayandforage.com/equipment/0219-differences-hay-conditioners ; 5 t/ha on 10 ha, hay at
    120 to 300. Nobody measured clover: it may be nothing.
    """
    here, tines = field(crop=crop, yield_t_ha=5.0), mower(conditioner="tine")
    found = told(
        conditioner_findings(here, tines, area_ha=10.0, tables=TABLES), "leaf lost by tines"
    )
    assert (found.low, found.value, found.high) == pytest.approx((50 * low, 50 * value, 50 * high))
    assert (found.level, found.unit) == ("care", "money")
    grass = conditioner_findings(field(crop="timothy"), tines, area_ha=10.0, tables=TABLES)
    assert len(grass) == 1
    mine = TABLES.with_overrides({"prices.hay_t": 200.0})
    own = told(conditioner_findings(here, tines, area_ha=10.0, tables=mine), "leaf lost by tines")
    assert "farm" in own.sources
