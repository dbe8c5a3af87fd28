"""Is the ground of a road fit to drive on, as far as words on the map can say.

The words and what they are taken for are ``tables/road_surfaces.csv``. How long ago it rained
is not known to the map: a track that is mostly soft is unknown on any day.
"""

from __future__ import annotations

import numpy as np

from fieldmap.finding import Level
from fieldmap.roads.facts import Places, Tags
from fieldmap.roads.verdict import (
    ASSUMED,
    LEVEL_OF,
    MAPPED,
    Floats,
    Rule,
    Verdict,
    answered,
    first_that_holds,
)
from fieldmap.tables import Tables, kept_by_tables

#: Tags that speak of the ground itself.
KEYS = ("smoothness", "tracktype", "surface")
#: Classes of which only the tracktype tells that they are firm.
_ONLY_BY_TYPE = frozenset(("track",))
_UNKNOWN = LEVEL_OF.index("unknown")
_OK = LEVEL_OF.index("ok")

Words = dict[tuple[str, str], int]


@kept_by_tables
def _words(tables: Tables) -> Words:
    """(tag, value) -> code of its level."""
    levels: dict[str, int] = {level: code for code, level in enumerate(LEVEL_OF)}
    return {
        (row.words["tag"], row.words["is"]): levels[row.words["level"]]
        for row in tables.rows("road_surfaces")
    }


def level_said(tags: Tags, words: Words) -> tuple[int, str]:
    """Level of the ground of one road, and the tag that decides, "" where only the class does.

    The worst word decides; a word that is not in the table is unknown. A track passes by its
    tracktype only: a soft one must not come out better because its type was not mapped.
    """
    said = {key: words.get((key, tags[key]), _UNKNOWN) for key in KEYS if key in tags}
    by_class = words.get(("highway", tags.get("highway", "")), _UNKNOWN)
    worst = max(said.values(), default=_OK)
    if worst > _OK:
        return worst, next(key for key, level in said.items() if level == worst)
    if tags.get("highway") in _ONLY_BY_TYPE and "tracktype" not in said:
        return _UNKNOWN, ""
    if said:
        return _OK, next(iter(said))
    return by_class, ""


def surface_check(places: Places, *, answered_here: Floats, tables: Tables) -> Verdict:
    """Hold the ground of each leg against the words of the table.

    Parameters
    ----------
    places : Places
    answered_here : ndarray
        Whether somebody found it fit to drive: 1 yes, 0 no, NaN nobody looked.
    tables : Tables
        ``road_surfaces``.
    """
    words = _words(tables)
    held = {row: level_said(one, words) for row, one in enumerate(places.tags)}
    level = places.spread({row: one[0] for row, one in held.items()}, _UNKNOWN, np.int8)
    key = {row: one[1] for row, one in held.items()}
    tag = places.spread(
        {row: f"{one}={places.tags[row][one]}" for row, one in key.items() if one}, "", object
    )
    spoken = tag != ""
    words_of: dict[Level, tuple[str, str]] = {
        "ok": ("The map says that it is firm.", "Roads of this class are paved or gravelled."),
        "unknown": (
            "What the map says of the ground leaves it open, the more so after rain.",
            "Nothing on the map says how firm it is.",
        ),
        "stop": ("The map says that no wheeled vehicle gets by.", "No road for wheels."),
    }
    rules = answered(
        answered_here, "Somebody found it fit to drive.", "Somebody found it not fit to drive."
    )
    for code, name in enumerate(LEVEL_OF):
        mapped, assumed = words_of[name]
        rules.append(Rule(spoken & (level == code), code, MAPPED, mapped, tag=tag))
        rules.append(Rule(~spoken & (level == code), code, ASSUMED, assumed))
    return first_that_holds("surface", "", rules, need=np.full(len(level), np.nan))
