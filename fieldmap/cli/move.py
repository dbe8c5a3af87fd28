"""``fieldmap move``: is the road from here to there wide, high and strong enough."""

from __future__ import annotations

from typing import Annotated

import typer

from fieldmap.cli.options import Day, Debug, Folder, Json, MachineId, Out, Overwrite, Strict
from fieldmap.cli.reply import Reply, columns


def move(
    folder: Folder,
    start: Annotated[
        str, typer.Option("--from", help="Place, gate, field, or latitude,longitude.")
    ],
    goal: Annotated[str, typer.Option("--to", help="Place, gate, field, or latitude,longitude.")],
    machine: MachineId = None,
    state: Annotated[
        str | None, typer.Option("--state", help="Transport state [default: the first].")
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
    from fieldmap.finding import LEVEL_WORDS
    from fieldmap.journey import plan_move
    from fieldmap.units import shown
    from fieldmap.write.move import move_json, write_move

    farm = load_farm(folder)
    day = asked_day(date, farm.settings.zone()).isoformat()
    done = plan_move(farm, start=start, goal=goal, machine_id=machine, state=state)
    written = write_move(done, farm, out or folder / "outputs", day=day, overwrite=overwrite)
    units = farm.settings.units
    survey = [
        (
            row["where"],
            row["measure"],
            shown(row["must_beat"], row["unit"], units)
            if row["must_beat"] is not None
            else "an answer",
        )
        for row in done.survey
    ]
    refused = [(one.where, one.what, one.why) for one in done.refusals]
    lines = [
        f"{start} to {goal} with {done.machine}, {done.state}: {LEVEL_WORDS[done.level]}",
        done.reason,
        f"{len(done.legs)} legs, {shown(done.length_m / 1000, 'km', units)}",
    ]
    if survey:
        lines += ["", *columns(survey, head=("go and measure", "what", "must beat"))]
    if refused:
        lines += ["", *columns(refused, head=("refused on the direct way", "check", "why"))]
    lines += [
        "",
        "The map is volunteer data; signs on the ground and the road authority decide.",
        f"open {written[0]}",
    ]
    return Reply(
        result=move_json(done, farm, day=day) | {"files": [str(path) for path in written]},
        lines=lines,
        warnings=(*farm.notes, *done.warnings),
        attention=done.level in ("stop", "unknown"),
    )
