"""How fast to mow a field: its least and most, what governs where, and what handbooks say."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fieldmap.advice.conditions import Conditions
from fieldmap.finding import Finding, Level
from fieldmap.risk.place_findings import share_words
from fieldmap.risk.speed import SPEED_CAUSES, Speeds
from fieldmap.risk.told import Told
from fieldmap.risk.work import Work
from fieldmap.tables import Constant, Tables
from fieldmap.units import shown

SPEED_CAUTION = (
    "WARNING: the most that the map allows, never the speed to drive. Slow down for what you see, "
    "for wet grass, and where the crop hides the ground."
)
_HANDBOOKS = ("work_rate.handbook_kmh", "work_rate.reported_kmh")
_ROUNDING = 1e-5  # speeds are held in four bytes


def crop_limit_kmh(field: Conditions, *, tables: Tables) -> float:
    """The most that a field's crop allows, km/h; infinity for a standing crop of thin stems.

    A crop that nobody named counts as thick-stemmed, one of which nobody said how it stands as
    lodged.

    Parameters
    ----------
    field : Conditions
    tables : Tables
        ``stopping.crop_lodged_kmh``, ``stopping.crop_thick_kmh``.
    """
    limits = [math.inf]
    if field.lodged is not False:
        limits.append(tables.number("stopping.crop_lodged_kmh"))
    if field.crop is None or field.crop.words["family"] == "thick_stem":
        limits.append(tables.number("stopping.crop_thick_kmh"))
    return min(limits)


def field_speed_findings(
    field_id: str, speed: Speeds, inside: NDArray[np.bool_], *, work: Work, tables: Tables
) -> list[Told]:
    """The field speed for the sheet: what half of the field allows, its least and its most.

    Parameters
    ----------
    field_id : str
    speed : Speeds
        On the field's cells.
    inside : ndarray of bool
        Cells of the field.
    work : Work
        The machine's own field speed and pull.
    tables : Tables
        ``work_rate.handbook_kmh``, ``work_rate.reported_kmh``, ``stopping.*``.

    Returns
    -------
    list of Told
        Unknown where a cell's limit, the machine's field speed or what it pulls is not known; care
        where some ground asks for less than the field speed.
    """
    limit = speed.limit_kmh[inside]
    known = limit[np.isfinite(limit)]
    missing = _missing(limit, work)
    level: Level = "unknown" if missing else "ok"
    if not missing and known.min() < work.speed_kmh * (1.0 - _ROUNDING):
        level = "care"
    told = Told(
        Finding(
            level=level,
            what="field speed",
            where=field_id,
            why=" ".join([*missing, _governed(speed.cause[inside]), _handbook_words(tables)]),
            basis="assumed",
            sources=tables.source_of(
                "stopping.field_kmh", "stopping.rough_kmh", "power.base_kw", *_HANDBOOKS
            ),
            value=float(np.median(known)) if known.size else None,
            low=float(known.min()) if known.size else None,
            high=float(known.max()) if known.size and not missing else None,
            limit=work.speed_kmh if work.own_speed else None,
            unit="km/h",
            caution=SPEED_CAUTION,
        ),
        echo=True,
    )
    return [told]


def _missing(limit: NDArray[np.float64], work: Work) -> list[str]:
    words = []
    unknown = float(np.isnan(limit).mean()) if limit.size else 1.0
    if unknown:
        words.append(f"No limit is known on {share_words(unknown)} of the field.")
    if not work.own_speed:
        words.append("The machine's own field speed is not known.")
    if np.isnan(np.array(work.pull, np.float64)).any():
        words.append("Power, mass or width is not known, so climbs may ask for less.")
    return words


def _governed(causes: NDArray[np.int16]) -> str:
    """What governs the speed on which share, the largest first."""
    if not causes.size:
        return ""
    codes, counts = np.unique(causes, return_counts=True)
    order = np.argsort(-counts, kind="stable")
    parts = [
        f"{SPEED_CAUSES[codes[at]]} on {share_words(counts[at] / causes.size)}" for at in order
    ]
    return f"Half of the field allows the value or more. Governed by {', '.join(parts)}."


def _handbook_words(tables: Tables) -> str:
    """Both ranges that pages report of the handbook; they differ and the user chooses."""
    parts = [_range_words(tables[key]) for key in _HANDBOOKS]
    return (
        f"Handbook speeds for rotary mowers are told as {parts[0]}, and as {parts[1]}: choose with "
        "field_speed_kmh in machines.toml."
    )


def _range_words(row: Constant) -> str:
    low = row.number() if row.low is None else row.low
    high = row.number() if row.high is None else row.high
    us_low, metric_low = (shown(low, "km/h", system).split()[0] for system in ("us", "metric"))
    us_high, metric_high = (shown(high, "km/h", system) for system in ("us", "metric"))
    return f"{metric_low} to {metric_high} ({us_low} to {us_high})"
