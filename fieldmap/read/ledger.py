"""What was mown, and when the knives were changed: a CSV file that people and a command write."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

import pandas as pd

from fieldmap.errors import Fault, InputError, raise_all
from fieldmap.read.cells import CellError, figure, moment
from fieldmap.read.columns import unused_note
from fieldmap.read.csv_guard import GUARD_COLUMN, as_written
from fieldmap.read.csv_rows import csv_rows
from fieldmap.words import plain_words

LEDGER_FILE = "ledger.csv"
COLUMNS = ("date", "machine", "did", "field_id", "area_ha", "note", "who")
MOWN = "mown"
CHANGED = "knives changed"
TURNED = "knives turned"
LOOKED = "knives looked at"
#: What can be done -> how people write it.
DID = {
    MOWN: ("mown", "mowed", "mow", "mowing"),
    CHANGED: ("knives changed", "changed", "knife change", "new knives"),
    TURNED: ("knives turned", "turned"),
    LOOKED: ("knives looked at", "looked at"),
}
_NEEDED = ("date", "machine", "did")
_HEADS = {
    "date": ("date", "day"),
    "machine": ("machine", "machine id"),
    "did": ("did", "done"),
    "field_id": ("field id", "field"),
    "area_ha": ("area ha",),
    "note": ("note", "notes"),
    "who": ("who", "by"),
}
_FIRST_YEAR, _LAST_YEAR = 1970, 2100
_MOST_HA = 100_000.0
#: An area over so many times the field's own may well be acres, and is asked about.
_ACRES_FROM = 2.0
_NAMED = 20

_Wrong = tuple[str, str, str, str]


class Known(NamedTuple):
    """What a ledger may name: machine ids, and fields with their hectares; ``None``: any."""

    machines: Collection[str] | None = None
    area_of: Mapping[str, float] | None = None


def read_ledger(path: str | Path, *, known: Known) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Read the ledger.

    Parameters
    ----------
    path : str or Path
        CSV with the columns ``date`` (2026-06-05), ``machine``, ``did`` (a word of :data:`DID`),
        and as far as there is something to say ``field_id``, ``area_ha`` (else the field's own
        area counts), ``note``, ``who``; in any order.
    known : Known
        The machines and fields that it may name.

    Returns
    -------
    DataFrame
        Columns :data:`COLUMNS` in the order of the file: ``date`` as a day, ``area_ha`` NaN
        and words "" where nothing was said.
    tuple of str
        Columns that nothing was taken from, and rows that say the same twice: both count.

    Raises
    ------
    InputError
        Every row that cannot be used, at once, with its line in the file.
    """
    file = Path(path)
    held = csv_rows(file, what="the ledger")
    names = [name.strip() for name in held.rows[0][1]] if held.rows else []
    roles, unused = _roles(names, file)
    rows: list[dict[str, Any]] = []
    faults: list[Fault] = []
    for line, cells in held.rows[1:]:
        where = f"{file.name} line {line}"
        if any(cell.strip() for cell in cells[len(names) :]):
            faults.append(_too_many(cells, len(names), where))
        said = as_written(dict(zip(names, cells, strict=False)))
        row, wrong = _row({role: said.get(name, "") for role, name in roles.items()}, known)
        faults += [
            Fault(what, seen or "nothing", why, mend, where=where)
            for what, seen, why, mend in wrong
        ]
        rows.append(row)
    raise_all(faults)
    lines = [line for line, _ in held.rows[1:]]
    return _table(rows), (*unused_note(unused, file.name), *_twice(rows, lines, file.name))


def row_faults(said: Mapping[str, str], known: Known, *, where: str) -> list[Fault]:
    """What is wrong with a row that is about to be written; texts by column."""
    return [
        Fault(what, seen or "nothing", why, mend, where=where)
        for what, seen, why, mend in _row(dict(said), known)[1]
    ]


def column_roles(names: list[str]) -> dict[str, str]:
    """Our name -> the file's, for the columns that are known.

    Examples
    --------
    >>> column_roles(["Date", "MACHINE", "plot"])
    {'date': 'Date', 'machine': 'MACHINE'}
    """
    meant = {plain: role for role, held in _HEADS.items() for plain in held}
    return {meant[plain]: name for name in names if (plain := plain_words(name)) in meant}


def _roles(names: list[str], file: Path) -> tuple[dict[str, str], list[str]]:
    roles = column_roles(names)
    missing = [name for name in _NEEDED if name not in roles]
    twice = [name for name in names if name and name not in roles.values() and column_roles([name])]
    twice += [name for name in dict.fromkeys(names) if name and names.count(name) > 1]
    faults = []
    if missing:
        faults.append(
            Fault(
                "columns are missing",
                ", ".join(missing),
                "a row needs its day, its machine and what was done",
                f"head the file with {','.join(COLUMNS)}",
                where=str(file),
            )
        )
    if twice:
        faults.append(
            Fault(
                "two columns that mean the same",
                ", ".join(twice),
                "one would hide the other",
                "keep one of them, or give the other a name of its own",
                where=str(file),
            )
        )
    if faults:
        raise InputError(faults)
    taken = {*roles.values(), GUARD_COLUMN, ""}
    return roles, [name for name in names if name not in taken]


