"""Tags of many places as columns of figures, and the machine as it goes on the road."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldmap.machine import Machine, Transport
from fieldmap.roads.tags import NO_FIGURE, Said
from fieldmap.roads.verdict import Floats, Mask

Tags = Mapping[str, str]
Texts = NDArray[np.object_]
#: Stands in a key for the direction driven, see :func:`directed`.
HERE = ":here"
_BOUND = ("forward", "backward")
#: How the key of a limit may end: for both directions, for the one driven; at a node, where legs
#: of both directions meet, the other two are still there and all of them count.
WAYS = ("", HERE, ":forward", ":backward")
_LONGEST_SAID = 100  # letters of a tag that stand in a sentence
#: Of the whole mass; axles that carry less than the rest are not all there.
_MASS_SLACK = 0.15


@dataclass(frozen=True, eq=False)
class Figures:
    """A tag's figures, NaN where there is none; where one cannot be read; the tag itself."""

    value: Floats
    doubt: Mask
    tag: Texts


class OnAxle(NamedTuple):
    """What one axle carries (kg) and how far behind the first one it is (m)."""

    position_m: float
    mass_kg: float


@dataclass(frozen=True, slots=True)
class OnRoad:
    """The machine in one transport state; NaN is not known. Metres and kilograms.

    ``axle_kg`` is the heaviest axle; ``axles`` are all of them from the front, none when they
    are not known or do not carry the whole mass.
    """

    width_m: float
    height_m: float
    length_m: float
    mass_kg: float
    axle_kg: float
    axles: tuple[OnAxle, ...] = ()


@dataclass(frozen=True, eq=False)
class Places:
    """Places (legs or nodes) that share tags: the different tags, and each place's row there."""

    tags: Sequence[Tags]
    row: NDArray[np.int64]

    @functools.cached_property
    def holders(self) -> dict[str, list[int]]:
        """Key -> rows of the different tags that have it."""
        found: dict[str, list[int]] = {}
        for row, one in enumerate(self.tags):
            for key in one:
                found.setdefault(key, []).append(row)
        return found

    def rows_with(self, *keys: str) -> list[int]:
        """Rows of the different tags that have any of these keys, in order."""
        return sorted({row for key in keys for row in self.holders.get(key, ())})

    def least(self, keys: Sequence[str], read: Callable[[str | None], Said]) -> Figures:
        """The least figure of several tags; in doubt where one cannot be read or gives none.

        The tag that is told is the one that cannot be read, else the one with the least figure.
        """
        value = np.full(len(self.tags), np.nan)
        doubt = np.zeros(len(self.tags), dtype=bool)
        tag = no_texts(len(self.tags))
        for key in keys:
            for row in self.holders.get(key, ()):
                said = read(self.tags[row][key])
                if said.value is None:
                    unclear = said.word in ("unreadable", "below_default")
                    doubt[row] |= unclear
                    less = unclear
                else:
                    less = not doubt[row] and not value[row] <= said.value
                    value[row] = np.fmin(value[row], said.value)
                if less:
                    tag[row] = as_said(key, self.tags[row][key])
        return Figures(value[self.row], doubt[self.row], tag[self.row])

    def spread(self, held: Mapping[int, Any], otherwise: Any, kind: Any) -> NDArray[Any]:
        """Answers for some of the different tags, laid on all places."""
        answer = np.full(len(self.tags), otherwise, dtype=kind)
        for row, one in held.items():
            answer[row] = one
        return answer[self.row]

    def any_of(self, key: str, values: frozenset[str]) -> Mask:
        """Where a tag has one of these values; of several (``a;b``) any may be one of them."""
        return self._where([key], lambda said: not values.isdisjoint(parts_of(said)))

    def has(self, *keys: str, but: frozenset[str] = frozenset(("no",))) -> Mask:
        """Where any of the tags is there with another value than these."""
        return self._where(keys, lambda said: said not in but)

    def texts(self, *keys: str) -> Texts:
        """The tags with these keys as people read them, "" where there are none."""
        told = {
            row: ", ".join(as_said(key, self.tags[row][key]) for key in keys if key in tags)
            for row in self.rows_with(*keys)
            for tags in (self.tags[row],)
        }
        return self.spread(told, "", object)

    def _where(self, keys: Sequence[str], holds: Callable[[str], bool]) -> Mask:
        there = np.zeros(len(self.tags), dtype=bool)
        once = functools.cache(holds)
        for key in keys:
            rows = self.holders.get(key, ())
            there[[row for row in rows if once(self.tags[row][key])]] = True
        return there[self.row]


