"""How many things one cut meets: marks and what lies unseen, strikes, wraps and forage."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_ground import TABLES

from fieldmap.hazards.density import estimate
from fieldmap.risk.strikes import (
    Things,
    expected,
    joined,
    kept,
    met,
    no_things,
    struck_share,
    struck_share_of_law,
)
from fieldmap.risk.things import left_things, logged_things, mix_key, mixes

KINDS = [row.key.partition(".")[2] for row in TABLES.rows("hazard_kinds")]
SIGMAS = np.array([0.01, 0.02, 0.04])  # knives.following_error: low, value, high
SOURCES = ("stones_0", "stones_2", "flood_debris", "elsewhere", "road_litter")


def marks(*held: tuple[str, float]) -> gpd.GeoDataFrame:
    """Marks as kinds and measured heights; NaN is not measured."""
    return gpd.GeoDataFrame(
        {"kind": [kind for kind, _ in held], "height_m": [float(height) for _, height in held]}
    )


def logged(*held: tuple[str, float]) -> Things:
    """The same as things."""
    return logged_things(marks(*held), tables=TABLES)


def unseen(source: str, *, found: int = 0, chance: float = 0.0) -> Things:
    """What is left of one source on a hectare."""
    one = estimate(source, "z", [10_000.0], [chance], found=found, hits=0, tables=TABLES)
    return left_things([one], tables=TABLES)


def at(things: Things, cut_m: float = 0.08, lift_m: float = 0.01, tables=TABLES):
    """Strikes, wraps and forage at one setting: three arrays (3,)."""
    held = expected(things, np.array([cut_m]), np.array([lift_m]), tables=tables)
    return [one[0] for one in held]


def test_the_table_is_what_these_tests_reckon_with_by_hand() -> None:
    """By hand: the figures that stand below."""
    row = TABLES["knives.following_error"]
    assert (row.low, row.value, row.high) == tuple(SIGMAS)
    assert TABLES.number("strikes.height_error") == 0.03
    assert TABLES.number("strikes.wraps_on_contact") == 0.3
    assert TABLES.number("strikes.raked_in") == 0.3


def test_a_measured_stone_by_hand() -> None:
    """By hand: 10 cm under a bar at 8: Phi(2 / sqrt(2^2 + 3^2)), the ends with 1 and 4 cm."""
    strikes, wraps, forage = at(logged(("stone", 0.10)))
    shares = struck_share(0.10, 0.08, spread_m=np.hypot(SIGMAS, 0.03))
    assert strikes == pytest.approx([shares.min(), shares[1], shares.max()])
    assert strikes[1] == pytest.approx(0.7104, abs=1e-4)
    assert wraps.tolist() == forage.tolist() == [0, 0, 0]


def test_a_mark_and_the_same_kind_unseen_each_have_their_own_by_hand() -> None:
    """By hand: one law of heights, but only the mark may stand up: the sum of both alone."""
    mark, rest = logged(("post", math.nan)), unseen("elsewhere")
    for first, second in ((mark, rest), (rest, mark)):
        for whole, one, other in zip(at(joined(first, second)), at(mark), at(rest), strict=True):
            assert whole == pytest.approx(one + other)


def test_a_stone_that_nobody_measured_may_stand_up_by_hand() -> None:
    """By hand: the middle by the law 3, 10, 40 cm, the low end as its lowest, the high end met."""
    strikes, _, _ = at(logged(("stone", math.nan)), cut_m=0.12)
    middle = struck_share_of_law(0.03, 0.10, 0.40, 0.12, SIGMAS)
    least = struck_share(0.03, 0.12, spread_m=SIGMAS).min()
    assert strikes == pytest.approx([least, middle[1], 1.0])


def test_a_thing_without_any_height_is_met_by_hand() -> None:
    """By hand: what nobody could name has no law of heights: from not met to met, reckoned met."""
    strikes, wraps, forage = at(logged(("unknown", math.nan)), cut_m=0.30)
    assert strikes.tolist() == [0.0, 1.0, 1.0]
    assert wraps == pytest.approx([0.0, 0.3, 0.9])
    assert forage == pytest.approx([0.05, 1.0, 1.0])


def test_what_is_kept_out_of_is_mown_round_only_when_marked_by_hand() -> None:
    """By hand: a marked drum is not met; one of a hundred bits of debris unseen may be."""
    strikes, wraps, forage = at(logged(("drum", 0.5), ("well", math.nan), ("guy_wire", math.nan)))
    assert strikes.tolist() == wraps.tolist() == forage.tolist() == [0, 0, 0]
    debris = unseen("flood_debris")
    drums = kept(debris, debris.kind == "drum")
    assert drums.passed.all()
    assert at(drums)[0][1] > 0


def test_an_overhead_line_is_not_mown_by_hand() -> None:
    """By hand: it endangers people and no part of the mower."""
    assert [one.tolist() for one in at(logged(("overhead_line", 5.0)))] == [[0, 0, 0]] * 3


def test_twine_is_lifted_from_below_the_bar_by_hand() -> None:
    """By hand: at 5 cm under a bar at 8, knives that reach 3 cm down get hold of every second."""
    twine = logged(("twine", 0.05))
    strikes, wraps, forage = at(twine, lift_m=0.03)
    assert strikes.tolist() == [0, 0, 0]
    assert wraps == pytest.approx([0.5 * 0.05, 0.5 * 0.3, 0.5 * 0.9])
    assert forage == pytest.approx([0.5 + 0.5 * 0.05, 0.5 + 0.5 * 0.3, 0.5 + 0.5 * 0.8])
    assert at(twine, lift_m=0.01)[1][1] < wraps[1]


def test_stones_left_on_a_hectare_by_hand() -> None:
    """By hand: nobody looked, class 2: 1115.81 stones times the share of their law over the bar."""
    strikes, _, _ = at(unseen("stones_2"), cut_m=0.10)
    share = struck_share_of_law(0.0, 0.02, 0.15, 0.10, SIGMAS)  # those that nobody marked
    assert strikes[1] == pytest.approx(1115.81 * share[1])


def test_unseen_debris_is_split_over_its_kinds_by_hand() -> None:
    """By hand: ten things on a hectare before looking; timber is a quarter of them."""
    debris = unseen("flood_debris")
    assert debris.count.sum() == pytest.approx(10.0)
    assert debris.count[debris.kind == "timber"] == pytest.approx([2.5])
    assert not debris.logged.any()


@pytest.mark.parametrize("source", SOURCES)
def test_the_mix_of_a_source_by_hand(source: str) -> None:
    """By hand: shares sum to 1, and the kinds are ones that come with such a source."""
    mix = mixes(TABLES)[mix_key(source)]
    assert sum(share for _, share in mix) == pytest.approx(1.0)
    comes = {"stones": {"ground"}, "road_litter": {"road"}}.get(mix_key(source), {"flood", "road"})
    for kind, share in mix:
        assert share > 0
        assert comes & set(TABLES[f"hazard_kinds.{kind}"].words["comes_with"].split(";")), kind


def test_a_small_mean_is_its_own_high_end_by_hand() -> None:
    """By hand: of 0.0005 stones the 95 % end is none; the range holds the mean all the same."""
    one = estimate("elsewhere", "z", [10.0], [0.0], found=0, hits=0, tables=TABLES)
    assert one.left_high == 0.0 < one.left
    held = left_things([one], tables=TABLES)
    assert (held.count_high >= held.count).all()


def test_the_farms_own_height_is_the_kinds_by_hand() -> None:
    """By hand: stones of 20 cm are met at 8 cm however much the bar strays."""
    own = TABLES.with_overrides({"hazard_kinds.stone": 0.20, "knives.following_error": 0.01})
    held = logged_things(marks(("stone", math.nan)), tables=own)
    strikes, _, _ = at(held, tables=own)
    assert strikes == pytest.approx([1, 1, 1])
    assert at(held, cut_m=0.30, tables=own)[0][1] == pytest.approx(0.0, abs=1e-12)


def test_an_unknown_setting_is_unknown_by_hand() -> None:
    """By hand: no cut height, no answer, even of nothing; no knife, no wraps and no forage."""
    for things in (logged(("twine", 0.1), ("stone", 0.2)), no_things()):
        assert np.isnan(at(things, cut_m=math.nan)).all()
        strikes, wraps, forage = at(things, lift_m=math.nan)
        assert np.isfinite(strikes).all()
        assert np.isnan(wraps).all()
        assert np.isnan(forage).all()


def test_an_unknown_number_is_unknown_by_hand() -> None:
    """By hand: nobody knows how many, so nobody knows how many strikes."""
    stones = unseen("stones_1")
    assert math.isnan(at(stones._replace(count=stones.count * math.nan))[0][1])


def test_nothing_and_pieces_by_hand() -> None:
    """By hand: no things are no strikes; parts add up; each thing's share stands alone."""
    stone, twine = logged(("stone", 0.1)), logged(("twine", 0.1))
    both = joined(no_things(), stone, twine)
    assert [one.tolist() for one in at(no_things())] == [[0, 0, 0]] * 3
    assert at(both)[0] == pytest.approx(at(stone)[0] + at(twine)[0])
    each = met(both, np.array([0.08]), np.array([0.01]), tables=TABLES)
    assert each.wraps.shape == (1, 2, 3)
    assert each.wraps[0, 1] == pytest.approx(at(twine)[1])
    assert len(joined().kind) == len(logged_things(marks(), tables=TABLES).kind) == 0


