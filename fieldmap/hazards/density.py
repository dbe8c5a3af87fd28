"""How many things are likely still lying unseen: a gamma-Poisson count of ground and zones.

What is believed of a hectare before looking is a gamma law. Ground looked at, finds and hits
move it; what is left unseen then follows a negative binomial law.
"""

from __future__ import annotations

import functools
import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldmap.errors import Fault, InputError, raise_all
from fieldmap.tables import Tables
from fieldmap.units import M2_PER_HECTARE

LOW_SHARE, HIGH_SHARE = 0.05, 0.95
_HALVINGS = 60
#: Above this mean the sum over counts gives way to the gamma law of the same mean and spread.
_LARGEST_SUMMED = 20_000.0


class Belief(NamedTuple):
    """A gamma law of how many things lie on a hectare: its shape, and its rate in hectares.

    It reads like a record: ``shape`` things seen in looking whole at ``rate_ha`` hectares.
    """

    shape: float
    rate_ha: float

    @property
    def mean_per_ha(self) -> float:
        """Things a hectare, on the mean."""
        return self.shape / self.rate_ha

    def quantile_per_ha(self, share: float) -> float:
        """Things a hectare that this share of the law stays under."""
        return gamma_quantile(self.shape, share) / self.rate_ha


class Left(NamedTuple):
    """How many things lie unseen: mean, 5 % and 95 % ends, chance that there is none."""

    mean: float
    low: float
    high: float
    none_left: float


class Estimate(NamedTuple):
    """What is reckoned of one source of things in one zone.

    ``looked_ha`` is the area times the chance of seeing a thing there; ``density`` and its
    ends are things a hectare (mean, 5 % and 95 %) after looking; ``left`` and its ends are
    things that lie unseen in the zone; ``none_left`` the chance that there is none; ``sources``
    the keys of what the belief before looking rests on.
    """

    source_of_things: str
    zone: str
    area_ha: float
    looked_ha: float
    found: int
    hits: int
    density: float
    density_low: float
    density_high: float
    left: float
    left_low: float
    left_high: float
    none_left: float
    sources: tuple[str, ...]


def density_from_cover(cover: float, diameter_m: float) -> float:
    """Things a hectare when discs of one size cover a share of the ground.

    Examples
    --------
    A hundredth of a percent under stones of 0.25 m:

    >>> round(density_from_cover(0.0001, 0.25), 2)
    20.37
    >>> density_from_cover(0.0, 0.25), density_from_cover(float("nan"), 0.25)
    (0.0, nan)
    """
    return cover / (math.pi * diameter_m**2 / 4.0) * M2_PER_HECTARE


def spacing_from_cover(cover: float, diameter_m: float) -> float:
    """Metres from middle to middle of discs on a square grid that cover a share of the ground.

    Examples
    --------
    >>> round(spacing_from_cover(0.001, 0.25), 2)
    7.01
    >>> spacing_from_cover(0.0, 0.25), spacing_from_cover(float("nan"), 0.25)
    (inf, nan)
    """
    if cover == 0:
        return math.inf
    return diameter_m * math.sqrt(math.pi / (4.0 * cover))


def belief_before(thing: str, *, tables: Tables) -> Belief:
    """What is believed before anyone has looked.

    Parameters
    ----------
    thing : str
        A row of ``density.csv``: ``stones_0`` to ``stones_5``, ``flood_debris``,
        ``road_litter`` or ``elsewhere``.
    tables : Tables
        The row's value is the mean; ``density.prior_shape`` says how much it weighs.

    Raises
    ------
    InputError
        The mean or the shape is not above 0: then no find could ever count.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> belief_before("elsewhere", tables=load_tables())
    Belief(shape=0.5, rate_ha=1.0)
    """
    keys = (f"density.{thing}", "density.prior_shape")
    faults = [
        Fault(
            f"{key} is not above 0",
            f"{tables.number(key):g}",
            "a belief that nothing lies there cannot learn from a find",
            "give a small figure instead",
            where="[tables]",
        )
        for key in keys
        if tables.number(key) <= 0
    ]
    raise_all(faults)
    mean_per_ha, shape = (tables.number(key) for key in keys)
    return Belief(shape, shape / mean_per_ha)


def after_looking(before: Belief, *, found: int, hits: int, looked_ha: float) -> Belief:
    """The belief after ground was looked at, things were found, and others were hit.

    A hit counts like a find, but no ground was looked at for it: hits only ever raise.

    Examples
    --------
    >>> after_looking(Belief(0.5, 1.0), found=3, hits=1, looked_ha=2.0)
    Belief(shape=4.5, rate_ha=3.0)
    """
    return Belief(before.shape + found + hits, before.rate_ha + looked_ha)


def looked_and_unseen_ha(area_m2: ArrayLike, chance: ArrayLike) -> tuple[float, float]:
    """Hectares looked at in effect, and hectares not: areas weighed with the chance of seeing.

    Parameters
    ----------
    area_m2, chance : array_like, shape (cells,)
        An unknown chance (NaN) is no chance.

    Examples
    --------
    >>> looked_and_unseen_ha([10_000.0, 10_000.0], [0.75, float("nan")])
    (0.75, 1.25)
    >>> looked_and_unseen_ha([], [])
    (0.0, 0.0)
    """
    area_ha = np.asarray(area_m2, float) / M2_PER_HECTARE
    seen = np.clip(np.nan_to_num(np.asarray(chance, float), nan=0.0), 0.0, 1.0)
    return float(np.sum(area_ha * seen)), float(np.sum(area_ha * (1.0 - seen)))


