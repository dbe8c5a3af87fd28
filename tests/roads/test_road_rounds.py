"""The order of a day's jobs: small days by hand, all orders tried as a referee, and rules."""

from __future__ import annotations

import random
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldmap.roads.rounds import FEW, _of_few, rounds
from fieldmap.roads.timetable import Crew, Job, drives_of, timetable

HOUR, MIN = 3600, 60
FREE = Job(1, 0, 24 * HOUR, (HOUR,))


def line(*metres, each=60):
    """Places along one road; a drive takes a minute for each of their steps apart."""
    at = np.array(metres)
    return np.abs(at[:, None] - at[None, :]) * each


def crew(drive_s, *, early=0, late=24 * HOUR, home=0, barred=(), more=None):
    return Crew(home, early, late, np.array(drive_s, dtype=np.int64), tuple(barred), more)


def best_of_all(jobs, one, number=0):
    """Most jobs and then least driving of every order of every choice of jobs."""
    best = (0, 0)
    for count in range(1, len(jobs) + 1):
        for order in permutations(range(len(jobs)), count):
            found = timetable(order, jobs, one, number)
            if found is not None:
                best = max(best, (count, -found.cost_s))
    return best


def reached(found, number=0):
    return len(found.rounds[number].visits), -found.rounds[number].cost_s


def order_of(found, number=0):
    return [visit.job for visit in found.rounds[number].visits]


# by hand


def test_three_fields_along_a_road_are_driven_out_and_home_without_a_way_twice():
    """By hand: home at 0, fields at 10, 20 and 30 minutes; out and back is 60 min of driving."""
    jobs = [Job(at, 0, 24 * HOUR, (HOUR,)) for at in (2, 1, 3)]
    found = rounds(jobs, [crew(line(0, 10, 20, 30))])
    assert reached(found) == (3, -60 * MIN)
    assert found.left == ()


def test_times_by_hand():
    """By hand: work from 08:00; 20 min of road, 10 of looking, an hour of mowing, 5 of folding."""
    jobs = [Job(1, 9 * HOUR, 18 * HOUR, (HOUR,), before_s=10 * MIN, after_s=5 * MIN)]
    found = rounds(jobs, [crew(line(0, 20), early=8 * HOUR, late=20 * HOUR)])
    (visit,) = found.rounds[0].visits
    assert visit.arrive_s == 8 * HOUR + 50 * MIN  # the mowing begins at 09:00, not before
    assert visit.leave_s == 8 * HOUR + 30 * MIN  # it need not stand about in the gate from 08:20
    assert (visit.begin_s, visit.end_s) == (9 * HOUR, 10 * HOUR)
    assert visit.ready_s == 10 * HOUR + 5 * MIN
    assert found.rounds[0].back_s == 10 * HOUR + 25 * MIN


def test_a_window_turns_the_order_round():
    """By hand: the near field may only be mown in the evening, so it comes last."""
    jobs = [Job(1, 15 * HOUR, 20 * HOUR, (HOUR,)), Job(2, 0, 24 * HOUR, (2 * HOUR,))]
    found = rounds(jobs, [crew(line(0, 10, 30), early=8 * HOUR)])
    assert order_of(found) == [1, 0]


def test_what_ends_a_second_after_its_window_is_left_out_and_named():
    """By hand: 20 min there and an hour; a window of 80 min holds it, one second less does not."""
    one = [crew(line(0, 20))]
    assert rounds([Job(1, 0, 80 * MIN, (HOUR,))], one).left == ()
    assert rounds([Job(1, 0, 80 * MIN - 1, (HOUR,))], one).left == (0,)


def test_home_again_before_the_day_ends():
    """By hand: 20 min there, an hour, 20 min home are 100 min."""
    drive = line(0, 20)
    assert rounds([FREE], [crew(drive, late=100 * MIN)]).left == ()
    assert rounds([FREE], [crew(drive, late=100 * MIN - 1)]).left == (0,)


def test_where_no_way_leads_back_nothing_is_planned():
    """By hand: there is a way there and none home."""
    drive = line(0, 20)
    drive[1, 0] = -1
    assert rounds([FREE], [crew(drive)]).left == (0,)


