"""The user's own road rules: what they looked up, and what it asks for at this width and hour."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any

from fieldmap.finding import Finding, Level
from fieldmap.hours import hours_of, stretches_within
from fieldmap.roads.answer import Move
from fieldmap.roads.daylight import by_daylight

#: Key in ``[road_rules]`` -> what it asks for beyond the figure.
RULES = {
    "notice_over_width_m": "a notice beforehand",
    "escort_over_width_m": "an escort",
    "flags_over_width_m": "flags or marker boards at the outer edges",
    "lights_over_width_m": "flashing lights or a beacon",
    "barred_over_width_m": "a permit, or another transport state",
}
WHAT = "your own road rules"
_CAUTION = (
    "WARNING: these are your own notes of the rules, as old as the day you read them. The road "
    "authority, the police and your own law decide."
)


@dataclass(frozen=True, slots=True)
class Drive:
    """When a move is driven, and where its sun is taken.

    Parameters
    ----------
    at : datetime or None
        Aware: when it begins; ``None`` when nobody said.
    minutes : float or None
        How long it takes; ``None`` when nobody knows.
    zone : tzinfo
        On whose clock the hours of rules stand.
    place : tuple of float
        Longitude, latitude in degrees.
    """

    at: datetime | None
    minutes: float | None
    zone: tzinfo
    place: tuple[float, float]

    @property
    def until(self) -> datetime | None:
        """When it ends; ``None`` when that is not known."""
        if self.at is None or self.minutes is None or math.isnan(self.minutes):
            return None
        return self.at + timedelta(minutes=self.minutes)


def under_rules(
    move: Move,
    rules: Mapping[str, Any],
    *,
    width_m: float | None,
    at: datetime | None = None,
    zone: tzinfo = UTC,
) -> Move:
    """The move with what the user's own rules ask for at its transport width and hour.

    Nothing is invented: without a figure in ``[road_rules]`` nothing is said. A machine whose
    width is not known is unknown under every rule, and a move whose hour is not known under
    every rule that goes by the hour.

    Parameters
    ----------
    move : Move
    rules : mapping
        ``[road_rules]`` of farm.toml, as :mod:`fieldmap.read.road_rules` gives it.
    width_m : float or None
        In the transport state of the move.
    at : datetime, optional
        Aware: when the move begins.
    zone : tzinfo
        The farm's.
    """
    drive = Drive(at, move.minutes, zone, move.start)
    return move.with_more(rules_findings(rules, drive, width_m=width_m))


def rules_findings(
    rules: Mapping[str, Any], drive: Drive, *, width_m: float | None
) -> list[Finding]:
    """What the rules ask for; see :func:`under_rules`."""
    wide = math.nan if width_m is None else width_m
    said = _Said(wide, rules.get("source") or "nobody noted where this was read")
    return [
        *_by_width(rules, said, drive),
        *_by_daylight(rules, said, drive),
        *_by_hour(rules, said, drive),
    ]


@dataclass(frozen=True, slots=True)
class _Said:
    """The machine's width (NaN unknown) and where the rules were read, to make findings of."""

    width_m: float
    read: str

    def finding(
        self, level: Level, asks: str, *, limit: float | None, more: str = "", choice: str = ""
    ) -> Finding:
        over = "" if limit is None else "Over this width they"
        why = f"{over or 'They'} ask for {asks} ({self.read})."
        return Finding(
            level=level,
            what=WHAT,
            where="the machine",
            why=f"{why} {more}".strip(),
            basis="assumed",
            sources=("farm",),
            value=None if limit is None or math.isnan(self.width_m) else self.width_m,
            limit=limit,
            unit="" if limit is None else "m",
            choice=choice or asks,
            caution=_CAUTION,
        )


def _limit(rules: Mapping[str, Any], key: str) -> float | None:
    held = rules.get(key)
    return None if isinstance(held, bool) or not isinstance(held, float | int) else float(held)


