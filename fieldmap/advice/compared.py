"""What is said of the settings beside each other: the lead, and what would turn it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from fieldmap.advice.conditions import Conditions, crop_unknown, level_of
from fieldmap.advice.costs import FROM_THINGS
from fieldmap.advice.limits import in_drought
from fieldmap.advice.reckoning import Reckoned
from fieldmap.advice.verdict import NUMBERS, Verdict
from fieldmap.finding import Finding, Level, worst
from fieldmap.machine import Machine
from fieldmap.risk.strikes import Things
from fieldmap.risk.told import Told
from fieldmap.tables import Tables

COMPARED = "set-up compared"
COST_CAUTION = (
    "NOTICE: money puts the settings in an order, no more. No cut height clears a field of what "
    "lies in it, and none is set because it is cheap against the manual."
)
_FLIPS_TOLD = 3
#: Rows of ``knives`` that go into the comparison; of ``prices``, ``set_up`` and ``strikes`` all do.
_KNIVES = ("ash_floor", "yield_loss_first_cut", "yield_loss_season", "following_error")


def compared(
    field: Conditions,
    found: Verdict | None,
    got: Reckoned | None,
    things: Things,
    *,
    names: Sequence[str],
    tables: Tables,
) -> Told:
    """The finding that says which setting is advised, what it saves, and what would change it.

    Parameters
    ----------
    field : Conditions
    found : Verdict or None
        ``None`` when no setting can be advised.
    got : Reckoned or None
        ``None`` when what the machine can carry is not known.
    things : Things
        What may be met; the farm's own heights of its kinds are named as such.
    names : sequence of str
        What the settings are called.
    tables : Tables
    """
    level: Level = "unknown"
    change, choice, value, low, high = "", "", None, None, None
    if found is None or got is None:
        why = _why_none(field, got)
    else:
        level = _level(field, found)
        choice, why = names[found.best], ""
        if found.margin is not None and found.second is not None:
            low, value, high = (end if math.isfinite(end) else None for end in found.margin)
            why = f"Reckoned to cost {found.margin[1]:,.0f} less than {names[found.second]}"
            why += "; either may be the cheaper. " if found.margin[0] < 0 else ". "
        pick_up = _pick_up(found.best, got, tables)
        change = "Pick up what lies in the field before the cut" if pick_up else ""
        why += " ".join(
            filter(None, (_outside(found), pick_up, _stand(found.best, got), *_told(found.flips)))
        )
    return Told(
        Finding(
            level=level,
            what=COMPARED,
            where=field.field_id,
            why=why,
            basis="assumed",
            sources=_sources(field, things, tables),
            value=value,
            low=low,
            high=high,
            unit="money",
            choice=choice,
            caution=COST_CAUTION,
        ),
        change,
        echo=level == "unknown",
    )


def unknown_words(
    field: Conditions, machine: Machine | None, *, compared_at_all: bool
) -> tuple[str, ...]:
    """What is not known, and what was taken instead."""
    said = []
    missing = crop_unknown(field)
    if missing is not None:
        said.append(missing[0])
    if machine is None or not machine.skid_shoes:
        said.append("The skid shoes that the machine can carry are not known.")
    if machine is None or not machine.knives:
        said.append("The knives that the machine can carry are not known.")
    if field.rough is None or not field.stoniness_said:
        said.append("Nobody said whether the ground is stony.")
    said += [f"Not reckoned: {words}." for words in field.unsure]
    if field.lodged is None:
        said.append("Nobody said whether the crop is lodged.")
    if in_drought(field) and field.drought is None:
        said.append("Nobody said whether there was a drought: cut as if there was.")
    if compared_at_all and machine is not None:
        said += _assumed(field, machine)
    return tuple(said)


def _assumed(field: Conditions, machine: Machine) -> list[str]:
    said = []
    if field.yield_t_ha is None:
        said.append("The yield of the cutting is not known: a wide range was taken.")
    if field.cutting is None:
        said.append("Which cutting it is nobody said: a range over all was taken.")
    fitted = {"shoes": machine.fitted_shoe, "knives": machine.fitted_knives}
    names = [name for name, held in fitted.items() if held is None]
    if names:
        said.append(
            f"Which {' and '.join(names)} are fitted is not known: changing them is counted in "
            "the high end alone."
        )
    return said


def _level(field: Conditions, found: Verdict) -> Level:
    """Without a word on a drought nobody knows the limits, so neither what lies inside them."""
    levels: list[Level] = [level_of(field), "ok" if found.inside else "care"]
    if in_drought(field) and field.drought is None:
        levels.append("unknown")
    return worst(levels)


def _told(said: Sequence[str]) -> tuple[str, ...]:
    """The first few sentences, and how many more there are."""
    more = len(said) - _FLIPS_TOLD
    return (*said[:_FLIPS_TOLD], f"({more} more.)" if more > 0 else "")


def _pick_up(best: int, got: Reckoned, tables: Tables) -> str:
    """Where no setting takes away much of what the things cost: pick them up first."""
    parts = {name: money[:, 1] for name, money in got.costs.by_part().items()}
    from_things = np.sum([parts[name] for name in FROM_THINGS], axis=0)
    in_all = sum(float(money[best]) for money in parts.values())
    share = 1.0 - tables.number("set_up.setting_helps") / 100.0
    if from_things[best] <= in_all / 2.0 or from_things.min() < share * from_things[best]:
        return ""
    most = max(FROM_THINGS, key=lambda name: parts[name][best])
    return (
        f"Most of what the cut costs comes from things lying there, above all from "
        f"{NUMBERS[most]}, and no setting takes away {100 * (1 - share):.0f}% of it: pick them up "
        "first."
    )


def _outside(found: Verdict) -> str:
    return (
        "" if found.inside else "None of the settings lies within the limits; this comes nearest."
    )


def _stand(best: int, got: Reckoned) -> str:
    if got.stand_left is None or math.isnan(got.stand_left[best, 1]):
        return ""
    low, _, high = got.stand_left[best]
    return (
        f"Cut at this height every time, {low:.0f} to {high:.0f}% of the stand is left after the "
        "fifth cut."
    )


def _why_none(field: Conditions, got: Reckoned | None) -> str:
    missing = crop_unknown(field)
    if got is None:
        return "What the machine can carry is not known, so there is nothing to compare."
    words = missing[0] if missing else "No setting can be advised."
    return f"{words} Without the crop's range of heights none is advised."


def _sources(field: Conditions, things: Things, tables: Tables) -> tuple[str, ...]:
    """All that goes into the comparison; a figure of the farm's own shows as the farm's."""
    rows = [row for name in ("prices", "set_up", "strikes") for row in tables.rows(name)]
    rows += [tables[f"knives.{name}"] for name in _KNIVES]
    rows += [tables[f"hazard_kinds.{kind}"] for kind in dict.fromkeys(things.kind)]
    if field.crop is not None:
        rows.append(field.crop)
    sources = dict.fromkeys(row.source for row in rows)
    if field.yield_t_ha is not None:
        sources["farm"] = None
    return tuple(sources)