def test_a_field_with_a_way_in_from_another_one_only():
    """By hand: home to 2 is barred, 1 to 2 is not, so 1 comes first though 2 is first named."""
    drive = line(0, 10, 20)
    drive[0, 2] = -1
    jobs = [Job(2, 0, 24 * HOUR, (HOUR,)), Job(1, 0, 24 * HOUR, (HOUR,))]
    found = rounds(jobs, [crew(drive)])
    assert order_of(found) == [1, 0]
    assert rounds(jobs[:1], [crew(drive)]).left == (0,)


def test_each_machine_does_what_it_can():
    """By hand: the second machine is too wide for field 1, the first too slow for field 2."""
    jobs = [Job(1, 0, 3 * HOUR, (HOUR, None)), Job(2, 0, 3 * HOUR, (4 * HOUR, HOUR))]
    found = rounds(jobs, [crew(line(0, 10, 20)), crew(line(0, 10, 20))])
    assert [order_of(found, k) for k in (0, 1)] == [[0], [1]]


def test_the_quicker_machine_has_the_later_last_start():
    """By hand: a window that ends at noon; an hour's work may begin at 11, three hours' may not."""
    jobs = [Job(1, 0, 12 * HOUR, (3 * HOUR, HOUR))]
    both = [crew(line(0, 10), early=10 * HOUR), crew(line(0, 10), early=10 * HOUR)]
    found = rounds(jobs, both)
    assert [order_of(found, k) for k in (0, 1)] == [[], [0]]


def test_what_is_unknown_on_a_drive_is_driven_round():
    """By hand: one way round has something unknown on two drives, the other way round nothing."""
    doubt = np.zeros((3, 3), dtype=np.int64)
    drive = np.array([[0, 15, 15], [15, 0, 10], [15, 10, 0]]) * MIN
    doubt[1, 2] = doubt[2, 0] = HOUR
    jobs = [Job(1, 0, 24 * HOUR, (HOUR,)), Job(2, 0, 24 * HOUR, (HOUR,))]
    assert reached(rounds(jobs, [crew(drive)])) == (2, -40 * MIN)
    found = rounds(jobs, [crew(drive, more=doubt)])
    assert order_of(found) == [1, 0]  # 2 to 1 and 1 to home have nothing unknown
    assert found.rounds[0].drive_s == found.rounds[0].cost_s == 40 * MIN


def test_a_job_is_done_by_one_machine_only():
    """By hand: two machines, three jobs, each in exactly one day."""
    jobs = [Job(at, 0, 4 * HOUR, (2 * HOUR, 2 * HOUR)) for at in (1, 2, 3)]
    found = rounds(jobs, [crew(line(0, 1, 2, 3)), crew(line(0, 1, 2, 3))])
    done = [*order_of(found, 0), *order_of(found, 1)]
    assert sorted([*done, *found.left]) == [0, 1, 2]
    assert len(done) == 2


def test_machines_start_where_they_stand():
    """By hand: each machine stands beside one of the fields, 60 min from the other."""
    jobs = [Job(2, 0, 24 * HOUR, (HOUR, HOUR)), Job(3, 0, 24 * HOUR, (HOUR, HOUR))]
    drive = line(0, 60, 1, 59)
    found = rounds(jobs, [crew(drive), crew(drive, home=1)])
    assert [order_of(found, k) for k in (0, 1)] == [[0], [1]]


def test_nobody_drives_in_barred_hours():
    """By hand: barred from 10:00 to 11:00; mown at 09:40 it waits in the field until 11:00."""
    jobs = [Job(1, 0, 24 * HOUR, (HOUR,))]
    school = ((10 * HOUR, 11 * HOUR),)
    found = rounds(jobs, [crew(line(0, 19), early=8 * HOUR + 21 * MIN, barred=school)])
    (visit,) = found.rounds[0].visits
    assert visit.ready_s == 9 * HOUR + 40 * MIN
    assert found.rounds[0].back_s == 10 * HOUR - MIN
    late = rounds(jobs, [crew(line(0, 20), early=8 * HOUR + 20 * MIN, barred=school)])
    assert late.rounds[0].leave_s == 11 * HOUR
    assert late.rounds[0].back_s == 11 * HOUR + 20 * MIN


def test_a_road_barred_all_day_leaves_everything_out():
    """By hand."""
    found = rounds([FREE], [crew(line(0, 20), barred=((0, 24 * HOUR),))])
    assert found.left == (0,)


