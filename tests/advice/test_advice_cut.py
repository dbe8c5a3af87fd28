"""Cut height and shoe: every crop of the table, and cases anyone in the trade would answer."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_fields import TABLES, field, mower, shoes, told

from fieldmap.advice.conditions import crop_row
from fieldmap.advice.cut import FLOOD_CAUTION, NITRATE_CAUTION, cut_findings, off_range
from fieldmap.advice.limits import Limits, height_limits, pick_shoe
from fieldmap.finding import Finding, rank
from fieldmap.machine import SkidShoe
from fieldmap.tables import Constant

CROPS = [pytest.param(row, id=row.key.split(".", 1)[1]) for row in TABLES.rows("cut_heights")]
CUT = "cut height and skid shoe"


def limits_of(row: Constant) -> Limits:
    """The range of a crop that stood in no drought."""
    limits = height_limits(field()._replace(crop=row), tables=TABLES)
    assert limits is not None
    return limits


def cut(*, machine: object = None, **given: object) -> Finding:
    held = mower() if machine is None else machine
    return told(cut_findings(field(**given), held, tables=TABLES), CUT)  # type: ignore[arg-type]


@pytest.mark.parametrize("row", CROPS)
@pytest.mark.parametrize("stoniness", [0.0, 3.0, None])
def test_every_crop_is_cut_in_its_range_property(row: Constant, stoniness: float | None) -> None:
    """Property: with a shoe in the crop's range the advice lies in it, stones or none."""
    assert row.value is not None
    assert row.low is not None
    high = math.inf if row.high is None else row.high
    carried = sorted({0.03, row.low, row.value, min(high + 0.05, 0.45)})
    found = cut(
        machine=mower(skid_shoes=shoes(*carried)),
        crop=row.words["label"],
        stoniness=stoniness,
    )
    assert found.value is not None
    assert row.low - 1e-6 <= found.value <= high + 1e-6
    assert found.low == row.low
    assert found.high == row.high
    assert row.source in found.sources
    assert found.basis == "assumed"


@pytest.mark.parametrize("row", CROPS)
def test_every_name_of_a_crop_finds_it_property(row: Constant) -> None:
    """Property: key, label and each other name lead to the row, however they are written."""
    names = [row.key.split(".", 1)[1], row.words["label"], *row.words["aliases"].split(";")]
    for name in names:
        for written in (name, name.upper(), f"  {name.replace(' ', '_')} "):
            found = crop_row(written, TABLES)
            assert found is not None, written
            assert found.key == row.key, written


def test_alfalfa_on_clean_ground_by_hand() -> None:
    """By hand: 2.5 to 3 in; the shoe of 7.5 cm, not the tall one."""
    found = cut()
    assert found.level == "ok"
    assert found.choice == "skid shoe: shoe 0.075"
    assert (found.low, found.high) == (0.0635, 0.0762)
    low = cut(machine=mower(skid_shoes=shoes(0.065, 0.115)))
    assert (low.level, low.choice) == ("ok", "skid shoe: shoe 0.065")


def test_stony_bench_takes_the_tall_shoe_by_hand() -> None:
    """By hand: grass over stones: the tallest shoe in 3 to 4 in, with care."""
    machine = mower(skid_shoes=shoes(0.05, 0.08, 0.10, 0.15))
    found = cut(machine=machine, crop="orchardgrass", stoniness=4.0)
    assert (found.level, found.value) == ("care", 0.10)
    assert "stoniness class 4" in found.why
    clean = cut(machine=mower(skid_shoes=shoes(0.08, 0.095)), crop="orchardgrass")
    assert (clean.level, clean.value) == ("ok", 0.095)


def test_a_marked_stone_counts_as_stony_ground_by_hand() -> None:
    """By hand: what is in the log wins over a boundary table that says clean."""
    found = cut(kinds=("stone",))
    assert found.level == "care"
    assert "marked in the log: stone" in found.why
    assert cut(kinds=("twine",)).level == "ok"


def test_flooded_field_by_hand() -> None:
    """By hand: silt or water: care, wait for regrowth of 8 to 10 in, and the caution with it."""
    for given_ in ({"flooded": True}, {"kinds": ("silt",)}):
        held = cut_findings(field(**given_), mower(), tables=TABLES)
        assert told(held, CUT).level == "care"
        wait = told(held, "regrowth after the water")
        assert wait.level == "care"
        assert (wait.low, wait.high) == (0.2032, 0.2540)
        assert wait.caution == FLOOD_CAUTION
    assert len(cut_findings(field(), mower(), tables=TABLES)) == 1


@pytest.mark.parametrize(
    "crop", ["sudex", "pearl millet", "oats", "corn stalks", "Drought-stressed corn"]
)
def test_nitrate_crops_are_tested_first_by_hand(crop: str) -> None:
    """By hand: sorghums, millet, cereals and droughted corn: test before feeding."""
    held = cut_findings(field(crop=crop), mower(), tables=TABLES)
    test = told(held, "nitrate test")
    assert (test.level, test.choice) == ("care", "test before feeding")
    assert test.caution == NITRATE_CAUTION


def test_other_crops_need_no_test_by_hand() -> None:
    """By hand: timothy is no gatherer of nitrate."""
    held = cut_findings(field(crop="timothy"), mower(), tables=TABLES)
    assert [one.finding.what for one in held] == [CUT]


