"""The heights along a way as a drawing, with what is steep and what is not known."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from fieldmap.units import System, shown

#: Size of the drawing; a page stretches it, and writes its words beside it.
WIDTH, HEIGHT = 600.0, 160.0
_EDGE = 8.0  # kept free over the highest and under the lowest
_LEAST_RISE_M = 10.0  # a flat way does not look like hills

Profile = Mapping[str, Sequence[float | None]]


def profile_view(profile: Profile | None, steep_pct: float, units: System) -> dict[str, Any] | None:
    """Paths and words of the drawing; ``None`` without any height.

    Parameters
    ----------
    profile : mapping or None
        ``chainage_m``, ``height_m``, ``grade_pct``; ``None`` or NaN where nothing is known.
    steep_pct : float
        From this grade on, up or down, the line is drawn as steep.
    units : {"us", "metric"}

    Examples
    --------
    >>> flat = {"chainage_m": [0, 100], "height_m": [5, 5], "grade_pct": [0, 0]}
    >>> profile_view(flat, 6.0, "metric")["words"]
    'From 5.00 m to 5.00 m of height; steepest 0% up, 0% down.'
    >>> profile_view(None, 6.0, "metric") is None
    True
    """
    if profile is None:
        return None
    chain, height, grade = (
        _figures(profile[key]) for key in ("chainage_m", "height_m", "grade_pct")
    )
    if len(chain) < 2 or not np.isfinite(height).any():
        return None
    low, high = _span(height)
    x = WIDTH * (chain - chain[0]) / max(chain[-1] - chain[0], 1.0)
    y = _EDGE + (HEIGHT - 2 * _EDGE) * (high - height) / (high - low)
    known = np.isfinite(height[:-1]) & np.isfinite(height[1:])
    steep = known & (np.abs(np.nan_to_num(grade[: len(known)])) >= steep_pct)
    return {
        "width": WIDTH,
        "height": HEIGHT,
        "line": _paths(x, y, known),
        "steep": _paths(x, y, steep),
        "gaps": _gaps(x, known),
        "ends": [_whole(high, units), _whole(low, units)],
        "far": shown((chain[-1] - chain[0]) / 1000.0, "km", units),
        "words": _words(height, grade, units),
        "steep_words": f"{steep_pct:.0f}% or steeper, up or down",
    }


def _figures(held: Sequence[float | None]) -> np.ndarray:
    return np.array([math.nan if one is None else one for one in held], dtype=float)


def _span(height: np.ndarray) -> tuple[float, float]:
    low, high = float(np.nanmin(height)), float(np.nanmax(height))
    more = max(_LEAST_RISE_M - (high - low), 0.0) / 2.0
    return low - more, high + more


def _runs(keep: np.ndarray) -> list[np.ndarray]:
    """Runs of neighbours that are kept, as their numbers."""
    held = np.flatnonzero(keep)
    return [run for run in np.split(held, np.flatnonzero(np.diff(held) > 1) + 1) if len(run)]


def _paths(x: np.ndarray, y: np.ndarray, keep: np.ndarray) -> str:
    """Pieces of the line between neighbours, joined where they meet."""
    pieces = []
    for run in _runs(keep):
        rows = [*run, run[-1] + 1]
        pieces.append("M" + "L".join(f"{x[row]:.1f} {y[row]:.1f}" for row in rows))
    return "".join(pieces)


def _gaps(x: np.ndarray, known: np.ndarray) -> list[dict[str, float]]:
    """Stretches of unknown height."""
    return [
        {"x": round(float(x[run[0]]), 1), "width": round(float(x[run[-1] + 1] - x[run[0]]), 1)}
        for run in _runs(~known)
    ]


def _whole(height_m: float, units: System) -> str:
    """A height to the whole foot or metre."""
    figure, _, unit = shown(height_m, "m", units).partition(" ")
    return f"{float(figure.replace(',', '')):,.0f} {unit}"


def _words(height: np.ndarray, grade: np.ndarray, units: System) -> str:
    seen = grade[np.isfinite(grade)]
    ends = [shown(float(one), "m", units) for one in (np.nanmin(height), np.nanmax(height))]
    if not len(seen):
        return f"From {ends[0]} to {ends[1]} of height; the grades are unknown."
    up, down = max(float(seen.max()), 0.0), abs(min(float(seen.min()), 0.0))
    return f"From {ends[0]} to {ends[1]} of height; steepest {up:.0f}% up, {down:.0f}% down."