heights = st.just(math.nan) | st.floats(0, 1)
things = st.builds(
    lambda held, left: joined(logged(*held), *(unseen(*one) for one in left)),
    st.lists(st.tuples(st.sampled_from(KINDS), heights), max_size=6),
    st.lists(st.tuples(st.sampled_from(SOURCES)), max_size=3),
)
settings = st.tuples(st.floats(0.02, 0.3), st.floats(0, 0.06))


@given(held=things, one=settings, taller=st.floats(0, 0.3))
def test_a_taller_cut_never_meets_more_property(
    held: Things, one: tuple[float, float], taller: float
) -> None:
    """Property: no end of any of the three grows with the cut height; ranges hold their middle."""
    cut_m, lift_m = one
    options = np.array([cut_m, cut_m + taller]), np.array([lift_m, lift_m])
    for found in expected(held, *options, tables=TABLES):
        low, value, high = found.T
        assert (low <= value * (1 + 1e-12)).all()
        assert (value <= high * (1 + 1e-12)).all()
        assert (found[1] <= found[0] * (1 + 1e-9) + 1e-9).all()
        assert (found >= 0).all()


@given(held=things, one=settings, reach=st.floats(0, 0.06))
def test_knives_that_reach_lower_never_meet_less_property(
    held: Things, one: tuple[float, float], reach: float
) -> None:
    """Property: the lift changes no strike, and takes nothing off wraps and forage."""
    cut_m, lift_m = one
    options = np.full(2, cut_m), np.array([lift_m, lift_m + reach])
    strikes, wraps, forage = expected(held, *options, tables=TABLES)
    assert strikes[0].tolist() == strikes[1].tolist()
    for found in (wraps, forage):
        assert (found[1] >= found[0] * (1 - 1e-9) - 1e-9).all()


