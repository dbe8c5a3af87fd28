"""What is reckoned to be left in a field, told from plain arrays."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.finding import Finding, rank
from fieldmap.hazards.density import estimate
from fieldmap.risk.left import left_findings, two_people_findings
from fieldmap.risk.left_ground import Ground, Marks
from fieldmap.risk.left_words import few
from fieldmap.risk.told import GROUND_CAUTION
from fieldmap.tables import load_tables

TABLES = load_tables()
KINDS = [row.key.split(".", 1)[1] for row in TABLES.rows("hazard_kinds")]
SOURCES = set(TABLES.sources) | {"log.gpkg", "tracks"}


@dataclass(frozen=True)
class Case:
    """Four pieces of a hectare: dry, dry by the road, wet, wet by the road."""

    chance: tuple[float, ...] = (0.8, 0.8, 0.8, 0.8)
    kinds: tuple[str, ...] = ()
    hits: tuple[int, ...] = ()
    stoniness: float | None = 0.0
    roads: bool = True
    log: bool = True
    sward_m: float | None = 0.5
    tables: object = TABLES

    def findings(self) -> dict[str, Finding]:
        by_road = np.array([False, True, False, True])
        ground = Ground(
            np.full(4, 1e4),
            np.array([False, False, True, True]),
            by_road if self.roads else None,
        )
        told = left_findings(
            "F",
            ground,
            self.seen,
            self.marks() if self.log else None,
            stoniness=self.stoniness,
            sward_m=self.sward_m,
            log_name="log.gpkg",
            tables=self.tables,
        )
        return {one.finding.what: one.finding for one in told}

    def seen(self, sweep_m: float) -> np.ndarray:
        """Narrower sweeps see less: the chances are those of 3 m."""
        return np.array(self.chance) * min(sweep_m / 3.0, 1.0)

    def marks(self) -> Marks:
        every = np.ones(len(self.kinds), bool)
        hits = np.array([*self.hits, *[0] * (len(self.kinds) - len(self.hits))], int)
        return Marks(np.array(self.kinds, object), hits, every, every, every)


def test_each_source_on_its_ground_by_hand() -> None:
    """By hand: area and chance of each are its own pieces', the finds its own kinds'."""
    case = Case(
        chance=(0.5, 0.7, 0.8, 1.0),
        kinds=("stone", "post", "tyre", "well"),
        hits=(2, 0, 0, 9),
        stoniness=1.0,
    )
    told = case.findings()
    wanted = {
        "stones left": ("stones_1", (0.5, 0.7, 0.8, 1.0), 1, 2),
        "flood debris left": ("flood_debris", (0.8, 1.0), 2, 0),
        "loose things left": ("elsewhere", (0.5, 0.7), 2, 0),
        "road litter left": ("road_litter", (0.7, 1.0), 1, 0),
    }
    assert set(told) == set(wanted)
    for what, (thing, chance, found, hits) in wanted.items():
        area = np.full(len(chance), 1e4)
        one = estimate(thing, "", area, chance, found=found, hits=hits, tables=TABLES)
        got = told[what]
        assert (got.value, got.low, got.high) == (one.left, one.left_low, one.left_high)
        assert got.limit == pytest.approx(len(chance))
        assert f"{found} found" in got.why


def test_levels_by_hand() -> None:
    """By hand: well looked at and bare is ok; badly is unknown; many finds are care."""
    bare = Case().findings()
    assert {one.level for one in bare.values()} == {"ok"}
    assert {one.level for one in Case(chance=(0.5,) * 4).findings().values()} == {"unknown"}
    # 40 finds at 0.8 on two hectares leave ten: five on a hectare
    many = Case(kinds=("post",) * 40).findings()
    assert (many["flood debris left"].level, many["stones left"].level) == ("care", "ok")


def test_only_the_wet_ground_not_looked_at_by_hand() -> None:
    """By hand: the dry half is walked, the wet half not: debris is unknown, the rest dry is not."""
    told = Case(chance=(0.9, 0.9, 0.0, 0.0)).findings()
    assert told["flood debris left"].level == "unknown"
    assert told["loose things left"].level == "ok"
    assert told["flood debris left"].value == pytest.approx(
        2 * TABLES.number("density.flood_debris")
    )


def test_without_a_log_class_or_roads_it_is_unknown_by_hand() -> None:
    """By hand: each lack is told, and nothing is reckoned for it."""
    no_log = Case(log=False).findings()
    assert [(one.level, one.value) for one in no_log.values()] == [("unknown", None)]
    for lack, what in (
        ({"stoniness": None}, "stones left"),
        ({"stoniness": float("nan")}, "stones left"),
        ({"roads": False}, "road litter left"),
    ):
        one = replace(Case(), **lack).findings()[what]
        assert (one.level, one.value) == ("unknown", None)


def test_a_stony_class_is_care_even_where_no_stone_was_written_down() -> None:
    """By hand: class 1 stands for 20 on a hectare; four in ten of them unseen are over one."""
    told = Case(chance=(0.9,) * 4, stoniness=1.0).findings()["stones left"]
    assert told.level == "care"
    assert told.value < told.limit
    assert "Fewer were written down than the class stands for" in told.why
    # a class between two is the stonier; the farm's own density in its place promises no least
    assert "Stoniness class 2" in Case(stoniness=1.2).findings()["stones left"].why
    own = TABLES.with_overrides({"density.stones_1": 5})
    assert Case(chance=(0.9,) * 4, stoniness=1.0, tables=own).findings()["stones left"].level == (
        "ok"
    )


@pytest.mark.parametrize(
    ("number", "cansis", "nrcs"),
    # CanSIS, page on surface stoniness; NRCS Soil Survey Manual, from memory
    [(1, "slightly stony", "stony or bouldery"), (3, "very stony", "extremely stony")],
)
def test_a_class_is_named_in_both_systems_referee(number: int, cansis: str, nrcs: str) -> None:
    """Referee: the two systems give one cover two names."""
    told = Case(stoniness=float(number)).findings()["stones left"]
    assert f"{cansis} in CanSIS" in told.why
    assert f"the same cover is {nrcs}" in told.why
    assert {"cansis_stoniness", "nrcs_stoniness", "stone_density"} <= set(told.sources)


def test_class_0_has_no_name_recalled_in_nrcs_by_hand() -> None:
    told = Case(stoniness=0.0).findings()["stones left"]
    assert "nonstony in CanSIS." in told.why
    assert "NRCS" not in told.why


def test_the_hardest_kind_is_told_beside_by_hand() -> None:
    """By hand: wire has half the sweep of litter in tall grass: 80 % becomes 40 %."""
    told = Case().findings()
    assert "see 80% of such things (of the hardest to see, loose wire: 40%)" in (
        told["flood debris left"].why
    )
    # of what comes with the ground a stone is the hardest, and the figure is its own
    assert "see 80% of such things. " in told["stones left"].why


def test_the_chance_is_of_the_hardest_that_is_looked_for_by_hand() -> None:
    """By hand: 3 m for stones and litter in tall grass, 1.5 m for the hardest; 8 m in short."""
    asked: list[float] = []

    def chance(sweep_m: float) -> np.ndarray:
        asked.append(sweep_m)
        return np.ones(1)

    ground = Ground(np.ones(1), np.array([True]), np.zeros(1, bool))
    marks = replace(Case(), kinds=()).marks()
    for sward_m, widths in ((None, {3.0, 1.5}), (0.05, {8.0, 4.0})):
        asked.clear()
        left_findings("F", ground, chance, marks, stoniness=0, sward_m=sward_m,
                      log_name="log.gpkg", tables=TABLES)  # fmt: skip
        assert set(asked) == widths


def test_every_figure_has_its_source_and_caution_by_hand() -> None:
    """By hand: sources are known keys, the log or the tracks; the caution is the ground's."""
    case = Case(stoniness=2.0, kinds=("stone", "unknown"))
    for one in case.findings().values():
        assert one.sources
        assert set(one.sources) <= SOURCES
        assert {"log.gpkg", "tracks", "own"} <= set(one.sources)
        assert one.caution == GROUND_CAUTION
        assert (one.unit, one.basis, one.where) == ("count", "assumed", "F")
        # the stone is found once and on stony ground alone; what nobody can name is told apart
        assert ("at least the 1 found" in one.why) == (one.what == "stones left")
        assert "1 mark of unknown kind counts for none of these" in one.why
        assert "assumed before looking" in one.why


