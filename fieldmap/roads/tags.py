"""Widths, heights and masses as people tag them on the map.

The rules are those of the map's own wiki: metres and tonnes when no unit stands there, one
space before a unit, feet and inches without a space (``12'6"``), a point for the decimal.
Whatever breaks them is unreadable, and so unknown; nothing is guessed. Several figures
(``3;4``) and a condition in a plain tag (``3.5 @ (hgv)``) are unreadable too.
Source: https://wiki.openstreetmap.org/wiki/Map_Features/Units
"""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass
from typing import Literal

from fieldmap.units import (
    KG_PER_POUND,
    KG_PER_SHORT_TON,
    KG_PER_TONNE,
    METRE_PER_FOOT,
    METRE_PER_INCH,
    METRE_PER_MILE,
)

#: Values that say there is no figure to keep.
NO_FIGURE = frozenset(("default", "none", "unsigned", "no_sign"))
Word = Literal["figure", "none", "below_default", "unreadable", "missing"]

_PLAIN = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,30})?)(?: ([a-z]+))?")
_FEET = re.compile(r"([0-9]{1,9})'(?:([0-9]{1,2}(?:\.[0-9]{1,30})?)\")?")
_METRES = {"": 1.0, "m": 1.0, "km": 1000.0, "ft": METRE_PER_FOOT, "mi": METRE_PER_MILE}
_KILOGRAMS = {
    "": KG_PER_TONNE,
    "t": KG_PER_TONNE,
    "st": KG_PER_SHORT_TON,
    "kg": 1.0,
    "lbs": KG_PER_POUND,
    "lb": KG_PER_POUND,
}


@dataclass(frozen=True, slots=True)
class Said:
    """What a tag says: a figure (SI), or the kind of nothing it says instead."""

    value: float | None
    word: Word


_MISSING = Said(None, "missing")
_UNREADABLE = Said(None, "unreadable")


@functools.lru_cache(maxsize=4096)
def length_m(text: str | None) -> Said:
    r"""A length in metres.

    Examples
    --------
    >>> length_m("3.8").value, round(length_m("12'6\"").value, 3)
    (3.8, 3.81)
    >>> length_m("0,6").word, length_m("default").word, length_m(None).word
    ('unreadable', 'none', 'missing')
    """
    if text is None:
        return _MISSING
    feet = _FEET.fullmatch(text)
    if feet:
        inches = float(feet[2] or 0.0)
        metres = int(feet[1]) * METRE_PER_FOOT + inches * METRE_PER_INCH
        return Said(metres, "figure") if inches < 12 and metres > 0 else _UNREADABLE
    return _plain(text, _METRES)


@functools.lru_cache(maxsize=4096)
def mass_kg(text: str | None) -> Said:
    """A mass in kilograms.

    Examples
    --------
    >>> mass_kg("3.5").value, mass_kg("5500 kg").value
    (3500.0, 5500.0)
    >>> mass_kg("heavy").word
    'unreadable'
    """
    return _MISSING if text is None else _plain(text, _KILOGRAMS)


def _plain(text: str, units: dict[str, float]) -> Said:
    if text in NO_FIGURE:
        return Said(None, "none")
    if text == "below_default":
        return Said(None, "below_default")
    found = _PLAIN.fullmatch(text)
    factor = units.get(found[2] or "") if found else None
    if found is None or factor is None or float(found[1]) <= 0:
        return _UNREADABLE
    return Said(float(found[1]) * factor, "figure")
