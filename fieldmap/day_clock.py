"""The hours of one day on a farm: daylight, hours of work, windows of fields, barred hours."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from fieldmap.errors import Fault, MisuseError
from fieldmap.farm import FARM_FILE, Farm
from fieldmap.hours import Hours
from fieldmap.roads.daylight import Sun, sun_times
from fieldmap.roads.rules import barred_stretches

_S_PER_MIN = 60
_HOUR = timedelta(hours=1)
_DAY_S = 86_400
NO_DAYLIGHT = "There is no daylight in the hours asked for."


@dataclass(frozen=True, slots=True)
class Clock:
    """One day on the farm's clock, in seconds since its midnight as they pass.

    On a day on which the clock is put forward or back the seconds still pass one by one.
    """

    day: date
    farm: Farm

    def _midnight(self) -> datetime:
        return datetime.combine(self.day, time.min, self.farm.settings.zone()).astimezone(UTC)

    def second(self, moment: datetime) -> int:
        """Seconds since midnight of an aware moment."""
        return math.floor((moment.astimezone(UTC) - self._midnight()).total_seconds())

    def at(self, clock: time) -> int:
        """Seconds since midnight at a time of the clock."""
        return self.second(datetime.combine(self.day, clock, self.farm.settings.zone()))

    def moment(self, second: int) -> datetime:
        """The aware moment, in the farm's time zone."""
        passed = self._midnight() + timedelta(seconds=second)
        return passed.astimezone(self.farm.settings.zone())

    def span(self, hours: Hours) -> tuple[int, int] | None:
        """A window in seconds of the day; ``None`` when it does not hold that day."""
        held = hours.on(self.day, self.farm.settings.zone())
        return None if held is None else (self.second(held[0]), self.second(held[1]))


@dataclass(frozen=True, slots=True)
class WorkHours:
    """From when to when there is work, seconds of the day; nothing when the two meet.

    ``sun`` is that of the place asked about, ``notes`` what was cut from the hours asked for.
    """

    early_s: int
    late_s: int
    sun: Sun
    notes: tuple[str, ...]


def work_hours(
    clock: Clock,
    place: tuple[float, float],
    *,
    start: time | None,
    end: time | None,
    after_dark: bool,
) -> WorkHours:
    """The hours of work: those asked for, and of them only daylight unless told otherwise.

    Parameters
    ----------
    clock : Clock
    place : tuple of float
        Longitude and latitude whose sun counts.
    start, end : time or None
        As asked; else ``[day]`` of farm.toml, else sunrise and sunset.
    after_dark : bool
        Work and drive by night too.

    Raises
    ------
    MisuseError
        The hours end before they begin.
    """
    settings = clock.farm.settings
    begin, close = start or settings.day.start, end or settings.day.end
    if begin is not None and close is not None and close <= begin:
        raise MisuseError(
            Fault(
                "the day ends before it begins",
                f"{begin:%H:%M} to {close:%H:%M}",
                "no job fits into it",
                "give --start and --end of one day",
                where=str(clock.farm.folder / FARM_FILE),
            )
        )
    sun = sun_times(*place, clock.day, settings.zone())
    first, last = _light(clock, sun, after_dark=after_dark)
    early = first if begin is None else clock.at(begin)
    late = last if close is None else clock.at(close)
    notes = []
    if early < first:
        notes.append(f"Work begins at sunrise, {clock.moment(first):%H:%M}: not before.")
    if late > last:
        notes.append(f"Work and driving end at sunset, {clock.moment(last):%H:%M}.")
    early, late = max(early, first), min(late, last)
    if late <= early:
        return WorkHours(early, early, sun, (NO_DAYLIGHT,))
    return WorkHours(early, late, sun, tuple(notes))


def _light(clock: Clock, sun: Sun, *, after_dark: bool) -> tuple[int, int]:
    """First and last second in which there may be work; they meet where the sun stays down."""
    whole = clock.second(clock.moment(0) + 24 * _HOUR)
    if after_dark or sun.kind == "sun never sets":
        return 0, whole
    if sun.sunrise is None or sun.sunset is None:
        return 0, 0
    # a minute is shown, so that light begins on a whole one and ends on a whole one
    rise = -(-clock.second(sun.sunrise) // _S_PER_MIN) * _S_PER_MIN
    return max(0, rise), clock.second(sun.sunset) // _S_PER_MIN * _S_PER_MIN


def field_window(clock: Clock, hours: WorkHours, field_id: str) -> tuple[int, int]:
    """From when to when a field may be mown, seconds of the day; the second may be the first."""
    settings = clock.farm.settings.day
    early, late = hours.early_s, hours.late_s
    if settings.dew_off is not None:
        early = max(early, clock.at(settings.dew_off))
    window = settings.window(field_id)
    if window is not None:
        held = clock.span(window)
        if held is None:
            return early, early
        early, late = max(early, held[0]), min(late, held[1])
    return early, late


def barred_hours(
    clock: Clock, rules: Mapping[str, Any], place: tuple[float, float], *, width_m: float | None
) -> tuple[tuple[int, int], ...]:
    """Stretches of the day (s) in which the user's own rules keep a machine off the road.

    Parameters
    ----------
    clock : Clock
    rules : mapping
        ``[road_rules]`` of farm.toml: ``barred_hours``, ``barred_hours_over_width_m`` and
        ``daylight_only_over_width_m``.
    place : tuple of float
        Longitude and latitude whose sun counts.
    width_m : float or None
        Of the machine on the road; one that is not known is over every limit.
    """
    wide = math.inf if width_m is None else width_m
    zone = clock.farm.settings.zone()
    first = clock.moment(-_DAY_S)
    texts = (
        rules.get("barred_hours") or () if wide > _limit(rules, "barred_hours_over", -1.0) else ()
    )
    held = barred_stretches(texts, first, first + 72 * _HOUR, zone)
    found = [(clock.second(begin), clock.second(end)) for begin, end in held]
    if wide > _limit(rules, "daylight_only_over", math.inf):
        found += _night(clock, sun_times(*place, clock.day, zone))
    return tuple(sorted(found))


def _limit(rules: Mapping[str, Any], key: str, without: float) -> float:
    return float(rules.get(f"{key}_width_m", without))


def _night(clock: Clock, sun: Sun) -> list[tuple[int, int]]:
    """What is not between sunrise and sunset; a field's sun is seconds from the yard's."""
    if sun.kind == "sun never sets":
        return []
    if sun.sunrise is None or sun.sunset is None:
        return [(-_DAY_S, 2 * _DAY_S)]
    rise, fall = clock.second(sun.sunrise), clock.second(sun.sunset)
    return [(-_DAY_S, rise + _S_PER_MIN), (fall - _S_PER_MIN, 2 * _DAY_S)]
