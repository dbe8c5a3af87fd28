"""Which settings of the mower the crop and the ground allow."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldmap.advice.conditions import Conditions, ground_words
from fieldmap.machine import Knife, SkidShoe
from fieldmap.tables import Constant, Tables
from fieldmap.units import shown

_DROUGHT = "cut_heights.drought_sorghum"


class Limits(NamedTuple):
    """The crop's range of cut heights (m, ``high_m`` infinite where it is open).

    ``tallest`` says why the tallest shoe in the range is taken whatever it costs; empty when
    the cheapest may be. ``sources`` are the keys behind the range. ``slack_m`` is how closely a
    bar can be set at all.
    """

    low_m: float
    aim_m: float
    high_m: float
    tallest: str
    sources: tuple[str, ...]
    slack_m: float = 1e-6

    def holds(self, cut_m: float) -> bool:
        """Whether a height lies in the range."""
        return self.low_m - self.slack_m <= cut_m <= self.high_m + self.slack_m


class Settings(NamedTuple):
    """Every shoe with every knife; arrays of shape (options,), tallest shoe first.

    ``inside``: within the limits; ``why_not``: what speaks against it otherwise; ``allowed``: may
    be advised, which is what lies inside or, where nothing does, what comes nearest.
    """

    shoes: tuple[SkidShoe, ...]
    knives: tuple[Knife, ...]
    cut_m: NDArray[np.float64]
    high_lift: NDArray[np.bool_]
    inside: NDArray[np.bool_]
    allowed: NDArray[np.bool_]
    why_not: tuple[str, ...]


def height_limits(field: Conditions, *, tables: Tables) -> Limits | None:
    """The range of cut heights for a field's crop; ``None`` when the crop is not known.

    Parameters
    ----------
    field : Conditions
    tables : Tables
        ``cut_heights``, ``set_up.slack_m``.

    Notes
    -----
    A crop that gathers nitrate and stood in a drought is cut as the row for drought-stressed
    sorghum says; so it is where nobody said whether there was a drought. A height of the
    farm's own has no upper end.
    """
    crop = field.crop
    if crop is None:
        return None
    low, aim, high = _range(crop)
    sources = [crop.source]
    tallest = ""
    if in_drought(field):
        row = tables[_DROUGHT]
        dry_low, dry_aim, dry_high = _range(row)
        low, aim, high = max(low, dry_low), max(aim, dry_aim), max(high, dry_high)
        sources.append(row.source)
        tallest = "most of the nitrate sits low in the stem"
    if not field.ground_known or field.unsure:
        tallest = "not all is known of what lies here"
    slack_m = tables.number("set_up.slack_m")
    return Limits(low, aim, high, tallest, tuple(dict.fromkeys(sources)), slack_m)


def in_drought(field: Conditions) -> bool:
    """Whether the crop gathers nitrate and stood in a drought, for all that anybody said."""
    gathers = field.crop is not None and field.crop.words["nitrate"] == "yes"
    return gathers and field.drought is not False


def pick_shoe(
    shoes: tuple[SkidShoe, ...], limits: Limits, *, tall: bool
) -> tuple[SkidShoe, bool] | None:
    """The shoe to fit when there is nothing to reckon with, and whether it is in the range.

    On ground that argues for it the tallest in the range, else the one nearest the crop's own
    height. When none lies in the range: the lowest above it, else the tallest there is.

    Returns
    -------
    (SkidShoe, bool) or None
        ``None`` when no shoe is known.
    """
    if not shoes:
        return None
    fits = [shoe for shoe in shoes if limits.holds(shoe.cut_height_m)]
    if fits and (tall or limits.tallest):
        return max(fits, key=_height), True
    if fits:
        return min(fits, key=lambda shoe: abs(shoe.cut_height_m - limits.aim_m)), True
    above = [shoe for shoe in shoes if shoe.cut_height_m > limits.high_m]
    return (min(above, key=_height) if above else max(shoes, key=_height)), False


def settings(
    field: Conditions,
    limits: Limits | None,
    *,
    shoes: tuple[SkidShoe, ...],
    knives: tuple[Knife, ...],
) -> Settings:
    """All settings a machine can be given, and what the limits say of each.

    Parameters
    ----------
    field : Conditions
    limits : Limits or None
        ``None`` when the crop is not known: nothing is inside.
    shoes, knives
        What the machine can carry.
    """
    pairs = [(shoe, knife) for shoe in shoes for knife in dict.fromkeys(knives)]
    pairs.sort(key=lambda pair: (-pair[0].cut_height_m, pair[1] == "high_lift"))
    of_shoe = {shoe.name: _against_shoe(shoe, shoes, limits) for shoe in shoes}
    against_lift = _against_high_lift(field)
    words = [
        [of_shoe[shoe.name], against_lift if knife == "high_lift" else ""] for shoe, knife in pairs
    ]
    inside = np.array([not any(against) for against in words], bool)
    shoe_fits = np.array([not against for against, _ in words], bool)
    if not shoe_fits.any():
        shoe_fits = _least_bad(pairs, limits)
    low_lift = np.array([knife == "low_lift" for _, knife in pairs], bool)
    knife_fits = low_lift if against_lift and low_lift.any() else np.ones(len(pairs), bool)
    return Settings(
        shoes=tuple(shoe for shoe, _ in pairs),
        knives=tuple(knife for _, knife in pairs),
        cut_m=np.array([shoe.cut_height_m for shoe, _ in pairs], float),
        high_lift=np.array([knife == "high_lift" for _, knife in pairs], bool),
        inside=inside,
        allowed=inside if inside.any() else shoe_fits & knife_fits,
        why_not=tuple("; ".join(filter(None, against)) for against in words),
    )


def height_words(cut_m: float) -> str:
    """A cut height in both systems.

    Examples
    --------
    >>> height_words(0.0762)
    '7.6 cm (3.0 in)'
    """
    return f"{shown(cut_m, 'm cut', 'metric')} ({shown(cut_m, 'm cut', 'us')})"


def _height(shoe: SkidShoe) -> float:
    return shoe.cut_height_m


def _range(crop: Constant) -> tuple[float, float, float]:
    aim = crop.number()
    if crop.overridden:
        return aim, aim, math.inf
    return (
        aim if crop.low is None else crop.low,
        aim,
        math.inf if crop.high is None else crop.high,
    )


def _against_shoe(shoe: SkidShoe, shoes: tuple[SkidShoe, ...], limits: Limits | None) -> str:
    if limits is None:
        return "the range for the crop is not known"
    if not limits.holds(shoe.cut_height_m):
        if shoe.cut_height_m < limits.low_m:
            return f"lower than this crop is to be cut, {height_words(limits.low_m)}"
        return f"taller than the range for this crop, {height_words(limits.high_m)}"
    tallest = max(_height(one) for one in shoes if limits.holds(one.cut_height_m))
    if limits.tallest and shoe.cut_height_m < tallest:
        return f"{limits.tallest}, so the tallest shoe in the range is taken"
    return ""


def _against_high_lift(field: Conditions) -> str:
    if field.rough is False and not field.soil:
        return ""
    words = ground_words(field)
    return f"high-lift knives: {words[:1].lower()}{words[1:]}"


def _least_bad(pairs: list[tuple[SkidShoe, Knife]], limits: Limits | None) -> NDArray[np.bool_]:
    """Where no shoe lies in the range: the one that :func:`pick_shoe` takes."""
    shoes = tuple(shoe for shoe, _ in pairs)
    picked = None if limits is None else pick_shoe(shoes, limits, tall=False)
    return np.array([picked is not None and shoe == picked[0] for shoe in shoes], bool)


class Advised(NamedTuple):
    """The setting that is advised: its shoe, its knives, and how many shoes the range holds.

    ``in_range`` says whether the shoe lies in the crop's range.
    """

    shoe: SkidShoe
    knife: Knife
    in_range: bool
    shoes_in_range: int
