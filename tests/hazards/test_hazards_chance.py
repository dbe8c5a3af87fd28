"""The chance of seeing a thing: sweep widths, the curve to the sides of a walk, passes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from fieldmap.hazards.chance import (
    chance_from_coverage,
    combined,
    coverage_for,
    exposure,
    farthest_m,
    hardest_kind,
    line_exposure,
    looked_for_kinds,
    spread_m,
    sweep_width_m,
)
from fieldmap.hazards.exposure import _error
from fieldmap.tables import load_tables

TABLES = load_tables()
LINE = TABLES.number("looking.line_chance")
SHORT, TALL = (TABLES.number(f"looking.sward_{end}_m") for end in ("short", "tall"))
KINDS = [row.key.split(".")[1] for row in TABLES.rows("hazard_kinds")]
ENDLESS = np.array([[-1e4, 0.0, 1e4, 0.0]])


def seen(points: list[tuple[float, float]], steps: np.ndarray, sweep_m: float) -> np.ndarray:
    """Chance at points."""
    held = exposure(
        np.array(points, float).reshape(-1, 2),
        np.asarray(steps, float).reshape(-1, 4),
        spread_m=spread_m(sweep_m, LINE),
        strength=line_exposure(LINE),
    )
    return -np.expm1(-held)


@pytest.mark.parametrize("sweep_m", [1.5, 3.0, 8.0, 20.0])
def test_on_a_line_far_off_and_at_its_end_by_hand(sweep_m: float) -> None:
    """By hand: the table's chance on an endless line, none far off, half the exposure at an end."""
    far = 6 * spread_m(sweep_m, LINE)
    on, off, end, beyond = seen([(0, 0), (0, far), (1e4, 0), (1e4 + far, 0)], ENDLESS, sweep_m)
    assert on == pytest.approx(LINE, abs=1e-9)
    assert off == 0.0
    assert end == pytest.approx(1 - math.sqrt(1 - LINE), abs=1e-9)
    assert beyond == 0.0


@pytest.mark.parametrize("sweep_m", [1.5, 4.25, 12.0])
@pytest.mark.parametrize("line_chance", [0.3, 0.9, 0.99])
def test_the_curve_holds_the_sweep_width_referee(sweep_m: float, line_chance: float) -> None:
    """Referee: scipy.integrate.quad over the curve to both sides of an endless line."""
    spread, strength = spread_m(sweep_m, line_chance), line_exposure(line_chance)

    def beside(d: float) -> float:
        held = exposure(np.array([[0.0, d]]), ENDLESS, spread_m=spread, strength=strength)
        return -math.expm1(-held[0])

    area, _ = quad(beside, -5 * spread, 5 * spread, epsabs=1e-9, limit=400)
    tail = 2 * quad(lambda d: -math.expm1(-strength * math.exp(-0.5 * (d / spread) ** 2)),
                    5 * spread, 40 * spread)[0]  # fmt: skip
    assert area + tail == pytest.approx(sweep_m, rel=1e-6)
    assert tail < 1e-5 * sweep_m


def test_the_law_behind_it_is_the_normal_law_referee() -> None:
    """Referee: math.erf of the standard library; the table is right to 1e-9."""
    for z in np.linspace(-9, 9, 4001):
        assert _error(z) == pytest.approx(math.erf(z / math.sqrt(2)), abs=1e-9)


@pytest.mark.parametrize(
    ("coverage", "chance"),
    [(0.25, 0.2212), (0.5, 0.3935), (0.75, 0.5276), (1.0, 0.6321), (1.5, 0.7769), (2.0, 0.8647),
     (3.0, 0.9502)],
)  # fmt: skip
def test_random_search_referee(coverage: float, chance: float) -> None:
    """Referee: the published table of random search (Koopman), four places."""
    assert chance_from_coverage(coverage) == pytest.approx(chance, abs=5e-5)
    assert coverage_for(chance_from_coverage(coverage)) == pytest.approx(coverage)


