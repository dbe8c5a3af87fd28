"""Yield given up, ash, feed value and the stand, against what was published."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_fields import TABLES, shoes
from small_set_ups import advise, best

from fieldmap.advice.agronomy import ash_points, per_cut, stand_left, yield_given_up
from fieldmap.risk.strikes import span
from fieldmap.units import KG_PER_SHORT_TON, KG_PER_TONNE, M2_PER_ACRE, M2_PER_HECTARE

INCH = 0.0254
TWENTY_ACRES_HA = 20 * M2_PER_ACRE / M2_PER_HECTARE
ORCHARDGRASS = [row for row in TABLES.rows("set_up") if row.words["crop"] == "orchardgrass"]


def given_up(low_in: float, high_in: float, cutting: int | None) -> np.ndarray:
    """Dry matter given up in alfalfa by raising the cut, t/ha."""
    return yield_given_up(
        np.array([high_in * INCH]),
        from_m=low_in * INCH,
        t_ha_cm=per_cut(0.115, 0.441, 3, cutting),
        measured_m=(2 * INCH, 6 * INCH),
        elsewhere=None,
    )[0]


def test_an_inch_of_first_cutting_alfalfa_referee() -> None:
    """Referee: University of Wisconsin: 2 to 3 in, one cut, 20 acres: 2.6 short tons less.

    https://hayandforage.com/print-article-4394-permanent.html (0.13 short ton an acre and inch)
    """
    tonnes = given_up(2, 3, 1) * TWENTY_ACRES_HA
    assert tonnes * KG_PER_TONNE / KG_PER_SHORT_TON == pytest.approx([2.6] * 3, rel=0.005)


def test_three_cuttings_of_the_season_referee() -> None:
    """Referee: the same page: half a short ton an acre and inch over three cuttings."""
    cuttings = (1, 2, 3)
    tonnes = sum(given_up(2, 6, cutting)[1] for cutting in cuttings) / 4
    per_acre = tonnes * KG_PER_TONNE / KG_PER_SHORT_TON * M2_PER_ACRE / M2_PER_HECTARE
    assert per_acre == pytest.approx(0.5, rel=0.005)


def test_the_option_tells_the_tonnes_by_hand() -> None:
    """By hand: alfalfa is cut at 2.5 in or more; half an inch more on 20 acres: 1.3 tons."""
    found = advise(
        machine={"skid_shoes": shoes(2.5 * INCH, 3 * INCH)}, cutting=1.0, area_ha=TWENTY_ACRES_HA
    )
    tonnes = {one.cut_m: one.yield_t for one in found.options}
    assert tonnes[2.5 * INCH] == (0.0, 0.0, 0.0)
    short_tons = [one * KG_PER_TONNE / KG_PER_SHORT_TON for one in tonnes[3 * INCH]]
    assert short_tons == pytest.approx([1.3] * 3, rel=0.005)


def test_beyond_what_was_measured_the_low_end_stands_still_by_hand() -> None:
    """By hand: alfalfa at 7 in: measured up to 6 in alone."""
    low, value, high = given_up(2, 7, 1)
    assert low == pytest.approx(given_up(2, 6, 1)[1])
    assert value == high == pytest.approx(given_up(2, 6, 1)[1] * 5 / 4)


def test_below_what_was_measured_the_low_end_counts_nothing_by_hand() -> None:
    """By hand: from 3 to 6 cm, of which only the last 0.92 cm was measured."""
    one = yield_given_up(
        np.array([0.06]),
        from_m=0.03,
        t_ha_cm=np.full(3, 0.1),
        measured_m=(2 * INCH, 6 * INCH),
        elsewhere=None,
    )[0]
    assert one == pytest.approx([0.092, 0.3, 0.3])


def test_a_first_cutting_may_give_up_more_than_a_later_one_by_hand() -> None:
    """By hand: 0.3 in the first, 0.05 in each later one; nobody said which."""
    assert per_cut(0.3, 0.4, 3, None) == pytest.approx([0.05, 0.175, 0.3])


def test_other_crops_may_give_up_nothing_by_hand() -> None:
    """By hand: nobody measured grass: from nothing to twice what alfalfa gives up."""
    found = advise(machine={"skid_shoes": shoes(4 * INCH)}, crop="timothy", cutting=1.0)
    low, value, high = best(found).yield_t
    assert low == 0.0
    assert value == pytest.approx(0.115 * 2.54 * 8.0)
    assert high == pytest.approx(2 * value)


def test_no_more_is_given_up_than_stands_by_hand() -> None:
    """By hand: a thin cutting of half a tonne, on 2 ha."""
    found = advise(
        machine={"skid_shoes": shoes(0.30)}, crop="switchgrass", yield_t_ha=0.5, area_ha=2.0
    )
    assert best(found).yield_t[2] == pytest.approx(1.0)


def test_ash_takes_feed_value_referee() -> None:
    """Referee: Wisconsin and Minnesota: 0.98 points of TDN a point; 3.2 points take 3.136.

    https://fyi.extension.wisc.edu/forage/reducing-ash-in-forage , UMN node 19286
    """
    assert 3.2 * TABLES.number("set_up.tdn_per_ash_point") == pytest.approx(3.136)
    for one in advise(machine={"skid_shoes": shoes(0.04, 0.07)}).options:
        assert one.tdn_points == pytest.approx([0.98 * points for points in one.ash_points])


def test_what_brings_soil_by_hand() -> None:
    """By hand: lift knives bring more, silt more still, and a cut over the floor no more."""
    low, lift = np.zeros(1, bool), np.ones(1, bool)
    figures = {
        "lift": span(TABLES["set_up.ash_high_lift"]),
        "per_cm": span(TABLES["set_up.ash_under_floor"]),
        "floor_m": span(TABLES["knives.ash_floor"]),
    }
    clean, silt = np.ones(3), span(TABLES["set_up.ash_silt_times"])
    tall = np.array([0.09])
    assert ash_points(tall, low, times=silt, **figures).tolist() == [[0.0, 0.0, 0.0]]
    lifted = ash_points(tall, lift, times=clean, **figures)
    assert (lifted > 0).all()
    assert (ash_points(tall, lift, times=silt, **figures) > lifted).all()
    short = ash_points(np.array([0.05]), low, times=clean, **figures)[0]
    assert short[1] == pytest.approx(0.3 * 2.62)


def test_orchardgrass_stand_referee() -> None:
    """Referee: University of Kentucky through Missouri's page: 0.5, 2 and 4 in after five cuts.

    https://www.farmprogress.com/forage/don-t-buzz-cut-your-hay-acres
    """
    published = {0.5: (16, 22), 2.0: (45, 50), 4.0: (96, 100)}
    for row in ORCHARDGRASS:
        assert (row.low, row.high) == published[float(row.words["height_m"]) / INCH]
    machine = {"skid_shoes": shoes(0.5 * INCH, 2 * INCH, 4 * INCH)}
    found = advise(machine=machine, crop="orchardgrass")
    for one in found.options:
        assert one.stand_left_pct is not None
        low, _, high = one.stand_left_pct
        assert (low, high) == pytest.approx(published[one.cut_m / INCH])
    assert "96 to 100% of the stand" in about_words(found)


def about_words(found: object) -> str:
    return found.told[-1].finding.why  # type: ignore[attr-defined]


def test_nobody_measured_the_stand_elsewhere_by_hand() -> None:
    """By hand: no other crop has it, nor orchardgrass over 4 in."""
    tall = advise(machine={"skid_shoes": shoes(0.12)}, crop="orchardgrass")
    assert [one.stand_left_pct for one in tall.options] == [None, None]
    assert all(one.stand_left_pct is None for one in advise(crop="timothy").options)


@given(st.lists(st.floats(0.0127, 0.1016), min_size=2, max_size=6))
def test_a_taller_cut_leaves_no_less_stand_property(heights_m: list[float]) -> None:
    """Property: between the published points the stand never thins with height."""
    cut_m = np.sort(heights_m)
    left = stand_left(
        cut_m,
        heights_m=np.array([float(row.words["height_m"]) for row in ORCHARDGRASS]),
        left_pct=np.stack([span(row) for row in ORCHARDGRASS]),
    )
    assert (np.diff(left, axis=0) >= -1e-9).all()
    assert (left[:, 0] <= left[:, 1]).all()
    assert (left[:, 1] <= left[:, 2]).all()


@given(cutting=st.integers(1, 6))
def test_no_word_on_the_cutting_is_the_wider_range_property(cutting: int) -> None:
    """Property: the range over all cuttings holds that of each."""
    known, unsaid = per_cut(0.115, 0.441, 3, cutting), per_cut(0.115, 0.441, 3, None)
    assert unsaid[0] <= known[0]
    assert known[2] <= unsaid[2]
