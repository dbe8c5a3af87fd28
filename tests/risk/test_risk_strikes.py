"""The share of passes in which a bar meets a thing: one height, and a law of heights."""

from __future__ import annotations

import math
from itertools import pairwise
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from fieldmap.risk.strikes import struck_share, struck_share_of_law

heights = st.floats(0.0, 2.0)
spreads = st.just(0.0) | st.floats(1e-9, 0.5)


def _above(x: float, low: float, mode: float, high: float) -> float:
    """Share of a triangular law above a height, from the areas of its two triangles."""
    if x <= low:
        return 1.0
    if x >= high:
        return 0.0
    if x < mode:
        return 1.0 - (x - low) ** 2 / ((high - low) * (mode - low))
    return (high - x) ** 2 / ((high - low) * (high - mode))


def _by_quadrature(low: float, mode: float, high: float, cut: float, spread: float) -> float:
    """Mean over the normal law of the bar's height, summed piece by piece between the corners."""
    corners = [min(max((cut - x) / spread, -9.0), 9.0) for x in (low, mode, high)]
    edges = sorted({-9.0, *corners, 9.0})
    normal = NormalDist()
    return sum(
        integrate.quad(
            lambda z: _above(cut - spread * z, low, mode, high) * normal.pdf(z),
            start,
            end,
            epsabs=1e-13,
            epsrel=1e-12,
        )[0]
        for start, end in pairwise(edges)
    )


@pytest.mark.parametrize(
    ("over_spreads", "share"),
    [
        (0.0, 0.5),
        (1.0, 0.8413447461),
        (-1.0, 0.1586552539),
        (1.96, 0.9750021049),
        (-3, 0.001349898),
    ],
)
def test_the_normal_law_referee(over_spreads: float, share: float) -> None:
    """Referee: the table of the normal law (from memory), and Python's own statistics module."""
    found = struck_share(0.08 + 0.02 * over_spreads, 0.08, spread_m=0.02)
    assert float(found) == pytest.approx(share, abs=1e-9)
    assert float(found) == pytest.approx(NormalDist().cdf(over_spreads), abs=1e-14)


@pytest.mark.parametrize("seed", range(40))
def test_a_law_of_heights_referee(seed: int) -> None:
    """Referee: scipy.integrate.quad over the bar's law, laws and spreads of all sizes; to 1e-9."""
    draw = np.random.default_rng(seed)
    ends = draw.uniform(0.0, 1.0, 3) * 10.0 ** draw.uniform(-6, 0.5)
    low, mode, high = sorted(ends)
    mode = (mode, low, high)[seed % 3]
    for _ in range(10):
        cut = (
            draw.uniform(low - 0.3, high + 0.3) if draw.random() < 0.5 else draw.uniform(low, high)
        )
        spread = 10.0 ** draw.uniform(-9, 0)
        found = float(struck_share_of_law(low, mode, high, cut, spread))
        assert found == pytest.approx(_by_quadrature(low, mode, high, cut, spread), abs=1e-9)


def test_a_spread_tiny_against_the_law_and_a_law_tiny_against_the_spread_referee() -> None:
    """Referee: quadrature again, where antiderivatives would cancel."""
    for width, spread in ((1.0, 1e-9), (1.0, 1e-6), (1e-9, 0.02), (1e-5, 0.02), (0.02, 0.02)):
        law = 0.1, 0.1 + 0.3 * width, 0.1 + width
        for part in (-0.5, 0.0, 0.1, 0.3, 0.9, 1.0, 1.5):
            cut = 0.1 + part * width
            found = float(struck_share_of_law(*law, cut, spread))
            assert found == pytest.approx(_by_quadrature(*law, cut, spread), abs=1e-9)


def test_the_share_of_a_triangle_by_hand() -> None:
    """By hand: no spread, from 0 to 20 cm with the peak at 10: half way up the first flank 7/8."""
    found = struck_share_of_law(0.0, 0.1, 0.2, [-0.1, 0.0, 0.05, 0.1, 0.15, 0.2, 0.3], 0.0)
    assert found == pytest.approx([1, 1, 7 / 8, 1 / 2, 1 / 8, 0, 0], abs=1e-15)


def test_a_symmetric_law_at_its_middle_by_hand() -> None:
    """By hand: as often over the bar as under it, whatever the spread."""
    for spread in (0.0, 1e-6, 0.01, 0.3):
        assert float(struck_share_of_law(0.0, 0.1, 0.2, 0.1, spread)) == pytest.approx(0.5)


def test_without_a_spread_a_thing_as_high_as_the_bar_is_struck_by_hand() -> None:
    """By hand: a step, and the step itself counts as met."""
    at = struck_share([0.0799, 0.08, 0.0801], 0.08, spread_m=0.0)
    assert at.tolist() == [0.0, 1.0, 1.0]
    assert float(struck_share_of_law(0.08, 0.08, 0.08, 0.08, 0.0)) == 1.0


def test_what_is_not_known_has_no_share_by_hand() -> None:
    """By hand: any of the figures unknown makes the answer unknown, never small."""
    assert np.isnan(struck_share([math.nan, 0.1, 0.1], [0.1, math.nan, 0.1],
                                 spread_m=[0.0, 0.0, math.nan])).all()  # fmt: skip
    known = [0.0, 0.1, 0.2, 0.1, 0.02]
    for at in range(5):
        held = [math.nan if number == at else figure for number, figure in enumerate(known)]
        assert np.isnan(struck_share_of_law(*held))


@given(ends=st.tuples(heights, heights, heights), cuts=st.tuples(heights, heights), spread=spreads)
def test_a_taller_cut_never_strikes_more_property(
    ends: tuple[float, float, float], cuts: tuple[float, float], spread: float
) -> None:
    """Property: from 0 to 1, and no more with a taller cut (but for rounding)."""
    law = sorted(ends)
    lower, taller = sorted(cuts)
    before, after = struck_share_of_law(*law, [lower, taller], spread)
    assert 0.0 <= after <= before + 1e-12
    assert before <= 1.0


@given(ends=st.tuples(heights, heights, heights), cut=heights, spread=spreads)
def test_a_law_lies_between_its_ends_property(
    ends: tuple[float, float, float], cut: float, spread: float
) -> None:
    """Property: struck no less often than its lowest thing and no more than its highest."""
    law = sorted(ends)
    least, most = struck_share([law[0], law[2]], cut, spread_m=spread)
    found = float(struck_share_of_law(*law, cut, spread))
    assert least - 1e-12 <= found <= most + 1e-12


@given(height=heights, cut=heights, spread=spreads)
def test_a_law_of_one_height_is_that_height_property(
    height: float, cut: float, spread: float
) -> None:
    """Property: both ways of asking give the same figure."""
    one = float(struck_share(height, cut, spread_m=spread))
    assert float(struck_share_of_law(height, height, height, cut, spread)) == one
