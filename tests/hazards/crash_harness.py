"""Writers that are killed while they write, and writers that write at once.

Each writer is a fork of this process, so that it starts in milliseconds and a kill strikes
anywhere: while the log is made, opened, written, or made one file again. What a writer has
said it wrote (a line through a pipe, after ``append`` returned) must be in the log.
"""

from __future__ import annotations

import os
import random
import select
import signal
import sqlite3
import time
from pathlib import Path
from typing import NamedTuple

from event_pieces import adds

from fieldmap.hazards.store import append, read_events


class Count(NamedTuple):
    """Kills done, events that writers were told are on disk, and how many of those are not."""

    kills: int
    told: int
    lost: int
    broken: int
    failed: int


def _write_on(log: Path, name: str, pipe: int, times: int, rows: int) -> None:
    for number in range(times):
        events = adds(*({"note": f"{name} {number} {row}"} for row in range(rows)))
        append(log, events)
        os.write(pipe, ("\n".join(events["event_id"]) + "\n").encode())


def _fork(log: Path, name: str, *, times: int, rows: int) -> tuple[int, int]:
    out, back = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(out)
        code = 1
        try:
            _write_on(log, name, back, times, rows)
            code = 0
        finally:
            os._exit(code)
    os.close(back)
    return child, out


def _said(pipe: int) -> list[str]:
    with os.fdopen(pipe, encoding="utf-8") as lines:
        text = lines.read()
    return [line for line in text.split("\n")[:-1] if line]


def _whole(log: Path) -> bool:
    file = sqlite3.connect(log)
    try:
        return file.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    finally:
        file.close()


def kill(folder: Path, times: int, *, seed: int, fresh_every: int = 25) -> Count:
    """Kill a writer at a random instant, look whether all it was told is there, begin again."""
    dice = random.Random(seed)  # noqa: S311
    told = lost = broken = 0
    kept: set[str] = set()
    for number in range(times):
        log = folder / f"log{number // fresh_every}.gpkg"
        if number % fresh_every == 0:
            kept = set()
        child, pipe = _fork(log, str(number), times=10_000, rows=dice.choice((1, 1, 7)))
        if number % 2:  # every other one has written at least once
            select.select([pipe], [], [], 30.0)
        time.sleep(dice.uniform(0.0, 0.06))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        said = _said(pipe)
        told += len(said)
        kept |= set(said)
        held = read_events(log)
        lost += len(kept - set(held["event_id"]))
        broken += log.exists() and not _whole(log)
    return Count(times, told, lost, broken, 0)


def write_at_once(folder: Path, *, writers: int, times: int) -> Count:
    """Several writers in one log, made by the first of them to come."""
    log = folder / "shared.gpkg"
    forked = [_fork(log, f"w{number}", times=times, rows=2) for number in range(writers)]
    said = [_said(pipe) for _, pipe in forked]
    failed = sum(os.waitpid(child, 0)[1] != 0 for child, _ in forked)
    held = read_events(log)
    told = [name for names in said for name in names]
    lost = len(set(told) - set(held["event_id"])) + 2 * writers * times - len(held)
    numbers = len(held) - held["sequence"].nunique()
    return Count(0, len(told), lost + numbers, int(not _whole(log)), failed)
