"""What people call a mark: labels that are never used twice, and which mark a word means."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence

import geopandas as gpd
import pandas as pd

from fieldmap.hazards import events as ev

#: Digits of a key that stand for a mark without a name, and for one whose name is used twice.
START_DIGITS, TAIL_DIGITS = 8, 6
_TOLD_OF = (ev.ADD, ev.HIT)  # words that may be the first of a mark, and then give its name
_KEYED = re.compile(r"(?:(.*)~)?([0-9a-f]{6,16})", re.DOTALL)


def labels(names: Sequence[str], keys: Sequence[str]) -> list[str]:
    """A label a mark: its name, else the start of its key; more of the key where two clash.

    No two marks get the same label as long as their keys differ, whatever they are called.

    Examples
    --------
    >>> labels(["oak", "", "gate", "gate"], ["aaaaaaaaaaaa", "bbbbbbbbbbbb", "c" * 12, "d" * 12])
    ['oak', 'bbbbbbbb', 'gate~cccccc', 'gate~dddddd']
    >>> labels(["gate", "gate", "gate~cccccc"], ["c" * 12, "d" * 12, "e" * 12])
    ['gate~cccccccccccc', 'gate~dddddd', 'gate~cccccc~eeeeee']
    """
    starts = [name or key[:START_DIGITS] for name, key in zip(names, keys, strict=True)]
    out, longer = list(starts), [0] * len(starts)
    while True:
        counts = Counter(out)
        clashing = [row for row, label in enumerate(out) if counts[label] > 1]
        if not clashing:
            return out
        for row in clashing:
            longer[row] += 1
            key, times = keys[row], longer[row] - 1
            out[row] = starts[row] + (f"~{key}" * times if times else f"~{key[:TAIL_DIGITS]}")


def carries_key(name: str, mark_name: str, members: Iterable[str]) -> bool:
    """Whether a word is a label that holds the key of a mark, or of one merged into it.

    Parameters
    ----------
    name : str
        The word.
    mark_name : str
        The mark's own name, "" for none.
    members : iterable of str
        Keys.

    Examples
    --------
    >>> carries_key("0a1b2c3d", "", ["0a1b2c3d4e5f6071"])
    True
    >>> carries_key("gate~0a1b2c", "gate", ["0a1b2c3d4e5f6071"])
    True
    >>> carries_key("oak~0a1b2c", "gate", ["0a1b2c3d4e5f6071"]), carries_key("1", "1", ["1" * 16])
    (False, False)
    """
    found = _KEYED.fullmatch(name)
    if found is None:
        return False
    head, start = found[1], found[2]
    if head is None:
        return len(start) >= START_DIGITS and any(key.startswith(start) for key in members)
    return any(
        key.startswith(start) and head.partition("~")[0] in (mark_name, key[:START_DIGITS])
        for key in members
    )


def called(marks: gpd.GeoDataFrame, events: pd.DataFrame, name: str) -> list[int]:
    """Rows of the marks that a word may mean, by the first way that any fit.

    The label; the finder's name; the key or a label that holds it, also of a mark that was merged
    into another; the name such a mark had.

    Parameters
    ----------
    marks : GeoDataFrame
        The fold, rows numbered from 0.
    events : DataFrame
        The log it was folded from.
    name : str
    """
    fits = marks["hazard_id"] == name
    if not fits.any():
        fits = marks["name"] == name
    if not fits.any() and _KEYED.fullmatch(name):
        pairs = zip(marks["name"], marks["members"], strict=True)
        held = [carries_key(name, own, ev.ids(members)) for own, members in pairs]
        fits = pd.Series(held, index=marks.index, dtype=bool)
    if not fits.any():
        rows = rows_by_key(marks)
        return sorted({rows[key] for key in keys_named(events, {name})[name] if key in rows})
    return [int(row) for row in marks.index[fits]]


def rows_by_key(marks: gpd.GeoDataFrame) -> dict[str, int]:
    """The row of each key, also of the keys merged into a mark."""
    return {key: row for row, text in enumerate(marks["members"]) for key in ev.ids(text)}


def keys_named(events: pd.DataFrame, names: set[str]) -> dict[str, set[str]]:
    """The keys of what was first told of under each of these names."""
    told = events[events["verb"].isin(_TOLD_OF) & events["name"].isin(names)]
    out: dict[str, set[str]] = {name: set() for name in names}
    for name, key in zip(told["name"], told["hazard_id"], strict=True):
        out[name].add(key)
    return out
