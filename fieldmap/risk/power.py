"""Power that a rotary mower takes at the shaft and up a slope, and the speed that it leaves."""

from __future__ import annotations

import math
from typing import NamedTuple, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldmap.machine import Drive, Machine
from fieldmap.tables import Constant, Tables
from fieldmap.units import GRAVITY

Floats = NDArray[np.float64]

_KMH_PER_MS = 3.6
_NEWTON_PER_KN = 1000.0
#: Ends of :func:`pull_ends`: all at its lowest; known figures at their value and what is missing
#: at its best; the same with what is missing at its worst; all at its highest.
LOW, BEST, VALUE, HIGH = range(4)


class Pull(NamedTuple):
    """A mower at work and what drives it: plain figures, or arrays of one shape; NaN unknown.

    ``power_kw`` is what the shaft can give, ``shaft_kw`` what the mower takes of it.
    ``rolled_kg`` is the mass whose rolling has to be overcome, ``lifted_kg`` what a climb lifts.
    ``resistance`` is pull over load on level ground, ``ratio`` power at the drawbar over power at
    the shaft: in it lie slip and the rolling of what pulls.
    """

    power_kw: ArrayLike
    shaft_kw: ArrayLike
    rolled_kg: ArrayLike
    lifted_kg: ArrayLike
    resistance: ArrayLike
    ratio: ArrayLike


NOTHING_KNOWN = Pull(*(math.nan,) * len(Pull._fields))


def rotary_kw(
    width_m: ArrayLike,
    *,
    base_kw: ArrayLike,
    per_metre_kw: ArrayLike,
    feed_t_h: ArrayLike = 0.0,
    per_feed_kw: ArrayLike = 0.0,
) -> Floats:
    """Power at the shaft, a + b w + c F in kW; NaN where the width is unknown.

    Parameters
    ----------
    width_m : array_like
        Working width.
    base_kw, per_metre_kw, per_feed_kw : array_like
        a in kW, b in kW/m, c in kWh/t.
    feed_t_h : array_like
        What goes through the machine. The handbook has a = c = 0 for mowers.

    Notes
    -----
    The form is that of ASABE D497; its figures for mowers are recalled and not checked.

    Examples
    --------
    >>> float(rotary_kw(3.0, base_kw=0.0, per_metre_kw=8.0))
    24.0
    >>> float(rotary_kw(float("nan"), base_kw=0.0, per_metre_kw=8.0))
    nan
    """
    width, base, metre = _of(width_m), _of(base_kw), _of(per_metre_kw)
    return (base + metre * width + _of(per_feed_kw) * _of(feed_t_h))[()]


def motion_resistance(
    bn: ArrayLike, *, least: ArrayLike, by_slip: ArrayLike, slip: ArrayLike = 0.0
) -> Floats:
    """Pull over load of a wheel, 1/Bn + least + by_slip s / sqrt(Bn), after ASABE D497.

    Parameters
    ----------
    bn : array_like
        Mobility number of the ground, over 0: 80 hard, 15 soft.
    least, by_slip : array_like
        ``power.resistance_least`` and ``power.resistance_by_slip``.
    slip : array_like
        0 to 1; 0 for a wheel that is not driven.

    Examples
    --------
    >>> round(float(motion_resistance(55.0, least=0.04, by_slip=0.5)), 4)
    0.0582
    """
    number = _of(bn)
    with np.errstate(divide="ignore", invalid="ignore"):  # a farm may say 0
        return (1.0 / number + _of(least) + _of(by_slip) * _of(slip) / np.sqrt(number))[()]


