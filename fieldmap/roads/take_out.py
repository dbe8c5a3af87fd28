"""Take the states of a network out one by one, the one that leaves the fewest arcs first."""

from __future__ import annotations

import numba
import numpy as np

#: An arc, and the arcs after it in the lists of its source and of its target.
_ARC = np.dtype([("source", "i4"), ("target", "i4"), ("after_out", "i4"), ("after_in", "i4")])
#: A state: heads of its lists, their lengths, and the arcs that taking it out may leave.
_STATE = np.dtype(
    [("first_out", "i4"), ("first_in", "i4"), ("outs", "i4"), ("ins", "i4"), ("key", "i4"),
     ("gone", "i4"), ("marked", "i4")]
)  # fmt: skip
#: An entry of the lines in which states wait, one line for each key.
_WAIT = np.dtype([("state", "i4"), ("behind", "i4")])


@numba.njit(cache=True, nogil=True)
def _longer(array, size):  # type: ignore[no-untyped-def]
    """The array itself when it has room for so many, else one twice as long."""
    if size <= len(array):
        return array
    wider = np.empty(2 * size, array.dtype)
    wider[: len(array)] = array
    return wider


@numba.njit(cache=True, nogil=True)
def _link(arcs, states, arc, source, target):  # type: ignore[no-untyped-def]
    """Write an arc and put it at the head of both lists."""
    one, from_, to = arcs[arc], states[source], states[target]
    one.source, one.target = source, target
    one.after_out, from_.first_out = from_.first_out, arc
    one.after_in, to.first_in = to.first_in, arc


@numba.njit(cache=True, nogil=True)
def _drop_gone_out(arcs, states, state):  # type: ignore[no-untyped-def]
    """Take arcs to states that are gone out of a list; gives how many stay."""
    kept, before, arc = 0, -1, states[state].first_out
    while arc >= 0:
        following = arcs[arc].after_out
        if not states[arcs[arc].target].gone:
            kept, before = kept + 1, arc
        elif before < 0:
            states[state].first_out = following
        else:
            arcs[before].after_out = following
        arc = following
    return kept


@numba.njit(cache=True, nogil=True)
def _drop_gone_in(arcs, states, state):  # type: ignore[no-untyped-def]
    """Take arcs from states that are gone out of a list; gives how many stay."""
    kept, before, arc = 0, -1, states[state].first_in
    while arc >= 0:
        following = arcs[arc].after_in
        if not states[arcs[arc].source].gone:
            kept, before = kept + 1, arc
        elif before < 0:
            states[state].first_in = following
        else:
            arcs[before].after_in = following
        arc = following
    return kept


@numba.njit(cache=True, nogil=True)
def _join(arcs, states, state, source, count):  # type: ignore[no-untyped-def]
    """Arcs from one state that led to ``state`` to all that followed it; gives the arcs now."""
    _drop_gone_out(arcs, states, source)
    states[source].marked = source
    arc = states[source].first_out
    while arc >= 0:
        states[arcs[arc].target].marked = source
        arc = arcs[arc].after_out
    arc = states[state].first_out
    while arc >= 0:
        target = arcs[arc].target
        if not states[target].gone and states[target].marked != source:
            _link(arcs, states, count, source, target)
            count += 1
        arc = arcs[arc].after_out
    return count


@numba.njit(cache=True, nogil=True)
def _bridge(arcs, states, state, touched, count):  # type: ignore[no-untyped-def]
    """Join all before a state with all after it; gives the arcs now, and how many it touched."""
    size, arc = 0, states[state].first_in
    while arc >= 0:
        source = arcs[arc].source
        if not states[source].gone:
            touched[size], size = source, size + 1
            count = _join(arcs, states, state, source, count)
        arc = arcs[arc].after_in
    arc = states[state].first_out
    while arc >= 0:
        if not states[arcs[arc].target].gone:
            touched[size], size = arcs[arc].target, size + 1
        arc = arcs[arc].after_out
    return count, size


@numba.njit(cache=True, nogil=True)
def _key(states, state, most):  # type: ignore[no-untyped-def]
    """Arcs that taking a state out may leave, no more than the core asks for."""
    return min(states[state].outs * states[state].ins, most + 1)