def _by_width(rules: Mapping[str, Any], said: _Said, drive: Drive) -> Iterator[Finding]:
    for key, asks in RULES.items():
        limit = _limit(rules, key)
        if limit is None or said.width_m <= limit:
            continue
        level: Level = "stop" if key == "barred_over_width_m" else "care"
        more = _notice(rules, drive) if key == "notice_over_width_m" else ""
        yield said.finding(
            "unknown" if math.isnan(said.width_m) else level, asks, limit=limit, more=more
        )


def _notice(rules: Mapping[str, Any], drive: Drive) -> str:
    """How long before, and by which day where the day of the move is known."""
    days = _limit(rules, "notice_days")
    if days is None:
        return ""
    words = f"Days before: {days:g}."
    if drive.at is None:
        return words
    last = drive.at.astimezone(drive.zone) - timedelta(days=days)
    return f"{words} Give it by {last:%Y-%m-%d}."


def _by_daylight(rules: Mapping[str, Any], said: _Said, drive: Drive) -> Iterator[Finding]:
    limit = _limit(rules, "daylight_only_over_width_m")
    if limit is None or said.width_m <= limit:
        return
    level, more = _in_daylight(drive)
    if level == "stop" and math.isnan(said.width_m):
        level = "unknown"
    yield said.finding(level, "daylight, sunrise to sunset", limit=limit, more=more)


def _in_daylight(drive: Drive) -> tuple[Level, str]:
    if drive.at is None:
        return "unknown", "When you drive is not said."
    until = drive.until
    if not by_daylight(*drive.place, drive.at, drive.at, margin_h=0.0):
        return "stop", "The move begins before sunrise or after sunset."
    if until is None:
        return "unknown", "When the move ends is not known."
    if not by_daylight(*drive.place, drive.at, until, margin_h=0.0):
        return "stop", f"The move ends at {until.astimezone(drive.zone):%H:%M}, after sunset."
    return "care", "The move lies between sunrise and sunset; be off the road before that ends."


def _by_hour(rules: Mapping[str, Any], said: _Said, drive: Drive) -> Iterator[Finding]:
    texts: Sequence[str] = rules.get("barred_hours") or ()
    over = _limit(rules, "barred_hours_over_width_m")
    if not texts or (over is not None and said.width_m <= over):
        return
    level, more = _at_hour(texts, drive)
    if level == "stop" and over is not None and math.isnan(said.width_m):
        level = "unknown"
    asks = f"staying off the road at {', '.join(texts)}"
    yield said.finding(level, asks, limit=over, more=more)


def _at_hour(texts: Sequence[str], drive: Drive) -> tuple[Level, str]:
    if drive.at is None:
        return "unknown", "When you drive is not said."
    until = drive.until
    met = barred_stretches(texts, drive.at, until or drive.at, drive.zone)
    if met:
        first, last = (one.astimezone(drive.zone) for one in met[0])
        return "stop", f"The move is on the road then: {first:%H:%M} to {last:%H:%M %Z}."
    if until is None:
        return "unknown", "When the move ends is not known."
    return "ok", f"The move is off the road again by {until.astimezone(drive.zone):%H:%M}."


def barred_stretches(
    texts: Sequence[str], start: datetime, end: datetime, zone: tzinfo
) -> list[tuple[datetime, datetime]]:
    """Stretches of barred hours that share a moment with the time from ``start`` to ``end``.

    Parameters
    ----------
    texts : sequence of str
        ``[road_rules] barred_hours``.
    start, end : datetime
        Aware.
    zone : tzinfo
        On whose clock the hours stand.

    Returns
    -------
    list of tuple of datetime
        From when to when (UTC), in order.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> at = datetime(2026, 6, 8, 8, 30, tzinfo=ZoneInfo("America/Chicago"))
    >>> len(barred_stretches(["Mo-Fr 07:00-09:00"], at, at, at.tzinfo))
    1
    >>> barred_stretches([], at, at, at.tzinfo)
    []
    """
    found = [held for text in texts for held in stretches_within(hours_of(text), start, end, zone)]
    return sorted(found)
