"""A survey of slopes as files: the page with its plot, and the table behind it."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

from fieldmap import JSON_SCHEMA
from fieldmap.survey import Survey
from fieldmap.write.outputs import Outputs
from fieldmap.write.slopes import PAGE, slopes_csv, slopes_page, slopes_payload

TABLE = "slopes.csv"


def write_survey(
    found: Survey, out: str | Path, *, day: date, overwrite: bool = False
) -> tuple[Path, ...]:
    """Write ``slopes.html`` and ``slopes.csv`` into a folder.

    Parameters
    ----------
    found : Survey
        Its side-slope use holds whatever the heading.
    out : str or Path
        The folder; made when it is not there.
    day : date
        The day the page is for.
    overwrite : bool
        Also over files that fieldmap did not write.

    Returns
    -------
    tuple of Path
        The page, then the table.

    Raises
    ------
    StoreError
        Disk or permission.
    InputError
        A file in the way is not ours.
    """
    folder = Path(out)
    with Outputs(folder, group="slopes", overwrite=overwrite) as files:
        payload = slopes_payload(
            found.farm, found.table, machine=found.machine, day=day, best_heading=False
        )
        files.text(PAGE, slopes_page(payload))
        files.text(TABLE, slopes_csv(found.table))
    return tuple(folder / name for name in files.names)


def survey_json(found: Survey) -> dict[str, Any]:
    """What ``fieldmap slopes --json`` gives: the table as plain JSON types."""
    machine = found.machine
    return {
        "schema": JSON_SCHEMA,
        "farm": found.farm.settings.name,
        "note": found.farm.settings.note,
        "machine": None if machine is None else machine.id,
        "fields": json.loads(found.table.to_json(orient="records", double_precision=6)),
    }
