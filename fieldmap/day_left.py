"""What does not fit into a day, and why; and what slower mowing does to the day."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from fieldmap.day_clock import Clock
from fieldmap.day_jobs import FieldJob
from fieldmap.day_roads import HOME, TeamRoads
from fieldmap.finding import Finding, Level
from fieldmap.roads.answer import Move
from fieldmap.roads.timetable import Crew, Job, Round, timetable
from fieldmap.roads.wording import OTHER_STATE, WHOLE_WAY

_NEVER = 10**9
_S_PER_MIN = 60


@dataclass(frozen=True, slots=True)
class Why:
    """Why a machine does not do a field.

    ``kind`` is ``ground`` (its own answer is stop), ``mowing time`` (not known), ``road`` (refused,
    unknown or too far) or ``time`` (it does not fit). ``survey`` are the places whose measuring
    would settle an unknown road, as of a move.
    """

    machine: str
    kind: str
    level: Level
    why: str
    survey: tuple[dict[str, Any], ...] = ()


@dataclass(frozen=True, slots=True)
class Left:
    """A field that is in nobody's day, with one reason a machine."""

    field_id: str
    name: str
    area_ha: float
    reasons: tuple[Why, ...]


def cannot(
    jobs: Sequence[Sequence[FieldJob]],
    roads: Sequence[TeamRoads],
    leaves: Callable[[int, int], datetime],
    *,
    with_stop: bool,
) -> list[list[Why | None]]:
    """For each machine and field what stands against it before any order is looked at.

    Parameters
    ----------
    jobs : sequence of sequence of FieldJob
        One entry a machine, then one a field.
    roads : sequence of TeamRoads
        One entry a machine.
    leaves : callable
        From the numbers of machine and field to when it could first set out.
    with_stop : bool
        A field whose own answer is ``stop`` may be planned: what it says is done first.
    """
    return [
        [
            _stopped(job, held.team.machine.name)
            if job.level == "stop" and not with_stop
            else _against(job, held, row + 1, leaves(number, row))
            for row, job in enumerate(own)
        ]
        for number, (own, held) in enumerate(zip(jobs, roads, strict=True))
    ]


def _stopped(job: FieldJob, machine: str) -> Why:
    return Why(machine, "ground", "stop", job.reason)


def _against(job: FieldJob, roads: TeamRoads, row: int, at: datetime) -> Why | None:
    machine = roads.team.machine.name
    if not math.isfinite(job.minutes):
        words = "How long the mowing takes is not known; it needs the machine's working width."
        return Why(machine, "mowing time", "unknown", words)
    if roads.found.far[row]:
        return Why(machine, "road", "unknown", f"{roads.found.far[row]}.")
    if not roads.may(HOME, row, at):
        return _road(machine, roads.move(HOME, row, at), "there")
    return road_since(roads, row, at)


def _another_way_back(roads: TeamRoads, row: int) -> bool:
    """Whether the machine can drive on to another field, and so home by a round."""
    on = np.flatnonzero(roads.drive_s[row] >= 0)
    return bool(len(set(on.tolist()) - {row, HOME}))


def _road(machine: str, move: Move | None, where: str) -> Why:
    if move is None or math.isnan(move.length_m):
        return Why(machine, "road", "unknown", f"The map shows no way {where}.")
    bad = [
        one
        for one in (*move.findings, *move.refusals)
        if one.level == move.level and one.what not in (WHOLE_WAY, OTHER_STATE)
    ]
    head = "is refused" if move.level == "stop" else "has something unknown"
    words = f"The way {where} {head}: {'; '.join(counted(bad))}."
    return Why(machine, "road", move.level, words, tuple(move.survey))


