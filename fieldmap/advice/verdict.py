"""Which setting is advised, by how much it leads, and what would turn the advice."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from fieldmap.advice.conditions import Conditions
from fieldmap.advice.costs import FROM_THINGS, cheapest, lead
from fieldmap.advice.flips import MOST_TIMES, Flip, flips
from fieldmap.advice.limits import Limits, Settings, height_limits, height_words, settings
from fieldmap.advice.reckoning import Reckoned, with_crop_left
from fieldmap.tables import Tables

Range = tuple[float, float, float]

#: What is counted in each part of the cost that comes from things.
NUMBERS = {"strikes": "strikes", "wraps": "wraps", "forage": "things in the forage"}


class Verdict(NamedTuple):
    """The option advised, the next one, by how much it leads, and what would turn it.

    ``inside`` says whether the advised one lies within the limits. ``second`` and ``margin`` are
    ``None`` where only one setting may be advised.
    """

    best: int
    inside: bool
    second: int | None
    margin: Range | None
    turning: tuple[Flip, ...]
    flips: tuple[str, ...]


def verdict(
    field: Conditions,
    limits: Limits | None,
    held: Settings,
    got: Reckoned,
    *,
    names: Sequence[str],
    area_ha: float,
    endless: bool,
    tables: Tables,
) -> Verdict | None:
    """Which setting is advised; ``None`` when none can be.

    Parameters
    ----------
    field : Conditions
    limits : Limits or None
    held : Settings
    got : Reckoned
    names : sequence of str
        What the settings are called.
    area_ha : float
    endless : bool
        Some of what may be met could not be reckoned: no figure is then said to turn the advice.
    tables : Tables
    """
    value = got.costs.in_all()[:, 1]
    best = cheapest(value, held.cut_m, held.allowed)
    if best is None or limits is None:
        return None
    others = held.inside.copy()
    others[best] = False
    second = cheapest(value, held.cut_m, others) if held.inside[best] else None
    margin = None
    if second is not None:
        doubt = got.doubt[best, second]
        low, middle, high = lead(got.costs, best, second, doubt=doubt).tolist()
        margin = (-math.inf, middle, math.inf) if endless else (low, middle, high)
    turning: tuple[Flip, ...] = ()
    if second is not None and not endless:
        numbers = {NUMBERS[name]: float(getattr(got.met, name)[best, 1]) for name in FROM_THINGS}
        turning = flips(got.costs, best, held.inside, numbers=numbers, names=names)
    said = [flip.words for flip in turning]
    said += _of_the_crop(field, held, got, best, names=names, area_ha=area_ha, tables=tables)
    if not any(limits.holds(float(cut_m)) for cut_m in held.cut_m):
        said.append(f"A shoe {_wanted(limits)} would be inside the range.")
    if not said:
        said.append(_nothing_turns(field, held, endless))
    return Verdict(best, bool(held.inside[best]), second, margin, turning, tuple(said))


def _of_the_crop(
    field: Conditions,
    held: Settings,
    got: Reckoned,
    best: int,
    *,
    names: Sequence[str],
    area_ha: float,
    tables: Tables,
) -> list[str]:
    """What the crop's being lodged, or its drought, would change."""
    said = []
    if field.rough is False and not field.soil:
        other = field._replace(lodged=not field.lodged)
        costs = with_crop_left(got.costs, other, held.high_lift, area_ha=area_ha, tables=tables)
        then = cheapest(costs.in_all()[:, 1], held.cut_m, held.allowed)
        if then is not None and then != best:
            how = "lodged" if other.lodged else "not lodged"
            said.append(f"If the crop were {how}, the advice would be {names[then]}.")
    if field.crop is not None and field.crop.words["nitrate"] == "yes":
        other = field._replace(drought=field.drought is False)
        limits = height_limits(other, tables=tables)
        shoes, knives = tuple(dict.fromkeys(held.shoes)), tuple(dict.fromkeys(held.knives))
        there = settings(other, limits, shoes=shoes, knives=knives)
        then = cheapest(got.costs.in_all()[:, 1], held.cut_m, there.allowed)
        if then is not None and then != best:
            how = "After a drought," if other.drought else "Had it not stood in a drought,"
            said.append(f"{how} the advice would be {names[then]}.")
    return said


def _wanted(limits: Limits) -> str:
    least = height_words(limits.low_m)
    if math.isfinite(limits.high_m) and limits.high_m > limits.low_m:
        return f"of at least {least} and at most {height_words(limits.high_m)}"
    return f"of at least {least}"


def _nothing_turns(field: Conditions, held: Settings, endless: bool) -> str:
    if endless:
        return f"What would change it cannot be said: not reckoned: {'; '.join(field.unsure)}."
    if int(held.inside.sum()) <= 1:
        return "No other setting that the machine can carry lies within the limits."
    return f"No price and no number of things changes it, were it up to {MOST_TIMES:g} times off."
