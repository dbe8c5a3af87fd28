"""What somebody measured on the road: a CSV file of places, kinds and figures."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

import pandas as pd

from fieldmap.errors import Fault, InputError, raise_all
from fieldmap.read.cells import CellError, figure, moment
from fieldmap.read.csv_guard import as_written
from fieldmap.read.csv_rows import csv_rows
from fieldmap.read.road_kinds import KINDS, UNITS, Kind, sort_of
from fieldmap.words import plain_words

ROAD_CHECKS_FILE = "road_checks.csv"
#: What a file is headed with; ``unit``, ``machine`` and ``note`` may be missing.
COLUMNS = ("place", "kind", "value", "unit", "who", "when", "machine", "note")
NEEDED = ("place", "kind", "value", "who", "when")
_HEADS = {
    "place": ("place",),
    "kind": ("kind",),
    "value": ("value", "figure"),
    "unit": ("unit", "units"),
    "who": ("who", "by"),
    "when": ("when", "date", "day"),
    "machine": ("machine", "machine id"),
    "note": ("note", "notes"),
}
_YES, _NO = ("yes", "y", "true"), ("no", "n", "false")
_FIRST_YEAR = 1970
_NAMED = 20

_Wrong = tuple[str, str, str, str]


class Known(NamedTuple):
    """What a row is held against; ``None``: anything goes.

    ``machines`` are ids, and ``id/transport state``; a day after ``today`` is a fault.
    """

    machines: Collection[str] | None = None
    today: date | None = None


ANYTHING = Known()


def read_road_checks(path: str | Path, *, known: Known = ANYTHING) -> pd.DataFrame:
    """Read what was measured, read off signs, and answered.

    Parameters
    ----------
    path : str or Path
        CSV with the columns ``place`` (``way/12``, ``node/12``, ``leg/12-0``, or
        ``turn/12-0/13-0`` from one leg into another), ``kind`` (a word of
        :data:`fieldmap.read.road_kinds.KINDS`), ``value`` (m or kg; ``yes`` or ``no`` for what
        is answered), ``who`` and ``when`` (a day as 2026-05-02); ``unit`` where the figure is
        not in m or kg (ft, in; t, lb, st); ``machine`` for what holds for one machine only
        (its id, or ``id/transport state``). A figure that looks like feet or tonnes has to name
        its unit.
    known : Known
        The machines it may name, and the day it is.

    Returns
    -------
    DataFrame
        Columns place, kind, value, who, when, machine, in the order of the file: ``value`` as
        float in m or kg, 1 for yes and 0 for no, ``when`` as a day, ``machine`` "" for all.

    Raises
    ------
    InputError
        Every row that cannot be used, at once, with its row in the file.
    """
    rows: list[dict[str, Any]] = []
    faults: list[Fault] = []
    for where, said in said_rows(Path(path)):
        row, wrong = checked_row(said, known)
        faults += [
            Fault(what, value or "nothing", why, mend, where=where)
            for what, value, why, mend in wrong
        ]
        rows.append(row)
    raise_all(faults)
    return _table(rows)


def said_rows(file: Path) -> list[tuple[str, dict[str, str]]]:
    """The rows as they were written, by our names of the columns, each with its place.

    Raises
    ------
    InputError
        The file cannot be read, its columns are not ours, or a row has more cells than it has
        columns.
    """
    held = csv_rows(file, what="road checks")
    names = [name.strip() for name in held.rows[0][1]] if held.rows else []
    roles = _roles(names, file)
    rows, faults = [], []
    for line, cells in held.rows[1:]:
        where = f"{file.name} row {line}"
        if any(cell.strip() for cell in cells[len(names) :]):
            faults.append(_too_many(cells, len(names), where))
        written = as_written(dict(zip(names, cells, strict=False)))
        rows.append((where, {role: written.get(name, "") for role, name in roles.items()}))
    raise_all(faults)
    return rows


def column_roles(names: list[str]) -> dict[str, str]:
    """Our name -> the file's, for the columns that are known.

    Examples
    --------
    >>> column_roles(["Place", "Units", "BY"])
    {'place': 'Place', 'unit': 'Units', 'who': 'BY'}
    """
    meant = {plain: role for role, held in _HEADS.items() for plain in held}
    return {meant[plain]: name for name in names if (plain := plain_words(name)) in meant}


def checked_row(said: Mapping[str, str], known: Known) -> tuple[dict[str, Any], list[_Wrong]]:
    """A row's values, and (what, value, why, mend) for each cell that is not right."""
    cells = {role: said.get(role, "").strip() for role in COLUMNS}
    wrong: list[_Wrong] = []
    kind = KINDS.get(cells["kind"])
    sort = sort_of(cells["place"])
    if not sort:
        mend = "write way/12, node/12, leg/12-0 or turn/12-0/13-0"
        wrong.append(("not a place", cells["place"], "it fits no road", mend))
    if kind is None:
        mend = f"write one of: {', '.join(KINDS)}"
        seen = cells["kind"]
        wrong.append(("not a kind of measure", seen, "nobody knows what was measured", mend))
        value = math.nan
    else:
        value = _value(cells, kind, wrong)
        if sort and sort not in kind.at:
            wrong.append(_no_use(cells, kind))
        _check_machine(cells, kind, value, known, wrong)
    if not cells["who"]:
        wrong.append(("nobody named", "", "a figure is argued with by name", "write who measured"))
    return {**cells, "value": value, "when": _day(cells["when"], known.today, wrong)}, wrong


