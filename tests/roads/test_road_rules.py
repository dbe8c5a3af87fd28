"""The user's own rules at a width and an hour; hours of the week; what the settings refuse."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.errors import InputError
from fieldmap.finding import rank
from fieldmap.hours import DAYS, hours_of, stretches_within
from fieldmap.read.road_rules import KNOWN, WIDTH_RULES, checked_rules
from fieldmap.read.settings import read_farm_settings
from fieldmap.roads.rules import RULES, Drive, barred_stretches, rules_findings

CHICAGO = ZoneInfo("America/Chicago")
HOME = (-92.9, 40.6)
MONDAY = datetime(2026, 6, 8, tzinfo=CHICAGO)
NOON = MONDAY.replace(hour=12)


def asked(rules, *, width=3.0, at=NOON, minutes=30.0, zone=CHICAGO):
    drive = Drive(at, minutes, zone, HOME)
    return rules_findings({"source": "the county office"} | rules, drive, width_m=width)


def levels(rules, **more):
    return [one.level for one in asked(rules, **more)]


def test_by_hand_nothing_is_invented():
    assert asked({}) == []
    assert asked({}, width=None, at=None) == []


@pytest.mark.parametrize("key", RULES)
def test_by_hand_a_rule_begins_over_its_width(key):
    worst = "stop" if key == "barred_over_width_m" else "care"
    assert levels({key: 3.0}) == []
    assert levels({key: 2.99}) == [worst]
    assert levels({key: 3.0}, width=None) == ["unknown"]


def test_by_hand_a_rule_says_where_it_was_read_or_that_nobody_noted_it():
    (one,) = asked({"flags_over_width_m": 2.5})
    assert "the county office" in one.why
    assert (one.value, one.limit, one.unit, one.sources) == (3.0, 2.5, "m", ("farm",))
    (bare,) = rules_findings({"flags_over_width_m": 2.5}, Drive(None, None, UTC, HOME), width_m=3.0)
    assert "nobody noted where" in bare.why


def test_by_hand_a_notice_is_given_so_many_days_before():
    rules = {"notice_over_width_m": 2.5, "notice_days": 2}
    assert "by 2026-06-06" in asked(rules)[0].why
    assert "Days before: 2." in asked(rules, at=None)[0].why


@pytest.mark.parametrize(
    ("hour", "minutes", "level"),
    [(12, 30.0, "care"), (4, 30.0, "stop"), (20, 60.0, "stop"), (12, None, "unknown"),
     (12, 24 * 60.0, "stop"), (6, 30.0, "care")],
)  # fmt: skip
def test_by_hand_daylight_only(hour, minutes, level):
    """By hand: sunrise 05:41, sunset 20:37 on the day."""
    rules = {"daylight_only_over_width_m": 2.5}
    assert levels(rules, at=MONDAY.replace(hour=hour), minutes=minutes) == [level]


def test_by_hand_daylight_only_with_something_missing():
    rules = {"daylight_only_over_width_m": 2.5}
    assert levels(rules, at=None) == ["unknown"]
    assert levels(rules, width=None, at=MONDAY.replace(hour=3)) == ["unknown"]
    assert levels(rules, width=2.5) == []


SCHOOL = {"barred_hours": ["07:00-09:00", "Mo-Fr 15:30-17:00"]}


@pytest.mark.parametrize(
    ("day", "clock", "minutes", "level"),
    [
        (8, "06:00", 30.0, "ok"),
        (8, "06:00", 60.0, "stop"),  # comes into it
        (8, "07:30", 5.0, "stop"),
        (8, "08:59", 5.0, "stop"),
        (8, "09:00", 5.0, "ok"),
        (8, "06:00", 600.0, "stop"),  # right through it
        (8, "15:29", 1.0, "stop"),
        (13, "16:00", 5.0, "ok"),  # a Saturday
        (13, "08:00", 5.0, "stop"),
        (8, "12:00", None, "unknown"),
        (8, "16:00", None, "stop"),
    ],
)
def test_by_hand_barred_hours(day, clock, minutes, level):
    hour, minute = map(int, clock.split(":"))
    at = datetime(2026, 6, day, hour, minute, tzinfo=CHICAGO)
    assert levels(SCHOOL, at=at, minutes=minutes) == [level]


def test_by_hand_barred_hours_with_something_missing_or_for_wide_machines_only():
    at = MONDAY.replace(hour=8)
    assert levels(SCHOOL, at=None) == ["unknown"]
    wide = SCHOOL | {"barred_hours_over_width_m": 2.8}
    assert levels(wide, at=at) == ["stop"]
    assert levels(wide, at=at, width=2.8) == []
    assert levels(wide, at=at, width=None) == ["unknown"]


def test_by_hand_the_hour_is_the_farms_own_whatever_zone_the_time_comes_in():
    at = MONDAY.replace(hour=8).astimezone(UTC)
    assert levels(SCHOOL, at=at) == ["stop"]
    assert "07:00 to 09:00 CDT" in asked(SCHOOL, at=at)[0].why


def test_by_hand_hours_over_midnight():
    """By hand: Saturday night to six belongs to Saturday."""
    night = ["Sa 22:00-06:00"]
    sunday = datetime(2026, 6, 7, tzinfo=CHICAGO)
    for hour, met in ((-3, False), (-2, True), (5, True), (6, False), (23, False)):
        at = sunday + timedelta(hours=hour)
        assert bool(barred_stretches(night, at, at, CHICAGO)) is met, at


def test_by_hand_the_night_on_which_the_clock_is_put_forward_and_the_one_it_is_put_back():
    """By hand: 8 March and 1 November 2026; 00:00 to 04:00 take three hours, then five."""
    hours = hours_of("00:00-04:00")
    for day, long in ((date(2026, 3, 8), 3), (date(2026, 11, 1), 5), (date(2026, 6, 8), 4)):
        begin, end = hours.on(day, CHICAGO)
        assert end - begin == timedelta(hours=long)
    gone = hours_of("02:10-02:50").on(date(2026, 3, 8), CHICAGO)
    assert gone is not None  # no such time on the clock; still no crash
    twice = datetime(2026, 11, 1, 1, 30, tzinfo=CHICAGO, fold=1)
    assert barred_stretches(["00:00-04:00"], twice, twice, CHICAGO)


@pytest.mark.parametrize(
    "text",
    ["", "7-9", "07:00", "07:00-25:00", "24:00-07:00", "07:60-08:00", "07:00-07:00",
     "Mon 07:00-09:00", "Mo-Fr07:00-09:00", "PH 07:00-09:00", "Mo 07:00-09:00; Tu 08:00-09:00",
     "07:00\u201309:00"],
)  # fmt: skip
def test_by_hand_what_is_no_hours(text):
    with pytest.raises(ValueError, match="is no hours"):
        hours_of(text)


@given(
    st.integers(0, 6), st.integers(0, 6), st.integers(0, 1439), st.integers(1, 1440),
    st.integers(0, 365 * 24 * 60), st.integers(0, 3000),
)  # fmt: skip
def test_property_a_longer_time_on_the_road_never_meets_fewer_barred_hours(
    first, last, begin, end, at, minutes
):
    if begin == end:
        return
    text = (
        f"{DAYS[first]}-{DAYS[last]} {begin // 60:02}:{begin % 60:02}-{end // 60:02}:{end % 60:02}"
    )
    start = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=at)
    hours = hours_of(text)
    short = list(stretches_within(hours, start, start, CHICAGO))
    until = start + timedelta(minutes=minutes)
    long = list(stretches_within(hours, start, until, CHICAGO))
    assert set(short) <= set(long)
    assert all(one <= until and start < two for one, two in long)


@given(st.floats(1, 6), st.floats(0, 3), st.integers(0, 23), st.integers(0, 600))
def test_property_wider_or_less_known_never_comes_out_better(width, more, hour, minutes):
    rules = dict.fromkeys(WIDTH_RULES, 3.0) | SCHOOL
    at = MONDAY.replace(hour=hour)

    def worst(**given_):
        return max((rank(one) for one in levels(rules, **given_)), default=0)

    here = worst(width=width, at=at, minutes=float(minutes))
    assert worst(width=width + more, at=at, minutes=float(minutes)) >= here
    unknown = rank("unknown")
    assert worst(width=None, at=at, minutes=float(minutes)) >= min(here, unknown)
    assert worst(width=width, at=None, minutes=float(minutes)) >= min(here, unknown)
    assert worst(width=width, at=at, minutes=None) >= min(here, unknown)


def test_by_hand_every_rule_that_is_read_is_known_to_the_settings():
    assert set(RULES) <= set(WIDTH_RULES)
    told = (Path(__file__).parents[2] / "fieldmap" / "roads" / "rules.py").read_text("utf-8")
    assert [key for key in KNOWN if f'"{key}"' not in told] == []


def settings(tmp_path, rules):
    file = tmp_path / "farm.toml"
    file.write_text(f'name = "A"\n[files]\nfields = "f.gpkg"\n[road_rules]\n{rules}\n', "utf-8")
    return read_farm_settings(file).road_rules


def test_by_hand_rules_as_written(tmp_path):
    held = settings(tmp_path, 'source = "x"\nescort_over_width_m = 3\nbarred_hours = "07:00-09:00"')
    assert held == {"source": "x", "escort_over_width_m": 3.0, "barred_hours": ["07:00-09:00"]}


@pytest.mark.parametrize(
    ("rules", "says"),
    [
        ("escort_over_width = 3.6", "did you mean escort_over_width_m"),
        ("colour = 3.6", "Known: source, notice_over_width_m"),
        ("escort_over_width_m = true", "no figure in metres"),
        ("escort_over_width_m = 360", "no figure in metres"),
        ("escort_over_width_m = -1", "no figure in metres"),
        ("escort_over_width_m = nan", "no figure in metres"),
        ('escort_over_width_m = "3.6"', "no figure in metres"),
        ('barred_hours = ["7-9"]', "is no hours"),
        ("barred_hours = []", "no text or list"),
        ("barred_hours = 7", "no text or list"),
        ("source = 5", "no text"),
        ("notice_days = 2", "says nothing without notice_over_width_m"),
        ("barred_hours_over_width_m = 2", "says nothing without barred_hours"),
    ],
)
def test_by_hand_rules_that_nobody_could_keep_are_refused(tmp_path, rules, says):
    with pytest.raises(InputError, match=says) as caught:
        settings(tmp_path, rules)
    assert "road_rules" in str(caught.value)


def test_by_hand_all_that_is_wrong_with_the_rules_is_said_at_once():
    with pytest.raises(ValueError, match="nothing reads") as caught:
        checked_rules({"a_b": 1, "barred_hours": ["x", "y"], "escort_over_width_m": 0})
    said = str(caught.value)
    for word in ("a_b: nothing", "'x' is no hours", "'y' is no hours", "escort_over_width_m: 0"):
        assert word in said
