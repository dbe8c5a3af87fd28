"""A day of mowing on a small invented farm. By hand, unless a test says otherwise."""

from __future__ import annotations

import dataclasses
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

import pytest
from day_farm import MACHINES, day_farm, spot
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldmap.day_plan import Wish, plan_day
from fieldmap.errors import InputError, MisuseError
from fieldmap.farm import load_farm
from fieldmap.finding import rank
from fieldmap.journey import plan_move

DAY = date(2026, 6, 9)  # a Tuesday; sunrise 05:06, sunset 21:21 at 50 N 11.5 E
BERLIN = ZoneInfo("Europe/Berlin")
MORNING = time(8)


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    return day_farm(tmp_path_factory.mktemp("day"))


def planned(farm, *, day=DAY, **wish):
    return plan_day(farm, Wish(**wish), day=day)


def order(plan, number=0):
    return [stop.job.field_id for stop in plan.teams[number].stops]


def why(plan):
    return {one.field_id: one.reasons for one in plan.left}


def at(hour, minute=0):
    return datetime(2026, 6, 9, hour, minute, tzinfo=BERLIN)


# roads


def test_sure_fields_are_in_the_day_and_the_others_say_why(farm):
    plan = planned(farm)
    assert sorted(order(plan)) == ["A", "B"]
    reasons = why(plan)
    assert set(reasons) == {"C", "D", "E"}
    (narrow,), (unsaid,), (far,) = (reasons[key] for key in "CDE")
    assert (narrow.kind, narrow.level) == ("road", "stop")
    assert "is refused: road width at Hill Lane (way/12)" in narrow.why
    assert (unsaid.kind, unsaid.level) == ("road", "unknown")
    assert "road width at Back Lane (way/13)" in unsaid.why
    assert "way/13" in [row["place"] for row in unsaid.survey]
    assert (far.kind, far.level) == ("road", "unknown")
    assert far.why.startswith("E is too far from any road: ")


def test_with_unknown_the_unmeasured_way_is_driven_and_the_refused_one_is_not(farm):
    plan = planned(farm, with_unknown=True)
    assert sorted(order(plan)) == ["A", "B", "D"]
    assert set(why(plan)) == {"C", "E"}
    assert plan.level == "unknown"
    (to_d,) = [one for one in plan.teams[0].drives if one.goal == "D"]
    assert to_d.level == "unknown"


def test_the_transport_state_asked_for_is_the_one_that_is_checked(farm):
    """By hand: 2.4 m wide the width of Back Lane is in doubt, 1.4 m wide it is not."""
    (wide,), (slim,) = (why(planned(farm, states=(one,)))["D"] for one in ("folded", "slim"))
    assert "road width at Back Lane" in wide.why
    assert "road width" not in slim.why


def test_going_and_measuring_opens_the_lane(tmp_path):
    """By hand: what the survey list of D asks for, answered; then D is in the day."""
    ((unsaid,),) = [
        reasons for key, reasons in why(planned(day_farm(tmp_path))).items() if key == "D"
    ]
    rows = [
        f"{row['place']},{row['kind']},"
        f"{'yes' if row['must_beat'] is None else format(row['must_beat'] + 3, '.2f')},"
        "Ines,2026-05-03,mower"
        for row in unsaid.survey
    ]
    (tmp_path / "checks.csv").write_text(
        "\n".join(["place,kind,value,who,when,machine", *rows]) + "\n", "utf-8"
    )
    text = (tmp_path / "farm.toml").read_text("utf-8")
    text = text.replace("[files]\n", '[files]\nroad_checks = "checks.csv"\n')
    (tmp_path / "farm.toml").write_text(text, "utf-8")
    assert "D" in order(planned(load_farm(tmp_path)))


def test_a_gate_that_is_too_narrow_or_unknown_keeps_the_field_out(tmp_path):
    narrow = why(planned(day_farm(tmp_path / "one", gate_m=2.0)))
    assert [narrow[key][0].level for key in "AB"] == ["stop", "stop"]
    assert "farm gate at GA" in narrow["A"][0].why
    nobody = day_farm(tmp_path / "two", gate_m=float("nan"))
    assert [why(planned(nobody))[key][0].level for key in "AB"] == ["unknown", "unknown"]
    assert sorted(order(planned(nobody, with_unknown=True))) == ["A", "B", "D"]


