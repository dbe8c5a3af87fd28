"""What a tag says under conditions: ``no @ (hgv)``, ``3.5 @ (22:00-06:00); none @ destination``.

Grammar: https://wiki.openstreetmap.org/wiki/Conditional_restrictions . Days, hours, weather and
purposes are not weighed here: whatever is not surely about somebody else may hold for a farm
machine at the hour it comes by.
"""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass, field

import numpy as np

from fieldmap.roads.facts import OnRoad
from fieldmap.roads.tags import Said, length_m, mass_kg

#: Vehicles and users that a farm machine on the road is surely none of.
OTHERS = frozenset(
    (
        "bicycle",
        "bus",
        "caravan",
        "coach",
        "emergency",
        "foot",
        "goods",
        "hgv",
        "hgv_articulated",
        "horse",
        "moped",
        "mofa",
        "motorcar",
        "motorcycle",
        "motorhome",
        "psv",
        "share_taxi",
        "taxi",
        "tourist_bus",
        "trailer:caravan",
    )
)
_AND = re.compile(r"\s+AND\s+", re.IGNORECASE)
_MORE_THAN = re.compile(r"(width|height|length|weight|axleload)\s*>=?\s*(.+)", re.IGNORECASE)
_FIGURE = {
    "width": ("width_m", length_m),
    "height": ("height_m", length_m),
    "length": ("length_m", length_m),
    "weight": ("mass_kg", mass_kg),
    "axleload": ("axle_kg", mass_kg),
}


@dataclass(frozen=True, slots=True)
class Clause:
    """One value and the conditions under which it holds, all of them together."""

    value: str
    conditions: tuple[str, ...] = field(default=())

    def is_for_others(self) -> bool:
        """Whether it binds or lifts for vehicles only that a farm machine is none of."""
        return any(one.lower() in OTHERS for one in self.conditions)

    def may_bind(self, machine: OnRoad) -> bool:
        """Whether it may hold for this machine: not for others, and not for bigger ones only."""
        return not self.is_for_others() and not any(_keeps(machine, one) for one in self.conditions)


@functools.lru_cache(maxsize=4096)
def clauses(text: str) -> tuple[Clause, ...] | None:
    """The clauses of a conditional tag; ``None`` when it cannot be read.

    Examples
    --------
    >>> clauses("no @ (weight>7.5 AND 22:00-06:00)")[0].conditions
    ('weight>7.5', '22:00-06:00')
    >>> [one.value for one in clauses("3.5 @ (Mo-Fr 07:00-09:00; Sa 08:00-12:00); none @ wet")]
    ['3.5', 'none']
    >>> clauses("no") is None, clauses("") is None
    (True, True)
    """
    found = []
    for part in _split(text):
        value, at, condition = part.partition("@")
        held = condition.strip()
        if held.startswith("(") and held.endswith(")"):
            held = held[1:-1].strip()
        if not at or not value.strip() or not held:
            return None
        found.append(Clause(value.strip(), tuple(one.strip() for one in _AND.split(held))))
    return tuple(found) or None


def _split(text: str) -> list[str]:
    """Parts between semicolons that stand in no brackets."""
    parts, depth = [""], 0
    for letter in text:
        depth += {"(": 1, ")": -1}.get(letter, 0)
        if letter == ";" and depth <= 0:
            parts.append("")
        else:
            parts[-1] += letter
    return [one.strip() for one in parts if one.strip()]


def _keeps(machine: OnRoad, condition: str) -> bool:
    """Whether a condition asks for a machine bigger than this one surely is."""
    found = _MORE_THAN.fullmatch(condition)
    if found is None:
        return False
    attribute, read = _FIGURE[found[1].lower()]
    limit: Said = read(found[2].strip())
    # at the figure itself both > and >= are taken to hold: nothing is lost by asking
    return limit.value is not None and bool(np.all(getattr(machine, attribute) < limit.value))
