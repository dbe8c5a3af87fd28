"""Two people looked at the same ground: how many things there are, from what both saw.

Taken for granted: all things are as easy to see, neither person knew of the other's finds, and
both looked at the same ground. A thing that nobody can see, such as buried wire, is never
counted, and who knows where the other's marks are finds them more easily: both make the
answer too low. The true number is at least this.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Mapping
from typing import NamedTuple

from fieldmap.errors import Fault, InputError

ASSUMED = (
    "Taken for granted: every thing is as easy to see, neither knew of the other's finds, and "
    "both looked over the same ground; what is buried is never counted, so the true number is "
    "at least this."
)
_NORMAL_95 = 1.959963984540054


class Counted(NamedTuple):
    """How many there are, from two looks.

    ``chapman`` with ``variance`` and ``se`` is the figure to use; ``low`` and ``high`` are its
    normal 95 % range, the low end never below ``found``, the things found in all.
    ``chance_first``, ``chance_second``, ``chance_either`` are the chances that the first, the
    second, or at least one of the two saw a thing.
    """

    first: int
    second: int
    both: int
    found: int
    lincoln_petersen: float
    chapman: float
    variance: float
    se: float
    low: float
    high: float
    chance_first: float
    chance_second: float
    chance_either: float


class TwoLooks(NamedTuple):
    """What two people's looks say, or ``None``; ``people`` who they are; ``why`` in words."""

    counted: Counted | None
    people: tuple[str, ...]
    why: str


def lincoln_petersen(first: int, second: int, both: int) -> float:
    """The plain estimate n1 n2 / m; without bound when the two had nothing in common.

    Raises
    ------
    InputError
        The counts cannot be.

    Examples
    --------
    >>> lincoln_petersen(10, 15, 5), lincoln_petersen(3, 4, 0)
    (30.0, inf)
    """
    _possible(first, second, both)
    return first * second / both if both else math.inf


def chapman(first: int, second: int, both: int) -> float:
    """Chapman's estimate (n1 + 1)(n2 + 1) / (m + 1) - 1: nearly unbiased, and always finite.

    Raises
    ------
    InputError
        The counts cannot be.

    Examples
    --------
    >>> round(chapman(10, 15, 5), 3)
    28.333
    """
    _possible(first, second, both)
    return (first + 1) * (second + 1) / (both + 1) - 1.0


def chapman_variance(first: int, second: int, both: int) -> float:
    """Variance of Chapman's estimate.

    Raises
    ------
    InputError
        The counts cannot be.

    Examples
    --------
    >>> round(chapman_variance(10, 15, 5), 3)
    34.921
    """
    _possible(first, second, both)
    alone = (first - both) * (second - both)
    return (first + 1) * (second + 1) * alone / ((both + 1) ** 2 * (both + 2))


def counted(first: int, second: int, both: int) -> Counted:
    """Everything that two looks say.

    Parameters
    ----------
    first, second : int
        Things that the first and the second person found; at least one each.
    both : int
        Things that both found.

    Raises
    ------
    InputError
        The counts cannot be, or one of the two found nothing.

    Examples
    --------
    >>> two = counted(24, 20, 12)
    >>> two.chance_first, two.chance_second, two.chance_either, two.found
    (0.6, 0.5, 0.8, 32)
    >>> two.found / two.chance_either == two.lincoln_petersen
    True
    """
    _possible(first, second, both)
    if min(first, second) < 1:
        raise InputError(
            _fault("a look without a find", first, second, both, "nothing can be held beside it")
        )
    middle, variance = chapman(first, second, both), chapman_variance(first, second, both)
    half = _NORMAL_95 * math.sqrt(variance)
    found = first + second - both
    one, other = both / second, both / first
    return Counted(
        first=first,
        second=second,
        both=both,
        found=found,
        lincoln_petersen=lincoln_petersen(first, second, both),
        chapman=middle,
        variance=variance,
        se=math.sqrt(variance),
        low=max(middle - half, float(found)),
        high=middle + half,
        chance_first=one,
        chance_second=other,
        chance_either=1.0 - (1.0 - one) * (1.0 - other),
    )


def double_observer(seen_by: Mapping[str, Collection[str]]) -> TwoLooks:
    """The count of the two people who found most, where two looked.

    Parameters
    ----------
    seen_by : mapping of str to collection of str
        Hazard -> the people who each saw it. Names that differ in case or blanks only are one
        person; nobody ("") is no person.

    Returns
    -------
    TwoLooks
        ``counted`` is ``None`` when fewer than two people found anything. What others found
        beside the two counts too: neither the estimate nor its ends are below what was found.

    Examples
    --------
    >>> looks = double_observer({"a": {"Ann", "Bo"}, "b": {"Ann"}, "c": {"Bo"}})
    >>> looks.people, looks.counted.chapman, looks.counted.low
    (('Ann', 'Bo'), 3.5, 3.0)
    >>> double_observer({"a": {"Ann"}, "b": {"ann "}}).why
    'Only Ann is written down as a finder: two people have to look for such a count.'
    >>> double_observer({}).counted is None
    True
    """
    names: dict[str, str] = {}
    people_of = [_people(people, names) for people in seen_by.values()]
    people_of = [people for people in people_of if people]
    finds = Counter(person for people in people_of for person in people)
    order = sorted(finds, key=lambda person: (-finds[person], person))
    if len(order) < 2:
        who = f"Only {names[order[0]]}" if order else "Nobody"
        return TwoLooks(
            None,
            tuple(names[person] for person in order),
            f"{who} is written down as a finder: two people have to look for such a count.",
        )
    one, other = order[:2]
    both = sum(one in people and other in people for people in people_of)
    count = _at_least(counted(finds[one], finds[other], both), len(seen_by))
    why = (
        f"{names[one]} found {count.first}, {names[other]} {count.second}, "
        f"both of them {count.both}."
    )
    return TwoLooks(count, (names[one], names[other]), why)


def _people(said: Collection[str], names: dict[str, str]) -> set[str]:
    """Persons by one spelling; ``names`` keeps how each is written, the first by the alphabet."""
    people = set()
    for name in filter(None, (" ".join(held.split()) for held in said)):
        key = name.casefold()
        names[key] = min(name, names.get(key, name))
        people.add(key)
    return people


def _at_least(count: Counted, found: int) -> Counted:
    """The count raised to what was found in all, by whomever."""
    found = max(found, count.found)
    return count._replace(
        found=found,
        chapman=max(count.chapman, float(found)),
        low=max(count.low, float(found)),
        high=max(count.high, float(found)),
    )


def _possible(first: int, second: int, both: int) -> None:
    if not 0 <= both <= min(first, second):
        raise InputError(
            _fault("counts that cannot be", first, second, both, "nobody sees more than is seen")
        )


def _fault(what: str, first: int, second: int, both: int, why: str) -> Fault:
    return Fault(
        what,
        f"{first}, {second}, both {both}",
        why,
        "count again: what both found is part of what each found",
    )
