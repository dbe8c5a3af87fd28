"""``fieldmap move``: is the road from here to there wide, high and strong enough."""

from __future__ import annotations

from datetime import UTC, date, datetime, tzinfo
from typing import TYPE_CHECKING, Annotated

import typer

from fieldmap.cli.options import Day, Debug, Folder, Json, MachineId, Out, Overwrite, Strict
from fieldmap.cli.reply import Reply, columns
from fieldmap.errors import Fault, MisuseError

if TYPE_CHECKING:
    from fieldmap.farm import Farm
    from fieldmap.roads.move import Move


def move(
    folder: Folder,
    start: Annotated[
        str, typer.Option("--from", metavar="PLACE", help="Place, gate, field, or lat,lon.")
    ],
    goal: Annotated[
        str, typer.Option("--to", metavar="PLACE", help="Place, gate, field, or lat,lon.")
    ],
    machine: MachineId = None,
    state: Annotated[
        str | None,
        typer.Option("--state", metavar="NAME", help="Transport state [default: the first]."),
    ] = None,
    date: Day = None,
    at: Annotated[
        str | None,
        typer.Option("--at", metavar="HH:MM", help="When it begins, for light and rules by hour."),
    ] = None,
    out: Out = None,
    overwrite: Overwrite = False,
    strict: Strict = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Check a road move before the machine is on the road, and say where to measure."""
    del json, debug, strict
    from fieldmap.cli.asked_day import asked_day
    from fieldmap.farm import load_farm
    from fieldmap.journey import plan_move
    from fieldmap.write.move import move_json, write_move

    farm = load_farm(folder)
    asked, zone = asked_day(date, farm.settings.zone()), farm.settings.zone()
    day, begin = asked.isoformat(), None if at is None else asked_at(at, asked, zone)
    done = plan_move(farm, start=start, goal=goal, machine_id=machine, state=state, at=begin)
    written = write_move(done, farm, out or folder / "outputs", day=day, overwrite=overwrite)
    return Reply(
        result=move_json(done, farm, day=day) | {"files": [str(path) for path in written]},
        lines=[*_lines(done, farm), f"sheet for the cab: {written[1]}", f"open {written[0]}"],
        warnings=tuple(dict.fromkeys((*farm.notes, *done.warnings))),
        attention=done.level in ("stop", "unknown"),
    )


def asked_at(text: str, day: date, zone: tzinfo) -> datetime:
    """The moment of ``--at`` on a day of the farm's calendar.

    Raises
    ------
    MisuseError
        Not a time, or one that the clocks leave out on that day.

    Examples
    --------
    >>> from datetime import UTC
    >>> asked_at("07:30", date(2026, 6, 9), UTC).isoformat()
    '2026-06-09T07:30:00+00:00'
    """
    wrong, why = "--at is not a time of day", "light and rules by the hour are held against it"
    try:
        moment = datetime.combine(day, datetime.strptime(text, "%H:%M").time(), zone)  # noqa: DTZ007
    except ValueError:
        raise MisuseError(Fault(wrong, text, why, "write it as 07:30")) from None
    if moment.astimezone(UTC).astimezone(zone).replace(fold=0) != moment:
        wrong, mend = "the clocks leave this time out on that day", "take an hour later"
        raise MisuseError(Fault(wrong, text, why, mend))
    return moment


def _steps(done: Move, farm: Farm) -> list[tuple[str, ...]]:
    """The way in steps: number, what to do, how far, the answer."""
    from fieldmap.roads.steps import steps
    from fieldmap.write.move_items import driven

    units = farm.settings.units
    return [
        (
            str(one.n),
            one.words,
            driven(one.length_m, units) if one.length_m else "",
            one.level if one.road or one.level != "ok" else "",
            ", ".join(dict.fromkeys(met.what for met in one.met if met.level != "ok")),
        )
        for one in steps(done, farm.roads, tables=farm.tables)
    ]


def _lines(done: Move, farm: Farm) -> list[str]:
    from fieldmap.finding import LEVEL_WORDS
    from fieldmap.roads.wording import WHOLE_WAY
    from fieldmap.units import shown

    units = farm.settings.units
    ends = f"{done.names[0]} to {done.names[1]}"
    legs = f"{len(done.legs)} {'leg' if len(done.legs) == 1 else 'legs'}"
    survey = [
        (
            row["where"],
            row["measure"],
            "an answer"
            if row["must_beat"] is None
            else shown(row["must_beat"], row["unit"], units),
        )
        for row in done.survey
    ]
    told = [one for one in done.findings if one.level != "ok" and one.what != WHOLE_WAY]
    open_ = [(one.where, one.level, one.what, one.why) for one in told]
    refused = [(one.where, one.what, one.why) for one in done.refusals]
    parts = (
        (_steps(done, farm), ("step", "the way", "then", "answer", "because of")),
        (open_, ("on the way", "answer", "check", "why")),
        (survey, ("go and measure", "what", "must beat")),
        (refused, ("refused on the direct way", "check", "why")),
    )
    return [
        f"{ends} with {done.machine}, {done.state}: {LEVEL_WORDS[done.level]}",
        done.reason,
        f"{legs}, {shown(done.length_m / 1000, 'km', units)}",
        *(line for rows, head in parts if rows for line in ("", *columns(rows, head=head))),
        "",
        "The map is volunteer data; signs on the ground and the road authority decide.",
    ]
