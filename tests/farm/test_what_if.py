"""What if: another machine, a shoe, knives, marks cleared; on the invented farm and a small one."""

from __future__ import annotations

import dataclasses
import hashlib
import shutil
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from what_if_pieces import DAY, small_farm, with_finds

from fieldmap.assessment import Assessment, assess
from fieldmap.errors import MisuseError
from fieldmap.farm import Farm, load_farm
from fieldmap.finding import rank
from fieldmap.intake import take_in
from fieldmap.logbook import Word, clear
from fieldmap.supposing import MARK_CAUTION, WhatIf, what_if
from fieldmap.tables import load_tables

MACHINE = "pull-39"
NOON = datetime(2026, 6, 9, 17, tzinfo=UTC)
KINDS = [row.key.split(".", 1)[1] for row in load_tables().rows("hazard_kinds")]


def copied(source: Path, folder: Path) -> Farm:
    leave = shutil.ignore_patterns("makers", "*.py", "outputs", "hazards.gpkg*", "pictures")
    shutil.copytree(source, folder, ignore=leave)
    take_in(load_farm(folder, with_roads=False), sorted((folder / "found").glob("*.*")))
    return load_farm(folder)


@pytest.fixture(scope="module")
def demo(demo_geodata: Path, tmp_path_factory: pytest.TempPathFactory) -> Farm:
    """The invented farm with all its finds; tests must not write into it."""
    return copied(demo_geodata, tmp_path_factory.mktemp("what_if") / "farm")


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Farm:
    return small_farm(tmp_path_factory.mktemp("small"))


def row(found: WhatIf, field_id: str) -> pd.Series:
    return found.table.set_index("field_id").loc[field_id]


def check_same(one: Assessment, other: Assessment) -> None:
    """Everything a person is told of the fields is the same."""
    pd.testing.assert_frame_equal(one.table, other.table)
    for mine, theirs in zip(one.answers, other.answers, strict=True):
        assert mine.findings == theirs.findings
        assert mine.settings == theirs.settings
        assert mine.to_change == theirs.to_change
        assert mine.marks == theirs.marks


def test_by_hand_picking_up_ends_the_stop_of_s4(demo: Farm) -> None:
    """By hand: all five marks of S4 may be picked up; without them nothing says stop."""
    found = what_if(demo, day=DAY, machine_id=MACHINE, field_ids=["S4"], cleared=["all"])
    one = row(found, "S4")
    assert (one["marks_before"], one["marks_after"], one["marks_difference"]) == (5, 0, -5)
    assert one["level_before"] == "stop"
    assert rank(one["level_after"]) < rank("stop")
    assert one["change"] == "better"
    assert one["reason_before"] != one["reason_after"]
    assert sum(line.startswith("Pick up first") for line in one["gone"]) == 5
    assert {change.what for change in found.findings["S4"] if change.level_after == ""} == {
        "litter", "sheet metal", "stone", "timber", "twine or net",
    }  # fmt: skip
    assert len(found.cleared) == 5
    assert found.cautions == (MARK_CAUTION,)
    assert "5 marks are taken as cleared" in found.assumed[0]


def test_by_hand_what_must_not_be_touched_is_not_wished_away(demo: Farm) -> None:
    """By hand: in S1 lie two drums; "all" leaves them, and each goes by its own id alone."""
    found = what_if(demo, day=DAY, machine_id=MACHINE, field_ids=["S1"], cleared=["all"])
    one = row(found, "S1")
    assert one["level_after"] == "stop"
    assert "drum or cylinder" in one["reason_after"]
    assert "glass" in one["reason_before"]
    assert "glass" not in one["reason_after"]
    assert any("must not be touched" in note and "drum" in note for note in found.notes)
    drums = demo.hazards.loc[demo.hazards["kind"] == "drum", "hazard_id"]
    named = what_if(demo, day=DAY, machine_id=MACHINE, field_ids=["S1"], cleared=["all", *drums])
    assert "drum" not in row(named, "S1")["reason_after"]
    assert any("only on their word" in note for note in named.notes)


