"""Turn restrictions out of relations, with the node of the network they hang on."""

from __future__ import annotations

import numpy as np
import pandas as pd

from fieldmap.read.osm_scan import Rule

_COLUMNS = ("relation_id", "rule", "from_way", "to_way", "via_node", "via_ways", "except_for")


def turn_table(rules: list[Rule], nodes: pd.DataFrame) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """One row for every pair of from and to in a restriction.

    A relation with several ``from`` members (no_entry) or ``to`` members (no_exit) gives
    one row for each pair.

    Parameters
    ----------
    rules : list of Rule
    nodes : DataFrame
        The network's nodes, sorted by ``node_id``.

    Returns
    -------
    DataFrame
        As :data:`fieldmap.schemas.TURNS` says.
    tuple of str
        What could not be used.
    """
    ids = nodes["node_id"].to_numpy()
    rows = [row for rule in rules for row in _rows(rule, ids)]
    kept = {row[0] for row in rows}
    lost = len({rule.relation_id for rule in rules} - kept)
    table = pd.DataFrame(rows, columns=list(_COLUMNS)).astype(
        {
            "relation_id": "int64",
            "from_way": "int64",
            "to_way": "int64",
            "via_node": "int64",
            "rule": "str",
            "except_for": "str",
            "via_ways": "object",
        }
    )
    words = (f"{lost} turn restrictions lack a part in the file and are left out",) if lost else ()
    return table, words


def _rows(rule: Rule, ids: np.ndarray) -> list[tuple[object, ...]]:
    from_ways = [ref for kind, ref, role in rule.members if kind == "w" and role == "from"]
    to_ways = [ref for kind, ref, role in rule.members if kind == "w" and role == "to"]
    ways = tuple(ref for kind, ref, role in rule.members if kind == "w" and role == "via")
    points = [ref for kind, ref, role in rule.members if kind == "n" and role == "via"]
    node = -1 if ways else _node_row(points, ids)
    if not ways and node < 0:
        return []
    return [
        (rule.relation_id, rule.rule, one, other, node, ways, rule.except_for)
        for one in from_ways
        for other in to_ways
    ]


def _node_row(points: list[int], ids: np.ndarray) -> int:
    if len(points) != 1 or len(ids) == 0:
        return -1
    row = min(int(np.searchsorted(ids, points[0])), len(ids) - 1)
    return row if ids[row] == points[0] else -1