def test_each_drive_has_the_answer_that_move_gives(farm):
    plan = planned(farm, with_unknown=True)
    for one in plan.teams[0].drives:
        alone = plan_move(farm, start=one.start, goal=one.goal, machine_id="mower", at=one.leave)
        assert (one.level, one.length_m) == (alone.level, pytest.approx(alone.length_m))


def test_drives_take_the_road_speed_in_whole_minutes(farm):
    """By hand: 717 m at 30 km/h are 86 s, so 2 min."""
    plan = planned(farm, field_ids=("A",))
    (out, back) = plan.teams[0].drives
    assert [(one.arrive - one.leave).total_seconds() for one in (out, back)] == [120, 120]


def test_a_drive_found_worse_when_it_is_looked_at_by_itself_is_planned_round(farm, monkeypatch):
    """By hand: A to B turns out unknown, so B comes first; with B to A too only one is left."""
    import fieldmap.day_roads as module

    bad = {("A", "B")}

    def worse(farm_, *, start, goal, **more):
        found = plan_move(farm_, start=start, goal=goal, **more)
        return dataclasses.replace(found, level="unknown") if (start, goal) in bad else found

    monkeypatch.setattr(module, "plan_move", worse)
    assert order(planned(farm, field_ids=("A", "B"))) == ["B", "A"]
    bad.add(("B", "A"))
    plan = planned(farm, field_ids=("A", "B"))
    assert len(order(plan)) == 1
    bad.add(("A", "home"))
    only = planned(farm, field_ids=("A",))
    ((one,),) = why(only).values()
    assert (one.kind, one.level) == ("road", "unknown")
    assert one.why.startswith("The way back has something unknown")


def test_the_machine_starts_where_it_is_told(farm):
    lon, lat = spot(10, 0)
    plan = planned(farm, starts=(f"{lat},{lon}",), field_ids=("A", "B"))
    assert plan.teams[0].drives[0].length_m == pytest.approx(717, abs=5)


def test_a_machine_that_stands_in_the_field_drives_nowhere(farm):
    """By hand: D's own road is unmeasured, and a machine that is there already can mow it."""
    plan = planned(farm, starts=("D",), field_ids=("D",), start=MORNING)
    (only,) = plan.teams[0].stops
    assert (only.drive.length_m, only.drive.move) == (0.0, None)
    assert only.drive.arrive == only.drive.leave == at(8)
    assert plan.teams[0].home.arrive == only.leave


def test_a_start_far_from_every_road_is_a_fault_of_the_start(farm):
    with pytest.raises(InputError, match="too far from any road"):
        planned(farm, starts=("50.5,11.5",))


# hours


def test_a_day_by_hand(farm):
    """By hand: 08:00, 2 min to A, 10 of looking, 41 of mowing, 5 of folding, 2 home."""
    (day,) = planned(farm, field_ids=("A",), start=MORNING).teams
    (only,) = day.stops
    assert (only.drive.leave, only.drive.arrive) == (at(8), at(8, 2))
    assert (only.mow_from, only.mow_to, only.leave) == (at(8, 12), at(8, 53), at(8, 58))
    assert (day.home.leave, day.home.arrive) == (at(8, 58), at(9))


def test_the_farm_s_own_minutes_of_service_win(tmp_path):
    plan = planned(day_farm(tmp_path, "[day]\nservice_min = 30"), field_ids=("A",), start=MORNING)
    (only,) = plan.teams[0].stops
    assert (only.mow_from - only.drive.arrive).total_seconds() == 30 * 60


def test_hours_are_daylight_without_others_and_never_more_than_that(farm):
    plan = planned(farm, field_ids=("A",))
    assert (plan.clock.moment(plan.hours.early_s), plan.clock.moment(plan.hours.late_s)) == (
        at(5, 6), at(21, 21),
    )  # fmt: skip
    longer = planned(farm, field_ids=("A",), start=time(3), end=time(23))
    assert (longer.hours.early_s, longer.hours.late_s) == (plan.hours.early_s, plan.hours.late_s)
    assert any("sunrise, 05:06" in note for note in longer.notes)
    assert any("sunset, 21:21" in note for note in longer.notes)
    dark = planned(farm, field_ids=("A",), start=time(3), after_dark=True)
    assert dark.teams[0].stops[0].drive.leave == at(3)


def test_windows_and_dew(tmp_path):
    lines = '[day]\nstart = "08:00"\ndew_off = "10:30"\n[day.windows]\nA = "14:00-16:00"'
    plan = planned(day_farm(tmp_path, lines), field_ids=("A", "B"))
    assert order(plan) == ["B", "A"]
    (b, a) = plan.teams[0].stops
    assert (b.mow_from, a.mow_from) == (at(10, 30), at(14))


