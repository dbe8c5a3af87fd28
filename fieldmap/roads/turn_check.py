"""Does the train get round: every corner between two legs, and every bend inside one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from fieldmap.machine import Machine, Transport
from fieldmap.network import RoadData
from fieldmap.roads.deflections import Ints, leg_bends, rows_of
from fieldmap.roads.measured import Measured
from fieldmap.roads.train import Trains, trains_of
from fieldmap.roads.turn_room import BEND, Corners, held_against, leg_kerbs
from fieldmap.roads.turns import TurnNet
from fieldmap.roads.verdict import MEASURED, Floats, Mask, Verdict
from fieldmap.tables import Tables

_Held = TypeVar("_Held", bound=np.generic)
Trials = Mapping[tuple[str, str], float]


class Widths(NamedTuple):
    """Widths at the low and the high end, one entry a directed leg (m); NaN not known."""

    low_m: Floats
    high_m: Floats


def turn_check(
    data: RoadData,
    net: TurnNet,
    width_low_m: Floats,
    width_high_m: Floats,
    machine: Machine,
    state: Transport,
    *,
    tables: Tables,
    trials: Trials | None = None,
) -> Verdict:
    """Hold a machine against every turn from leg to leg, and the bends of the leg turned into.

    Parameters
    ----------
    data : RoadData
    net : TurnNet
        Of the same network.
    width_low_m, width_high_m : ndarray
        One entry a directed leg; NaN where the width is not known.
    machine : Machine
    state : Transport
    tables : Tables
    trials : mapping, optional
        Leg ids -> 1.0 driven round on trial, 0.0 found impossible; see :func:`trials_of`.

    Returns
    -------
    Verdict
        One entry a row of ``net.follow``. ``low`` and ``high`` are the width of two even roads
        that leave as much room as the corner does at the low and the high widths, ``need`` the
        width that the train asks of two even roads, with the clearance on both sides (m).
    """
    widths = Widths(width_low_m, width_high_m)
    trains = trains_of(machine, state, tables=tables)
    corners = turns_of(data, net, widths, trains, tables=tables, trials=trials)
    corner = held_against(corners, trains, tables=tables)
    bend = bend_check(data, widths, trains, tables=tables, trials=trials)
    return _worse_of(corner, bend, net.leg_of[net.follow])


def bend_check(
    data: RoadData, widths: Widths, trains: Trains, *, tables: Tables, trials: Trials | None = None
) -> Verdict:
    """Hold a train against the sharpest bend inside each leg; one entry a directed leg."""
    return held_against(bends_of(data, widths, tables=tables, trials=trials), trains, tables=tables)


def trials_of(data: RoadData, measured: Measured) -> dict[tuple[str, str], float]:
    """What trial drives found, by leg ids; a bend inside a leg has its id twice."""
    found = measured.legs["turn"]
    ids = data.edges["leg_id"].to_numpy(dtype=object)
    inside = {(str(ids[row]),) * 2: float(found[row]) for row in np.flatnonzero(~np.isnan(found))}
    return {**measured.turns, **inside}


def turns_of(
    data: RoadData,
    net: TurnNet,
    widths: Widths,
    trains: Trains,
    *,
    tables: Tables,
    trials: Trials | None = None,
) -> Corners:
    """Every row of ``net.follow`` as a corner."""
    rows = rows_of(data, net, tables.number("turning.chord_m"))
    legs = np.column_stack([rows.before, rows.after])
    turning = np.abs(rows.deflection_deg) >= tables.number("turning.straight_deg")
    into = np.zeros(len(net.leg_of), dtype=bool)  # states that a corner leads into
    into[net.follow[turning]] = True
    train = trains.most or trains.least
    short = net.length_m[rows.before // 2] < (0.0 if train is None else train.longest_m())
    low_kerb, high_kerb = leg_kerbs(data, tables)
    low_kerb = low_kerb[legs // 2].min(axis=1)
    return Corners(
        rows.deflection_deg,
        widths.low_m[legs],
        widths.high_m[legs],
        np.where(_at_junction(data, net)[rows.before], low_kerb, BEND),
        high_kerb[legs // 2].max(axis=1),
        turning & short & into[rows.state],
        _tried(data, legs, trials),
        *(np.full(len(legs), np.nan),) * 2,
    )


def bends_of(
    data: RoadData, widths: Widths, *, tables: Tables, trials: Trials | None = None
) -> Corners:
    """The sharpest bend inside every directed leg as a corner."""
    bends = leg_bends(data, tables.number("turning.bend_window_m"), tables.number("turning.kink_m"))
    legs = np.repeat(np.arange(2 * len(data.edges)), 2).reshape(-1, 2)
    _, high_kerb = leg_kerbs(data, tables)
    return Corners(
        np.repeat(bends.deflection_deg, 2) * np.tile([1.0, -1.0], len(data.edges)),
        widths.low_m[legs],
        widths.high_m[legs],
        np.full(len(legs), BEND),
        np.repeat(high_kerb, 2),
        np.zeros(len(legs), dtype=bool),
        _tried(data, legs, trials),
        np.repeat(bends.kink_deg, 2),
        np.repeat(bends.radius_m, 2),
    )


def _at_junction(data: RoadData, net: TurnNet) -> Mask:
    """Whether three or more legs meet at the end of each directed leg."""
    ends = data.edges[["u", "v"]].to_numpy().ravel()
    met: Mask = np.bincount(ends, minlength=len(data.nodes))[net.end_node] >= 3
    return met


def _tried(data: RoadData, legs: Ints, trials: Trials | None) -> Floats:
    """What was found on trial from leg to leg, whichever way round each was driven."""
    said = np.full(len(legs), np.nan)
    if not trials:
        return said
    count = len(data.edges)
    row = {str(name): number for number, name in enumerate(data.edges["leg_id"])}
    answers = {
        row[one] * count + row[other]: answer
        for (one, other), answer in trials.items()
        if one in row and other in row
    }
    key = legs[:, 0] // 2 * count + legs[:, 1] // 2
    tried = np.flatnonzero(np.isin(key, np.array(list(answers), dtype=np.int64)))
    said[tried] = [answers[one] for one in key[tried].tolist()]
    return said


def _worse_of(corner: Verdict, bend: Verdict, leg: Ints) -> Verdict:
    """The corner's entry, or that of the bend after it where the bend is worse.

    Who drove from one leg into the other on trial has driven the bend too.
    """
    worse = (bend.level[leg] > corner.level) & (corner.basis != MEASURED)
    more = len(corner.reasons)

    def pick(one: NDArray[_Held], other: NDArray[_Held]) -> NDArray[_Held]:
        return np.where(worse, other[leg], one).astype(one.dtype)

    return Verdict(
        corner.what,
        corner.unit,
        pick(corner.level, bend.level),
        pick(corner.low, bend.low),
        pick(corner.high, bend.high),
        pick(corner.need, bend.need),
        pick(corner.basis, bend.basis),
        pick(corner.why, (bend.why + more).astype(np.int16)),
        (*corner.reasons, *(f"A bend farther on: {one}" for one in bend.reasons)),
    )
