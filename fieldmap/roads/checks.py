"""All checks of a machine in one transport state over a whole network."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldmap.network import RoadData
from fieldmap.roads.access import access_check, water_check
from fieldmap.roads.facts import OnRoad, Places, places_of
from fieldmap.roads.height import height_check, length_check
from fieldmap.roads.mass import mass_check
from fieldmap.roads.measured import Measured
from fieldmap.roads.node_checks import (
    level_crossings,
    node_access_check,
    node_height_check,
    node_mass_check,
    node_water_check,
    opening_check,
)
from fieldmap.roads.verdict import PASS, UNKNOWN, Codes, Floats, Mask, Verdict
from fieldmap.roads.width import width_check
from fieldmap.tables import Tables

LEG_CHECKS = ("width", "height", "mass", "length", "access", "water")
NODE_CHECKS = ("opening", "height", "mass", "access", "water")


@dataclass(frozen=True, eq=False)
class Ground:
    """What the checks need to know of a network, worked out once for all machines.

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


@dataclass(frozen=True, eq=False)
class Checked:
    """The verdicts by name, and the worst level of each leg and each node."""

    legs: dict[str, Verdict]
    nodes: dict[str, Verdict]  # one entry a spot
    leg_level: Codes
    node_level: Codes  # one entry a node


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
        legs=places_of(edges["tags"].tolist()),
        kinds=edges["highway"].to_numpy(dtype=object),
        one_way=(edges["forward"] ^ edges["backward"]).to_numpy(),
        under_bridge=_starts(under, "bridge"),
        under_line=_starts(under, "power line"),
        spots=spots,
        spot=spot,
        nodes=nodes,
        crossing=level_crossings(nodes),
    )


def _starts(under: list[tuple[str, ...]], word: str) -> Mask:
    return np.array([any(one.startswith(word) for one in held) for held in under], dtype=bool)


def check_ground(ground: Ground, machine: OnRoad, measured: Measured, *, tables: Tables) -> Checked:
    """Hold a machine against every leg and node.

    Parameters
    ----------
    ground : Ground
    machine : OnRoad
    measured : Measured
        On the same network.
    tables : Tables
    """
    legs = _leg_checks(ground, machine, measured.legs, tables)
    nodes = _node_checks(ground, machine, measured.nodes, tables)
    node_level = np.full(len(ground.spot), PASS, dtype=np.int8)
    node_level[ground.spots] = _worst(nodes, len(ground.spots))
    return Checked(legs, nodes, _worst(legs, len(ground.kinds)), node_level)


def _leg_checks(
    ground: Ground, machine: OnRoad, measured: dict[str, Floats], tables: Tables
) -> dict[str, Verdict]:
    width_m = np.fmin(measured["width"], measured["opening"])
    return {
        "width": width_check(
            ground.legs,
            ground.kinds,
            ground.one_way,
            machine=machine,
            measured_m=width_m,
            tables=tables,
        ),
        "height": height_check(
            ground.legs,
            under_bridge=ground.under_bridge,
            under_line=ground.under_line,
            machine=machine,
            measured_m=measured["height"],
            tables=tables,
        ),
        "mass": mass_check(
            ground.legs, machine=machine, measured_kg=measured["mass"], tables=tables
        ),
        "length": length_check(ground.legs, machine=machine),
        "access": access_check(ground.legs),
        "water": water_check(ground.legs),
    }


def _node_checks(
    ground: Ground, machine: OnRoad, measured: dict[str, Floats], tables: Tables
) -> dict[str, Verdict]:
    here = {kind: figures[ground.spots] for kind, figures in measured.items()}
    return {
        "opening": opening_check(
            ground.nodes, machine=machine, measured_m=here["opening"], tables=tables
        ),
        "height": node_height_check(
            ground.nodes, machine=machine, measured_m=here["height"], tables=tables
        ),
        "mass": node_mass_check(ground.nodes, machine=machine, measured_kg=here["mass"]),
        "access": node_access_check(ground.nodes),
        "water": node_water_check(ground.nodes),
    }


def _worst(verdicts: dict[str, Verdict], count: int) -> Codes:
    level = np.full(count, PASS, dtype=np.int8)
    for verdict in verdicts.values():
        np.maximum(level, verdict.level, out=level)
    return level


def unknown_mask(checked: Checked) -> NDArray[np.int64]:
    """Which checks are unknown at each leg, as bits in the order of :data:`LEG_CHECKS`."""
    bits = np.zeros(len(checked.leg_level), dtype=np.int64)
    for place, name in enumerate(LEG_CHECKS):
        bits |= (checked.legs[name].level == UNKNOWN).astype(np.int64) << place
    return bits
