"""Cut height and the skid shoe that gives it, and the tests that come before hay is made."""

from __future__ import annotations

import math

from fieldmap.advice.conditions import (
    SET_UP_CAUTION,
    Conditions,
    crop_unknown,
    follows,
    ground_words,
    level_of,
    rough_change,
)
from fieldmap.advice.limits import (
    Advised,
    Limits,
    height_limits,
    height_words,
    in_drought,
    pick_shoe,
)
from fieldmap.finding import Finding, worst
from fieldmap.machine import Machine, SkidShoe
from fieldmap.risk.told import Told
from fieldmap.tables import Constant, Tables

_SAY_DROUGHT = "Say in the boundary table whether the crop stood in a drought"
NITRATE_CAUTION = (
    "WARNING: have the forage tested for nitrate by a certified lab before feeding, above all "
    "after drought; a taller cut is no proof. Limits differ by state: the veterinarian and the "
    "extension office decide."
)
FLOOD_CAUTION = (
    "WARNING: do not bale or feed a stand that stood under water until it was clipped, left to rot "
    "and has grown again. The extension office and the veterinarian decide."
)


def cut_findings(
    field: Conditions, machine: Machine | None, *, tables: Tables, advised: Advised | None = None
) -> list[Told]:
    """Cut height for the crop, the shoe to fit, and the tests that come first.

    Parameters
    ----------
    field : Conditions
    machine : Machine or None
        Its skid shoes; without them the shoe is unknown.
    tables : Tables
        ``cut_heights``, ``knives.start_stubble``, ``flooded``.
    advised : Advised or None
        The setting that was reckoned to be the best; ``None`` where none could be, and the shoe
        then follows from the ground alone.
    """
    limits = height_limits(field, tables=tables)
    told = []
    if limits is None or field.crop is None:
        told.append(_no_crop(field, tables))
    else:
        told.append(_height(field, field.crop, limits, machine, advised))
        if field.crop.words["nitrate"] == "yes":
            told.append(_nitrate(field, field.crop, limits))
    if field.soil:
        told.append(_flooded(field, tables))
    return told


def _no_crop(field: Conditions, tables: Tables) -> Told:
    words, change = crop_unknown(field) or ("", "")
    start = tables["knives.start_stubble"]
    return Told(
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


def _height(
    field: Conditions,
    crop: Constant,
    limits: Limits,
    machine: Machine | None,
    advised: Advised | None,
) -> Told:
    level = level_of(field)
    reasons, change = _reasons(field, crop, limits, by_rule=advised is None), rough_change(field)
    if in_drought(field) and field.drought is None:
        level = "unknown"
        change = change or _SAY_DROUGHT
    rough = field.rough is not False or field.soil
    picked = _shoe(field, machine, limits, advised)
    value, choice = limits.aim_m, ""
    if picked is None:
        level = "unknown"
        name = "the machine" if machine is None else machine.name
        reasons.append(f"The skid shoes that {name} can carry are not known.")
        change = change or "List the skid shoes and the cut height of each in machines.toml"
    else:
        shoe, fits = picked
        value, choice = shoe.cut_height_m, f"skid shoe: {shoe.name}"
        if not fits:
            level = worst((level, "care"))
            words, mend = off_range(shoe, limits)
            reasons.append(words)
            change = change or mend
        elif advised is not None and advised.shoes_in_range > 1 and not limits.tallest:
            reasons.append("Of the shoes in the range it costs least, with all counted.")
    return Told(
        Finding(
            level=level,
            what="cut height and skid shoe",
            where=field.field_id,
            why=" ".join(reasons),
            basis="assumed",
            sources=(*limits.sources, "practice") if rough else limits.sources,
            value=value,
            low=limits.low_m,
            high=limits.high_m if math.isfinite(limits.high_m) else None,
            limit=limits.low_m,
            unit=crop.unit,
            choice=choice,
            caution=SET_UP_CAUTION,
        ),
        change,
        echo=follows(field) and picked is not None,
    )


def _shoe(
    field: Conditions, machine: Machine | None, limits: Limits, advised: Advised | None
) -> tuple[SkidShoe, bool] | None:
    if advised is not None:
        return advised.shoe, advised.in_range
    tall = field.rough is not False or field.soil
    return pick_shoe(() if machine is None else machine.skid_shoes, limits, tall=tall)


def _reasons(field: Conditions, crop: Constant, limits: Limits, *, by_rule: bool) -> list[str]:
    """What sets the height; ``by_rule`` when the ground alone says so and nothing was reckoned."""
    words = [f"Range for {crop.words['label']}."]
    if in_drought(field):
        said = "after a drought" if field.drought else "nobody said whether there was a drought"
        words.append(f"It can hold nitrate: {said}, cut taller.")
    if limits.tallest:
        words.append(f"The tallest shoe in the range: {limits.tallest}.")
    if field.rough is not False or field.soil or field.unsure:
        ground = ground_words(field)
        words.append(f"Tall end: {ground[:1].lower()}{ground[1:]}." if by_rule else f"{ground}.")
    return words


def off_range(shoe: SkidShoe, limits: Limits) -> tuple[str, str]:
    """What is said of a shoe outside the crop's range, and what would change it."""
    if shoe.cut_height_m < limits.low_m:
        least = height_words(limits.low_m)
        return (
            "Even the tallest shoe listed cuts LOWER than this crop is to be cut.",
            f"Fit taller skid shoes, of {least} or more, or raise the cut as the manual shows",
        )
    return "No shoe listed gives a height in the range; this is the lowest above it.", ""


def _nitrate(field: Conditions, crop: Constant, limits: Limits) -> Told:
    why = f"{crop.words['label'].capitalize()} can hold nitrate, most of it low in the stem."
    change = ""
    if field.drought is None:
        why += " Nobody said whether it stood in a drought, which raises it."
        change = _SAY_DROUGHT
    elif field.drought:
        why += " It stood in a drought, which raises it: test before anything is baled for feed."
    return Told(
        Finding(
            level="unknown" if field.drought is None else "care",
            what="nitrate test",
            where=field.field_id,
            basis="assumed",
            why=why,
            sources=limits.sources,
            choice="test before feeding",
            caution=NITRATE_CAUTION,
        ),
        change,
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
            choice="not for hay until it was clipped and has grown again",
            caution=FLOOD_CAUTION,
        )
    )
