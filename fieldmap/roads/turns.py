"""The network as turns: what may follow what, with one-ways and turn restrictions.

A directed leg is ``2 * row`` along the line of a leg and ``2 * row + 1`` against it. States
are directed legs, and beyond them copies that remember how far a restriction over via ways
has been entered (an Aho-Corasick automaton over the forbidden sequences of directed legs).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldmap.network import RoadData
from fieldmap.roads.restrictions import forbidden_sequences

Ints = NDArray[np.int64]
Sequence_ = tuple[int, ...]


@dataclass(frozen=True, eq=False)
class TurnNet:
    """States and what may follow them.

    ``follow[start[s]:start[s + 1]]`` are the states after state ``s``; ``leg_of`` is the
    directed leg of each state and ``end_node`` the node row at the end of each directed leg.
    """

    start: Ints
    follow: Ints
    leg_of: Ints
    end_node: Ints
    length_m: NDArray[np.float64]
    is_open: NDArray[np.bool_]  # one entry a directed leg


def turn_net(data: RoadData) -> TurnNet:
    """Build the turns of a network; nobody turns about on a leg."""
    edges = data.edges
    u, v = edges["u"].to_numpy(), edges["v"].to_numpy()
    begin = np.column_stack([u, v]).ravel()
    end = np.column_stack([v, u]).ravel()
    is_open = edges[["forward", "backward"]].to_numpy(dtype=bool).ravel()
    source, target = _pairs(begin, end, is_open)
    banned = forbidden_sequences(data, begin, end, is_open)
    source, target, leg_of = _with_memory(source, target, len(begin), banned)
    order = np.lexsort((target, source))
    start = np.concatenate([[0], np.cumsum(np.bincount(source, minlength=len(leg_of)))])
    return TurnNet(
        start.astype(np.int64),
        target[order],
        leg_of,
        end.astype(np.int64),
        edges["length_m"].to_numpy(dtype=float),
        is_open,
    )


def _pairs(begin: Ints, end: Ints, is_open: NDArray[np.bool_]) -> tuple[Ints, Ints]:
    """Every directed leg with every other that begins where it ends."""
    open_ = np.flatnonzero(is_open)
    leaving = open_[np.argsort(begin[open_], kind="stable")]
    first = np.searchsorted(begin[leaving], end[open_], side="left")
    count = np.searchsorted(begin[leaving], end[open_], side="right") - first
    source = np.repeat(open_, count)
    within = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
    target = leaving[np.repeat(first, count) + within]
    ahead = target != (source ^ 1)
    return source[ahead], target[ahead]


def _with_memory(
    source: Ints, target: Ints, legs: int, banned: set[Sequence_]
) -> tuple[Ints, Ints, Ints]:
    """Drop forbidden turns and add the states that remember entering a longer one."""
    pairs = np.array([one for one in banned if len(one) == 2], dtype=np.int64).reshape(-1, 2)
    keep = ~np.isin(source * legs + target, pairs[:, 0] * legs + pairs[:, 1])
    source, target = source[keep], target[keep]
    longer = {one for one in banned if len(one) > 2}
    if not longer:
        return source, target, np.arange(legs)
    heads = sorted({one[:size] for one in longer for size in range(2, len(one))})
    state = {head: legs + row for row, head in enumerate(heads)}
    after: dict[int, list[int]] = {}
    tails = np.isin(source, np.array(sorted({head[-1] for head in heads})))
    for one, other in zip(source[tails].tolist(), target[tails].tolist(), strict=True):
        after.setdefault(one, []).append(other)
    target = _enter(source, target, state, legs)
    more = [
        (state[head], _next_state(head, leg, state))
        for head in heads
        for leg in after.get(head[-1], [])
        if not _ends_in(head, leg, longer)
    ]
    extra = np.array(more, dtype=np.int64).reshape(-1, 2)
    leg_of = np.concatenate([np.arange(legs), [head[-1] for head in heads]]).astype(np.int64)
    return (np.concatenate([source, extra[:, 0]]), np.concatenate([target, extra[:, 1]]), leg_of)


def _enter(source: Ints, target: Ints, state: dict[Sequence_, int], legs: int) -> Ints:
    """The turns that begin a forbidden sequence lead to the states that remember it."""
    begun = sorted((head[0] * legs + head[1], row) for head, row in state.items() if len(head) == 2)
    key, row = np.array(begun, dtype=np.int64).reshape(-1, 2).T
    turn = source * legs + target
    at = np.minimum(np.searchsorted(key, turn), len(key) - 1)
    return np.where(key[at] == turn, row[at], target)


def _next_state(head: Sequence_, leg: int, state: dict[Sequence_, int]) -> int:
    """The state of the longest end of the sequence that begins a forbidden one."""
    whole = (*head, leg)
    return next((state[whole[cut:]] for cut in range(len(whole) - 1) if whole[cut:] in state), leg)


def _ends_in(head: Sequence_, leg: int, longer: set[Sequence_]) -> bool:
    whole = (*head, leg)
    return any(whole[cut:] in longer for cut in range(len(whole) - 1))