def counted(findings: Sequence[Finding]) -> list[str]:
    """What was found, each kind once: with its place, or with the number of its places.

    Examples
    --------
    >>> import dataclasses
    >>> turn = Finding(level="ok", what="turn", where="from A into B", why="", basis="mapped")
    >>> counted([turn]), counted([turn, dataclasses.replace(turn, where="bend of B")]), counted([])
    (['turn from A into B'], ['turn at 2 places'], [])
    """
    kinds: dict[str, dict[str, Finding]] = {}
    for one in findings:
        kinds.setdefault(one.what, {})[one.where] = one
    return [
        said_at(next(iter(held.values()))) if len(held) == 1 else f"{what} at {len(held)} places"
        for what, held in kinds.items()
    ]


def said_at(finding: Finding) -> str:
    """A finding and its place in a few words.

    Examples
    --------
    >>> one = Finding(level="ok", what="turn", where="from A into B", why="", basis="mapped")
    >>> said_at(one)
    'turn from A into B'
    """
    joined = "" if finding.where.startswith("from ") else "at "
    return f"{finding.what} {joined}{finding.where}"


def road_since(roads: TeamRoads, row: int, at: datetime) -> Why | None:
    """What bars a field's road, there or back, now that its drives were looked at one by one."""
    machine = roads.team.machine.name
    if roads.drive_s[HOME, row] < 0:
        return _road(machine, roads.move(HOME, row, roads.refused.get((HOME, row), at)), "there")
    if roads.drive_s[row, HOME] < 0 and not _another_way_back(roads, row):
        return _road(machine, roads.move(row, HOME, roads.refused.get((row, HOME), at)), "back")
    return None


def no_room(job: Job, crew: Crew, number: int, *, clock: Clock, machine: str) -> Why:
    """Why a field that could be driven to and mown is not in the day.

    Parameters
    ----------
    job : Job
    crew : Crew
    number : int
        Which entry of ``job.work_s`` is the crew's.
    clock : Clock
    machine : str
    """
    work = job.work_s[number] or 0
    room = max(0, job.late_s - job.early_s)
    if work > room:
        words = _longer(work, room, job, clock)
    elif timetable((0,), [job], crew, number) is not None:
        words = "It fits by itself, not beside the others in the plan."
    elif timetable((0,), [job], crew._replace(barred_s=()), number) is not None:
        words = "The hours in which your own rules bar the road leave no room for it."
    else:
        words = "The drive there and back, the mowing and what goes with it do not fit the hours."
    return Why(machine, "time", "ok", words)


def _longer(work: int, room: int, job: Job, clock: Clock) -> str:
    if room == 0:
        return "There are no hours for it on this day."
    return (
        f"Mowing takes {work // _S_PER_MIN} min; its hours, {clock.moment(job.early_s):%H:%M} to "
        f"{clock.moment(job.late_s):%H:%M}, are {room // _S_PER_MIN} min."
    )


def slow_end(
    done: Round, jobs: Sequence[Job], crew: Crew, number: int, *, ids: Sequence[str], clock: Clock
) -> tuple[str, ...]:
    """What the slow end of the mowing does to a day, in words.

    Parameters
    ----------
    done : Round
        The day as planned.
    jobs : sequence of Job
        With the minutes of the slow end.
    crew : Crew
    number : int
        Which entry of ``work_s`` is the crew's.
    ids : sequence of str
        Names of the jobs.
    clock : Clock
    """
    order = tuple(visit.job for visit in done.visits)
    open_ended = [job._replace(late_s=_NEVER) for job in jobs]
    late = timetable(order, open_ended, crew._replace(late_s=_NEVER), number)
    if late is None or late.back_s <= done.back_s:
        return ()
    late_back, back = clock.moment(late.back_s), clock.moment(done.back_s)
    words = [f"At the slow end of the mowing it is back at {late_back:%H:%M}, not at {back:%H:%M}."]
    words += [
        f"{ids[visit.job]} is then mown at {clock.moment(visit.end_s):%H:%M}, after its hours end "
        f"at {clock.moment(jobs[visit.job].late_s):%H:%M}."
        for visit in late.visits
        if visit.end_s > jobs[visit.job].late_s
    ]
    if late.back_s > crew.late_s:
        words.append(f"That is after the hours end at {clock.moment(crew.late_s):%H:%M}.")
    return tuple(words)
