"""The checks when the cut is poor: their order, by hand, and that nothing unknown moves down."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_fields import TABLES, mower
from small_ledgers import AREA_OF, DAY, NO_HITS, book, hits

from fieldmap.advice.knife_change import knife_change_findings
from fieldmap.advice.poor_cut import asked_symptoms, poor_cut
from fieldmap.errors import MisuseError
from fieldmap.finding import Finding
from fieldmap.tables import load_tables
from fieldmap.words import plain_words

SYMPTOMS = [row.key.split(".", 1)[1] for row in TABLES.rows("cut_symptoms")]
CHECKS = {row.key.split(".", 1)[1]: row for row in TABLES.rows("poor_cut") if row.words["order"]}
LAST = "back to the maker's own setting"


def knives(*, mown_ha: float = 0.0, struck: int = 0, ledger: bool = True) -> list[Finding]:
    """What is told of knives after so many hectares and hits, the interval being 20 and 3."""
    rows = book((1, "m", "changed"), (2, "m", "mown", "", mown_ha)) if ledger else None
    log = hits(*[(3, ())] * struck) if struck else NO_HITS
    owner = mower(knife_interval_ha=20.0, knife_interval_strikes=3)
    told = knife_change_findings(owner, rows, log, day=DAY, area_of=AREA_OF, tables=TABLES)
    return [one.finding for one in told]


FRESH = knives()


def whats(*saw: str, speed_kmh: float | None = None, known: list[Finding] = FRESH) -> list[str]:
    return [one.what for one in checks(*saw, speed_kmh=speed_kmh, known=known)]


def checks(
    *saw: str, speed_kmh: float | None = None, known: list[Finding] = FRESH, **machine: object
) -> list[Finding]:
    return poor_cut(saw, speed_kmh=speed_kmh, machine=mower(**machine), knives=known, tables=TABLES)


def test_the_checks_of_the_trade_are_there_by_hand() -> None:
    """By hand: the list that practice goes through, the manual last."""
    assert set(CHECKS) >= {
        "too_fast", "too_slow", "knives_worn", "knives_broken", "knives_wrong_way",
        "knives_mixed", "guards", "tilt_float", "shoes", "shaft_speed", "drive_slipping",
        "crop_wet", "maker_setting",
    }  # fmt: skip
    orders = [int(row.words["order"]) for row in CHECKS.values()]
    assert sorted(set(orders)) == sorted(orders)
    assert max(CHECKS, key=lambda key: int(CHECKS[key].words["order"])) == "maker_setting"
    for row in CHECKS.values():
        assert row.source == "practice"
        assert set(filter(None, row.words["explains"].split(";"))) <= set(SYMPTOMS)
    explained = {one for row in CHECKS.values() for one in row.words["explains"].split(";")}
    assert explained >= set(SYMPTOMS)


def test_the_speed_range_referee() -> None:
    """Referee: 5 to 12 mph (handbook, from memory) and 7 to 14 mph (page on mowing speed)."""
    mph = 1.609344
    slow, fast = TABLES["poor_cut.slowest"], TABLES["poor_cut.fastest"]
    assert slow.value == slow.low == pytest.approx(5 * mph, abs=0.1)
    assert slow.high == pytest.approx(7 * mph, abs=0.1)
    assert fast.value == fast.low == pytest.approx(12 * mph, abs=0.4)
    assert fast.high == pytest.approx(14 * mph, abs=0.1)
    assert "disagree" in fast.note


def test_lumps_by_hand() -> None:
    """By hand: nothing known, so in the table's order what would explain lumps."""
    assert whats("lumps") == [
        "ground speed too slow",
        "guards and crop-guiding parts bent or out of place",
        "engine or shaft speed under the rated one",
        "drive slipping",
        "crop wet or lodged",
        LAST,
    ]


def test_soil_and_ground_by_hand() -> None:
    """By hand: three explain both; the knives' lift only the soil."""
    found = whats("soil in the swath", "knives hitting ground")
    assert found[:3] == [
        "cutterbar tilt or float",
        "skid shoes worn unevenly or not alike",
        "cut too low for this ground",
    ]
    assert found[3:] == ["knives of the wrong lift for this crop", LAST]


@pytest.mark.parametrize(
    ("speed_kmh", "first", "level"),
    [(25.0, "ground speed too fast", "care"), (19.0, "ground speed too fast", "unknown")],
)
def test_too_fast_by_hand(speed_kmh: float, first: str, level: str) -> None:
    """By hand: over 19 km/h it is known to be fast; at 19 it is still usual."""
    found = checks("ragged", speed_kmh=speed_kmh)[0]
    assert (found.what, found.level) == (first, level)
    assert (found.value, found.limit, found.unit) == (speed_kmh, 19.0, "km/h")


def test_the_machines_own_speed_counts_by_hand() -> None:
    """By hand: 14 km/h is usual, but not for a machine with a limit of 12."""
    found = checks("ragged", speed_kmh=14.0, field_speed_kmh=12.0)[0]
    assert (found.what, found.level, found.limit) == ("ground speed too fast", "care", 12.0)
    assert "this machine's own" in found.why


