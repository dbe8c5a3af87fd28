"""A day of mowing: which fields, in which order, when, and what is left out and why."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date, datetime, time

import numpy as np

from fieldmap.day_answer import DayPlan, Drive, Stop, TeamDay
from fieldmap.day_clock import Clock, WorkHours, barred_hours, field_window, work_hours
from fieldmap.day_jobs import FieldJob, field_jobs
from fieldmap.day_left import Left, Why, cannot, no_room, road_since, slow_end
from fieldmap.day_roads import HOME, TeamRoads, team_roads
from fieldmap.day_teams import Team, teams_of
from fieldmap.errors import Fault, InputError
from fieldmap.farm import FARM_FILE, Farm
from fieldmap.finding import Level
from fieldmap.journey import farm_district, place
from fieldmap.roads.rounds import Rounds, rounds
from fieldmap.roads.timetable import Crew, Job, Round, Visit, drives_of, first_free

__all__ = ["DayPlan", "Drive", "Stop", "TeamDay", "Wish", "plan_day"]

_S_PER_MIN = 60


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked of a day.

    Parameters
    ----------
    machine_ids : tuple of str
        The machines; the first of machines.toml when none is named.
    starts, states : tuple of str
        Where they start and in which transport state they drive: one for all or one each. The
        start is the place ``home``, else the first of ``[places]``; the state the first listed.
    field_ids : tuple of str
        Only these fields; all when empty.
    start, end : time or None
        Hours of work; else those of ``[day]``, else daylight.
    after_dark : bool
        Work and drive by night too.
    with_unknown : bool
        Also over ways with something unknown on them.
    with_stop : bool
        Also fields whose own answer is ``stop``: what it says has to be done first.
    """

    machine_ids: tuple[str, ...] = ()
    starts: tuple[str, ...] = ()
    states: tuple[str, ...] = ()
    field_ids: tuple[str, ...] = ()
    start: time | None = None
    end: time | None = None
    after_dark: bool = False
    with_unknown: bool = False
    with_stop: bool = False


def plan_day(farm: Farm, wish: Wish, *, day: date) -> DayPlan:
    """Put the fields of a farm in an order that fits a day of one or several machines.

    As many fields as fit, and with as many fields the least driving, a place where something is
    unknown counted as ``day.unknown_min`` of it. A field whose ground says
    ``stop`` is left out, and so is one that no way passing every check leads to; ways with
    something unknown on them are planned with only when that is asked for.

    Parameters
    ----------
    farm : Farm
        Loaded with its roads.
    wish : Wish
    day : date

    Raises
    ------
    InputError
        The farm has no roads or no machines, the start is far from every road, or ``[day]`` names
        a field that is not there.
    MisuseError
        No such machine, state, place or field, or hours that end before they begin.
    """
    teams = teams_of(farm, wish.machine_ids, wish.starts, wish.states)
    _windows_are_of_fields(farm)
    district, _ = farm_district(farm)
    clock = Clock(day, farm)
    hours = work_hours(
        clock,
        place(farm, teams[0].start),
        start=wish.start,
        end=wish.end,
        after_dark=wish.after_dark,
    )
    jobs = [field_jobs(farm, one.machine, day=day, field_ids=wish.field_ids) for one in teams]
    ids = [job.field_id for job in jobs[0]]
    most: Level = "unknown" if wish.with_unknown else "care"
    roads = [team_roads(farm, district, one, ids, most=most) for one in teams]
    asked = _Asked(farm, clock, hours, teams, jobs, roads)
    why = cannot(jobs, roads, asked.first_leave, with_stop=wish.with_stop)
    done = _driven(asked, why)
    return DayPlan(
        farm=farm,
        day=day,
        clock=clock,
        hours=hours,
        teams=tuple(_team_day(asked, k, held) for k, held in enumerate(done.rounds)),
        left=_left(asked, why, done),
        unknown=wish.with_unknown,
        notes=(*hours.notes, *_notes(asked, wish)),
    )


@dataclass(frozen=True, eq=False)
class _Asked:
    """What a plan is made from: one entry a machine in the last three."""

    farm: Farm
    clock: Clock
    hours: WorkHours
    teams: list[Team]
    jobs: list[list[FieldJob]]
    roads: list[TeamRoads]

    def job(self, row: int, why: list[list[Why | None]]) -> Job:
        """A field as the timetable knows it; a machine with a reason against it does not do it."""
        settings, tables = self.farm.settings.day, self.farm.tables
        field_id = self.jobs[0][row].field_id
        early, late = field_window(self.clock, self.hours, field_id)
        look_min = settings.service_min
        if look_min is None:
            look_min = tables.number("day.look_min")
        work = tuple(
            None if why[k][row] is not None else _seconds(held[row].minutes)
            for k, held in enumerate(self.jobs)
        )
        fold_min = tables.number("day.fold_min")
        return Job(row + 1, early, late, work, _seconds(look_min), _seconds(fold_min))

    def crew(self, number: int) -> Crew:
        """A machine as the timetable knows it."""
        hours, roads = self.hours, self.roads[number]
        widths = {one.name: one.width_m for one in self.teams[number].machine.transport}
        barred = barred_hours(
            self.clock,
            self.farm.settings.road_rules,
            place(self.farm, self.teams[number].start),
            width_m=widths.get(self.teams[number].state),
        )
        each = _seconds(self.farm.tables.number("day.unknown_min"))
        more = np.maximum(roads.found.unknown_places, 0) * each
        return Crew(HOME, hours.early_s, hours.late_s, roads.drive_s, barred, more)

    def first_leave(self, number: int, row: int) -> datetime:
        """When a machine could first set out for a field, barred hours kept."""
        crew = self.crew(number)
        way = int(crew.drive_s[HOME, row + 1])
        return self.clock.moment(first_free(crew.early_s, way, crew.barred_s))


