"""How many things are reckoned to lie unseen in a field, as findings."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldmap.finding import Finding, Level
from fieldmap.hazards.chance import sweep_width_m
from fieldmap.hazards.density import Estimate, estimate
from fieldmap.hazards.looked import FieldLooking
from fieldmap.hazards.observers import ASSUMED, double_observer
from fieldmap.risk.left_ground import (
    Ground,
    Log,
    Marks,
    Roads,
    ground_of,
    marks_of_field,
    placed_marks,
    road_zone,
)
from fieldmap.risk.left_words import (
    STONES,
    class_words,
    nameless_words,
    no_class,
    no_log,
    no_roads,
    reckoned_words,
)
from fieldmap.risk.told import GROUND_CAUTION, Told
from fieldmap.tables import Constant, Tables
from fieldmap.units import M2_PER_HECTARE

Chance = Callable[[float], NDArray[np.float64]]
_GROUND, _LOOSE, _ROAD = ("ground",), ("flood", "road"), ("road",)
_WORST_CLASS = 5


class _Part(NamedTuple):
    """One source of things on one piece of ground: table row, words, pieces, kinds, marks."""

    thing: str
    what: str
    zone: str
    where: NDArray[np.bool_]
    comes_with: Collection[str]
    here: NDArray[np.bool_]


class _Seen(NamedTuple):
    """How hard the look was: the chance in each piece, and in words for the hardest kind."""

    chance: NDArray[np.float64]
    hardest: str
    sources: tuple[str, ...]


def left_of_field(
    field_id: str,
    looked: FieldLooking,
    log: Log,
    roads: Roads | None,
    *,
    stoniness: float | None,
    tables: Tables,
) -> list[Told]:
    """All that is reckoned to be left in a field, out of the farm's own tables.

    Parameters
    ----------
    field_id : str
    looked : FieldLooking
        Who walked where, and what stood under water; holds the outline and the sward.
    log : Log
        The farm's log, as :func:`fieldmap.risk.left_ground.log_of` makes it ready once.
    roads : Roads or None
        The farm's roads, as :func:`fieldmap.risk.left_ground.roads_of` makes them ready once.
    stoniness : float or None
        Class of the boundary table; ``None`` or NaN: not said.
    tables : Tables
    """
    if not log.known:
        return [no_log(field_id, log.name)]
    road = road_zone(looked.outline, roads)
    rows = marks_of_field(looked.outline, log)
    ground = ground_of(looked, road)
    nobody = np.zeros(len(ground.area_m2))
    return [
        *left_findings(
            field_id,
            ground,
            looked.chance if looked.walked else lambda _sweep_m: nobody,
            placed_marks(log, rows, looked, road),
            stoniness=stoniness,
            sward_m=looked.sward_m,
            log_name=log.name,
            tables=tables,
        ),
        *two_people_findings(
            field_id,
            {key: log.seen_by[key] for key in log.key[rows] if key in log.seen_by},
            found=len(rows),
            area_ha=looked.outline.area / M2_PER_HECTARE,
            log_name=log.name,
            tables=tables,
        ),
    ]


def left_findings(
    field_id: str,
    ground: Ground,
    chance: Chance,
    marks: Marks | None,
    *,
    stoniness: float | None,
    sward_m: float | None,
    log_name: str,
    tables: Tables,
) -> list[Told]:
    """What may still lie in a field: stones, flood debris, litter by a road, loose things.

    Parameters
    ----------
    field_id : str
    ground : Ground
        Pieces of the field.
    chance : callable
        Sweep width in metres -> chance that a thing in each piece was seen, shape (pieces,):
        only looks that count, on flooded ground those since the water. NaN is no look.
    marks : Marks or None
        What was found; ``None`` without a log.
    stoniness : float or None
        Class of the boundary table, 0 to 5; between two the stonier. ``None`` or NaN: not said.
    sward_m : float or None
        Height of the standing crop; not known is tall.
    log_name : str
        Name of the log's file.
    tables : Tables
        ``density.*``, ``hazard_kinds.*`` and ``looking.enough_chance``.

    Returns
    -------
    list of Told
        Value, low and high: things reckoned to lie unseen, mean and 5 to 95 %; limit: the
        count from which on the ground asks for care.

    Notes
    -----
    Which kinds count for which source stands in ``comes_with`` of the kinds. What nobody could
    name counts for none of them, but the high end reckons with it; where the ground would ask
    for care with it, the answer is unknown. The chance is that of the smallest sweep width among
    those a walker can be expected to see.
    """
    if marks is None:
        return [no_log(field_id, log_name)]
    parts = _loose_parts(ground, marks)
    told: list[Told] = []
    if stoniness is None or math.isnan(stoniness):
        told.append(no_class(field_id))
    else:
        thing = f"{STONES}{min(math.ceil(stoniness), _WORST_CLASS)}"
        every, all_marks = np.ones(len(ground.area_m2), bool), np.ones(len(marks.kind), bool)
        parts.insert(0, _Part(thing, "stones left", "the field", every, _GROUND, all_marks))
    if ground.road_edge is None:
        told.append(no_roads(field_id))
    for part in parts:
        if part.where.any():
            kinds = _kinds(part.comes_with, tables)
            seen = _looked(kinds, ground.area_m2, part.where, chance, sward_m, tables)
            one = _reckoned(part, kinds, ground, seen, marks, tables)
            most = _reckoned(part, [*kinds, *_nameless(tables)], ground, seen, marks, tables)
            told.append(_told(field_id, part.what, one, most, seen, log_name, tables))
    return told


def _loose_parts(ground: Ground, marks: Marks) -> list[_Part]:
    wet, dry = ground.flooded, ~ground.flooded
    water, rest = "the ground that stood under water", "the ground that no water stood on"
    parts = [
        _Part("flood_debris", "flood debris left", water, wet, _LOOSE, marks.flooded),
        _Part("elsewhere", "loose things left", rest, dry, _LOOSE, marks.dry),
    ]
    if ground.road_edge is not None:
        zone = "the strip by a public road"
        beside = ground.road_edge
        parts.append(_Part("road_litter", "road litter left", zone, beside, _ROAD, marks.road_edge))
    return parts


def _kinds(comes_with: Collection[str], tables: Tables) -> list[Constant]:
    """Kinds that come with any of these."""
    return [
        row
        for row in tables.rows("hazard_kinds")
        if row.words["level"] != "unknown"
        and set(row.words["comes_with"].split(";")) & set(comes_with)
    ]


def _nameless(tables: Tables) -> list[Constant]:
    """What nobody could name: it may be of any source, or of none."""
    return [row for row in tables.rows("hazard_kinds") if row.words["level"] == "unknown"]


def _reckoned(
    part: _Part,
    kinds: Sequence[Constant],
    ground: Ground,
    seen: _Seen,
    marks: Marks,
    tables: Tables,
) -> Estimate:
    found = part.here & np.isin(marks.kind.astype(str), [_name(row) for row in kinds])
    return estimate(
        part.thing,
        part.zone,
        ground.area_m2[part.where],
        seen.chance,
        found=int(found.sum()),
        hits=int(marks.hits[found].sum()),
        tables=tables,
    )


def _looked(
    kinds: Sequence[Constant],
    area_m2: NDArray[np.float64],
    where: NDArray[np.bool_],
    chance: Chance,
    sward_m: float | None,
    tables: Tables,
) -> _Seen:
    widths = {_name(row): sweep_width_m(_name(row), sward_m, tables) for row in kinds}
    expected = [_name(row) for row in kinds if row.words["looked_for"] == "yes"] or list(widths)
    width = min((widths[kind] for kind in expected), default=0.0)
    named = [_name(row) for row in kinds if row.words["level"] != "unknown"]
    hardest = min(named, key=lambda kind: widths[kind], default="")
    words = ""
    if hardest and widths[hardest] < width:
        share = _mean(chance(widths[hardest])[where], area_m2[where])
        label = tables[f"hazard_kinds.{hardest}"].words["label"]
        words = f" (of the hardest to see, {label}: {100 * share:.0f}%)"
    sources = tuple(dict.fromkeys(row.source for row in kinds))
    return _Seen(chance(width)[where], words, sources)


def _mean(chance: NDArray[np.float64], area_m2: NDArray[np.float64]) -> float:
    return float(np.sum(np.nan_to_num(chance) * area_m2) / np.sum(area_m2))


def _name(row: Constant) -> str:
    return row.key.split(".", 1)[1]


def _told(
    field_id: str,
    what: str,
    one: Estimate,
    most: Estimate,
    seen: _Seen,
    log_name: str,
    tables: Tables,
) -> Told:
    """The finding; ``most`` is the estimate with what nobody could name counted too."""
    row = tables[f"density.{one.source_of_things}"]
    enough, care = tables["looking.enough_chance"], tables["density.care_left_per_ha"]
    share, limit = one.looked_ha / one.area_ha, care.number() * one.area_ha
    level: Level = "ok"
    change = ""
    unlooked = share < enough.number()
    if unlooked:
        level = "unknown"
    elif most.found > one.found and most.left >= limit:
        level, change = "unknown", f"Say what the marks of unknown kind are, for {what}"
    elif max(one.left, _class_leaves(one, row)) >= limit:
        level, change = "care", f"Walk {one.zone} once more and pick up what is found: {what}"
    names, systems = class_words(one, tables)
    sources = (log_name, "tracks", *one.sources, *systems, *seen.sources, enough.source)
    why = reckoned_words(one, row, share, seen.hardest) + nameless_words(one, most) + names
    return Told(
        Finding(
            level=level,
            what=what,
            where=field_id,
            why=why,
            basis="assumed",
            sources=tuple(dict.fromkeys((*sources, care.source))),
            value=one.left,
            low=one.left_low,
            high=max(one.left_high, most.left_high),
            limit=limit,
            unit="count",
            caution=GROUND_CAUTION,
        ),
        change,
        echo=unlooked,
    )


def _class_leaves(one: Estimate, row: Constant) -> float:
    """Things a look leaves unseen of the least that a stoniness class stands for.

    The class was told by somebody who knows the ground: a log without stones does not undo it.
    The farm's own density in place of the class promises no least number.
    """
    if not one.source_of_things.startswith(STONES) or row.low is None:
        return 0.0
    return row.low * (one.area_ha - one.looked_ha)


def two_people_findings(
    field_id: str,
    seen_by: Mapping[str, Collection[str]],
    *,
    found: int,
    area_ha: float,
    log_name: str,
    tables: Tables,
) -> list[Told]:
    """How many things there are by what two people both found; nothing where only one looked.

    Parameters
    ----------
    field_id : str
    seen_by : mapping
        Mark -> the people who each told of it.
    found : int
        Marks that count in the field, whoever told of them.
    area_ha : float
        The field's area.
    log_name : str
    tables : Tables
        ``density.care_left_per_ha``.
    """
    looks = double_observer(seen_by)
    if looks.counted is None:
        return []
    count, care = looks.counted, tables["density.care_left_per_ha"]
    least = float(max(found, count.found))
    value, limit = max(count.chapman, least), least + care.number() * area_ha
    level: Level = "care" if value >= limit else "ok"
    apart = "" if count.both else " With nothing in common such a count says little."
    finding = Finding(
        level=level,
        what="things in the field by two people's finds",
        where=field_id,
        why=f"{looks.why} {ASSUMED}{apart}",
        basis="assumed",
        sources=(log_name, care.source),
        value=value,
        low=max(count.low, least),
        high=max(count.high, least),
        limit=limit,
        unit="count",
        caution=GROUND_CAUTION,
    )
    change = "Look once more: two people found different things here" if level == "care" else ""
    return [Told(finding, change)]
