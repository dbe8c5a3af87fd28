"""The roads of one machine's day: which fields it reaches, over what, and how long that takes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from fieldmap.day_teams import Team
from fieldmap.errors import Fault, InputError
from fieldmap.farm import Farm
from fieldmap.finding import Level, rank
from fieldmap.journey import place, plan_move
from fieldmap.machine import Transport
from fieldmap.roads.answer import Move
from fieldmap.roads.district import District, hold
from fieldmap.roads.move import NOT_GIVEN
from fieldmap.roads.pace import way_s
from fieldmap.roads.reach import Reach, reach

#: Row of the start among the places; the fields follow.
HOME = 0
_S_PER_MIN = 60


@dataclass(frozen=True, eq=False)
class TeamRoads:
    """Drives between the start and the fields.

    ``names`` are the places, the start and then the fields, and ``places`` their longitudes and
    latitudes. ``drive_s`` has a row (from) and a column (to) a place: seconds, -1 where nothing at
    ``most`` or better is known; ``refused`` are the drives, and their hours, that were found worse
    than that when they were looked at one by one.
    """

    farm: Farm
    team: Team
    names: tuple[str, ...]
    places: tuple[tuple[float, float], ...]
    found: Reach
    drive_s: NDArray[np.int64]
    most: Level
    moves: dict[tuple[int, int, datetime], Move] = field(default_factory=dict)
    refused: dict[tuple[int, int], datetime] = field(default_factory=dict)

    def same(self, start: int, goal: int) -> bool:
        """Whether two places are one, so that there is no road between them."""
        return start == goal or self.places[start] == self.places[goal]

    def move(self, start: int, goal: int, at: datetime) -> Move | None:
        """The road move as ``fieldmap move`` gives it; ``None`` between two places that are one."""
        if self.same(start, goal):
            return None
        if (start, goal, at) not in self.moves:
            self.moves[start, goal, at] = plan_move(
                self.farm,
                start=self.names[start],
                goal=self.names[goal],
                machine_id=self.team.machine.id,
                state=self.team.state,
                at=at,
            )
        return self.moves[start, goal, at]

    def refuse(self, start: int, goal: int, at: datetime) -> None:
        """Plan with this drive no more."""
        self.drive_s[start, goal] = -1
        self.refused[start, goal] = at

    def may(self, start: int, goal: int, at: datetime) -> bool:
        """Whether the map has a way, and that move is no worse than what is planned with."""
        move = self.move(start, goal, at)
        return move is None or (
            rank(move.level) <= rank(self.most) and math.isfinite(move.length_m)
        )


def team_roads(
    farm: Farm, district: District, team: Team, field_ids: Sequence[str], *, most: Level
) -> TeamRoads:
    """Find the drives of a machine between its start and the fields.

    Parameters
    ----------
    farm : Farm
    district : District
        Of the same farm.
    team : Team
    field_ids : sequence of str
    most : {"care", "unknown"}
        The worst level of a drive that may be planned with.

    Raises
    ------
    InputError
        The start is too far from every road.
    MisuseError
        No such place.
    """
    names = (team.start, *field_ids)
    transport = next(
        (one for one in team.machine.transport if one.name == team.state),
        Transport(name=NOT_GIVEN),
    )
    held = hold(district, team.machine, transport, tables=farm.tables)
    places = tuple(place(farm, name) for name in names)
    found = reach(district, held, places, tables=farm.tables, names=names)
    if found.far[HOME]:
        raise InputError(
            Fault(
                found.far[HOME],
                team.start,
                "the way to the first field would be a guess",
                "start from a place beside a mapped road",
                where=team.machine.name,
            )
        )
    drive_s = _drives(found, team, farm, most)
    one = np.array([[here == there for there in places] for here in places])
    drive_s[one] = 0
    return TeamRoads(farm, team, names, places, found, drive_s, most)


def _drives(found: Reach, team: Team, farm: Farm, most: Level) -> NDArray[np.int64]:
    count = len(found.ends)
    drive_s = np.full((count, count), -1, dtype=np.int64)
    np.fill_diagonal(drive_s, 0)
    for start, goal in np.argwhere(found.unknown_places >= 0):
        if start != goal and rank(found.level[start, goal]) <= rank(most):
            drive_s[start, goal] = _seconds(found, int(start), int(goal), team, farm)
    return drive_s


def _seconds(found: Reach, start: int, goal: int, team: Team, farm: Farm) -> int:
    way, on, to = found.way(start, goal), found.ends[start], found.ends[goal]
    if way is None or on is None or to is None:
        return -1
    seconds = way_s(
        found.district,
        way,
        start=on.on,
        goal=to.on,
        speed_kmh=team.machine.road_speed_kmh,
        tables=farm.tables,
    )
    return -(-seconds // _S_PER_MIN) * _S_PER_MIN  # a plan on paper knows whole minutes
