"""What a walk would come to for other things and other chances: lines alone, in hours."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from fieldmap.hazards.chance import coverage_for, hardest_kind, looked_for_kinds, sweep_width_m
from fieldmap.hazards.looked import FieldLooking
from fieldmap.hazards.search_plan import spacing_for
from fieldmap.tables import Tables

_METRE_PER_KM = 1000.0
_TABLE = "hazard_kinds"


class OtherWish(NamedTuple):
    """What looking for a kind would take one person: lines alone, in hours."""

    kind: str
    label: str
    sweep_m: float
    chance: float
    hours: float


def other_wishes(
    known: FieldLooking,
    walkable: shapely.Geometry,
    tables: Tables,
    *,
    kind: str,
    chance: float,
) -> tuple[OtherWish, ...]:
    """What the lines would take for a few kinds, from hard to easy to see, and two chances.

    The kinds are the hardest one, one in the middle and the easiest of what a walker can be
    expected to see, and the one that is planned for. The chances are the one at which ground
    counts as looked at (``looking.enough_chance``) and the one wished. All ground that has not
    that chance yet is reckoned as if nobody had walked on it.

    Parameters
    ----------
    known : FieldLooking
    walkable : Geometry
        The part of the field that people may walk on, in its metric system.
    tables : Tables
    kind : str
        Planned for.
    chance : float
        Wished, 0 up to, but not, 1.

    Returns
    -------
    tuple of OtherWish
        By sweep width, then by chance.
    """
    found = []
    chances = sorted({tables.number("looking.enough_chance"), chance})
    on_foot = _walkable_cells(known, walkable)
    for name in kinds_to_tell(known.sward_m, tables, planned=kind):
        sweep_m = sweep_width_m(name, known.sward_m, tables)
        for wish in chances:
            hours = walking_hours(
                _lacking_m2(known, on_foot, sweep_m, wish),
                chance=wish,
                sweep_m=sweep_m,
                walk_kmh=tables.number("looking.walk_kmh"),
            )
            label = tables[f"{_TABLE}.{name}"].words["label"]
            found.append(OtherWish(name, label, sweep_m, wish, hours))
    return tuple(found)


def kinds_to_tell(sward_m: float | None, tables: Tables, *, planned: str) -> list[str]:
    """The hardest, a middle and the easiest kind to see, and the planned one, by sweep width.

    Kinds that lie as an area are ground more than things; they are left out as long as others
    are there. Of kinds with one sweep width the first of the table stands for all.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> tables = load_tables()
    >>> told = kinds_to_tell(None, tables, planned=hardest_kind(None, tables))
    >>> widths = [sweep_width_m(kind, None, tables) for kind in told]
    >>> len(told), widths == sorted(widths), widths[0]
    (3, True, 3.0)
    """

    def width(kind: str) -> float:
        return sweep_width_m(kind, sward_m, tables)

    hardest = hardest_kind(sward_m, tables)
    seen = looked_for_kinds(tables)
    things = [kind for kind in seen if tables[f"{_TABLE}.{kind}"].words["lies"] != "area"]
    ladder = _one_a_width([hardest, *(things or seen)], width)
    picked = dict.fromkeys([hardest, ladder[len(ladder) // 2], ladder[-1], planned])
    return sorted((kind for kind in picked if width(kind) > 0), key=width)


def walking_hours(area_m2: float, *, chance: float, sweep_m: float, walk_kmh: float) -> float:
    """Hours to walk lines over some ground: area x coverage / sweep width.

    The ways between the lines are not in it. Lines are never farther apart than the sweep
    width, so that a coverage under 1 saves nothing.

    Parameters
    ----------
    area_m2 : float
    chance : float
        Wished, by random search: 0 up to, but not, 1.
    sweep_m : float
        Effective sweep width, above 0.
    walk_kmh : float

    Examples
    --------
    20 ha, 3 m seen, 90 percent: 153.5 km.

    >>> round(walking_hours(200_000, chance=0.9, sweep_m=3, walk_kmh=4), 1)
    38.4
    >>> walking_hours(0, chance=0.9, sweep_m=3, walk_kmh=4)
    0.0
    """
    spacing_m, passes = spacing_for(coverage_for(chance), sweep_m)
    return area_m2 * passes / spacing_m / (walk_kmh * _METRE_PER_KM)


def _one_a_width(kinds: Iterable[str], width: Callable[[str], float]) -> list[str]:
    first: dict[float, str] = {}
    for kind in kinds:
        first.setdefault(width(kind), kind)
    return [first[metres] for metres in sorted(first)]


def _walkable_cells(known: FieldLooking, walkable: shapely.Geometry) -> NDArray[np.bool_]:
    shapely.prepare(walkable)
    return shapely.intersects_xy(walkable, known.cells.x, known.cells.y)


def _lacking_m2(
    known: FieldLooking, on_foot: NDArray[np.bool_], sweep_m: float, chance: float
) -> float:
    """Walkable ground whose chance is under a wish."""
    lacking = on_foot & (known.chance(sweep_m) < chance)
    return float(np.count_nonzero(lacking)) * known.cells.area_m2
