"""``fieldmap hazards export``: what stands in the log, for other programs and devices."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fieldmap.cli.options import Debug, Folder, Json, Overwrite
from fieldmap.cli.reply import Reply
from fieldmap.errors import Fault, MisuseError


def export(
    folder: Folder,
    file: Annotated[
        Path,
        typer.Argument(metavar="FILE", help="Its ending says how: .gpkg .geojson .gpx .kml .csv."),
    ],
    overwrite: Overwrite = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Write what stands in the log to a file that other programs and devices read."""
    del json, debug
    from fieldmap.cli.asked_day import asked_day
    from fieldmap.farm import load_farm
    from fieldmap.write.assessment import input_files
    from fieldmap.write.log_export import export_log

    farm = load_farm(folder, with_roads=False)
    if file.resolve() in {path.resolve() for path in input_files(farm)}:
        raise MisuseError(
            Fault(
                "an export over one of the farm's own files",
                file.name,
                "the log, or what else stands there, would be lost",
                "choose another name",
                where=str(file),
            )
        )
    done = export_log(
        farm.hazards,
        file,
        tables=farm.tables,
        day=asked_day(None, farm.settings.zone()),
        overwrite=overwrite,
        note=farm.settings.note,
    )
    return Reply(
        result={"file": str(done.path), "marks": done.marks},
        lines=[f"{done.marks} marks written to {done.path}"],
        warnings=done.notes,
    )
