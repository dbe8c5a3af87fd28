"""``fieldmap poor-cut``: what to look at, and in which order, when the cut is poor."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fieldmap.cli.options import Day, Debug, Json, MachineId
from fieldmap.cli.reply import Reply, columns
from fieldmap.errors import Fault, MisuseError

if TYPE_CHECKING:
    from fieldmap.finding import Finding
    from fieldmap.tables import Tables
    from fieldmap.units import System


def poor_cut(
    folder: Annotated[
        Path | None, typer.Argument(metavar="FOLDER", help="The farm folder.", show_default=False)
    ] = None,
    machine: MachineId = None,
    saw: Annotated[
        list[str] | None,
        typer.Option("--saw", metavar="WORDS", help="What is wrong with it; may be repeated."),
    ] = None,
    speed_kmh: Annotated[
        float | None,
        typer.Option("--speed-kmh", min=0.1, max=60, help="How fast it was mown, km/h."),
    ] = None,
    date: Day = None,
    show: Annotated[bool, typer.Option("--list", help="Only what may be said to --saw.")] = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """What to look at, in order, when the cut is poor; common practice, no source."""
    del json, debug
    from fieldmap.tables import load_tables

    if show:
        return _listed(load_tables())
    if folder is None:
        raise MisuseError(
            Fault("no farm named", "no FOLDER", "the checks go by the machine", "name its folder")
        )
    return _answer(folder, machine, saw or [], speed_kmh, date)


def _answer(
    folder: Path, machine_id: str | None, saw: list[str], speed_kmh: float | None, day: str | None
) -> Reply:
    from fieldmap.advice.poor_cut import asked_symptoms, poor_cut
    from fieldmap.cli.asked_day import asked_day
    from fieldmap.farm import load_farm
    from fieldmap.ledger import knives_on

    farm = load_farm(folder, with_roads=False)
    seen = asked_symptoms(saw, farm.tables)
    one = farm.machine(machine_id)
    if one is None:
        raise MisuseError(
            Fault(
                "no machine in the folder",
                "no machines.toml",
                "the checks go by the machine",
                "name a machines file in farm.toml",
            )
        )
    knives = knives_on(farm, one, day=asked_day(day, farm.settings.zone()))
    checks = poor_cut(
        seen,
        speed_kmh=speed_kmh,
        machine=one,
        knives=[held.finding for held in knives],
        tables=farm.tables,
    )
    return Reply(
        result={
            "machine": one.id,
            "symptoms": _symptoms(farm.tables, seen),
            "checks": [check.as_dict() for check in checks],
        },
        lines=_lines(checks, farm.settings.units),
        warnings=farm.notes,
    )


def _listed(tables: Tables) -> Reply:
    names = tuple(row.key.split(".", 1)[1] for row in tables.rows("cut_symptoms"))
    held = _symptoms(tables, names)
    return Reply(
        result={"machine": None, "symptoms": held, "checks": []},
        lines=columns([(one["key"], one["words"]) for one in held], head=("say", "what it is")),
    )


def _symptoms(tables: Tables, keys: tuple[str, ...]) -> list[dict[str, str]]:
    return [{"key": key, "words": tables[f"cut_symptoms.{key}"].words["label"]} for key in keys]


def _lines(checks: list[Finding], units: System) -> list[str]:
    from fieldmap.units import shown

    lines = [checks[0].caution, ""]
    for number, one in enumerate(checks, start=1):
        speed = ""
        if one.value is not None:
            held = shown(one.value, one.unit, units), shown(one.limit, one.unit, units)
            speed = f" ({held[0]}; limit {held[1]})"
        lines += [f"{number}. {one.what}{speed}", f"   {one.why}", f"   Then: {one.choice}."]
    return lines
