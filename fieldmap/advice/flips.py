"""Which single figure would change the advice, and at what value.

Costs are straight lines in every price and in every number of things, so the value at which
another setting becomes the cheapest is exact.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldmap.advice.costs import SHARES, Costs, Share
from fieldmap.risk.left_words import few

#: A figure more than so many times itself, or less than its like part, is not told.
MOST_TIMES = 20.0
_NOTHING = 1e-12


class Flip(NamedTuple):
    """A figure at which another option becomes the cheapest.

    ``figure`` is the driver's value there, ``factor`` times what it is now; ``option`` the one
    that wins beyond it.
    """

    driver: str
    factor: float
    figure: float
    option: int
    words: str


class _Driver(NamedTuple):
    name: str
    moves: Callable[[Share], bool]
    words: str
    shown: Callable[[float], str]


def _money(figure: float) -> str:
    return f"{figure:,.0f}" if figure >= 10 else f"{figure:.2g}"


def _price(name: str, words: str) -> _Driver:
    return _Driver(name, lambda share: share.price == name, words, _money)


def _number(name: str) -> _Driver:
    words = f"With {{side}} than {{at}} {name} (reckoned: {{now}})"
    return _Driver(name, lambda share: share.counted == name, words, few)


_PRICES = (
    _price("strike", "If mending what a strike broke cost {side} than {at} (now {now})"),
    _price("knife", "If a knife cost {side} than {at} (now {now})"),
    _price("hour", "If an hour of machine and driver cost {side} than {at} (now {now})"),
    _price("bale", "If a bale thrown away cost {side} than {at} (now {now})"),
    _price("hay_t", "With hay at {side} than {at} a tonne (now {now})"),
)
_NUMBERS = tuple(_number(name) for name in dict.fromkeys(s.counted for s in SHARES) if name)


def flips(
    costs: Costs,
    best: int,
    inside: NDArray[np.bool_],
    *,
    numbers: Mapping[str, float],
    names: Sequence[str],
) -> tuple[Flip, ...]:
    """For each price and each number of things the nearest value that changes the advice.

    Parameters
    ----------
    costs : Costs
    best : int
        The option advised.
    inside : ndarray of bool, shape (options,)
        Those that might be advised.
    numbers : mapping of str to float
        How many of each thing counted the advised option meets.
    names : sequence of str
        What the options are called.

    Notes
    -----
    With all else as it is, option o costs A(o) + f B(o) where f is the driver over what it is
    now. It draws level with the best b at f = (A(o) - A(b)) / (B(b) - B(o)).
    """
    values = costs.values()
    found = []
    for driver in (*_PRICES, *_NUMBERS):
        moves = np.array([driver.moves(share) for share in SHARES])
        moving = values[moves].sum(axis=0)
        crossing = _nearest(values[~moves].sum(axis=0), moving, best, inside)
        if crossing is None:
            continue
        factor, option, grows = crossing
        first = int(np.flatnonzero(moves)[0])
        now = numbers[driver.name] if driver in _NUMBERS else float(costs.prices[first, 1])
        words = driver.words.format(
            side="more" if grows else "less" if driver in _PRICES else "fewer",
            at=driver.shown(factor * now),
            now=driver.shown(now),
        )
        sentence = f"{words}, the advice would be {names[option]}."
        found.append(Flip(driver.name, factor, factor * now, option, sentence))
    return tuple(found)


def _nearest(
    still: NDArray[np.float64],
    moving: NDArray[np.float64],
    best: int,
    inside: NDArray[np.bool_],
) -> tuple[float, int, bool] | None:
    """The factor nearest to 1 at which an option draws level with the best.

    With it that option, and whether it wins beyond the factor, not below it.
    """
    saved = moving[best] - moving
    others = inside & (np.abs(saved) > _NOTHING)
    others[best] = False
    if not others.any():
        return None
    factors = np.full(len(moving), np.inf)
    factors[others] = (still - still[best])[others] / saved[others]
    usable = others & (factors > 1.0 / MOST_TIMES) & (factors < MOST_TIMES)
    if not usable.any():
        return None
    away = np.where(usable, np.abs(np.log(np.where(usable, factors, 1.0))), math.inf)
    option = int(np.argmin(away))
    return float(factors[option]), option, bool(saved[option] > 0)
