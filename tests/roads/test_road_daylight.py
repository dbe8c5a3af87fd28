"""Sunrise and sunset against published figures, and what the light says of a move."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.roads.daylight import by_daylight, light_at, sun_times
from fieldmap.roads.lights import light_findings, sun_of_move
from fieldmap.tables import load_tables

TABLES = load_tables()
CHICAGO = ZoneInfo("America/Chicago")
OSLO = ZoneInfo("Europe/Oslo")
HOME = (-92.9, 40.6)
TROMSO = (18.96, 69.65)


def utc(day, clock, *, later=0):
    hour, minute = clock.split(":")
    begin = datetime.combine(day, datetime.min.time(), UTC) + timedelta(days=later)
    return begin + timedelta(hours=int(hour), minutes=float(minute))


@pytest.mark.parametrize(
    ("lon", "lat", "day", "rise", "fall", "later"),
    [
        # worked example of the Almanac for Computers 1990 (USNO), Wayne NJ
        (-74.3, 40.9, date(1990, 6, 25), "9:26.5", "0:33.0", 1),
        # NOAA's equations in full, worked out by hand in the trade facts, section 13
        (-80.0, 40.0, date(2024, 6, 20), "9:51.3", "0:52.3", 1),
        (-80.0, 40.0, date(2024, 3, 20), "11:22.5", "23:32.6", 0),
        (-80.0, 40.0, date(2024, 12, 21), "12:38.6", "21:58.3", 0),
        (0.0, 52.0, date(2025, 6, 21), "3:39.2", "20:23.4", 0),
    ],
)
def test_referee_published_sunrise_and_sunset_within_two_minutes(lon, lat, day, rise, fall, later):
    """Referee: https://edwilliams.org/sunrise_sunset_example.htm and the NOAA equations."""
    found = sun_times(lon, lat, day, UTC)
    near = timedelta(minutes=2)
    assert abs(found.sunrise - utc(day, rise)) < near
    assert abs(found.sunset - utc(day, fall, later=later)) < near


@pytest.mark.parametrize(("day", "hours"), [(20, 15.02), (355, 9.33)])
def test_referee_length_of_the_day(day, hours):
    """Referee: 40 N, longest and shortest day (NOAA short equations)."""
    when = date(2024, 6, 20) if day == 20 else date(2024, 12, 21)
    found = sun_times(-80.0, 40.0, when, UTC)
    assert (found.sunset - found.sunrise).total_seconds() / 3600 == pytest.approx(hours, abs=0.04)


def test_by_hand_times_stand_on_the_zones_own_day_and_clock():
    """By hand: far east of Greenwich, and on a zone that is a day off its sun."""
    for zone, lon, lat in (("Pacific/Auckland", 174.7, -36.8), ("Pacific/Kiritimati", -157.4, 1.9)):
        found = sun_times(lon, lat, date(2026, 5, 18), ZoneInfo(zone))
        assert found.sunrise.date() == found.sunset.date() == date(2026, 5, 18)
        assert 5 < found.sunrise.hour < 8
        assert 17 <= found.sunset.hour < 20
        assert str(found.sunrise.tzinfo) == zone


def test_by_hand_summer_time_is_in_the_clock():
    before = sun_times(*HOME, date(2026, 3, 7), CHICAGO)
    after = sun_times(*HOME, date(2026, 3, 8), CHICAGO)
    assert before.sunrise.utcoffset() == timedelta(hours=-6)
    assert after.sunrise.utcoffset() == timedelta(hours=-5)
    assert after.sunrise.hour == before.sunrise.hour + 1


def test_by_hand_where_the_sun_does_not_set_or_rise_nothing_breaks():
    summer = sun_times(*TROMSO, date(2026, 6, 21), OSLO)
    winter = sun_times(*TROMSO, date(2026, 12, 21), OSLO)
    assert (summer.kind, summer.sunrise, summer.sunset) == ("sun never sets", None, None)
    assert (winter.kind, winter.sunrise, winter.sunset) == ("sun never rises", None, None)
    assert winter.dawn is not None
    pole = sun_times(0.0, -90.0, date(2026, 12, 21), UTC)
    assert pole.kind == "sun never sets"


