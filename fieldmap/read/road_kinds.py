"""The kinds of road checks: what may be measured or answered where, and in which unit."""

from __future__ import annotations

import re
from typing import NamedTuple

from fieldmap.units import (
    KG_PER_POUND,
    KG_PER_SHORT_TON,
    KG_PER_TONNE,
    METRE_PER_FOOT,
    METRE_PER_INCH,
)

#: Factor to the unit inside for each unit a person may name.
UNITS = {
    "m": {"m": 1.0, "ft": METRE_PER_FOOT, "in": METRE_PER_INCH},
    "kg": {"kg": 1.0, "t": KG_PER_TONNE, "lb": KG_PER_POUND, "st": KG_PER_SHORT_TON},
}
_ROADS = ("way", "leg")
_ANYWHERE = ("way", "leg", "node")
_SORTS = {
    "way": re.compile(r"way/[0-9]+"),
    "node": re.compile(r"node/[0-9]+"),
    "leg": re.compile(r"leg/[0-9]+-[0-9]+"),
    "turn": re.compile(r"turn/[0-9]+-[0-9]+/[0-9]+-[0-9]+"),
}
_MOST_M, _MOST_KG = 60.0, 200_000.0


class Kind(NamedTuple):
    """One kind of road check.

    ``unit`` is ``m`` or ``kg``, "" for a yes or no; ``at`` the sorts of places it belongs to;
    a figure outside ``likely`` has to name its unit, for it may be feet or tonnes; ``most`` is
    the largest that is taken. ``needs_machine``: a yes holds for one machine only.
    """

    words: str
    unit: str
    at: tuple[str, ...]
    likely: tuple[float, float] = (0.0, 0.0)
    most: float = 0.0
    needs_machine: bool = False


def _metres(words: str, at: tuple[str, ...], least: float, most: float) -> Kind:
    return Kind(words, "m", at, (least, most), _MOST_M)


KINDS: dict[str, Kind] = {
    "width": _metres("narrowest width between what stands at both sides", _ANYWHERE, 1.0, 7.5),
    "opening": _metres("clear opening", _ANYWHERE, 1.0, 7.5),
    "height": _metres("clear height, measured", _ANYWHERE, 1.5, 7.0),
    "width_limit": _metres("width limit, read off the sign", _ANYWHERE, 1.0, 7.5),
    "height_limit": _metres("height limit, read off the sign", _ANYWHERE, 1.5, 7.0),
    "length_limit": _metres("length limit, read off the sign", _ANYWHERE, 3.0, 26.0),
    "mass": Kind("mass limit: sign or owner", "kg", _ANYWHERE, (500.0, _MOST_KG), _MOST_KG),
    "axle": Kind("axle limit: sign or owner", "kg", _ANYWHERE, (300.0, 20_000.0), _MOST_KG),
    "access": Kind("leave is given", "", _ANYWHERE),
    "ford": Kind("passable, looked at", "", _ANYWHERE),
    "surface": Kind("fit to drive, looked at", "", _ROADS),
    "turn": Kind("driven round on trial, watched", "", ("turn", "leg"), needs_machine=True),
    "grade": Kind("driven", "", _ROADS, needs_machine=True),
}


def sort_of(place: str) -> str:
    """What sort of place it is: ``way``, ``node``, ``leg`` or ``turn``; "" for none.

    Examples
    --------
    >>> sort_of("way/12"), sort_of("leg/12-0"), sort_of("turn/12-0/13-4"), sort_of("road/1")
    ('way', 'leg', 'turn', '')
    """
    return next((sort for sort, held in _SORTS.items() if held.fullmatch(place)), "")
