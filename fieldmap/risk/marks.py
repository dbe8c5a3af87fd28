"""What the hazard log and the walks say about a field, as findings."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np

from fieldmap.finding import Finding, Level, worst
from fieldmap.hazards.chance import hardest_kind, looked_for_kinds, sweep_width_m
from fieldmap.hazards.looked import FieldLooking
from fieldmap.risk.causes import KEEP_OUT
from fieldmap.risk.layers import Layers
from fieldmap.risk.matrix import ORDER, Rated, rated
from fieldmap.risk.told import GROUND_CAUTION, Told
from fieldmap.tables import Constant, Tables

_NAMED = 3


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
    kinds = [(row, number, _rated(row, number, tables)) for row, number in rows]
    kinds.sort(key=lambda kind: _danger(kind[0], kind[2]))
    matrix = tables["risk_matrix.a_1"].source
    return [_kind(field_id, *kind, sources=(log_name, matrix)) for kind in kinds]


def _rated(row: Constant, number: int, tables: Tables) -> Rated:
    """By the matrix, as if the mower met them all: where a mark lies it is met once in a cut."""
    return rated(row.key.split(".", 1)[1], number, tables=tables)


def _danger(row: Constant, rating: Rated) -> tuple[bool, int, int, bool, bool, str]:
    """What can hurt people and must not be handled comes first, then the matrix says."""
    words = row.words
    people = "people" in words["endangers"].split(";")
    hands_off = words["touch"] == "no"
    keep_out = words["action"] == KEEP_OUT
    grave = -ORDER.index(rating.rating), rating.severity
    return (not (people and hands_off), *grave, not keep_out, not people, row.key)


def _kind(
    field_id: str, row: Constant, number: int, rating: Rated, *, sources: tuple[str, str]
) -> Told:
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
            why=f"{number} marked in the log; endangers {words['endangers'].replace(';', ', ')}; "
            f"{rating.words}.",
            sources=_cited(row, sources),
            value=float(number),
            unit="count",
            caution=f"{_signal(words['endangers'])}: {words['caution']}{hands_off}",
        ),
        f"{words['action'].capitalize()}: {number} x {label} ({words['call']})"
        if level != "care"
        else "",
    )


def _cited(row: Constant, sources: tuple[str, str]) -> tuple[str, ...]:
    log_name, matrix = sources
    return tuple(
        dict.fromkeys((log_name, row.source, *row.words["caution_source"].split(";"), matrix))
    )


def _signal(endangers: str) -> str:
    harmed = set(endangers.split(";"))
    if "people" in harmed:
        return "WARNING"
    return "CAUTION" if harmed & {"rotor", "forage"} else "NOTICE"


def looked_findings(
    field_id: str, layers: Layers, seen: FieldLooking, *, tables: Tables
) -> list[Told]:
    """How much was looked at well enough, how much since the water, and what may be missed.

    Parameters
    ----------
    field_id : str
    layers : Layers
    seen : FieldLooking
        The walks that the layers were made with.
    tables : Tables
        ``looking.*`` and the hazard kinds.
    """
    inside = layers.inside
    told = [_share(field_id, "ground looked at", float(layers.enough[inside].mean()), seen, tables)]
    water = layers.water[inside]
    if water.any():
        least = min(
            float(layers.enough[inside][water == number].mean())
            for number in np.unique(water[water > 0])
        )
        told.append(_share(field_id, "flooded ground looked at since", least, seen, tables))
    if seen.walked:
        level = worst(one.finding.level for one in told)
        told.append(_missed(field_id, level, seen, tables))
    return told


def _share(field_id: str, what: str, share: float, seen: FieldLooking, tables: Tables) -> Told:
    enough = tables["looking.enough_share"]
    kind = hardest_kind(seen.sward_m, tables)
    level: Level = "ok" if share >= enough.number() else "unknown"
    return Told(
        Finding(
            level=level,
            what=what,
            where=field_id,
            why="Counted in the same way, but only walks after the last water on each place."
            if "flooded" in what
            else _how_counted(kind, seen, tables),
            basis="measured",
            sources=(
                "tracks",
                *tables.source_of(enough.key, "looking.enough_chance", f"hazard_kinds.{kind}"),
            ),
            value=100 * share,
            limit=100 * enough.number(),
            unit="%",
            caution=GROUND_CAUTION,
        ),
        "" if level == "ok" else _to_look(share, seen),
    )


def _how_counted(kind: str, seen: FieldLooking, tables: Tables) -> str:
    days = round(tables.number("looking.valid_days"))
    chance = 100 * tables.number("looking.enough_chance")
    label = tables[f"hazard_kinds.{kind}"].words["label"]
    words = (
        f"Counted: ground where the walks of the last {days} days had a chance of {chance:.0f}% or "
        f"more of showing a thing as hard to see as {label}, the hardest of what is looked for."
    )
    if not seen.walked:
        return f"{words} No walk came near."
    mean = seen.mean_chance(sweep_width_m(kind, seen.sward_m, tables))
    return f"{words} Mean chance over the field {mean:.2f}, {_sward_words(seen)}."


def _sward_words(seen: FieldLooking) -> str:
    if math.isnan(seen.sward_m):
        return "in sward of unknown height, reckoned as tall"
    return f"in sward {seen.sward_m:.2f} m high, as given"


def _to_look(share: float, seen: FieldLooking) -> str:
    words = (
        f"Walk the ground that nobody has looked at well enough, and keep the track: "
        f"{100 * share:.0f}% of what counts here is looked at"
    )
    if seen.walked and math.isnan(seen.sward_m):
        words += "; or give sward_m, the sward's height on the day: unknown is reckoned as tall"
    return words


def _missed(field_id: str, level: Level, seen: FieldLooking, tables: Tables) -> Told:
    """The chance of what nobody is expected to see from a walk, the lowest first."""
    widths = {
        kind: sweep_width_m(kind, seen.sward_m, tables)
        for kind in looked_for_kinds(tables, looked_for=False)
        if tables[f"hazard_kinds.{kind}"].words["level"] == "stop"
    }
    hardest = sorted(widths, key=lambda kind: widths[kind])[:_NAMED]
    chances = {width: seen.mean_chance(width) for width in {widths[kind] for kind in hardest}}
    named = [(chances[widths[kind]], tables[f"hazard_kinds.{kind}"]) for kind in hardest]
    named.sort(key=lambda pair: pair[0])
    words = ", ".join(f"{row.words['label']} {chance:.2f}" for chance, row in named)
    return Told(
        Finding(
            level=level,
            what="what the walks may have missed",
            where=field_id,
            why=f"Not counted on, for few see them: mean chance over the field {words}.",
            basis="assumed",
            sources=("tracks", *tables.source_of(*(row.key for _, row in named))),
            value=100 * named[0][0] if named else None,
            unit="%",
            caution=GROUND_CAUTION,
        )
    )


def flood_share(layers: Layers) -> float:
    """Share of the field that stood under water."""
    return float(np.mean(layers.flooded.values[layers.inside] > 0)) if layers.inside.any() else 0.0
