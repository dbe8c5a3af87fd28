"""Sunrise, sunset and civil twilight at a place, and whether a time lies by daylight."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Any, Literal

from astral import Observer
from astral.sun import dawn, dusk, elevation, sunrise, sunset

Light = Literal["day", "twilight", "dark"]
Kind = Literal["usual", "sun never sets", "sun never rises"]

_CIVIL_DEG = 6.0
_RISES_DEG = -0.833  # upper edge of the sun on a level horizon, with the usual refraction
_HALF_DAY = timedelta(hours=12)
_NEXT = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Sun:
    """The sun of one day at one place: aware times in the zone asked for.

    ``None`` stands for what does not happen that day. ``kind`` tells a day on which the sun
    never sets from one on which it never rises.
    """

    day: date
    sunrise: datetime | None
    sunset: datetime | None
    dawn: datetime | None
    dusk: datetime | None
    kind: Kind


def sun_times(lon: float, lat: float, day: date, zone: tzinfo) -> Sun:
    """Sunrise, sunset and civil twilight of a day on the calendar of a zone.

    Parameters
    ----------
    lon, lat : float
        Degrees.
    day : date
    zone : tzinfo
        The farm's.

    Returns
    -------
    Sun
        Sunset may fall on the next day of the calendar far in the north.

    Notes
    -----
    NOAA's equations, as the astral library has them; upper edge of the sun on a level horizon,
    at the height of the sea.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> one = sun_times(-74.3, 40.9, date(1990, 6, 25), ZoneInfo("America/New_York"))
    >>> f"{one.sunrise:%H:%M} {one.sunset:%H:%M}"
    '05:26 20:32'

    Where the sun does not set:

    >>> north = sun_times(18.96, 69.65, date(2026, 6, 21), ZoneInfo("Europe/Oslo"))
    >>> north.kind, north.sunset is None
    ('sun never sets', True)
    """
    at = Observer(latitude=lat, longitude=lon)
    noon = _noon(lon, day, zone)
    rise = _nearest(sunrise, at, noon - _HALF_DAY, noon)
    fall = _nearest(sunset, at, noon, noon + _HALF_DAY)
    kind: Kind = "usual"
    if rise is None or fall is None:
        kind = "sun never sets" if elevation(at, noon) > _RISES_DEG else "sun never rises"
    times = (rise, fall, *(_nearest(one, at, *span) for one, span in _twilight(noon)))
    local = [None if one is None else one.astimezone(zone) for one in times]
    return Sun(day, local[0], local[1], local[2], local[3], kind)


def _twilight(noon: datetime) -> list[Any]:
    return [(dawn, (noon - _HALF_DAY, noon)), (dusk, (noon, noon + _HALF_DAY))]


def _noon(lon: float, day: date, zone: tzinfo) -> datetime:
    """About when the sun is highest on a day of the zone's calendar, to a quarter of an hour."""
    middle = datetime.combine(day, datetime.min.time(), zone) + _HALF_DAY
    mean = datetime.combine(day, datetime.min.time(), UTC) + _HALF_DAY - timedelta(hours=lon / 15.0)
    days = round((mean - middle) / _NEXT)  # a zone may be more than half a day off the sun
    return mean - days * _NEXT


def _nearest(event: Any, at: Observer, first: datetime, last: datetime) -> datetime | None:
    """When an event falls between two moments; ``None`` when it does not happen."""
    slack = timedelta(minutes=30)
    for step in (-1, 0, 1):
        try:
            found = event(at, date=first.date() + step * _NEXT, tzinfo=UTC)
        except ValueError:  # astral's word for a sun that does not come to this height
            continue
        if first - slack <= found <= last + slack:
            moment: datetime = found
            return moment
    return None


def light_at(lon: float, lat: float, moment: datetime) -> Light:
    """Day, civil twilight or dark at a moment, by how high the sun stands.

    Examples
    --------
    >>> noon = datetime(2026, 6, 9, 18, tzinfo=UTC)
    >>> light_at(-92.9, 40.6, noon), light_at(-92.9, 40.6, noon + timedelta(hours=12))
    ('day', 'dark')
    """
    high = elevation(Observer(latitude=lat, longitude=lon), moment, with_refraction=False)
    if high >= _RISES_DEG:
        return "day"
    return "twilight" if high >= -_CIVIL_DEG else "dark"


def daylight_spans(
    lon: float, lat: float, start: datetime, end: datetime, *, margin_h: float
) -> Iterator[tuple[datetime, datetime]]:
    """When no lights are asked for: from some time after sunrise to some time before sunset.

    Yields
    ------
    tuple of datetime
        UTC, in order, of every day that the time from ``start`` to ``end`` touches.
    """
    margin = timedelta(hours=margin_h)
    day = start.astimezone(UTC).date() - _NEXT
    while day <= end.astimezone(UTC).date() + _NEXT:
        one = sun_times(lon, lat, day, UTC)
        noon = _noon(lon, day, UTC)
        if one.sunrise is not None and one.sunset is not None:
            yield one.sunrise + margin, one.sunset - margin
        elif one.kind == "sun never sets":
            yield (
                _or(one.sunrise, margin, noon - _HALF_DAY),
                _or(one.sunset, -margin, noon + _HALF_DAY),
            )
        day += _NEXT


def _or(moment: datetime | None, margin: timedelta, otherwise: datetime) -> datetime:
    return otherwise if moment is None else moment + margin


def by_daylight(lon: float, lat: float, start: datetime, end: datetime, *, margin_h: float) -> bool:
    """Whether the whole time from ``start`` to ``end`` lies in daylight, margins taken off.

    Examples
    --------
    >>> noon = datetime(2026, 6, 9, 18, tzinfo=UTC)
    >>> [by_daylight(-92.9, 40.6, noon, noon + timedelta(hours=h), margin_h=0.5) for h in (2, 8)]
    [True, False]
    """
    reached = start
    for first, last in daylight_spans(lon, lat, start, end, margin_h=margin_h):
        if first <= reached <= last:
            reached = max(reached, last)
            if end <= reached:
                return True
    return False