def _seconds(minutes: float) -> int:
    """Whole minutes, rounded up, in seconds: a plan on paper knows no seconds."""
    return math.ceil(minutes - 1e-9) * _S_PER_MIN


def _driven(asked: _Asked, why: list[list[Why | None]]) -> Rounds:
    """The rounds, looked for again as long as a drive in them turns out worse than it may be.

    The ways between places are found for all of them at once; what the ends and the hour of a
    drive add is only known of a drive that is looked at by itself.
    """
    while True:
        jobs = [asked.job(row, why) for row in range(len(asked.jobs[0]))]
        crews = [asked.crew(k) for k in range(len(asked.teams))]
        done = rounds(jobs, crews)
        refused = False
        for held, roads in zip(done.rounds, asked.roads, strict=True):
            for first, last, leave_s in drives_of(held, jobs, HOME):
                at = asked.clock.moment(leave_s)
                if not roads.may(first, last, at):
                    roads.refuse(first, last, at)
                    refused = True
        if not refused:
            return done


def _team_day(asked: _Asked, number: int, held: Round) -> TeamDay:
    team, roads, clock = asked.teams[number], asked.roads[number], asked.clock
    stops: list[Stop] = []
    at = HOME
    for visit in held.visits:
        stops.append(_stop(asked, number, visit, at))
        at = visit.job + 1
    if not stops:
        return TeamDay(team, (), None, ())
    home = Drive(
        roads.names[at],
        team.start,
        clock.moment(held.leave_s),
        clock.moment(held.back_s),
        roads.move(at, HOME, clock.moment(held.leave_s)),
    )
    slow = _slow(asked, number, held)
    return TeamDay(team, tuple(stops), home, slow)


def _stop(asked: _Asked, number: int, visit: Visit, at: int) -> Stop:
    roads, clock = asked.roads[number], asked.clock
    goal = visit.job + 1
    drive = Drive(
        roads.names[at],
        roads.names[goal],
        clock.moment(visit.leave_s),
        clock.moment(visit.arrive_s),
        roads.move(at, goal, clock.moment(visit.leave_s)),
    )
    return Stop(
        asked.jobs[number][visit.job],
        drive,
        clock.moment(visit.begin_s),
        clock.moment(visit.end_s),
        clock.moment(visit.ready_s),
    )


def _slow(asked: _Asked, number: int, held: Round) -> tuple[str, ...]:
    none: list[list[Why | None]] = [[None] * len(asked.jobs[0]) for _ in asked.teams]
    slow = [
        [replace(one, minutes=one.high_min) for one in jobs] if k == number else jobs
        for k, jobs in enumerate(asked.jobs)
    ]
    later = replace(asked, jobs=slow)
    rows = {visit.job for visit in held.visits}
    jobs = [
        later.job(row, none) if row in rows else Job(row + 1, 0, 0, (None,) * len(slow))
        for row in range(len(slow[0]))
    ]
    ids = [one.field_id for one in slow[number]]
    return slow_end(held, jobs, asked.crew(number), number, ids=ids, clock=asked.clock)


def _left(asked: _Asked, why: list[list[Why | None]], done: Rounds) -> tuple[Left, ...]:
    crews = [asked.crew(k) for k in range(len(asked.teams))]
    left = []
    for row in done.left:
        job = asked.job(row, why)
        reasons = [
            why[k][row]
            or road_since(asked.roads[k], row + 1, asked.first_leave(k, row))
            or no_room(job, crew, k, clock=asked.clock, machine=asked.teams[k].machine.name)
            for k, crew in enumerate(crews)
        ]
        one = asked.jobs[0][row]
        left.append(Left(one.field_id, one.name, one.area_ha, tuple(reasons)))
    return tuple(left)


def _windows_are_of_fields(farm: Farm) -> None:
    known = set(farm.fields["field_id"])
    strange = [name for name in farm.settings.day.windows if name not in known]
    if strange:
        raise InputError(
            Fault(
                "[day.windows] names a field that is not there",
                name,
                "its hours would hold for nothing",
                f"use one of {', '.join(sorted(known)[:20])}",
                where=str(farm.folder / FARM_FILE),
            )
            for name in strange
        )


def _notes(asked: _Asked, wish: Wish) -> list[str]:
    notes = []
    if wish.with_unknown:
        notes.append("Ways with something unknown on them are in this plan.")
    if wish.with_stop:
        notes.append("Fields that say stop are in this plan: do first what they say.")
    if wish.after_dark:
        notes.append("Driving and mowing after dark are in this plan.")
    if asked.farm.settings.day.dew_off is None:
        notes.append("When the dew is off is not given: mowing waits for nothing but the hours.")
    if any(math.isnan(job.heading_deg) for jobs in asked.jobs for job in jobs):
        notes.append("Where no line of travel could be chosen the slowest of all is taken.")
    for one in asked.teams:
        if one.machine.road_speed_kmh is None:
            notes.append(f"{one.machine.name}: the road speed is not known, a slow one is taken.")
        if one.machine.field_speed_kmh is None:
            notes.append(f"{one.machine.name}: the field speed is not known, a usual one is taken.")
    return notes
