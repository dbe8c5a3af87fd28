"""``fieldmap assess``: risk, findings, settings, maps and sheets for the fields of a farm."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fieldmap.cli.options import (
    Day,
    Debug,
    FieldIds,
    Folder,
    Json,
    MachineId,
    Out,
    Overwrite,
    Strict,
    target,
)
from fieldmap.cli.reply import Reply, columns, err
from fieldmap.errors import Fault, MisuseError, StoreError

if TYPE_CHECKING:
    from fieldmap.assessment import Assessment
    from fieldmap.farm import Farm

_ADDRESS = re.compile(r"[a-z]+://[^\s/:]+:\d{1,5}")


def assess(
    folder: Folder,
    field: FieldIds = None,
    machine: MachineId = None,
    date: Day = None,
    out: Out = None,
    pages: Annotated[bool, typer.Option("--pages/--no-pages", help="Write the HTML pages.")] = True,
    cluster: Annotated[
        str | None,
        typer.Option(
            "--cluster", metavar="ADDRESS", help="A Dask scheduler that shares the files."
        ),
    ] = None,
    overwrite: Overwrite = False,
    strict: Strict = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Assess the fields before a cut: what lies there, the slopes, how to set the mower."""
    del json, debug, strict
    from fieldmap.cli.asked_day import asked_day
    from fieldmap.farm import load_farm
    from fieldmap.write.assessment import write_assessment
    from fieldmap.write.files import fields_json

    farm = load_farm(folder)
    day = asked_day(date, farm.settings.zone())
    err(f"assessing {len(field or farm.fields)} fields ...")
    done = _assessed(farm, day=day, machine_id=machine, field_ids=field or (), cluster=cluster)
    where = out or target(folder, field or [])
    err("writing ...")
    written = write_assessment(done, where, pages=pages, overwrite=overwrite)
    rows = [(one.field_id, one.level, one.reason) for one in done.answers]
    counts = ", ".join(f"{number} {level}" for level, number in done.counts().items())
    return Reply(
        result=fields_json(done) | {"files": [str(path) for path in written]},
        lines=[
            *columns(rows, head=("field", "answer", "why")),
            "",
            f"{len(rows)} fields: {counts}. 'ok' means that nothing was found against it, no more.",
            f"open {written[0]}" if pages else f"written to {where}",
        ],
        warnings=done.farm.notes,
        attention=any(one.level in ("stop", "unknown") for one in done.answers),
    )


def _assessed(farm: Farm, *, cluster: str | None, **asked: Any) -> Assessment:
    """The assessment; a cluster that is no address or does not answer is told as that."""
    from fieldmap.assessment import assess

    if cluster is None:
        return assess(farm, **asked)
    if not _ADDRESS.fullmatch(cluster):
        raise MisuseError(
            Fault(
                "--cluster is not an address",
                cluster,
                "the fields cannot be sent out",
                "write it as tcp://host:8786",
            )
        )
    try:
        return assess(farm, cluster=cluster, **asked)
    except OSError as error:
        raise StoreError(
            Fault(
                "no answer from the cluster",
                str(error),
                "no field was assessed",
                "check the address and that its scheduler runs, or leave --cluster out",
                where=cluster,
            )
        ) from error
