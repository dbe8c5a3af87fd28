"""New rows at the end of the ledger: what stands there stays, byte for byte where it can."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from fieldmap.read.csv_guard import GUARD, GUARD_COLUMN, guarded
from fieldmap.read.csv_rows import CsvRows, csv_rows
from fieldmap.read.ledger import COLUMNS, column_roles
from fieldmap.write.outputs import cannot_write, write_whole

try:
    import fcntl
except ImportError:  # a system without it: two writers at the same moment are not kept apart
    fcntl = None  # type: ignore[assignment]

_NEW = CsvRows([(1, list(COLUMNS))], ",", "utf-8", b"", "\n")


def append_to_ledger(path: Path, rows: Sequence[Mapping[str, str]]) -> None:
    """Add rows at the end of the ledger, all of them or none; it is made when it is not there.

    Words that a spreadsheet would run as a formula get an apostrophe before them, and their row
    one in the column ``guard``. A file with other separators, columns or another order keeps
    them; only when a column has to be added is the file written anew, cell for cell.

    Parameters
    ----------
    path : Path
        The ledger.
    rows : sequence of mapping
        Texts by column of :data:`fieldmap.read.ledger.COLUMNS`; what is left out is empty.

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
        held = csv_rows(target, what="the ledger") if there else _NEW
        names = [name.strip() for name in held.rows[0][1]] if held.rows else list(COLUMNS)
        lines, wider = _lines(names, [_as_there(row, held) for row in rows])
        if there and held.rows and wider == names:
            whole = _ended(target.read_bytes(), held) + _bytes(lines, held)
        else:
            whole = held.mark + _bytes([wider, *_padded(held, len(wider)), *lines], held)
        write_whole(target, lambda place: place.write_bytes(whole), overwrite=True)


def _as_there(row: Mapping[str, str], held: CsvRows) -> dict[str, str]:
    """The row with a decimal comma where lists go by semicolons; a point would be a date there."""
    comma = held.separator == ";" and "area_ha" in row
    return {**row, "area_ha": row["area_ha"].replace(".", ",")} if comma else dict(row)


def _lines(
    names: list[str], rows: Sequence[Mapping[str, str]]
) -> tuple[list[list[str]], list[str]]:
    """The new rows' cells, and the columns they need: those there are, and any that lack."""
    kept = [_kept(row) for row in rows]
    roles = column_roles(names)
    if GUARD_COLUMN in names:
        roles[GUARD_COLUMN] = GUARD_COLUMN
    lacking = [
        role
        for role in (*COLUMNS, GUARD_COLUMN)
        if role not in roles and any(row.get(role) for row in kept)
    ]
    wider = [*names, *lacking]
    by_name = {name: role for role, name in roles.items()} | {role: role for role in lacking}
    return [[row.get(by_name.get(name, ""), "") for name in wider] for row in kept], wider


def _kept(row: Mapping[str, str]) -> dict[str, str]:
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
    """One writer of a folder's ledger at a time; the others wait."""
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