def test_a_window_on_other_days_only_leaves_the_field_out(tmp_path):
    plan = planned(day_farm(tmp_path, '[day.windows]\nA = "Sa,Su 08:00-20:00"'), field_ids=("A",))
    ((one,),) = why(plan).values()
    assert (one.kind, one.why) == ("time", "There are no hours for it on this day.")


def test_too_long_too_late_and_not_beside_the_others_are_told_apart(tmp_path):
    short = planned(day_farm(tmp_path / "a", '[day.windows]\nA = "08:00-08:30"'), field_ids=("A",))
    ((one,),) = why(short).values()
    assert one.why == "Mowing takes 41 min; its hours, 08:00 to 08:30, are 30 min."
    farm = day_farm(tmp_path / "b")
    late = planned(farm, field_ids=("A",), start=MORNING, end=time(8, 55))
    ((one,),) = why(late).values()
    assert one.why.startswith("The drive there and back, the mowing and what goes with it")
    both = planned(farm, field_ids=("A", "B"), start=MORNING, end=time(9, 15))
    ((one,),) = why(both).values()
    assert one.why == "It fits by itself, not beside the others in the plan."


def test_the_road_is_not_driven_in_barred_hours(tmp_path):
    lines = '[road_rules]\nsource = "county office"\nbarred_hours = ["Mo-Fr 07:00-09:30"]'
    plan = planned(day_farm(tmp_path, lines), field_ids=("A", "B"), start=time(7))
    assert len(order(plan)) == 2
    for one in plan.teams[0].drives:
        assert one.leave >= at(9, 30)
    sunday = planned(
        day_farm(tmp_path, lines), field_ids=("A",), start=time(7), day=date(2026, 6, 7)
    )
    assert sunday.teams[0].stops[0].drive.leave.hour == 7


def test_a_road_barred_all_day_leaves_the_field_out_for_that_reason(tmp_path):
    lines = '[road_rules]\nsource = "county office"\nbarred_hours = ["00:00-24:00"]'
    plan = planned(day_farm(tmp_path, lines), field_ids=("A",))
    ((one,),) = why(plan).values()
    assert one.kind in ("road", "time")
    assert "your own" in one.why


def test_only_by_daylight_over_a_width_holds_even_after_dark(tmp_path):
    lines = '[road_rules]\nsource = "county office"\ndaylight_only_over_width_m = 2.0'
    wide = planned(day_farm(tmp_path, lines), field_ids=("A",), start=time(1), after_dark=True)
    assert wide.teams[0].stops[0].drive.leave >= at(5, 6)
    slim = planned(
        day_farm(tmp_path, lines), field_ids=("A",), start=time(1), after_dark=True,
        states=("slim",),
    )  # fmt: skip
    assert slim.teams[0].stops[0].drive.leave == at(1)


def test_polar_night_and_polar_day(farm):
    """By hand: the sun of a farm far in the north, its own roads left where they are."""
    from fieldmap.day_clock import NO_DAYLIGHT, Clock, work_hours

    places = (18.96, 69.65)
    night = work_hours(
        Clock(date(2026, 12, 21), farm), places, start=None, end=None, after_dark=False
    )
    assert night.early_s == night.late_s
    assert night.notes == (NO_DAYLIGHT,)
    day = work_hours(Clock(date(2026, 6, 21), farm), places, start=None, end=None, after_dark=False)
    assert day.late_s - day.early_s == 24 * 3600


def test_a_day_without_light_leaves_everything_out_and_is_no_crash(farm):
    plan = planned(farm, start=time(22), end=time(23))
    assert order(plan) == []
    assert len(plan.left) == 5
    assert plan.level == "unknown"


def test_the_clock_is_put_forward_and_the_hours_follow_it(farm):
    """By hand: 29 March 2026 has 23 hours in Berlin; 08:00 is 7 hours after midnight."""
    from fieldmap.day_clock import Clock

    clock = Clock(date(2026, 3, 29), farm)
    assert clock.at(MORNING) == 7 * 3600
    assert f"{clock.moment(7 * 3600):%H:%M %Z}" == "08:00 CEST"


# ground and machines


