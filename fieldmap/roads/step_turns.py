"""Where a way turns: headings at its junctions, choices there, and roundabouts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from fieldmap.network import RoadData
from fieldmap.tables import Tables

_ROUND = frozenset(("roundabout", "circular"))
_COMPASS = (
    "north",
    "north-east",
    "east",
    "south-east",
    "south",
    "south-west",
    "west",
    "north-west",
)
#: Legs shorter than this are the stub of a place right at a junction: they have no heading.
STUB_M = 0.5


@dataclass(frozen=True, slots=True)
class Join:
    """Where a leg of a way goes over into the next one.

    Parameters
    ----------
    turn_deg : float
        Change of heading, to the right positive; NaN beside a stub without a heading.
    rival_deg : float or None
        The same into the straightest open way that is not taken, the way back not counted;
        infinite when there is none, ``None`` when it is not known, without the roads.
    """

    turn_deg: float
    rival_deg: float | None


@dataclass(frozen=True, eq=False)
class Junctions:
    """The joins of a way, and which of its legs lie on a roundabout.

    Parameters
    ----------
    joins : tuple of Join
        One fewer than the legs.
    heading_in, heading_out : array of float
        Compass degrees in which each leg is entered and left, from the grid's north.
    round_ : array of bool
        One entry a leg.
    exits : array of int
        Ways off a roundabout at the end of each leg of it, 0 elsewhere.
    """

    joins: tuple[Join, ...]
    heading_in: NDArray[np.float64]
    heading_out: NDArray[np.float64]
    round_: NDArray[np.bool_]
    exits: NDArray[np.int64]


def junctions(legs: gpd.GeoDataFrame, roads: RoadData | None, *, tables: Tables) -> Junctions:
    """What the legs of a way meet where they join.

    Parameters
    ----------
    legs : GeoDataFrame
        As :attr:`fieldmap.roads.answer.Move.legs`: driving order, lines as driven.
    roads : RoadData or None
        The roads the way lies on; without them no choices and no roundabouts are known.
    tables : Tables
        ``steps.heading_m``.
    """
    over_m = tables.number("steps.heading_m")
    begin, end = _headings(legs.geometry.to_numpy(), over_m)
    turn = _change(end[:-1], begin[1:])
    if roads is None:
        joins = tuple(Join(float(one), None) for one in turn)
        count = len(legs)
        return Junctions(joins, begin, end, np.zeros(count, bool), np.zeros(count, int))
    net = _Leaving(roads)
    row = roads.edges.set_index("leg_id").index.get_indexer(legs["leg_id"])
    node = net.end_of(row, legs["along"].to_numpy(dtype=bool))
    rivals = [
        net.rival_deg(at, pair, float(heading), over_m)
        for at, pair, heading in zip(node, pairwise(row.tolist()), end, strict=False)
    ]
    joins = tuple(Join(float(one), other) for one, other in zip(turn, rivals, strict=True))
    round_ = np.array([net.is_round(one) for one in row], dtype=bool)
    return Junctions(joins, begin, end, round_, np.where(round_, net.off[node], 0))


class _Leaving:
    """The open legs that leave each node, and how many of them leave a roundabout."""

    def __init__(self, roads: RoadData) -> None:
        edges = roads.edges
        self._u, self._v = edges["u"].to_numpy(), edges["v"].to_numpy()
        self._tags, self._lines = edges["tags"].to_numpy(), edges.geometry.to_numpy()
        ahead, back = (
            np.flatnonzero(edges[way].to_numpy(dtype=bool)) for way in ("forward", "backward")
        )
        node = np.concatenate([self._u[ahead], self._v[back]])
        order = np.argsort(node, kind="stable")
        self._node = node[order]
        self._row = np.concatenate([ahead, back])[order]
        self._against = np.repeat([False, True], [len(ahead), len(back)])[order]
        off = ~np.array([tags.get("junction") in _ROUND for tags in self._tags], dtype=bool)
        self.off = np.bincount(self._node[off[self._row]], minlength=len(roads.nodes))

    def end_of(self, row: NDArray[np.int64], along: NDArray[np.bool_]) -> NDArray[np.int64]:
        """Node at the end of each leg as it is driven."""
        return np.where(along, self._v[row], self._u[row])

    def rival_deg(
        self, node: int, taken: tuple[int, int], heading_deg: float, over_m: float
    ) -> float:
        """Change of heading into the straightest leg out that is neither of the two driven."""
        first, last = np.searchsorted(self._node, [node, node + 1])
        here = np.arange(first, last)
        here = here[~np.isin(self._row[here], taken)]
        if not len(here):
            return math.inf
        lines = self._lines[self._row[here]]
        lines = np.where(self._against[here], shapely.reverse(lines), lines)
        change = _change(heading_deg, _headings(lines, over_m)[0])
        return float(change[np.argmin(np.where(np.isnan(change), math.inf, np.abs(change)))])

    def is_round(self, row: int) -> bool:
        return self._tags[row].get("junction") in _ROUND


def _change(before: Any, after: NDArray[np.float64]) -> NDArray[np.float64]:
    """Change of heading, to the right positive."""
    return (after - before + 180.0) % 360.0 - 180.0


def _headings(
    lines: NDArray[np.object_], over_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Compass degrees in which each line begins and ends, over its first and last metres."""
    length = shapely.length(lines)
    over = np.minimum(over_m, length)
    first = shapely.line_interpolate_point(lines, 0.0), shapely.line_interpolate_point(lines, over)
    last = (
        shapely.line_interpolate_point(lines, length - over),
        shapely.line_interpolate_point(lines, length),
    )
    begin, end = _bearing(*first), _bearing(*last)
    begin[length < STUB_M] = end[length < STUB_M] = np.nan
    return begin, end


