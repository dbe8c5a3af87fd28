"""What a driver meets along a way: where on it, what to do there, and whom to ask."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator

import geopandas as gpd
import pandas as pd

from fieldmap.finding import Finding, worst
from fieldmap.roads.answer import Corner, Move
from fieldmap.roads.checks import LEG_CHECKS, NODE_CHECKS
from fieldmap.roads.meeting import WHAT as MEETING
from fieldmap.roads.step_along import Along, Met, known
from fieldmap.roads.step_stretches import stretches
from fieldmap.roads.step_words import ASK, DO_AT, ask_of, corner_name
from fieldmap.roads.tell_legs import figure_column
from fieldmap.roads.wording import CAUTION, UNITS, WHAT
from fieldmap.tables import Tables

#: Findings at the two places themselves, by what they are called.
AT_ENDS = ("farm gate", "ground off the roads")


def met_on(move: Move, along: Along, starts: Collection[int], *, tables: Tables) -> list[Met]:
    """Everything a driver meets, in driving order.

    Parameters
    ----------
    move : Move
    along : Along
        Its way.
    starts : collection of int
        Rows of its legs at which a step begins: what goes on there is told there again.
    tables : Tables
        ``steps.csv``.
    """
    near_m = tables.number("steps.near_way_m")
    held = [
        *_on_legs(along, starts),
        *_at_nodes(move.nodes, along, near_m),
        *_at_corners(move.corners, along, near_m),
        *_others(move.findings, along, near_m),
        *stretches(move, along, starts, tables=tables),
    ]
    return sorted(held, key=lambda one: one.at_m)


def throughout(move: Move) -> list[Finding]:
    """Findings that belong to no one spot: of the machine, of the rules, of the day."""
    return [one for one in move.findings if one.level != "ok" and not known(one.lon)]


def at_end(move: Move, end: int) -> list[Finding]:
    """What was found at one of the two places: its gate, the ground off the roads.

    Parameters
    ----------
    move : Move
    end : int
        0 for the start, 1 for the goal.
    """
    return [
        one
        for one in move.findings
        if one.level != "ok" and one.what in AT_ENDS and _nearer_end(one, move) == end
    ]


def _nearer_end(one: Finding, move: Move) -> int:
    """The end a finding lies at; by its name where it has no place."""
    if one.lon is None or one.lat is None:
        return int(one.where != move.names[0])
    away = [math.hypot(one.lon - lon, one.lat - lat) for lon, lat in (move.start, move.goal)]
    return int(away[1] < away[0])


def _on_legs(along: Along, starts: Collection[int]) -> Iterator[Met]:
    """Runs of legs to which a check says the same, where it does not pass."""
    legs = along.legs
    for check in LEG_CHECKS:
        if check not in legs.columns or _machine_missing(legs, check):
            continue
        level, why = legs[check].to_numpy(), legs[f"{check}_why"].to_numpy()
        begin = 0
        for end in range(1, len(legs) + 1):
            same = end < len(legs) and (level[end], why[end]) == (level[begin], why[begin])
            if same and end not in starts:
                continue
            if level[begin] != "ok":
                yield _leg_met(along, check, (begin, end))
            begin = end


def _machine_missing(legs: gpd.GeoDataFrame, check: str) -> bool:
    """A check that lacks the machine's own figure says so once, and not at every step."""
    need = figure_column(check, "need", UNITS.get(check, ""))
    return need in legs.columns and bool(legs[need].isna().all())


def _leg_met(along: Along, check: str, run: tuple[int, int]) -> Met:
    row = along.legs.iloc[run[0]]
    at_m, long_m = along.begin[run[0]], along.begin[run[1]] - along.begin[run[0]]
    lon, lat = along.place(at_m)
    return Met(
        float(at_m),
        row[check],
        WHAT.get(check, check),
        row[f"{check}_why"],
        CAUTION.get(check, ""),
        ask_of(check, row.get("under", ())),
        lon,
        lat,
        float(long_m),
    )


def _at_nodes(nodes: pd.DataFrame, along: Along, near_m: float) -> Iterator[Met]:
    for row in nodes.to_dict("records"):
        at_m = along.at(row["lon"], row["lat"], near_m=near_m)
        if at_m is None:
            continue
        bad = [one for one in NODE_CHECKS if row["level"] != "ok" and row[one] == row["level"]]
        slow = [one for one in ("crossing", "hump") if row[one]]
        level = worst([row["level"], "care"] if slow else [row["level"]])
        words = [DO_AT.get(row["name"], ""), row["why"]]
        told = [one for one in (*slow, *bad) if one in CAUTION]
        yield Met(
            at_m,
            level,
            row["name"],
            " ".join(one for one in words if one),
            CAUTION[told[0]] if told else "",
            "; ".join(dict.fromkeys(ASK[one] for one in told if one in ASK)),
            float(row["lon"]),
            float(row["lat"]),
        )


def _at_corners(corners: Iterable[Corner], along: Along, near_m: float) -> Iterator[Met]:
    for one in corners:
        at_m = along.at(one.lon, one.lat, near_m=near_m)
        if one.level != "ok" and at_m is not None:
            yield Met(
                at_m,
                one.level,
                corner_name(one.place, one.deflection_deg),
                one.why,
                CAUTION.get("turn", ""),
                ASK["turn"],
                one.lon,
                one.lat,
            )


def _others(findings: Iterable[Finding], along: Along, near_m: float) -> Iterator[Met]:
    """Findings with a place that no leg, node or corner has told yet."""
    told = {*WHAT.values(), *AT_ENDS, "railway crossing", MEETING}
    for one in findings:
        if one.level == "ok" or one.what in told:
            continue
        at_m = along.at(one.lon, one.lat, near_m=near_m)
        if at_m is not None:
            yield Met(
                at_m, one.level, one.what, one.why, one.caution, "", float(one.lon or 0.0),
                float(one.lat or 0.0),
            )  # fmt: skip