def _row(said: dict[str, str], known: Known) -> tuple[dict[str, Any], list[_Wrong]]:
    """A row's values, and (what, value, why, mend) for each cell that is not right."""
    cells = {role: said.get(role, "").strip() for role in COLUMNS}
    wrong: list[_Wrong] = []
    did = next((key for key, held in DID.items() if plain_words(cells["did"]) in held), "")
    if not did:
        mend = f"write one of: {', '.join(DID)}"
        wrong.append(
            ("nothing that is kept here", cells["did"], "nobody knows what was done", mend)
        )
    day, area = _day(cells["date"], wrong), _area(cells["area_ha"], wrong)
    _check_machine(cells["machine"], known, wrong)
    _check_field(cells["field_id"], known, wrong)
    if did:
        _check_ground(did, cells, area, known, wrong)
    return cells | {"date": day, "did": did, "area_ha": area}, wrong


def _day(cell: str, wrong: list[_Wrong]) -> date | None:
    why, mend = "what came after the knives' change is counted", "write it as 2026-06-05"
    try:
        read = moment(cell)
    except CellError as error:
        wrong.append((error.what, cell, why, error.mend))
        return None
    if read is None or not _FIRST_YEAR <= read.year <= _LAST_YEAR:
        wrong.append(("not a day", cell, why, mend))
        return None
    return read.date()


def _area(cell: str, wrong: list[_Wrong]) -> float:
    why = "the knives' hectares are counted"
    try:
        area = figure(cell)
    except CellError as error:
        wrong.append((f"an area that {error.what}", cell, why, "give hectares as a plain number"))
        return math.nan
    if cell and not 0 < area <= _MOST_HA:  # NaN too
        wrong.append(("not an area", cell, why, "give hectares, or leave it empty"))
    return area


def _check_machine(machine: str, known: Known, wrong: list[_Wrong]) -> None:
    if not machine:
        wrong.append(("no machine named", "", "each has its own knives", "write the machine's id"))
    elif known.machines is not None and machine not in known.machines:
        mend = f"use one of {', '.join(list(known.machines)[:_NAMED]) or 'none in the folder'}"
        wrong.append(("no such machine", machine, "its knives would go uncounted", mend))


def _check_field(field: str, known: Known, wrong: list[_Wrong]) -> None:
    if field and known.area_of is not None and field not in known.area_of:
        mend = (
            f"use one of {', '.join(list(known.area_of)[:_NAMED])}; for ground that is not the "
            "farm's leave it empty, give area_ha and say in the note where it was"
        )
        wrong.append(("no such field", field, "its hectares would go uncounted", mend))


def _check_ground(
    did: str, cells: Mapping[str, str], area_ha: float, known: Known, wrong: list[_Wrong]
) -> None:
    """Mowing has its ground, and nothing else has."""
    field, said = cells["field_id"], cells["area_ha"]
    if did != MOWN:
        if said:
            mend = "write the mowing as a row of its own"
            wrong.append(("an area on a row about knives", said, "it would not be counted", mend))
        return
    if not field and not said:
        mend = "write the field_id, or the area_ha"
        wrong.append(("mowing without its ground", "", "its hectares cannot be counted", mend))
    own = (known.area_of or {}).get(field, math.nan)
    if area_ha > _ACRES_FROM * own:
        seen = f"{said} where the field has {own:.1f} ha"
        mend = "give hectares (1 ha is about 2.5 acres), or leave it empty for the whole field"
        wrong.append(("an area that may be acres", seen, "the knives' hectares are counted", mend))


def _too_many(cells: list[str], count: int, where: str) -> Fault:
    return Fault(
        "more cells than the first line names",
        f"{len(cells)} cells, {count} columns",
        "it is not clear which cell means what",
        "put words with a separator in them in quotes",
        where=where,
    )


def _table(rows: list[dict[str, Any]]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    words = [name for name in COLUMNS if name not in ("date", "area_ha")]
    table[words] = table[words].astype(object)
    return table.assign(
        date=pd.to_datetime(table["date"]).astype("datetime64[us]"),
        area_ha=table["area_ha"].astype(float),
    )


def _twice(rows: list[dict[str, Any]], lines: list[int], name: str) -> list[str]:
    """What to tell of rows that say the same; an area that is not said is the same as another."""
    first: dict[tuple[str, ...], int] = {}
    notes = []
    for row, line in zip(rows, lines, strict=True):
        before = first.setdefault(tuple(str(row[key]) for key in COLUMNS), line)
        if before != line:
            notes.append(
                f"{name}: lines {before} and {line} say the same, and both count; "
                "take one out if it was written twice"
            )
    return notes
