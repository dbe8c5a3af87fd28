"""Whether the machine has the power for the field's steepest climb, and how fast it climbs."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from fieldmap.finding import Finding, Level
from fieldmap.machine import Machine
from fieldmap.risk.lie import Lie
from fieldmap.risk.power import (
    BEST,
    HIGH,
    VALUE,
    Floats,
    Pull,
    needed_kw,
    pull_ends,
    speed_by_power_kmh,
)
from fieldmap.risk.told import Told
from fieldmap.risk.work import field_speeds
from fieldmap.tables import Tables
from fieldmap.terrain.slope_error import across_band_pct
from fieldmap.terrain.travel import along_pct

POWER_CAUTION = (
    "NOTICE: handbook averages, recalled and not checked, with a wide spread; dull knives and "
    "thick patches take more. The manuals of the tractor and the mower decide."
)
_USUAL = 95.0  # percentile of the cells that stands for the steepest climb
_ROUNDING = 1e-9
_UNKNOWN_CHANGE = "Describe the machine in machines.toml: power_kw, mass_kg, width, field speed"


class Climb(NamedTuple):
    """Steepest climb along the line of travel (percent), and how steep it may be; NaN unknown."""

    grade_pct: float
    high_pct: float


class _Need(NamedTuple):
    """The power that a climb takes at the four ends of what is known, and what it is held to."""

    kw: Floats
    speed_kmh: float
    own_speed: bool
    power_kw: float
    reserve: float
    missing: tuple[str, ...]


def climb_of(lie: Lie) -> Climb:
    """The climb that a field asks for, both ways along its line of travel.

    On headlands, and where no line or no turning radius is known, the steepest ground counts.
    Nineteen cells in twenty climb no more than the first figure; the second is the upper end of
    the 90 percent band of the steepest cell: NaN when any slope of the field, or the error of the
    elevation, is not known.
    """
    steep = lie.ground.percent.values[lie.inside].astype(np.float64)
    high = lie.steep_high.values[lie.inside].astype(np.float64)
    if lie.heading is not None and not math.isnan(lie.work.radius_m):
        along = along_pct(lie.ground, lie.heading.degrees).values[lie.inside].astype(np.float64)
        runs = ~lie.headland[lie.inside]
        steep[runs] = np.abs(along[runs])
        high[runs] = across_band_pct(along[runs], sigma=lie.sigma)[1]
    known = steep[np.isfinite(steep)]
    usual = float(np.percentile(known, _USUAL)) if known.size else math.nan
    return Climb(usual, float(high.max()) if high.size else math.nan)


def power_findings(
    field_id: str,
    machine: Machine | None,
    *,
    grade_pct: float,
    grade_high_pct: float,
    soft: bool | None,
    tables: Tables,
) -> list[Told]:
    """The power that mowing the field's steepest climb takes, against what the machine has.

    Parameters
    ----------
    field_id : str
    machine : Machine or None
        Power, masses, drive, width, conditioner, field speed.
    grade_pct, grade_high_pct : float
        Steepest climb along the line of travel and how steep it may be (:func:`climb_of`), in
        percent; NaN unknown.
    soft : bool or None
        Whether the ground is soft; unknown counts as soft, and both are looked at.
    tables : Tables
        ``power.*``, ``stopping.field_kmh``.

    Returns
    -------
    list of Told
        "power needed"; where it is too much also the speed that the power allows. Drive,
        conditioner, softness and the mower's own mass are bounded: where one is missing the answer
        is unknown only when it hangs on it. All else that is missing makes it unknown.
    """
    pull = pull_ends(machine, soft, tables)
    need = _need(machine, pull, (grade_pct, grade_high_pct), tables)
    level = _level(need)
    told = [_power(field_id, need, level, (grade_pct, grade_high_pct), machine, tables)]
    reserve = need.reserve
    grades = np.array([grade_high_pct, grade_pct, grade_pct]) / 100.0
    ends = [HIGH, VALUE, BEST]
    pulled = Pull(*(np.asarray(held)[ends] for held in pull))
    slow, fast, best = speed_by_power_kmh(grades, pull=pulled, reserve=reserve)
    if fast < need.speed_kmh * (1.0 - _ROUNDING):
        told.append(_slower(field_id, need, level, (slow, fast, best), tables))
    return told


def _need(
    machine: Machine | None, pull: Pull, grades_pct: tuple[float, float], tables: Tables
) -> _Need:
    speed, _, own = field_speeds(machine, tables)
    row = tables["stopping.field_kmh"]
    slow = speed if own or row.low is None else row.low
    grade, high = (one / 100.0 for one in grades_pct)
    known = 0.0 if math.isnan(grade) else grade  # the steepest is level at the least
    at = np.array([known, known, grade, max(high, grade) if high == high else high])  # noqa: PLR0124
    kw = needed_kw(np.array([slow, slow, speed, speed]), grade=at, pull=pull)
    power = float(np.asarray(pull.power_kw)[VALUE])
    reserve = tables.number("power.reserve_share")
    return _Need(kw, speed, own, power, reserve, _missing(machine, grades_pct))


def _missing(machine: Machine | None, grades_pct: tuple[float, float]) -> tuple[str, ...]:
    """Figures without which nothing is known; ``machine`` and ``slope`` stand for all of theirs."""
    slope = () if all(map(math.isfinite, grades_pct)) else ("slope",)
    if machine is None:
        return ("machine", *slope)
    keys = ("power_kw", "mass_kg", "working_width_m", "field_speed_kmh")
    return (*(key for key in keys if getattr(machine, key) is None), *slope)


def _level(need: _Need) -> Level:
    """Care when the reserve does not fit; unknown when that hangs on what is missing."""
    if need.missing or not np.isfinite(need.kw[[VALUE, HIGH]]).all():
        return "unknown"
    spare = 1.0 + need.reserve
    if max(need.kw[VALUE] * spare, need.kw[HIGH]) <= need.power_kw:
        return "ok"
    known = need.kw[BEST] >= need.kw[VALUE] * (1.0 - _ROUNDING)
    return "care" if known or need.kw[BEST] * spare > need.power_kw else "unknown"


def _power(
    field_id: str,
    need: _Need,
    level: Level,
    grades_pct: tuple[float, float],
    machine: Machine | None,
    tables: Tables,
) -> Told:
    low, _, value, high = (_figure(one) for one in need.kw)
    return Told(
        Finding(
            level=level,
            what="power needed",
            where=field_id,
            why=_words(need, grades_pct, machine),
            basis="assumed",
            sources=_sources(machine, tables),
            value=value,
            low=low,
            high=high if need.own_speed else None,
            limit=_figure(need.power_kw),
            unit="kW",
            caution=POWER_CAUTION,
        ),
        _change(need, level, machine),
        echo=level == "unknown" and need.missing == ("slope",),
    )


def _words(need: _Need, grades_pct: tuple[float, float], machine: Machine | None) -> str:
    grade, high = grades_pct
    own = "its own field speed" if need.own_speed else "the tool's default field speed"
    words = [f"Knives and pull at the shaft, at {own}, on the steepest climb along the line."]
    if math.isnan(grade):
        words.append("How steep that is is not known.")
    elif math.isnan(high):
        words.append(f"That is {grade:.0f}%; how wrong the elevation may be is not known.")
    else:
        words.append(f"That is {grade:.0f}%, in one place perhaps {max(grade, high):.0f}%.")
    taken = need.kw[VALUE] * (1.0 + need.reserve) / need.power_kw
    if math.isfinite(taken):
        words.append(f"With {need.reserve:.0%} in reserve it is {taken:.0%} of the power there is.")
    lacking = [*(key for key in need.missing if key != "slope"), *_bounded(machine)]
    if lacking:
        words.append(f"Not known: {', '.join(lacking)}.")
    return " ".join(words)


def _bounded(machine: Machine | None) -> tuple[str, ...]:
    """What is missing, and reckoned with at its worst."""
    if machine is None:
        return ()
    keys = ["conditioner", "drive"]
    if machine.kind != "self-propelled":
        keys.append("mower_mass_kg")
    return tuple(key for key in keys if getattr(machine, key) is None)


def _change(need: _Need, level: Level, machine: Machine | None) -> str:
    if level == "ok":
        return ""
    if machine is None:
        return _UNKNOWN_CHANGE
    keys = [key for key in need.missing if key != "slope"]
    if level == "unknown" and not need.missing:
        keys += _bounded(machine)
    if keys:
        return f"Give {', '.join(keys)} in machines.toml"
    if need.missing:
        return "Give elevation with its error to know how steep the climbs are"
    if level == "unknown":
        return "Say whether the ground is soft"
    return "Go slower up the steepest ground, or mow it downhill, or bring more power"


def _slower(
    field_id: str,
    need: _Need,
    level: Level,
    speeds_kmh: tuple[float, float, float],
    tables: Tables,
) -> Told:
    slow, fast, best = speeds_kmh
    return Told(
        Finding(
            level=level,
            what="speed that the power allows",
            where=field_id,
            why="Up the steepest climb, with the reserve kept."
            if fast > 0
            else "Knives and reserve take all the power there is; nothing is left to climb with.",
            basis="assumed",
            sources=tables.source_of("power.resistance_least", "power.reserve_share"),
            value=float(fast),
            low=_figure(min(slow, fast)),
            high=_figure(max(best, fast)),
            limit=need.speed_kmh,
            unit="km/h",
            caution=POWER_CAUTION,
        ),
        echo=True,
    )


def _sources(machine: Machine | None, tables: Tables) -> tuple[str, ...]:
    fitted = None if machine is None else machine.conditioner
    kinds = {None: ("mower", "conditioner"), "none": ("mower",)}.get(fitted, ("conditioner",))
    shafts = (f"power.disc_{kind}_kw_per_m" for kind in kinds)
    return tables.source_of(*shafts, "power.resistance_least", "power.reserve_share")


def _figure(held: float) -> float | None:
    return float(held) if math.isfinite(held) else None
