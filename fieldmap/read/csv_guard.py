"""Words in a CSV cell that a spreadsheet would run as a formula: kept from it, and given back.

A cell that begins with one of ``= + - @`` is a formula to a spreadsheet, quoted or not, and so
is what follows a semicolon or a line end where the program takes another list separator than
the comma. One apostrophe before the sign makes it plain words. Which rows were treated so is
said in the column ``guard``, row by row: only there is an apostrophe taken off again, so the
words come back as they were, and nobody else's apostrophe is touched.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

GUARD = "'"
GUARD_COLUMN = "guard"
# blanks and quotes may stand before a sign; the four signs also in the wide forms of some keyboards
_BEFORE = "(?:[^\\S\t\r\n]|['\"\ufeff\u200b])*"
_SIGN = "(?=[=+\\-@\uff1d\uff0b\uff0d\uff20])"
_RUNS = re.compile(f"(^|[;\t\r\n])({_BEFORE}){_SIGN}")
_HELD = re.compile(f"(^|[;\t\r\n])'({_BEFORE}){_SIGN}")


def guarded(words: str) -> str:
    """The words with an apostrophe wherever a spreadsheet could begin to run them.

    Examples
    --------
    >>> guarded("=1+1"), guarded("wire; -2 m deep"), guarded("a=b"), guarded("")
    ("'=1+1", "wire;' -2 m deep", 'a=b', '')
    """
    return _RUNS.sub(rf"\1{GUARD}\2", words)


def unguarded(words: str) -> str:
    """What :func:`guarded` was given.

    Examples
    --------
    >>> unguarded(guarded("'=1+1")), unguarded("'tis the gate")
    ("'=1+1", "'tis the gate")
    """
    return _HELD.sub(r"\1\2", words)


def as_written(row: Mapping[str, str]) -> dict[str, str]:
    """A row's cells as their writer meant them; a row that is not marked stays as it is.

    Examples
    --------
    >>> as_written({"note": "'=1+1", "guard": "'"})["note"], as_written({"note": "'=1+1"})["note"]
    ('=1+1', "'=1+1")
    """
    if row.get(GUARD_COLUMN) != GUARD:
        return dict(row)
    return {name: unguarded(cell) for name, cell in row.items() if name != GUARD_COLUMN}