def test_by_hand_by_daylight_in_the_far_north():
    summer = datetime(2026, 6, 20, 20, tzinfo=OSLO)
    winter = datetime(2026, 12, 21, 11, tzinfo=OSLO)
    assert by_daylight(*TROMSO, summer, summer + timedelta(hours=30), margin_h=0.5)
    assert not by_daylight(*TROMSO, winter, winter, margin_h=0.0)
    assert light_at(*TROMSO, winter + timedelta(hours=1)) == "twilight"


@given(
    st.floats(-180, 180), st.floats(-89, 89), st.dates(date(2020, 1, 1), date(2030, 12, 31)),
    st.sampled_from(["UTC", "America/Chicago", "Pacific/Kiritimati", "Asia/Kathmandu"]),
)  # fmt: skip
def test_property_the_sun_never_crashes_and_rises_before_it_sets(lon, lat, day, zone):
    found = sun_times(lon, lat, day, ZoneInfo(zone))
    if found.sunrise is not None and found.sunset is not None:
        assert timedelta(0) < found.sunset - found.sunrise < timedelta(hours=25)
        assert found.kind == "usual"
        middle = found.sunrise + (found.sunset - found.sunrise) / 2
        assert light_at(lon, lat, middle) != "dark"
    if found.dawn is not None and found.sunrise is not None:
        assert found.dawn <= found.sunrise


def told(at, minutes, *, place=HOME, zone=CHICAGO):
    (found,) = light_findings(place, at=at, minutes=minutes, zone=zone, tables=TABLES)
    return found


JUNE = datetime(2026, 6, 9, tzinfo=CHICAGO)  # sunrise 05:41, sunset 20:41


@pytest.mark.parametrize(
    ("clock", "minutes", "level", "says"),
    [
        ("12:00", 60.0, "ok", "by day"),
        ("06:20", 10.0, "ok", "by day"),
        ("06:00", 10.0, "care", "begins by day: lights"),  # within half an hour of sunrise
        ("04:50", 10.0, "care", "begins in the dark"),
        ("05:30", 10.0, "care", "begins in twilight"),
        ("20:00", 20.0, "care", "ends at 20:20"),
        ("19:00", 200.0, "care", "in the dark"),
        ("12:00", None, "care", "road speed is not"),
        ("12:00", float("nan"), "care", "road speed is not"),
        ("23:30", 60.0, "care", "begins in the dark"),
        ("12:00", 24 * 60.0, "care", "ends at 12:00"),  # a night lies between
    ],
)
def test_by_hand_the_light_of_a_move(clock, minutes, level, says):
    hour, minute = map(int, clock.split(":"))
    found = told(JUNE.replace(hour=hour, minute=minute), minutes)
    assert found.level == level
    assert says in found.why


def test_by_hand_without_a_time_lights_are_to_be_reckoned_with():
    assert told(None, 30.0).level == "care"


def test_by_hand_a_time_in_another_zone_is_the_same_moment():
    noon = JUNE.replace(hour=12)
    assert told(noon.astimezone(UTC), 60.0).choice == told(noon, 60.0).choice
    assert "CDT" in told(noon, 60.0).choice


def test_by_hand_the_far_north_has_no_sunset_to_name():
    found = told(datetime(2026, 6, 21, 23, tzinfo=OSLO), 120.0, place=TROMSO, zone=OSLO)
    assert found.level == "ok"
    assert "never sets" in found.why


def test_by_hand_the_sun_as_a_page_shows_it():
    found = sun_of_move(HOME, at=JUNE.replace(hour=20), minutes=90.0, zone=CHICAGO)
    assert found["zone"] == "America/Chicago"
    assert found["at"] == "2026-06-09T20:00:00-05:00"
    assert found["until"] == "2026-06-09T21:30:00-05:00"
    assert found["sunset"].startswith("2026-06-09T20:41")
    north = sun_of_move(TROMSO, at=datetime(2026, 6, 21, tzinfo=UTC), minutes=None, zone=OSLO)
    assert (north["sunset"], north["until"], north["kind"]) == (None, None, "sun never sets")


@given(st.integers(0, 24 * 60), st.integers(0, 600), st.integers(0, 600))
def test_property_a_longer_move_never_has_better_light(begin, minutes, more):
    at = JUNE + timedelta(minutes=begin)
    order = ["ok", "care"]
    short, long = told(at, float(minutes)).level, told(at, float(minutes + more)).level
    assert order.index(long) >= order.index(short)
    assert order.index(told(at, None).level) >= order.index(short)
    for known in (float(minutes), None):
        assert order.index(told(None, known).level) >= order.index(told(at, known).level)
