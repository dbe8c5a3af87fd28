"""Turn restrictions out of relations, with the node of the network they hang on."""

from __future__ import annotations

import numpy as np
import pandas as pd

from fieldmap.read.osm_scan import Rule

_COLUMNS = {
    "relation_id": "int64",
    "rule": "str",
    "from_way": "int64",
    "to_way": "int64",
    "via_node": "int64",
    "via_ways": "object",
    "except_for": "str",
    "condition": "str",
}
_LEFT_OUT = {
    "via": "without a via point or way in the file",
    "end": "without a way to come from or to go to",
    "rule": "with a rule that cannot be read",
}


def turn_table(
    rules: list[Rule], nodes: pd.DataFrame, roads: frozenset[int] | None = None
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """One row for every pair of from and to in a restriction.

    A relation with several ``from`` members (no_entry) or ``to`` members (no_exit) gives
    one row for each pair. A restriction by the hour is taken to hold at every hour; when it is
    said to hold stands in the column ``condition``.

    Parameters
    ----------
    rules : list of Rule
    nodes : DataFrame
        The network's nodes, sorted by ``node_id``.
    roads : frozenset of int, optional
        Ids of the ways that became legs; with them it is told how many restrictions name a way
        that is not among them. Their rows stay: what must be driven to such a way still bars
        every other turn.

    Returns
    -------
    DataFrame
        As :data:`fieldmap.schemas.TURNS` says, and ``condition`` (str, "" is always).
    tuple of str
        What could not be used, and why.
    """
    ids = nodes["node_id"].to_numpy()
    rows: list[tuple[object, ...]] = []
    lost: dict[str, set[int]] = {}
    strange: set[int] = set()
    for rule in rules:
        held, why = _rows(rule, ids)
        rows += held
        if why:
            lost.setdefault(why, set()).add(rule.relation_id)
        elif roads is not None and not _on_roads(rule, roads):
            strange.add(rule.relation_id)
    table = pd.DataFrame(rows, columns=list(_COLUMNS)).astype(_COLUMNS)
    words = [f"{_counted(gone)} {_LEFT_OUT[why]}: left out" for why, gone in lost.items()]
    if strange:
        words.append(f"{_counted(strange)} with a way that is no road in the file")
    return table, tuple(words)


def _counted(relations: set[int]) -> str:
    return f"{len(relations)} turn restriction{'' if len(relations) == 1 else 's'}"


def _on_roads(rule: Rule, roads: frozenset[int]) -> bool:
    return all(ref in roads for kind, ref, role in rule.members if kind == "w" and role in _ROLES)


_ROLES = frozenset(("from", "via", "to"))


def _rows(rule: Rule, ids: np.ndarray) -> tuple[list[tuple[object, ...]], str]:
    """The rows of a restriction, or why there are none."""
    from_ways = [ref for kind, ref, role in rule.members if kind == "w" and role == "from"]
    to_ways = [ref for kind, ref, role in rule.members if kind == "w" and role == "to"]
    ways = tuple(ref for kind, ref, role in rule.members if kind == "w" and role == "via")
    points = [ref for kind, ref, role in rule.members if kind == "n" and role == "via"]
    node = -1 if ways else _node_row(points, ids)
    if not rule.rule.startswith(("no_", "only_")):
        return [], "rule"
    if not from_ways or not to_ways:
        return [], "end"
    if not ways and node < 0:
        return [], "via"
    common = (node, ways, rule.except_for, rule.condition)
    return [
        (rule.relation_id, rule.rule, one, other, *common) for one in from_ways for other in to_ways
    ], ""


def _node_row(points: list[int], ids: np.ndarray) -> int:
    if len(points) != 1 or len(ids) == 0:
        return -1
    row = min(int(np.searchsorted(ids, points[0])), len(ids) - 1)
    return row if ids[row] == points[0] else -1
