"""How much is left unseen: the gamma-Poisson count, and stones from the ground they cover."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from fieldmap.errors import InputError
from fieldmap.hazards.density import (
    Belief,
    after_looking,
    belief_before,
    density_from_cover,
    estimate,
    gamma_quantile,
    left_unseen,
    looked_and_unseen_ha,
    spacing_from_cover,
)
from fieldmap.tables import load_tables

TABLES = load_tables()
THINGS = (*(f"stones_{n}" for n in range(6)), "flood_debris", "road_litter", "elsewhere")

#: Above a mean of 20,000 the ends are rounded to the gamma law: so much at the step.
SUMMED = 1e-3

shapes = st.floats(0.05, 400)
shares = st.floats(0.01, 0.99)
rates = st.floats(1e-4, 1e3)
unseen = st.floats(1e-6, 1e3)
counts = st.integers(0, 60)
chances = st.lists(st.floats(0, 1), min_size=1, max_size=12)
things = st.sampled_from(THINGS)


@pytest.mark.parametrize(
    ("cover", "spacing_m"),
    # worked out for discs of 0.25 m on a square grid, to the digits given: d sqrt(pi / 4c)
    [(0.0001, 22.16), (0.001, 7.01), (0.03, 1.28), (0.15, 0.572), (0.5, 0.313)],
)
def test_spacing_from_cover_referee(cover: float, spacing_m: float) -> None:
    """Referee: the worked spacings, which lie near CanSIS's (25, 8, 1, 0.5 m) by class."""
    digits = len(str(spacing_m).partition(".")[2])
    assert round(spacing_from_cover(cover, 0.25), digits) == spacing_m


def test_density_from_cover_referee() -> None:
    """Referee: 0.01 % under stones of 0.25 m is 20.37 a hectare (1 m2 over 0.0490874 m2)."""
    assert density_from_cover(0.0001, 0.25) == pytest.approx(20.37, abs=0.005)
    assert density_from_cover(0.0001, 0.25) == pytest.approx(1.0 / 0.0490874, rel=1e-6)


@given(cover=st.floats(1e-6, 1), diameter=st.floats(0.05, 3))
def test_spacing_and_density_say_the_same_property(cover: float, diameter: float) -> None:
    """Property: one disc in each square of the grid."""
    each_m2 = spacing_from_cover(cover, diameter) ** 2
    assert density_from_cover(cover, diameter) * each_m2 == pytest.approx(10_000)


@given(shape=shapes, share=shares)
def test_gamma_quantile_referee(shape: float, share: float) -> None:
    """Referee: scipy.stats.gamma.ppf."""
    wanted = stats.gamma.ppf(share, shape)
    assert gamma_quantile(shape, share) == pytest.approx(wanted, rel=1e-9, abs=1e-290)


def test_gamma_quantile_of_a_great_shape_referee() -> None:
    """Referee: scipy.stats.gamma.ppf, for a log of twenty thousand finds."""
    wanted = stats.gamma.ppf((0.05, 0.95), 20_000.5)
    made = [gamma_quantile(20_000.5, share) for share in (0.05, 0.95)]
    assert made == pytest.approx(wanted, rel=1e-9)


@given(shape=shapes, rate=rates, ground=unseen)
def test_what_is_left_referee(shape: float, rate: float, ground: float) -> None:
    """Referee: scipy.stats.nbinom with r = shape and p = rate / (rate + unseen)."""
    left = left_unseen(Belief(shape, rate), ground)
    law = stats.nbinom(shape, rate / (rate + ground))
    assert left.mean == pytest.approx(law.mean(), rel=1e-9)
    assert left.none_left == pytest.approx(law.pmf(0), rel=1e-6, abs=1e-300)
    for end, share in ((left.low, 0.05), (left.high, 0.95)):
        if left.mean > 20_000:
            assert end == pytest.approx(law.ppf(share), rel=1e-3, abs=1)
        else:
            assert end == int(end)
            assert law.cdf(end) >= share - 1e-9
            assert end == 0 or law.cdf(end - 1) < share + 1e-9


@pytest.mark.parametrize("shape", [0.5, 3.5, 40.5, 500.5])
def test_a_great_many_left_referee(shape: float) -> None:
    """Referee: scipy.stats.nbinom, just above where the sum stops, and far above."""
    for mean in (20_001.0, 300_000.0, 9e6):
        left = left_unseen(Belief(shape, shape), mean)
        law = stats.nbinom(shape, shape / (shape + mean))
        assert (left.low, left.high) == pytest.approx(law.ppf((0.05, 0.95)), rel=1e-3, abs=1)


def test_a_field_reckoned_through_by_hand() -> None:
    """By hand: prior 0.5 things in 1 ha; 4 ha at a chance of 0.75, 2 found, 1 hit.

    Looked at 3 ha, so 3.5 things in 4 ha are 0.875 a hectare; on 1 ha unseen 0.875 are left, and
    none with (4 / 5)^3.5.
    """
    one = estimate("elsewhere", "f", [2e4, 2e4], [0.75, 0.75], found=2, hits=1, tables=TABLES)
    assert (one.area_ha, one.looked_ha, one.found, one.hits) == (4.0, 3.0, 2, 1)
    assert (one.density, one.left) == pytest.approx((0.875, 0.875))
    assert one.none_left == pytest.approx(0.8**3.5)
    assert one.sources == ("own",)
    ends = stats.gamma.ppf((0.05, 0.95), 3.5, scale=1 / 4)
    assert (one.density_low, one.density_high) == pytest.approx(ends)


