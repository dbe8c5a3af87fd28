"""``fieldmap day``: which fields, in which order, so that they fit the day and the road."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fieldmap.cli.options import Day as Date
from fieldmap.cli.options import Debug, Folder, Json, Out, Overwrite, Strict
from fieldmap.cli.reply import Reply, columns, err

if TYPE_CHECKING:
    from datetime import time

    from fieldmap.day_answer import DayPlan, Drive, TeamDay
    from fieldmap.day_left import Left
    from fieldmap.units import System

Machines = Annotated[
    list[str] | None,
    typer.Option(
        "--machine", metavar="ID", help="Machine id; may be repeated [default: the first]."
    ),
]
Starts = Annotated[
    list[str] | None,
    typer.Option(
        "--from",
        metavar="PLACE",
        help="Where it starts: once for all, or once for each --machine [default: home].",
    ),
]
States = Annotated[
    list[str] | None,
    typer.Option(
        "--state",
        metavar="NAME",
        help="Transport state: once for all, or once for each --machine [default: the first].",
    ),
]
Fields = Annotated[
    str | None,
    typer.Option("--fields", metavar="ID,ID", help="Only these fields [default: all]."),
]
Begin = Annotated[
    str | None, typer.Option("--start", metavar="HH:MM", help="Work begins [default: sunrise].")
]
End = Annotated[
    str | None, typer.Option("--end", metavar="HH:MM", help="Back by [default: sunset].")
]
AfterDark = Annotated[bool, typer.Option("--after-dark", help="Drive and mow by night too.")]
WithUnknown = Annotated[
    bool,
    typer.Option("--with-unknown", help="Also over ways with something unknown on them."),
]
WithStop = Annotated[
    bool, typer.Option("--with-stop", help="Also fields that say stop, once that is done.")
]
Sheets = Annotated[
    bool, typer.Option("--sheets", help="Also page, cab sheet and GPX of every drive.")
]


def day(
    folder: Folder,
    machine: Machines = None,
    date: Date = None,
    start_place: Starts = None,
    state: States = None,
    fields: Fields = None,
    start: Begin = None,
    end: End = None,
    after_dark: AfterDark = False,
    with_unknown: WithUnknown = False,
    with_stop: WithStop = False,
    sheets: Sheets = False,
    out: Out = None,
    overwrite: Overwrite = False,
    strict: Strict = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Put the fields of a day in an order: mowing, ways that pass every check, daylight.

    What does not fit, and what no such way leads to, is listed with the reason.
    """
    del json, debug, strict
    from fieldmap.cli.asked_day import asked_day
    from fieldmap.day_plan import Wish, plan_day
    from fieldmap.farm import load_farm
    from fieldmap.write.day import day_json, write_day

    wish = Wish(
        machine_ids=tuple(machine or ()),
        starts=tuple(start_place or ()),
        states=tuple(state or ()),
        field_ids=_field_ids(fields),
        start=_clock(start, "--start"),
        end=_clock(end, "--end"),
        after_dark=after_dark,
        with_unknown=with_unknown,
        with_stop=with_stop,
    )
    farm = load_farm(folder)
    err(f"assessing {len(wish.field_ids or farm.fields)} fields, then their roads ...")
    plan = plan_day(farm, wish, day=asked_day(date, farm.settings.zone()))
    written = write_day(plan, out or folder / "outputs", sheets=sheets, overwrite=overwrite)
    return Reply(
        result=day_json(plan) | {"files": [str(path) for path in written]},
        lines=[
            *_lines(plan),
            f"open {written[0]}",
            *(f"sheet for the cab: {path}" for path in written if path.stem.endswith("-sheet")),
        ],
        warnings=farm.notes,
        attention=plan.level in ("stop", "unknown") or bool(plan.left),
    )


def _field_ids(text: str | None) -> tuple[str, ...]:
    parts = () if text is None else text.split(",")
    return tuple(dict.fromkeys(part.strip() for part in parts if part.strip()))


