"""A day of mowing as files: page, table and JSON."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from fieldmap import JSON_SCHEMA
from fieldmap.day_answer import DayPlan
from fieldmap.write.day_page import day_page
from fieldmap.write.day_payload import (
    CAUTIONS,
    Item,
    day_payload,
    drive_findings,
    head,
    left_out,
    machine_day,
    rounded,
    survey_of,
)
from fieldmap.write.move import write_move
from fieldmap.write.move_payload import move_stem
from fieldmap.write.names import page_name
from fieldmap.write.outputs import Outputs
from fieldmap.write.payload import cited

_COLUMNS = (
    "machine", "n", "what", "field_id", "name", "area_ha", "from", "leave", "arrive", "mow_from",
    "mow_to", "go_on", "road_km", "road_min", "mowing_min", "mowing_high_min", "road_level",
    "road_why", "ground_level", "ground_why", "left_for", "left_level", "left_why",
)  # fmt: skip


def write_day(
    plan: DayPlan, out: str | Path, *, sheets: bool = False, overwrite: bool = False
) -> tuple[Path, ...]:
    """Write a day into ``days/`` of a folder: ``.html``, ``.csv`` and ``.json``.

    Parameters
    ----------
    plan : DayPlan
    out : str or Path
        The folder; made when it is not there.
    sheets : bool
        Also write every drive of the day as ``fieldmap move`` does: page, cab sheet, GPX.
    overwrite : bool
        Also over files that fieldmap did not write.

    Returns
    -------
    tuple of Path
        The page of the day first.

    Raises
    ------
    StoreError
        Disk or permission.
    InputError
        A file in the way is not ours.
    """
    folder = Path(out)
    name = day_name(plan)
    stem = f"days/{page_name(name)}"
    moves = _moves(plan, folder, overwrite=overwrite) if sheets else ()
    with Outputs(folder, group=f"day {name}", overwrite=overwrite) as files:
        payload = day_payload(plan, sheets=sheets)
        if not (folder / "index.html").is_file():
            payload["links"]["index"] = ""
        files.text(f"{stem}.html", day_page(payload))
        files.text(f"{stem}.csv", day_csv(plan))
        files.json(f"{stem}.json", day_json(plan))
    return (*(folder / path for path in files.names), *moves)


def _moves(plan: DayPlan, folder: Path, *, overwrite: bool) -> tuple[Path, ...]:
    """The files of every drive, each move once."""
    drives = [drive for team in plan.teams for drive in team.drives if drive.move is not None]
    found = {move_stem(one.move): one.move for one in drives if one.move is not None}
    day = plan.day.isoformat()
    return tuple(
        path
        for move in found.values()
        for path in write_move(move, plan.farm, folder, day=day, overwrite=overwrite)
    )


def day_name(plan: DayPlan) -> str:
    """What a day is called: its date and its machines."""
    return "-".join([plan.day.isoformat(), *(one.team.machine.id for one in plan.teams)])


def day_json(plan: DayPlan) -> Item:
    """The day as plain JSON types, SI."""
    settings = plan.farm.settings
    findings = drive_findings(plan)
    return {
        "schema": JSON_SCHEMA,
        "farm": settings.name,
        "note": settings.note,
        "day": head(plan),
        "notes": list(plan.notes),
        "cautions": list(CAUTIONS),
        "machines": [machine_day(one) for one in plan.teams],
        "left": [left_out(one) for one in plan.left],
        "findings": [one.as_dict() | {"drives": list(drives)} for one, drives in findings],
        "survey": survey_of(plan),
        "sources": cited(plan.farm, tuple(one for one, _ in findings)),
    }


def day_csv(plan: DayPlan) -> str:
    """``days/<name>.csv``: one row a field in driving order, the way home, then what is left."""
    rows: list[dict[str, Any]] = []
    for team in plan.teams:
        told = machine_day(team)
        rows += [_row(told["machine"], stop) for stop in told["stops"]]
        if told["home"] is not None:
            rows.append(
                {"machine": told["machine"], "what": "home", **_drive(told["home"])}
                | {"field_id": told["home"]["to"]}
            )
    for one in plan.left:
        rows += [
            {
                "machine": why.machine,
                "what": "not in the day",
                "field_id": one.field_id,
                "name": one.name,
                "area_ha": round(one.area_ha, 3),
                "left_for": why.kind,
                "left_level": why.level,
                "left_why": why.why,
            }
            for why in one.reasons
        ]
    return str(pd.DataFrame(rows, columns=list(_COLUMNS)).to_csv(index=False, lineterminator="\n"))


def _row(machine: str, stop: Item) -> dict[str, Any]:
    return {
        "machine": machine,
        "n": stop["n"],
        "what": "mow",
        "field_id": stop["field_id"],
        "name": stop["name"],
        "area_ha": round(stop["area_ha"], 3),
        **_drive(stop["drive"]),
        "mow_from": stop["mow_from"],
        "mow_to": stop["mow_to"],
        "go_on": stop["leave"],
        "mowing_min": stop["mowing_min"],
        "mowing_high_min": rounded(stop["mowing_high_min"], 1),
        "ground_level": stop["ground_level"],
        "ground_why": stop["ground_why"],
    }


def _drive(drive: Item) -> dict[str, Any]:
    return {
        "from": drive["from"],
        "leave": drive["leave"],
        "arrive": drive["arrive"],
        "road_km": rounded(drive["length_km"], 3),
        "road_min": drive["minutes"],
        "road_level": drive["level"],
        "road_why": drive["why"],
    }