def no_texts(count: int) -> Texts:
    """As many empty words."""
    return np.full(count, "", dtype=object)


def parts_of(said: str) -> frozenset[str]:
    """The values of a tag that names several."""
    return frozenset(one.strip() for one in said.split(";"))


def as_said(key: str, said: str) -> str:
    """A tag as people read it: ``maxheight=3.2``; a very long one is cut.

    Examples
    --------
    >>> as_said("maxheight:here", "3.2"), as_said("ford", "yes")
    ('maxheight=3.2 in this direction', 'ford=yes')
    """
    short = said if len(said) <= _LONGEST_SAID else f"{said[:_LONGEST_SAID]}..."
    if HERE in key:
        return f"{key.replace(HERE, '')}={short} in this direction"
    return f"{key}={short}"


def says_a_limit(tags: Tags, key: str) -> bool:
    """Whether a tag is there and does not just say that there is no limit."""
    return tags.get(key, "none") not in NO_FIGURE


def directed(tags: Sequence[Tags]) -> list[Tags]:
    """The tags of every directed leg: each leg along its line, then against it.

    ``maxheight:forward`` stands as ``maxheight:here`` along the line and is gone against it;
    ``:backward`` the other way round, also in the middle of a key. A leg without such a key
    keeps its own dictionary, so that legs of one way still share theirs.

    Examples
    --------
    >>> directed([{"maxheight:forward": "3.2", "name": "Low Lane"}])
    [{'maxheight:here': '3.2', 'name': 'Low Lane'}, {'name': 'Low Lane'}]
    >>> directed([{"maxweight:backward:conditional": "3 @ wet"}])
    [{}, {'maxweight:here:conditional': '3 @ wet'}]
    >>> directed([])
    []
    """
    turned: dict[int, tuple[Tags, Tags]] = {}
    found: list[Tags] = []
    for one in tags:
        if id(one) not in turned:
            bound = any(":forward" in key or ":backward" in key for key in one)
            turned[id(one)] = (_here(one, 0), _here(one, 1)) if bound else (one, one)
        found += turned[id(one)]
    return found


def _here(tags: Tags, side: int) -> Tags:
    own, other = _BOUND[side], _BOUND[1 - side]
    here: dict[str, str] = {}
    for key, held in tags.items():
        first, *more = key.split(":")
        if other not in more:
            named = [HERE[1:] if part == own else part for part in more]
            here[":".join([first, *named])] = held
    return here


def places_of(tags: Sequence[Tags]) -> Places:
    """Places by their tags; the legs of one way share one set of tags."""
    seen: dict[int, int] = {}
    row = np.array([seen.setdefault(id(one), len(seen)) for one in tags], dtype=np.int64)
    different: list[Tags] = [{}] * len(seen)
    for one in tags:
        different[seen[id(one)]] = one
    return Places(different, row)


def on_road(machine: Machine, state: Transport) -> OnRoad:
    """The figures that the checks hold against the road."""
    axles = sorted(OnAxle(axle.position_m, axle.mass_kg) for axle in machine.axles)
    carried = sum(axle.mass_kg for axle in axles)
    whole = carried >= (1.0 - _MASS_SLACK) * (machine.mass_kg or 0.0)
    return OnRoad(
        width_m=_or_nan(state.width_m),
        height_m=_or_nan(state.height_m),
        length_m=_or_nan(state.length_m),
        mass_kg=_or_nan(machine.mass_kg),
        axle_kg=max(axle.mass_kg for axle in axles) if axles and whole else np.nan,
        axles=tuple(axles) if whole else (),
    )


def _or_nan(value: float | None) -> float:
    return np.nan if value is None else value
