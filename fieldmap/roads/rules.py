"""The user's own road rules: what they looked up, and what it asks for at this width."""

from __future__ import annotations

import math
from collections.abc import Mapping

from fieldmap.finding import Finding
from fieldmap.roads.answer import Move

#: Key in ``[road_rules]`` -> what it asks for beyond the figure.
RULES = {
    "notice_over_width_m": "a notice beforehand",
    "escort_over_width_m": "an escort",
    "barred_over_width_m": "a permit, or another transport state",
}
_CAUTION = (
    "WARNING: these are your own notes of the rules, as old as the day you read them. The road "
    "authority, the police and your own law decide."
)


def under_rules(move: Move, rules: Mapping[str, str | float], *, width_m: float | None) -> Move:
    """The move with what the user's own rules ask for at its transport width.

    Nothing is invented: without a figure in ``[road_rules]`` nothing is said. A machine whose
    width is not known is unknown under every rule.

    Parameters
    ----------
    move : Move
    rules : mapping
        ``[road_rules]`` of farm.toml: ``source`` and any of :data:`RULES`.
    width_m : float or None
        In the transport state of the move.
    """
    wide = math.nan if width_m is None else width_m
    told = []
    for key, asks in RULES.items():
        limit = rules.get(key)
        if isinstance(limit, bool) or not isinstance(limit, float | int) or wide <= limit:
            continue
        barred = key == "barred_over_width_m"
        read = rules.get("source", "no source given")
        told.append(
            Finding(
                level="unknown" if math.isnan(wide) else ("stop" if barred else "care"),
                what="your own road rules",
                where="the machine",
                why=f"Over this width they ask for {asks} ({read}).",
                basis="assumed",
                sources=("farm",),
                value=None if math.isnan(wide) else wide,
                limit=float(limit),
                unit="m",
                choice=asks,
                caution=_CAUTION,
            )
        )
    return move.with_more(told)