def test_barred_hours_do_not_stop_a_field_beside_the_yard():
    """By hand: no drive, so no road."""
    found = rounds([FREE], [crew(line(0, 0), barred=((0, 24 * HOUR),))])
    assert found.left == ()


def test_a_day_without_hours_or_jobs_is_empty_and_no_crash():
    """By hand."""
    assert rounds([FREE], [crew(line(0, 20), early=HOUR, late=HOUR)]).left == (0,)
    assert rounds([], [crew(line(0))]).rounds[0].visits == ()
    assert rounds([FREE], []).left == (0,)


def test_the_drives_of_a_round_are_told_home_to_home():
    """By hand: ten minutes out, an hour, ten on, an hour, twenty home."""
    jobs = [Job(1, 0, 24 * HOUR, (HOUR,)), Job(2, 0, 24 * HOUR, (HOUR,))]
    one = crew(line(0, 10, 20))
    found = timetable((0, 1), jobs, one, 0)
    leaves = [0, 70 * MIN, 140 * MIN]
    assert drives_of(found, jobs, 0) == [(0, 1, leaves[0]), (1, 2, leaves[1]), (2, 0, leaves[2])]
    assert drives_of(rounds([], [one]).rounds[0], [], 0) == []


# referee and property


def invented(seed, count, *, barred):
    """A day with gaps in its roads, narrow windows and now and then barred hours."""
    rng = random.Random(seed)  # noqa: S311
    at = np.array([(rng.uniform(0, 1e4), rng.uniform(0, 1e4)) for _ in range(count + 1)])
    drive = (np.hypot(*(at[:, None] - at[None, :]).transpose(2, 0, 1)) / 8).astype(np.int64)
    for _ in range(rng.choice([0, 0, 4])):
        row, column = rng.randrange(count + 1), rng.randrange(count + 1)
        if row != column:
            drive[row, column] = -1
    jobs = [
        Job(
            row + 1,
            rng.choice([0, 9 * HOUR, 11 * HOUR]),
            rng.choice([13, 17, 20]) * HOUR,
            (rng.randint(HOUR // 2, 5 * HOUR // 2),),
            5 * MIN,
            5 * MIN,
        )
        for row in range(count)
    ]
    hours = ((12 * HOUR, 13 * HOUR), (16 * HOUR, 16 * HOUR + 20 * MIN)) if barred else ()
    doubt = np.array([[rng.choice([0, 0, 1, 3]) for _ in drive] for _ in drive]) * HOUR
    np.fill_diagonal(doubt, 0)
    more = doubt if seed % 3 == 0 else None
    return jobs, crew(
        drive, early=7 * HOUR, late=rng.choice([15, 18, 20]) * HOUR, barred=hours, more=more
    )


@pytest.mark.parametrize("barred", [False, True], ids=["open", "barred hours"])
@pytest.mark.parametrize("seed", range(25))
def test_referee_all_orders_agree_on_jobs_and_driving(seed, barred):
    """Referee: every order of every choice of up to six jobs, tried one by one."""
    jobs, one = invented(seed, 2 + seed % 5, barred=barred)
    assert reached(rounds(jobs, [one])) == best_of_all(jobs, one)


@pytest.mark.parametrize("seed", range(100, 112))
def test_referee_every_order_is_tried_where_hours_are_barred(seed):
    """Referee: from nothing to the best of all orders, without PyVRP's help."""
    jobs, one = invented(seed, 5, barred=True)
    order_ = _of_few([()], jobs, one, 0)
    found = timetable(order_, jobs, one, 0)
    assert (len(order_), -found.cost_s) == best_of_all(jobs, one)


@pytest.mark.parametrize("seed", range(12))
def test_referee_two_machines_of_their_own_speed(seed):
    """Referee: every way of giving five jobs to two machines, and every order of each."""
    jobs, one = invented(seed, 5, barred=False)
    rng = random.Random(seed)  # noqa: S311
    works = [(job.work_s[0], rng.choice([None, HOUR // 2, 4 * HOUR])) for job in jobs]
    jobs = [job._replace(work_s=work) for job, work in zip(jobs, works, strict=True)]
    crews = [one, one._replace(late_s=one.late_s - 2 * HOUR, drive_s=one.drive_s * 2)]
    crews = [held._replace(drive_s=np.where(held.drive_s < 0, -1, held.drive_s)) for held in crews]
    best = (0, 0)
    for given_ in range(2 ** len(jobs)):
        parts = [
            [job if (given_ >> at & 1) == k else job._replace(work_s=(None, None))
             for at, job in enumerate(jobs)]
            for k in (0, 1)
        ]  # fmt: skip
        each = [best_of_all(part, crews[k], k) for k, part in enumerate(parts)]
        best = max(best, (each[0][0] + each[1][0], each[0][1] + each[1][1]))
    found = rounds(jobs, crews)
    assert (
        sum(len(held.visits) for held in found.rounds),
        -sum(held.cost_s for held in found.rounds),
    ) == best


def test_referee_seven_jobs():
    """Referee: all 13,700 orders of seven jobs."""
    jobs, one = invented(7, 7, barred=False)
    assert reached(rounds(jobs, [one])) == best_of_all(jobs, one)


def breaks(found, jobs, crews):
    """What a plan does that it must not."""
    wrong = []
    for number, (one, crew_) in enumerate(zip(found.rounds, crews, strict=True)):
        at, ready = crew_.home, crew_.early_s
        for visit in one.visits:
            job = jobs[visit.job]
            way = crew_.drive_s[at, job.place]
            arrived = visit.arrive_s + job.before_s
            rules = {
                "no way": way >= 0 and visit.arrive_s - visit.leave_s == way,
                "left too soon": visit.leave_s >= ready,
                "too early": visit.begin_s >= max(job.early_s, arrived),
                "too late": visit.end_s <= job.late_s,
                "not its work": visit.end_s - visit.begin_s == job.work_s[number],
                "barred": not crosses(visit.leave_s, visit.arrive_s, crew_),
            }
            wrong += [name for name, kept in rules.items() if not kept]
            at, ready = job.place, visit.ready_s
        wrong += ["home too late"] if one.visits and one.back_s > crew_.late_s else []
        wrong += ["barred home"] if crosses(one.leave_s, one.back_s, crew_) else []
    return wrong


def crosses(leave, arrive, crew_):
    return any(leave < end and begin <= arrive for begin, end in crew_.barred_s if leave < arrive)


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 10**6), st.integers(0, FEW + 3), st.booleans())
def test_property_no_rule_is_broken_and_every_job_is_in_one_day_or_left(seed, count, barred):
    """Property: windows, hours, ways and barred hours hold, also where not every order is tried."""
    jobs, one = invented(seed, count, barred=barred)
    jobs = [job._replace(work_s=job.work_s * 2) for job in jobs]
    crews = [one, one._replace(late_s=one.late_s - HOUR)]
    found = rounds(jobs, crews, steps=100)
    done = [visit.job for held in found.rounds for visit in held.visits]
    assert breaks(found, jobs, crews) == []
    assert sorted([*done, *found.left]) == list(range(len(jobs)))


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 10**6), st.integers(1, 6), st.integers(1, 5 * HOUR), st.booleans())
def test_property_more_daylight_never_means_fewer_jobs(seed, count, more, barred):
    """Property: a longer evening only ever adds."""
    jobs, one = invented(seed, count, barred=barred)
    later = [job._replace(late_s=job.late_s + more) for job in jobs]
    short = rounds(jobs, [one], steps=300)
    long = rounds(later, [one._replace(late_s=one.late_s + more)], steps=300)
    assert len(long.left) <= len(short.left)


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 10**6), st.integers(1, 6))
def test_property_a_way_taken_away_never_means_more_jobs(seed, count):
    """Property: removing a road adds no job."""
    jobs, one = invented(seed, count, barred=False)
    fewer = one.drive_s.copy()
    fewer[0, 1 + seed % count] = -1
    less = rounds(jobs, [one._replace(drive_s=fewer)], steps=300)
    assert len(less.left) >= len(rounds(jobs, [one], steps=300).left)


def test_regression_the_same_day_twice_is_the_same_plan():
    """Regression: a seed and steps, no clock."""
    jobs, one = invented(3, 12, barred=True)
    assert rounds(jobs, [one]) == rounds(jobs, [one])
