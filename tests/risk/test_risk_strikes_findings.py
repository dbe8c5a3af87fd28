"""Expected strikes, wraps and things in the forage, as findings."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_ground import TABLES
from test_risk_strikes_expected import at, logged, things, unseen

from fieldmap.finding import Finding, rank
from fieldmap.risk.strike_findings import NO_STONES, ByClass, strike_findings
from fieldmap.risk.strikes import Things, joined, kept, no_things
from fieldmap.risk.told import Told
from fieldmap.tables import Tables

WHATS = ["expected strikes", "expected wraps", "things that end in the forage"]


def told(
    held: Things,
    *missing: str,
    unlooked: bool = False,
    cut_m: float = 0.08,
    lift_m: float = 0.01,
    stony: ByClass = NO_STONES,
    tables: Tables = TABLES,
) -> list[Told]:
    """The three findings' Told."""
    return strike_findings(
        "F",
        held,
        missing,
        (cut_m, lift_m),
        unlooked=unlooked,
        stony=stony,
        sources=("hazards.gpkg",),
        tables=tables,
    )


def found(held: Things, *missing: str, **more: object) -> list[Finding]:
    """The three findings."""
    return [one.finding for one in told(held, *missing, **more)]


def test_the_figures_are_those_of_one_cut_by_hand() -> None:
    """By hand: the three sums, in things, each with its range."""
    held = joined(logged(("stone", 0.1), ("twine", 0.06)), unseen("flood_debris"))
    for one, what, ends in zip(found(held), WHATS, at(held), strict=True):
        assert (one.what, one.unit, one.where) == (what, "things", "F")
        assert (one.low, one.value, one.high) == pytest.approx(tuple(ends))
        assert one.level == "care"
        assert one.basis == "assumed"


def test_what_matters_most_is_named_by_hand() -> None:
    """By hand: a stone and a tyre marked tall, road litter unseen, a drum mown round."""
    held = joined(
        logged(("tyre", 0.9), ("stone", 0.9), ("drum", 0.9)), unseen("road_litter", chance=0.9)
    )
    why = found(held)[0].why
    assert "Marked: stone 1 (high, 1C), tyre 1 (serious, 3A)." in why
    assert "Unseen: tyre " in why  # serious, before the litter, of which there is more
    assert "1 mark that is kept out of is not counted" in why
    assert "drum" not in why
    assert "not counted" not in found(held)[1].why


def test_five_kinds_are_named_by_three_and_a_count_by_hand() -> None:
    """By hand: the gravest first."""
    kinds = ("stone", "post", "sheet_metal", "timber", "tyre")
    why = found(logged(*((kind, 0.9) for kind in kinds)))[0].why
    assert "(high, 1C) and 2 kinds more." in why
    assert "timber" not in why


def test_nothing_at_all_by_hand() -> None:
    """By hand: nothing reckoned with, nothing found against it; an unlooked field is unknown."""
    for one in found(no_things()):
        assert (one.level, one.value, one.high) == ("ok", 0.0, 0.0)
        assert "Nothing marked or reckoned with comes into it." in one.why
    for one in told(no_things(), unlooked=True):
        assert (one.finding.level, one.echo) == ("unknown", True)


def test_a_little_is_no_reason_for_care_by_hand() -> None:
    """By hand: a marked tyre (3) with one chance in a thousand to be met is of medium rank."""
    tyre = logged(("tyre", 0.08))
    rare = tyre._replace(count=tyre.count * 1e-3, count_low=tyre.count * 0)
    strikes = found(rare, cut_m=0.08)[0]
    assert (strikes.level, strikes.value) == ("ok", pytest.approx(0.0005))
    assert "tyre 0.0005 (medium, 3D)" in strikes.why


def test_many_of_several_kinds_are_care_together_by_hand() -> None:
    """By hand: of a tyre and a post 0.3 each: neither alone is half a thing met, both are."""
    tall = logged(("tyre", 0.9), ("post", 0.9))
    held = tall._replace(count=tall.count * 0.3, count_low=tall.count * 0.3)
    few = TABLES.with_overrides({f"strikes.harm_{at}": 1e-9 for at in (1, 2, 3, 4)})
    assert found(held, tables=few)[0].level == "care"
    one = kept(held, held.kind == "tyre")
    assert found(one, tables=few)[0].level == "ok"


