"""What somebody measured on the road: a CSV file of places, kinds and figures."""

from __future__ import annotations

import csv
import datetime as dt
import math
import re
from pathlib import Path

import pandas as pd

from fieldmap.errors import Fault, InputError, raise_all

COLUMNS = ("place", "kind", "value", "who", "when")
#: Kind of measure -> unit of its figure.
KINDS = {"width": "m", "height": "m", "mass": "kg", "opening": "m"}
_PLACE = re.compile(r"(way|node)/[0-9]+|leg/[0-9]+-[0-9]+")
_LARGEST = {"m": 60.0, "kg": 200_000.0}


def read_road_checks(path: str | Path) -> pd.DataFrame:
    """Read the measurements.

    Parameters
    ----------
    path : str or Path
        CSV with the columns ``place`` (``way/12``, ``node/12`` or ``leg/12-0``), ``kind``
        (width, height, mass or opening), ``value`` (m, or kg for mass), ``who``, ``when``
        (a day as 2026-05-02).

    Returns
    -------
    DataFrame
        The five columns; ``value`` as float, ``when`` as a day, in the order of the file.

    Raises
    ------
    InputError
        Every row that cannot be used, at once, with its row in the file.
    """
    file = Path(path)
    rows = _rows(file)
    faults = [
        fault
        for number, row in enumerate(rows, start=2)
        for fault in _faults(row, f"{file.name} row {number}")
    ]
    raise_all(faults)
    table = pd.DataFrame(
        [{key: row[key].strip() for key in COLUMNS} for row in rows],
        columns=list(COLUMNS),
        dtype="str",
    )
    table["value"] = table["value"].astype(float)
    table["when"] = pd.to_datetime(table["when"], format="%Y-%m-%d")
    return table


def _rows(file: Path) -> list[dict[str, str]]:
    try:
        lines = file.read_text("utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            Fault(
                "road checks cannot be read",
                str(error.__class__.__name__),
                "what was measured would be left out",
                "give a CSV file in UTF-8",
                where=file.name,
            )
        ) from None
    reader = csv.DictReader(lines, restval="")
    missing = [key for key in COLUMNS if key not in (reader.fieldnames or [])]
    if missing:
        raise InputError(
            Fault(
                "columns are missing",
                ", ".join(missing),
                "a figure needs its place and kind",
                f"head the file with {','.join(COLUMNS)}",
                where=file.name,
            )
        )
    return list(reader)


def _faults(row: dict[str, str], where: str) -> list[Fault]:
    """What is wrong with one row: (what, value, why, mend) for each cell that is not right."""
    kind = row["kind"].strip()
    unit = KINDS.get(kind)
    wrong: list[tuple[str, str, str, str]] = []
    if not _PLACE.fullmatch(row["place"].strip()):
        wrong.append(
            ("not a place", row["place"], "it fits no road", "write way/12, node/12 or leg/12-0")
        )
    if unit is None:
        mend = f"write {', '.join(KINDS)}"
        wrong.append(("not a kind of measure", kind, "nobody knows what was measured", mend))
    elif not _is_figure(row["value"], _LARGEST[unit]):
        mend = f"write a plain number in {unit}"
        wrong.append((f"not a {kind} in {unit}", row["value"], "a check would rest on it", mend))
    if not row["who"].strip():
        wrong.append(("nobody named", "", "a figure is argued with by name", "write who measured"))
    if not _is_day(row["when"]):
        wrong.append(
            ("not a day", row["when"], "the newest figure counts", "write it as 2026-05-02")
        )
    return [
        Fault(what, value or "nothing", why, mend, where=where) for what, value, why, mend in wrong
    ]


def _is_figure(text: str, largest: float) -> bool:
    try:
        value = float(text)
    except ValueError:
        return False
    return math.isfinite(value) and 0 < value <= largest


def _is_day(text: str) -> bool:
    try:
        dt.date.fromisoformat(text.strip())
    except ValueError:
        return False
    return len(text.strip()) == 10
