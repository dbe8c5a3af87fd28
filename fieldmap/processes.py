"""Fields shared out to processes of this machine: large helpings first, the answers in order."""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

from fieldmap.errors import Fault, StoreError
from fieldmap.field_answer import Asked, FieldAnswer, answer_rows, ready

#: One process more pays from so many fields on: it takes a second or two to begin.
FIELDS_A_PROCESS = 150
_LEAST_A_TURN = 64


def processes_for(workers: int | None, fields: int) -> int:
    """How many processes, this one among them.

    Parameters
    ----------
    workers : int or None
        As many as wished, but no more than fields; ``None``: as many as there are processors,
        but one for every 150 fields at most.
    fields : int

    Examples
    --------
    >>> processes_for(3, 2), processes_for(None, 10)
    (2, 1)
    """
    if workers is not None:
        return max(1, min(workers, fields))
    return max(1, min(os.cpu_count() or 1, fields // FIELDS_A_PROCESS))


@contextmanager
def pool(processes: int) -> Iterator[Pool]:
    """Processes that have begun, this one among them; the others end with the block."""
    others: list[_Other] = []
    try:
        if sys.executable:
            others.extend(_Other() for _ in range(processes - 1))
        yield Pool(others)
    finally:
        for one in others:
            one.end()


class Pool:
    """Some other processes, which take rows in turn with the one that asks."""

    def __init__(self, others: list[_Other]) -> None:
        self._others = others

    def answers(self, asked: Asked, rows: list[int]) -> list[FieldAnswer]:
        """The answers for some rows of the farm's fields, in their order.

        Raises
        ------
        StoreError
            A process ended before it had answered. Whatever a process raises comes through.
        """
        if not self._others:
            return answer_rows(ready(asked), rows)
        turns = _Turns(rows, len(self._others) + 1)
        told = pickle.dumps(asked, pickle.HIGHEST_PROTOCOL)
        for one in self._others:
            one.tell(told)
        asking = [threading.Thread(target=turns.work, args=(one.ask,)) for one in self._others]
        for thread in asking:
            thread.start()
        try:
            held = ready(asked)
            turns.work(lambda part: answer_rows(held, part))
        finally:
            turns.stop()
        for thread in asking:
            thread.join()
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
        begin = f"import sys; sys.path[:] = {sys.path!r}; from fieldmap.processes import serve"
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


def serve() -> None:
    """The other process's side: what is asked, then rows, come in; answers or an error go out."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever asks ends it
    with os.fdopen(os.dup(1), "wb") as out:
        os.dup2(2, 1)  # what a library may print goes to stderr
        asked = pickle.load(sys.stdin.buffer)  # noqa: S301 from the process that began this one
        with suppress(EOFError):
            held = None
            while True:
                rows = pickle.load(sys.stdin.buffer)  # noqa: S301
                try:
                    held = ready(asked) if held is None else held
                    reply: tuple[bool, Any] = (True, answer_rows(held, rows))
                except Exception as error:  # noqa: BLE001 raised again by whoever asks
                    reply = (False, error)
                pickle.dump(reply, out, pickle.HIGHEST_PROTOCOL)
                out.flush()
