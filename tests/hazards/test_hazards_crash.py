"""Kills, crowds and full disks: what was acknowledged is there, and the file is whole.

A short run here; ``make soak`` sets ``FIELDMAP_SOAK`` to the number of kills of the long one.
"""

from __future__ import annotations

import os
import resource
import signal
import sqlite3
from pathlib import Path

import pytest
from crash_harness import kill, write_at_once
from event_pieces import adds

from fieldmap.errors import StoreError
from fieldmap.hazards.store import append, read_events

KILLS = int(os.environ.get("FIELDMAP_SOAK", "40"))
pytestmark = pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")


def test_property_kills_lose_nothing_that_was_acknowledged(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Property: a writer killed at any instant."""
    count = kill(tmp_path, KILLS, seed=20260601)
    with capsys.disabled():
        if KILLS > 40:
            print(f"\n{count}")  # noqa: T201
    assert count.told >= KILLS / 2  # the harness did strike while it wrote
    assert (count.lost, count.broken) == (0, 0)


def test_property_four_writers_at_once_lose_and_fail_none(tmp_path: Path) -> None:
    """Property: all their events are there, each with a number of its own."""
    times = max(10, KILLS // 10)
    count = write_at_once(tmp_path, writers=4, times=times)
    assert count.told == 4 * times * 2
    assert (count.lost, count.broken, count.failed) == (0, 0, 0)
    assert [path.name for path in tmp_path.iterdir()] == ["shared.gpkg"]


def test_by_hand_a_full_disk_gives_a_plain_error_and_a_whole_file(tmp_path: Path) -> None:
    """No file of this process may grow any more: what a full disk does to SQLite."""
    log = tmp_path / "hazards.gpkg"
    append(log, adds({"note": "kept"}))
    before = log.stat().st_size
    many = adds(*({"note": "x" * 500 + str(number)} for number in range(500)))
    old = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (before + 8192, hard))
    try:
        with pytest.raises(StoreError, match="disk") as caught:
            append(log, many)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, old)
    assert "nothing was added" in str(caught.value.faults[0])
    assert read_events(log)["note"].tolist() == ["kept"]
    assert append(log, many) == 500
    assert [path.name for path in tmp_path.iterdir()] == ["hazards.gpkg"]


def test_by_hand_a_database_that_may_not_grow_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite's own word for a full disk, raised by its own limit of pages."""
    log = tmp_path / "hazards.gpkg"
    append(log, adds({"note": "kept"}))
    pages = sqlite3.connect(log).execute("PRAGMA page_count").fetchone()[0]
    plain = sqlite3.connect

    def limited(*words: object, **more: object) -> sqlite3.Connection:
        file = plain(*words, **more)
        file.execute(f"PRAGMA max_page_count = {pages + 1}")
        return file

    monkeypatch.setattr(sqlite3, "connect", limited)
    with pytest.raises(StoreError, match="free space"):
        append(log, adds(*({"note": "x" * 500 + str(number)} for number in range(500))))
    monkeypatch.undo()
    assert read_events(log)["note"].tolist() == ["kept"]