def left_unseen(belief: Belief, unseen_ha: float) -> Left:
    """How many things lie in the ground not seen, by the negative binomial law.

    Parameters
    ----------
    belief : Belief
        After looking.
    unseen_ha : float
        Area weighed with the chance of *not* seeing a thing there.

    Notes
    -----
    The ends are the least counts that at least 5 % and 95 % of the law stay at or under,
    summed count by count; above a mean of 20,000 they are those of the gamma law of the same
    mean and spread, not whole, which differ by less than 0.1 %.

    Examples
    --------
    >>> left = left_unseen(Belief(1.0, 1.0), 1.0)
    >>> left.mean, left.low, left.high, round(left.none_left, 3)
    (1.0, 0.0, 4.0, 0.5)
    >>> left_unseen(Belief(1.0, 1.0), 0.0)
    Left(mean=0.0, low=0.0, high=0.0, none_left=1.0)
    """
    if unseen_ha <= 0:
        return Left(0.0, 0.0, 0.0, 1.0)
    mean = belief.mean_per_ha * unseen_ha
    none = math.exp(-belief.shape * math.log1p(unseen_ha / belief.rate_ha))
    if mean > _LARGEST_SUMMED:
        shape = belief.shape * mean / (belief.shape + mean)
        low, high = (mean / shape * gamma_quantile(shape, p) for p in (LOW_SHARE, HIGH_SHARE))
        return Left(mean, low, high, none)
    low, high = _counts_at((LOW_SHARE, HIGH_SHARE), belief, unseen_ha)
    return Left(mean, low, high, none)


def _counts_at(shares: tuple[float, float], belief: Belief, unseen_ha: float) -> list[float]:
    terms = 64
    while True:
        under = np.cumsum(np.exp(_log_chances(belief, unseen_ha, terms)))
        if under[-1] >= shares[1]:
            return [float(np.argmax(under >= share)) for share in shares]
        terms *= 4


def _log_chances(belief: Belief, unseen_ha: float, terms: int) -> NDArray[np.float64]:
    """Logarithm of the chance of 0, 1, 2 ... things, each out of the one before it."""
    count = np.arange(terms - 1)
    steps = np.log((belief.shape + count) / (count + 1.0))
    steps -= math.log1p(belief.rate_ha / unseen_ha)
    none = -belief.shape * math.log1p(unseen_ha / belief.rate_ha)
    return none + np.concatenate(([0.0], np.cumsum(steps)))


@functools.lru_cache(maxsize=4096)
def gamma_quantile(shape: float, share: float) -> float:
    """Value that a share of the gamma law (rate 1) stays under.

    Halves the range of the logarithm between two bounds that always hold: from below the first
    term of the series, from above Cantelli's inequality.

    Examples
    --------
    The law of shape 1 is the exponential one, with its end at -ln(1 - share):

    >>> round(gamma_quantile(1.0, 0.95), 6)
    2.995732
    """
    low = (math.log(share) + math.lgamma(shape + 1.0)) / shape
    high = math.log(shape + math.sqrt(shape * share / (1.0 - share)))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        if _gamma_under(shape, middle) < share:
            low = middle
        else:
            high = middle
    return math.exp((low + high) / 2.0)


def _gamma_under(shape: float, log_value: float) -> float:
    """Share of the gamma law under a value: its power series, summed as logarithms."""
    value = math.exp(log_value)
    terms = math.ceil(value + 12.0 * math.sqrt(value)) + 40
    logs = np.cumsum(log_value - np.log(shape + 1.0 + np.arange(terms)))
    most = max(float(logs.max()), 0.0)
    total = math.exp(-most) + float(np.sum(np.exp(logs - most)))
    front = shape * log_value - value - math.lgamma(shape + 1.0)
    return math.exp(front + most + math.log(total))


def estimate(
    thing: str,
    zone: str,
    area_m2: ArrayLike,
    chance: ArrayLike,
    *,
    found: int,
    hits: int,
    by_looking: int | None = None,
    tables: Tables,
) -> Estimate:
    """What is reckoned to lie unseen of one source of things in one zone.

    Parameters
    ----------
    thing : str
        A row of ``density.csv``, see :func:`belief_before`.
    zone : str
        What the ground is called.
    area_m2, chance : array_like, shape (cells,)
        Area of each cell and chance that a thing lying there was seen; NaN is no chance.
    found, hits : int
        Things found in the zone, and times a machine hit something there.
    by_looking : int, optional
        How many of those found the looking accounts for; all when not given. What was found in
        passing lies there, but says nothing of how many lie on a hectare.
    tables : Tables

    Raises
    ------
    InputError
        A count below 0, or a belief that cannot learn.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> one = estimate("elsewhere", "whole", [10_000.0], [0.5], found=1, hits=0,
    ...                tables=load_tables())
    >>> one.looked_ha, one.density, one.left
    (0.5, 1.0, 0.5)
    """
    if min(found, hits) < 0:
        raise InputError(
            Fault(
                "a count below 0",
                f"{found} found, {hits} hits",
                "nothing can be reckoned from it",
                "count again",
                where=zone,
            )
        )
    looked_ha, unseen_ha = looked_and_unseen_ha(area_m2, chance)
    before = belief_before(thing, tables=tables)
    counted = found if by_looking is None else by_looking
    belief = after_looking(before, found=counted, hits=hits, looked_ha=looked_ha)
    left = left_unseen(belief, unseen_ha)
    return Estimate(
        source_of_things=thing,
        zone=zone,
        area_ha=looked_ha + unseen_ha,
        looked_ha=looked_ha,
        found=found,
        hits=hits,
        density=belief.mean_per_ha,
        density_low=belief.quantile_per_ha(LOW_SHARE),
        density_high=belief.quantile_per_ha(HIGH_SHARE),
        left=left.mean,
        left_low=left.low,
        left_high=left.high,
        none_left=left.none_left,
        sources=tables.source_of(f"density.{thing}", "density.prior_shape"),
    )
