"""Which conditioner suits the crop, and the roll gap to begin with."""

from __future__ import annotations

from fieldmap.advice.conditions import SET_UP_CAUTION, Conditions, crop_unknown
from fieldmap.finding import Finding, Level, worst
from fieldmap.machine import Machine
from fieldmap.risk.told import Told
from fieldmap.tables import Constant, Tables

_WORDS = {
    "tine": "tine",
    "rubber_rolls": "rubber rolls",
    "steel_rolls": "steel rolls",
    "none": "none",
}
_ROLLS = "Rolls grab twine, wire and clothing: never clear them with power on."
_FIRST_CUTTING = (
    " A first cutting lays a thick mat: check that stems in its middle are cracked too."
)
_LATER_CUTTING = " Later cuttings lie thin and leafy: look for lost leaf, and set it lighter then."


def conditioner_findings(
    field: Conditions, machine: Machine | None, *, tables: Tables
) -> list[Told]:
    """Conditioner against crop, and for rolls the gap to start with and how to check it.

    Parameters
    ----------
    field : Conditions
    machine : Machine or None
        The conditioner it has.
    tables : Tables
        ``conditioning``.
    """
    missing = crop_unknown(field)
    if missing is not None or field.crop is None:
        words, change = missing or ("", "")
        return [
            Told(
                Finding(
                    level="unknown",
                    what="conditioner",
                    where=field.field_id,
                    why=words,
                    basis="assumed",
                    sources=("farm",),
                ),
                change,
            )
        ]
    row = tables[f"conditioning.{field.crop.words['family']}"]
    told = [_fit(field, row, machine)]
    if machine is not None and machine.conditioner in ("rubber_rolls", "steel_rolls"):
        told.append(_gap(field, tables))
    return told


def _fit(field: Conditions, row: Constant, machine: Machine | None) -> Told:
    has = None if machine is None else machine.conditioner
    first = _WORDS[row.words["choice"]]
    also = [name for name in row.words["also"].split(";") if name]
    why = row.words["why"]
    level: Level
    choice, change = first, ""
    if has is None:
        level = "unknown"
        why += " Which conditioner the machine has is not known."
        change = "Say the conditioner in machines.toml: tine, rubber_rolls, steel_rolls or none"
    elif has == row.words["choice"] or has in also:
        level = "ok"
        why += f" The machine has: {_WORDS[has]}."
    else:
        level = "care"
        choice = f"{first}; the machine has {_WORDS[has]}"
        why += _mismatch(has, poor=has in row.words["against"].split(";"))
    if has in ("rubber_rolls", "steel_rolls"):
        stones, words = _stones(field)
        level = worst((level, stones))
        why += words
    return Told(
        Finding(
            level=level,
            what="conditioner",
            where=field.field_id,
            why=why,
            basis="assumed",
            sources=(row.source, "practice") if field.rough else (row.source,),
            choice=choice,
            caution=f"{SET_UP_CAUTION} {_ROLLS}",
        ),
        change,
    )


def _stones(field: Conditions) -> tuple[Level, str]:
    """What stones mean for a machine with rolls."""
    if field.rough is None:
        return "unknown", " Stones argue for rubber rolls; whether any lie here nobody knows."
    if field.rough:
        return "care", " Stones argue for rubber, and for a taller cut first of all."
    return "ok", ""


def _mismatch(has: str, *, poor: bool) -> str:
    if has == "none":
        return " The machine has none: reckon with slower drying, and spread the swath wide."
    how = "a poor match here" if poor else "not the usual match here"
    return f" The machine has: {_WORDS[has]}, {how}; set it gently and look for lost leaf."


def _gap(field: Conditions, tables: Tables) -> Told:
    gap, cracked = tables["conditioning.roll_gap_m"], tables["conditioning.crack_share_pct"]
    mat = ""
    if field.cutting is not None:
        mat = _FIRST_CUTTING if field.cutting == 1 else _LATER_CUTTING
    return Told(
        Finding(
            level="ok",
            what="roll gap to start with",
            where=field.field_id,
            basis="assumed",
            why=f"Then set it by the crop: {cracked.number():.0f}% of stems or more cracked at "
            f"every hand's width.{mat}",
            sources=tuple(dict.fromkeys((gap.source, cracked.source))),
            value=gap.value,
            low=gap.low,
            high=gap.high,
            unit=gap.unit,
            caution=SET_UP_CAUTION,
        )
    )
