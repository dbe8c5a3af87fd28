"""The one thing the tool tells a person."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any, Literal

Level = Literal["ok", "care", "unknown", "stop"]
Basis = Literal["measured", "mapped", "assumed"]

#: From the least to the worst. ``unknown`` stands above ``care``: what nobody knows is not fine.
LEVELS: tuple[Level, ...] = ("ok", "care", "unknown", "stop")
#: How a level is said. ``ok`` is never "safe".
LEVEL_WORDS: dict[Level, str] = {
    "ok": "nothing found against it",
    "care": "care",
    "unknown": "unknown",
    "stop": "stop",
}


@dataclass(frozen=True, slots=True)
class Finding:
    """One statement about a field, a setting or a leg of a road, with what stands behind it.

    Parameters
    ----------
    level : {"ok", "care", "unknown", "stop"}
        How bad it is; ``ok`` means that nothing was found against it, no more.
    what : str
        What was looked at, in trade words.
    where : str
        The field, place or leg.
    why : str
        One sentence.
    basis : {"measured", "mapped", "assumed"}
        What the value rests on.
    sources : tuple of str
        Keys into ``fieldmap/tables/sources.toml``, or the user's file.
    value, low, high, limit : float, optional
        The figure, its range where the trade gives one, and what it was held against,
        all in ``unit``. ``None`` is "not known" or "no figure".
    unit : str
        Unit of the four figures, as in :func:`fieldmap.units.shown`.
    caution : str
        The usual caution and who decides; may be empty for a plain fact.
    choice : str
        The answer where it is a word and not a figure (a knife, a heading).
    lon, lat : float, optional
        Where on the map (degrees, WGS 84), when it has one place.
    """

    level: Level
    what: str
    where: str
    why: str
    basis: Basis
    sources: tuple[str, ...] = ()
    value: float | None = None
    low: float | None = None
    high: float | None = None
    limit: float | None = None
    unit: str = ""
    caution: str = ""
    choice: str = ""
    lon: float | None = None
    lat: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """The finding as plain JSON types; NaN and infinity become ``None``."""
        out = asdict(self)
        out["sources"] = list(self.sources)
        for key, held in out.items():
            if isinstance(held, float) and not math.isfinite(held):
                out[key] = None
        return out


def rank(level: Level) -> int:
    """Place of a level in :data:`LEVELS`; more is worse."""
    return LEVELS.index(level)


def worst(levels: Iterable[Level]) -> Level:
    """The worst of several levels.

    Examples
    --------
    >>> worst(["ok", "unknown", "care"])
    'unknown'
    >>> worst(["stop", "unknown"])
    'stop'

    Nothing looked at is nothing known:

    >>> worst([])
    'unknown'
    """
    gathered = list(levels)
    return max(gathered, key=rank) if gathered else "unknown"
