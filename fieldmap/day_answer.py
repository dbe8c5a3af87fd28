"""The answer to a day, as a page or a table renders it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from fieldmap.day_clock import Clock, WorkHours
from fieldmap.day_jobs import FieldJob
from fieldmap.day_left import Left
from fieldmap.day_teams import Team
from fieldmap.farm import Farm
from fieldmap.finding import Level, worst
from fieldmap.roads.answer import Move


@dataclass(frozen=True, eq=False)
class Drive:
    """One drive of the day: from where to where, when, and the road move behind it.

    ``move`` is ``None`` where the two places are one and there is no road between them.
    """

    start: str
    goal: str
    leave: datetime
    arrive: datetime
    move: Move | None

    @property
    def level(self) -> Level:
        """Of the road move."""
        return "ok" if self.move is None else self.move.level

    @property
    def length_m(self) -> float:
        """Metres on mapped roads."""
        return 0.0 if self.move is None else self.move.length_m


@dataclass(frozen=True, eq=False)
class Stop:
    """One field in its place of the day: the drive there, the mowing, and when it goes on."""

    job: FieldJob
    drive: Drive
    mow_from: datetime
    mow_to: datetime
    leave: datetime

    @property
    def level(self) -> Level:
        """The worse of field and road."""
        return worst((self.job.level, self.drive.level))


@dataclass(frozen=True, eq=False)
class TeamDay:
    """A machine's day; ``slow`` says in words what the slow end of the mowing does to it."""

    team: Team
    stops: tuple[Stop, ...]
    home: Drive | None
    slow: tuple[str, ...]

    @property
    def drives(self) -> tuple[Drive, ...]:
        """Every drive, the one home last."""
        return (*(stop.drive for stop in self.stops), *(() if self.home is None else (self.home,)))


@dataclass(frozen=True, eq=False)
class DayPlan:
    """The day of all machines, what is left out of it, and what it was planned with.

    ``hours`` are those of work, ``unknown`` whether ways with something unknown on them were
    planned with, ``notes`` what a reader must know of the plan as a whole.
    """

    farm: Farm
    day: date
    clock: Clock
    hours: WorkHours
    teams: tuple[TeamDay, ...]
    left: tuple[Left, ...]
    unknown: bool
    notes: tuple[str, ...]

    @property
    def level(self) -> Level:
        """The worst of all stops and drives; nothing planned is nothing known."""
        stops = [stop.level for team in self.teams for stop in team.stops]
        homes = [team.home.level for team in self.teams if team.home is not None]
        return worst([*stops, *homes])
