"""How many things are reckoned to lie unseen in a field, as findings."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from fieldmap.hazards.chance import sweep_width_m
from fieldmap.hazards.density import HIGH_SHARE, Estimate, estimate, gamma_quantile
from fieldmap.hazards.looked import FieldLooking
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
    NO_CLASS,
    NO_LOG,
    NO_LOG_BUT_STONES,
    NO_ROADS,
    STONES,
    left_finding,
    no_class,
    no_log,
    no_roads,
)
from fieldmap.risk.told import Told
from fieldmap.risk.two_people import two_people_findings
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

    sweep_m: float
    chance: NDArray[np.float64]
    hardest: str
    sources: tuple[str, ...]


class Left(NamedTuple):
    """What is reckoned to lie unseen in a field.

    ``told`` are the findings. ``estimates`` are the numbers behind them, one for each source of
    things, each with the high end that also counts what nobody could name; ``sweeps_m`` the sweep
    width that each was looked for with. ``missing`` says in words what could not be reckoned.
    ``road`` is the strip by a public road, ``None`` when not known.
    """

    told: list[Told]
    estimates: tuple[Estimate, ...]
    missing: tuple[str, ...]
    sweeps_m: tuple[float, ...] = ()
    road: shapely.Geometry | None = None


def what_is_left(
    field_id: str,
    looked: FieldLooking,
    log: Log,
    roads: Roads | None,
    *,
    stoniness: float | None,
    tables: Tables,
) -> Left:
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
        area_m2 = looked.outline.area
        return _without_log(field_id, log.name, area_m2, stoniness=stoniness, tables=tables)
    road = road_zone(looked.outline, roads)
    rows = marks_of_field(looked.outline, log)
    ground = ground_of(looked, road)
    nobody = np.zeros(len(ground.area_m2))
    left = _reckon(
        field_id,
        ground,
        looked.chance if looked.walked else lambda _sweep_m: nobody,
        placed_marks(log, rows, looked, road, tables=tables),
        stoniness=stoniness,
        sward_m=looked.sward_m,
        log_name=log.name,
        tables=tables,
    )
    two = two_people_findings(
        field_id,
        {key: log.seen_by[key] for key in log.key[rows] if key in log.seen_by},
        found=len(rows),
        area_ha=looked.outline.area / M2_PER_HECTARE,
        log_name=log.name,
        tables=tables,
    )
    return left._replace(told=[*left.told, *two], road=road)


def _without_log(
    field_id: str, log_name: str, area_m2: float, *, stoniness: float | None, tables: Tables
) -> Left:
    """Nothing is known but a class that was told: its stones lie there, log or no log."""
    told = [no_log(field_id, log_name)]
    if stoniness is None or math.isnan(stoniness):
        return Left(told, (), (NO_LOG,))
    thing = _stones_row(stoniness)
    one = estimate(thing, "the field", area_m2, 0.0, found=0, hits=0, tables=tables)
    return Left(told, (one,), (NO_LOG_BUT_STONES,), (0.0,))


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
    held = {"stoniness": stoniness, "sward_m": sward_m, "log_name": log_name, "tables": tables}
    return _reckon(field_id, ground, chance, marks, **held).told  # type: ignore[arg-type]


def _reckon(
    field_id: str,
    ground: Ground,
    chance: Chance,
    marks: Marks,
    *,
    stoniness: float | None,
    sward_m: float | None,
    log_name: str,
    tables: Tables,
) -> Left:
    left = Left([], (), ())
    parts = _loose_parts(ground, marks)
    if stoniness is None or math.isnan(stoniness):
        left = left._replace(told=[no_class(field_id)], missing=(NO_CLASS,))
    else:
        parts.insert(0, _stones(stoniness, ground, marks))
    if ground.road_edge is None:
        left = left._replace(
            told=[*left.told, no_roads(field_id)], missing=(*left.missing, NO_ROADS)
        )
    for part in parts:
        if part.where.any():
            kinds = _kinds(part.comes_with, tables)
            seen = _looked(kinds, ground.area_m2, part.where, chance, sward_m, tables)
            one = _reckoned(part, kinds, ground, seen, marks, tables)
            most = _reckoned(part, [*kinds, *_nameless(tables)], ground, seen, marks, tables)
            told = left_finding(
                field_id, part.what, one, most, seen.hardest, seen.sources, log_name, tables
            )
            left = left._replace(
                told=[*left.told, told],
                estimates=(*left.estimates, _with_high_ends(one, most)),
                sweeps_m=(*left.sweeps_m, seen.sweep_m),
            )
    return left


def _with_high_ends(one: Estimate, most: Estimate) -> Estimate:
    """The estimate with the high ends of another that counts more; they hold the mean."""
    return one._replace(
        density_high=max(one.density, most.density, one.density_high, most.density_high),
        left_high=max(one.left, most.left, one.left_high, most.left_high),
    )


def _stones(stoniness: float, ground: Ground, marks: Marks) -> _Part:
    thing = _stones_row(stoniness)
    every, all_marks = np.ones(len(ground.area_m2), bool), np.ones(len(marks.kind), bool)
    return _Part(thing, "stones left", "the field", every, _GROUND, all_marks)


def _stones_row(stoniness: float) -> str:
    """Row of ``density.csv``; between two classes the stonier."""
    return f"{STONES}{min(math.ceil(stoniness), _WORST_CLASS)}"


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
    """What is left of one source; what was marked in passing moves the high ends alone.

    Nobody knows how much ground was looked at when it was marked, so that it may be all there is,
    or the little that somebody came by.
    """
    found = part.here & np.isin(marks.kind.astype(str), [_name(row) for row in kinds])
    row, shape = tables[f"density.{part.thing}"], tables.number("density.prior_shape")

    def reckoned(by_looking: int | None) -> Estimate:
        one = estimate(
            part.thing,
            part.zone,
            ground.area_m2[part.where],
            seen.chance,
            found=int(found.sum()),
            hits=int(marks.hits[found].sum()),
            by_looking=by_looking,
            tables=tables,
        )
        return bounded(one, row, shape)

    if marks.walked is None or marks.walked[found].all():
        return reckoned(None)
    return _with_high_ends(reckoned(int((found & marks.walked).sum())), reckoned(None))


def bounded(one: Estimate, row: Constant, shape: float) -> Estimate:
    """The estimate, held to the high end of what the table has for such things.

    Marks on ground that no walk shows to be looked at would make it grow without end: some
    stones in a class of many, marked in passing, and the reckoning has more of them than fit on
    the ground. What was found on the ground as a whole is allowed in any case. The high end is
    held to that of the belief before looking, had it this mean.

    Parameters
    ----------
    one : Estimate
    row : Constant
        Its row of ``density.csv``; without a high end nothing is held.
    shape : float
        ``density.prior_shape``.
    """
    if row.high is None or one.density <= 0.0:
        return one
    most = max(row.high, (one.found + one.hits) / one.area_ha)
    widest = most * max(gamma_quantile(shape, HIGH_SHARE) / shape, 1.0)
    part, unseen_ha = min(1.0, most / one.density), one.area_ha - one.looked_ha
    left = min(one.left, most * unseen_ha)
    return one._replace(
        density=min(one.density, most),
        density_low=part * one.density_low,
        density_high=min(one.density_high, widest),
        left=left,
        left_low=part * one.left_low,
        left_high=max(min(one.left_high, widest * unseen_ha), left),
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
    return _Seen(width, chance(width)[where], words, sources)


def _mean(chance: NDArray[np.float64], area_m2: NDArray[np.float64]) -> float:
    return float(np.sum(np.nan_to_num(chance) * area_m2) / np.sum(area_m2))


def _name(row: Constant) -> str:
    return row.key.split(".", 1)[1]
