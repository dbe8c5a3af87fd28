"""Two assessments held side by side as files: the page, the table and the JSON."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from fieldmap import JSON_SCHEMA
from fieldmap.machine import Machine
from fieldmap.supposing import WhatIf
from fieldmap.what_changed import CHOICES, FindingChange
from fieldmap.write.files import plain
from fieldmap.write.outputs import Outputs
from fieldmap.write.what_if_items import choices_of, figures_of
from fieldmap.write.what_if_page import what_if_page, what_if_payload

PAGE, TABLE, DATA = "what_if.html", "what_if.csv", "what_if.json"
_DIGITS = 6  # what subtracting leaves behind the figures
_FIELD = (
    "field_id", "name", "change", "level_before", "level_after", "reason_before",
    "reason_after", "findings_worse", "findings_better",
)  # fmt: skip
_FINDING = (
    "about", "what", "way", "level_before", "level_after", "value_before", "value_after",
    "unit_before", "unit_after", "choice_before", "choice_after",
)  # fmt: skip


def write_what_if(found: WhatIf, out: str | Path, *, overwrite: bool = False) -> tuple[Path, ...]:
    """Write ``what_if.html``, ``what_if.csv`` and ``what_if.json`` into a folder.

    Parameters
    ----------
    found : WhatIf
    out : str or Path
        The folder; made when it is not there.
    overwrite : bool
        Also over files that fieldmap did not write.

    Returns
    -------
    tuple of Path
        The page first.

    Raises
    ------
    StoreError
        Disk or permission.
    InputError
        A file in the way is not ours.
    """
    folder = Path(out)
    with Outputs(folder, group="what-if", overwrite=overwrite) as files:
        files.text(PAGE, what_if_page(what_if_payload(found)))
        files.text(TABLE, what_if_csv(found))
        files.json(DATA, what_if_json(found))
    return tuple(folder / name for name in files.names)


def what_if_csv(found: WhatIf) -> str:
    """``what_if.csv``: the columns of ``WhatIf.table``; several sentences with ``|`` between."""
    table = found.table.round(_DIGITS)
    for column in ("gone", "new"):
        table[column] = [" | ".join(held) for held in table[column]]
    return str(table.to_csv(index=False, lineterminator="\n"))


def what_if_json(found: WhatIf) -> dict[str, Any]:
    """``what_if.json``, also what ``fieldmap what-if --json`` gives: plain JSON types, SI."""
    settings = found.before.farm.settings
    return {
        "schema": JSON_SCHEMA,
        "farm": settings.name,
        "note": settings.note,
        "day": found.before.day.isoformat(),
        "machine": machine_id(found.before.machine),
        "machine_then": machine_id(found.after.machine),
        "assumed": list(found.assumed),
        "cautions": list(found.cautions),
        "notes": list(found.notes),
        "cleared": [one._asdict() | {"fields": list(one.fields)} for one in found.cleared],
        "counts": found.counts(),
        "fields": [
            _field(row, found.findings[row["field_id"]]) for row in found.table.to_dict("records")
        ],
    }


def machine_id(machine: Machine | None) -> str | None:
    """The machine's id, ``None`` without one."""
    return None if machine is None else machine.id


def _field(row: Mapping[Any, Any], findings: tuple[FindingChange, ...]) -> dict[str, Any]:
    return {
        **{name: plain(row[name]) for name in _FIELD},
        "figures": [
            {"figure": figure.column, "words": figure.words}
            | {
                when: _rounded(row[f"{figure.column}_{when}"])
                for when in ("before", "after", "difference")
            }
            for figure in figures_of(row)
        ],
        "choices": [
            {
                "choice": column,
                "words": CHOICES[column],
                "before": str(row[f"{column}_before"] or ""),
                "after": str(row[f"{column}_after"] or ""),
            }
            for column in choices_of(row)
        ],
        "gone": list(row["gone"]),
        "new": list(row["new"]),
        "findings": [
            {name: getattr(one, name) for name in _FINDING} | {"sources": list(one.sources)}
            for one in findings
        ],
    }


def _rounded(held: Any) -> float | None:
    known = plain(held)
    return None if known is None or pd.isna(known) else round(float(known), _DIGITS)
