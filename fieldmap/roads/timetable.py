"""When a machine is where in a day: drives, work and waiting for a given order of jobs."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Order = tuple[int, ...]


class Job(NamedTuple):
    """A piece of work at a place, in seconds of the day.

    ``place`` is a row of the drives. The work itself must lie between ``early_s`` and ``late_s``;
    ``before_s`` and ``after_s`` are spent at the place before and after it. ``work_s`` has one
    entry a crew: how long that crew works, ``None`` when it cannot do the job.
    """

    place: int
    early_s: int
    late_s: int
    work_s: tuple[int | None, ...]
    before_s: int = 0
    after_s: int = 0


class Crew(NamedTuple):
    """A machine and its driver: from when to when, where from, and how long each drive takes.

    ``drive_s`` has a row and a column a place, -1 where there is no way. During ``barred_s``
    (from, to) nobody of the crew is on a road; a drive of no length is none. It comes back to
    ``home`` by ``late_s``. ``more_s`` is what a drive counts for beyond its time when orders are
    held against each other: what is not known of it; ``None`` is nothing.
    """

    home: int
    early_s: int
    late_s: int
    drive_s: Ints
    barred_s: tuple[tuple[int, int], ...] = ()
    more_s: Ints | None = None

    @property
    def cost_s(self) -> Ints:
        """What each drive counts for; -1 where there is no way."""
        if self.more_s is None:
            return self.drive_s
        return np.where(self.drive_s < 0, -1, self.drive_s + self.more_s)


class Visit(NamedTuple):
    """A job in its place of the day, seconds of the day.

    ``leave_s`` is when the crew sets out for it, ``arrive_s`` when it is there; the work is from
    ``begin_s`` to ``end_s``, and ``ready_s`` is when the crew may drive on.
    """

    job: int
    leave_s: int
    arrive_s: int
    begin_s: int
    end_s: int
    ready_s: int


class Round(NamedTuple):
    """One crew's day: its visits, when it leaves the last of them and when it is back.

    ``drive_s`` is the time on the road, ``cost_s`` what the drives count for.
    """

    visits: tuple[Visit, ...]
    leave_s: int
    back_s: int
    drive_s: int
    cost_s: int


def timetable(order: Order, jobs: Sequence[Job], crew: Crew, number: int) -> Round | None:
    """When the crew is where, each drive and job as early as may be; ``None`` when it cannot be.

    Parameters
    ----------
    order : tuple of int
        Rows of ``jobs``.
    jobs : sequence of Job
    crew : Crew
    number : int
        Which entry of ``work_s`` is the crew's.

    Examples
    --------
    No driving from 01:00 to 02:00, and the job takes until 01:10: the crew waits in the field.

    >>> there = np.array([[0, 600], [600, 0]])
    >>> crew = Crew(0, 0, 9000, there, ((3600, 7200),))
    >>> found = timetable((0,), [Job(1, 0, 9000, (3600,))], crew, 0)
    >>> found.visits[0].ready_s, found.leave_s, found.back_s
    (4200, 7200, 7800)

    The same with an hour less, and a day with nothing in it:

    >>> timetable((0,), [Job(1, 0, 9000, (3600,))], crew._replace(late_s=5400), 0) is None
    True
    >>> timetable((), [], crew, 0).drive_s
    0
    """
    at, ready, driven, counted = crew.home, crew.early_s, 0, 0
    visits = []
    costs = crew.cost_s
    for row in order:
        visit = visited(row, jobs[row], crew, number, at=at, ready_s=ready)
        if visit is None:
            return None
        counted += int(costs[at, jobs[row].place])
        at, ready = jobs[row].place, visit.ready_s
        driven += visit.arrive_s - visit.leave_s
        visits.append(visit)
    leave, back = home_again(crew, at=at, ready_s=ready)
    if back is None:
        return None
    counted += int(costs[at, crew.home])
    return Round(tuple(visits), leave, back, driven + back - leave, counted)


def visited(row: int, job: Job, crew: Crew, number: int, *, at: int, ready_s: int) -> Visit | None:
    """The next job from a place and a moment on; ``None`` when it does not fit."""
    work, way = job.work_s[number], int(crew.drive_s[at, job.place])
    if work is None or way < 0:
        return None
    leave = first_free(ready_s, way, crew.barred_s)
    begin = max(leave + way + job.before_s, job.early_s)
    end = begin + work
    return (
        None if end > job.late_s else Visit(row, leave, leave + way, begin, end, end + job.after_s)
    )


def home_again(crew: Crew, *, at: int, ready_s: int) -> tuple[int, int | None]:
    """When the crew leaves for home and when it is there, ``None`` when that is too late."""
    way = int(crew.drive_s[at, crew.home])
    leave = first_free(ready_s, way, crew.barred_s)
    return leave, None if way < 0 or leave + way > crew.late_s else leave + way


def first_free(ready_s: int, way: int, barred: Sequence[tuple[int, int]]) -> int:
    """The first second at which a drive can begin that touches no barred hours.

    Examples
    --------
    A drive that ends the second they begin is on the road then:

    >>> first_free(0, 59, [(60, 120)]), first_free(0, 60, [(60, 120)]), first_free(0, 0, [(0, 9)])
    (0, 120, 0)
    """
    for begin, end in sorted(barred):
        if way > 0 and ready_s < end and begin <= ready_s + way:
            ready_s = end
    return ready_s


def at_ease(found: Round, jobs: Sequence[Job], crew: Crew) -> Round:
    """The same day, setting out from home no sooner than the first job asks for."""
    if not found.visits:
        return found
    first, *others = found.visits
    way = first.arrive_s - first.leave_s
    wished = first.begin_s - jobs[first.job].before_s - way
    leave = max(_latest(wished, way, crew.barred_s), first.leave_s)
    moved = first._replace(leave_s=leave, arrive_s=leave + way)
    return found._replace(visits=(moved, *others))


def _latest(leave_s: int, way: int, barred: Sequence[tuple[int, int]]) -> int:
    """The last second not after ``leave_s`` at which a drive touches no barred hours."""
    for begin, end in sorted(barred, reverse=True):
        if way > 0 and leave_s < end and begin <= leave_s + way:
            leave_s = begin - way - 1
    return leave_s


def drives_of(done: Round, jobs: Sequence[Job], home: int) -> list[tuple[int, int, int]]:
    """The drives of a day: from place, to place, when it leaves (s); without visits none."""
    if not done.visits:
        return []
    places = [home, *(jobs[visit.job].place for visit in done.visits), home]
    leaves = [*(visit.leave_s for visit in done.visits), done.leave_s]
    return [(*ends, leave) for ends, leave in zip(pairwise(places), leaves, strict=True)]
