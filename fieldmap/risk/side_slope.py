"""How much of its side-slope limit a machine uses, and the heading that uses least."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldmap.grid import Grid
from fieldmap.machine import Machine
from fieldmap.risk.work import Work
from fieldmap.tables import Tables
from fieldmap.tables.loader import FARM_SOURCE
from fieldmap.terrain.slope import Slope
from fieldmap.terrain.travel import across_pct, across_rms_pct, across_shares
from fieldmap.units import percent_from_degrees


class Limits(NamedTuple):
    """Slopes at which care begins and work stops, in percent, and what they rest on.

    ``proven_pct`` is the side slope from which, below ``stop_pct``, the answer is unknown because
    nobody can tell how near the machine is to tipping: infinity when its static tipping angle is
    known, the tool's own care limit when only the user's limit is, 0 when neither is.
    ``sources`` stand behind the side-slope limits, ``up_down_sources`` behind the others.
    """

    care_pct: float
    stop_pct: float
    up_down_care_pct: float
    up_down_stop_pct: float
    proven_pct: float
    words: str
    sources: tuple[str, ...]
    up_down_sources: tuple[str, ...]


class Heading(NamedTuple):
    """The best line of travel: degrees from grid north, shares of known ground over the limits.

    ``runs``, ``turns`` and ``minutes`` are ``None`` without a working width; ``ties`` are all
    lines that are as good; ``stop_shares`` and ``care_shares`` are those of all lines tried.
    """

    degrees: float
    stop_share: float
    care_share: float
    runs: int | None
    turns: int | None
    minutes: float | None
    ties: tuple[float, ...]
    stop_shares: NDArray[np.float64]
    care_shares: NDArray[np.float64]


def limits_for(machine: Machine | None, *, tables: Tables) -> Limits:
    """The limits a machine is held to.

    The user's own limit wins over the tool's default; neither goes nearer to the static tipping
    angle than the margin and the roll from one bump. Where that angle is not known the user's own
    limit still stops the work, but what it allows beyond the tool's care limit stays unknown.

    Parameters
    ----------
    machine : Machine or None
        No machine at all is one of which nothing is known.
    tables : Tables
        ``side_slopes.*``.

    Notes
    -----
    Bump roll is asin(d / T) for one wheel rising by d on track T (statics; Spencer and
    Gilfillan 1976 on why the static angle is an upper bound only).
    """
    own = None if machine is None else machine.side_slope_limit_pct
    care, stop, sources = _given_or_default(own, "side_slopes.", tables)
    words = "the machine's own limit" if own is not None else "this tool's own default"
    cap = None if machine is None else _tipping_cap_pct(machine, tables)
    if cap is None:
        proven = 0.0 if own is None else tables.number("side_slopes.care_pct")
    else:
        proven = math.inf
        sources += tables.source_of("side_slopes.static_margin_deg", "side_slopes.bump_rise_m")
        if cap < stop:
            care = min(care, tables.number("side_slopes.care_share") * cap, cap)
            stop, words = cap, "the margin under the static tipping angle"
    up_down = None if machine is None else machine.up_down_limit_pct
    rather, steep, behind = _given_or_default(up_down, "side_slopes.up_down_", tables)
    return Limits(care, stop, rather, steep, proven, words, tuple(dict.fromkeys(sources)), behind)


def _given_or_default(
    own_pct: float | None, start: str, tables: Tables
) -> tuple[float, float, tuple[str, ...]]:
    """Care, stop and their sources: from the user's limit, else from the table."""
    if own_pct is None:
        keys = (f"{start}stop_pct", f"{start}care_pct")
        stop, care = tables.number(keys[0]), tables.number(keys[1])
        return min(care, stop), stop, tables.source_of(*keys)
    share = tables.number("side_slopes.care_share")
    sources = (FARM_SOURCE, *tables.source_of("side_slopes.care_share"))
    return min(share, 1.0) * own_pct, own_pct, tuple(dict.fromkeys(sources))


