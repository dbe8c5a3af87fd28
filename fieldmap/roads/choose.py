"""Which way: all passes, else the fewest unknown places, else the direct one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldmap.finding import Level
from fieldmap.network import RoadData
from fieldmap.roads.checks import LEG_CHECKS, Checked, Ground, unknown_mask
from fieldmap.roads.facts import OnRoad
from fieldmap.roads.search import Costs, OnLeg, Way, find_way
from fieldmap.roads.turns import TurnNet
from fieldmap.roads.verdict import FAIL, UNKNOWN

#: Which figure of the machine a check needs.
FIGURE_OF = {"width": "width_m", "opening": "width_m", "height": "height_m", "mass": "mass_kg"}

SURE = "The shortest way on which every check passes."
FEWEST = "No way passes every check; this one has the fewest places where something is unknown."
REFUSED = "Every way is refused somewhere; this is the direct way and what refuses on it."
NO_WAY = "The map shows no way between the two places that one-ways and turns allow."


@dataclass(frozen=True, eq=False)
class Choice:
    """The way taken (``None`` when the map has none), its level and why it was taken."""

    level: Level
    reason: str
    way: Way | None


def figure_missing(machine: OnRoad, check: str) -> bool:
    """Whether a check is unknown everywhere because the machine's own figure is."""
    return check in FIGURE_OF and bool(np.isnan(getattr(machine, FIGURE_OF[check])))


def places_to_measure(
    data: RoadData, ground: Ground, checked: Checked, machine: OnRoad
) -> NDArray[np.int64]:
    """A number for every leg with something unknown, -1 for the rest.

    Legs of one way with the same things unknown are one place; what crosses above a leg
    makes it a place of its own. What the machine's own missing figure makes unknown is no
    place on the road.
    """
    mask = unknown_mask(checked)
    for bit, name in enumerate(LEG_CHECKS):
        if figure_missing(machine, name):
            mask &= ~(1 << bit)
    height = (mask >> LEG_CHECKS.index("height")) & 1
    beneath = (height == 1) & (ground.under_bridge | ground.under_line)
    leg = np.where(beneath, np.arange(len(mask)), -1)
    keys = np.column_stack([data.edges["way_id"].to_numpy(), mask, leg])
    _, number = np.unique(keys, axis=0, return_inverse=True)
    return np.where(mask > 0, number.ravel(), -1)


def choose(
    net: TurnNet, checked: Checked, place: NDArray[np.int64], start: OnLeg, goal: OnLeg
) -> Choice:
    """The way to take, by the three searches in turn."""
    legs, nodes = checked.leg_level, checked.node_level
    nothing = np.full(len(legs), -1)
    free = np.zeros(len(nodes), dtype=np.int64)
    sure = find_way(net, Costs(legs >= UNKNOWN, nodes >= UNKNOWN, nothing, free), start, goal)
    if sure is not None:
        return Choice("ok", SURE, sure)
    unsure = (nodes == UNKNOWN).astype(np.int64)
    fewest = find_way(net, Costs(legs == FAIL, nodes == FAIL, place, unsure), start, goal)
    if fewest is not None:
        return Choice("unknown", FEWEST, fewest)
    direct = direct_way(net, start, goal)
    return Choice("unknown", NO_WAY, None) if direct is None else Choice("stop", REFUSED, direct)


def direct_way(net: TurnNet, start: OnLeg, goal: OnLeg) -> Way | None:
    """The shortest way that one-ways and turn restrictions allow, whatever else refuses."""
    legs, nodes = len(net.length_m), int(net.end_node.max(initial=-1)) + 1
    nothing = Costs(
        np.zeros(legs, dtype=bool),
        np.zeros(nodes, dtype=bool),
        np.full(legs, -1),
        np.zeros(nodes, dtype=np.int64),
    )
    return find_way(net, nothing, start, goal)