def test_referee_the_log_says_the_same_after_a_real_clearing(
    demo: Farm, demo_geodata: Path, tmp_path: Path
) -> None:
    """Referee: the marks cleared in the log of a copy, which is then assessed from its files.

    All twelve fields, so that those which are not asked a second time are held to it too.
    """
    names = ["F03", "F09", "R20", "R01"]
    found = what_if(demo, day=DAY, machine_id=MACHINE, cleared=names)
    copy = copied(demo_geodata, tmp_path / "copy")
    clear(copy, names, Word("Ada", NOON))
    really = assess(load_farm(copy.folder), day=DAY, machine_id=MACHINE)
    check_same(found.after, really)
    check_same(found.before, assess(demo, day=DAY, machine_id=MACHINE))
    again = {one.field_id for one in found.after.answers} - {
        one.field_id
        for one, two in zip(found.before.answers, found.after.answers, strict=True)
        if one is two
    }
    reached = {name for mark in found.cleared for name in mark.fields}
    assert again == reached
    assert 0 < len(again) < 12


def test_by_hand_the_same_machine_changes_nothing(demo: Farm) -> None:
    """By hand: the same machine put in its own place; and two assessments made one by one."""
    ids = ["S4", "S8", "S12"]
    found = what_if(demo, day=DAY, machine_id=MACHINE, field_ids=ids, other_machine=MACHINE)
    assert found.counts() == {"worse": 0, "better": 0, "figures": 0, "none": 3}
    apart = dataclasses.replace(
        found, after=assess(demo, day=DAY, machine_id=MACHINE, field_ids=ids)
    )
    assert all(
        one is not two for one, two in zip(apart.before.answers, apart.after.answers, strict=True)
    )
    assert apart.counts()["none"] == 3
    assert not any(apart.findings.values())


def test_referee_another_machine_is_that_machine(demo: Farm) -> None:
    """Referee: the assessment for the other machine, asked for by itself."""
    ids = ["S8", "S10"]
    found = what_if(demo, day=DAY, machine_id=MACHINE, field_ids=ids, other_machine="wide-87")
    check_same(found.after, assess(demo, day=DAY, machine_id="wide-87", field_ids=ids))
    assert row(found, "S8")["mowing_min_difference"] < 0  # 8.7 m where it was 3.9 m
    assert found.assumed[0].startswith("Front-and-rear combination")
    assert MARK_CAUTION not in found.cautions


def test_by_hand_one_shoe_alone_gives_its_cut_height(demo: Farm) -> None:
    """By hand: the base shoe of machines.toml cuts at 0.051 m, on S8 the middle one is advised."""
    found = what_if(demo, day=DAY, machine_id=MACHINE, field_ids=["S8"], shoe="base")
    one = row(found, "S8")
    assert (one["skid_shoe_after"], one["cut_height_m_after"]) == ("base", 0.051)
    machine = found.after.machine
    assert machine is not None
    assert [shoe.name for shoe in machine.skid_shoes] == ["base"]
    assert machine.fitted_shoe == "middle"  # what is on it now stays so: changing it costs
    assert "2.0 in" in found.assumed[0]


def test_by_hand_knives_alone(demo: Farm, small: Farm) -> None:
    """By hand: only these; a machine whose knives nobody listed may be given either."""
    found = what_if(demo, day=DAY, machine_id=MACHINE, field_ids=["S4"], knives="high_lift")
    machine = found.after.machine
    assert machine is not None
    assert machine.knives == ("high_lift",)
    given_some = what_if(small, day=DAY, machine_id="wide", knives="low_lift").after.machine
    assert given_some is not None
    assert given_some.knives == ("low_lift",)


