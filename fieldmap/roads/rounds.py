"""In which order machines go round their jobs in a day: as many jobs as fit, then least driving.

The order is looked for by PyVRP (Wouda, Lan and Kool 2024, INFORMS Journal on Computing 36), with
a seed and a number of steps and never by the clock, so that the same day gives the same plan. PyVRP
knows no hours in which the road is barred: with them the order it finds is mended here.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from pyvrp import Client, ClientGroup, Depot, Location, ProblemData, Solution, VehicleType, solve
from pyvrp.exceptions import PenaltyBoundWarning
from pyvrp.stop import MaxIterations

from fieldmap.roads.timetable import (
    Crew,
    Job,
    Order,
    Round,
    at_ease,
    home_again,
    timetable,
    visited,
)

#: Steps of the search; more find nothing better on the days that the tests hold against all orders.
STEPS = 2000
#: Jobs up to which every order is tried when hours are barred.
FEW = 9
#: How long a drive takes that must not be (s): ten days fit into no day.
_NEVER_S = 10 * 86_400

_Pair = tuple[int, int]  # a job and a crew that can do it


class Rounds(NamedTuple):
    """One round a crew, and the jobs that are in none."""

    rounds: tuple[Round, ...]
    left: tuple[int, ...]


def rounds(
    jobs: Sequence[Job], crews: Sequence[Crew], *, steps: int = STEPS, seed: int = 0
) -> Rounds:
    """The day of each crew: the most jobs, and with as many jobs the least costly driving.

    Parameters
    ----------
    jobs : sequence of Job
    crews : sequence of Crew
        All with drives over the same places.
    steps, seed : int
        Of PyVRP; the same figures give the same days.

    Notes
    -----
    Where hours are barred, jobs that no longer fit are taken out of PyVRP's order and put in where
    they do; for one crew and up to :data:`FEW` jobs every order is tried. With more of them a
    better order may be missed, a rule never.

    Examples
    --------
    One crew that drives a minute between any two of three places, and two jobs of an hour:

    >>> drive = np.full((3, 3), 60) - 60 * np.eye(3, dtype=int)
    >>> two = [Job(1, 0, 7200, (3600,)), Job(2, 0, 7400, (3600,))]
    >>> day = rounds(two, [Crew(0, 0, 9000, drive)])
    >>> [visit.job for visit in day.rounds[0].visits], day.rounds[0].back_s, day.left
    ([0, 1], 7380, ())

    Nothing to do, and a job that is longer than the day:

    >>> rounds([], [Crew(0, 0, 9000, drive)]).rounds[0].visits
    ()
    >>> rounds([Job(1, 0, 7200, (8000,))], [Crew(0, 0, 9000, drive)]).left
    (0,)
    """
    orders = _searched(jobs, crews, steps=steps, seed=seed)
    orders = [_thinned(order, jobs, crew, k) for k, order, crew in _numbered(orders, crews)]
    orders = _filled(orders, jobs, crews)
    for number, crew in enumerate(crews):
        if crew.barred_s:
            orders[number] = _of_few(orders, jobs, crew, number)
    found = [timetable(order, jobs, crew, k) for k, order, crew in _numbered(orders, crews)]
    done = tuple(
        Round((), crew.early_s, crew.early_s, 0, 0) if held is None else at_ease(held, jobs, crew)
        for held, crew in zip(found, crews, strict=True)
    )
    return Rounds(done, tuple(_left(orders, len(jobs))))


def _left(orders: Sequence[Order], count: int) -> list[int]:
    inside = {job for order in orders for job in order}
    return [job for job in range(count) if job not in inside]


def _numbered(orders: Sequence[Order], crews: Sequence[Crew]) -> list[tuple[int, Order, Crew]]:
    return [(k, orders[k], crew) for k, crew in enumerate(crews)]


def _thinned(order: Order, jobs: Sequence[Job], crew: Crew, number: int) -> Order:
    """The order without what keeps it from fitting: one job where that will do, else the last."""
    while order and timetable(order, jobs, crew, number) is None:
        fewer = [order[:at] + order[at + 1 :] for at in range(len(order))]
        found = [(timetable(one, jobs, crew, number), one) for one in fewer]
        fit = [(held.cost_s, one) for held, one in found if held is not None]
        order = min(fit)[1] if fit else order[:-1]
    return order


def _filled(orders: list[Order], jobs: Sequence[Job], crews: Sequence[Crew]) -> list[Order]:
    """The orders with every job put in that still fits somewhere, the least costly place first."""
    while True:
        left = _left(orders, len(jobs))
        fits = [one for job in left for one in _places_for(job, orders, jobs, crews)]
        if not fits:
            return orders
        _, number, order = min(fits)
        orders = [order if k == number else held for k, held in enumerate(orders)]


def _places_for(
    job: int, orders: list[Order], jobs: Sequence[Job], crews: Sequence[Crew]
) -> list[tuple[int, int, Order]]:
    """Cost added, crew and order for each place in a day where a job still fits."""
    found = []
    for number, order, crew in _numbered(orders, crews):
        was = timetable(order, jobs, crew, number)
        for at in range(len(order) + 1):
            tried = (*order[:at], job, *order[at:])
            held = timetable(tried, jobs, crew, number)
            if held is not None:
                more = held.cost_s - (0 if was is None else was.cost_s)
                found.append((more, number, tried))
    return found


class _Label(NamedTuple):
    """A beginning of a day: what its drives count for, when it is ready, and the jobs so far."""

    cost_s: int
    ready_s: int
    order: Order


def _of_few(orders: list[Order], jobs: Sequence[Job], crew: Crew, number: int) -> Order:
    """The best order of a crew's jobs and those left, where they are few; else its own."""
    own = orders[number]
    tried = [*own, *_left(orders, len(jobs))]
    doable = [job for job in tried if jobs[job].work_s[number] is not None]
    if len(doable) > FEW:
        return own
    best = own
    begun = [_Label(0, crew.early_s, ())]
    for count in range(len(doable) + 1):
        done = [
            (one.cost_s + home, one.order) for one in begun for home in _way_home(one, jobs, crew)
        ]
        if done and count >= len(own):
            best = min(done)[1]
        begun = _longer(begun, doable, jobs, crew, number)
    return best


