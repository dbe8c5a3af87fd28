"""Is a leg too steep: what can still be braked down it, and driven up it, by the braked wheels."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldmap.machine import Machine
from fieldmap.roads.facts import Places
from fieldmap.roads.verdict import (
    ASSUMED,
    FAIL,
    MAPPED,
    MEASURED,
    PASS,
    UNKNOWN,
    Floats,
    Mask,
    Rule,
    Verdict,
    first_that_holds,
)
from fieldmap.tables import Tables

_INCLINE = re.compile(r"([+-]?[0-9]+(?:\.[0-9]+)?) ?(%|°)")
_NO_FIGURE = frozenset(("up", "down"))

NO_HEIGHT = "The height of the ground along it is not known."
TOO_ROUGH = "The heights are too rough to tell how steep it is."
NO_MASS = "The mass of the whole train or of the towed mower is not known, nor then what is braked."
UNREAD = "A slope stands on the map but cannot be read."
TOO_STEEP = "It may be steeper than the brakes known of hold on a wet road."
_LEAST_PCT = 1.0  # a band wider than this to each side says nothing to a machine that needs level


@dataclass(frozen=True, slots=True)
class Hold:
    """What a machine's braked wheels hold, as deceleration over gravity; NaN is not known.

    ``low`` is by the low end of the tyres' grip with no brakes on a towed machine, ``high`` by
    the high end with brakes on every wheel.
    """

    low: float
    high: float


def braked_share(machine: Machine) -> float:
    """Share of the train's mass that rests on wheels known to be braked.

    All of it where the mower is carried; of a towed mower nothing is known to be braked, and
    what its tongue puts on the tractor is left out. NaN when the masses are not known.

    Examples
    --------
    >>> towed = Machine(id="a", name="a", kind="pull-type", mass_kg=9000, mower_mass_kg=3000)
    >>> round(braked_share(towed), 3)
    0.667
    >>> braked_share(Machine(id="a", name="a", kind="self-propelled"))
    1.0
    >>> braked_share(Machine(id="a", name="a", kind="pull-type", mass_kg=9000))
    nan
    """
    if machine.kind != "pull-type":
        return 1.0
    if machine.mass_kg is None or machine.mower_mass_kg is None:
        return math.nan
    return (machine.mass_kg - machine.mower_mass_kg) / machine.mass_kg


def hold_of(machine: Machine, *, tables: Tables) -> Hold:
    """What the machine's brakes hold on a road; see :class:`Hold`.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> towed = Machine(id="a", name="a", kind="pull-type", mass_kg=9000, mower_mass_kg=3000)
    >>> hold_of(towed, tables=load_tables())
    Hold(low=0.2, high=0.7)
    """
    grip = tables["grades.grip"]
    low = grip.number() if grip.low is None else grip.low
    high = grip.number() if grip.high is None else grip.high
    return Hold(round(low * braked_share(machine), 6), high)


def steepest_fall_pct(hold: float, left_over: float) -> float:
    """The steepest fall on which a deceleration is still left over, in percent.

    Notes
    -----
    Along a slope of angle q the brakes give ``hold * cos q`` and the ground takes ``sin q``, both
    over gravity: hold cos q - sin q = left_over.

    Examples
    --------
    >>> round(steepest_fall_pct(0.2, 0.0), 6), round(steepest_fall_pct(0.2, 0.05), 2)
    (20.0, 14.94)
    >>> steepest_fall_pct(math.nan, 0.05)
    nan
    """
    if math.isnan(hold):
        return math.nan
    angle = math.atan(hold) - math.asin(min(left_over / math.hypot(1.0, hold), 1.0))
    return 100.0 * math.tan(angle)


@dataclass(frozen=True, eq=False)
class Inclines:
    """What the map says of the slope of each directed leg.

    ``climb_pct`` is NaN without a figure; ``doubt`` where something stands there that cannot be
    read; ``tag`` is what stands there, "" where nothing does.
    """

    climb_pct: Floats
    doubt: Mask
    tag: NDArray[np.object_]


def incline_pct(text: str | None) -> float:
    """An ``incline`` tag in percent, climbing along the line positive.

    Returns
    -------
    float
        NaN where nothing stands there or it cannot be read, and for ``up`` and ``down``, which
        are no figure.

    Examples
    --------
    >>> incline_pct("-10%"), round(incline_pct("45°"), 6), incline_pct("up"), incline_pct(None)
    (-10.0, 100.0, nan, nan)
    """
    found = _INCLINE.fullmatch(text or "")
    size = float(found[1]) if found else math.nan
    if found is None or found[2] == "%":
        return size
    return 100.0 * math.tan(math.radians(size)) if abs(size) < 90.0 else math.nan


def inclines_on(places: Places) -> Inclines:
    """What the map says of the slope of directed legs: along each line, then against it.

    Examples
    --------
    >>> from fieldmap.roads.facts import places_of
    >>> both = {"incline": "8%"}
    >>> found = inclines_on(places_of([both, both, {"incline": "steep"}, {}]))
    >>> found.climb_pct, found.doubt
    (array([ 8., -8., nan, nan]), array([False, False,  True, False]))
    """
    texts = [one.get("incline") for one in places.tags]
    figure = np.array([incline_pct(one) for one in texts], dtype=float)
    unread = [one is not None and one not in _NO_FIGURE for one in texts]
    doubt = np.array(unread, dtype=bool) & np.isnan(figure)
    tag = np.empty(len(texts), dtype=object)
    tag[:] = ["" if one is None else f"incline={one}" for one in texts]
    row = places.row
    sign = np.where(np.arange(len(row)) % 2 == 0, 1.0, -1.0)
    return Inclines(figure[row] * sign, doubt[row], tag[row])


def grade_check(
    grade_low_pct: Floats,
    grade_high_pct: Floats,
    machine: Machine,
    *,
    tables: Tables,
    mapped: Inclines | None = None,
    driven: Floats | None = None,
) -> Verdict:
    """Hold the steepest fall and climb of each directed leg against the machine.

    It passes when, by the steep end of the band, the braked wheels still slow the train by
    ``grades.left_over`` and drive it up. It is refused when the gentle end is over the machine's
    own limit, or over what all wheels braked on a dry road would hold. All between is unknown.

    Parameters
    ----------
    grade_low_pct, grade_high_pct : ndarray, one entry a directed leg
        Band of the steepest fall, falling positive (:class:`fieldmap.roads.profile.Steepest`);
        NaN is not known.
    machine : Machine
        Its own ``up_down_limit_pct`` is a field's limit and is taken for the road as well; else
        ``grades.limit_pct``.
    tables : Tables
    mapped : Inclines, optional
        What the map says (:func:`inclines_on`); the worse of map and ground is taken, and the map
        alone lets nothing through.
    driven : ndarray, optional
        1 where somebody drove it with this train, 0 where they could not, NaN nobody. A drive
        settles what is unknown; it does not lift what is refused.

    Returns
    -------
    Verdict
        One entry a directed leg. ``low`` and ``high`` are the band of the steeper of fall and
        climb, held against what is allowed; ``need`` what is allowed, which they must stay under.
        Both ends NaN where heights are missing or too rough: no place to go and measure.
    """
    hold = hold_of(machine, tables=tables)
    own = machine.up_down_limit_pct
    cap = tables.number("grades.limit_pct") if own is None else own
    fall = min(steepest_fall_pct(hold.low, tables.number("grades.left_over")), cap)
    climb = min(100.0 * hold.low, cap)
    never = min(100.0 * hold.high, math.inf if own is None else own)
    count = len(grade_low_pct)
    said = _nothing_said(count) if mapped is None else mapped
    band = _with_map(grade_low_pct, grade_high_pct, -said.climb_pct)
    low, high, need = _governing(*band, fall=fall, climb=climb, never=never)
    went = np.full(count, np.nan) if driven is None else driven
    no_mass = np.full(count, math.isnan(hold.low))
    blank = np.isnan(high) & ~(low > need)
    rough = high - low > 2.0 * np.maximum(need, _LEAST_PCT)
    rules = [
        Rule(_steep(said) > never, FAIL, MAPPED, _refused(own), low, high, said.tag),
        Rule(low > never, FAIL, ASSUMED, _refused(own), low, high),
        Rule(went == 0.0, FAIL, MEASURED, "Somebody tried and could not drive it.", low, high),
        Rule(went == 1.0, PASS, MEASURED, "Somebody drove it.", low, high),
        Rule(no_mass, UNKNOWN, ASSUMED, NO_MASS),
        Rule(said.doubt, UNKNOWN, MAPPED, UNREAD, tag=said.tag),
        Rule(blank, UNKNOWN, ASSUMED, NO_HEIGHT),
        Rule(rough, UNKNOWN, ASSUMED, TOO_ROUGH),
        Rule(high <= need, PASS, ASSUMED, "The brakes known of hold it.", low, high),
        Rule(np.ones(count, dtype=bool), UNKNOWN, ASSUMED, TOO_STEEP, low, high),
    ]
    return first_that_holds("grade", "%", rules, need=need)


def _refused(own: float | None) -> str:
    if own is None:
        return "Not even all wheels braked on a dry road would hold it."
    return "It is steeper than the machine's own limit up and down (a figure for fields)."


def _with_map(low: Floats, high: Floats, mapped: Floats) -> tuple[Floats, Floats]:
    """The worse of what the ground and the map say; the map alone never lets through."""
    return np.fmax(low, mapped), np.where(np.isnan(high), high, np.fmax(high, mapped))


def _turned(figures: Floats) -> Floats:
    """The figures of the other direction of each leg: its fall is this one's climb."""
    return figures.reshape(-1, 2)[:, ::-1].ravel()


