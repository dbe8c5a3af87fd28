"""The numbers behind what is told to be left: estimates, what is missing, sweep widths."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from test_risk_left_field import FIELD, SOUTH, TABLES, WEST, at, legs, line, marks, ready, seen

from fieldmap.hazards.chance import sweep_width_m
from fieldmap.hazards.density import Estimate, estimate
from fieldmap.risk.left import Left, bounded, what_is_left
from fieldmap.risk.left_ground import roads_of
from fieldmap.risk.things import left_things

LANE = ("unclassified", line((-50, 0), (150, 0)), {})
CLOSE = {float(north): 1 for north in range(0, 61, 2)}


def left(*lying: dict[str, object], walks: dict[float, int] | None = None, log: bool = True,
         stoniness: float | None = 1.0, roads: bool = True) -> Left:  # fmt: skip
    """What is left in a field beside a lane, half of which stood under water."""
    water = shapely.box(WEST, SOUTH, WEST + 50, SOUTH + 60)
    network = roads_of(legs(LANE) if roads else None, tables=TABLES)
    return what_is_left(
        "F",
        seen({30.0: 1} if walks is None else walks, water),
        ready(marks(*lying) if log else None),
        network,
        stoniness=stoniness,
        tables=TABLES,
    )


def test_an_estimate_for_each_source_by_hand() -> None:
    """By hand: stones, debris on the wet half, loose things on the dry, litter by the lane."""
    held = left()
    assert [one.source_of_things for one in held.estimates] == [
        "stones_1", "flood_debris", "elsewhere", "road_litter",
    ]  # fmt: skip
    areas = [one.area_ha for one in held.estimates]
    assert areas[0] == pytest.approx(FIELD.area / 1e4)
    assert areas[1] == pytest.approx(0.3, rel=0.05)
    assert areas[2] == pytest.approx(0.3, rel=0.05)
    assert areas[3] == pytest.approx(100 * (10 + 5.486 / 2) / 1e4, rel=0.1)
    assert shapely.area(held.road) == pytest.approx(100 * (10 + 5.486 / 2))
    assert held.missing == ()
    tall = sweep_width_m("stone", None, TABLES)
    assert held.sweeps_m[0] == tall
    assert len(held.sweeps_m) == len(held.estimates)


def test_the_numbers_are_those_that_are_told_by_hand() -> None:
    """By hand: value, low and high of each finding, in the same order."""
    held = left({"kind": "stone"}, {"kind": "unknown"}, {"kind": "litter"})
    counted = [one.finding for one in held.told if one.finding.value is not None]
    assert len(counted) == len(held.estimates)
    for finding, one in zip(counted, held.estimates, strict=True):
        assert (finding.value, finding.low, finding.high) == (one.left, one.left_low, one.left_high)


def test_what_nobody_could_name_raises_the_high_end_alone_by_hand() -> None:
    """By hand: ten nameless marks: the mean of the stones stays, the high end grows."""
    few, many = left(), left(*({"kind": "unknown"},) * 10)
    assert many.estimates[0].left == few.estimates[0].left
    assert many.estimates[0].left_high > few.estimates[0].left_high
    assert many.estimates[0].density_high > few.estimates[0].density_high


@pytest.mark.parametrize(
    ("lack", "words", "sources"),
    [
        ({"log": False}, ["but the stones of the class told"], 1),
        ({"log": False, "stoniness": None}, ["hazard log"], 0),
        ({"stoniness": None}, ["stoniness class"], 3),
        ({"stoniness": float("nan")}, ["stoniness class"], 3),
        ({"roads": False}, ["no road network"], 3),
        ({"roads": False, "stoniness": None}, ["stoniness class", "no road network"], 2),
        ({"walks": {}}, [], 4),
    ],
)
def test_what_cannot_be_reckoned_is_named_by_hand(
    lack: dict[str, object], words: list[str], sources: int
) -> None:
    """By hand: in the order in which it is asked; a field nobody walked is reckoned too."""
    held = left(**lack)
    assert len(held.missing) == len(words)
    for said, word in zip(held.missing, words, strict=True):
        assert word in said
    assert len(held.estimates) == sources
    if "roads" in lack or "log" in lack:
        assert held.road is None


@settings(max_examples=25, deadline=None)
@given(
    kinds=st.lists(st.sampled_from(["stone", "litter", "unknown", "post"]), max_size=6),
    walks=st.sampled_from([{}, {30.0: 1}, CLOSE]),
    stoniness=st.floats(0, 5),
)
def test_ranges_hold_their_middle_property(
    kinds: list[str], walks: dict[float, int], stoniness: float
) -> None:
    """Property: of numbers, densities and the things made of them."""
    held = left(*({"kind": kind} for kind in kinds), walks=walks, stoniness=stoniness)
    for one in held.estimates:
        assert one.left_low <= one.left <= one.left_high
        assert one.density <= one.density_high
    things = left_things(held.estimates, tables=TABLES)
    assert (things.count_low <= things.count).all()
    assert (things.count <= things.count_high).all()
    assert things.count.sum() == pytest.approx(sum(one.left for one in held.estimates))


def test_marks_without_walks_do_not_grow_without_end_by_hand() -> None:
    """By hand: seven stones marked in class 3 and no walk: 13,665.84 a hectare, as without them.

    Had the seven come from looking at nothing, it would be 204,988; discs of 25 cm that cover all
    of the ground are 203,718. The high end reckons with 30,557.75, the most of the class.
    """
    stones = left(*({"kind": "stone"},) * 7, walks={}, stoniness=3.0).estimates[0]
    bare = left(walks={}, stoniness=3.0).estimates[0]
    assert stones.density == bare.density == pytest.approx(13_665.84)
    assert stones.left == pytest.approx(13_665.84 * 0.6)
    assert bare.left_high < 30_557.75 * 0.6 * 2 < stones.left_high < 30_557.75 * 0.6 * 4


def test_what_was_found_on_the_whole_ground_is_allowed_by_hand() -> None:
    """By hand: 60 on 0.3 dry ha are 200 a hectare: the high end holds 60.5, over the table's 5."""
    held = left(*({"kind": "post", "place": at(80, 30)},) * 60, walks={}, stoniness=None)
    loose = held.estimates[1]
    assert loose.source_of_things == "elsewhere"
    assert loose.density == pytest.approx(0.5)
    assert loose.left == pytest.approx(0.5 * 0.3)
    assert loose.density_high >= 60.5
    assert loose.left_high >= 60.5 * 0.3


