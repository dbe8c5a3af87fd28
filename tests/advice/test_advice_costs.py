"""Money: sums of amounts and prices, the cheapest option, its lead, and what would turn it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from fieldmap.advice.costs import SHARES, Costs, amounts, cheapest, lead
from fieldmap.advice.flips import MOST_TIMES, flips

NUMBERS = {"strikes": 1.0, "wraps": 1.0, "things in the forage": 1.0}
NAMES = ["first", "second", "third"]


def ranges(shape: tuple[int, ...]) -> st.SearchStrategy[np.ndarray]:
    """Low, value and high, whole numbers, along the last axis."""
    return arrays(np.int64, (*shape, 3), elements=st.integers(0, 40)).map(
        lambda held: np.sort(held, axis=-1).astype(float)
    )


several_costs = st.builds(Costs, ranges((len(SHARES), 3)), ranges((len(SHARES),)))


def test_what_a_strike_costs_by_hand() -> None:
    """By hand: 4 strikes, half an hour at 60 each; one costs 400, every second two knives at 8.

    4 x 0.25 x 400 + 4 x 0.5 x 2 x 8 + 4 x 0.5 x 60 = 400 + 32 + 120.
    """
    none = np.zeros((1, 3))
    held = amounts(
        strikes=none + 4,
        wraps=none,
        forage=none,
        broken=(np.full(3, 0.25), none + 0.5),
        strike_h=np.full(3, 0.5),
        wrap_h=np.zeros(3),
        crop=(none, none, none),
        changing_h=none,
    )
    prices = {"strike": 400.0, "knife": 8.0, "hour": 60.0, "bale": 1.0, "hay_t": 1.0}
    costs = Costs(held, np.stack([np.full(3, prices[share.price]) for share in SHARES]))
    assert costs.in_all().tolist() == [[552.0] * 3]
    assert costs.by_part()["strikes"].tolist() == [[552.0] * 3]


def test_the_rest_of_the_parts_by_hand() -> None:
    """By hand: 3 wraps of 2 h at 10; 5 bales at 7; 1, 2 and 3 t of hay at 100; 4 h at 10."""
    none = np.zeros((1, 3))
    held = amounts(
        strikes=none,
        wraps=none + 3,
        forage=none + 5,
        broken=(np.zeros(3), none),
        strike_h=np.zeros(3),
        wrap_h=np.full(3, 2.0),
        crop=(none + 1, none + 2, none + 3),
        changing_h=none + 4,
    )
    prices = {"strike": 0.0, "knife": 0.0, "hour": 10.0, "bale": 7.0, "hay_t": 100.0}
    costs = Costs(held, np.stack([np.full(3, prices[share.price]) for share in SHARES]))
    assert {name: money[0, 1] for name, money in costs.by_part().items()} == {
        "strikes": 0.0,
        "wraps": 60.0,
        "forage": 35.0,
        "yield": 100.0,
        "feed value": 200.0,
        "crop left": 300.0,
        "changing": 40.0,
    }


@given(several_costs)
def test_the_parts_make_up_the_whole_property(costs: Costs) -> None:
    """Property: and every cost holds its middle."""
    whole = costs.in_all()
    assert sum(costs.by_part().values()) == pytest.approx(whole)
    assert (whole[:, 0] <= whole[:, 1]).all()
    assert (whole[:, 1] <= whole[:, 2]).all()


@given(several_costs, st.integers(0, 2), st.integers(0, 2))
def test_a_lead_is_the_difference_and_no_wider_than_it_must_be_property(
    costs: Costs, one: int, other: int
) -> None:
    """Property: middle is the plain difference; what both share adds nothing to the range."""
    low, value, high = lead(costs, one, other)
    whole = costs.in_all()
    assert value == pytest.approx(whole[other, 1] - whole[one, 1])
    assert low <= value <= high
    assert low >= whole[other, 0] - whole[one, 2] - 1e-9
    assert high <= whole[other, 2] - whole[one, 0] + 1e-9
    assert lead(costs, one, one).tolist() == [0.0, 0.0, 0.0]
    assert lead(costs, other, one) == pytest.approx([-high, -value, -low])
    for place in range(3):  # every price at one end, every amount at one end: within the range
        for end in range(3):
            money = costs.amounts[:, :, place] * costs.prices[:, np.newaxis, end]
            between = money[:, other].sum() - money[:, one].sum()
            assert low - 1e-9 <= between <= high + 1e-9


@given(
    arrays(float, 4, elements=st.integers(0, 5).map(float)),
    arrays(float, 4, elements=st.sampled_from([0.05, 0.07, 0.1])),
    arrays(bool, 4),
)
def test_the_cheapest_allowed_and_of_equals_the_tallest_property(
    value: np.ndarray, cut_m: np.ndarray, allowed: np.ndarray
) -> None:
    """Property."""
    found = cheapest(value, cut_m, allowed)
    assert (found is None) == (not allowed.any())
    if found is None:
        return
    assert allowed[found]
    assert value[found] == value[allowed].min()
    assert cut_m[found] == cut_m[allowed & (value == value[found])].max()


def two_options(strikes: tuple[float, float], tonnes: tuple[float, float]) -> Costs:
    """Strikes at 100 and hay at 200, known without doubt."""
    held = np.zeros((len(SHARES), 2, 3))
    held[0] = np.array(strikes)[:, np.newaxis]
    held[5] = np.array(tonnes)[:, np.newaxis]
    money = np.zeros((len(SHARES), 3))
    money[0], money[5:8] = 100.0, 200.0
    return Costs(held, money)


def test_what_a_strike_would_have_to_cost_by_hand() -> None:
    """By hand: the short cut hits 2 more and saves 3 t of hay at 200: turns at 300 a strike.

    Hay: 2 x 100 = 3 x 66.67. Strikes: 3 and 1 at 100 become 9 and 3, and 600 = 3 x 200.
    """
    costs = two_options((3.0, 1.0), (0.0, 3.0))
    found = flips(costs, 0, np.ones(2, bool), numbers={**NUMBERS, "strikes": 3.0}, names=NAMES)
    held = {flip.driver: flip for flip in found}
    assert set(held) == {"strike", "hay_t", "strikes"}
    assert held["strike"].figure == pytest.approx(300.0)
    assert "more than 300 (now 100), the advice would be second." in held["strike"].words
    assert held["hay_t"].figure == pytest.approx(200.0 / 3)
    assert "hay at less than 67 a tonne" in held["hay_t"].words
    assert held["strikes"].figure == pytest.approx(9.0)
    assert "more than 9 strikes (reckoned: 3)" in held["strikes"].words


def test_what_no_single_figure_turns_by_hand() -> None:
    """By hand: fewer strikes and less hay lost: nothing speaks for the other."""
    costs = two_options((1.0, 3.0), (1.0, 3.0))
    assert flips(costs, 0, np.ones(2, bool), numbers=NUMBERS, names=NAMES) == ()


def test_a_figure_far_off_is_not_told_by_hand() -> None:
    """By hand: a strike would have to cost 21 times as much; at 19 times it is told."""
    for times, count in ((21.0, 0), (19.0, 1)):
        costs = two_options((2.0, 1.0), (0.0, times / 2.0))
        found = flips(costs, 0, np.ones(2, bool), numbers=NUMBERS, names=NAMES)
        assert len([flip for flip in found if flip.driver == "strike"]) == count


def test_an_option_outside_the_limits_turns_nothing_by_hand() -> None:
    """By hand: only what may be advised counts."""
    costs = two_options((3.0, 1.0), (0.0, 3.0))
    assert flips(costs, 0, np.array([True, False]), numbers=NUMBERS, names=NAMES) == ()


@given(several_costs, st.sampled_from(["strike", "knife", "hour", "bale", "hay_t"]))
def test_every_flip_of_a_price_turns_the_cheapest_property(costs: Costs, name: str) -> None:
    """Property: just beyond it another is cheaper, just before it none, by plain evaluation.

    Where none is told, no factor tried within the bounds makes another cheaper.
    """
    every = np.ones(3, bool)
    best = cheapest(costs.in_all()[:, 1], np.zeros(3), every)
    assert best is not None
    held = flips(costs, best, every, numbers=NUMBERS, names=NAMES)
    priced = np.array([share.price == name for share in SHARES])

    def saves(factor: float) -> float:
        """How much cheaper another option is."""
        prices = costs.prices * np.where(priced, factor, 1.0)[:, np.newaxis]
        value = Costs(costs.amounts, prices).in_all()[:, 1]
        return float(value[best] - np.delete(value, best).min())

    found = [flip for flip in held if flip.driver == name]
    if not found:
        for factor in np.geomspace(1.001 / MOST_TIMES, 0.999 * MOST_TIMES, 25):
            assert saves(float(factor)) <= 1e-6
        return
    (flip,) = found
    step = 1e-4 if "more" in flip.words else -1e-4
    assert saves(flip.factor * (1 + step)) > 0
    assert saves(flip.factor * (1 - step)) <= 1e-6