@pytest.mark.parametrize("crop", [None, math.nan, "", "  ", "hops", np.nan])
def test_a_crop_nobody_knows_is_unknown_by_hand(crop: object) -> None:
    """By hand: no crop, or one that no row means, is unknown, and says what to do."""
    (one,) = cut_findings(field(crop=crop), mower(), tables=TABLES)
    assert one.finding.level == "unknown"
    assert one.finding.value == 0.0762
    assert "where most people start" in one.finding.why
    assert one.change
    assert ("hops" in one.finding.why) == (crop == "hops")


def test_no_shoes_is_unknown_by_hand() -> None:
    """By hand: the height is the crop's, the shoe is not known."""
    for machine in (mower(skid_shoes=[]), None):
        (one,) = cut_findings(field(), machine, tables=TABLES)
        assert (one.finding.level, one.finding.choice) == ("unknown", "")
        assert one.finding.value == 0.0762
        assert "skid shoes" in one.change


def test_no_shoe_in_the_range_by_hand() -> None:
    """By hand: the next taller one, with care; else the tallest there is."""
    taller = cut(machine=mower(skid_shoes=shoes(0.05, 0.10, 0.14)))
    assert (taller.level, taller.value) == ("care", 0.10)
    lower = cut(machine=mower(skid_shoes=shoes(0.03, 0.05)))
    assert (lower.level, lower.value) == ("care", 0.05)
    assert "No shoe listed" in taller.why
    assert "LOWER than this crop" in lower.why


def test_nobody_said_whether_it_is_stony_by_hand() -> None:
    """By hand: unknown, and set as if it were."""
    machine = mower(skid_shoes=shoes(0.065, 0.076))
    found = cut(machine=machine, stoniness=None)
    assert (found.level, found.value) == ("unknown", 0.076)
    without_log = cut(machine=machine, kinds=None)
    assert (without_log.level, without_log.value) == ("unknown", 0.076)
    assert "no hazard log" in without_log.why


def test_half_a_stone_class_is_not_clean_regression() -> None:
    """Regression: a class between 0 and 1 was called class 0."""
    found = cut(stoniness=0.5)
    assert found.level == "care"
    assert "class 0.5" in found.why


def test_the_users_own_height_wins_by_hand() -> None:
    """By hand: 9 cm of the user's own for alfalfa: the shoe nearest above, cited as the farm's."""
    mine = TABLES.with_overrides({"cut_heights.alfalfa": 0.09})
    here = field()._replace(crop=mine["cut_heights.alfalfa"])
    found = told(cut_findings(here, mower(), tables=mine), CUT)
    assert found.value == 0.115
    assert found.sources[0] == "farm"


heights_m = st.lists(st.floats(0.01, 0.45), min_size=1, max_size=6, unique=True)


@given(heights_m=heights_m, tall=st.booleans(), crop=st.sampled_from(CROPS))
def test_the_shoe_picked_is_carried_property(
    heights_m: list[float], tall: bool, crop: object
) -> None:
    """Property: the shoe is one of the machine's; in range if any is; tall is never lower."""
    row: Constant = crop.values[0]  # type: ignore[attr-defined]
    carried = mower(
        skid_shoes=[{"name": str(n), "cut_height_m": h} for n, h in enumerate(heights_m)]
    ).skid_shoes
    limits = limits_of(row)
    picked = pick_shoe(carried, limits, tall=tall)
    assert picked is not None
    shoe, fits = picked
    assert shoe in carried
    assert row.low is not None
    high = math.inf if row.high is None else row.high
    assert fits == any(row.low - 0.0025 <= h <= high + 0.0025 for h in heights_m)
    other = pick_shoe(carried, limits, tall=False)
    assert other is not None
    if tall:
        assert shoe.cut_height_m >= other[0].cut_height_m


@given(
    stoniness=st.sampled_from([0.0, 1.0, 5.0]),
    kinds=st.sampled_from([(), ("stone",), ("silt",), ("twine",)]),
    flooded=st.booleans(),
    missing=st.sampled_from(["stoniness", "crop", "log", "machine"]),
)
def test_knowing_less_is_never_better_property(
    stoniness: float, kinds: tuple[str, ...], flooded: bool, missing: str
) -> None:
    """Property: without stoniness, crop, log or machine no answer gets better."""
    given_: dict[str, object] = {"stoniness": stoniness, "kinds": kinds, "flooded": flooded}
    before = told(cut_findings(field(**given_), mower(), tables=TABLES), CUT)  # type: ignore[arg-type]
    machine = None if missing == "machine" else mower()
    if missing in ("stoniness", "crop"):
        given_[missing] = None
    if missing == "log":
        given_["kinds"] = None
    after = told(cut_findings(field(**given_), machine, tables=TABLES), CUT)  # type: ignore[arg-type]
    assert rank(after.level) >= rank(before.level)


def test_a_shoe_below_the_range_is_said_to_be_below_by_hand() -> None:
    """By hand: pearl millet wants 6 in and the tallest shoe cuts 4.5 in."""
    limits = limits_of(TABLES["cut_heights.pearl_millet"])
    low, high = SkidShoe(name="base", cut_height_m=0.045), SkidShoe(name="high", cut_height_m=0.115)
    assert pick_shoe((low, high), limits, tall=True) == (high, False)
    words, mend = off_range(high, limits)
    assert "LOWER" in words
    assert "taller skid shoes" in mend
    above = SkidShoe(name="stilts", cut_height_m=0.2)
    words, mend = off_range(above, limits_of(TABLES["cut_heights.alfalfa"]))
    assert "lowest above it" in words
    assert mend == ""
