"""The answer to a road move, as a page or a sheet renders it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from fieldmap.finding import rank, worst

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

    from fieldmap.finding import Finding, Level

Outline = list[list[float]]


@dataclass(frozen=True, eq=False)
class Corner:
    """A corner of the way and what the train sweeps there.

    Parameters
    ----------
    place : str
        ``node/12``, ``leg/12-0`` for a bend inside a leg, or ``gate/G3``.
    where : str
        The place in words.
    level : {"ok", "unknown", "stop"}
    why : str
        One sentence.
    deflection_deg : float
        Change of heading; to the right positive, to the left negative.
    low_m, high_m, need_m : float
        Room at the low and the high end of the widths, and what the train sweeps; NaN when
        not known.
    lon, lat : float
        Degrees.
    lane_low, lane_high, swept, path : list
        Outlines of the corner at both widths and of the swept ground, and the line of the
        steering axle: pairs of x east, y north in metres from the corner.
    """

    place: str
    where: str
    level: Level
    why: str
    deflection_deg: float
    low_m: float
    high_m: float
    need_m: float
    lon: float
    lat: float
    lane_low: Outline
    lane_high: Outline
    swept: Outline
    path: Outline


@dataclass(frozen=True, eq=False)
class Move:
    """A machine from one place to another on mapped roads.

    Parameters
    ----------
    level : {"ok", "care", "unknown", "stop"}
        The worst of ``findings``.
    reason : str
        One sentence on how the way was chosen.
    machine, state : str
        Name of the machine and of its transport state.
    legs : GeoDataFrame
        The way in driving order, first and last leg cut at the places; lines run as driven.
        Columns: place, leg_id, way_id, name, highway, along, length_m, level, why, under,
        and for each check its level, low, high, need, basis and why.
    nodes : DataFrame
        Gates, grids, bars and crossings on the way, in order: place, node_id, name, level, lon,
        lat and the same columns for each check.
    direct : GeoDataFrame
        The shortest way, whatever refuses on it; columns as ``legs``.
    direct_nodes : DataFrame
        What is met on the direct way; columns as ``nodes``.
    findings : tuple of Finding
        What was found on the way.
    refusals : tuple of Finding
        What refuses on the direct way; empty when nothing does.
    survey : list of dict
        Places whose measuring would settle it: place, where, measure, must_beat, unit, why,
        lon, lat. ``must_beat`` is ``None`` where no figure but an answer is wanted.
    states : dict
        Every transport state of the machine and the level of its best mapped way; the
        stretches between the places and the roads are not in it.
    length_m : float
        Metres on mapped roads; NaN when there is no way.
    minutes : float or None
        At the machine's road speed, ``None`` when that is not known or there is no way.
    start, goal : tuple of float
        Longitude, latitude in degrees.
    names : tuple of str
        What the two places were called.
    warnings : tuple of str
        What was left out on reading roads and road checks.
    corners : tuple of Corner
        Corners, bends and gates on the way, the worst first.
    meeting : dict
        ``runs``: stretches on which a car finds no room beside the machine; ``pull_ins``:
        places to let somebody by.
    sun : dict or None
        Times of light at the start on the day, aware ISO texts; ``None`` when no day was asked.
    profile : dict or None
        ``chainage_m``, ``height_m``, ``grade_pct`` along the way; ``None`` without elevation.
    """

    level: Level
    reason: str
    machine: str
    state: str
    legs: gpd.GeoDataFrame
    nodes: pd.DataFrame
    direct: gpd.GeoDataFrame
    direct_nodes: pd.DataFrame
    findings: tuple[Finding, ...]
    refusals: tuple[Finding, ...]
    survey: list[dict[str, Any]]
    states: dict[str, Level]
    length_m: float
    minutes: float | None
    start: tuple[float, float]
    goal: tuple[float, float]
    names: tuple[str, str] = ("start", "goal")
    warnings: tuple[str, ...] = ()
    corners: tuple[Corner, ...] = ()
    meeting: dict[str, Any] = field(default_factory=dict)
    sun: dict[str, Any] | None = None
    profile: dict[str, list[float]] | None = None

    def with_more(
        self, findings: Sequence[Finding], *, survey: Sequence[dict[str, Any]] = ()
    ) -> Move:
        """The move with more findings; level and reason follow them.

        A way chosen because every check on its legs passes may still end at a gate that is too
        narrow. The reason then names what came on top, so that it never speaks for less than
        the level does.
        """
        if not findings:
            return self
        told = (*self.findings, *findings)
        worse = dict.fromkeys(
            f"{one.what}: {one.level}" for one in findings if rank(one.level) > rank(self.level)
        )
        also = f" But {', '.join(worse)}." if worse else ""
        return replace(
            self,
            findings=told,
            level=worst((self.level, *(one.level for one in findings))),
            reason=self.reason + also,
            survey=[*self.survey, *survey],
        )
