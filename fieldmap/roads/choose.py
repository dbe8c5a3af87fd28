"""Which way: all passes, else the fewest unknown places, else the direct one."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fieldmap.finding import Level
from fieldmap.network import RoadData
from fieldmap.roads.checks import LEG_CHECKS, Checked, unknown_mask
from fieldmap.roads.facts import OnRoad
from fieldmap.roads.grades import untold
from fieldmap.roads.search import Costs, OnLeg, Way, find_way
from fieldmap.roads.turns import TurnNet
from fieldmap.roads.verdict import FAIL, UNKNOWN

#: Which figure of the machine a check needs.
FIGURE_OF = {
    "width": "width_m",
    "opening": "width_m",
    "width_limit": "width_m",
    "height": "height_m",
    "height_limit": "height_m",
    "mass": "mass_kg",
}
#: Figures of the machine that a check needs only where something asks for them.
ASKED_FOR = {"axles": "axle_kg", "length": "length_m"}

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


def lacks_figure(machine: OnRoad, check: str) -> bool:
    """Whether what is unknown in a check is so for want of the machine's own figure."""
    figure = (FIGURE_OF | ASKED_FOR).get(check)
    return figure is not None and bool(np.isnan(getattr(machine, figure)))


def places_to_measure(data: RoadData, checked: Checked, machine: OnRoad) -> NDArray[np.int64]:
    """A number for every directed leg with something unknown, -1 for the rest.

    Legs of one way are one place to go to, whatever is to be measured there. What the
    machine's own missing figure makes unknown is no place on the road, nor is a slope of which
    the elevation says nothing.
    """
    mask = unknown_mask(checked)
    if "grade" in checked.legs:
        mask &= ~(untold(checked.legs["grade"]).astype(np.int64) << LEG_CHECKS.index("grade"))
    for bit, name in enumerate(LEG_CHECKS):
        if lacks_figure(machine, name):
            mask &= ~(1 << bit)
    way = np.repeat(data.edges["way_id"].to_numpy(), 2)
    _, number = np.unique(way, return_inverse=True)
    return np.where(mask > 0, number.ravel(), -1)


def sure_costs(net: TurnNet, checked: Checked) -> Costs:
    """Only what passes every check may be driven."""
    legs, nodes, turns = checked.leg_level, checked.node_level, checked.turn_level(net)
    return replace(
        free_costs(net, len(nodes)),
        leg_barred=legs >= UNKNOWN,
        node_barred=nodes >= UNKNOWN,
        turn_barred=turns >= UNKNOWN,
    )


def fewest_costs(
    net: TurnNet, checked: Checked, place: NDArray[np.int64], *, count_turns: bool = True
) -> Costs:
    """What is refused is barred; what is unknown counts, each place to measure once.

    Parameters
    ----------
    net : TurnNet
    checked : Checked
    place : ndarray of int
        As :func:`places_to_measure` gives it, one entry a directed leg.
    count_turns : bool
        Whether a turn that is unknown is a place to go to; not where the machine's own figures
        are what is missing.
    """
    nodes, turns = checked.node_level, checked.turn_level(net)
    return Costs(
        leg_barred=checked.leg_level == FAIL,
        node_barred=nodes == FAIL,
        turn_barred=turns == FAIL,
        leg_place=place,
        node_count=(nodes == UNKNOWN).astype(np.int64),
        turn_count=((turns == UNKNOWN) & count_turns).astype(np.int64),
    )


def free_costs(net: TurnNet, nodes: int) -> Costs:
    """Everything that one-ways and turn restrictions allow may be driven."""
    return Costs(
        leg_barred=np.zeros(len(net.end_node), dtype=bool),
        node_barred=np.zeros(nodes, dtype=bool),
        turn_barred=np.zeros(len(net.follow), dtype=bool),
        leg_place=np.full(len(net.end_node), -1),
        node_count=np.zeros(nodes, dtype=np.int64),
        turn_count=np.zeros(len(net.follow), dtype=np.int64),
    )


def choose(net: TurnNet, sure: Costs, fewest: Costs, start: OnLeg, goal: OnLeg) -> Choice:
    """The way to take, by three searches in turn.

    Parameters
    ----------
    net : TurnNet
    sure, fewest : Costs
        As :func:`sure_costs` and :func:`fewest_costs` give them.
    start, goal : OnLeg
    """
    way = find_way(net, sure, start, goal)
    if way is not None:
        return Choice("ok", SURE, way)
    way = find_way(net, fewest, start, goal)
    if way is not None:
        return Choice("unknown", FEWEST, way)
    way = find_way(net, free_costs(net, len(sure.node_barred)), start, goal)
    return Choice("unknown", NO_WAY, None) if way is None else Choice("stop", REFUSED, way)
