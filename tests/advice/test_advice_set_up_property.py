"""What must hold of every set-up, whatever the field, the machine and the things in it."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_fields import TABLES, shoes
from small_set_ups import about, advise, best, marks

from fieldmap.advice.set_up import SetUp
from fieldmap.finding import rank, worst
from fieldmap.risk.strikes import no_things

KINDS = ["stone", "twine", "loose_wire", "glass", "litter", "post", "silt", "well", "unknown"]
CROPS = ["alfalfa", "orchardgrass", "timothy", "switchgrass", "sudex", "oats", "clover"]
HEIGHTS_M = [0.03, 0.05, 0.064, 0.076, 0.09, 0.10, 0.15, 0.21]
MACHINES = st.fixed_dictionaries(
    {
        "skid_shoes": st.lists(st.sampled_from(HEIGHTS_M), min_size=1, max_size=4, unique=True).map(
            lambda heights_m: shoes(*heights_m)
        ),
        "knives": st.sampled_from(
            [["low_lift", "high_lift"], ["high_lift", "low_lift"], ["low_lift"], ["high_lift"]]
        ),
        "conditioner": st.sampled_from(["none", "tine", "rubber_rolls"]),
    }
)
FIELDS = st.fixed_dictionaries(
    {
        "crop": st.sampled_from(CROPS),
        "cutting": st.sampled_from([1.0, 2.0, 3.0]),
        "stoniness": st.sampled_from([0.0, 2.0]),
        "lodged": st.booleans(),
        "drought": st.booleans(),
        "flooded": st.booleans(),
        "yield_t_ha": st.floats(1.0, 15.0),
    }
)
MARKED = st.lists(st.sampled_from(KINDS), max_size=8)
AREAS = st.floats(0.3, 60.0)


def fitted(machine: dict[str, Any], place: int) -> dict[str, Any]:
    """The machine with one of its shoes and knives fitted."""
    held = machine["skid_shoes"]
    knives = machine["knives"]
    return {
        **machine,
        "fitted_shoe": held[place % len(held)]["name"],
        "fitted_knives": knives[place % len(knives)],
    }


def tails(found: SetUp) -> dict[tuple[str, str], float]:
    """The upper end of each figure of each setting."""
    out = {}
    for one in found.options:
        figures = {
            "strikes": one.strikes,
            "wraps": one.wraps,
            "forage": one.forage,
            "yield": one.yield_t,
            "ash": one.ash_points,
            "tdn": one.tdn_points,
            "cost": one.cost,
            **one.parts,
        }
        out |= {(one.name, name): high for name, (_, _, high) in figures.items()}
    return out


def levels(found: SetUp) -> dict[str, str]:
    return {told.finding.what: told.finding.level for told in found.told}


@given(MACHINES, FIELDS, MARKED, AREAS)
def test_a_taller_setting_meets_no_more_property(
    machine: dict[str, Any], row: dict[str, Any], marked: list[str], area_ha: float
) -> None:
    """Property: with the same knives a taller shoe never means more strikes, wraps or bales."""
    found = advise(*marked, machine=machine, area_ha=area_ha, **row)
    for taller in found.options:
        for lower in found.options:
            if taller.knife == lower.knife and taller.cut_m >= lower.cut_m:
                for name in ("strikes", "wraps", "forage"):
                    pairs = zip(getattr(taller, name), getattr(lower, name), strict=True)
                    assert all(high <= low + 1e-9 for high, low in pairs), name


@given(MACHINES, FIELDS, MARKED, AREAS)
def test_the_advice_is_the_cheapest_within_the_limits_property(
    machine: dict[str, Any], row: dict[str, Any], marked: list[str], area_ha: float
) -> None:
    """Property: inside whenever anything is; the lead is not below 0; ranges hold their middle."""
    found = advise(*marked, machine=machine, area_ha=area_ha, **row)
    inside = [one for one in found.options if one.inside]
    assert sum(one.best for one in found.options) == 1
    assert all(bool(one.why_not) != one.inside for one in found.options)
    if inside:
        assert best(found).inside
        assert best(found).cost[1] <= min(one.cost[1] for one in inside) + 1e-6
    assert (found.margin is None) == (len(inside) < 2)
    if found.margin is not None and found.second is not None:
        low, value, high = found.margin
        assert low <= value <= high
        assert value >= -1e-6
        between = found.options[found.second].cost[1] - best(found).cost[1]
        assert value == pytest.approx(between, abs=1e-6)
    for one in found.options:
        held = [one.strikes, one.wraps, one.forage, one.yield_t, one.ash_points, one.tdn_points]
        held += [one.cost, *one.parts.values()]
        for low, value, high in held + ([one.stand_left_pct] if one.stand_left_pct else []):
            assert low - 1e-9 <= value <= high + 1e-9
        assert sum(money[1] for money in one.parts.values()) == pytest.approx(one.cost[1])
    assert found.cut_m == best(found).cut_m


@given(MACHINES, FIELDS, MARKED, AREAS)
def test_the_order_of_the_shoes_does_not_matter_property(
    machine: dict[str, Any], row: dict[str, Any], marked: list[str], area_ha: float
) -> None:
    """Property: nor that of the knives or the marks."""
    turned = {key: held[::-1] if isinstance(held, list) else held for key, held in machine.items()}
    one = advise(*marked, machine=machine, area_ha=area_ha, **row)
    other = advise(*marked[::-1], machine=turned, area_ha=area_ha, **row)
    assert best(one).name == best(other).name
    assert {o.name for o in one.options} == {o.name for o in other.options}


@given(
    MACHINES,
    FIELDS,
    MARKED.filter(bool),
    st.sampled_from(["nothing", "stoniness", "lodged", "drought"]),
    st.integers(0, 7),
)
def test_clearing_a_thing_never_makes_it_worse_property(
    machine: dict[str, Any], row: dict[str, Any], marked: list[str], unsaid: str, place: int
) -> None:
    """Property: no level rises and the best setting costs no more, whatever else is unsaid."""
    row = row if unsaid == "nothing" else {**row, unsaid: None}
    left = list(marked)
    del left[place % len(left)]
    before, after = (advise(*kinds, machine=machine, **row) for kinds in (marked, left))
    assert best(after).cost[1] <= best(before).cost[1] + 1e-6
    was = levels(before)
    for what, level in levels(after).items():
        assert what in was
        assert rank(level) <= rank(was[what]), what  # type: ignore[arg-type]


TAKEN = [
    "cutting", "stoniness", "lodged", "drought", "yield_t_ha", "crop", "log", "missing",
    "unlooked", "fitted_shoe", "fitted_knives", "conditioner", "skid_shoes", "knives",
]  # fmt: skip


@pytest.mark.parametrize("taken", TAKEN)
@settings(max_examples=30)
@given(machine=MACHINES, row=FIELDS, marked=MARKED, place=st.integers(0, 3))
def test_a_set_up_that_knows_less_is_never_better_property(
    taken: str, machine: dict[str, Any], row: dict[str, Any], marked: list[str], place: int
) -> None:
    """Property: whatever is taken away, no level falls and no upper end comes down."""
    machine = fitted(machine, place)
    before = advise(*marked, machine=machine, **row)
    given_: dict[str, Any] = {"machine": machine, **row}
    if taken in row:
        given_[taken] = None
    elif taken in ("skid_shoes", "knives"):
        given_["machine"] = {**machine, taken: [], "fitted_shoe": None, "fitted_knives": None}
    elif taken in machine:
        given_["machine"] = {**machine, taken: None}
    elif taken == "log":  # without a log nothing can be reckoned, and the caller says so
        given_ |= {"kinds": None, "missing": ("all that lies there",), "things": no_things()}
    else:
        given_[taken] = True if taken == "unlooked" else ("stones",)
    after = advise(*marked, **given_)
    held = tails(after)
    for key, high in tails(before).items():
        if after.options:
            assert held[key] >= high - 1e-9 * max(high, 1.0), key
    was = levels(before)
    for what, level in levels(after).items():
        if what in was:
            assert rank(level) >= rank(was[what]), what  # type: ignore[arg-type]
    assert rank(worst(levels(after).values())) >= rank(worst(was.values()))  # type: ignore[arg-type]


COUNTED = {"strikes": "stone", "wraps": "twine", "things in the forage": "glass"}


@given(
    MACHINES,
    FIELDS,
    st.lists(st.sampled_from(["stone", "twine", "glass"]), min_size=1, max_size=30),
    AREAS,
)
def test_every_flip_is_where_it_is_said_to_be_property(
    machine: dict[str, Any], row: dict[str, Any], marked: list[str], area_ha: float
) -> None:
    """Property: run again with the price just beyond it the advice changes, just before it not."""
    given_: dict[str, Any] = {"machine": machine, "area_ha": area_ha, **row}
    found = advise(*marked, **given_)
    for flip in found.turning:
        if flip.driver in COUNTED or abs(math.log(flip.factor)) < 1e-4:
            continue
        step = 1e-5 if flip.factor > 1 else -1e-5
        for beyond in (True, False):
            figure = flip.figure * (1 + step if beyond else 1 - step)
            tables = TABLES.with_overrides({f"prices.{flip.driver}": figure})
            again = advise(*marked, tables=tables, **given_)
            assert (best(again).name != best(found).name) == beyond, flip


@given(MACHINES, FIELDS, st.integers(1, 40), AREAS)
def test_a_flip_of_a_number_is_where_it_is_said_to_be_property(
    machine: dict[str, Any], row: dict[str, Any], count: int, area_ha: float
) -> None:
    """Property: run again with that many more or fewer stones."""
    given_: dict[str, Any] = {"machine": machine, "area_ha": area_ha, **row}
    stones = marks(*["stone"] * count)
    found = advise(things=stones, **given_)
    for flip in found.turning:
        if flip.driver != "strikes" or abs(math.log(flip.factor)) < 1e-4:
            continue
        step = 1e-5 if flip.factor > 1 else -1e-5
        for beyond in (True, False):
            times = flip.factor * (1 + step if beyond else 1 - step)
            many = stones._replace(count=stones.count * times, count_high=stones.count_high * times)
            again = advise(things=many, **given_)
            assert (best(again).name != best(found).name) == beyond, flip
            if beyond:
                assert best(again).name == found.options[flip.option].name


OVERRIDDEN = [
    *(row.key for row in TABLES.rows("prices")),
    *(row.key for row in TABLES.rows("set_up")),
    "strikes.wraps_on_contact",
    "strikes.raked_in",
    "strikes.lift_low_lift",
    "knives.following_error",
    "knives.ash_floor",
    "knives.yield_loss_first_cut",
    "knives.yield_loss_season",
    "cut_heights.orchardgrass",
    "hazard_kinds.stone",
]


@pytest.mark.parametrize("key", OVERRIDDEN)
def test_the_farms_own_figure_shows_property(key: str) -> None:
    """Property: any figure of the comparison that the farm gave is told as the farm's."""
    machine = {"skid_shoes": shoes(0.05, 0.08, 0.10)}
    row = {"crop": "orchardgrass", "machine": machine}
    assert "farm" not in about(advise("stone", **row), "set-up compared").sources
    tables = TABLES.with_overrides({key: TABLES.number(key)})
    found = advise("stone", tables=tables, **row)
    assert "farm" in about(found, "set-up compared").sources


def test_the_farms_own_yield_shows_by_hand() -> None:
    """By hand: said in the boundary table, it is the farm's, and no longer a range."""
    found = advise(yield_t_ha=5.0, lodged=True)
    assert "farm" in about(found, "set-up compared").sources
    assert not any("yield" in words for words in found.unknown)
    assert any("yield" in words for words in advise().unknown)