def test_by_hand_a_wider_machine_is_reached_by_more(small: Farm) -> None:
    """By hand: 10.19 m of position and half of 3 m fall short of a stone 13 m off, of 9 m not."""
    farm = with_finds(small, ("far", "stone", -13.0, 30.0), ("east", "stone", 200.0, 30.0))
    found = what_if(farm, day=DAY, machine_id="narrow", other_machine="wide")
    assert (row(found, "A")["marks_before"], row(found, "A")["marks_after"]) == (0, 1)
    assert found.table["field_id"].tolist() == ["A", "B"]
    assert found.table["change"].tolist()[0] == "worse"
    assert row(found, "A")["level_after"] == "stop"
    assert "Pick up first: 1 x stone (a pair of gloves)" in row(found, "A")["new"]


def test_by_hand_every_fault_at_once_with_names(demo: Farm) -> None:
    """By hand: machine, field and mark that are not there; the words list what is."""
    with pytest.raises(MisuseError) as error:
        what_if(demo, day=DAY, other_machine="big", field_ids=["S77"], cleared=["Z9"])
    mends = {fault.value: fault.mend for fault in error.value.faults}
    assert set(mends) == {"big", "S77", "Z9"}
    assert "wide-87" in mends["big"]
    assert "S12" in mends["S77"]
    assert "hazards list" in mends["Z9"]
    with pytest.raises(MisuseError, match="base, middle, high"):
        what_if(demo, day=DAY, machine_id=MACHINE, shoe="tall")
    with pytest.raises(MisuseError, match="use one of low_lift"):
        what_if(demo, day=DAY, machine_id="wide-87", knives="high_lift")
    with pytest.raises(MisuseError, match="low_lift, high_lift"):
        what_if(demo, day=DAY, machine_id=MACHINE, knives="blunt")  # type: ignore[arg-type]
    with pytest.raises(MisuseError, match="nothing to change"):
        what_if(demo, day=DAY, machine_id=MACHINE)


def test_by_hand_without_machines_there_is_nothing_to_fit(small: Farm) -> None:
    """By hand: no machines file; a shoe cannot be fitted, a mark can be cleared all the same."""
    farm = dataclasses.replace(with_finds(small, ("one", "stone", 50.0, 30.0)), machines=())
    with pytest.raises(MisuseError, match="no machine to fit it to"):
        what_if(farm, day=DAY, shoe="base")
    found = what_if(farm, day=DAY, cleared=["one"])
    assert row(found, "A")["level_before"] == "stop"
    assert row(found, "A")["level_after"] == "unknown"
    assert row(found, "B")["change"] == "none"


def test_by_hand_nothing_is_written(demo: Farm) -> None:
    """By hand: every file of the folder has the bytes it had."""

    def bytes_of() -> dict[str, str]:
        files = (path for path in demo.folder.rglob("*") if path.is_file())
        return {str(path): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}

    before, events = bytes_of(), len(demo.events)
    what_if(demo, day=DAY, machine_id=MACHINE, field_ids=["S4"], cleared=["all"], shoe="base")
    assert bytes_of() == before
    assert len(demo.events) == events


def test_by_hand_the_day_decides_what_stands(demo_geodata: Path, tmp_path: Path) -> None:
    """By hand: cleared at noon; on that day a word says so, the day before it still stood."""
    copy = copied(demo_geodata, tmp_path / "farm")
    clear(copy, ["F28"], Word("Ada", NOON))
    farm = load_farm(copy.folder)
    asked = {"machine_id": MACHINE, "field_ids": ["S4"], "cleared": ["F28"]}
    same_day = what_if(farm, day=DAY, **asked)  # type: ignore[arg-type]
    assert same_day.cleared == ()
    assert same_day.notes == ("F28 was cleared before: nothing changes by it",)
    assert same_day.counts()["none"] == 1
    earlier = what_if(farm, day=DAY - timedelta(days=1), **asked)  # type: ignore[arg-type]
    assert [mark.hazard_id for mark in earlier.cleared] == ["F28"]
    assert row(earlier, "S4")["marks_difference"] == -1