@given(held=things, more=things, one=settings)
def test_one_thing_more_never_meets_less_property(
    held: Things, more: Things, one: tuple[float, float]
) -> None:
    """Property: clearing things raises nothing."""
    both = at(joined(held, more), *one)
    for fewer, all_of in zip(at(held, *one), both, strict=True):
        assert (fewer <= all_of * (1 + 1e-12) + 1e-12).all()


@given(kind=st.sampled_from(KINDS), height=st.floats(0, 1), one=settings)
def test_a_height_that_nobody_measured_never_lowers_the_high_end_property(
    kind: str, height: float, one: tuple[float, float]
) -> None:
    """Property: taking the measured height away leaves the upper end or raises it."""
    known, taken = at(logged((kind, height)), *one), at(logged((kind, math.nan)), *one)
    for before, after in zip(known, taken, strict=True):
        assert after[2] >= before[2] - 1e-12


def test_marked_and_unseen_of_one_kind_keep_their_own_ranges_by_hand() -> None:
    """By hand: one law of heights, but only the marked stone is doubtful; either may come first."""
    marked, left = logged(("stone", math.nan)), unseen("stones_1")
    for order in ((marked, left), (left, marked)):
        both = at(joined(*order), cut_m=0.15)[0]
        assert both == pytest.approx(at(marked, cut_m=0.15)[0] + at(left, cut_m=0.15)[0])