def _bearing(a: NDArray[np.object_], b: NDArray[np.object_]) -> NDArray[np.float64]:
    east = shapely.get_x(b) - shapely.get_x(a)
    north = shapely.get_y(b) - shapely.get_y(a)
    return np.degrees(np.arctan2(east, north)) % 360.0


def compass(deg: float) -> str:
    """One of eight names of a compass bearing.

    Examples
    --------
    >>> compass(0.0), compass(44.0), compass(337.6), compass(359.9)
    ('north', 'north-east', 'north', 'north')
    >>> compass(float("nan"))
    ''
    """
    return "" if math.isnan(deg) else _COMPASS[round(deg / 45.0) % len(_COMPASS)]


def turn_words(deg: float, rival_deg: float | None = None, *, tables: Tables) -> str:
    """How a change of heading is said; where two ways go ahead, to which side to keep.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> tables = load_tables()
    >>> [turn_words(deg, tables=tables) for deg in (3, -40, 90, -150)]
    ['straight on', 'bear left', 'turn right', 'turn sharp left']
    >>> turn_words(-12, 5.0, tables=tables), turn_words(3, -80.0, tables=tables)
    ('keep left', 'straight on')

    Beside a stub without a heading nothing is claimed:

    >>> turn_words(float("nan"), tables=tables)
    'go on'
    """
    if math.isnan(deg):
        return "go on"
    side = "right" if deg > 0 else "left"
    straight = tables.number("steps.straight_deg")
    if abs(deg) < straight and rival_deg is not None and abs(rival_deg) < straight:
        return f"keep {'right' if deg > rival_deg else 'left'}"
    if abs(deg) < straight:
        return "straight on"
    if abs(deg) < tables.number("steps.bear_deg"):
        return f"bear {side}"
    sharp = "sharp " if abs(deg) >= tables.number("steps.sharp_deg") else ""
    return f"turn {sharp}{side}"


def ordinal(number: int) -> str:
    """A number in its place.

    Examples
    --------
    >>> [ordinal(number) for number in (1, 2, 3, 4, 11, 22)]
    ['1st', '2nd', '3rd', '4th', '11th', '22nd']
    """
    last = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{'th' if 10 <= number % 100 <= 13 else last}"
