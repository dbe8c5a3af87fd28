"""One cell of somebody's table as words, a figure or a moment; nothing is guessed."""

from __future__ import annotations

import math
import re
from datetime import date, datetime
from typing import Any

import pandas as pd

_PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_COMMA = re.compile(r"[+-]?\d+,\d+", re.ASCII)
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}", re.ASCII)
_NOT_FINITE = re.compile(r"[+-]?(nan|inf|infinity)", re.IGNORECASE)
_ISO = re.compile(
    r"\d{4}([-/])\d\d\1\d\d([T ]\d.*)?|\d{8}(T\d{4}.*)?", re.ASCII | re.IGNORECASE | re.DOTALL
)
_CLOCK = re.compile(r"\d{1,2}:\d\d(:\d\d(\.\d+)?)?( ?(Z|[+-]\d\d(:?\d\d)?))?", re.ASCII)
_NUMBERED = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d\d)(\D.*)?", re.ASCII | re.DOTALL)
_YEAR_DIGITS = 4
MEND_TIME = "write it as 2026-06-01T09:30:00-05:00"
MEND_FIGURE = "give metres with a decimal point"


class CellError(ValueError):
    """A cell that cannot be read: what is wrong with it, and how to mend it."""

    def __init__(self, what: str, mend: str) -> None:
        super().__init__(what)
        self.what, self.mend = what, mend


def nothing(held: Any) -> bool:
    """Whether a cell holds nothing at all.

    Examples
    --------
    >>> [nothing(held) for held in (None, float("nan"), pd.NaT, "", 0, ["a"])]
    [True, True, True, False, False, False]
    """
    return held is None or held is pd.NA or (pd.api.types.is_scalar(held) and bool(pd.isna(held)))


def words(held: Any) -> str:
    """A cell as it was written; a whole number without its decimal point.

    Examples
    --------
    >>> words(None), words(7.0), words(" wire ")
    ('', '7', ' wire ')
    """
    if nothing(held):
        return ""
    if isinstance(held, float) and held.is_integer():
        return str(int(held))
    return str(held)


def figure(held: Any, *, degrees: bool = False) -> float:
    """A cell as a number, NaN when it is empty; the decimal sign is a point or a comma.

    Parameters
    ----------
    held : object
        The cell.
    degrees : bool
        An angle: a comma before three digits cannot stand for thousands there.

    Raises
    ------
    CellError
        Not a number, or one whose comma may mark thousands.

    Examples
    --------
    >>> figure("40,62"), figure(" 3.5 "), figure("-92,936", degrees=True), figure("")
    (40.62, 3.5, -92.936, nan)
    >>> figure("1,250")
    Traceback (most recent call last):
    ...
    fieldmap.read.cells.CellError: holds a comma that may mark thousands
    """
    if isinstance(held, bool):
        raise CellError("is not a number", MEND_FIGURE)
    text = words(held).strip()
    if not text:
        return math.nan
    if _PLAIN.fullmatch(text) or _NOT_FINITE.fullmatch(text):
        return float(text)
    if _COMMA.fullmatch(text) and (degrees or not _THOUSANDS.fullmatch(text)):
        return float(text.replace(",", "."))
    if "," in text and re.fullmatch(r"[+-]?[\d.,]+", text, re.ASCII):
        raise CellError(
            "holds a comma that may mark thousands", "write 1250 or 1.25, without thousands marks"
        )
    raise CellError("is not a number", MEND_FIGURE)


def moment(held: Any, day: Any = None) -> datetime | None:
    """A cell as a moment, ``None`` when it is empty; year first, or a day that is over 12.

    Parameters
    ----------
    held : object
        The cell: ISO 8601, or a clock time when ``day`` is given.
    day : object
        The cell of a column that holds the day alone.

    Raises
    ------
    CellError
        Not a moment, a day and month that may be exchanged, or two different days.

    Examples
    --------
    >>> moment("2026-06-01T09:30"), moment("09:30", "2026-06-01"), moment("")
    (datetime.datetime(2026, 6, 1, 9, 30), datetime.datetime(2026, 6, 1, 9, 30), None)
    >>> moment("20.11.2026 08:15"), moment("11/20/2026")
    (datetime.datetime(2026, 11, 20, 8, 15), datetime.datetime(2026, 11, 20, 0, 0))
    >>> moment("03/04/2026")
    Traceback (most recent call last):
    ...
    fieldmap.read.cells.CellError: a day and month that may be exchanged
    """
    clock, named = words(held).strip(), _day(day)
    if named is not None and _CLOCK.fullmatch(clock):
        hours = clock.replace(" ", "")
        return _parsed(f"{named.isoformat()}T{hours.zfill(5) if len(hours) < 5 else hours}")
    found = _moment(held)
    if found is None:
        return _moment(day)
    if named is not None and found.date() != named:
        raise CellError(
            "two columns that name different days", "correct one of them, or leave it empty"
        )
    return found


def _day(held: Any) -> date | None:
    found = _moment(held)
    return None if found is None else found.date()


def _moment(held: Any) -> datetime | None:
    if nothing(held):
        return None
    if isinstance(held, pd.Timestamp):
        return held.to_pydatetime(warn=False)
    if isinstance(held, datetime):
        return held
    text = str(held).strip()
    return _parsed(text) if text else None


def _parsed(text: str) -> datetime:
    if _ISO.fullmatch(text):
        try:
            return datetime.fromisoformat(text.replace("/", "-").replace(" +", "+").upper())
        except ValueError:
            raise CellError("a time that cannot be read", MEND_TIME) from None
    numbered = _NUMBERED.fullmatch(text)
    if numbered:
        ways = _days(numbered)
        if len(ways) == 1:
            return _parsed(f"{ways[0]}{_clock(numbered[5] or '')}")
        raise CellError("a day and month that may be exchanged", _year_first(ways))
    if _CLOCK.fullmatch(text):
        raise CellError("a time of day without a day", MEND_TIME)
    raise CellError("a time that cannot be read", MEND_TIME)


def _clock(rest: str) -> str:
    """What stands behind a day as ISO writes it: a clock time behind a ``T``, else as it is."""
    time = rest.strip(" ,T")
    if not _CLOCK.fullmatch(time):
        return rest
    hours, _, others = time.partition(":")
    return f"T{hours.zfill(2)}:{others.replace(' ', '')}"


def _days(numbered: re.Match[str]) -> list[str]:
    """The days that two numbers and a year may mean, year first; none when no year is told."""
    first, second, year = int(numbered[1]), int(numbered[3]), numbered[4]
    if len(year) < _YEAR_DIGITS:
        return []
    return [
        f"{year}-{month:02d}-{day:02d}"
        for month, day in dict.fromkeys([(first, second), (second, first)])
        if 1 <= month <= 12 and 1 <= day <= 31
    ]


def _year_first(ways: list[str]) -> str:
    """How to write the day out, for each way in which it can be meant."""
    if not ways:
        return "write year, month, day: 2026-06-01"
    return f"write the year first: {' or '.join(ways)}"
