"""Which conditioner suits the crop, and the roll gap to begin with."""

from __future__ import annotations

from fieldmap.advice.conditions import SET_UP_CAUTION, Conditions, crop_unknown
from fieldmap.advice.reckoning import measured_on, yield_of
from fieldmap.finding import Finding, Level, worst
from fieldmap.machine import Machine
from fieldmap.risk.strikes import span
from fieldmap.risk.told import Told
from fieldmap.tables import Constant, Tables

_WORDS = {
    "tine": "tine",
    "rubber_rolls": "rubber rolls",
    "steel_rolls": "steel rolls",
    "none": "none",
}
#: Families whose leaf holds most of the feed, and is lost to tines.
_LEAFY = ("legume", "mixture")
_ROLLS = "Rolls grab twine, wire and clothing: never clear them with power on."
_FIRST_CUTTING = (
    " A first cutting lays a thick mat: check that stems in its middle are cracked too."
)
_LATER_CUTTING = " Later cuttings lie thin and leafy: look for lost leaf, and set it lighter then."


def conditioner_findings(
    field: Conditions, machine: Machine | None, *, area_ha: float | None = None, tables: Tables
) -> list[Told]:
    """Conditioner against crop; for rolls the gap and its check; for tines the leaf they lose.

    Parameters
    ----------
    field : Conditions
    machine : Machine or None
        The conditioner it has.
    area_ha : float or None
        Without it nothing is said of what lost leaf costs.
    tables : Tables
        ``conditioning``, ``prices.hay_t``, ``set_up.yield_t_ha``.
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
    has = None if machine is None else machine.conditioner
    if has in ("rubber_rolls", "steel_rolls"):
        told += [_gap(field, tables), _gap_check(field, tables)]
    if has == "tine" and area_ha is not None and field.crop.words["family"] in _LEAFY:
        told.append(_leaf_lost(field, row, area_ha, tables))
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
    words = ""
    if field.rough:
        words = " Stones argue for rubber, and for a taller cut first of all."
    if not field.ground_known or field.unsure:
        return "unknown", words
    return ("care" if field.rough else "ok"), words


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


def _gap_check(field: Conditions, tables: Tables) -> Told:
    every, cracked = tables["conditioning.crack_every_m"], tables["conditioning.crack_share_pct"]
    foil = tables["conditioning.foil_check"]
    return Told(
        Finding(
            level="ok",
            what="roll gap check",
            where=field.field_id,
            basis="assumed",
            why=f"{foil.words['why']} Then mow a few metres, shut down, and look: "
            f"{cracked.number():.0f}% of stems or more are to be cracked at this spacing.",
            sources=tuple(dict.fromkeys((foil.source, every.source, cracked.source))),
            value=every.value,
            low=every.low,
            high=every.high,
            unit=every.unit,
            caution=f"{SET_UP_CAUTION} {_ROLLS}",
        )
    )


def _leaf_lost(field: Conditions, fit: Constant, area_ha: float, tables: Tables) -> Told:
    """What tines lose of a legume beside rolls, in money; only alfalfa was measured.

    No worse than the conditioner itself is told: where tines may be taken it is a figure to know.
    """
    row, price = tables["conditioning.flail_loss_pct"], tables["prices.hay_t"]
    known = measured_on(row.words["crop"], field)
    share = span(row) if known else span(row) * [0.0, 1.0, 1.0]
    money = share / 100.0 * yield_of(field, tables) * area_ha * span(price)
    said = "" if known else " Measured on alfalfa alone: elsewhere it may be nothing."
    sources = [row.source, price.source]
    if field.yield_t_ha is None:
        said += " The yield is not known: a wide range was taken."
        sources.append(tables["set_up.yield_t_ha"].source)
    else:
        sources.append("farm")
    return Told(
        Finding(
            level="care" if "tine" in fit.words["against"].split(";") else "ok",
            what="leaf lost by tines",
            where=field.field_id,
            basis="assumed",
            why=f"Tines lose {share[0]:g} to {share[2]:g}% more dry matter of a legume than rolls, "
            f"most of it leaf; this is what that hay is worth.{said}",
            sources=tuple(dict.fromkeys(sources)),
            value=float(money[1]),
            low=float(money[0]),
            high=float(money[2]),
            unit="money",
            caution=SET_UP_CAUTION,
        )
    )
