"""Cut height and the skid shoe that gives it."""

from __future__ import annotations

import math

from fieldmap.advice.conditions import (
    SET_UP_CAUTION,
    Conditions,
    crop_unknown,
    level_of,
    rough_change,
)
from fieldmap.finding import Finding, Level
from fieldmap.machine import Machine, SkidShoe
from fieldmap.risk.told import Told
from fieldmap.tables import Constant, Tables

NITRATE_CAUTION = (
    "WARNING: have the forage tested for nitrate by a certified lab before feeding, above all "
    "after drought; a taller cut is no proof. Limits differ by state: the veterinarian and the "
    "extension office decide."
)
FLOOD_CAUTION = (
    "WARNING: do not bale or feed a stand that stood under water until it was clipped, left to rot "
    "and has grown again. The extension office and the veterinarian decide."
)


def cut_findings(field: Conditions, machine: Machine | None, *, tables: Tables) -> list[Told]:
    """Cut height for the crop, the shoe to fit, and the tests that come first.

    Parameters
    ----------
    field : Conditions
    machine : Machine or None
        Its skid shoes; without them the shoe is unknown.
    tables : Tables
        ``cut_heights``, ``knives.start_stubble``, ``flooded``.
    """
    missing = crop_unknown(field)
    if missing is not None or field.crop is None:
        words, change = missing or ("", "")
        start = tables["knives.start_stubble"]
        return [
            Told(
                Finding(
                    level="unknown",
                    what="cut height and skid shoe",
                    where=field.field_id,
                    why=f"{words} The figure is only where most people start.",
                    basis="assumed",
                    sources=(start.source,),
                    value=start.value,
                    low=start.low,
                    high=start.high,
                    unit=start.unit,
                ),
                change,
            )
        ]
    told = [_height(field, field.crop, machine)]
    if field.crop.words["nitrate"] == "yes":
        told.append(_nitrate(field, field.crop))
    if field.soil:
        told.append(_flooded(field, tables))
    return told


def pick_shoe(
    shoes: tuple[SkidShoe, ...], crop: Constant, *, tall: bool
) -> tuple[SkidShoe, bool] | None:
    """The shoe to fit and whether its cut height lies in the crop's range.

    On ground that argues for it the tallest in the range, else the one nearest the crop's own
    height. When none lies in the range: the lowest above it, else the tallest there is.

    Returns
    -------
    (SkidShoe, bool) or None
        ``None`` when no shoe is known.
    """
    if not shoes:
        return None
    aim = crop.number()
    low = aim if crop.low is None else crop.low
    high = math.inf if crop.high is None else crop.high
    if crop.overridden:
        low, high = aim, math.inf
    slack = 1e-6
    fits = [shoe for shoe in shoes if low - slack <= shoe.cut_height_m <= high + slack]
    if fits and tall:
        return max(fits, key=lambda shoe: shoe.cut_height_m), True
    if fits:
        return min(fits, key=lambda shoe: abs(shoe.cut_height_m - aim)), True
    above = [shoe for shoe in shoes if shoe.cut_height_m > high]
    if above:
        return min(above, key=lambda shoe: shoe.cut_height_m), False
    return max(shoes, key=lambda shoe: shoe.cut_height_m), False


def _height(field: Conditions, crop: Constant, machine: Machine | None) -> Told:
    tall = field.rough is not False or field.soil
    level = level_of(field)
    reasons = [f"Range for {crop.words['label']}."]
    change = ""
    if field.rough is None:
        change = rough_change(field)
    if tall:
        reasons.append(f"Tall end: {_tall_words(field)}.")
    picked = pick_shoe(() if machine is None else machine.skid_shoes, crop, tall=tall)
    if picked is None:
        level = "unknown"
        name = "the machine" if machine is None else machine.name
        reasons.append(f"The skid shoes that {name} can carry are not known.")
        change = change or "List the skid shoes and the cut height of each in machines.toml"
        value, choice = crop.number(), ""
    else:
        shoe, fits = picked
        value, choice = shoe.cut_height_m, f"skid shoe: {shoe.name}"
        if not fits:
            level = _worse(level)
            words, mend = _off_range(shoe, crop)
            reasons.append(words)
            change = change or mend
    return Told(
        Finding(
            level=level,
            what="cut height and skid shoe",
            where=field.field_id,
            why=" ".join(reasons),
            basis="assumed",
            sources=(crop.source, "practice") if tall else (crop.source,),
            value=value,
            low=crop.low,
            high=crop.high,
            limit=crop.low,
            unit=crop.unit,
            choice=choice,
            caution=SET_UP_CAUTION,
        ),
        change,
    )


def _tall_words(field: Conditions) -> str:
    return field.rough_words if field.rough is not False else "silt or flood left soil on the crop"


def _off_range(shoe: SkidShoe, crop: Constant) -> tuple[str, str]:
    """What is said of a shoe outside the crop's range, and what would change it."""
    least = crop.number() if crop.low is None else crop.low
    if shoe.cut_height_m < least:
        return (
            "Even the tallest shoe listed cuts LOWER than this crop is to be cut.",
            "Fit taller skid shoes, or raise the cut as the machine's manual shows",
        )
    return "No shoe listed gives a height in the range; this is the lowest above it.", ""


def _worse(level: Level) -> Level:
    return "care" if level == "ok" else level


def _nitrate(field: Conditions, crop: Constant) -> Told:
    return Told(
        Finding(
            level="care",
            what="nitrate test",
            where=field.field_id,
            basis="assumed",
            why=f"{crop.words['label'].capitalize()} can hold nitrate, most of it low in the stem.",
            sources=(crop.source,),
            choice="test before feeding",
            caution=NITRATE_CAUTION,
        )
    )


def _flooded(field: Conditions, tables: Tables) -> Told:
    clip, grown = tables["flooded.clip_m"], tables["flooded.regrowth_m"]
    return Told(
        Finding(
            level="care",
            what="regrowth after the water",
            where=field.field_id,
            basis="assumed",
            why="A flooded stand is clipped and left to rot; wait for this much regrowth.",
            sources=tuple(dict.fromkeys((clip.source, grown.source))),
            value=grown.value,
            low=grown.low,
            high=grown.high,
            unit=grown.unit,
            caution=FLOOD_CAUTION,
        )
    )
