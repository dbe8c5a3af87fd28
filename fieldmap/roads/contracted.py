"""A network with its states taken out one by one, least joined first; machines come later.

Every state taken out leaves arcs from what led to it to what followed it. Which arcs those are
rests on the network alone; what they cost is filled in for a machine afterwards
(:mod:`fieldmap.roads.fitted`). States that would leave too many arcs stay as the core. The
thought is that of customizable contraction hierarchies (J. Dibbelt, B. Strasser and D. Wagner,
ACM Journal of Experimental Algorithmics 21, 2016), here with directed arcs and a plain order:
the state whose taking out makes the fewest arcs goes first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldmap.roads.once import once
from fieldmap.roads.take_out import grouped, nested, take_out
from fieldmap.roads.turns import TurnNet

#: A state stays in the core when taking it out could leave more arcs than this.
MOST_ARCS = 3000

Ints = NDArray[np.int64]
Small = NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Contracted:
    """States by rank (in the order taken out, the core last) and the arcs among them.

    ``other[start[p]:start[p + 1]]`` are the ranks that ``p`` leads to, ascending; before
    ``middle[p]`` they were taken out before ``p``, from there on they come later (or are of the
    core like ``p``). ``into[into_start[x]:into_start[x + 1]]`` are the arcs by which later
    ranks lead to ``x`` and ``into_from`` where those come from.
    """

    rank: Small  # of each state
    out: int  # states taken out; the core has the ranks from here on
    start: Ints
    other: Small
    middle: Ints
    into_start: Ints
    into: Small
    into_from: Small
    state: Small  # at each rank
    turn: Small  # row of TurnNet.follow that each arc was at first, -1 for none


@once
def contracted(net: TurnNet) -> Contracted:
    """Take the states of a network out, one by one."""
    states = len(net.leg_of)
    order, source, target = take_out(net.start, net.follow, MOST_ARCS)
    rank = _ranks(states, order, source, target)
    key = rank[source].astype(np.int64) * states + rank[target]
    key.sort()
    row, other = key // states, (key % states).astype(np.int32)
    start = np.searchsorted(row, np.arange(states + 1)).astype(np.int64)
    earlier = other < np.minimum(row, len(order))
    middle = start[:-1] + np.bincount(row[earlier], minlength=states)
    into = np.flatnonzero(earlier)
    into_start, rows = grouped(other[into], states)
    into = into[rows].astype(np.int32)
    return Contracted(
        rank=rank,
        out=len(order),
        start=start,
        other=other,
        middle=middle.astype(np.int64),
        into_start=into_start,
        into=into,
        into_from=row[into].astype(np.int32),
        state=np.argsort(rank).astype(np.int32),
        turn=_turns_of(net, rank, key),
    )


def _ranks(states: int, order: Small, source: Small, target: Small) -> Small:
    """Rank of each state: taken out one behind what it rests on, the core behind all."""
    rank = np.full(states, -1, np.int32)
    rank[order] = np.arange(len(order), dtype=np.int32)
    rank[rank < 0] = np.arange(len(order), states, dtype=np.int32)
    one, other = rank[source], rank[target]
    low = np.minimum(one, other)
    start, rows = grouped(np.maximum(one, other)[low < len(order)], states)
    new = nested(start, low[low < len(order)][rows])
    new = np.concatenate([new[new < len(order)], new[new >= len(order)]])
    renamed = np.empty(states, np.int32)
    renamed[new] = np.arange(states, dtype=np.int32)
    return renamed[rank]


def _turns_of(net: TurnNet, rank: Small, key: Ints) -> Small:
    """Row of ``follow`` of every arc; a state that follows itself is on no best way."""
    states = len(rank)
    source = np.repeat(np.arange(states), np.diff(net.start))
    rows = np.flatnonzero(source != net.follow)
    wanted = rank[source[rows]].astype(np.int64) * states + rank[net.follow[rows]]
    turn = np.full(len(key), -1, np.int32)
    turn[np.searchsorted(key, wanted)] = rows
    return turn
