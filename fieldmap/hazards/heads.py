"""Who had seen what: the links between events, and the ones that nobody went beyond."""

from __future__ import annotations

from typing import NamedTuple, Self

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Rows = NDArray[np.intp]


class Links(NamedTuple):
    """Pairs of rows of one table of events: ``writer`` had seen ``seen``; ``size`` its length."""

    writer: Rows
    seen: Rows
    size: int

    @classmethod
    def of(cls, table: pd.DataFrame) -> Self:
        """The links that the column ``seen`` names; events that have not come yet make none."""
        writers = np.flatnonzero((table["seen"] != "").to_numpy())
        named = [text.split() for text in table["seen"].to_numpy()[writers]]
        writer = np.repeat(writers, [len(held) for held in named])
        flat = [one for held in named for one in held]
        seen = pd.Index(table["event_id"]).get_indexer(flat) if flat else np.empty(0, np.intp)
        there = seen >= 0
        return cls(writer[there], np.asarray(seen)[there], len(table))

    def named_by(self, writers: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Which rows any of these writers had seen."""
        out = np.zeros(self.size, bool)
        out[self.seen[writers[self.writer]]] = True
        return out

    def count_from(self, writers: Rows, wanted: NDArray[np.bool_], group: Rows) -> Rows:
        """How many wanted rows of its own group each of these writers had seen."""
        counts = wanted[self.seen] & (group[self.seen] == group[self.writer])
        return np.bincount(self.writer[counts], minlength=self.size)[writers]


def heads(rows: NDArray[np.bool_], group: Rows, links: Links, *, size: int) -> Rows:
    """Of the rows given, those that no other of them in their group has seen.

    A group whose rows have all been seen by one another (which no honest log holds) keeps all
    of them, so that nothing is ever lost.

    Examples
    --------
    Row 1 had seen row 0; row 2 had not:

    >>> links = Links(np.array([1]), np.array([0]), 3)
    >>> heads(np.ones(3, bool), np.zeros(3, int), links, size=1).tolist()
    [1, 2]
    """
    counts = rows[links.writer] & rows[links.seen]
    counts &= (group[links.writer] == group[links.seen]) & (links.writer != links.seen)
    passed = np.zeros(len(rows), bool)
    passed[links.seen[counts]] = True
    top = rows & ~passed
    bare = np.bincount(group[top], minlength=size) == 0
    return np.flatnonzero(top | (rows & bare[group]))


def first_of(rows: Rows, group: Rows, size: int) -> Rows:
    """The first of these rows of each group; -1 where it has none."""
    out = np.full(size, -1)
    out[group[rows[::-1]]] = rows[::-1]
    return out


def last_of(rows: Rows, group: Rows, size: int) -> Rows:
    """The last of these rows of each group; -1 where it has none."""
    out = np.full(size, -1)
    out[group[rows]] = rows
    return out