@pytest.mark.parametrize(("chance", "coverage"), [(0.9, 2.3026), (0.95, 2.9957), (0.99, 4.6052)])
def test_coverage_for_a_chance_by_hand(chance: float, coverage: float) -> None:
    """By hand: -ln(0.1), -ln(0.05), -ln(0.01)."""
    assert coverage_for(chance) == pytest.approx(coverage, abs=5e-5)


def test_two_walkers_in_an_hour_by_hand() -> None:
    """By hand: sweep 6 m, 4 km/h, 1 h, two of them on 4 ha: C = 6 x 8000 / 40000 = 1.2."""
    coverage = 6.0 * 2 * 4000.0 / 40_000.0
    assert coverage == pytest.approx(1.2)
    assert chance_from_coverage(coverage) == pytest.approx(0.6988, abs=5e-5)


def test_passes_multiply_by_hand() -> None:
    """By hand: two passes at 0.6 leave 0.16; walking a line twice is two looks."""
    assert combined([0.6, 0.6]) == pytest.approx(0.84)
    once = seen([(0, 1)], ENDLESS, 3.0)[0]
    twice = seen([(0, 1)], np.vstack([ENDLESS, ENDLESS]), 3.0)[0]
    assert twice == pytest.approx(combined([once, once]), abs=1e-12)


@pytest.mark.parametrize("wrong", [0.0, 1.0, -0.1, 1.5, math.nan])
def test_what_is_no_chance_on_a_line_by_hand(wrong: float) -> None:
    """By hand: nought, certainty and nonsense have no curve."""
    with pytest.raises(ValueError, match="chance"):
        line_exposure(wrong)
    if wrong != 0.0:
        with pytest.raises(ValueError, match="chance"):
            coverage_for(wrong)


@pytest.mark.parametrize("kind", KINDS)
def test_sweep_widths_follow_the_table_by_hand(kind: str) -> None:
    """By hand: the table's two widths, the middle between them, unknown sward as tall."""
    words = TABLES[f"hazard_kinds.{kind}"].words
    short, tall = float(words["sweep_short_m"]), float(words["sweep_tall_m"])
    for sward, width in (
        (0.0, short), (SHORT, short), ((SHORT + TALL) / 2, (short + tall) / 2), (TALL, tall),
        (5.0, tall), (None, tall), (math.nan, tall),
    ):  # fmt: skip
        assert sweep_width_m(kind, sward, TABLES) == pytest.approx(width)
    assert tall <= short


@pytest.mark.parametrize("sward", [None, 0.0, 0.25, 0.5])
def test_the_hardest_kind_is_looked_for_and_has_the_least_width_property(
    sward: float | None,
) -> None:
    """Property: no kind that is looked for has a smaller width; no walk is told from farther."""
    hardest = hardest_kind(sward, TABLES)
    least = sweep_width_m(hardest, sward, TABLES)
    assert hardest in looked_for_kinds(TABLES)
    assert all(sweep_width_m(kind, sward, TABLES) >= least for kind in looked_for_kinds(TABLES))
    assert all(
        5 * spread_m(sweep_width_m(kind, sward, TABLES), LINE) <= farthest_m(TABLES) + 1e-9
        for kind in KINDS
    )


places = st.tuples(st.floats(-30, 30), st.floats(-30, 30))
paths = st.lists(places, min_size=2, max_size=8)
points = st.lists(places, min_size=1, max_size=30)
sweeps = st.sampled_from([1.5, 3.0, 8.0, 20.0])


def steps_of(path: list[tuple[float, float]]) -> np.ndarray:
    fixes = np.array(path)
    return np.hstack([fixes[:-1], fixes[1:]])


