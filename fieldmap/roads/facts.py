"""Tags of many places as columns of figures, and the machine as it goes on the road."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldmap.machine import Machine, Transport
from fieldmap.roads.tags import Said
from fieldmap.roads.verdict import Floats, Mask

Tags = Mapping[str, str]


@dataclass(frozen=True, eq=False)
class Figures:
    """A tag's figures, NaN where there is none; where it said something else than a figure."""

    value: Floats
    doubt: Mask


@dataclass(frozen=True, slots=True)
class OnRoad:
    """The machine in one transport state; NaN is not known. Metres and kilograms."""

    width_m: float
    height_m: float
    length_m: float
    mass_kg: float
    axle_kg: float


@dataclass(frozen=True, eq=False)
class Places:
    """Places (legs or nodes) that share tags: the different tags, and each place's row there."""

    tags: Sequence[Tags]
    row: NDArray[np.int64]

    def least(self, keys: Sequence[str], read: Callable[[str | None], Said]) -> Figures:
        """The least figure of several tags; in doubt where one cannot be read or gives none."""
        value = np.full(len(self.tags), np.nan)
        doubt = np.zeros(len(self.tags), dtype=bool)
        for key in keys:
            said = [read(one.get(key)) for one in self.tags]
            figure = [np.nan if one.value is None else one.value for one in said]
            value = np.fmin(value, np.array(figure, dtype=float))
            doubt |= np.array(
                [one.word in ("unreadable", "below_default") for one in said], dtype=bool
            )
        return Figures(value[self.row], doubt[self.row])

    def words(self, key: str) -> NDArray[np.object_]:
        """The text of one tag at each place, "" where it is missing."""
        held = np.empty(len(self.tags), dtype=object)
        held[:] = [one.get(key, "") for one in self.tags]
        return held[self.row]

    def any_of(self, key: str, values: frozenset[str]) -> Mask:
        """Where a tag has one of these values."""
        return np.array([one.get(key) in values for one in self.tags], dtype=bool)[self.row]

    def has(self, *keys: str, but: tuple[str, ...] = ("no",)) -> Mask:
        """Where any of the tags is there with another value than these."""
        there = [any(key in one and one[key] not in but for key in keys) for one in self.tags]
        return np.array(there, dtype=bool)[self.row]


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
    axles = [axle.mass_kg for axle in machine.axles]
    return OnRoad(
        width_m=_or_nan(state.width_m),
        height_m=_or_nan(state.height_m),
        length_m=_or_nan(state.length_m),
        mass_kg=_or_nan(machine.mass_kg),
        axle_kg=max(axles) if axles else np.nan,
    )


def _or_nan(value: float | None) -> float:
    return np.nan if value is None else value
