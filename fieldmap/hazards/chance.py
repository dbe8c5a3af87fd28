"""The chance that somebody on foot saw a thing: sweep widths, the curve to the sides of a walk."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable

import numpy as np

from fieldmap.hazards.exposure import REACH_SPREADS, exposure
from fieldmap.tables import Tables

__all__ = [
    "chance_from_coverage", "combined", "coverage_for", "exposure", "farthest_m", "hardest_kind",
    "line_exposure", "looked_for_kinds", "spread_m", "sweep_width_m",
]  # fmt: skip


def sweep_width_m(kind: str, sward_m: float | None, tables: Tables) -> float:
    """Effective sweep width of a kind, both sides of the walker together.

    Parameters
    ----------
    kind : str
        Key of ``hazard_kinds.csv``.
    sward_m : float or None
        Height of the standing crop; ``None`` and NaN are reckoned as tall.
    tables : Tables
        The kind's ``sweep_short_m`` and ``sweep_tall_m``; ``looking.sward_short_m`` and
        ``looking.sward_tall_m``, between which the width is interpolated.

    Returns
    -------
    float
        Metres; 0 for a kind whose sweep width nobody wrote down: it counts as never seen.

    Notes
    -----
    Definition of the sweep width: as many things are missed inside it as are seen outside
    (search theory after Koopman; the widths are own estimates).

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> tables = load_tables()
    >>> [sweep_width_m("stone", sward, tables) for sward in (0.05, 0.30, 0.50)]
    [8.0, 5.5, 3.0]
    >>> sweep_width_m("stone", None, tables)
    3.0
    """
    words = tables[f"hazard_kinds.{kind}"].words
    short, tall = (float(words.get(name) or 0.0) for name in ("sweep_short_m", "sweep_tall_m"))
    low, high = tables.number("looking.sward_short_m"), tables.number("looking.sward_tall_m")
    if sward_m is None or math.isnan(sward_m) or sward_m >= high:
        return tall
    share = max(0.0, sward_m - low) / (high - low) if high > low else 0.0
    return short + share * (tall - short)


def looked_for_kinds(tables: Tables, *, looked_for: bool = True) -> list[str]:
    """The kinds that a walker can be expected to see, or the others.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> both = [looked_for_kinds(load_tables(), looked_for=said) for said in (True, False)]
    >>> sorted(sum(both, [])) == sorted(
    ...     row.key.split(".")[1] for row in load_tables().rows("hazard_kinds")
    ... )
    True
    """
    return [
        row.key.split(".", 1)[1]
        for row in tables.rows("hazard_kinds")
        if (row.words.get("looked_for") == "yes") == looked_for
    ]


def hardest_kind(sward_m: float | None, tables: Tables) -> str:
    """Of the kinds looked for the one with the smallest sweep width, the first of equals.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> tables = load_tables()
    >>> sweep_width_m(hardest_kind(None, tables), None, tables)
    3.0
    """
    return min(looked_for_kinds(tables), key=lambda kind: sweep_width_m(kind, sward_m, tables))


def farthest_m(tables: Tables) -> float:
    """From a walk this far off, or farther, nothing of any kind is reckoned to be seen."""
    widths = [
        max(sweep_width_m(kind, sward, tables) for sward in (0.0, None))
        for wanted in (True, False)
        for kind in looked_for_kinds(tables, looked_for=wanted)
    ]
    return REACH_SPREADS * spread_m(max(widths, default=0.0), tables.number("looking.line_chance"))


def line_exposure(line_chance: float) -> float:
    """Exposure H0 right on an endless walked line: -ln(1 - chance).

    Raises
    ------
    ValueError
        The chance is not between 0 and 1, or is one of them.
    """
    if not 0.0 < line_chance < 1.0:
        raise ValueError(f"a chance on the line between 0 and 1 is needed; {line_chance} given")
    return -math.log1p(-line_chance)


def spread_m(sweep_m: float, line_chance: float) -> float:
    """Spread s of the curve to the sides of a line, so that its whole area is the sweep width.

    Parameters
    ----------
    sweep_m : float
        Effective sweep width.
    line_chance : float
        Chance of seeing a thing right on the line.

    Notes
    -----
    sweep = s g(H0) with g(H0) = integral of 1 - exp(-H0 exp(-u^2 / 2)) over all u.

    Examples
    --------
    >>> round(spread_m(6.0, 0.9) / spread_m(3.0, 0.9), 9)
    2.0
    """
    return sweep_m / _widths_a_spread(line_exposure(line_chance))


@functools.lru_cache(maxsize=64)
def _widths_a_spread(strength: float) -> float:
    """The integral g(H0), by the trapezoid rule, which is exact to rounding for such a curve."""
    u = np.linspace(-12.0, 12.0, 4801)
    held = -np.expm1(-strength * np.exp(-0.5 * u**2))
    return float(held.sum() * (u[1] - u[0]))


def coverage_for(chance: float) -> float:
    """Coverage that random search needs for a chance: C = -ln(1 - chance) (Koopman).

    Parameters
    ----------
    chance : float
        0 up to, but not, 1.

    Raises
    ------
    ValueError
        No coverage gives certainty, and none a chance under 0.

    Examples
    --------
    >>> round(coverage_for(0.9), 4)
    2.3026
    >>> coverage_for(0.0)
    0.0
    """
    if not 0.0 <= chance < 1.0:
        raise ValueError(f"a chance from 0 up to, but not, 1 is needed; {chance} given")
    return abs(math.log1p(-chance))


def chance_from_coverage(coverage: float) -> float:
    """Chance by random search: 1 - exp(-C), the cautious reading of a coverage (Koopman).

    Examples
    --------
    >>> round(chance_from_coverage(1.0), 4)
    0.6321
    """
    return -math.expm1(-coverage)


def combined(chances: Iterable[float]) -> float:
    """Chance that at least one of several looks saw it, each by itself: 1 - prod(1 - p).

    Examples
    --------
    >>> round(combined([0.6, 0.6]), 4)
    0.84
    >>> combined([])
    0.0
    """
    return 1.0 - math.prod(1.0 - chance for chance in chances)
