"""One answer a field: cells, zones, findings and settings, for a machine on a day."""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from fieldmap.errors import Fault, MisuseError, StoreError
from fieldmap.farm import Farm
from fieldmap.field_answer import Asked, FieldAnswer, answer_fields, asked_of
from fieldmap.machine import Machine
from fieldmap.summary import summary_row

FIELDS_A_CHUNK = 64
#: One process more pays from so many fields on: it takes a second or two to begin.
FIELDS_A_PROCESS = 150
_LEAST_A_TURN = 64


@dataclass(frozen=True, eq=False)
class Assessment:
    """The answers of a run, with the farm, the machine and the day they hold for."""

    farm: Farm
    machine: Machine | None
    day: date
    answers: tuple[FieldAnswer, ...]

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a field: the columns of ``fields.csv``.

        ``field_id, name, crop, area_ha, level, reason, slope_known_share, slope_p95_pct,
        slope_max_pct, slope_error_pct, heading_deg, runs, turns, mowing_min,
        side_slope_max_pct, side_slope_use_max, sight_ahead_min_m, speed_limit_kmh, hollows,
        drop_offs, wet_share, unknown_share, looked_share, flooded_share, marks, cut_height_m,
        skid_shoe, knife, conditioner, strikes, strikes_low, strikes_high, wraps, forage_things,
        set_up_cost, set_up_margin, power_needed_kw, work_rate_ha_h``; unknown is empty.
        """
        fields = self.farm.fields.set_index("field_id")
        tables = self.farm.tables
        rows = [summary_row(fields.loc[one.field_id], one, tables) for one in self.answers]
        return pd.DataFrame(rows)

    def counts(self) -> dict[str, int]:
        """How many fields have each level."""
        levels = [answer.level for answer in self.answers]
        return {level: levels.count(level) for level in ("stop", "unknown", "care", "ok")}


def assess(
    farm: Farm,
    *,
    day: date,
    machine_id: str | None = None,
    field_ids: Sequence[str] = (),
    cluster: str | None = None,
    workers: int | None = None,
) -> Assessment:
    """Assess the fields of a farm before a cut.

    Parameters
    ----------
    farm : Farm
    day : date
        The day the question is asked: what was walked or flooded later does not count.
    machine_id : str, optional
        The machine; the first of machines.toml when none is named.
    field_ids : sequence of str
        Only these fields; all when empty.
    cluster : str, optional
        Address of a Dask scheduler that shares the farm's files; fields are sent in chunks.
    workers : int, optional
        Processes to share the fields out to, this one among them. When not given as many as there
        are processors, but one for every 150 fields at most. The answers are the same.

    Raises
    ------
    MisuseError
        No such field or machine, or a cluster without the ``cluster`` extra.
    StoreError
        A process ended before it had answered.
    """
    machine = farm.machine(machine_id)
    asked = asked_of(farm, machine, day)
    rows = _rows(farm, field_ids)
    if cluster is not None:
        answers = _on_cluster(asked, rows, cluster)
    else:
        answers = _on_processes(asked, rows, _processes(workers, len(rows)))
    return Assessment(asked.farm, machine, day, tuple(answers))


def _rows(farm: Farm, field_ids: Sequence[str]) -> list[int]:
    ids = farm.fields["field_id"]
    missing = [name for name in field_ids if not (ids == name).any()]
    if missing:
        raise MisuseError(
            Fault(
                "no such field",
                name,
                "there is nothing to assess",
                f"use one of {', '.join(ids.iloc[:20])}",
            )
            for name in missing
        )
    wanted = ids.isin(field_ids) if field_ids else np.ones(len(ids), bool)
    return np.flatnonzero(wanted).tolist()


def _on_cluster(asked: Asked, rows: list[int], address: str) -> list[FieldAnswer]:
    try:
        from distributed import Client  # noqa: PLC0415
    except ImportError:
        raise MisuseError(
            Fault(
                "--cluster without Dask",
                address,
                "the fields cannot be sent out",
                "install fieldmap with its cluster extra",
            )
        ) from None
    chunks = [rows[at : at + FIELDS_A_CHUNK] for at in range(0, len(rows), FIELDS_A_CHUNK)]
    with Client(address) as client:
        sent = client.scatter(asked, broadcast=True)
        waiting = [client.submit(answer_fields, sent, chunk) for chunk in chunks]
        return [answer for part in client.gather(waiting) for answer in part]


def _processes(workers: int | None, fields: int) -> int:
    """How many processes, this one among them."""
    if workers is not None:
        return max(1, min(workers, fields))
    return max(1, min(os.cpu_count() or 1, fields // FIELDS_A_PROCESS))


def _on_processes(asked: Asked, rows: list[int], workers: int) -> list[FieldAnswer]:
    """The answers by this process and some more, which take rows in turn, large helpings first."""
    if workers == 1 or not sys.executable:
        return answer_fields(asked, rows)
    turns = _Turns(rows, workers)
    told = pickle.dumps(asked, pickle.HIGHEST_PROTOCOL)
    with _others(told, workers - 1) as others:
        asking = [threading.Thread(target=turns.work, args=(one.ask,)) for one in others]
        for one in asking:
            one.start()
        try:
            turns.work(lambda part: answer_fields(asked, part))
        finally:
            turns.stop()
        for one in asking:
            one.join()
    return turns.answers()


class _Turns:
    """Helpings of rows, taken one by one by whoever is free; the answers in the rows' order."""

    def __init__(self, rows: list[int], workers: int) -> None:
        self._left = enumerate(_helpings(rows, workers))
        self._done: dict[int, list[FieldAnswer]] = {}
        self._failed: dict[int, BaseException] = {}
        self._lock = threading.Lock()

    def work(self, answer: Any) -> None:
        """Answer helpings until none is left or one of them failed."""
        while (turn := self._next()) is not None:
            number, part = turn
            try:
                self._done[number] = answer(part)
            except Exception as error:  # noqa: BLE001 raised again by answers()
                self._failed[number] = error
                self.stop()

    def _next(self) -> tuple[int, list[int]] | None:
        with self._lock:
            return next(self._left, None)

    def stop(self) -> None:
        """Nothing more is given out."""
        with self._lock:
            self._left = enumerate(())

    def answers(self) -> list[FieldAnswer]:
        """All answers; raises what went wrong first in the order of the rows."""
        if self._failed:
            raise self._failed[min(self._failed)]
        return [answer for number in sorted(self._done) for answer in self._done[number]]