@settings(max_examples=80, deadline=None)
@given(path=paths, at=points, sweep_m=sweeps, times=st.integers(2, 7))
def test_splitting_a_walk_changes_nothing_property(
    path: list[tuple[float, float]], at: list[tuple[float, float]], sweep_m: float, times: int
) -> None:
    """Property: it does not matter how often the device wrote down a fix on a straight step."""
    steps = steps_of(path)
    marks = np.linspace(0, 1, times + 1)[:, None, None]
    stops = steps[:, :2] + marks * (steps[:, 2:] - steps[:, :2])
    split = np.concatenate([stops[:-1], stops[1:]], axis=2).reshape(-1, 4)
    assert seen(at, split, sweep_m) == pytest.approx(seen(at, steps, sweep_m), abs=2e-5)


@settings(max_examples=80, deadline=None)
@given(path=paths, more=paths, at=points, sweep_m=sweeps, dice=st.randoms())
def test_order_and_direction_do_not_matter_and_more_is_never_less_property(
    path: list[tuple[float, float]],
    more: list[tuple[float, float]],
    at: list[tuple[float, float]],
    sweep_m: float,
    dice: object,
) -> None:
    """Property: of steps in any order, walked either way; another walk only adds."""
    steps = steps_of(path)
    alone = seen(at, steps, sweep_m)
    turned = steps[:, [2, 3, 0, 1]][::-1]
    assert seen(at, turned, sweep_m) == pytest.approx(alone, abs=1e-6)
    both = seen(at, np.vstack([steps, steps_of(more)]), sweep_m)
    assert (both >= alone - 1e-12).all()
    assert ((alone >= 0) & (alone <= 1)).all()


@settings(max_examples=60, deadline=None)
@given(path=paths, at=points, sweep_m=sweeps)
def test_bins_lose_no_point_referee(
    path: list[tuple[float, float]], at: list[tuple[float, float]], sweep_m: float
) -> None:
    """Referee: the formula over all pairs with math.erf, no bins and no end of reach."""
    spread, strength = spread_m(sweep_m, LINE), line_exposure(LINE)
    total = np.zeros(len(at))
    for x1, y1, x2, y2 in steps_of(path):
        length = math.hypot(x2 - x1, y2 - y1)
        if length == 0.0:
            continue
        for number, (x, y) in enumerate(at):
            along = ((x - x1) * (x2 - x1) + (y - y1) * (y2 - y1)) / length
            aside = ((x - x1) * (y2 - y1) - (y - y1) * (x2 - x1)) / length
            ends = [math.erf(t / spread / math.sqrt(2)) for t in (-along, length - along)]
            total[number] += (
                strength * math.exp(-0.5 * (aside / spread) ** 2) * (ends[1] - ends[0]) / 2
            )
    assert seen(at, steps_of(path), sweep_m) == pytest.approx(-np.expm1(-total), abs=1e-4)


@pytest.mark.parametrize("coverage", [0.3, 0.6, 1.0, 1.5, 2.3026, 3.0])
@pytest.mark.parametrize("sweep_m", [1.5, 6.0])
def test_laid_lines_give_at_least_what_was_planned_property(
    coverage: float, sweep_m: float
) -> None:
    """Property: endless lines at S = W / C; the mean chance is no lower than random search says."""
    spacing = sweep_m / coverage
    offsets = np.arange(-80, 81) * spacing
    lines = np.column_stack([np.full(161, -1e3), offsets, np.full(161, 1e3), offsets])
    across = (np.arange(400) + 0.5) / 400 * spacing
    mean = seen([(0.0, y) for y in across], lines, sweep_m).mean()
    assert mean >= chance_from_coverage(coverage)
    assert mean <= min(coverage, 1.0) + 1e-6


def test_nothing_walked_and_nothing_asked_by_hand() -> None:
    """By hand: no steps, no points, a step on the spot, a thing that nobody can see."""
    assert seen([(0, 0)], np.zeros((0, 4)), 3.0).tolist() == [0.0]
    assert seen([], ENDLESS, 3.0).size == 0
    assert seen([(0, 0)], np.zeros((1, 4)), 3.0).tolist() == [0.0]
    assert seen([(0, 0)], ENDLESS, 0.0).tolist() == [0.0]
