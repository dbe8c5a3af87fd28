"""What goes on for a stretch of a step: no room for a car, steep ground. Told once a step."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldmap.roads.answer import Move
from fieldmap.roads.step_along import Along, Met
from fieldmap.roads.step_words import LOW_GEAR, NO_PULL_IN, PULL_INS, SINGLE_FILE
from fieldmap.roads.wording import CAUTION
from fieldmap.tables import Tables

Span = tuple[float, float]


def stretches(
    move: Move, along: Along, starts: Collection[int], *, tables: Tables
) -> Iterator[Met]:
    """What goes on along each step: single file, steep descents, steep climbs.

    Parameters
    ----------
    move : Move
    along : Along
        Its way.
    starts : collection of int
        Rows of its legs at which a step begins.
    tables : Tables
        ``steps.low_gear_pct`` and ``steps.low_gear_m``.
    """
    if along.line is None:
        return
    whole = float(move.legs["length_m"].sum())
    scale = float(along.begin[-1]) / whole if whole else 1.0  # map metres for ground metres
    steep = _steep(move.profile, tables, scale)
    rows = sorted(starts)
    for begin, end in zip(rows, [*rows[1:], len(move.legs)], strict=True):
        span = float(along.begin[begin]), float(along.begin[end])
        yield from _single_file(move.meeting, along, span, scale)
        for side, runs in steep.items():
            yield from _slopes(side, runs, along, span)


def _single_file(
    meeting: Mapping[str, Any], along: Along, span: Span, scale: float
) -> Iterator[Met]:
    """Stretches on which a car may find no room, and how many places to pull in there are.

    What surely is single file lies within what possibly is, so that only the latter is told.
    """
    held = [
        (run["from_m"] * scale, run["to_m"] * scale)
        for run in meeting.get("runs", ())
        if run["sure"] == "possibly"
    ]
    inside = _within([*held], span)
    if not inside:
        return
    aside = [
        spot for spot in meeting.get("pull_ins", ()) if span[0] <= spot["at_m"] * scale <= span[1]
    ]
    sure = sum(spot["sure"] == "surely" for spot in aside)
    known = PULL_INS.format(sure=sure, maybe=len(aside) - sure) if aside else NO_PULL_IN
    words = f"{SINGLE_FILE} {known}"
    lon, lat = along.place(inside[0][0])
    far = sum(end - begin for begin, end in inside)
    yield Met(inside[0][0], "care", "single file", words, "", "", lon, lat, far)


def _within(runs: Sequence[Span], span: Span) -> list[Span]:
    """The parts of stretches that lie on a step."""
    cut = [(max(begin, span[0]), min(end, span[1])) for begin, end in runs]
    return [(begin, end) for begin, end in cut if end - begin > 1.0]


def _steep(
    profile: Mapping[str, Sequence[float | None]] | None, tables: Tables, scale: float
) -> dict[int, list[tuple[float, float, float]]]:
    """Steep runs of a profile by the way they go: begin, end, and the steepest grade."""
    if profile is None or len(profile["chainage_m"]) < 2:
        return {}
    steep, least_m = tables.number("steps.low_gear_pct"), tables.number("steps.low_gear_m")
    chain = np.array(profile["chainage_m"], dtype=float)
    grade = np.nan_to_num(np.array(profile["grade_pct"], dtype=float)[: len(chain) - 1])
    held: dict[int, list[tuple[float, float, float]]] = {}
    for side in LOW_GEAR:
        runs = [(run, chain[run[0]], chain[run[-1] + 1]) for run in _runs(side * grade >= steep)]
        held[side] = [
            (float(begin) * scale, float(end) * scale, float(np.abs(grade[run]).max()))
            for run, begin, end in runs
            if end - begin >= least_m
        ]
    return held


def _runs(keep: NDArray[np.bool_]) -> list[NDArray[np.int64]]:
    """Runs of neighbours that are kept, as their numbers."""
    rows = np.flatnonzero(keep)
    return [run for run in np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1) if len(run)]


def _slopes(
    side: int, runs: list[tuple[float, float, float]], along: Along, span: Span
) -> Iterator[Met]:
    """The steep runs of one way that begin on a step, as one thing met where the first begins."""
    here = [run for run in runs if span[0] <= run[0] < span[1]]
    if not here:
        return
    what, words = LOW_GEAR[side]
    most = max(run[2] for run in here)
    often = f", {len(here)} times" if len(here) > 1 else ""
    lon, lat = along.place(here[0][0])
    far = sum(min(end, span[1]) - begin for begin, end, _ in here)
    text = words.format(pct=f"{most:.0f}", often=often)
    yield Met(here[0][0], "care", what, text, CAUTION["grade"], "", lon, lat, far)