def _helpings(rows: list[int], workers: int) -> Iterator[list[int]]:
    at = 0
    while at < len(rows):
        size = max(_LEAST_A_TURN, (len(rows) - at) // (2 * workers))
        yield rows[at : at + size]
        at += size


class _Other:
    """Another process that answers rows: told what is asked, then asked for rows again and again.

    It is begun anew and not forked: GDAL's threads, once begun, would be missing in a fork, and
    whoever reads a packed raster there waits for them for ever.
    """

    def __init__(self) -> None:
        begin = f"import sys; sys.path[:] = {sys.path!r}; from fieldmap.assessment import serve"
        self._process = subprocess.Popen(
            [sys.executable, "-c", f"{begin}; serve()"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        self._untold = b""

    def tell(self, asked: bytes) -> None:
        """What is asked, said before the first rows: until it reads, writing would wait."""
        self._untold = asked

    def ask(self, rows: list[int]) -> list[FieldAnswer]:
        """The answers for some rows; raises what the other process raised."""
        try:
            self._process.stdin.write(self._untold)  # type: ignore[union-attr]
            self._untold = b""
            pickle.dump(rows, self._process.stdin)  # type: ignore[arg-type]
            self._process.stdin.flush()  # type: ignore[union-attr]
            fine, answer = pickle.load(self._process.stdout)  # type: ignore[arg-type]  # noqa: S301
        except (EOFError, OSError, pickle.UnpicklingError):
            raise StoreError(self._ended()) from None
        if not fine:
            raise answer
        return answer

    def _ended(self) -> Fault:
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(1.0)
        return Fault(
            "a process that ended before it had answered",
            f"exit code {self._process.poll()}",
            "its fields have no answer",
            "free memory, or assess with workers=1",
        )

    def end(self) -> None:
        """It ends, whatever it is at."""
        self._process.kill()
        for pipe in (self._process.stdin, self._process.stdout):
            with suppress(OSError):
                pipe.close()  # type: ignore[union-attr]
        self._process.wait()


@contextmanager
def _others(asked: bytes, count: int) -> Iterator[list[_Other]]:
    others: list[_Other] = []
    try:
        for _ in range(count):
            others.append(_Other())
            others[-1].tell(asked)
        yield others
    finally:
        for one in others:
            one.end()


def serve() -> None:
    """The other process's side: what is asked, then rows, come in; answers or an error go out."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever asks ends it
    with os.fdopen(os.dup(1), "wb") as out:
        os.dup2(2, 1)  # what a library may print goes to stderr
        asked = pickle.load(sys.stdin.buffer)  # noqa: S301 from the process that began this one
        with suppress(EOFError):
            while True:
                rows = pickle.load(sys.stdin.buffer)  # noqa: S301
                try:
                    reply: tuple[bool, Any] = (True, answer_fields(asked, rows))
                except Exception as error:  # noqa: BLE001 raised again by whoever asks
                    reply = (False, error)
                pickle.dump(reply, out, pickle.HIGHEST_PROTOCOL)
                out.flush()