def test_what_is_missing_leaves_neither_value_nor_upper_end_by_hand() -> None:
    """By hand: stones not reckoned: unknown, said, and an echo of the finding that asks for it."""
    for one in told(logged(("stone", 0.9), ("loose_wire", 0.9)), "stones, for nobody said"):
        finding = one.finding
        assert (finding.level, finding.value, finding.low, finding.high) == (
            "unknown", None, None, None,
        )  # fmt: skip
        assert "Not reckoned: stones, for nobody said. Of the rest " in finding.why
        assert one.echo


def test_an_unknown_setting_by_hand() -> None:
    """By hand: no cut height, nothing; no knife, the strikes alone."""
    held = logged(("stone", 0.9), ("loose_wire", 0.9))
    assert [one.level for one in found(held, cut_m=math.nan)] == ["unknown"] * 3
    assert [one.level for one in found(held, lift_m=math.nan)] == ["care", "unknown", "unknown"]
    assert "the cut height or the knife is not known" in found(held, cut_m=math.nan)[0].why


def test_sources_by_hand() -> None:
    """By hand: the log, the tool's own figures, the matrix; the farm's own shows as that."""
    held = joined(logged(("stone", 0.9)), unseen("elsewhere"))
    assert found(held)[0].sources == ("hazards.gpkg", "own", "milstd_882e")
    for key in ("knives.following_error", "strikes.height_error", "unseen_kinds.elsewhere_twine"):
        own = TABLES.with_overrides({key: 0.05})
        assert "farm" in found(held, tables=own)[0].sources, key
    own = TABLES.with_overrides({"strikes.raked_in": 0.05})
    assert ["farm" in one.sources for one in found(held, tables=own)] == [False, False, True]


def test_each_has_its_caution_by_hand() -> None:
    """By hand: what flies and what burns can kill; what is baled kills stock. Never a promise."""
    cautions = [one.caution for one in found(no_things())]
    assert [one.split(":")[0] for one in cautions] == ["WARNING", "WARNING", "CAUTION"]
    for text in [*cautions, *(one.why for one in found(logged(("stone", 0.9))))]:
        assert "safe" not in text.lower()


def _ranks(held: Things, **more: object) -> list[int]:
    return [rank(one.level) for one in found(held, **more)]


@given(held=things, at_=st.integers(0, 30))
def test_clearing_a_thing_never_raises_a_level_property(held: Things, at_: int) -> None:
    """Property: one thing less, no worse level and no greater figure."""
    if len(held.kind) == 0:
        return
    where = held.kind == held.kind
    where[at_ % len(where)] = False
    before, after = found(held), found(kept(held, where))
    for one, less in zip(before, after, strict=True):
        assert rank(less.level) <= rank(one.level)
        assert less.high <= one.high + 1e-9


@given(held=things, cut_m=st.floats(0.03, 0.3))
def test_knowing_less_never_improves_property(held: Things, cut_m: float) -> None:
    """Property: no cut height, no knife, ground not looked at, something missing."""
    before = _ranks(held, cut_m=cut_m)
    for less in (
        _ranks(held, cut_m=math.nan),
        _ranks(held, cut_m=cut_m, lift_m=math.nan),
        _ranks(held, cut_m=cut_m, unlooked=True),
        [rank(one.level) for one in found(held, "stones", cut_m=cut_m)],
    ):
        assert all(after >= level for after, level in zip(less, before, strict=True))


@given(
    kind=st.sampled_from([row.key.partition(".")[2] for row in TABLES.rows("hazard_kinds")]),
    height=st.floats(0, 1),
    cut_m=st.floats(0.03, 0.3),
)
def test_a_measured_height_lost_never_improves_property(
    kind: str, height: float, cut_m: float
) -> None:
    """Property: a mark that nobody measured is rated as if it were met."""
    before = found(logged((kind, height)), cut_m=cut_m)
    after = found(logged((kind, math.nan)), cut_m=cut_m)
    for one, less in zip(before, after, strict=True):
        assert rank(less.level) >= rank(one.level)
        assert less.high >= one.high - 1e-12
