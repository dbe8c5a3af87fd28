"""Many places and one machine: which of them it reaches from which, and over how much unknown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldmap.errors import InputError
from fieldmap.finding import Level
from fieldmap.roads.choose import free_costs
from fieldmap.roads.district import District, Held
from fieldmap.roads.matrix import way_matrix
from fieldmap.roads.search import Costs, Way, find_way
from fieldmap.roads.snap import Snapped, snap
from fieldmap.tables import Tables

Place = tuple[float, float]


@dataclass(frozen=True, eq=False)
class Reach:
    """Ways between places for one machine in one transport state.

    All arrays have a row (from) and a column (to) a place. ``level`` is as of
    :func:`fieldmap.roads.choose.choose`: ``ok`` where a way passes every check, ``unknown`` where
    every way has something unknown or the map has none, ``stop`` where every way is refused.
    ``unknown_places`` are those on the way with the fewest, 0 on a sure way, -1 where there is
    none; ``length_m`` is that of the way told of, the direct one where all are refused, NaN where
    there is none. What the ends ask for (gates, ground off the roads) is not in it.

    ``ends`` are the places on the network, ``None`` where one is too far from every road, and
    ``far`` says so in words, "" for the others.
    """

    level: NDArray[np.object_]
    unknown_places: NDArray[np.int64]
    length_m: NDArray[np.float64]
    ends: tuple[Snapped | None, ...]
    far: tuple[str, ...]
    district: District
    held: Held

    def way(self, start: int, goal: int) -> Way | None:
        """The way that the arrays tell of; ``None`` where the map has none."""
        on, to = self.ends[start], self.ends[goal]
        if on is None or to is None:
            return None
        return find_way(self.district.net, self._costs(self.level[start, goal]), on.on, to.on)

    def _costs(self, level: Level) -> Costs:
        if level == "ok":
            return self.held.sure
        return self.held.fewest if level == "unknown" else _free(self.district)


def reach(
    district: District,
    held: Held,
    places: Sequence[Place],
    *,
    tables: Tables,
    names: Sequence[str] = (),
) -> Reach:
    """Find the ways between all of some places.

    Parameters
    ----------
    district : District
    held : Held
        The machine on the same district.
    places : sequence of tuple
        Longitude, latitude in degrees.
    tables : Tables
        ``clearances.snap_m``.
    names : sequence of str
        What the places are called, for the words on one that is too far from every road.
    """
    called = [*names, *(f"place {at + 1}" for at in range(len(names), len(places)))]
    ends, far = _on_roads(district, held, places, called, tables)
    level = np.full((len(places), len(places)), "unknown", dtype=object)
    count = np.full(level.shape, -1, dtype=np.int64)
    metres = np.full(level.shape, np.nan)
    for word, costs in (("ok", held.sure), ("unknown", held.fewest), ("stop", _free(district))):
        if np.isnan(metres).any():
            here, counted, length_m = _matrix(district, costs, ends)
            found = np.isnan(metres) & np.isfinite(length_m) & here
            level[found] = word
            count[found] = -1 if word == "stop" else counted[found]
            metres[found] = length_m[found]
    alone = np.flatnonzero([end is not None for end in ends])
    level[alone, alone], count[alone, alone], metres[alone, alone] = "ok", 0, 0.0
    return Reach(level, count, metres, tuple(ends), tuple(far), district, held)


def _on_roads(
    district: District, held: Held, places: Sequence[Place], names: Sequence[str], tables: Tables
) -> tuple[list[Snapped | None], list[str]]:
    most_m = tables.number("clearances.snap_m")
    ends: list[Snapped | None] = []
    far: list[str] = []
    for place, name in zip(places, names, strict=True):
        level = held.checked.leg_level
        try:
            ends.append(snap(district.data, place, level=level, most_m=most_m, what=name))
            far.append("")
        except InputError as error:
            ends.append(None)
            words = [f"{one.what.removeprefix('the ')}: {one.value}" for one in error.faults]
            far.append("; ".join(words))
    return ends, far


def _free(district: District) -> Costs:
    return free_costs(district.net, len(district.data.nodes))


def _matrix(
    district: District, costs: Costs, ends: Sequence[Snapped | None]
) -> tuple[NDArray[np.bool_], NDArray[np.int64], NDArray[np.float64]]:
    """Where both ends are on the network; unknown places and metres there, inf without a way."""
    there = np.array([end is not None for end in ends], dtype=bool)
    both = there[:, None] & there
    places = np.full(both.shape, -1, dtype=np.int64)
    metres = np.full(both.shape, np.inf)
    found = way_matrix(district.net, costs, [end.on for end in ends if end is not None])
    places[both], metres[both] = found.places.ravel(), found.length_m.ravel()
    return both, places, metres
