"""A way as driving steps: legs gathered by road and turn, with what to do on each.

Pure: a :class:`~fieldmap.roads.answer.Move` and the roads it lies on go in, steps come out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np

from fieldmap.finding import Level, worst
from fieldmap.network import RoadData
from fieldmap.roads.answer import Move
from fieldmap.roads.step_along import Along, Met
from fieldmap.roads.step_met import at_end, met_on
from fieldmap.roads.step_turns import STUB_M, Junctions, compass, junctions, ordinal, turn_words
from fieldmap.roads.step_words import on_road_name
from fieldmap.tables import Tables

#: A place this near to a turn is at the turn (m): places come rounded.
AT_TURN_M = 1.0


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a way: a turn, and the road driven after it.

    Parameters
    ----------
    n : int
        From 1, in driving order.
    words : str
        What to do where it begins: "Turn right onto Elm Road".
    road : str
        The road driven, "" for the arrival.
    ways : tuple of int
        Ids of the mapped ways, in order, each once.
    legs : tuple of int
        First row of ``move.legs`` in it, and the row after its last.
    from_m, length_m : float
        Metres driven before it, and on it.
    level : {"ok", "care", "unknown", "stop"}
        The worst of its legs and of what is met on it.
    met : tuple of Met
        Gates, crossings, bends, refusals and the rest, in driving order.
    lon, lat : float
        Where it begins, degrees.
    bearing_deg : float
        Heading after the turn, from the grid's north; NaN when there is none.
    turn_deg : float
        Change of heading there, to the right positive; NaN at the start and the end.
    """

    n: int
    words: str
    road: str
    ways: tuple[int, ...]
    legs: tuple[int, int]
    from_m: float
    length_m: float
    level: Level
    met: tuple[Met, ...]
    lon: float
    lat: float
    bearing_deg: float
    turn_deg: float


def steps(move: Move, roads: RoadData | None, *, tables: Tables) -> tuple[Step, ...]:
    """The way of a move as steps, the arrival last.

    A step begins where the road's name changes, at a roundabout, and at a junction where the way
    turns or another one goes straight on. Without ``roads`` it is not known what else leaves a
    junction; a step then begins at every turn that is more than bearing to a side.

    Parameters
    ----------
    move : Move
    roads : RoadData or None
        The roads it was planned on.
    tables : Tables
        ``steps.csv``.

    Returns
    -------
    tuple of Step
        Empty when there is no way.
    """
    if not len(move.legs):
        return ()
    along = Along(move.legs)
    if along.line is None or along.line.length < STUB_M:
        return ()
    join = junctions(move.legs, roads, tables=tables)
    starts = _starts(move.legs, join, along, tables)
    met = met_on(move, along, starts, tables=tables)
    made = [
        _step(number, (a, b), move, (along, join, met), tables)
        for number, (a, b) in enumerate(zip(starts, [*starts[1:], len(move.legs)], strict=True), 1)
    ]
    return (*_with_start(made, move), _arrival(len(made) + 1, move, along, met))


def _starts(legs: gpd.GeoDataFrame, join: Junctions, along: Along, tables: Tables) -> list[int]:
    """Rows of the legs at which a step begins."""
    names = [on_road_name(one) for one in legs["name"]]
    stub = along.lengths < STUB_M
    starts = [0]
    for row in range(1, len(legs)):
        if join.round_[row] or join.round_[row - 1]:
            new = bool(join.round_[row] and not join.round_[row - 1])
        elif stub[row] or stub[row - 1]:
            new = False
        else:
            new = names[row] != names[row - 1] or _turns_off(join, row - 1, tables)
        starts += [row] if new else []
    return starts


def _turns_off(join: Junctions, at: int, tables: Tables) -> bool:
    """Whether a driver who keeps to the road could go wrong at a join."""
    here, bear = join.joins[at], tables.number("steps.bear_deg")
    if here.rival_deg is None:
        return abs(here.turn_deg) >= bear
    if math.isinf(here.rival_deg):
        return False
    fork = abs(here.rival_deg) < tables.number("steps.straight_deg")
    return abs(here.turn_deg) >= bear or fork


