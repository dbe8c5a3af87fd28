"""What the hazard log and the walks say about a field, as findings."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from fieldmap.finding import Finding, Level
from fieldmap.risk.causes import KEEP_OUT
from fieldmap.risk.layers import Layers
from fieldmap.risk.told import GROUND_CAUTION, Told
from fieldmap.tables import Constant, Tables


def mark_findings(
    field_id: str, marks: gpd.GeoDataFrame, *, log_name: str, log_read: bool, tables: Tables
) -> list[Told]:
    """One finding for each kind of hazard that reaches the field, or one that there is none.

    Parameters
    ----------
    field_id : str
    marks : GeoDataFrame
        Hazards that reach the field, column ``kind``.
    log_name : str
        Name of the log's file.
    log_read : bool
        Whether there is a log at all.
    tables : Tables
    """
    if not log_read:
        return [
            Told(
                Finding(
                    level="unknown",
                    what="hazard log",
                    where=field_id,
                    basis="assumed",
                    why="There is no hazard log: nobody has written down what lies here.",
                    sources=(log_name,),
                    caution=GROUND_CAUTION,
                ),
                "Log what is found with 'fieldmap hazards import'",
            )
        ]
    if marks.empty:
        return [
            Told(
                Finding(
                    level="ok",
                    what="hazard log",
                    where=field_id,
                    basis="measured",
                    why="No mark reaches this field; that says nothing of ground nobody looked at.",
                    sources=(log_name,),
                    value=0.0,
                    unit="count",
                    caution=GROUND_CAUTION,
                )
            )
        ]
    counts = marks["kind"].value_counts()
    rows = [(tables[f"hazard_kinds.{kind}"], int(number)) for kind, number in counts.items()]
    rows.sort(key=lambda pair: _danger(pair[0]))
    return [_kind(field_id, row, number, log_name) for row, number in rows]


def _danger(row: Constant) -> tuple[bool, bool, bool, str]:
    """What can hurt people and must not be handled comes first, then what is to be kept out of."""
    words = row.words
    people = "people" in words["endangers"].split(";")
    hands_off = words["touch"] == "no"
    return (not (people and hands_off), words["action"] != KEEP_OUT, not people, row.key)


def _kind(field_id: str, row: Constant, number: int, log_name: str) -> Told:
    words = row.words
    level: Level = words["level"]  # type: ignore[assignment]
    label = words["label"]
    hands_off = ""
    if words["touch"] == "no":
        hands_off = f" Do not handle it yourself: {words['call']}."
    return Told(
        Finding(
            level=level,
            what=label,
            where=field_id,
            choice=words["action"],
            basis="measured",
            why=f"{number} marked in the log; endangers {words['endangers'].replace(';', ', ')}.",
            sources=(log_name, row.source, *words["caution_source"].split(";")),
            value=float(number),
            unit="count",
            caution=f"{_signal(words['endangers'])}: {words['caution']}{hands_off}",
        ),
        f"{words['action'].capitalize()}: {number} x {label} ({words['call']})"
        if level != "care"
        else "",
    )


def _signal(endangers: str) -> str:
    harmed = set(endangers.split(";"))
    if "people" in harmed:
        return "WARNING"
    return "CAUTION" if harmed & {"rotor", "forage"} else "NOTICE"


def looked_findings(field_id: str, layers: Layers, *, tables: Tables) -> list[Told]:
    """How much of the field somebody walked lately, and of its flooded part since the water."""
    inside = layers.inside
    looked = layers.looked.values[inside] > 0
    flooded = layers.flooded.values[inside] > 0
    told = [_share(field_id, "ground looked at", float(looked.mean()), tables)]
    if flooded.any():
        told.append(
            _share(
                field_id, "flooded ground looked at since", float(looked[flooded].mean()), tables
            )
        )
    return told


def _share(field_id: str, what: str, share: float, tables: Tables) -> Told:
    enough = tables["looking.enough_share"]
    days = round(tables.number("looking.valid_days"))
    level: Level = "ok" if share >= enough.number() else "unknown"
    words = f"Counted: strips along walks of the last {days} days" + (
        ", after the water." if "flooded" in what else "."
    )
    return Told(
        Finding(
            level=level,
            what=what,
            where=field_id,
            why=words,
            basis="measured",
            sources=("tracks", enough.source),
            value=100 * share,
            limit=100 * enough.number(),
            unit="%",
            caution=GROUND_CAUTION,
        ),
        ""
        if level == "ok"
        else f"Walk the ground that nobody has looked at, and keep the track: "
        f"{100 * share:.0f}% of what counts here is looked at",
    )


def flood_share(layers: Layers) -> float:
    """Share of the field that stood under water."""
    return float(np.mean(layers.flooded.values[layers.inside] > 0)) if layers.inside.any() else 0.0