def test_a_field_that_says_stop_is_left_out_unless_asked_for(farm, monkeypatch):
    import fieldmap.day_plan as module

    found = module.field_jobs

    def stopped(*words, **more):
        return [
            dataclasses.replace(job, level="stop", reason="Do first: a drum.")
            if job.field_id == "A"
            else job
            for job in found(*words, **more)
        ]

    monkeypatch.setattr(module, "field_jobs", stopped)
    plan = planned(farm, field_ids=("A", "B"))
    assert order(plan) == ["B"]
    ((one,),) = why(plan).values()
    assert (one.kind, one.level, one.why) == ("ground", "stop", "Do first: a drum.")
    asked = planned(farm, field_ids=("A", "B"), with_stop=True)
    assert sorted(order(asked)) == ["A", "B"]
    assert asked.level == "stop"
    assert any("do first what they say" in note for note in asked.notes)


def test_a_machine_without_working_width_mows_nothing(tmp_path):
    without = MACHINES.replace("working_width_m = 3.0\n", "", 1)
    plan = planned(day_farm(tmp_path, machines=without), field_ids=("A",))
    ((one,),) = why(plan).values()
    assert (one.kind, one.level) == ("mowing time", "unknown")


def test_a_machine_without_transport_width_has_no_sure_way(tmp_path):
    without = MACHINES.replace("width_m = 2.4\n", "").replace("width_m = 1.4\n", "")
    plan = planned(day_farm(tmp_path, machines=without), field_ids=("A",))
    ((one,),) = why(plan).values()
    assert (one.kind, one.level) == ("road", "unknown")


def test_two_machines_share_the_fields_when_one_cannot_do_them_all(farm):
    wish = {"machine_ids": ("mower", "second"), "start": MORNING, "end": time(9, 15)}
    plan = planned(farm, field_ids=("A", "B"), **wish)
    assert sorted([*order(plan, 0), *order(plan, 1)]) == ["A", "B"]
    assert all(order(plan, number) for number in (0, 1))
    alone = planned(farm, field_ids=("A", "B"), start=MORNING, end=time(9, 15))
    assert len(order(alone)) == 1


def test_the_slow_end_says_what_it_does(tmp_path):
    """By hand: without a field speed the slow end of usual ones is slower than the plan."""
    unsaid = MACHINES.replace("field_speed_kmh = 12\n", "")
    farm = day_farm(tmp_path, machines=unsaid)
    plan = planned(farm, field_ids=("A",), start=MORNING)
    assert plan.teams[0].slow[0].startswith("At the slow end of the mowing it is back at")
    (only,) = plan.teams[0].stops
    over = plan.teams[0].home.arrive.time()
    tight = planned(farm, field_ids=("A",), start=MORNING, end=over)
    assert only.job.high_min > only.job.minutes
    assert any("after" in line for line in tight.teams[0].slow[1:])


@pytest.mark.parametrize(
    ("wish", "said"),
    [
        ({"machine_ids": ("nosuch",)}, "no such machine"),
        ({"machine_ids": ("mower", "mower")}, "twice"),
        ({"states": ("nosuch",)}, "no such transport state"),
        ({"starts": ("nosuch",)}, "no such place"),
        ({"starts": ("home", "home")}, "--from does not fit"),
        ({"start": time(12), "end": time(8)}, "ends before it begins"),
        ({"field_ids": ("A", "Z")}, "no such field"),
    ],
)
def test_wrong_wishes_are_told(farm, wish, said):
    with pytest.raises(MisuseError, match=said):
        planned(farm, **wish)


def test_a_window_of_a_field_that_is_not_there_is_a_fault(tmp_path):
    with pytest.raises(InputError, match="not there"):
        planned(day_farm(tmp_path, '[day.windows]\nZ = "10:00-12:00"'))


# properties


@settings(max_examples=4, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(6, 20), st.integers(0, 4), st.booleans())
def test_property_more_hours_or_more_ways_never_mean_fewer_fields(farm, end, more, unknown):
    """Property: a longer evening and ways with something unknown only ever add."""
    wish = {"field_ids": ("A", "B"), "start": time(5, 30), "end": time(end)}
    short = planned(farm, **wish)
    later = wish | {"end": time(min(end + more, 23))}
    long = planned(farm, **later, with_unknown=unknown)
    assert len(order(long)) >= len(order(short))


def test_property_no_drive_is_worse_than_asked_for(farm):
    """Property: sure ways only, unless ways with something unknown are asked for."""
    for unknown, most in ((False, "care"), (True, "unknown")):
        plan = planned(farm, with_unknown=unknown)
        assert plan.teams[0].drives
        assert all(rank(one.level) <= rank(most) for one in plan.teams[0].drives)
