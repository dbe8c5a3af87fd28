"""Is a place of a road check on the roads, and if not, which ones are like it."""

from __future__ import annotations

import difflib
from functools import cached_property
from typing import Any, NamedTuple

from fieldmap.network import RoadData

_NAMED = 5
_LOOKED_UP = 20  # ids like one that is not there are looked for so many times, no more


class Astray(NamedTuple):
    """Why a place is none on the roads, and what to write in its stead."""

    what: str
    mend: str


class RoadPlaces:
    """The places of a network that a road check may name.

    Parameters
    ----------
    data : RoadData
    """

    def __init__(self, data: RoadData) -> None:
        self._data = data
        self._asked = 0

    @cached_property
    def _legs(self) -> dict[str, int]:
        return {str(name): row for row, name in enumerate(self._data.edges["leg_id"])}

    @cached_property
    def _ways(self) -> dict[str, list[str]]:
        found: dict[str, list[str]] = {}
        for leg in self._legs:
            found.setdefault(leg.rpartition("-")[0], []).append(leg)
        return found

    @cached_property
    def _nodes(self) -> dict[str, int]:
        return {str(name): row for row, name in enumerate(self._data.nodes["node_id"])}

    def astray(self, place: str) -> Astray | None:
        """What is wrong with a place; ``None`` when it is on the roads."""
        sort, _, own = place.partition("/")
        if sort == "turn":
            return self._astray_turn(*own.split("/"))
        sorts: dict[str, dict[str, Any]] = {
            "way": self._ways,
            "leg": self._legs,
            "node": self._nodes,
        }
        known = sorts[sort]
        return None if own in known else self._not_there(sort, own, known)

    def _not_there(self, sort: str, own: str, known: dict[str, Any]) -> Astray:
        pieces = self._ways.get(own.rpartition("-")[0], []) if sort == "leg" else []
        self._asked += 1
        if self._asked > _LOOKED_UP:
            known = {}
        like = pieces or difflib.get_close_matches(own, known, n=_NAMED, cutoff=0.6)
        names = ", ".join(f"{sort}/{one}" for one in like[:_NAMED]) or "no id is like it"
        more = f" and {len(like) - _NAMED} more" if len(like) > _NAMED else ""
        what = f"no such {sort} on the roads that were read"
        return Astray(what, f"take the place from a survey list; near it: {names}{more}")

    def _astray_turn(self, one: str, other: str) -> Astray | None:
        for leg in (one, other):
            if leg not in self._legs:
                return self._not_there("leg", leg, self._legs)
        edges = self._data.edges
        first, second = (edges.iloc[self._legs[leg]] for leg in (one, other))
        ends = {first["u"], first["v"]}
        if one != other and ends & {second["u"], second["v"]}:
            return None
        meet = edges.index[(edges["u"].isin(ends) | edges["v"].isin(ends)).to_numpy()]
        names = [f"turn/{one}/{leg}" for leg in edges.loc[meet, "leg_id"] if leg != one]
        mend = f"take one of: {', '.join(names[:_NAMED]) or 'none; nothing meets it'}"
        return Astray("two legs that do not meet", mend)

    def name_of(self, place: str) -> str:
        """What the road at a place is called; "" where it has no name or is none.

        For a turn the name of the road it turns into.
        """
        sort, _, own = place.partition("/")
        leg = {"way": self._ways.get(own, [""])[0], "leg": own, "turn": own.rpartition("/")[2]}
        row = self._legs.get(leg.get(sort, ""))
        return "" if row is None else str(self._data.edges["name"].iloc[row])
