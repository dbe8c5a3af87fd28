"""How much of its side-slope limit a machine uses, and the heading that uses least."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from fieldmap.grid import Grid
from fieldmap.machine import Machine
from fieldmap.tables import Tables
from fieldmap.terrain.slope import Slope
from fieldmap.terrain.travel import across_pct, across_shares, headings
from fieldmap.units import percent_from_degrees


class Limits(NamedTuple):
    """Slopes at which care begins and work stops, in percent, and what they rest on.

    ``known`` is false when neither the machine's own limit nor its track width and height of
    the centre of gravity are there: below ``stop_pct`` the answer is then unknown.
    """

    care_pct: float
    stop_pct: float
    up_down_care_pct: float
    up_down_stop_pct: float
    known: bool
    own: bool
    words: str
    sources: tuple[str, ...]


class Heading(NamedTuple):
    """The best line of travel: compass degrees, shares of ground over the limits, and ties."""

    degrees: float
    stop_share: float
    care_share: float
    passes: int
    ties: tuple[float, ...]


def limits_for(machine: Machine | None, *, tables: Tables) -> Limits:
    """The limits a machine is held to.

    The user's own limit wins over the tool's default; neither goes nearer to the static tipping
    angle than the margin and the roll from one bump.

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
    stop = tables.number("side_slopes.stop_pct") if own is None else own
    share = tables.number("side_slopes.care_share")
    care = tables.number("side_slopes.care_pct") if own is None else share * own
    words = "the machine's own limit" if own is not None else "this tool's own default"
    tipping = None if machine is None else machine.static_tipping_deg()
    if tipping is not None and machine is not None:
        room = (
            tipping
            - tables.number("side_slopes.static_margin_deg")
            - bump_roll_deg(machine, tables=tables)
        )
        cap = percent_from_degrees(max(room, 0.0))
        if cap < stop:
            stop, words = cap, "the margin under the static tipping angle"
    up_down = None if machine is None else machine.up_down_limit_pct
    steep = tables.number("side_slopes.up_down_stop_pct") if up_down is None else up_down
    rather = tables.number("side_slopes.up_down_care_pct") if up_down is None else share * up_down
    return Limits(
        min(care, stop),
        stop,
        min(rather, steep),
        steep,
        known=own is not None or tipping is not None,
        own=own is not None,
        words=words,
        sources=tables.source_of("side_slopes.stop_pct", "side_slopes.static_margin_deg"),
    )


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


def side_slope_use(across: Grid, machine: Machine | None, *, tables: Tables) -> Grid:
    """Share of the static limit that the side slope and one bump use up.

    u = tan(atan(across) + bump roll) / (T / 2h); 1 is where a rigid machine tips.

    Parameters
    ----------
    across : Grid
        Grade across the line of travel in percent.
    machine : Machine or None
        Without its track width or height of the centre of gravity all is NaN: unknown.
    tables : Tables
        ``side_slopes.bump_rise_m``.
    """
    stability = None if machine is None else machine.static_stability()
    if stability is None or machine is None:
        return across.with_values(np.full(across.shape, np.nan), unit="", name="side_slope_use")
    lean = np.arctan(np.abs(across.values.astype(np.float64)) / 100.0)
    lean += math.radians(bump_roll_deg(machine, tables=tables))
    use = np.where(lean < math.pi / 2, np.tan(lean) / stability, np.inf)
    return across.with_values(
        np.where(np.isnan(across.values), np.nan, use), unit="", name="side_slope_use"
    )


def best_heading(
    ground: Slope,
    inside: NDArray[np.bool_],
    field: shapely.Geometry,
    limits: Limits,
    *,
    width_m: float | None,
    tables: Tables,
) -> Heading | None:
    """The line of travel with least ground over the limit, then least in care, then fewest passes.

    Parameters
    ----------
    ground : Slope
        Percent and aspect.
    inside : ndarray of bool
        The field's cells.
    field : shapely geometry
        The boundary in the run's metric system, for the number of passes.
    limits : Limits
        Care and stop.
    width_m : float or None
        Working width; passes are not counted without it.
    tables : Tables
        ``side_slopes.headings``.

    Returns
    -------
    Heading or None
        ``None`` when no slope is known in the field.
    """
    lines = headings(round(tables.number("side_slopes.headings")))
    shares = across_shares(ground, inside, lines, (limits.stop_pct, limits.care_pct))
    if np.isnan(shares).any():
        return None
    passes = _passes(field, lines, width_m)
    keys = np.column_stack([shares.round(9), passes])
    order = np.lexsort((passes, keys[:, 1], keys[:, 0]))
    best = int(order[0])
    ties = np.flatnonzero((keys == keys[best]).all(axis=1))
    return Heading(
        float(lines[best]),
        float(shares[best, 0]),
        float(shares[best, 1]),
        int(passes[best]),
        tuple(float(lines[k]) for k in ties),
    )


def across_best(ground: Slope, heading: Heading | None) -> Grid:
    """Side slope at the best heading; unknown everywhere when there is none."""
    if heading is None:
        return ground.percent.with_values(
            np.full(ground.percent.shape, np.nan), unit="%", name="across_pct"
        )
    return across_pct(ground, heading.degrees)


def _passes(
    field: shapely.Geometry, lines: NDArray[np.float64], width_m: float | None
) -> NDArray[np.int64]:
    if width_m is None:
        return np.zeros(len(lines), np.int64)
    corners = shapely.get_coordinates(shapely.convex_hull(field))
    turn = np.radians(lines)
    sideways = corners[:, :1] * np.cos(turn) - corners[:, 1:] * np.sin(turn)
    return np.ceil(np.ptp(sideways, axis=0) / width_m).astype(np.int64)