def test_marks_of_unknown_kind_are_no_stones_by_hand() -> None:
    """By hand: sixty of them leave the count of stones as it is, and the answer unknown."""
    seen, many = (0.9,) * 4, ("unknown",) * 60
    bare, nameless = Case(chance=seen), Case(chance=seen, kinds=many)
    stones = Case(chance=seen, kinds=("stone",) * 60).findings()["stones left"]
    before, told = (case.findings()["stones left"] for case in (bare, nameless))
    assert (told.value, told.low) == (before.value, before.low)
    assert told.high == stones.high
    assert (before.level, told.level, stones.level) == ("ok", "unknown", "care")
    assert "0 found" in told.why
    span = f"{few(stones.value)} (up to {few(stones.high)})"
    assert f"counted too, {span} would be reckoned to lie unseen" in told.why


def test_the_farms_own_figure_is_named_by_hand() -> None:
    """By hand: an override is the source, and moves the answer."""
    own = TABLES.with_overrides({"density.flood_debris": 90})
    told, before = (Case(tables=held).findings()["flood debris left"] for held in (own, TABLES))
    assert "farm" in told.sources
    assert told.value > before.value


cases = st.builds(
    Case,
    chance=st.tuples(*[st.floats(0, 1)] * 4),
    kinds=st.lists(st.sampled_from(KINDS), max_size=25).map(tuple),
    hits=st.just(()),
    stoniness=st.none() | st.floats(0, 5),
    roads=st.booleans(),
    sward_m=st.none() | st.floats(0, 1),
)


