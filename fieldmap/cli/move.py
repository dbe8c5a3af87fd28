"""``fieldmap move``: is the road from here to there wide, high and strong enough."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fieldmap.cli.options import Day, Debug, Folder, Json, MachineId, Out, Overwrite, Strict
from fieldmap.cli.reply import Reply, columns

if TYPE_CHECKING:
    from fieldmap.roads.move import Move
    from fieldmap.units import System


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
    out: Out = None,
    overwrite: Overwrite = False,
    strict: Strict = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Check a road move before the machine is on the road, and say where to measure."""
    del json, debug, strict
    from fieldmap.cli.day import asked_day
    from fieldmap.farm import load_farm
    from fieldmap.journey import plan_move
    from fieldmap.write.move import move_json, write_move

    farm = load_farm(folder)
    day = asked_day(date, farm.settings.zone()).isoformat()
    done = plan_move(farm, start=start, goal=goal, machine_id=machine, state=state)
    written = write_move(done, farm, out or folder / "outputs", day=day, overwrite=overwrite)
    return Reply(
        result=move_json(done, farm, day=day) | {"files": [str(path) for path in written]},
        lines=[*_lines(done, farm.settings.units), f"open {written[0]}"],
        warnings=(*farm.notes, *done.warnings),
        attention=done.level in ("stop", "unknown"),
    )


def _lines(done: Move, units: System) -> list[str]:
    from fieldmap.finding import LEVEL_WORDS
    from fieldmap.roads.wording import WHOLE_WAY
    from fieldmap.units import shown

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