def _tipping_cap_pct(machine: Machine, tables: Tables) -> float | None:
    """The side slope that leaves margin and bump roll under the static tipping angle."""
    tipping = machine.static_tipping_deg()
    if tipping is None:
        return None
    margin = tables.number("side_slopes.static_margin_deg")
    room = tipping - margin - bump_roll_deg(machine, tables=tables)
    return percent_from_degrees(max(room, 0.0))


def bump_roll_deg(machine: Machine, *, tables: Tables) -> float:
    """Roll from one wheel on a bump, asin(d / T), in degrees; NaN without a track width.

    Examples
    --------
    A rise of 0.15 m on 1.6 m:

    >>> from fieldmap.tables import load_tables
    >>> one = Machine(id="a", name="a", kind="pull-type", track_width_m=1.6)
    >>> round(bump_roll_deg(one, tables=load_tables()), 1)
    5.4
    """
    if machine.track_width_m is None:
        return math.nan
    return math.degrees(
        math.asin(min(1.0, tables.number("side_slopes.bump_rise_m") / machine.track_width_m))
    )


def side_slope_use(
    across: Grid,
    machine: Machine | None,
    *,
    tables: Tables,
    turn_deg: NDArray[np.float64] | float = 0.0,
) -> Grid:
    """Share of the static limit that the side slope, one bump and a turn use up.

    u = tan(atan(across) + bump roll + turn term) / (T / 2h); 1 is where a rigid machine tips.

    Parameters
    ----------
    across : Grid
        Grade across the line of travel in percent.
    machine : Machine or None
        Without its track width or height of the centre of gravity all is NaN: unknown.
    tables : Tables
        ``side_slopes.bump_rise_m``.
    turn_deg : float or ndarray of the grid's shape
        Lean of the turn, atan(v^2 / (g R)), where the machine turns; 0 elsewhere, NaN unknown.
    """
    stability = None if machine is None else machine.static_stability()
    if stability is None or machine is None:
        return across.with_values(np.full(across.shape, np.nan), unit="", name="side_slope_use")
    lean = np.arctan(np.abs(across.values.astype(np.float64)) / 100.0)
    lean += math.radians(bump_roll_deg(machine, tables=tables)) + np.radians(turn_deg)
    use = np.where(lean < math.pi / 2, np.tan(lean) / stability, np.inf)
    return across.with_values(np.where(np.isnan(lean), np.nan, use), unit="", name="side_slope_use")


def best_heading(
    ground: Slope, inside: NDArray[np.bool_], work: Work, limits: Limits
) -> Heading | None:
    """The line of travel with least ground over the limit, then least in care, then fewest runs.

    Between lines that are alike in these, the one with least side slope over all.

    Parameters
    ----------
    ground : Slope
        Percent and aspect.
    inside : ndarray of bool
        The field's cells.
    work : Work
        The lines of travel, with the runs and turns of each over the field's outline.
    limits : Limits
        Care and stop.

    Returns
    -------
    Heading or None
        ``None`` when no slope is known in the field.
    """
    lines = work.lines_deg
    shares = across_shares(ground, inside, lines, (limits.stop_pct, limits.care_pct))
    if np.isnan(shares).any():
        return None
    known = work.laps is not None
    runs = work.runs if known else np.zeros(len(lines))
    keys = np.column_stack([shares.round(9), runs])
    over_all = across_rms_pct(ground, inside, lines).round(6)
    order = np.lexsort((over_all, runs, keys[:, 1], keys[:, 0]))
    best = int(order[0])
    ties = np.flatnonzero((keys == keys[best]).all(axis=1))
    return Heading(
        float(lines[best]),
        float(shares[best, 0]),
        float(shares[best, 1]),
        int(runs[best]) if known else None,
        int(work.turns[best]) if known else None,
        float(work.minutes[best]) if known else None,
        tuple(float(lines[k]) for k in ties),
        shares[:, 0],
        shares[:, 1],
    )


def across_best(ground: Slope, heading: Heading | None) -> Grid:
    """Side slope at the best heading; unknown everywhere when there is none."""
    if heading is None:
        return ground.percent.with_values(
            np.full(ground.percent.shape, np.nan), unit="%", name="across_pct"
        )
    return across_pct(ground, heading.degrees)
