"""Turn restrictions as sequences of directed legs that must not be driven."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldmap.network import RoadData

#: Vehicles among which a farm machine is counted when a restriction lets some through.
_LET_THROUGH = frozenset(("agricultural", "tractor", "motor_vehicle", "vehicle"))
_LONGEST = 60  # legs of via ways; a longer chain is a mapping error

Ints = NDArray[np.int64]
Sequence_ = tuple[int, ...]
_Rule = tuple[int, str, int, int, str]


@dataclass(frozen=True, eq=False)
class _Network:
    begin: Ints
    end: Ints
    of_way: dict[int, list[int]]  # open directed legs of a way
    leaving: dict[int, list[int]]  # open directed legs by the node they begin at


def forbidden_sequences(
    data: RoadData, begin: Ints, end: Ints, is_open: NDArray[np.bool_]
) -> set[Sequence_]:
    """Every sequence of directed legs that a turn restriction forbids.

    ``no_`` forbids from - via - to. ``only_`` forbids every way of leaving from - via - to
    once on ``from``, at each node of it. A ``no_u_turn`` from a way to itself at a node says
    nothing new, as nobody turns about on a leg. A restriction that lets agricultural or
    motor vehicles through is left out.

    Parameters
    ----------
    data : RoadData
    begin, end : ndarray of int
        Node rows at which each directed leg begins and ends.
    is_open : ndarray of bool
        Directed legs that may be driven as far as one-way tags say.
    """
    if len(data.turns) == 0:
        return set()
    net = _network(data, begin, end, is_open)
    found: set[Sequence_] = set()
    for (_, rule, from_way, via_node, except_for), asked in _by_rule(data).items():
        if not _LET_THROUGH.isdisjoint(part.strip() for part in except_for.split(";")):
            continue
        turning_about = rule == "no_u_turn" and via_node >= 0
        driven = [
            one
            for via_ways, to_way in asked
            if not (turning_about and to_way == from_way)
            for one in _driven(net, from_way, via_node, via_ways, to_way)
        ]
        if rule.startswith("only_"):
            found.update(_leaving(net, [*driven, *_arriving(net, from_way, via_node)]))
        elif rule.startswith("no_"):
            found.update(driven)
    return found


def _by_rule(data: RoadData) -> dict[_Rule, list[tuple[Sequence_, int]]]:
    """Via ways and to way of every row, by relation, rule, from way, via node and exception."""
    table = data.turns
    keys = zip(
        table["relation_id"].tolist(),
        table["rule"].tolist(),
        table["from_way"].tolist(),
        table["via_node"].tolist(),
        table["except_for"].tolist(),
        strict=True,
    )
    asked: dict[_Rule, list[tuple[Sequence_, int]]] = {}
    for key, via, to in zip(
        keys, table["via_ways"].tolist(), table["to_way"].tolist(), strict=True
    ):
        asked.setdefault(key, []).append((via, to))
    return asked


def _network(data: RoadData, begin: Ints, end: Ints, is_open: NDArray[np.bool_]) -> _Network:
    way = np.repeat(data.edges["way_id"].to_numpy(), 2)
    named = set(data.turns["from_way"]) | set(data.turns["to_way"])
    named |= {one for ways in data.turns["via_ways"] for one in ways}
    legs = np.flatnonzero(is_open & np.isin(way, np.array(sorted(named), dtype=np.int64)))
    of_way: dict[int, list[int]] = {}
    for leg in legs.tolist():
        of_way.setdefault(int(way[leg]), []).append(leg)
    nodes = np.unique(end[legs])
    leaving: dict[int, list[int]] = {}
    for leg in np.flatnonzero(is_open & np.isin(begin, nodes)).tolist():
        leaving.setdefault(int(begin[leg]), []).append(leg)
    return _Network(begin, end, of_way, leaving)


def _driven(
    net: _Network, from_way: int, via_node: int, via_ways: Sequence_, to_way: int
) -> Iterator[Sequence_]:
    """Sequences of directed legs from - via - to, as they can be driven."""
    last = net.of_way.get(to_way, [])
    for first in net.of_way.get(from_way, []):
        if via_ways:
            yield from _through(net, (first,), list(via_ways), set(last))
        elif net.end[first] == via_node:
            yield from (
                (first, leg) for leg in last if net.begin[leg] == via_node and leg != first ^ 1
            )


def _through(
    net: _Network, so_far: Sequence_, ways: list[int], last: set[int]
) -> Iterator[Sequence_]:
    """Sequences along the via ways in their order, each at least one leg long."""
    entered = -1  # the via way we are on
    stack = [(so_far, entered)]
    while stack:
        driven, entered = stack.pop()
        ahead = [
            leg
            for leg in net.leaving.get(int(net.end[driven[-1]]), [])
            if leg != driven[-1] ^ 1 and leg not in driven
        ]
        if entered == len(ways) - 1:
            yield from ((*driven, leg) for leg in ahead if leg in last)
        if len(driven) > _LONGEST:
            continue
        for place in (entered, entered + 1):
            if 0 <= place < len(ways):
                own = net.of_way.get(ways[place], [])
                stack += [((*driven, leg), place) for leg in ahead if leg in own]


def _arriving(net: _Network, from_way: int, via_node: int) -> list[Sequence_]:
    """What comes along ``from`` to the via node, even where ``to`` is not in the network."""
    return [(leg, -1) for leg in net.of_way.get(from_way, []) if net.end[leg] == via_node]


def _leaving(net: _Network, driven: list[Sequence_]) -> Iterator[Sequence_]:
    """Sequences that begin like one of ``driven`` and then turn off all of them."""
    allowed = {one[:size] for one in driven for size in range(1, len(one) + 1)}
    heads = {one[:size] for one in driven for size in range(1, len(one))}
    for head in sorted(heads):
        for leg in net.leaving.get(int(net.end[head[-1]]), []):
            if (*head, leg) not in allowed and leg != head[-1] ^ 1:
                yield (*head, leg)
