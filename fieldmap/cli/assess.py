"""``fieldmap assess``: risk, findings, settings, maps and sheets for the fields of a farm."""

from __future__ import annotations

from typing import Annotated

import typer

from fieldmap.cli.options import Day, Debug, Folder, Json, MachineId, Out, Overwrite, Strict
from fieldmap.cli.reply import Reply, columns


def assess(
    folder: Folder,
    field: Annotated[
        list[str] | None, typer.Option("--field", help="Only this field; may be repeated.")
    ] = None,
    machine: MachineId = None,
    date: Day = None,
    out: Out = None,
    pages: Annotated[bool, typer.Option("--pages/--no-pages", help="Write the HTML pages.")] = True,
    cluster: Annotated[
        str | None,
        typer.Option("--cluster", help="Address of a Dask scheduler that shares the files."),
    ] = None,
    overwrite: Overwrite = False,
    strict: Strict = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Assess the fields before a cut: what lies there, the slopes, how to set the mower."""
    del json, debug, strict
    from fieldmap.assessment import assess as run
    from fieldmap.cli.day import asked_day
    from fieldmap.farm import load_farm
    from fieldmap.write.assessment import write_assessment
    from fieldmap.write.files import fields_json

    farm = load_farm(folder, with_roads=pages)
    day = asked_day(date, farm.settings.zone())
    done = run(farm, day=day, machine_id=machine, field_ids=field or (), cluster=cluster)
    written = write_assessment(done, out or folder / "outputs", pages=pages, overwrite=overwrite)
    rows = [(one.field_id, one.level, one.reason) for one in done.answers]
    counts = ", ".join(f"{number} {level}" for level, number in done.counts().items())
    return Reply(
        result=fields_json(done) | {"files": [str(path) for path in written]},
        lines=[
            *columns(rows, head=("field", "answer", "why")),
            "",
            f"{len(rows)} fields: {counts}. 'ok' means that nothing was found against it, no more.",
            f"open {written[0]}" if pages else f"written {written[0].parent}",
        ],
        warnings=farm.notes,
        attention=any(one.level in ("stop", "unknown") for one in done.answers),
    )
