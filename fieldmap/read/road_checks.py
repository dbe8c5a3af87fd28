"""What somebody measured on the road: a CSV file of places, kinds and figures."""

from __future__ import annotations

import csv
import datetime as dt
import math
import re
from pathlib import Path

import pandas as pd

from fieldmap.errors import Fault, InputError, raise_all
from fieldmap.units import (
    KG_PER_POUND,
    KG_PER_SHORT_TON,
    KG_PER_TONNE,
    METRE_PER_FOOT,
    METRE_PER_INCH,
)

COLUMNS = ("place", "kind", "value", "who", "when")
#: Kind of measure -> unit of its figure.
KINDS = {"width": "m", "height": "m", "mass": "kg", "opening": "m"}
_PLACE = re.compile(r"(way|node)/[0-9]+|leg/[0-9]+-[0-9]+")
#: Factor to the unit inside for each unit a person may name in the column ``unit``.
_UNITS = {
    "m": {"m": 1.0, "ft": METRE_PER_FOOT, "in": METRE_PER_INCH},
    "kg": {"kg": 1.0, "t": KG_PER_TONNE, "lb": KG_PER_POUND, "st": KG_PER_SHORT_TON},
}
_LARGEST = {"m": 60.0, "kg": 200_000.0}
#: Beyond these a figure without a unit may well be feet, or tonnes, and is asked about.
_DOUBTFUL = {"width": (1.0, 9.0), "opening": (1.0, 9.0), "height": (1.5, 7.0), "mass": (500.0, 2e5)}


def read_road_checks(path: str | Path) -> pd.DataFrame:
    """Read the measurements.

    Parameters
    ----------
    path : str or Path
        CSV with the columns ``place`` (``way/12``, ``node/12`` or ``leg/12-0``), ``kind``
        (width, height, mass or opening), ``value`` (m, or kg for mass), ``who``, ``when``
        (a day as 2026-05-02); and ``unit`` where the figure is not in m or kg (ft, in; t, lb,
        st). A figure that looks like feet or tonnes has to name its unit.

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
    factors = [_factor(row) for row in rows]
    table["value"] = table["value"].astype(float) * factors
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
    else:
        wrong += _figure_faults(row, kind, unit)
    if not row["who"].strip():
        wrong.append(("nobody named", "", "a figure is argued with by name", "write who measured"))
    if not _is_day(row["when"]):
        wrong.append(
            ("not a day", row["when"], "the newest figure counts", "write it as 2026-05-02")
        )
    return [
        Fault(what, value or "nothing", why, mend, where=where) for what, value, why, mend in wrong
    ]


def _figure_faults(row: dict[str, str], kind: str, unit: str) -> list[tuple[str, str, str, str]]:
    named = (row.get("unit") or "").strip()
    if named and named not in _UNITS[unit]:
        mend = f"write one of {', '.join(_UNITS[unit])}"
        return [(f"not a unit for a {kind}", named, "the figure could mean anything", mend)]
    if not _is_figure(row["value"], _LARGEST[unit] / _factor(row)):
        mend = f"write a plain number in {unit}, or name the unit in a column unit"
        return [(f"not a {kind} in {unit}", row["value"], "a check would rest on it", mend)]
    least, most = _DOUBTFUL[kind]
    if not named and not least <= float(row["value"]) <= most:
        mend = f"say in a column unit which it is: {', '.join(_UNITS[unit])}"
        why = "feet taken for metres would clear a road that is too narrow"
        return [(f"a {kind} that may not be in {unit}", row["value"], why, mend)]
    return []


def _factor(row: dict[str, str]) -> float:
    unit = KINDS.get(row["kind"].strip(), "m")
    return _UNITS[unit].get((row.get("unit") or "").strip(), 1.0)


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
