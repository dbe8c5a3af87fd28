"""What a command answers, and how it is printed: for people, or as JSON."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, TextIO

from fieldmap import JSON_SCHEMA
from fieldmap.errors import Fault

STRICT_EXIT = 4
_STRICT: dict[str, Any] = {"allow_nan": False}
_OUTSIDE_ASCII = re.compile(r"[^\x00-\x7e]")


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
        Bad input that was asked for and is listed on stdout (``check``); ends with 3.
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
        "schema": JSON_SCHEMA,
        "ok": not errors,
        "warnings": list(warnings),
        "errors": errors,
        "result": result,
    }


def out(text: str) -> None:
    """Write a line to stdout, free of control characters."""
    _write(sys.stdout, text)


def err(text: str) -> None:
    """Write a line to stderr, free of control characters."""
    _write(sys.stderr, text)


def _write(stream: TextIO, text: str) -> None:
    """A line that the stream's encoding can hold; what it cannot is written as an escape."""
    encoding = stream.encoding or "utf-8"
    stream.write(plain(text).encode(encoding, "backslashreplace").decode(encoding) + "\n")


def print_json(held: Any) -> None:
    """Print JSON to stdout; control characters beyond ASCII are escaped, the text is the same."""
    text = _OUTSIDE_ASCII.sub(_escaped, json.dumps(held, indent=1, ensure_ascii=False, **_STRICT))
    try:
        text.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:
        text = json.dumps(held, indent=1, **_STRICT)
    sys.stdout.write(text + "\n")


def _escaped(found: re.Match[str]) -> str:
    return found[0] if found[0].isprintable() else json.dumps(found[0])[1:-1]


def plain(text: str) -> str:
    r"""Text with a space for each character that is not printed, so no file drives a terminal.

    Examples
    --------
    >>> plain("two\nlines" + chr(27) + "[31m")
    'two lines [31m'
    """
    return "".join(c if c.isprintable() else " " for c in text)


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
    r"""Text on one line, each run of spaces and control characters as one space.

    Examples
    --------
    >>> one_line("two\n  lines" + chr(27) + "[31m")
    'two lines [31m'
    """
    return " ".join(plain(text).split())