def test_what_was_looked_at_is_not_counted_as_unseen_by_hand() -> None:
    """By hand: 200 found on a hectare half seen: 200.5 / (.5 / 2.04 + .5) is held to 200, so 100.

    With the class's own density before looking the range would be as wide as 3.84 times that.
    """
    one = estimate("stones_0", "z", [10_000.0], [0.5], found=200, hits=0, tables=TABLES)
    assert one.density == pytest.approx(269.09, abs=0.01)
    held = bounded(one, TABLES["density.stones_0"], 0.5)
    assert held.density == pytest.approx(200.0)
    assert held.left == pytest.approx(100.0)
    assert held.left_high <= 3.85 * 100.0


def test_a_good_look_is_not_held_back_by_hand() -> None:
    """By hand: class 1, walked close: the belief after looking stands as it is."""
    one = left({"kind": "stone"}, walks=CLOSE).estimates[0]
    row = TABLES["density.stones_1"]
    assert one.density == pytest.approx(1.5 / (0.5 / row.value + one.looked_ha))
    assert bounded(one, replace(row, high=None), 0.5) == one


@given(
    found=st.integers(0, 200), more=st.integers(0, 50), looked=st.floats(0, 1), less=st.floats(0, 1)
)
def test_the_bound_keeps_the_order_property(
    found: int, more: int, looked: float, less: float
) -> None:
    """Property: more finds, or a poorer look, never leave less: mean and high end."""
    row = TABLES["density.stones_2"]

    def held(count: int, chance: float) -> Estimate:
        one = estimate("stones_2", "z", [5_000.0], [chance], found=count, hits=0, tables=TABLES)
        return bounded(one, row, 0.5)

    base, finds, poorer = (
        held(found, looked),
        held(found + more, looked),
        held(found, looked * less),
    )
    for other in (finds, poorer):
        assert other.left >= base.left * (1 - 1e-9)
        assert other.left_high >= base.left_high * (1 - 1e-9)
    for one in (base, finds, poorer):
        assert one.left_low <= one.left * (1 + 1e-9)
