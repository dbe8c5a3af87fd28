"""The farm's own gates at the ends of a move: is the opening wide enough."""

from __future__ import annotations

import math
from typing import NamedTuple

from fieldmap.finding import Finding, Level
from fieldmap.roads.answer import Move
from fieldmap.tables import Tables

_CAUTION = (
    "CAUTION: take it slowly, with somebody watching both sides. A tight turn in asks for more "
    "room than a straight one."
)


class Gate(NamedTuple):
    """A gate of the farm: its name, its opening in metres (NaN when not known), its place."""

    gate_id: str
    width_m: float
    lon: float
    lat: float


def through_gate(move: Move, gate: Gate, *, machine_width_m: float | None, tables: Tables) -> Move:
    """The move with what its end's gate says: a finding, and a place to measure when unknown.

    The opening must hold the transport width and what a straight approach asks for more
    (``clearances.gate_width_m``, FAO farm structures).

    Parameters
    ----------
    move : Move
    gate : Gate
    machine_width_m : float or None
        In the transport state of the move.
    tables : Tables
    """
    more = tables["clearances.gate_width_m"]
    need = math.nan if machine_width_m is None else machine_width_m + more.number()
    level: Level = "unknown"
    why = "The opening is not known."
    if math.isnan(need):
        why = "The transport width of the machine is not known."
    elif gate.width_m >= need:
        level, why = (
            "ok",
            "The opening holds the machine and the room a straight approach asks for.",
        )
    elif gate.width_m < need:
        level, why = "stop", "The opening is too narrow for the machine and the room it asks for."
    finding = Finding(
        level=level,
        what="farm gate",
        where=gate.gate_id,
        why=why,
        basis="measured",
        sources=("farm", more.source),
        value=_known(gate.width_m),
        limit=_known(need),
        unit="m",
        caution=_CAUTION,
        lon=gate.lon,
        lat=gate.lat,
    )
    if level != "unknown" or math.isnan(need):
        return move.with_more([finding])
    measure = {
        "place": f"gate/{gate.gate_id}",
        "where": gate.gate_id,
        "kind": "",
        "measure": "clear opening, into the file of gates as width_m",
        "must_beat": need,
        "unit": "m",
        "why": why,
        "lon": gate.lon,
        "lat": gate.lat,
    }
    return move.with_more([finding], survey=[measure])


def _known(figure: float) -> float | None:
    return None if math.isnan(figure) else figure