def test_too_slow_by_hand() -> None:
    """By hand: at 4 km/h lumps come of going slowly, and it was not too fast."""
    found = checks("lumps", "ragged", speed_kmh=4.0)
    assert (found[0].what, found[0].level) == ("ground speed too slow", "care")
    assert "ground speed too fast" not in [one.what for one in found]
    assert found[-1].what == LAST


@pytest.mark.parametrize("speed_kmh", [19.0, 25.0])
def test_nobody_is_sent_faster_at_the_limit_by_hand(speed_kmh: float) -> None:
    """By hand: at or over the fastest that is usual it is not too slow, whatever was seen."""
    assert "ground speed too slow" not in [w.what for w in checks("lumps", speed_kmh=speed_kmh)]


def test_knives_over_the_interval_come_first_by_hand() -> None:
    """By hand: even where something else explains more of it."""
    due = checks("soil", "ground", speed_kmh=25.0, known=knives(mown_ha=20.0))
    assert (due[0].what, due[0].level) == ("knives worn", "care")
    assert "interval is reached" in due[0].why
    struck = checks("lumps", known=knives(struck=1))
    assert [one.what for one in struck][:2] == ["knives broken or missing", "ground speed too slow"]
    both = whats("lumps", known=knives(mown_ha=30.0, struck=3))
    assert both[:2] == ["knives worn", "knives broken or missing"]


def test_knives_that_nobody_knows_of_come_first_by_hand() -> None:
    """By hand: no ledger, or nothing asked of it, is as good as due."""
    for known in ([], knives(ledger=False)):
        assert whats("lumps", known=known)[:2] == ["knives worn", "knives broken or missing"]


def test_words_of_people_by_hand() -> None:
    """By hand: label, key or another word for it; what means none is named with its neighbour."""
    assert asked_symptoms(["Ragged", "ragged or torn stems", "DIRT"], TABLES) == ("ragged", "soil")
    with pytest.raises(MisuseError) as caught:
        asked_symptoms(["lumpz", "frogs", "soil"], TABLES)
    assert [fault.value for fault in caught.value.faults] == ["lumpz", "frogs"]
    assert caught.value.faults[0].mend == "did you mean lumps?"
    assert "ragged, strips" in caught.value.faults[1].mend
    with pytest.raises(MisuseError, match="nothing was said"):
        asked_symptoms([], TABLES)


def test_no_word_means_two_symptoms_by_hand() -> None:
    """By hand: each word once in the table."""
    words = [
        name
        for row in TABLES.rows("cut_symptoms")
        for name in {
            plain_words(word)
            for word in (
                row.key.split(".")[1],
                row.words["label"],
                *row.words["aliases"].split(";"),
            )
        }
    ]
    assert len(words) == len(set(words))


SEEN = st.lists(st.sampled_from(SYMPTOMS), min_size=1, max_size=4)
SPEEDS = st.none() | st.floats(0.5, 40.0)
KNOWN = st.sampled_from([FRESH, knives(mown_ha=25.0), knives(struck=1), knives(ledger=False), []])


@given(SEEN, SPEEDS, KNOWN)
def test_every_answer_ends_with_the_manual_and_warns(
    saw: list[str], speed_kmh: float | None, known: list[Finding]
) -> None:
    """Property: key out before knives, each check once, and never called fine."""
    found = checks(*saw, speed_kmh=speed_kmh, known=known)
    assert found[-1].what == LAST
    assert len({one.what for one in found}) == len(found) > 1
    for one in found:
        assert "take the key out" in one.caution
        assert "no source" in one.caution
        assert one.level in ("care", "unknown")
        assert one.choice
        assert "practice" in one.sources
        assert not re.search(r"\bsafe", f"{one.why} {one.choice}", re.IGNORECASE)


@given(SEEN, SPEEDS, KNOWN)
def test_what_was_seen_is_a_set(
    saw: list[str], speed_kmh: float | None, known: list[Finding]
) -> None:
    """Property: order and repetition of the words change nothing."""
    one = whats(*saw, speed_kmh=speed_kmh, known=known)
    assert whats(*reversed(saw), *saw, speed_kmh=speed_kmh, known=known) == one


@given(SEEN, SPEEDS, st.sampled_from([knives(), knives(mown_ha=25.0), knives(struck=2)]))
def test_the_ledger_taken_away_never_moves_the_knives_down(
    saw: list[str], speed_kmh: float | None, known: list[Finding]
) -> None:
    """Property: both checks of the knives stand as high as before, or higher."""
    with_it = whats(*saw, speed_kmh=speed_kmh, known=known)
    without = whats(*saw, speed_kmh=speed_kmh, known=knives(ledger=False))
    assert without[:2] == ["knives worn", "knives broken or missing"]
    assert set(with_it) <= set(without)


def test_the_farms_own_speed_wins_by_hand() -> None:
    """By hand: a farm that says 24 km/h is usual is not told that 22 is fast."""
    own = load_tables().with_overrides({"poor_cut.fastest": 24.0})
    found = poor_cut(["ragged"], speed_kmh=22.0, machine=mower(), knives=FRESH, tables=own)
    assert (found[0].level, found[0].limit) == ("unknown", 24.0)
    assert "farm" in found[0].sources
