"""Two people over the same ground: Lincoln-Petersen, Chapman, and who found what."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.errors import InputError
from fieldmap.hazards.observers import (
    ASSUMED,
    chapman,
    chapman_variance,
    counted,
    double_observer,
    lincoln_petersen,
)

pairs = st.tuples(st.integers(1, 200), st.integers(1, 200))
people = st.sets(st.sampled_from(["Ann", "Bo", "Cy", ""]), max_size=4)


@pytest.mark.parametrize(
    ("counts", "plain", "figure", "variance", "error", "ends"),
    [
        ((10, 15, 5), 30.000, 28.333, 34.921, 5.909, (16.75, 39.92)),
        ((24, 20, 12), 40.000, 39.385, 21.302, 4.615, (30.34, 48.43)),
        ((30, 25, 15), 50.000, 49.375, 27.780, 5.271, (39.04, 59.71)),
    ],
)
def test_worked_examples_referee(
    counts: tuple[int, int, int],
    plain: float,
    figure: float,
    variance: float,
    error: float,
    ends: tuple[float, float],
) -> None:
    """Referee: Chapman's form and variance (sciref.net o56686; people.hws.edu Petersen2), worked.

    The range is the normal one; its low end is raised to what was found.
    """
    got = counted(*counts)
    assert got.lincoln_petersen == pytest.approx(plain)
    assert got.chapman == pytest.approx(figure, abs=5e-4)
    assert got.variance == pytest.approx(variance, abs=5e-4)
    assert got.se == pytest.approx(error, abs=5e-4)
    assert got.chapman - 1.96 * got.se == pytest.approx(ends[0], abs=0.01)
    assert got.high == pytest.approx(ends[1], abs=0.01)
    assert got.low == pytest.approx(max(ends[0], got.found), abs=0.01)


def test_double_observer_referee() -> None:
    """Referee: 24, 20 and 12 in common: 0.6, 0.5, together 0.8; 32 found, 32 / 0.8 = 40."""
    got = counted(24, 20, 12)
    chances = (got.chance_first, got.chance_second, got.chance_either)
    assert chances == pytest.approx((0.6, 0.5, 0.8))
    assert (got.found, got.low) == (32, 32.0)
    assert got.found / got.chance_either == pytest.approx(40.0)
    assert got.lincoln_petersen == pytest.approx(40.0)


@given(pair=pairs, share=st.floats(0, 1))
def test_never_below_what_was_found_property(pair: tuple[int, int], share: float) -> None:
    """Property: found <= low <= Chapman <= high, Chapman <= Lincoln-Petersen or nothing in it."""
    first, second = pair
    got = counted(first, second, math.floor(share * min(pair)))
    assert got.found <= got.low <= got.chapman + 1e-9
    assert got.chapman <= got.high + 1e-9
    assert got.variance >= 0
    assert got.chapman <= got.lincoln_petersen + 1e-9
    if got.both:
        assert got.found / got.chance_either == pytest.approx(got.lincoln_petersen)


@given(pair=pairs, share=st.floats(0, 1))
def test_who_came_first_does_not_matter_property(pair: tuple[int, int], share: float) -> None:
    """Property: the two people are alike."""
    both = math.floor(share * min(pair))
    one, other = counted(*pair, both), counted(*pair[::-1], both)
    assert one.chapman == pytest.approx(other.chapman)
    assert one.variance == pytest.approx(other.variance)
    assert one.chance_first == other.chance_second


@given(pair=pairs, share=st.floats(0, 1))
def test_more_in_common_is_fewer_left_property(pair: tuple[int, int], share: float) -> None:
    """Property: one find more in common never raises the estimate."""
    both = math.floor(share * (min(pair) - 1))
    assert counted(*pair, both + 1).chapman <= counted(*pair, both).chapman


def test_all_found_by_both_by_hand() -> None:
    """By hand: seven, the same seven: seven there, no spread."""
    got = counted(7, 7, 7)
    assert (got.chapman, got.variance, got.low, got.high) == (7.0, 0.0, 7.0, 7.0)
    assert got.chance_either == 1.0


def test_nothing_in_common_by_hand() -> None:
    """By hand: Lincoln-Petersen has no bound, Chapman is 4 x 5 - 1."""
    assert lincoln_petersen(3, 4, 0) == math.inf
    assert chapman(3, 4, 0) == 19.0
    assert counted(3, 4, 0).chance_either == 0.0


@pytest.mark.parametrize("wrong", [(3, 4, 5), (4, 3, 4), (-1, 4, 0), (3, 4, -1)])
def test_impossible_counts_are_refused_by_hand(wrong: tuple[int, int, int]) -> None:
    for function in (lincoln_petersen, chapman, chapman_variance, counted):
        with pytest.raises(InputError, match="cannot be"):
            function(*wrong)


def test_a_look_without_a_find_is_no_look_by_hand() -> None:
    with pytest.raises(InputError, match="without a find"):
        counted(0, 4, 0)


def _log(ann: int, bo: int, both: int) -> dict[str, set[str]]:
    alone = {f"a{n}": {"Ann"} for n in range(ann - both)}
    alone |= {f"b{n}": {"Bo"} for n in range(bo - both)}
    return alone | {f"x{n}": {"Ann", "Bo"} for n in range(both)}


def test_two_people_in_a_log_referee() -> None:
    """Referee: the worked example 24, 20, 12 out of a log of 32 marks."""
    looks = double_observer(_log(24, 20, 12))
    assert looks.people == ("Ann", "Bo")
    assert looks.counted == counted(24, 20, 12)
    assert looks.why == "Ann found 24, Bo 20, both of them 12."


def test_the_two_who_found_most_are_taken_and_others_finds_hold_by_hand() -> None:
    """By hand: Ann 3, Bo 3, both 3 would be 3; Cy's two and nobody's one are there as well."""
    log = _log(3, 3, 3) | {"c1": {"Cy"}, "c2": {"Cy"}, "n": {""}}
    looks = double_observer(log)
    assert looks.people == ("Ann", "Bo")
    assert looks.counted is not None
    got = looks.counted
    assert (got.found, got.chapman, got.low, got.high) == (6, 6.0, 6.0, 6.0)


def test_one_person_or_nobody_gives_no_count_by_hand() -> None:
    """By hand: the reason is in words; two spellings of a name are one person."""
    alone = double_observer({"a": {"Ann  Lee"}, "b": {"ann lee", ""}})
    assert alone.counted is None
    assert alone.why.startswith("Only Ann Lee")
    nobody = double_observer({"a": {" "}})
    assert nobody.counted is None
    assert nobody.why.startswith("Nobody")
    assert nobody.people == ()


@given(log=st.dictionaries(st.text("abcdef", min_size=1, max_size=2), people, max_size=20))
def test_a_log_never_says_fewer_than_it_holds_property(log: dict[str, set[str]]) -> None:
    """Property: all marks are found; the order of the log does not matter."""
    looks = double_observer(log)
    assert looks == double_observer(dict(reversed(log.items())))
    finders = {name for names in log.values() for name in names if name}
    assert (looks.counted is None) == (len(finders) < 2)
    if looks.counted is not None:
        assert looks.counted.found == len(log)
        assert looks.counted.low >= len(log)
        assert looks.counted.chapman >= len(log)


def test_what_is_taken_for_granted_is_said_by_hand() -> None:
    """By hand: the assumptions, and that the true number is at least this."""
    for word in ("as easy to see", "neither knew", "same ground", "buried", "at least"):
        assert word in ASSUMED
