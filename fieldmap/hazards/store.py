"""The log's file: append-only events in a GeoPackage (an attributes table, standard SQLite).

While it is written the file keeps a write-ahead log beside it, flushed at every commit; when
the last writer closes it is one file again.
"""

from __future__ import annotations

import logging
import sqlite3
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from fieldmap.errors import Fault, FieldmapError, InputError, StoreError
from fieldmap.hazards.events import EVENT_COLUMNS, no_events
from fieldmap.hazards.layout import (
    LAYOUT,
    foreign,
    layout_of,
    make,
    migrate,
    missing_columns,
)

_PATIENCE_S = 20.0  # of a writer: others may write many photos
_READING_S = 10.0
_SILENT_S = 1.0  # from so long a wait on it is told of
_PAUSE_S = 0.01
_told_of = logging.getLogger(__name__)  # says on stderr that it waits; nothing else is said there
_HEAD = b"SQLite format 3\0"


def append(path: Path, events: pd.DataFrame, *, photos: Mapping[str, bytes] | None = None) -> int:
    """Add events to the log, made when it is not there; events already in it are left alone.

    An event without a ``sequence`` is this log's own: it gets the log's ``device`` and the next
    number, one more than any that the log has seen, so that numbers run with what was known.

    Parameters
    ----------
    path : Path
        The log.
    events : DataFrame
        Columns :data:`fieldmap.hazards.events.EVENT_COLUMNS`.
    photos : mapping, optional
        Pictures (JPEG) by id.

    Returns
    -------
    int
        How many were new. When this returns they are on the disk; all of them, or none.

    Raises
    ------
    StoreError
        Disk, permission or lock.
    InputError
        The file is there and is not a hazard log, or an event lacks what it must have.
    """
    names = ", ".join(EVENT_COLUMNS)
    marks = ", ".join("?" * len(EVENT_COLUMNS))
    with _opened(path) as log, _transaction(log):
        make(log)
        migrate(log)
        rows = _numbered(events, log)
        before = log.total_changes
        log.executemany(
            f"INSERT INTO events ({names}) VALUES ({marks}) "  # noqa: S608
            "ON CONFLICT (event_id) DO NOTHING",
            rows,
        )
        new = log.total_changes - before
        log.executemany(
            "INSERT INTO photos (photo_id, jpeg) VALUES (?, ?) ON CONFLICT (photo_id) DO NOTHING",
            (photos or {}).items(),
        )
    return new


def read_events(path: Path) -> pd.DataFrame:
    """All events of a log in the order they were written; none when there is no log yet.

    Raises
    ------
    StoreError
        Disk, permission or lock.
    InputError
        The file is not a hazard log, or is damaged.
    """
    if not path.exists() or path.stat().st_size == 0:
        return no_events()
    with _read(path) as log:
        if layout_of(log) == 0:  # a making that was broken off
            return no_events()
        missing = missing_columns(log)
        columns = ", ".join(missing.get(name, name) for name in EVENT_COLUMNS)
        found = log.execute(f"SELECT {columns} FROM events ORDER BY fid").fetchall()  # noqa: S608
    if not found:
        return no_events()
    held = dict(zip(EVENT_COLUMNS, zip(*found, strict=True), strict=True))
    table = pd.DataFrame({name: np.array(held[name], dtype=object) for name in EVENT_COLUMNS})
    return table.astype(dict(no_events().dtypes))


def read_photos(path: Path, wanted: set[str]) -> dict[str, bytes]:
    """Pictures of a log by id; those it does not hold are left out.

    Raises
    ------
    StoreError
        Disk, permission or lock.
    InputError
        The file is not a hazard log, or is damaged.
    """
    if not wanted or not path.exists() or path.stat().st_size == 0:
        return {}
    with _read(path) as log:
        if layout_of(log) < LAYOUT:
            return {}
        found = (
            log.execute("SELECT photo_id, jpeg FROM photos WHERE photo_id = ?", (one,)).fetchone()
            for one in sorted(wanted)
        )
        return {row[0]: row[1] for row in found if row is not None}


def is_log(path: Path) -> bool:
    """Whether a file is a hazard log, by what is in it."""
    try:
        with path.open("rb") as file:
            if file.read(len(_HEAD)) != _HEAD:
                return False
        with _read(path) as log:
            return layout_of(log) > 0
    except (FieldmapError, OSError):
        return False


def _numbered(events: pd.DataFrame, log: sqlite3.Connection) -> Iterator[tuple[Any, ...]]:
    device = log.execute("SELECT value FROM log_facts WHERE key = 'device'").fetchone()[0]
    last = log.execute("SELECT coalesce(max(sequence), 0) FROM events").fetchone()[0]
    held = events[list(EVENT_COLUMNS)].copy()
    own = (held["sequence"] == 0).to_numpy()
    last = max(last, int(held["sequence"].max())) if len(held) else last
    held.loc[own, "sequence"] = last + 1 + np.arange(int(own.sum()))
    held.loc[own, "device"] = device
    plain = held.astype(object).where(held.notna(), None)
    return plain.itertuples(index=False, name=None)


@contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    """The log for writing, its write-ahead log on; one file again when the last one closes."""
    with _told(path), closing(_connection(path, "rwc")) as log:
        _is_ours(log, path)
        _patiently(
            lambda: log.execute("PRAGMA journal_mode = WAL").fetchone(), waiting_for=path.name
        )
        log.execute("PRAGMA synchronous = FULL")
        try:
            yield log
        finally:
            # fails while another writer has it open: the last one does it
            with suppress(sqlite3.OperationalError):
                log.execute("PRAGMA busy_timeout = 0")
                log.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
                log.execute("PRAGMA journal_mode = DELETE").fetchall()


@contextmanager
def _read(path: Path) -> Iterator[sqlite3.Connection]:
    """The log for reading; from a folder that cannot be written as it lies there."""
    with _told(path), closing(_readable(path)) as log:
        _is_ours(log, path)
        yield log


def _readable(path: Path) -> sqlite3.Connection:
    path = path.resolve()
    beside = (path.with_name(path.name + ending) for ending in ("-wal", "-journal"))
    lies_alone = not any(one.exists() for one in beside)
    for mode in ("rw", "ro", *(("ro&immutable=1",) if lies_alone else ())):
        log = None
        try:
            log = _connection(path, mode, patience_s=_SILENT_S)
            look = partial(_first_look, log)
            _patiently(look, patience_s=_READING_S, waiting_for=path.name)
        except sqlite3.OperationalError as error:
            if log is not None:
                log.close()
            if _is_lock(error):  # it is locked in every mode
                raise
            last = error
        else:
            log.execute(f"PRAGMA busy_timeout = {int(1000 * _READING_S)}")
            return log
    raise last


def _first_look(log: sqlite3.Connection) -> None:
    log.execute("SELECT count(*) FROM sqlite_master").fetchone()


def _connection(path: Path, mode: str, *, patience_s: float = _PATIENCE_S) -> sqlite3.Connection:
    address = f"{path.absolute().as_uri()}?mode={mode}"
    return sqlite3.connect(address, uri=True, timeout=patience_s, isolation_level=None)


def _patiently(
    action: Callable[[], Any], *, patience_s: float = _PATIENCE_S, waiting_for: str = ""
) -> None:
    """Do it again while the file is locked: some locks do not wait by themselves.

    ``waiting_for`` names the file in the words that tell of a longer wait.
    """
    begun = time.monotonic()
    while True:
        try:
            action()
        except sqlite3.OperationalError as error:
            waited_s = time.monotonic() - begun
            if not _is_lock(error) or waited_s > patience_s:
                raise
            if waiting_for and waited_s >= _SILENT_S / 2:
                _told_of.warning(
                    "another program has %s locked: waiting up to %.0f s", waiting_for, patience_s
                )
                waiting_for = ""
            time.sleep(_PAUSE_S)
        else:
            return


@contextmanager
def _transaction(log: sqlite3.Connection) -> Iterator[None]:
    _patiently(lambda: log.execute("BEGIN IMMEDIATE"), waiting_for="the hazard log")
    try:
        yield
        log.execute("COMMIT")
    except BaseException:
        if log.in_transaction:
            log.execute("ROLLBACK")
        raise


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """What SQLite says, in words for people."""
    if path.is_dir():
        raise StoreError(
            Fault(
                "a folder stands where the hazard log should be",
                path.name,
                "nothing can be written or read",
                "move it away, or name another file in farm.toml",
                where=str(path),
            )
        )
    try:
        yield
    except sqlite3.OperationalError as error:
        raise StoreError(_stood_in_the_way(path, error)) from error
    except sqlite3.IntegrityError as error:
        raise InputError(
            Fault(
                "an event that lacks what it must have",
                str(error),
                "nothing was added",
                "give each find a place and a kind",
                where=str(path),
            )
        ) from error
    except sqlite3.DatabaseError as error:
        damaged = _code(error) == sqlite3.SQLITE_CORRUPT
        raise InputError((_damaged if damaged else _not_a_log)(path, str(error))) from error


def _code(error: sqlite3.Error) -> int:
    """SQLite's own number for what happened; 0 when it gives none."""
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF


def _is_lock(error: sqlite3.OperationalError) -> bool:
    return _code(error) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


def _stood_in_the_way(path: Path, error: sqlite3.OperationalError) -> Fault:
    mends = {
        sqlite3.SQLITE_FULL: "free space on the disk",
        sqlite3.SQLITE_IOERR: "see whether the disk is full or failing",
        sqlite3.SQLITE_READONLY: "mend the permission of the file and of its folder",
        sqlite3.SQLITE_CANTOPEN: "mend the name, or the permission of its folder",
        sqlite3.SQLITE_BUSY: "close the other program that has the log open, and try again",
    }
    return Fault(
        "the hazard log cannot be written or read",
        str(error),
        "nothing was added; what was in it stands",
        mends.get(_code(error), "free the disk, the lock or the permission"),
        where=str(path),
    )


def _is_ours(log: sqlite3.Connection, path: Path) -> None:
    seen: list[str | None] = []
    _patiently(lambda: seen.append(foreign(log)))
    if seen[-1] is not None:
        raise InputError(_not_a_log(path, seen[-1]))


def _not_a_log(path: Path, seen: str) -> Fault:
    return Fault(
        "not a hazard log",
        seen,
        "marks would go astray",
        "name another file in farm.toml, or use 'fieldmap hazards import' to read this one",
        where=str(path),
    )


def _damaged(path: Path, seen: str) -> Fault:
    return Fault(
        "a damaged hazard log",
        seen,
        "marks would go missing unseen",
        "take its last copy, and import what other people's logs hold",
        where=str(path),
    )
