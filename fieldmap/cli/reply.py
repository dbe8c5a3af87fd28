"""What a command answers, and how it is printed: for people, or as JSON."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from fieldmap.errors import Fault

SCHEMA = "fieldmap/1"
STRICT_EXIT = 4


@dataclass
class Reply:
    """A command's answer.

    Parameters
    ----------
    result : dict
        Plain JSON types.
    lines : list of str
        The same for a person, printed to stdout.
    warnings : tuple of str
        Words for stderr.
    faults : tuple of Fault
        Bad input that was found and is listed (``check``); the command then ends with 3.
    attention : bool
        Something in the answer is ``stop`` or ``unknown``: exit 4 with ``--strict``.
    """

    result: dict[str, Any]
    lines: list[str] = field(default_factory=list)
    warnings: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()
    attention: bool = False


def envelope(
    *, result: Any = None, warnings: Iterable[str] = (), faults: Iterable[Fault] = ()
) -> dict[str, Any]:
    """The JSON every command prints, also on failure."""
    errors = [asdict(fault) for fault in faults]
    return {
        "schema": SCHEMA,
        "ok": not errors,
        "warnings": list(warnings),
        "errors": errors,
        "result": result,
    }


def out(text: str) -> None:
    """Write to stdout."""
    sys.stdout.write(text + "\n")


def err(text: str) -> None:
    """Write to stderr."""
    sys.stderr.write(text + "\n")


def print_json(held: Any) -> None:
    """Print JSON to stdout."""
    out(json.dumps(held, indent=1, ensure_ascii=False, allow_nan=False))


def columns(rows: Sequence[Sequence[str]], *, head: Sequence[str]) -> list[str]:
    """Rows as lines with aligned columns.

    Examples
    --------
    >>> columns([("a", "stop"), ("long", "ok")], head=("field", "answer"))
    ['field  answer', 'a      stop', 'long   ok']
    >>> columns([], head=("field",))
    ['field']
    """
    table = [tuple(head), *[tuple(one_line(cell) for cell in row) for row in rows]]
    widths = [max(len(row[k]) for row in table) for k in range(len(head))]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in table
    ]


def one_line(text: str) -> str:
    r"""Text without line ends or control characters, so that no file can drive a terminal.

    Examples
    --------
    >>> one_line("two\nlines" + chr(27) + "[31m")
    'two lines [31m'
    """
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