def _steep(said: Inclines) -> Floats:
    """Falling or climbing, as a size."""
    return np.abs(said.climb_pct)


def _nothing_said(count: int) -> Inclines:
    return Inclines(
        np.full(count, np.nan), np.zeros(count, dtype=bool), np.full(count, "", dtype=object)
    )


def _over(end: Floats, allowed: float, unknown: float) -> Floats:
    """How far an end of the band is over what is allowed."""
    known = np.where(np.isnan(end), unknown, end)
    return known - (0.0 if math.isnan(allowed) else allowed)


def _governing(
    low: Floats, high: Floats, *, fall: float, climb: float, never: float
) -> tuple[Floats, Floats, Floats]:
    """Of fall and climb of each directed leg the one that refuses, else the one nearer to it.

    An end that is not known is nearer than any that is.
    """
    up_low, up_high = _turned(low), _turned(high)
    over, up_over = _over(high, fall, np.inf), _over(up_high, climb, np.inf)
    least, up_least = _over(low, fall, -np.inf), _over(up_low, climb, -np.inf)
    nearer = (up_over > over) | ((up_over == over) & (up_least > least))
    climbs = ~(low > never) & ((up_low > never) | nearer)
    return (
        np.where(climbs, up_low, low),
        np.where(climbs, up_high, high),
        np.where(climbs, climb, fall),
    )


def untold(verdict: Verdict) -> Mask:
    """Where a mass or heights are missing or too rough: unknown, and yet no place to measure."""
    blank = np.isnan(verdict.high) & ~(verdict.low > verdict.need)
    mask: Mask = (verdict.level == UNKNOWN) & (verdict.basis == ASSUMED) & blank
    return mask


def no_grades(count: int) -> tuple[Floats, Floats]:
    """The band of so many directed legs of whose ground nothing is known.

    Examples
    --------
    >>> no_grades(1)
    (array([nan]), array([nan]))
    """
    return np.full(count, np.nan), np.full(count, np.nan)
