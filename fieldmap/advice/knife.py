"""Which knife, and how far the cutterbar is tilted."""

from __future__ import annotations

from typing import NamedTuple

from fieldmap.advice.conditions import SET_UP_CAUTION, Conditions, rough_change
from fieldmap.finding import Finding, Level
from fieldmap.machine import Knife, Machine
from fieldmap.risk.told import Told
from fieldmap.tables import Tables


class _Choice(NamedTuple):
    knife: Knife
    level: Level
    why: str
    change: str = ""


def knife_findings(field: Conditions, machine: Machine | None, *, tables: Tables) -> list[Told]:
    """The knife for this ground and crop, and the tilt that goes with it.

    Stones, silt and a worry about ash argue for low-lift knives; a lodged crop on clean ground
    for high-lift ones. What nobody said is unknown, and low-lift is then the careful choice.

    Parameters
    ----------
    field : Conditions
    machine : Machine or None
        The knives it can carry.
    tables : Tables
        ``knives``.
    """
    return [_knife(field, machine, tables), _tilt(field, tables)]


def _choice(field: Conditions) -> _Choice:
    if field.rough or field.soil:
        what = field.rough_words if field.rough else "silt or flood left soil on the crop"
        lodged = " The lodged crop will be picked up less cleanly." if field.lodged else ""
        return _Choice("low_lift", "care", f"{what[0].upper()}{what[1:]}.{lodged}")
    if field.rough is None:
        return _Choice(
            "low_lift",
            "unknown",
            f"{field.rough_words[0].upper()}{field.rough_words[1:]}.",
            rough_change(field),
        )
    if field.lodged is None:
        return _Choice(
            "low_lift",
            "unknown",
            "Clean ground, but nobody said whether the crop is lodged.",
            "Say whether the crop is lodged in the boundary table",
        )
    if field.lodged:
        return _Choice("high_lift", "ok", "The crop is lodged and the ground is clean.")
    return _Choice(
        "low_lift",
        "ok",
        "The crop stands and the ground is clean; high-lift knives may stay on, "
        "they bring a little more soil.",
    )


def _knife(field: Conditions, machine: Machine | None, tables: Tables) -> Told:
    choice = _choice(field)
    row = tables[f"knives.{choice.knife}"]
    level, why, change = choice.level, choice.why, choice.change
    carried = () if machine is None else machine.knives
    if not carried:
        level = "unknown"
        why += " The knives that the machine can carry are not known."
        change = change or "List the knives the machine can carry in machines.toml"
    elif choice.knife not in carried:
        level = "care" if level == "ok" else level
        why += " The machine's list does not have it: ask the maker before fitting anything else."
    return Told(
        Finding(
            level=level,
            what="knife",
            where=field.field_id,
            why=why,
            basis="assumed",
            sources=(row.source, "practice"),
            choice=row.words["label"],
            caution=SET_UP_CAUTION,
        ),
        change,
    )


def _tilt_choice(field: Conditions) -> tuple[str, Level, str]:
    """Row of the table, level and reason."""
    if field.rough:
        return "rough", "care", "Rough or stony ground: the flattest setting."
    if field.rough is None:
        why = f"{field.rough_words[0].upper()}{field.rough_words[1:]}: the flattest setting."
        return "rough", "unknown", why
    if field.soil:
        return "normal", "care", "Silt or flood left soil on the crop: no steeper, lodged or not."
    if field.lodged is None:
        return "normal", "unknown", "Clean ground, but nobody said whether the crop is lodged."
    if field.lodged:
        return "lodged", "ok", "Lodged crop on clean ground."
    return "normal", "ok", "Normal ground and a standing crop; keep the bar near level."


def _tilt(field: Conditions, tables: Tables) -> Told:
    key, level, why = _tilt_choice(field)
    row = tables[f"knives.cutterbar_tilt_{key}_deg"]
    return Told(
        Finding(
            level=level,
            what="cutterbar tilt",
            where=field.field_id,
            why=why,
            basis="assumed",
            sources=(row.source,),
            value=row.value,
            low=row.low,
            high=row.high,
            unit=row.unit,
            caution="NOTICE: which way the lever turns the bar differs by design; see the manual.",
        )
    )