def test_by_hand_a_mark_elsewhere_and_no_log(demo: Farm, small: Farm) -> None:
    """By hand: a guy wire that is far from S4; a farm without a log."""
    found = what_if(demo, day=DAY, machine_id=MACHINE, field_ids=["S4"], cleared=["R20"])
    assert found.notes == ("R20 reaches none of the fields asked for: nothing changes by it",)
    assert found.counts()["none"] == 1
    bare = what_if(small, day=DAY, cleared=["all"])
    assert "no hazard log" in bare.notes[0]
    assert bare.counts()["none"] == 2
    assert "No mark is taken as cleared" in bare.assumed[0]


def test_by_hand_a_mark_that_told_of_rough_ground(small: Farm) -> None:
    """By hand: nobody gave the stoniness; without the stone nobody knows what can hit the knives.

    The field gets no worse, and the knife is ``unknown`` then, never fine.
    """
    blank = dataclasses.replace(small, fields=small.fields.assign(stoniness=float("nan")))
    farm = with_finds(blank, ("one", "stone", 50.0, 30.0))
    found = what_if(farm, day=DAY, machine_id="narrow", cleared=["one"])
    assert (row(found, "A")["level_before"], row(found, "A")["level_after"]) == ("stop", "unknown")
    knife = next(one for one in found.after.answers[0].settings if one.what == "knife")
    assert knife.level == "unknown"


def held(found: WhatIf, field_id: str) -> tuple[str, ...]:
    one = row(found, field_id)
    return tuple(str(one[f"{name}_after"]) for name in ("cut_height_m", "skid_shoe", "knife"))


def test_property_each_mark_more_never_worse(demo: Farm) -> None:
    """Property: the marks of S4 cleared one after the other, each time no worse than before.

    Strikes are only held to it where the mower is set as before: ground without marks may argue
    for a lower cut.
    """
    marks = what_if(demo, day=DAY, machine_id=MACHINE, field_ids=["S4"], cleared=["all"]).cleared
    names = [mark.hazard_id for mark in marks]
    found = [
        what_if(demo, day=DAY, machine_id=MACHINE, field_ids=["S4"], cleared=names[:count])
        for count in (1, 3, 5)
    ]
    levels = [rank(row(one, "S4")["level_after"]) for one in found]
    assert levels == sorted(levels, reverse=True)
    assert [row(one, "S4")["marks_after"] for one in found] == [4, 2, 0]
    for less, more in pairwise(found):
        if "strikes_after" in more.table and held(less, "S4") == held(more, "S4"):
            assert row(more, "S4")["strikes_after"] <= row(less, "S4")["strikes_after"] + 1e-9


places = st.tuples(st.sampled_from(KINDS), st.floats(-20, 260), st.floats(-20, 80))


@settings(max_examples=25)
@given(finds=st.lists(places, min_size=1, max_size=5), picked=st.sets(st.integers(0, 4)))
def test_property_clearing_never_raises_a_level(
    small: Farm, finds: Sequence[tuple[str, float, float]], picked: set[int]
) -> None:
    """Property: whatever lies there, wherever, whichever of it is cleared; stoniness is known."""
    farm = with_finds(small, *((f"M{n}", kind, x, y) for n, (kind, x, y) in enumerate(finds)))
    names = [f"M{n}" for n in sorted(picked) if n < len(finds)] or ["M0"]
    found = what_if(farm, day=DAY, machine_id="narrow", cleared=names)
    assert found.counts()["worse"] == 0
    assert not [one for told in found.findings.values() for one in told if one.way == "worse"]
    assert (found.table["marks_after"] <= found.table["marks_before"]).all()


def test_by_hand_the_day_is_the_one_asked(demo: Farm) -> None:
    found = what_if(demo, day=date(2026, 6, 8), field_ids=["S4"], cleared=["F28"])
    assert found.before.day == found.after.day == date(2026, 6, 8)
    assert found.before.machine == demo.machines[0]
