"""``fieldmap what-if``: another machine, shoe or knives, or marks cleared, held side by side."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fieldmap.cli.options import (
    Day,
    Debug,
    FieldIds,
    Folder,
    Json,
    MachineId,
    Overwrite,
    Strict,
)
from fieldmap.cli.reply import Reply, columns, err

if TYPE_CHECKING:
    from fieldmap.supposing import WhatIf

_SHOWN = 40

OtherMachine = Annotated[
    str | None, typer.Option("--other-machine", metavar="ID", help="This machine in its place.")
]
Shoe = Annotated[
    str | None, typer.Option("--skid-shoe", metavar="NAME", help="It carries this shoe alone.")
]
Knives = Annotated[
    str | None,
    typer.Option("--knives", metavar="KIND", help="It carries low_lift or high_lift alone."),
]
ClearedMarks = Annotated[
    list[str] | None,
    typer.Option(
        "--cleared",
        metavar="ID",
        help="This mark is cleared; may be repeated. 'all': what may be picked up.",
    ),
]
Out = Annotated[
    Path | None,
    typer.Option("--out", metavar="DIR", help="Where to write [default: nothing is written]."),
]


def what_if(
    folder: Folder,
    field: FieldIds = None,
    machine: MachineId = None,
    other_machine: OtherMachine = None,
    skid_shoe: Shoe = None,
    knives: Knives = None,
    cleared: ClearedMarks = None,
    date: Day = None,
    out: Out = None,
    overwrite: Overwrite = False,
    strict: Strict = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Hold the answers against those with another machine, shoe or knives, or marks cleared.

    Nothing is written into the log. A mark cleared on paper is not a cleared field.
    """
    del json, debug, strict
    from fieldmap.cli.asked_day import asked_day
    from fieldmap.farm import load_farm
    from fieldmap.supposing import what_if as asked_twice
    from fieldmap.write.what_if import what_if_json, write_what_if

    farm = load_farm(folder)
    day = asked_day(date, farm.settings.zone())
    err(f"assessing {len(field or farm.fields)} fields twice ...")
    found = asked_twice(
        farm,
        day=day,
        machine_id=machine,
        field_ids=field or (),
        other_machine=other_machine,
        shoe=skid_shoe,
        knives=None if knives is None else knives.replace("-", "_"),  # type: ignore[arg-type]
        cleared=cleared or (),
    )
    written = () if out is None else write_what_if(found, out, overwrite=overwrite)
    return Reply(
        result=what_if_json(found) | {"files": [str(path) for path in written]},
        lines=[*_lines(found), *(f"open {path}" for path in written[:1])],
        warnings=(*found.before.farm.notes, *found.notes),
        attention=any(one.level in ("stop", "unknown") for one in found.after.answers),
    )


def _lines(found: WhatIf) -> list[str]:
    """The cautions, what was assumed, the fields, what of them is not the same."""
    records = found.table.to_dict("records")
    changed = [row for row in records if row["change"] != "none"]
    figures = [line for row in changed for line in _figures(found, row)]
    worse = [line for row in records for line in _worse(found, row["field_id"])]
    lines = [*found.cautions, "", *(f"assumed: {line}" for line in found.assumed)]
    for head, rows in (
        (("field", "answer", "why then"), [_field(row) for row in records]),
        (("field", "figure", "as it is", "then", "difference"), figures),
        (("field", "finding that gets worse", "as it is", "then"), worse),
    ):
        lines += ["", *columns(rows[:_SHOWN], head=head)] if rows else []
        lines += [f"and {len(rows) - _SHOWN} more"] if len(rows) > _SHOWN else []
    return [*lines, "", _summary(found)]


def _summary(found: WhatIf) -> str:
    counts = found.counts()
    number = sum(counts.values())
    return (
        f"{number} {'field' if number == 1 else 'fields'}: "
        f"{counts['worse']} worse, {counts['better']} better, "
        f"{counts['figures']} with the same answer but other findings or figures, "
        f"{counts['none']} unchanged. 'ok' means that nothing was found against it, no more."
    )


def _field(row: dict[Any, Any]) -> tuple[str, ...]:
    before, after = row["level_before"], row["level_after"]
    answer = after if before == after else f"{before} -> {after}"
    why = "unchanged" if row["change"] == "none" else row["reason_after"]
    return str(row["field_id"]), answer, why


def _figures(found: WhatIf, row: dict[Any, Any]) -> list[tuple[str, ...]]:
    from fieldmap.write.what_if_items import figures_shown

    settings = found.before.farm.settings
    told = figures_shown(row, settings.units, currency=settings.prices.currency)
    return [(str(row["field_id"]), *one) for one in told]


def _worse(found: WhatIf, field_id: str) -> list[tuple[str, ...]]:
    from fieldmap.write.what_if_items import level_words

    return [
        (field_id, one.what, level_words(one.level_before), level_words(one.level_after))
        for one in found.findings[field_id]
        if one.way == "worse"
    ]
