"""Which knife, how far the cutterbar is tilted, and how hard its ends are lifted."""

from __future__ import annotations

from typing import NamedTuple

from fieldmap.advice.conditions import (
    SET_UP_CAUTION,
    Conditions,
    follows,
    ground_words,
    level_of,
    rough_change,
)
from fieldmap.advice.limits import Advised
from fieldmap.finding import Finding, Level, worst
from fieldmap.machine import Knife, Machine
from fieldmap.risk.told import Told
from fieldmap.tables import Tables

_SAY_LODGED = "Say whether the crop is lodged in the boundary table"
_NOT_SAID = "Nobody said whether the crop is lodged."
_NOT_LISTED = " The machine's list does not have it: ask the maker before fitting anything else."
_ONLY_HIGH_LIFT = (
    "The crop stands and the ground is clean: the high-lift knives, the only ones listed, may stay "
    "on; they bring a little more soil."
)


class _Choice(NamedTuple):
    knife: Knife
    why: str


def knife_findings(
    field: Conditions, machine: Machine | None, *, tables: Tables, advised: Advised | None = None
) -> list[Told]:
    """The knife for this ground and crop, and the tilt and the float that go with it.

    Stones, silt and a worry about ash argue for low-lift knives; a lodged crop on clean ground
    for high-lift ones, and there what it costs decides. What nobody said is unknown, and low-lift
    is then the careful choice.

    Parameters
    ----------
    field : Conditions
    machine : Machine or None
        The knives it can carry, and those that are fitted.
    tables : Tables
        ``knives``.
    advised : Advised or None
        The setting that was reckoned to be the best, where one could be.
    """
    return [_knife(field, machine, tables, advised), _tilt(field, tables), _float(field, tables)]


def _choice(field: Conditions, machine: Machine | None, advised: Advised | None) -> _Choice:
    if field.rough is not False or field.soil:
        lodged = " The lodged crop will be picked up less cleanly." if field.lodged else ""
        return _Choice("low_lift", f"{ground_words(field)}.{lodged}")
    wanted: Knife = "high_lift" if field.lodged else "low_lift"
    if advised is None or advised.knife == wanted:
        return _Choice(wanted, _clean_words(field))
    if machine is not None and wanted not in machine.knives:
        if field.lodged is False:
            return _Choice(advised.knife, _ONLY_HIGH_LIFT)
        return _Choice(wanted, _clean_words(field))
    fitted = machine is not None and machine.fitted_knives == advised.knife
    if not fitted:
        reason = "with all counted they cost less here"
    elif field.lodged:
        reason = "to change them costs more than the crop they leave lying"
    else:
        reason = "to change them costs more than the soil they bring"
    verb = "that are fitted may stay" if fitted else "are the cheaper ones"
    crop = {True: "The crop is lodged", False: "The crop stands", None: _NOT_SAID[:-1]}
    name = "high-lift" if advised.knife == "high_lift" else "low-lift"
    return _Choice(
        advised.knife,
        f"{crop[field.lodged]} and the ground is clean: the {name} knives {verb}, since {reason}.",
    )


def _clean_words(field: Conditions) -> str:
    if field.lodged is None:
        return "Clean ground, but nobody said whether the crop is lodged."
    if field.lodged:
        return "The crop is lodged and the ground is clean."
    return (
        "The crop stands and the ground is clean; high-lift knives may stay on, they bring a "
        "little more soil."
    )


def _knife(
    field: Conditions, machine: Machine | None, tables: Tables, advised: Advised | None
) -> Told:
    choice = _choice(field, machine, advised)
    row = tables[f"knives.{choice.knife}"]
    levels: list[Level] = [level_of(field)]
    why, change = choice.why, rough_change(field)
    if field.lodged is None:
        levels.append("unknown")
        change = change or _SAY_LODGED
        why += "" if "lodged" in why else f" {_NOT_SAID}"
    if follows(field):
        why += f" Not reckoned: {'; '.join(field.unsure)}."
    carried = () if machine is None else machine.knives
    if not carried:
        levels.append("unknown")
        why += " The knives that the machine can carry are not known."
        change = change or "List the knives the machine can carry in machines.toml"
    elif choice.knife not in carried:
        levels.append("care")
        why += _NOT_LISTED
    return Told(
        Finding(
            level=worst(levels),
            what="knife",
            where=field.field_id,
            why=why,
            basis="assumed",
            sources=(row.source, "practice"),
            choice=row.words["label"],
            caution=SET_UP_CAUTION,
        ),
        change,
        echo=follows(field) and field.lodged is not None and bool(carried),
    )


def _tilt_choice(field: Conditions) -> tuple[str, str]:
    """Row of the table and reason."""
    if field.rough:
        return "rough", "Rough or stony ground: the flattest setting."
    if field.rough is None:
        return "rough", f"{ground_words(field)}: the flattest setting."
    if field.soil:
        return "normal", "Silt or flood left soil on the crop: no steeper, lodged or not."
    if field.lodged is None:
        return "normal", "Clean ground, but nobody said whether the crop is lodged."
    if field.lodged:
        return "lodged", "Lodged crop on clean ground."
    return "normal", "Normal ground and a standing crop; keep the bar near level."


def _tilt(field: Conditions, tables: Tables) -> Told:
    key, why = _tilt_choice(field)
    row = tables[f"knives.cutterbar_tilt_{key}_deg"]
    levels: list[Level] = [level_of(field), "ok" if field.lodged is not None else "unknown"]
    return Told(
        Finding(
            level=worst(levels),
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
        ),
        echo=follows(field) and field.lodged is not None,
    )


def _float(field: Conditions, tables: Tables) -> Told:
    rough = field.rough is not False
    row = tables[f"knives.float_{'rough' if rough else 'normal'}_n"]
    clean = field.rough is False and not field.soil and not field.unsure
    why = "Clean ground." if clean else f"{ground_words(field)}."
    return Told(
        Finding(
            level=level_of(field),
            what="cutterbar float",
            where=field.field_id,
            why=f"{why} Force that lifts each end of the bar, by scale or by hand.",
            basis="assumed",
            sources=(row.source,),
            value=row.value,
            low=row.low,
            high=row.high,
            unit=row.unit,
            caution="NOTICE: the manual says how the float is set, and wins where it says more.",
        ),
        echo=follows(field),
    )
