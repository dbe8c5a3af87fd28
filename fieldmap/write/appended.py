"""New rows at the end of a CSV file: what stands there stays, byte for byte where it can."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import NamedTuple

from fieldmap.read.csv_guard import GUARD, GUARD_COLUMN, guarded
from fieldmap.read.csv_rows import CsvRows, csv_rows
from fieldmap.write.outputs import cannot_write, write_whole

try:
    import fcntl
except ImportError:  # a system without it: two writers at the same moment are not kept apart
    fcntl = None  # type: ignore[assignment]


class Kept(NamedTuple):
    """A file that people and a command write.

    ``what`` it is, for the words of an error; ``columns`` a new one is headed with; ``roles_of``
    our name -> the file's; ``figures`` the columns that have a decimal sign.
    """

    what: str
    columns: tuple[str, ...]
    roles_of: Callable[[list[str]], dict[str, str]]
    figures: tuple[str, ...]


def append_rows(path: Path, rows: Sequence[Mapping[str, str]], *, kept: Kept) -> None:
    """Add rows at the end of a file, all of them or none; it is made when it is not there.

    Words that a spreadsheet would run as a formula get an apostrophe before them, and their row
    one in the column ``guard``. A file with other separators, columns or another order keeps
    them; only when a column has to be added is the file written anew, cell for cell.

    Parameters
    ----------
    path : Path
    rows : sequence of mapping
        Texts by column of ``kept.columns``; what is left out is empty.
    kept : Kept

    Raises
    ------
    InputError
        What stands there cannot be read as CSV.
    StoreError
        Disk or permission; the file is then as it was.
    """
    target = path.resolve()
    with _alone(target.parent):
        there = target.exists()
        held = csv_rows(target, what=kept.what) if there else _new(kept)
        names = [name.strip() for name in held.rows[0][1]] if held.rows else list(kept.columns)
        lines, wider = _lines(names, [_as_there(row, held, kept) for row in rows], kept)
        if there and held.rows and wider == names:
            whole = _ended(target.read_bytes(), held) + _bytes(lines, held)
        else:
            whole = held.mark + _bytes([wider, *_padded(held, len(wider)), *lines], held)
        write_whole(target, lambda place: place.write_bytes(whole), overwrite=True)


def _new(kept: Kept) -> CsvRows:
    return CsvRows([(1, list(kept.columns))], ",", "utf-8", b"", "\n")


def _as_there(row: Mapping[str, str], held: CsvRows, kept: Kept) -> dict[str, str]:
    """The row with a decimal comma where lists go by semicolons; a point would be a date there."""
    if held.separator != ";":
        return dict(row)
    comma = {name: row[name].replace(".", ",") for name in kept.figures if name in row}
    return {**row, **comma}


def _lines(
    names: list[str], rows: Sequence[Mapping[str, str]], kept: Kept
) -> tuple[list[list[str]], list[str]]:
    """The new rows' cells, and the columns they need: those there are, and any that lack."""
    held = [_guarded(row) for row in rows]
    roles = kept.roles_of(names)
    if GUARD_COLUMN in names:
        roles[GUARD_COLUMN] = GUARD_COLUMN
    lacking = [
        role
        for role in (*kept.columns, GUARD_COLUMN)
        if role not in roles and any(row.get(role) for row in held)
    ]
    wider = [*names, *lacking]
    by_name = {name: role for role, name in roles.items()} | {role: role for role in lacking}
    return [[row.get(by_name.get(name, ""), "") for name in wider] for row in held], wider


def _guarded(row: Mapping[str, str]) -> dict[str, str]:
    held = {role: guarded(cell) for role, cell in row.items()}
    return held | ({GUARD_COLUMN: GUARD} if held != dict(row) else {})


def _padded(held: CsvRows, width: int) -> Iterator[list[str]]:
    """The rows under the first one, as wide as the file is to be."""
    for _, cells in held.rows[1:]:
        yield [*cells, *[""] * (width - len(cells))]


def _bytes(lines: Sequence[Sequence[str]], held: CsvRows) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=held.separator, lineterminator=held.line_end).writerows(lines)
    return out.getvalue().encode(held.codec)


def _ended(whole: bytes, held: CsvRows) -> bytes:
    """What stands there, its last line ended."""
    ended = whole[len(held.mark) :].decode(held.codec).endswith("\n")
    return whole if ended else whole + held.line_end.encode(held.codec)


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """One writer of a folder at a time; the others wait."""
    try:
        door = os.open(folder, os.O_RDONLY)
    except OSError as error:
        raise cannot_write(folder, error) from error
    try:
        if fcntl is not None:
            with suppress(OSError):  # a disk that knows no locks
                fcntl.flock(door, fcntl.LOCK_EX)
        yield
    finally:
        os.close(door)  # this lets go of the lock