def pull_n(grade: ArrayLike, *, pull: Pull) -> Floats:
    """Pull along the ground in N: rolling of the one mass, lifting of the other.

    Parameters
    ----------
    grade : array_like
        Rise over run along the way of travel, climbing positive.
    pull : Pull

    Returns
    -------
    ndarray
        m g (r cos + sin) where both masses are one; negative where the slope pushes more than the
        wheels hold. NaN where anything is unknown.

    Examples
    --------
    >>> mower = Pull(60.0, 24.0, 2500.0, 2500.0, 0.0582, 0.77)
    >>> round(float(pull_n(0.1, pull=mower)))
    3859
    """
    rise = _of(grade)
    rolling = _of(pull.rolled_kg) * _of(pull.resistance)
    # over the way driven: cos is 1 of it, sin the rise
    return (GRAVITY * (rolling + _of(pull.lifted_kg) * rise) / np.sqrt(1.0 + rise**2))[()]


def drawbar_kw(force_n: ArrayLike, speed_kmh: ArrayLike) -> Floats:
    """Power of a pull at a speed: kN times km/h over 3.6.

    Examples
    --------
    >>> round(float(drawbar_kw(10_000.0, 8.0)), 3)
    22.222
    """
    return (_of(force_n) / _NEWTON_PER_KN * _of(speed_kmh) / _KMH_PER_MS)[()]


def needed_kw(speed_kmh: ArrayLike, *, grade: ArrayLike, pull: Pull) -> Floats:
    """Power needed at the shaft, for knives and pull together, without any reserve.

    Parameters
    ----------
    speed_kmh, grade : array_like
        Field speed; rise over run, climbing positive.
    pull : Pull

    Returns
    -------
    ndarray
        kW; downhill the shaft alone. NaN where anything is unknown.

    Examples
    --------
    >>> mower = Pull(60.0, 24.0, 2500.0, 2500.0, 0.0582, 0.77)
    >>> [round(float(needed_kw(11.0, grade=up, pull=mower)), 1) for up in (0.1, -0.3)]
    [39.3, 24.0]
    >>> float(needed_kw(11.0, grade=0.1, pull=NOTHING_KNOWN))
    nan
    """
    drawn = np.maximum(drawbar_kw(pull_n(grade, pull=pull), speed_kmh), 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):  # a farm may say 0
        return (_of(pull.shaft_kw) + drawn / _of(pull.ratio))[()]


def speed_by_power_kmh(grade: ArrayLike, *, pull: Pull, reserve: ArrayLike = 0.0) -> Floats:
    """The speed at which a climb takes all the power that knives and reserve leave.

    Parameters
    ----------
    grade : array_like
        Rise over run, climbing positive.
    pull : Pull
    reserve : array_like
        Share of the power needed that is kept free on top of it.

    Returns
    -------
    ndarray
        km/h. 0 where the knives leave nothing, infinity where nothing is pulled; NaN where
        anything is unknown.

    Examples
    --------
    >>> mower = Pull(39.31, 24.0, 2500.0, 2500.0, 0.0582, 0.77)
    >>> round(float(speed_by_power_kmh(0.1, pull=mower)), 1)
    11.0
    >>> [float(speed_by_power_kmh(up, pull=mower._replace(power_kw=kw)))
    ...  for up, kw in ((0.1, 24.0), (-0.3, 40.0), (float("nan"), 40.0))]
    [0.0, inf, nan]
    """
    force = pull_n(grade, pull=pull) / _NEWTON_PER_KN
    left = _of(pull.power_kw) / (1.0 + _of(reserve)) - _of(pull.shaft_kw)
    pulled = np.maximum(left, 0.0) * _of(pull.ratio) * _KMH_PER_MS
    with np.errstate(over="ignore"):  # next to nothing is pulled: as fast as one likes
        fast = pulled / np.where(force > 0.0, force, 1.0)
    push = (force <= 0.0) & (left > 0.0) & ~np.isnan(fast)
    return np.where(np.isnan(force), np.nan, np.where(push, np.inf, fast))[()]


