"""``fieldmap ledger``: writes down what was mown and changed, and tells how far the knives are."""

from __future__ import annotations

import dataclasses
import datetime as dt
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fieldmap.cli.options import Debug, Folder, Json, Strict
from fieldmap.cli.reply import Reply, columns
from fieldmap.errors import Fault, MisuseError

if TYPE_CHECKING:
    from fieldmap.farm import Farm
    from fieldmap.machine import Machine
    from fieldmap.risk.told import Told


class Knives(StrEnum):
    """What was done to the knives."""

    changed = "changed"
    turned = "turned"
    looked_at = "looked-at"


def ledger(
    folder: Folder,
    machine: Annotated[
        str | None,
        typer.Option(
            "--machine", metavar="ID", help="Machine id [default: all; to write, the one]."
        ),
    ] = None,
    mown: Annotated[
        list[str] | None,
        typer.Option("--mown", metavar="FIELD", help="A field it mowed; may be repeated."),
    ] = None,
    area_ha: Annotated[
        float | None,
        typer.Option("--area-ha", help="Of one field: hectares of it [default: the whole]."),
    ] = None,
    knives: Annotated[
        Knives | None,
        typer.Option("--knives", help="What was done to its knives, before the mowing named."),
    ] = None,
    date: Annotated[
        str | None,
        typer.Option("--date", metavar="YYYY-MM-DD", help="When it was [default: today]."),
    ] = None,
    who: Annotated[str, typer.Option("--who", metavar="NAME", help="Who says so.")] = "",
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="In your own words.")] = "",
    strict: Strict = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Write down mowing and knife changes; tell hectares and hits since, by machine."""
    del json, debug, strict
    from fieldmap.cli.asked_day import asked_day
    from fieldmap.farm import load_farm

    farm = load_farm(folder, with_roads=False)
    day = asked_day(date, farm.settings.zone())
    done = None if knives is None else knives.value
    said = {"mown": mown or (), "knives": done, "area_ha": area_ha, "who": who, "note": note}
    rows = _rows(farm, machine, day, said)
    farm, notes = _written(farm, rows)
    return _reply(farm, [farm.machine(machine)] if machine else [*farm.machines], rows, day, notes)


def _rows(
    farm: Farm, machine: str | None, day: dt.date, said: dict[str, Any]
) -> list[dict[str, str]]:
    """What is to be written down; nothing when nothing was said."""
    from fieldmap.cli.asked_day import asked_day
    from fieldmap.ledger import new_rows

    if said["mown"] or said["knives"]:
        _not_to_come(day, asked_day(None, farm.settings.zone()))
        return new_rows(farm, machine, day=day, **said)
    if said["area_ha"] is not None or said["who"] or said["note"]:
        raise MisuseError(
            Fault(
                "nothing to write down",
                "neither --mown nor --knives",
                "what was done is not known",
                "say --mown FIELD or --knives changed",
            )
        )
    return []


def _not_to_come(day: dt.date, today: dt.date) -> None:
    if day > today:
        raise MisuseError(
            Fault(
                "a day that has not come yet",
                day.isoformat(),
                "what will be done is not known",
                "give the day on which it was done",
            )
        )


def _written(farm: Farm, rows: list[dict[str, str]]) -> tuple[Farm, list[str]]:
    """The farm with the rows written and read again, and what to tell of that."""
    from fieldmap.farm_files import ledger_name
    from fieldmap.ledger import area_of
    from fieldmap.read.ledger import Known, read_ledger
    from fieldmap.write.ledger import append_to_ledger

    if not rows:
        return farm, [*farm.notes]
    name = ledger_name(farm.settings)
    path = Path(farm.folder) / name
    new = not path.exists()
    append_to_ledger(path, rows)
    known = Known([one.id for one in farm.machines], area_of(farm))
    table, notes = read_ledger(path, known=known)
    said = [note for note in farm.notes if not note.startswith(f"{path.name}: ")]
    if new and farm.settings.files.ledger is None:
        line = f'{name} was made; put ledger = "{name}" under [files] in farm.toml'
        notes = (*notes, f"{line} (it is read beside farm.toml without the line too)")
    return dataclasses.replace(farm, ledger=table), [*said, *notes]


def _reply(
    farm: Farm,
    machines: list[Machine | None],
    rows: list[dict[str, str]],
    day: dt.date,
    notes: list[str],
) -> Reply:
    from fieldmap.farm_files import ledger_name
    from fieldmap.ledger import knives_on

    told = {one.id: knives_on(farm, one, day=day) for one in machines if one is not None}
    levels = [one.finding.level for held in told.values() for one in held]
    return Reply(
        result={
            "ledger": None if farm.ledger is None else ledger_name(farm.settings),
            "day": day.isoformat(),
            "written": [_row_json(row) for row in rows],
            "machines": [_machine_json(name, held) for name, held in told.items()],
        },
        lines=[
            *(f"written: {' '.join(filter(None, row.values()))}" for row in rows),
            *_table(farm, told),
        ],
        warnings=tuple(notes),
        attention=any(level in ("stop", "unknown") for level in levels),
    )


def _row_json(row: dict[str, str]) -> dict[str, Any]:
    area = row.get("area_ha")
    held: dict[str, Any] = {key: row.get(key, "") for key in ("date", "machine", "did", "field_id")}
    return held | {"area_ha": float(area) if area else None, "note": row["note"], "who": row["who"]}


def _machine_json(machine_id: str, told: list[Told]) -> dict[str, Any]:
    from fieldmap.finding import worst

    return {
        "machine": machine_id,
        "level": worst(one.finding.level for one in told),
        "findings": [one.finding.as_dict() for one in told],
        "to_change": [one.change for one in told if one.change],
    }


def _table(farm: Farm, told: dict[str, list[Told]]) -> list[str]:
    from fieldmap.units import shown

    units = farm.settings.units
    findings = [one.finding for held in told.values() for one in held]
    rows = [
        (
            one.where,
            one.what,
            shown(one.value, one.unit, units),
            "not given" if one.limit is None else shown(one.limit, one.unit, units),
            one.level,
            one.why,
        )
        for one in findings
    ]
    changes = dict.fromkeys(one.change for held in told.values() for one in held if one.change)
    head = ("machine", "what", "so far", "interval", "answer", "why")
    caution = dict.fromkeys(one.caution for one in findings)
    return [
        *columns(rows, head=head),
        "",
        *(f"to change it: {change}" for change in changes),
        *caution,
    ]