def _check_machine(
    cells: Mapping[str, str], kind: Kind, value: float, known: Known, wrong: list[_Wrong]
) -> None:
    machine = cells["machine"]
    if kind.needs_machine and value > 0 and not machine:
        why = "what one machine got round, another may not"
        mend = "write the machine's id in the column machine"
        wrong.append(("no machine named", "", why, mend))
    if machine and known.machines is not None and machine not in known.machines:
        mend = f"use one of {', '.join(list(known.machines)[:_NAMED]) or 'none in the folder'}"
        wrong.append(("no such machine or transport state", machine, "nobody would read it", mend))


def _value(cells: Mapping[str, str], kind: Kind, wrong: list[_Wrong]) -> float:
    return _measure(cells, kind, wrong) if kind.unit else _answer(cells, wrong)


def _answer(cells: Mapping[str, str], wrong: list[_Wrong]) -> float:
    """1 for yes, 0 for no."""
    word = cells["value"].lower()
    if cells["unit"]:
        mend = "leave the unit empty"
        wrong.append(("a unit for a yes or no", cells["unit"], "it is no figure", mend))
    if word in _YES:
        return 1.0
    if word not in _NO:
        what = f"neither yes nor no for {cells['kind']}"
        wrong.append((what, cells["value"], "a check would rest on it", "write yes or no"))
    return 0.0


def _measure(cells: Mapping[str, str], kind: Kind, wrong: list[_Wrong]) -> float:
    """The figure in the unit inside; NaN with a fault added where it is none."""
    name, unit, seen = cells["kind"], cells["unit"], cells["value"]
    factor = UNITS[kind.unit].get(unit or kind.unit)
    if factor is None:
        mend = f"write one of {', '.join(UNITS[kind.unit])}"
        wrong.append((f"not a unit for a {name}", unit, "the figure could mean anything", mend))
        return math.nan
    why, mend = "a check would rest on it", f"write a plain number in {kind.unit}, or name the unit"
    try:
        value = figure(seen)
    except CellError as error:
        wrong.append((f"a {name} that {error.what}", seen, why, mend))
        return math.nan
    if not 0 < value * factor <= kind.most:  # NaN too
        wrong.append((f"not a {name} in {unit or kind.unit}", seen, why, mend))
        return math.nan
    least, most = kind.likely
    if not unit and not least <= value <= most:
        mend = f"say in a column unit which it is: {', '.join(UNITS[kind.unit])}"
        why = "feet taken for metres would clear a road that is too narrow"
        wrong.append((f"a {name} that may not be in {kind.unit}", seen, why, mend))
    return value * factor


def _no_use(cells: Mapping[str, str], kind: Kind) -> _Wrong:
    """A kind that nothing asks for at such a place."""
    mend = f"a {cells['kind']} belongs to: {', '.join(kind.at)}"
    return ("a kind that the place has no use for", cells["place"], "no check would read it", mend)


def _day(cell: str, today: date | None, wrong: list[_Wrong]) -> date | None:
    why, mend = "the newest figure counts", "write it as 2026-05-02"
    try:
        read = moment(cell)
    except CellError as error:
        wrong.append(("not a day", cell, f"it is {error.what}; {why}", error.mend))
        return None
    if read is None or read.year < _FIRST_YEAR:
        wrong.append(("not a day", cell, why, mend))
        return None
    if today is not None and read.date() > today:
        mend = "give the day on which it was measured"
        wrong.append(("a day that has not come yet", cell, why, mend))
    return read.date()


def _roles(names: list[str], file: Path) -> dict[str, str]:
    roles = column_roles(names)
    missing = [name for name in NEEDED if name not in roles]
    taken = set(roles.values())
    twice = [name for name in names if name not in taken and column_roles([name])]
    twice += [name for name in dict.fromkeys(names) if name and names.count(name) > 1]
    odd = [name for name in names if name not in taken and "unit" in plain_words(name)]
    faults = []
    if odd:
        mend = "head the column unit, and write m, ft, in, kg, t, lb or st in it"
        why = "feet would be taken for metres"
        faults.append(Fault("not our column for units", ", ".join(odd), why, mend, where=file.name))
    if missing:
        mend = f"head the file with {','.join(COLUMNS)}"
        why = "a figure needs its place and kind"
        faults.append(Fault("columns are missing", ", ".join(missing), why, mend, where=file.name))
    if twice:
        mend = "keep one of them, or give the other a name of its own"
        what, why = "two columns that mean the same", "one would hide the other"
        faults.append(Fault(what, ", ".join(twice), why, mend, where=file.name))
    if faults:
        raise InputError(faults)
    return roles


def _too_many(cells: list[str], count: int, where: str) -> Fault:
    return Fault(
        "more cells than the first line names",
        f"{len(cells)} cells, {count} columns",
        "it is not clear which cell means what",
        "write 4.2 with a point, and put words with a separator in them in quotes",
        where=where,
    )


def _table(rows: list[dict[str, Any]]) -> pd.DataFrame:
    names = ["place", "kind", "value", "who", "when", "machine"]
    table = pd.DataFrame(rows, columns=names)
    table[["place", "kind", "who", "machine"]] = table[["place", "kind", "who", "machine"]].astype(
        "str"
    )
    return table.assign(
        value=table["value"].astype(float),
        when=pd.to_datetime(table["when"]).astype("datetime64[us]"),
    )