def _clock(text: str | None, option: str) -> time | None:
    from fieldmap.errors import Fault, MisuseError
    from fieldmap.read.day_settings import clock

    try:
        return None if text is None else clock(text)
    except ValueError as error:
        raise MisuseError(
            Fault(
                f"{option} is not a time of day", text or "", "the day is planned by it", str(error)
            )
        ) from None


def _lines(plan: DayPlan) -> list[str]:
    """The cautions, each machine's timetable, what is left and why."""
    from fieldmap.finding import LEVEL_WORDS
    from fieldmap.write.day_payload import CAUTIONS

    units = plan.farm.settings.units
    hours = plan.hours
    begin, close = plan.clock.moment(hours.early_s), plan.clock.moment(hours.late_s)
    hours_told = f"{begin:%H:%M} to {close:%H:%M} ({plan.farm.settings.time_zone})"
    lines = [
        f"{plan.day.isoformat()}, {hours_told}: {LEVEL_WORDS[plan.level]}",
        *plan.notes,
    ]
    for team in plan.teams:
        lines += ["", *_team(team, units)]
    if plan.left:
        lines += ["", *columns(_left(plan.left, len(plan.teams)), head=("not in the day", "why"))]
    return [*lines, *_hints(plan), "", *CAUTIONS]


def _hints(plan: DayPlan) -> list[str]:
    """Which option plans with what was left out."""
    reasons = [(why.kind, why.level) for one in plan.left for why in one.reasons]
    hints = []
    if ("road", "unknown") in reasons and not plan.unknown:
        hints.append("--with-unknown plans with ways that have something unknown on them.")
    if ("ground", "stop") in reasons:
        hints.append("--with-stop plans with fields that say stop, once that is done.")
    return ["", *hints] if hints else []


def _team(team: TeamDay, units: System) -> list[str]:
    who = f"{team.team.machine.name}, {team.team.state}, from {team.team.start}"
    if not team.stops:
        return [f"{who}: nothing fits."]
    head = ("to", "leave", "arrive", "mow", "go on", "on the road", "road is", "field is")
    rows = [
        (
            stop.job.field_id,
            f"{stop.drive.leave:%H:%M}",
            f"{stop.drive.arrive:%H:%M}",
            f"{stop.mow_from:%H:%M}-{stop.mow_to:%H:%M}",
            f"{stop.leave:%H:%M}",
            _road(stop.drive, units),
            str(stop.drive.level),
            str(stop.job.level),
        )
        for stop in team.stops
    ]
    if team.home is not None:
        times = (f"{team.home.leave:%H:%M}", f"{team.home.arrive:%H:%M}", "", "")
        rows.append((team.home.goal, *times, _road(team.home, units), team.home.level, ""))
    drives = [(f"{one.start} to {one.goal}", _why(one)) for one in team.drives]
    fields = [(one.job.field_id, one.job.reason) for one in team.stops]
    return [
        who,
        *columns(rows, head=head),
        "",
        *columns(drives, head=("drive", "what was found on it")),
        "",
        *columns(fields, head=("field", "what its own answer says")),
        *(["", *team.slow] if team.slow else []),
    ]


def _road(drive: Drive, units: System) -> str:
    from fieldmap.units import shown

    minutes = (drive.arrive - drive.leave).total_seconds() / 60.0
    return f"{shown(drive.length_m / 1000, 'km', units)}, {shown(minutes, 'min', units)}"


def _why(drive: Drive) -> str:
    from fieldmap.write.day_payload import drive_why

    return drive_why(drive)


def _left(left: tuple[Left, ...], machines: int) -> list[tuple[str, str]]:
    rows = []
    for one in left:
        for why in one.reasons:
            who = f"{why.machine}: " if machines > 1 else ""
            measure = [f"{row['measure']} at {row['where']}" for row in why.survey]
            go = f" Measure: {'; '.join(measure)}." if measure else ""
            rows.append((one.field_id, f"{who}{why.why}{go}"))
    return rows
