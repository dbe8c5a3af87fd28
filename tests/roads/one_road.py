"""One invented road, one tag at a time: what a check answers on it, or on its middle node."""

from __future__ import annotations

from typing import NamedTuple

import pandas as pd
from small_roads import district, machine

from fieldmap.roads.checks import check_ground, ground_of
from fieldmap.roads.facts import on_road
from fieldmap.roads.measured import lay
from fieldmap.roads.verdict import BASIS_OF, LEVEL_OF
from fieldmap.tables import load_tables

TABLES = load_tables()


class Answer(NamedTuple):
    """What a check says: level, what it rests on, the sentence, and the figures."""

    level: str
    basis: str
    why: str
    low: float
    need: float


def asked(tmp_path, tags, check, *, node=None, checks=None, tables=TABLES, along=True, **more):
    """The answer of a check; ``state`` and what the machine is go in ``more``."""
    state = more.pop("state", 0)
    data = district(
        tmp_path,
        {1: (0, 0), 2: (1, 0), 3: (2, 0)},
        [(7, [1, 2, 3], {"highway": "tertiary"} | tags)],
        node_tags={2: node} if node else None,
    )
    one = machine(**more)
    found = check_ground(
        ground_of(data), on_road(one, one.transport[state]), lay(checks, data), tables=tables
    )
    verdict = (found.nodes if node else found.legs)[check]
    row = 0 if node or along else 1
    return Answer(
        LEVEL_OF[verdict.level[row]],
        BASIS_OF[verdict.basis[row]],
        verdict.sentences([row])[0],
        verdict.low[row],
        verdict.need[row],
    )


def told(place, kind, value, day="2026-05-02"):
    """One road check."""
    return pd.DataFrame(
        {
            "place": [place],
            "kind": [kind],
            "value": [value],
            "who": ["A"],
            "when": pd.to_datetime([day]),
        }
    )
