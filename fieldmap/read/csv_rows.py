"""A CSV file as rows of cells: the text it holds, and the line that each row starts on."""

from __future__ import annotations

import codecs
import csv
import io
from pathlib import Path
from typing import NamedTuple

from fieldmap.errors import Fault, InputError

_SEPARATORS = (",", ";", "\t")
_UTF16 = {codecs.BOM_UTF16_LE: "utf-16-le", codecs.BOM_UTF16_BE: "utf-16-be"}


class CsvRows(NamedTuple):
    """What a CSV file holds, and how it is written.

    ``rows`` are pairs of line number and cells; blank lines are left out. ``codec`` is the one
    to write more text with: it adds no mark of its own.
    """

    rows: list[tuple[int, list[str]]]
    separator: str
    codec: str
    mark: bytes
    line_end: str


def csv_rows(path: Path, *, what: str) -> CsvRows:
    """Read the rows of a file: commas, semicolons or tabs; UTF-8, or UTF-16 with its mark.

    Parameters
    ----------
    path : Path
    what : str
        What is being read, for the words of an error.

    Raises
    ------
    InputError
        It cannot be opened, is not such text, or a quote is never closed.
    """
    try:
        held = path.read_bytes()
    except (OSError, ValueError) as error:
        seen = getattr(error, "strerror", None) or str(error)
        raise InputError(_unread(what, seen, "mend the name or its permissions", path)) from None
    mark = next((one for one in (*_UTF16, codecs.BOM_UTF8) if held.startswith(one)), b"")
    codec = _UTF16.get(mark, "utf-8")
    try:
        text = held[len(mark) :].decode(codec)
    except UnicodeDecodeError as error:
        raise InputError(
            _no_text(what, f"byte {error.start + 1} is no {codec} text", path)
        ) from None
    if "\0" in text:
        raise InputError(_no_text(what, "it holds a zero", path))
    head = text.partition("\n")[0]
    separator = max(_SEPARATORS, key=head.count)
    return CsvRows(
        _rows(text, separator, path), separator, codec, mark, "\r\n" if "\r\n" in text else "\n"
    )


def _rows(text: str, separator: str, path: Path) -> list[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    rows, start = [], 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows.append((start, cells))
            start = reader.line_num + 1
    except csv.Error as error:
        raise InputError(
            Fault(
                "a row that cannot be told apart",
                str(error),
                "what follows it would be read wrongly",
                'close every quote; write a quote inside quotes twice ("")',
                where=f"{path.name} line {start}",
            )
        ) from None
    return rows


def _unread(what: str, seen: str, mend: str, path: Path) -> Fault:
    return Fault(f"{what} cannot be read", seen, "nothing of it was taken", mend, where=str(path))


def _no_text(what: str, seen: str, path: Path) -> Fault:
    why = "names and notes would be garbled"
    return Fault(f"{what} is not UTF-8 text", seen, why, "save it as CSV UTF-8", where=str(path))