@numba.njit(cache=True, nogil=True)
def _set_up(begin, follow, states, arcs):  # type: ignore[no-untyped-def]
    """The arcs of the network itself; a state that follows itself is on no best way."""
    count = 0
    for state in range(len(states)):
        states[state].first_out, states[state].first_in, states[state].marked = -1, -1, -1
    for state in range(len(states)):
        for row in range(begin[state], begin[state + 1]):
            if follow[row] != state:
                _link(arcs, states, count, state, follow[row])
                states[state].outs, states[follow[row]].ins = (
                    states[state].outs + 1,
                    states[follow[row]].ins + 1,
                )
                count += 1
    return count


@numba.njit(cache=True, nogil=True)
def _line_up(states, heads, line, lined, state, key):  # type: ignore[no-untyped-def]
    """Put a state at the head of the line of its key; gives the entries now."""
    states[state].key = key
    line[lined].state, line[lined].behind, heads[key] = state, heads[key], lined
    return lined + 1


@numba.njit(cache=True, nogil=True)
def take_out(begin, follow, most):  # type: ignore[no-untyped-def]
    """Order of the states taken out, and source and target of every arc there ever was.

    A state whose taking out could leave more than ``most`` arcs stays.
    """
    size = len(begin) - 1
    states, arcs = np.zeros(size, _STATE), np.empty(2 * len(follow) + 16, _ARC)
    count = _set_up(begin, follow, states, arcs)
    heads, line, lined = np.full(most + 2, -1, np.int64), np.empty(4 * size + 16, _WAIT), 0
    for state in range(size - 1, -1, -1):
        lined = _line_up(states, heads, line, lined, state, _key(states, state, most))
    order, done, low = np.empty(size, np.int32), 0, 0
    touched = np.empty(size + 1, np.int32)
    while low <= most:
        if heads[low] < 0:
            low += 1
            continue
        state = line[heads[low]].state
        heads[low] = line[heads[low]].behind
        if states[state].gone or states[state].key != low:
            continue  # a state whose key changed stands in a newer line
        states[state].gone, order[done], done = 1, state, done + 1
        arcs = _longer(arcs, count + low)
        count, near = _bridge(arcs, states, state, touched, count)
        line = _longer(line, lined + near)
        for row in range(near):
            one = touched[row]
            states[one].outs = _drop_gone_out(arcs, states, one)
            states[one].ins = _drop_gone_in(arcs, states, one)
            key = _key(states, one, most)
            if key != states[one].key:
                lined, low = _line_up(states, heads, line, lined, one, key), min(low, key)
    return order[:done], arcs["source"][:count].copy(), arcs["target"][:count].copy()


@numba.njit(cache=True, nogil=True)
def nested(start, earlier):  # type: ignore[no-untyped-def]
    """The ranks so that each comes right behind those it rests on, which keeps memory near.

    ``earlier[start[p]:start[p + 1]]`` are the ranks before ``p`` that are joined with it. Two
    states that are not joined may be taken out in either order, so the arcs stay the same.
    """
    size = len(start) - 1
    out, stack, seen = np.empty(size, np.int32), np.empty(size, np.int32), np.zeros(size, np.bool_)
    at, count = start.copy(), 0
    for root in range(size - 1, -1, -1):
        depth = 0
        if not seen[root]:
            seen[root], stack[0], depth = True, root, 1
        while depth > 0:
            rank = stack[depth - 1]
            if at[rank] == start[rank + 1]:
                depth, out[count], count = depth - 1, rank, count + 1
                continue
            below = earlier[at[rank]]
            at[rank] += 1
            if not seen[below]:
                seen[below], stack[depth], depth = True, below, depth + 1
    return out


@numba.njit(cache=True, nogil=True)
def grouped(key, size):  # type: ignore[no-untyped-def]
    """Where the rows of each key begin, and the rows key by key, in their order."""
    start = np.zeros(size + 1, np.int64)
    for one in key:
        start[one + 1] += 1
    start = np.cumsum(start)
    at, rows = start.copy(), np.empty(len(key), np.int32)
    for row in range(len(key)):
        rows[at[key[row]]] = row
        at[key[row]] += 1
    return start, rows
