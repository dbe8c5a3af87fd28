"""Limits that a sign or a law gives: the figure, what holds under conditions, and who is meant.

A limit for agricultural vehicles beats that for all motor vehicles, and so on up; one for lorries
or buses is nobody's here. Between directions the least counts. Signs with conditions, for
trailers or by lane are kept where the machine is within their least figure; else nobody knows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from fieldmap.roads.conditional import OTHERS, clauses
from fieldmap.roads.facts import WAYS, Figures, OnRoad, Places, Tags, Texts, as_said
from fieldmap.roads.tags import NO_FIGURE, Said
from fieldmap.roads.verdict import (
    ASSUMED,
    MAPPED,
    MEASURED,
    PASS,
    UNKNOWN,
    Floats,
    Mask,
    Rule,
    figure,
    too_small,
)

_NO_LIMIT = NO_FIGURE | {""}
Read = Callable[[str | None], Said]
#: Whom a limit may be bound to, from the special to the general.
OURS = (":agricultural", ":motor_vehicle", ":vehicle", "")
_OURS = frozenset(one[1:] for one in OURS)
_DIRECTIONS = frozenset(way[1:] for way in WAYS)
#: Parts of a key after which it is no limit for a farm machine on the road.
_NOT_OURS = OTHERS | {"physical", "source", "signed", "note", "description"}


class _One(NamedTuple):
    """What the tags of one way say of a limit."""

    value: float = np.nan
    tag: str = ""
    doubt: str = ""
    least_maybe: float = np.nan
    maybe: str = ""
    lifted: str = ""


@dataclass(frozen=True, eq=False)
class Limit:
    """A limit at many places, one entry a place.

    ``value`` is the figure that holds without conditions; ``doubt`` where one stands that cannot
    be read; ``maybe`` the least figure that may hold (0 when it cannot be read); ``lifted`` where
    a condition may lift the figure. The texts are the tags behind them.
    """

    value: Floats
    tag: Texts
    doubt: Mask
    doubt_tag: Texts
    maybe: Floats
    maybe_tag: Texts
    lifted: Mask
    lifted_tag: Texts

    def is_there(self) -> Mask:
        """Where any figure is posted, also under conditions."""
        return np.isfinite(self.value) | np.isfinite(self.maybe)

    def kept(self, need: Floats) -> Mask:
        """Where a figure is posted at all hours and surely kept, under every condition."""
        within = ~(self.value < need) & ~(self.maybe < need) & ~self.doubt
        return np.isfinite(self.value) & within & np.isfinite(need)


def limit_of(places: Places, key: str, read: Read, machine: OnRoad) -> Limit:
    """Read a limit with all that may be bound to it: vehicles, direction, conditions.

    Parameters
    ----------
    places : Places
        Of directed legs, see :func:`fieldmap.roads.facts.directed`, or of nodes.
    key : str
        ``maxwidth``, ``maxheight``, ``maxlength``, ``maxweight``, ``maxaxleload`` ...
    read : callable
        The grammar of the figure.
    machine : OnRoad
        For conditions that name a size.
    """
    family = [one for one in places.holders if one == key or one.startswith(f"{key}:")]
    held = {row: _read(places.tags[row], key, read, machine) for row in places.rows_with(*family)}
    columns = [places.spread({row: one[at] for row, one in held.items()}, *empty) for at, empty in
               enumerate(((np.nan, float), ("", object), ("", object), (np.nan, float),
                          ("", object), ("", object)))]  # fmt: skip
    value, tag, doubt, maybe, maybe_tag, lifted = columns
    return Limit(value, tag, doubt != "", doubt, maybe, maybe_tag, lifted != "", lifted)


def _read(tags: Tags, key: str, read: Read, machine: OnRoad) -> _One:
    found = _plain(tags, key, read)
    for name, said in tags.items():
        if not name.startswith(f"{key}:"):
            continue
        parts = set(name.split(":")[1:]) - _DIRECTIONS
        if parts <= _OURS or not _NOT_OURS.isdisjoint(parts):
            continue
        if parts <= _OURS | {"conditional"}:
            found = _with_conditions(found, name, said, read, machine)
        else:
            # for trailers, by lane, or a word not known here: nobody can tell whether it binds
            figures = [read(one).value for one in said.split("|") if one not in _NO_LIMIT]
            found = _with_maybe(found, figures, as_said(name, said))
    return found


def _plain(tags: Tags, key: str, read: Read) -> _One:
    """The figure of the most special key that says anything, the least of both directions."""
    for whose in OURS:
        names = [one for one in (f"{key}{whose}{way}" for way in WAYS) if one in tags]
        if names:
            break
    one = _One()
    for name in names:
        said = read(tags[name])
        if said.value is not None and not one.value <= said.value:
            one = one._replace(value=said.value, tag=as_said(name, tags[name]))
        if said.word in ("unreadable", "below_default"):
            one = one._replace(doubt=as_said(name, tags[name]))
    return one


def _with_conditions(one: _One, name: str, said: str, read: Read, machine: OnRoad) -> _One:
    told = as_said(name, said)
    held = clauses(said)
    if held is None:
        return _with_maybe(one, [None], told)
    lifting = [
        clause
        for clause in held
        if not clause.is_for_others()
        and (clause.value in NO_FIGURE or (read(clause.value).value or 0.0) > one.value)
    ]
    if lifting:
        one = one._replace(lifted=told)
    binding = [
        read(clause.value).value
        for clause in held
        if clause.value not in NO_FIGURE and clause.may_bind(machine)
    ]
    return _with_maybe(one, binding, told)


def _with_maybe(one: _One, figures: list[float | None], told: str) -> _One:
    least = min((0.0 if figure is None else figure for figure in figures), default=np.inf)
    if least < np.inf and not one.least_maybe <= least:
        return one._replace(least_maybe=least, maybe=told)
    return one


class Words(NamedTuple):
    """The sentences of one limit."""

    name: str  # "width limit"
    size: str  # "transport width"


def limit_rules(limit: Limit, need: Floats, measured: Floats, words: Words) -> Iterator[Rule]:
    """What a limit says at each place; what was read off a sign on the spot wins over the map.

    Where no figure holds at all hours, and none that may hold is broken, no rule holds: see
    :func:`unposted`.
    """
    name = words.name
    yield Rule(
        (limit.is_there() | np.isfinite(measured)) & np.isnan(need),
        UNKNOWN,
        MAPPED,
        f"A {name} is posted and the machine's {words.size} is not known.",
        tag=limit.tag,
    )
    yield figure(measured, need, MEASURED, f"The {name} was read on the spot.")
    lifted = replace(
        too_small(limit.value, need, f"The posted {name} is too low, and a condition may lift it."),
        level=UNKNOWN,
        tag=limit.lifted_tag,
    )
    yield replace(lifted, where=lifted.where & limit.lifted)
    yield too_small(limit.value, need, f"The posted {name} is too low.", tag=limit.tag)
    yield Rule(
        limit.doubt,
        UNKNOWN,
        MAPPED,
        f"A {name} stands on the map but gives no figure to hold against.",
        tag=limit.doubt_tag,
    )
    conditions = f"A {name} holds under conditions that a sign gives."
    yield Rule(limit.maybe < need, UNKNOWN, MAPPED, conditions, tag=limit.maybe_tag)
    yield figure(limit.value, need, MAPPED, f"The posted {name} is kept.", tag=limit.tag)


def unposted(limit: Limit, words: Words) -> list[Rule]:
    """Where no limit holds at all hours, nothing is known against it; for checks of signs only."""
    return [
        Rule(
            np.isfinite(limit.maybe),
            PASS,
            MAPPED,
            f"The {words.name} under conditions is kept.",
            limit.maybe,
            limit.maybe,
            limit.maybe_tag,
        ),
        Rule(np.isnan(limit.value), PASS, ASSUMED, f"No {words.name} is mapped."),
    ]


def what_fits(
    places: Places, key: str, read: Read, machine: OnRoad, *, read_off: Floats
) -> Figures:
    """The physical figure of a limit: ``:physical`` where it is given, else the plain one.

    The wiki asks for the lesser of both when one figure only is mapped, so the plain one
    stands for what fits as well; what was read off the sign stands in its place.
    """
    own = places.least([f"{key}:physical{way}" for way in WAYS], read)
    sign = limit_of(places, key, read, machine)
    given = np.isfinite(own.value) | own.doubt
    seen = np.isfinite(read_off)
    value = np.where(seen, read_off, sign.value)
    doubt = sign.doubt & ~seen
    tag = np.where(seen, "read off the sign", np.where(sign.doubt, sign.doubt_tag, sign.tag))
    return Figures(
        np.where(given, own.value, value),
        np.where(given, own.doubt, doubt),
        np.where(given, own.tag, tag),
    )
