"""What the light of the day says of a move: lights by a house rule, and an end in the dark."""

from __future__ import annotations

import math
from datetime import datetime, timedelta, tzinfo
from typing import Any

from fieldmap.finding import Finding, Level
from fieldmap.roads.daylight import Sun, by_daylight, light_at, sun_times
from fieldmap.tables import Tables

WHAT = "light"
_CAUTION = (
    "CAUTION: sunrise and sunset are those of a level horizon: hills, woods, rain and a low sun in "
    "the eyes take more. When lights, beacons and reflectors must be on is for your own law to "
    "say; the police or the road authority answer."
)
_WORDS = {
    "day": "by day",
    "twilight": "in twilight",
    "dark": "in the dark",
}


def sun_of_move(
    place: tuple[float, float], *, at: datetime, minutes: float | None, zone: tzinfo
) -> dict[str, Any]:
    """The sun of the day of a move, as a page shows it.

    Parameters
    ----------
    place : tuple of float
        Longitude, latitude in degrees.
    at : datetime
        Aware: when the move begins.
    minutes : float or None
        How long it takes.
    zone : tzinfo
        The farm's.

    Returns
    -------
    dict
        day, zone, at, until, sunrise, sunset, dawn, dusk (ISO with the offset, or ``None``), kind.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> zone = ZoneInfo("America/Chicago")
    >>> one = sun_of_move((-92.9, 40.6), at=datetime(2026, 6, 9, 7, tzinfo=zone), minutes=None,
    ...                   zone=zone)
    >>> one["sunrise"], one["until"], one["zone"]
    ('2026-06-09T05:41:00-05:00', None, 'America/Chicago')
    """
    begin = at.astimezone(zone)
    sun = sun_times(*place, begin.date(), zone)
    until = None if minutes is None else begin + timedelta(minutes=minutes)
    return {
        "day": sun.day.isoformat(),
        "zone": getattr(zone, "key", str(zone)),
        "at": _iso(begin),
        "until": _iso(until),
        "sunrise": _iso(sun.sunrise),
        "sunset": _iso(sun.sunset),
        "dawn": _iso(sun.dawn),
        "dusk": _iso(sun.dusk),
        "kind": sun.kind,
    }


def _iso(moment: datetime | None) -> str | None:
    """To the minute: nobody knows sunset nearer than that."""
    if moment is None:
        return None
    whole = (moment + timedelta(seconds=30)).replace(second=0, microsecond=0)
    return whole.isoformat()


def light_findings(
    place: tuple[float, float],
    *,
    at: datetime | None,
    minutes: float | None,
    zone: tzinfo,
    tables: Tables,
) -> list[Finding]:
    """What is to be said of the light: one finding.

    Lights are the worst that comes of it, so that a move whose hour or end is not known has them.

    Parameters
    ----------
    place : tuple of float
        Longitude, latitude in degrees; of the start of the move.
    at : datetime or None
        Aware: when the move begins.
    minutes : float or None
        How long it takes; ``None`` when nobody knows.
    zone : tzinfo
        The farm's.
    tables : Tables
    """
    if at is None:
        why = "When you drive is not said: reckon with lights from dusk on and in poor sight."
        return [_finding("care", why, tables)]
    begin = at.astimezone(zone)
    margin_h = tables.number("meeting.light_margin_h")
    if not by_daylight(*place, begin, begin, margin_h=margin_h):
        words = _WORDS[light_at(*place, begin)]
        return [_finding("care", f"It begins {words}: {_rule(margin_h)}", tables, begin)]
    if minutes is None or math.isnan(minutes):
        why = (
            "It begins by day; when it ends is not known, because the road speed is not: lights on."
        )
        return [_finding("care", why, tables, begin)]
    until = begin + timedelta(minutes=minutes)
    if by_daylight(*place, begin, until, margin_h=margin_h):
        why = f"The whole move lies by day. {_sun_words(sun_times(*place, begin.date(), zone))}"
        return [_finding("ok", why, tables, begin)]
    words = _WORDS[light_at(*place, until)]
    why = f"It ends at {until:%H:%M}, {words}: {_rule(margin_h)}"
    return [_finding("care", why, tables, begin)]


def _rule(margin_h: float) -> str:
    return (
        f"lights on, by the house rule from {60 * margin_h:.0f} minutes before sunset to "
        f"{60 * margin_h:.0f} minutes after sunrise."
    )


def _sun_words(sun: Sun) -> str:
    if sun.sunrise is None or sun.sunset is None:
        return f"On this day the {sun.kind}."
    return f"Sunrise {sun.sunrise:%H:%M}, sunset {sun.sunset:%H:%M} on a level horizon."


def _finding(level: Level, why: str, tables: Tables, begin: datetime | None = None) -> Finding:
    return Finding(
        level=level,
        what=WHAT,
        where="the whole way",
        why=why,
        basis="assumed",
        sources=tables.source_of("meeting.light_margin_h"),
        choice="" if begin is None else f"{begin:%Y-%m-%d %H:%M %Z}",
        caution=_CAUTION,
    )