def pull_of(machine: Machine | None, *, soft: bool | None, tables: Tables) -> Pull:
    """The figures that a machine is reckoned with: what is missing and bounded at its worst.

    Parameters
    ----------
    machine : Machine or None
        Power, width, conditioner, masses, drive.
    soft : bool or None
        Whether the ground is soft; unknown is reckoned as soft.
    tables : Tables
        ``power.*``.
    """
    return Pull(*(float(np.asarray(held)[VALUE]) for held in pull_ends(machine, soft, tables)))


def pull_ends(machine: Machine | None, soft: bool | None, tables: Tables) -> Pull:
    """Low end, best case, value and high end of a machine's figures, arrays of shape (4,).

    Where ``conditioner``, ``drive``, ``mower_mass_kg`` or the ground is not known, the two lower
    ends take the best of what it can be, the two upper ones the worst. Without the mass the upper
    ends are NaN; without a width the shaft is unknown.

    Notes
    -----
    The rolling of the tractor is inside the ratio of drawbar to shaft, so that of a train only
    the mower rolls; all of it is lifted. Of a self-propelled machine all is taken to roll: the
    ratio counts that already, so this is on the careful side. Mowers are taken for rotary ones.
    """
    if machine is None:
        return Pull(*(np.full(4, math.nan) for _ in Pull._fields))
    ground = _by_ends(soft is not False, soft is True, "firm", "soft")
    bn = np.array([tables.number(f"power.bn_{one}") for one in ground])
    rolled, lifted = _masses(machine)
    return Pull(
        power_kw=np.full(4, _or_nan(machine.power_kw)),
        shaft_kw=_shaft(machine, tables),
        rolled_kg=rolled,
        lifted_kg=lifted,
        resistance=motion_resistance(
            bn,
            least=tables.number("power.resistance_least"),
            by_slip=tables.number("power.resistance_by_slip"),
        ),
        ratio=_ratios(machine.drive, ground, tables),
    )


def _by_ends(may_be: bool, is_surely: bool, mild: str, worse: str) -> tuple[str, ...]:
    """What the two lower ends are reckoned with, and the two upper ones."""
    upper = worse if may_be else mild
    lower = worse if is_surely else mild
    return lower, lower, upper, upper


def _shaft(machine: Machine, tables: Tables) -> Floats:
    fitted = machine.conditioner
    kinds = _by_ends(
        fitted != "none", fitted not in (None, "none"), "disc_mower", "disc_conditioner"
    )
    rows = [tables[f"power.{kind}_kw_per_m"] for kind in kinds]
    rate = [_low(rows[LOW]), rows[BEST].number(), rows[VALUE].number(), _high(rows[HIGH])]
    width = _or_nan(machine.working_width_m)
    return rotary_kw(width, base_kw=tables.number("power.base_kw"), per_metre_kw=rate)


def _masses(machine: Machine) -> tuple[Floats, Floats]:
    """What rolls and what is lifted; of an unknown mass not even the worst is known."""
    mass, mower = _or_nan(machine.mass_kg), machine.mower_mass_kg
    least = 0.0 if math.isnan(mass) else mass
    lifted = np.array([least, least, mass, mass])
    if machine.kind == "self-propelled" or math.isnan(mass):
        return lifted, lifted
    return np.array([0.0, 0.0, mass, mass] if mower is None else [mower] * 4), lifted


def _ratios(drive: Drive | None, ground: tuple[str, ...], tables: Tables) -> Floats:
    drives = get_args(Drive) if drive is None else (drive,)
    held = np.array(
        [[tables.number(f"power.drawbar_{one}_{soil}") for soil in ground] for one in drives]
    )
    best, worst = held.max(axis=0), held.min(axis=0)
    return np.array([best[LOW], best[BEST], worst[VALUE], worst[HIGH]])


def _low(row: Constant) -> float:
    return row.number() if row.low is None else row.low


def _high(row: Constant) -> float:
    return row.number() if row.high is None else row.high


def _or_nan(held: float | None) -> float:
    return math.nan if held is None else held


def _of(given: ArrayLike) -> Floats:
    return np.asarray(given, np.float64)
