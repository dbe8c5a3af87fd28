"""What the set-up tells must not contradict itself, and knowing less must not narrow it."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_fields import TABLES, field, mower, shoes, told
from small_set_ups import about, advise, best, cost_of
from test_advice_set_up_property import AREAS, FIELDS, MACHINES, MARKED, fitted

from fieldmap.advice.conditioner import conditioner_findings
from fieldmap.tables import Tables


def only(*knives: str, **given_: Any) -> dict[str, Any]:
    """A machine that carries one shoe in the range of alfalfa, and these knives."""
    return {"skid_shoes": shoes(0.07), "knives": list(knives), **given_}


@pytest.mark.parametrize(("drought", "level"), [(False, "care"), (True, "ok"), (None, "unknown")])
def test_a_range_nobody_is_sure_of_holds_nothing_for_certain_by_hand(
    drought: bool | None, level: str
) -> None:
    """By hand: a 16 cm shoe is too tall for oats, and right after a drought; unsaid, who knows."""
    found = advise(crop="oats", drought=drought, machine={"skid_shoes": shoes(0.16)})
    assert about(found, "set-up compared").level == level


def test_what_is_fitted_nobody_knows_by_hand() -> None:
    """By hand: two shoes, 0.25 to 1 h to change at 70 to 180; either may be the one that is on."""
    known = advise(machine={"skid_shoes": shoes(0.064, 0.076), "knives": ["low_lift"]})
    margin = known.margin
    assert margin is not None
    for place in (0, 1):
        machine = fitted({"skid_shoes": shoes(0.064, 0.076), "knives": ["low_lift"]}, place)
        sure = advise(machine=machine)
        assert sure.margin is not None
        if best(sure).name != best(known).name:
            continue
        assert margin[0] <= sure.margin[0]
        assert margin[2] >= sure.margin[2]
    free = TABLES.with_overrides({"set_up.change_shoes_h": 0.0})
    none = advise(machine={"skid_shoes": shoes(0.064, 0.076), "knives": ["low_lift"]}, tables=free)
    assert none.margin is not None
    assert margin == pytest.approx((none.margin[0] - 180, none.margin[1], none.margin[2] + 180))


def test_changing_what_may_be_on_already_is_in_the_high_end_alone_by_hand() -> None:
    """By hand: shoes up to an hour and knives up to an hour and a half, at up to 180."""
    found = advise(machine=only("low_lift"))
    assert best(found).parts["changing"] == pytest.approx((0.0, 0.0, 2.5 * 180))


@given(MACHINES, FIELDS, MARKED, AREAS, st.integers(0, 3), st.sampled_from(["shoe", "knives"]))
def test_a_lead_is_no_narrower_where_nobody_knows_what_is_fitted_property(
    machine: dict[str, Any],
    row: dict[str, Any],
    marked: list[str],
    area_ha: float,
    place: int,
    gone: str,
) -> None:
    """Property: of the same two settings, neither end of the lead comes nearer."""
    machine = fitted(machine, place)
    before = advise(*marked, machine=machine, area_ha=area_ha, **row)
    less = {**machine, f"fitted_{gone}": None}
    after = advise(*marked, machine=less, area_ha=area_ha, **row)
    if (before.best, before.second) != (after.best, after.second) or before.margin is None:
        return
    assert after.margin is not None
    assert after.margin[0] <= before.margin[0] + 1e-6
    assert after.margin[2] >= before.margin[2] - 1e-6


def test_the_only_knives_there_are_by_hand() -> None:
    """By hand: high-lift ones may stay on over clean ground; where they may not, it is said."""
    found = advise(machine=only("high_lift"))
    assert best(found).inside
    knife = about(found, "knife")
    assert (knife.level, knife.choice) == ("ok", "high-lift knife")
    assert "the only ones listed" in knife.why
    for given_ in ({"stoniness": 2.0}, {"flooded": True}):
        found = advise(machine=only("high_lift"), **given_)
        assert not best(found).inside
        knife = about(found, "knife")
        assert (knife.level, knife.choice) == ("care", "low-lift knife")
        assert "does not have it" in knife.why


def test_ground_with_silt_is_not_called_clean_by_hand() -> None:
    """By hand: nor ground of which not all was reckoned."""
    assert "Clean ground." in about(advise(), "cutterbar float").why
    for given_ in ({"flooded": True}, {"missing": ("litter by a road",)}):
        found = about(advise(**given_), "cutterbar float")
        assert found.level != "ok"
        assert "lean ground" not in found.why


@pytest.mark.parametrize(
    ("crop", "level"), [("alfalfa", "care"), ("red clover", "care"), ("grass-alfalfa", "ok")]
)
def test_leaf_lost_is_as_grave_as_the_conditioner_by_hand(crop: str, level: str) -> None:
    """By hand: tines are against a legume; in a mixture they may be taken, at their price."""
    held = conditioner_findings(
        field(crop=crop), mower(conditioner="tine"), area_ha=5.0, tables=TABLES
    )
    levels = {one.finding.what: one.finding.level for one in held}
    assert levels == {"conditioner": level, "leaf lost by tines": level}
    assert told(held, "leaf lost by tines").value


def test_high_lift_knives_meet_more_of_what_is_light_by_hand() -> None:
    """By hand: their draught reaches further down; a stone does not care."""
    found = advise(
        "stone", "twine", "glass", machine={"skid_shoes": shoes(0.07)}, stoniness=0.0, lodged=True
    )
    high, low = sorted(found.options, key=lambda one: one.knife)
    assert (high.knife, low.knife) == ("high_lift", "low_lift")
    assert high.strikes == low.strikes
    assert high.wraps[1] > low.wraps[1]
    assert high.forage[1] > low.forage[1]


def test_high_lift_knives_want_ground_that_somebody_knows_by_hand() -> None:
    """By hand: where nobody said how stony it is, they are outside the limits."""
    for given_ in ({"stoniness": None}, {"kinds": None}):
        found = advise(machine={"skid_shoes": shoes(0.07)}, lodged=True, **given_)
        assert {one.knife: one.inside for one in found.options} == {
            "low_lift": True,
            "high_lift": False,
        }


def priced(tables: Tables) -> tuple[float, float, float]:
    """Feed value that high-lift knives cost on 10 ha of 5 t/ha."""
    found = advise(machine=only("high_lift"), yield_t_ha=5.0, area_ha=10.0, tables=tables)
    return best(found).parts["feed value"]


def test_soil_in_the_hay_costs_its_share_of_the_feed_by_hand() -> None:
    """By hand: 0.1, 0.8, 2.5 points of ash, 0.98 TDN each; of 66, 58, 50; of 50 t at 120 to 300.

    Least soil in the best hay is the low end. More soil than hay is no more than all of it.
    """
    crop = {"knives.ash_floor": 0.0}
    low, value, high = priced(TABLES.with_overrides(crop))
    assert low == pytest.approx(0.1 * 0.98 / 66 * 50 * 120)
    assert value == pytest.approx(0.8 * 0.98 / 58 * 50 * 200)
    assert high == pytest.approx(2.5 * 0.98 / 50 * 50 * 300)
    all_of_it = priced(TABLES.with_overrides({**crop, "set_up.ash_high_lift": 80.0}))
    assert all_of_it == pytest.approx((50 * 120, 50 * 200, 50 * 300))


def test_a_lodged_crop_nobody_spoke_of_costs_only_at_the_high_end_by_hand() -> None:
    """By hand: 15 % of 8 ha x 4 t at 300; standing nothing, lodged the whole range."""
    row = {"yield_t_ha": 4.0, "machine": only("low_lift")}
    unsaid = best(advise(lodged=None, **row)).parts["crop left"]
    assert unsaid == pytest.approx((0.0, 0.0, 0.15 * 32 * 300))
    lodged = best(advise(lodged=True, **row)).parts["crop left"]
    assert lodged == pytest.approx((0.01 * 32 * 120, 0.05 * 32 * 200, 0.15 * 32 * 300))
    assert cost_of(advise(lodged=False, **row), "crop left") == 0.0