def _step(
    number: int,
    rows: tuple[int, int],
    move: Move,
    held: tuple[Along, Junctions, list[Met]],
    tables: Tables,
) -> Step:
    along, join, met = held
    begin, end = rows
    legs = move.legs.iloc[begin:end]
    from_m, to_m = float(along.begin[begin]), float(along.begin[end])
    # what lies right at a turn belongs to the step that the turn begins
    here = tuple(one for one in met if from_m - AT_TURN_M <= one.at_m < to_m - AT_TURN_M)
    lon, lat = along.place(from_m)
    turn = join.joins[begin - 1].turn_deg if begin else np.nan
    return Step(
        n=number,
        words=_words(rows, move, join, along, tables),
        road=_road(legs, along.lengths[begin:end], join.round_[begin:end]),
        ways=tuple(dict.fromkeys(int(one) for one in legs["way_id"])),
        legs=rows,
        from_m=from_m,
        length_m=to_m - from_m,
        level=worst([*legs["level"], *(one.level for one in here)]),
        met=here,
        lon=lon,
        lat=lat,
        bearing_deg=float(_first_heading(join, rows)),
        turn_deg=float(turn),
    )


def _road(legs: gpd.GeoDataFrame, lengths: np.ndarray, round_: np.ndarray) -> str:
    """The road driven: after a roundabout the one it leads to, else that of the longest leg."""
    weigh = np.where(round_, -1.0, lengths)
    return str(legs["name"].iloc[int(np.argmax(weigh))])


def _first_heading(join: Junctions, rows: tuple[int, int]) -> float:
    held = join.heading_in[rows[0] : rows[1]]
    known = held[np.isfinite(held)]
    return float(known[0]) if len(known) else np.nan


def _words(rows: tuple[int, int], move: Move, join: Junctions, along: Along, tables: Tables) -> str:
    begin, end = rows
    legs = move.legs.iloc[begin:end]
    road = on_road_name(_road(legs, along.lengths[begin:end], join.round_[begin:end]))
    if begin == 0:
        way = compass(_first_heading(join, rows))
        return f"From {move.names[0]} go {way} on {road}" if way else f"Set out on {road}"
    if join.round_[begin]:
        return _round_words(rows, join, road)
    here = join.joins[begin - 1]
    said = turn_words(here.turn_deg, here.rival_deg, tables=tables)
    before = on_road_name(str(move.legs["name"].iloc[begin - 1]))
    said = said[0].upper() + said[1:]
    if before == on_road_name(str(legs["name"].iloc[0])):
        return f"{said} to stay on {road}"
    return f"{said}, now on {road}" if said in ("Straight on", "Go on") else f"{said} onto {road}"


def _round_words(rows: tuple[int, int], join: Junctions, road: str) -> str:
    """Which exit: those passed while on the roundabout, and the one taken."""
    begin, end = rows
    on = np.flatnonzero(join.round_[begin:end]) + begin
    run = on[: int(np.argmax(np.append(np.diff(on) > 1, True))) + 1]
    if run[-1] == end - 1:
        return "Go onto the roundabout"
    passed = int(np.sum(join.exits[run[:-1]] > 0))
    return f"At the roundabout take the {ordinal(passed + 1)} exit onto {road}"


def _with_start(made: list[Step], move: Move) -> list[Step]:
    """The first step with what was found at the place it leaves."""
    found = _ends(move, 0, 0.0, (made[0].lon, made[0].lat))
    met = (*found, *made[0].met)
    level = worst([made[0].level, *(one.level for one in found)])
    return [replace(made[0], met=met, level=level), *made[1:]]


def _arrival(number: int, move: Move, along: Along, met: list[Met]) -> Step:
    end_m = float(along.begin[-1])
    place = along.place(end_m)
    last = tuple(one for one in met if one.at_m >= end_m - AT_TURN_M)
    found = (*last, *_ends(move, 1, end_m, place))
    return Step(
        n=number,
        words=f"Arrive at {move.names[1]}",
        road="",
        ways=(),
        legs=(len(move.legs), len(move.legs)),
        from_m=end_m,
        length_m=0.0,
        level=worst(["ok", *(one.level for one in found)]),
        met=found,
        lon=place[0],
        lat=place[1],
        bearing_deg=np.nan,
        turn_deg=np.nan,
    )


def _ends(move: Move, end: int, at_m: float, place: tuple[float, float]) -> tuple[Met, ...]:
    return tuple(
        Met(at_m, one.level, one.what, one.why, one.caution, "", *place)
        for one in at_end(move, end)
    )
