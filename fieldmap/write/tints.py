"""Tints of the classes that pictures, legends and bars share, and the words of a class."""

from __future__ import annotations

from collections.abc import Sequence

from fieldmap.units import degrees_from_percent

Tint = tuple[int, int, int]

INK: Tint = (58, 66, 74)
#: One a slope class, gentle to steep: paper to dark umber.
SLOPE: tuple[Tint, ...] = (
    (246, 239, 222),
    (232, 214, 178),
    (213, 180, 132),
    (184, 140, 92),
    (140, 96, 62),
    (88, 56, 38),
)
#: One a class of speed, slow to fast: dark ink to pale.
SPEED: tuple[Tint, ...] = (
    (44, 52, 92),
    (86, 98, 140),
    (136, 148, 180),
    (186, 194, 212),
    (228, 230, 234),
)
#: The wettest tenth, the next fifth, the rest.
WET: tuple[Tint, ...] = ((28, 84, 84), (118, 166, 158), (226, 234, 226))
#: One a class of use of the machine's limit, little to all of it: pale to dark plum.
USE: tuple[Tint, ...] = ((240, 232, 236), (208, 182, 202), (152, 108, 148), (75, 29, 74))


def hex_of(tint: Tint) -> str:
    """A tint as a page writes it.

    Examples
    --------
    >>> hex_of((255, 0, 16))
    '#ff0010'
    """
    return "#{:02x}{:02x}{:02x}".format(*tint)


def slope_words(breaks_pct: Sequence[float]) -> list[str]:
    """The classes between rising breaks in percent, with their degrees.

    Examples
    --------
    >>> slope_words([3, 60])
    ['0 to 3% (0 to 2 deg)', '3 to 60% (2 to 31 deg)', '60% and more (31 deg)']
    """
    edges = [0.0, *breaks_pct]
    words = [
        f"{low:.0f} to {high:.0f}% "
        f"({degrees_from_percent(low):.0f} to {degrees_from_percent(high):.0f} deg)"
        for low, high in zip(edges, breaks_pct, strict=False)
    ]
    return [*words, f"{edges[-1]:.0f}% and more ({degrees_from_percent(edges[-1]):.0f} deg)"]
