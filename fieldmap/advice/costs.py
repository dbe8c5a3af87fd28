"""What each setting of the mower costs, part by part, and by how much the best one leads.

A cost is a sum of amounts times prices. Both are ranges, low, value and high along the last axis;
the price is the same whatever the setting, so a difference between two settings is reckoned
amount by amount before any price goes onto it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Figures = NDArray[np.float64]


class Share(NamedTuple):
    """One kind of amount: the part of the cost it belongs to, its price, what it counts."""

    part: str
    price: str
    counted: str = ""


#: The amounts in their order. ``counted`` names the number that the amount goes up and down with.
SHARES = (
    Share("strikes", "strike", "strikes"),
    Share("strikes", "knife", "strikes"),
    Share("strikes", "hour", "strikes"),
    Share("wraps", "hour", "wraps"),
    Share("forage", "bale", "things in the forage"),
    Share("yield", "hay_t"),
    Share("feed value", "hay_t"),
    Share("crop left", "hay_t"),
    Share("changing", "hour"),
)
PARTS = tuple(dict.fromkeys(share.part for share in SHARES))
#: Parts that come from things lying in the field.
FROM_THINGS = ("strikes", "wraps", "forage")
CROP_LEFT = SHARES.index(Share("crop left", "hay_t"))
CHANGING = SHARES.index(Share("changing", "hour"))
_PAIR = 2.0


class Costs(NamedTuple):
    """Amounts (shares, options, 3) and what one of each costs (shares, 3)."""

    amounts: Figures
    prices: Figures

    def by_part(self) -> dict[str, Figures]:
        """Cost of each part, (options, 3)."""
        money = self.amounts * self.prices[:, np.newaxis]
        return {
            part: money[[n for n, share in enumerate(SHARES) if share.part == part]].sum(axis=0)
            for part in PARTS
        }

    def in_all(self) -> Figures:
        """Cost of each option, (options, 3)."""
        return np.einsum("sok,sk->ok", self.amounts, self.prices)

    def values(self) -> Figures:
        """Middle cost of each share and option, (shares, options)."""
        return self.amounts[:, :, 1] * self.prices[:, np.newaxis, 1]


def amounts(
    *,
    strikes: Figures,
    wraps: Figures,
    forage: Figures,
    broken: tuple[Figures, Figures],
    strike_h: Figures,
    wrap_h: Figures,
    crop: tuple[Figures, Figures, Figures],
    changing_h: Figures,
) -> Figures:
    """The amounts that :data:`SHARES` lists, of shape (shares, options, 3).

    Parameters
    ----------
    strikes, wraps, forage : ndarray, shape (options, 3)
        How many in one cut of the field.
    broken : ndarray, shape (3,), and ndarray, shape (options, 3)
        Share of the strikes that leave more to mend than knives, and share after which a pair of
        knives is changed.
    strike_h, wrap_h : ndarray, shape (3,)
        Hours lost to each.
    crop : three ndarray, shape (options, 3)
        Tonnes of hay given up by the height, lost in feed value, and left lying.
    changing_h : ndarray, shape (options, 3)
        Hours to change what is fitted.

    Examples
    --------
    Two strikes, of which a half break something and a half ruin a pair of knives, at an hour each:

    >>> none, one = np.zeros((1, 3)), np.ones(3)
    >>> held = amounts(strikes=none + 2, wraps=none, forage=none, broken=(one / 2, none + 0.5),
    ...                strike_h=one, wrap_h=one, crop=(none, none, none), changing_h=none)
    >>> held[:3, 0, 1]
    array([1., 2., 2.])
    """
    repaired, ruined = broken
    return np.stack(
        [
            strikes * repaired,
            strikes * ruined * _PAIR,
            strikes * strike_h,
            wraps * wrap_h,
            forage,
            *crop,
            changing_h,
        ]
    )


def cheapest(value: Figures, cut_m: Figures, allowed: NDArray[np.bool_]) -> int | None:
    """The allowed option with the least cost; between equals the taller, then the first.

    Parameters
    ----------
    value, cut_m : ndarray, shape (options,)
    allowed : ndarray of bool, shape (options,)

    Examples
    --------
    >>> every = np.ones(3, bool)
    >>> cheapest(np.array([5.0, 3.0, 3.0]), np.array([0.10, 0.05, 0.08]), every)
    2
    >>> cheapest(np.array([5.0]), np.array([0.1]), np.zeros(1, bool)) is None
    True
    """
    if not allowed.any():
        return None
    least = value[allowed].min()
    alike = allowed & (value <= least + 1e-9 * max(abs(least), 1.0))
    return int(np.flatnonzero(alike & (cut_m == cut_m[alike].max()))[0])


def lead(costs: Costs, best: int, second: int, *, doubt: float | Figures = 0.0) -> Figures:
    """How much dearer the second option is, low, value and high.

    What both share falls out: amounts are taken from each other end by end, and only what is
    left is priced, at every end of the price.

    Parameters
    ----------
    costs : Costs
    best, second : int
    doubt : float or ndarray, shape (shares,)
        How much more or less the second may take than the best beyond what their ranges say,
        where each may be at its own end.

    Examples
    --------
    One strike more or less at 100 to 900, beside ten that both suffer:

    >>> held = np.zeros((9, 2, 3))
    >>> held[0] = [[10.0, 10.0, 10.0], [11.0, 11.0, 11.0]]
    >>> money = np.zeros((9, 3))
    >>> money[0] = [100.0, 200.0, 900.0]
    >>> lead(Costs(held, money), 0, 1)
    array([100., 200., 900.])

    Nobody knows for which of the two half a strike's worth comes on top:

    >>> lead(Costs(held, money), 0, 1, doubt=np.array([0.5] + 8 * [0.0]))
    array([-350.,  200., 1350.])
    """
    more = costs.amounts[:, second] - costs.amounts[:, best]
    each = more[:, :, np.newaxis] * costs.prices[:, np.newaxis, :]
    loose = (doubt * costs.prices.max(axis=1)).sum()
    low, high = each.min(axis=(1, 2)).sum(), each.max(axis=(1, 2)).sum()
    return np.array([low - loose, (more[:, 1] * costs.prices[:, 1]).sum(), high + loose])