def test_where_nobody_looked_the_belief_stands_by_hand() -> None:
    """By hand: 2 ha, no chance of having seen anything: all that was assumed is left."""
    nobody = estimate("flood_debris", "f", [2e4], [float("nan")], found=0, hits=0, tables=TABLES)
    assert nobody.left == pytest.approx(2 * TABLES.number("density.flood_debris"))
    assert nobody.looked_ha == 0.0


def test_no_ground_and_ground_surely_seen_leave_nothing_by_hand() -> None:
    """By hand: nothing can lie in no ground, nor where everything was seen."""
    for area, chance in (([], []), ([5e4], [1.0])):
        one = estimate("elsewhere", "f", area, chance, found=9, hits=0, tables=TABLES)
        assert (one.left, one.left_low, one.left_high, one.none_left) == (0, 0, 0, 1)


def _one(thing: str, chance: list[float], found: int, hits: int):
    area = np.full(len(chance), 8_000.0)
    return estimate(thing, "f", area, chance, found=found, hits=hits, tables=TABLES)


@given(thing=things, chance=chances, found=counts, hits=counts)
def test_an_estimate_is_in_order_property(
    thing: str, chance: list[float], found: int, hits: int
) -> None:
    """Property: never below nothing; ends on both sides; the area is the field's."""
    one = _one(thing, chance, found, hits)
    assert 0 <= one.left_low <= one.left_high
    assert one.left >= 0
    assert one.left <= one.left_high or one.none_left > 0.5
    assert 0 < one.density_low < one.density < one.density_high
    assert 0 <= one.none_left <= 1
    assert one.area_ha == pytest.approx(0.8 * len(chance))
    assert all(math.isfinite(held) for held in one[2:13])


@given(thing=things, chance=chances, more=st.floats(0, 1), found=counts, hits=counts)
def test_looking_without_finding_never_raises_what_is_left_property(
    thing: str, chance: list[float], more: float, found: int, hits: int
) -> None:
    """Property: every cell looked at once more with the chance ``more``, and no new find."""
    again = [1 - (1 - one) * (1 - more) for one in chance]
    before, after = _one(thing, chance, found, hits), _one(thing, again, found, hits)
    assert after.left <= before.left * (1 + 1e-12)
    assert after.density <= before.density * (1 + 1e-12)
    assert after.none_left >= before.none_left * (1 - 1e-9)
    assert after.left_high <= before.left_high * (1 + SUMMED)


@given(thing=things, chance=chances, found=counts, hits=counts, more=st.integers(1, 9))
def test_finds_and_hits_never_lower_what_is_left_property(
    thing: str, chance: list[float], found: int, hits: int, more: int
) -> None:
    """Property: a further find, and a further hit, raise the mean and its ends alike."""
    before = _one(thing, chance, found, hits)
    for after in (_one(thing, chance, found + more, hits), _one(thing, chance, found, hits + more)):
        assert after.left >= before.left
        assert after.left_low >= before.left_low * (1 - SUMMED)
        assert after.left_high >= before.left_high * (1 - SUMMED)
        assert after.none_left <= before.none_left


@given(thing=things, chance=chances, found=counts)
def test_an_unknown_chance_is_none_property(thing: str, chance: list[float], found: int) -> None:
    """Property: a chance that is not known counts as ground not looked at."""
    unknown = _one(thing, [float("nan"), *chance[1:]], found, 0)
    assert unknown == _one(thing, [0.0, *chance[1:]], found, 0)
    assert unknown.left >= _one(thing, chance, found, 0).left * (1 - 1e-12)


@given(chance=chances)
def test_no_ground_is_lost_property(chance: list[float]) -> None:
    """Property: looked at and unseen add up."""
    looked, rest = looked_and_unseen_ha(np.full(len(chance), 100.0), chance)
    assert looked + rest == pytest.approx(0.01 * len(chance))


@pytest.mark.parametrize("thing", THINGS)
def test_the_belief_begins_at_the_table(thing: str) -> None:
    """By hand: its mean is the row's value; nothing learned leaves it as it is."""
    before = belief_before(thing, tables=TABLES)
    assert before.mean_per_ha == pytest.approx(TABLES.number(f"density.{thing}"))
    assert after_looking(before, found=0, hits=0, looked_ha=0.0) == before


def test_a_belief_that_cannot_learn_is_refused_by_hand() -> None:
    """By hand: 0 a hectare as the farm's own figure; both faults at once."""
    own = TABLES.with_overrides({"density.elsewhere": 0, "density.prior_shape": 0})
    with pytest.raises(InputError) as caught:
        belief_before("elsewhere", tables=own)
    assert len(caught.value.faults) == 2


@pytest.mark.parametrize(("found", "hits"), [(-1, 0), (0, -1)])
def test_counts_below_nothing_are_refused_by_hand(found: int, hits: int) -> None:
    with pytest.raises(InputError, match="below 0"):
        _one("elsewhere", [0.5], found, hits)


@pytest.mark.parametrize("number", range(6))
def test_the_table_of_stones_is_the_formula(number: int) -> None:
    """Referee: the covers of the class (CanSIS, read; NRCS, from memory) over discs of 0.25 m."""
    row, cover = TABLES[f"density.stones_{number}"], TABLES[f"density.cansis_{number}"]
    size_m = TABLES.number("density.stone_diameter_m")
    low, high = (density_from_cover(held / 100, size_m) for held in (cover.low, cover.high))
    assert (row.low, row.high) == pytest.approx((low, high), abs=0.005)
    chosen = high / 10 if number == 0 else math.sqrt(low * high)
    assert row.number() == pytest.approx(chosen, abs=0.01)
    assert TABLES[f"density.nrcs_{number}"].low == cover.low
    assert TABLES[f"density.nrcs_{number}"].high == cover.high
