"""Hours of the week as people write them down: ``07:00-09:00``, ``Mo-Fr 15:30-17:00``.

They are hours on the clock of one time zone. What crosses midnight belongs to the day on which
it begins. Where the clock is put forward or back the hours follow the clock.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo

DAYS = ("Mo", "Tu", "We", "Th", "Fr", "Sa", "Su")
_DAY = "|".join(DAYS)
_PART = rf"(?:{_DAY})(?:-(?:{_DAY}))?"
_TEXT = re.compile(
    rf"(?:({_PART}(?:,{_PART})*) )?([0-9]{{2}}):([0-9]{{2}})-([0-9]{{2}}):([0-9]{{2}})"
)
_DAY_MINUTES = 24 * 60


@dataclass(frozen=True, slots=True)
class Hours:
    """Hours on some days of the week.

    Parameters
    ----------
    text : str
        As it was written.
    days : frozenset of int
        Days on which they begin, Monday 0.
    begin, end : int
        Minutes of the clock; ``end`` is at most 1440 and not after ``begin`` when the hours
        cross midnight.
    """

    text: str
    days: frozenset[int]
    begin: int
    end: int

    def on(self, day: date, zone: tzinfo) -> tuple[datetime, datetime] | None:
        """From when to when (aware, UTC) they hold that begin on a day; ``None`` when none do.

        Examples
        --------
        >>> from zoneinfo import ZoneInfo
        >>> night = hours_of("Sa 22:00-06:00")
        >>> [str(one) for one in night.on(date(2026, 6, 6), ZoneInfo("America/Chicago"))]
        ['2026-06-07 03:00:00+00:00', '2026-06-07 11:00:00+00:00']
        >>> night.on(date(2026, 6, 7), ZoneInfo("America/Chicago")) is None
        True
        """
        if day.weekday() not in self.days:
            return None
        over = self.end <= self.begin
        last = day + timedelta(days=1) if over else day
        return _clock(day, self.begin, zone), _clock(last, self.end, zone)


def _clock(day: date, minutes: int, zone: tzinfo) -> datetime:
    """A time of the clock as UTC; of a time that comes twice the first."""
    whole = day + timedelta(days=minutes // _DAY_MINUTES)
    hour, minute = divmod(minutes % _DAY_MINUTES, 60)
    return datetime.combine(whole, time(hour, minute), zone).astimezone(UTC)


def hours_of(text: str) -> Hours:
    """Read hours as they are written.

    Parameters
    ----------
    text : str
        ``HH:MM-HH:MM``, with days before it or without: ``Mo-Fr 15:30-17:00``,
        ``Sa,Su 08:00-12:00``, ``22:00-06:00`` over midnight, ``Fr-Mo 00:00-24:00``.

    Raises
    ------
    ValueError
        Nothing of this kind; the message says what was expected.

    Examples
    --------
    >>> sorted(hours_of("Fr-Su 07:00-09:00").days), len(hours_of("07:00-09:00").days)
    ([4, 5, 6], 7)
    >>> hours_of("22:00-06:00").end
    360
    """
    found = _TEXT.fullmatch(text.strip())
    if found is None:
        raise ValueError(_expected(text))
    begin, end = (60 * int(found[at]) + int(found[at + 1]) for at in (2, 4))
    minutes_fit = int(found[3]) < 60 and int(found[5]) < 60
    if not (minutes_fit and begin < _DAY_MINUTES and end <= _DAY_MINUTES and begin != end):
        raise ValueError(_expected(text))
    return Hours(text.strip(), _days(found[1]), begin, end)


def _expected(text: str) -> str:
    return (
        f"{text[:40]!r} is no hours: write HH:MM-HH:MM, with days before it or without, such as "
        "Mo-Fr 15:30-17:00; a whole day is 00:00-24:00"
    )


def _days(text: str | None) -> frozenset[int]:
    if text is None:
        return frozenset(range(7))
    days: set[int] = set()
    for part in text.split(","):
        first, _, last = part.partition("-")
        start = DAYS.index(first)
        count = (DAYS.index(last or first) - start) % 7 + 1
        days |= {(start + step) % 7 for step in range(count)}
    return frozenset(days)


def stretches_within(
    hours: Hours, start: datetime, end: datetime, zone: tzinfo
) -> Iterator[tuple[datetime, datetime]]:
    """Every stretch of the hours that shares a moment with the time from ``start`` to ``end``.

    Parameters
    ----------
    hours : Hours
    start, end : datetime
        Aware.
    zone : tzinfo
        On whose clock the hours stand.

    Yields
    ------
    tuple of datetime
        From when to when (UTC) the hours hold, in order.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> zone = ZoneInfo("America/Chicago")
    >>> at = datetime(2026, 6, 8, 8, 59, tzinfo=zone)  # a Monday
    >>> school = hours_of("Mo-Fr 07:00-09:00")
    >>> len(list(stretches_within(school, at, at + timedelta(minutes=5), zone)))
    1
    >>> list(stretches_within(school, at + timedelta(minutes=1), at + timedelta(hours=2), zone))
    []
    """
    day = start.astimezone(zone).date() - timedelta(days=1)
    last = end.astimezone(zone).date()
    while day <= last:
        held = hours.on(day, zone)
        if held is not None and held[0] < held[1] and _meet(held, start, end):
            yield held
        day += timedelta(days=1)


def _meet(held: tuple[datetime, datetime], start: datetime, end: datetime) -> bool:
    """Whether they share a moment; hours end just before their last minute is over."""
    return held[0] <= end and start < held[1]