def _way_home(label: _Label, jobs: Sequence[Job], crew: Crew) -> list[int]:
    at = jobs[label.order[-1]].place if label.order else crew.home
    _, back = home_again(crew, at=at, ready_s=label.ready_s)
    return [] if back is None else [int(crew.cost_s[at, crew.home])]


def _longer(
    begun: list[_Label], doable: list[int], jobs: Sequence[Job], crew: Crew, number: int
) -> list[_Label]:
    """Every beginning with one job more; of the same jobs and last place only what may win."""
    costs = crew.cost_s
    kept: dict[tuple[frozenset[int], int], list[_Label]] = {}
    for label in begun:
        at = jobs[label.order[-1]].place if label.order else crew.home
        for job in doable:
            if job in label.order:
                continue
            visit = visited(job, jobs[job], crew, number, at=at, ready_s=label.ready_s)
            if visit is None:
                continue
            cost = label.cost_s + int(costs[at, jobs[job].place])
            longer = _Label(cost, visit.ready_s, (*label.order, job))
            _keep(kept.setdefault((frozenset(longer.order), job), []), longer)
    return [label for held in kept.values() for label in held]


def _keep(held: list[_Label], new: _Label) -> None:
    """Keep a beginning unless another costs no more and is ready no later."""
    if any(one.cost_s <= new.cost_s and one.ready_s <= new.ready_s for one in held):
        return
    held[:] = [one for one in held if one.cost_s < new.cost_s or one.ready_s < new.ready_s]
    held.append(new)


def _searched(jobs: Sequence[Job], crews: Sequence[Crew], *, steps: int, seed: int) -> list[Order]:
    """What PyVRP finds, hours that are barred left aside: one order a crew."""
    pairs = [
        (row, number)
        for row, job in enumerate(jobs)
        for number, crew in enumerate(crews)
        if _has_room(job, crew, number)
    ]
    if not pairs:
        return [()] * len(crews)
    data = _problem(jobs, crews, pairs)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", PenaltyBoundWarning)
        found = solve(data, MaxIterations(steps), seed=seed, collect_stats=False, display=False)
    return _orders(found.best, pairs, len(crews)) if found.is_feasible() else [()] * len(crews)


def _has_room(job: Job, crew: Crew, number: int) -> bool:
    """Whether the crew can do the job at all and its hours are long enough."""
    work = job.work_s[number]
    return work is not None and max(job.early_s, crew.early_s) + work <= min(
        job.late_s, crew.late_s
    )


def _problem(jobs: Sequence[Job], crews: Sequence[Crew], pairs: list[_Pair]) -> ProblemData:
    """A client a job and crew; of the clients of one job at most one is visited.

    A crew takes only clients of its own: each crew has a load of its own kind, and room for no
    other. What a job takes may then differ from crew to crew, and its last moment with it.
    """
    most = max(int(crew.cost_s.max(initial=0)) for crew in crews)
    prize = most * (len(jobs) + len(crews)) + 1  # more than all drives of any day count for
    rows = sorted({row for row, _ in pairs})
    groups = [
        ClientGroup([at for at, (job, _) in enumerate(pairs) if job == row], required=False)
        for row in rows
    ]
    clients = [
        _client(jobs[row], len(crews), number, prize=prize, group=rows.index(row))
        for row, number in pairs
    ]
    drives: list[Any] = [np.where(crew.drive_s < 0, _NEVER_S, crew.drive_s) for crew in crews]
    costs: list[Any] = [np.where(crew.drive_s < 0, _NEVER_S, crew.cost_s) for crew in crews]
    return ProblemData(
        [Location(0, 0) for _ in range(len(drives[0]))],
        clients,
        [Depot(location=crew.home) for crew in crews],
        [_vehicle(crew, number, len(crews), len(jobs)) for number, crew in enumerate(crews)],
        costs,
        drives,
        groups,
    )


def _client(job: Job, crews: int, number: int, *, prize: int, group: int) -> Client:
    work = job.work_s[number] or 0
    return Client(
        location=job.place,
        delivery=[int(k == number) for k in range(crews)],
        service_duration=job.before_s + work + job.after_s,
        tw_early=max(0, job.early_s - job.before_s),
        tw_late=max(0, job.late_s - work - job.before_s),
        prize=prize,
        required=False,
        group=group,
    )


def _vehicle(crew: Crew, number: int, crews: int, most: int) -> VehicleType:
    return VehicleType(
        capacity=[most if k == number else 0 for k in range(crews)],
        start_depot=number,
        end_depot=number,
        tw_early=crew.early_s,
        tw_late=max(crew.early_s, crew.late_s),
        profile=number,
    )


def _orders(best: Solution, pairs: list[_Pair], crews: int) -> list[Order]:
    orders: list[Order] = [()] * crews
    for route in best.routes():
        stops = [one.idx for one in route.schedule() if one.is_client()]
        orders[route.vehicle_type()] = tuple(pairs[stop][0] for stop in stops)
    return orders
