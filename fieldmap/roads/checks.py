"""All checks of a machine in one transport state over a whole network."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldmap.network import RoadData
from fieldmap.roads.axles import axle_check, posted_axle_check
from fieldmap.roads.facts import OnRoad, Places, directed, places_of
from fieldmap.roads.height import height_check, height_limit_check, length_check
from fieldmap.roads.mass import mass_check, mass_is_kept
from fieldmap.roads.measured import Measured
from fieldmap.roads.node_checks import (
    humps,
    level_crossings,
    node_height_check,
    node_mass_check,
    opening_check,
)
from fieldmap.roads.passing import access_check, node_access_check
from fieldmap.roads.surface import surface_check
from fieldmap.roads.turns import TurnNet
from fieldmap.roads.verdict import PASS, UNKNOWN, Codes, Floats, Mask, Verdict
from fieldmap.roads.water import water_check
from fieldmap.roads.width import width_check, width_limit_check
from fieldmap.tables import Tables

#: Names of the checks, as columns of tables have them. ``width``, ``height`` and ``opening`` are
#: what fits; the two limits, ``mass``, ``axles``, ``length``, ``access`` what a sign or law says.
LEG_CHECKS = (
    "width",
    "width_limit",
    "height",
    "height_limit",
    "mass",
    "axles",
    "length",
    "access",
    "water",
    "grade",
    "surface",
)
NODE_CHECKS = (
    "opening",
    "width_limit",
    "height",
    "height_limit",
    "mass",
    "axles",
    "length",
    "access",
    "water",
)


@dataclass(frozen=True, eq=False)
class Ground:
    """What the checks need to know of a network, worked out once for all machines.

    ``legs``, ``kinds``, ``one_way``, ``under_bridge`` and ``under_line`` have one entry a
    directed leg: ``2 * row`` along the line of a leg, ``2 * row + 1`` against it.
    ``spots`` are the rows of the nodes that have tags; ``spot`` the other way round, -1 for
    a node without.
    """

    legs: Places
    kinds: NDArray[np.object_]
    one_way: Mask
    under_bridge: Mask
    under_line: Mask
    spots: NDArray[np.int64]
    spot: NDArray[np.int64]
    nodes: Places
    crossing: Mask  # one entry a spot
    hump: Mask  # one entry a spot


@dataclass(frozen=True, eq=False)
class Checked:
    """The verdicts by name, and the worst level of each directed leg and each node."""

    legs: dict[str, Verdict]  # one entry a directed leg
    nodes: dict[str, Verdict]  # one entry a spot
    leg_level: Codes
    node_level: Codes  # one entry a node
    turns: Verdict | None = None  # one entry a row of TurnNet.follow

    def turn_level(self, net: TurnNet) -> Codes:
        """Level of each turn of the network; nothing against it where turns are not checked."""
        if self.turns is None:
            return np.zeros(len(net.follow), dtype=np.int8)
        return self.turns.level


def ground_of(data: RoadData) -> Ground:
    """Read the tags of a network into columns."""
    edges = data.edges
    under = edges["under"].tolist()
    node_tags = data.nodes["tags"].tolist()
    spots = np.flatnonzero([bool(tags) for tags in node_tags])
    spot = np.full(len(node_tags), -1, dtype=np.int64)
    spot[spots] = np.arange(len(spots))
    nodes = places_of([node_tags[row] for row in spots])
    return Ground(
        legs=places_of(directed(edges["tags"].tolist())),
        kinds=np.repeat(edges["highway"].to_numpy(dtype=object), 2),
        one_way=np.repeat((edges["forward"] ^ edges["backward"]).to_numpy(), 2),
        under_bridge=np.repeat(_starts(under, ("bridge", "overhead line")), 2),
        under_line=np.repeat(_starts(under, "power line"), 2),
        spots=spots,
        spot=spot,
        nodes=nodes,
        crossing=level_crossings(nodes),
        hump=humps(nodes),
    )


def _starts(under: list[tuple[str, ...]], word: str | tuple[str, ...]) -> Mask:
    return np.array([any(one.startswith(word) for one in held) for held in under], dtype=bool)


def check_ground(
    ground: Ground,
    machine: OnRoad,
    measured: Measured,
    *,
    tables: Tables,
    grade: Verdict | None = None,
    turns: Verdict | None = None,
) -> Checked:
    """Hold a machine against every leg and node.

    Parameters
    ----------
    ground : Ground
    machine : OnRoad
    measured : Measured
        On the same network, one entry a leg.
    tables : Tables
    grade : Verdict, optional
        What the lie of the ground says, one entry a directed leg. Without it no grade is looked
        at, and whoever asks for a way has to say so.
    turns : Verdict, optional
        One entry a row of ``TurnNet.follow``.
    """
    both_ways = {kind: np.repeat(measured.legs[kind], 2) for kind in measured.legs}
    legs = _leg_checks(ground, machine, both_ways, tables)
    if grade is not None:
        legs["grade"] = grade
    legs = {name: legs[name] for name in LEG_CHECKS if name in legs}
    at_spots = {kind: figures[ground.spots] for kind, figures in measured.nodes.items()}
    nodes = _node_checks(ground.nodes, machine, at_spots, tables)
    node_level = np.full(len(ground.spot), PASS, dtype=np.int8)
    node_level[ground.spots] = _worst(nodes, len(ground.spots))
    return Checked(legs, nodes, _worst(legs, len(ground.kinds)), node_level, turns)


def _leg_checks(
    ground: Ground, machine: OnRoad, measured: dict[str, Floats], tables: Tables
) -> dict[str, Verdict]:
    legs = ground.legs
    return {
        "width": width_check(
            legs,
            ground.kinds,
            ground.one_way,
            machine=machine,
            measured_m=np.fmin(measured["width"], measured["opening"]),
            sign_m=measured["width_limit"],
            tables=tables,
        ),
        "height": height_check(
            legs,
            under_bridge=ground.under_bridge,
            under_line=ground.under_line,
            machine=machine,
            measured_m=measured["height"],
            sign_m=measured["height_limit"],
            tables=tables,
        ),
        "mass": mass_check(legs, machine=machine, measured_kg=measured["mass"], tables=tables),
        "axles": axle_check(
            legs,
            machine=machine,
            measured_kg=measured["axle"],
            settled=mass_is_kept(legs, machine=machine, measured_kg=measured["mass"]),
            tables=tables,
        ),
        "surface": surface_check(legs, answered_here=measured["surface"], tables=tables),
        **_signs(legs, machine, measured),
        "access": access_check(legs, machine=machine, leave=measured["access"]),
    }


def _signs(places: Places, machine: OnRoad, measured: dict[str, Floats]) -> dict[str, Verdict]:
    """What is the same at legs and nodes."""
    return {
        "width_limit": width_limit_check(
            places, machine=machine, measured_m=measured["width_limit"]
        ),
        "height_limit": height_limit_check(
            places, machine=machine, measured_m=measured["height_limit"]
        ),
        "length": length_check(places, machine=machine, measured_m=measured["length_limit"]),
        "water": water_check(places, passable=measured["ford"]),
    }


def _node_checks(
    nodes: Places, machine: OnRoad, measured: dict[str, Floats], tables: Tables
) -> dict[str, Verdict]:
    found = {
        "opening": opening_check(
            nodes,
            machine=machine,
            measured_m=measured["opening"],
            sign_m=measured["width_limit"],
            tables=tables,
        ),
        "height": node_height_check(
            nodes,
            machine=machine,
            measured_m=measured["height"],
            sign_m=measured["height_limit"],
            tables=tables,
        ),
        "mass": node_mass_check(nodes, machine=machine, measured_kg=measured["mass"]),
        "axles": posted_axle_check(
            nodes, machine=machine, measured_kg=measured["axle"], tables=tables
        ),
        **_signs(nodes, machine, measured),
        "access": node_access_check(nodes, machine=machine, leave=measured["access"]),
    }
    return {name: found[name] for name in NODE_CHECKS}


def _worst(verdicts: dict[str, Verdict], count: int) -> Codes:
    level = np.full(count, PASS, dtype=np.int8)
    for verdict in verdicts.values():
        np.maximum(level, verdict.level, out=level)
    return level


def unknown_mask(checked: Checked) -> NDArray[np.int64]:
    """Which checks are unknown at each directed leg, as bits in the order of :data:`LEG_CHECKS`."""
    bits = np.zeros(len(checked.leg_level), dtype=np.int64)
    for place, name in enumerate(LEG_CHECKS):
        if name in checked.legs:
            bits |= (checked.legs[name].level == UNKNOWN).astype(np.int64) << place
    return bits