def _levels(case: Case) -> dict[str, int]:
    return {what: rank(one.level) for what, one in case.findings().items()}


def _improved(less: Case, more: Case) -> list[str]:
    """What got a better level though less is known."""
    before, after = _levels(more), _levels(less)
    return [
        what
        for what, level in before.items()
        if after.get(what, after.get("things left", -1)) < level
    ]


@given(case=cases, share=st.floats(0, 1))
def test_fewer_walks_never_improve_property(case: Case, share: float) -> None:
    """Property: smaller chances, no level better and no fewer reckoned left."""
    less = replace(case, chance=tuple(share * one for one in case.chance))
    assert _improved(less, case) == []
    before, after = case.findings(), less.findings()
    for what, one in before.items():
        if one.value is not None:
            assert after[what].value >= one.value * (1 - 1e-9)


@given(case=cases)
def test_knowing_less_never_improves_property(case: Case) -> None:
    """Property: no stoniness, no roads, no log, no height of the crop."""
    for lack in ({"stoniness": None}, {"roads": False}, {"log": False}, {"sward_m": None}):
        assert _improved(replace(case, **lack), case) == []


@given(case=cases.filter(lambda case: case.kinds), at=st.integers(0, 24))
def test_a_find_taken_away_property(case: Case, at: int) -> None:
    """Property: it may lower the count, but what nobody looked at stays unknown.

    What is unknown for its nameless finds alone may be care without one of them, or nothing.
    """
    at %= len(case.kinds)
    less = replace(case, kinds=case.kinds[:at] + case.kinds[at + 1 :])
    before, after = case.findings(), less.findings()
    assert set(before) == set(after)
    for what, one in before.items():
        if one.level == "unknown" and "of unknown kind" not in one.why:
            assert after[what].level == "unknown"
        if one.value is not None:
            assert after[what].value <= one.value
            assert after[what].high <= one.high


@given(case=cases.filter(lambda case: case.kinds), at=st.integers(0, 24), more=st.integers(1, 9))
def test_hits_and_names_lost_never_improve_property(case: Case, at: int, more: int) -> None:
    """Property: a thing that was hit counts no less; a name lost leaves level and high end."""
    at %= len(case.kinds)
    hit = replace(case, hits=(0,) * at + (more,))
    nameless = replace(case, kinds=(*case.kinds[:at], "unknown", *case.kinds[at + 1 :]))
    before = case.findings()
    for changed in (hit, nameless):
        assert _improved(changed, case) == []
        for what, one in changed.findings().items():
            if one.value is not None:
                assert one.high >= before[what].high * (1 - 1e-9)
    for what, one in hit.findings().items():
        if one.value is not None:
            assert one.value >= before[what].value


@given(case=cases)
def test_figures_are_in_order_property(case: Case) -> None:
    """Property: never fewer than none; the limit is that of the area; ``ok`` is under it."""
    for one in case.findings().values():
        if one.value is None:
            continue
        assert 0 <= one.low <= one.high
        assert one.value >= 0
        assert one.limit > 0
        if one.level == "ok":
            assert one.value < one.limit


def _two(ann: int, bo: int, both: int, *, found: int = 0, area_ha: float = 5.0) -> list[Finding]:
    alone = {f"a{n}": {"Ann"} for n in range(ann - both)}
    alone |= {f"b{n}": {"Bo"} for n in range(bo - both)}
    log = alone | {f"x{n}": {"Ann", "Bo"} for n in range(both)}
    told = two_people_findings(
        "F", log, found=found, area_ha=area_ha, log_name="log.gpkg", tables=TABLES
    )
    return [one.finding for one in told]


def test_two_people_referee() -> None:
    """Referee: Chapman's 39.385 and 30.34 to 48.43 out of 24, 20 and 12; found 32, so 32 to 48.43.

    7.4 more than were found are over one a hectare on 5 ha, not on 10.
    """
    (one,) = _two(24, 20, 12)
    assert one.value == pytest.approx(39.385, abs=5e-4)
    assert (one.low, one.high) == pytest.approx((32, 48.43), abs=0.01)
    assert (one.level, one.limit) == ("care", 37.0)
    assert _two(24, 20, 12, area_ha=10.0)[0].level == "ok"
    for words in ("Ann found 24, Bo 20, both of them 12", "neither knew", "at least this"):
        assert words in one.why


def test_two_people_never_fewer_than_the_log_holds_by_hand() -> None:
    """By hand: 60 marks count in the field, though the two found but 32 of them lately."""
    (one,) = _two(24, 20, 12, found=60)
    assert (one.value, one.low, one.high) == (60.0, 60.0, 60.0)


def test_one_person_makes_no_such_finding_by_hand() -> None:
    """By hand: nothing is said; where two had nothing in common that is said."""
    assert _two(4, 0, 0) == []
    (one,) = _two(3, 4, 0)
    assert "nothing in common" in one.why
    assert one.level == "care"
