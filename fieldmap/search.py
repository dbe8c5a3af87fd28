"""What of a farm's fields is still to be looked at, and the walk that looks at it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import cached_property
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from fieldmap.errors import Fault, MisuseError
from fieldmap.farm import Farm
from fieldmap.farm_ground import flooded
from fieldmap.finding import Level
from fieldmap.hazards.chance import coverage_for, hardest_kind, sweep_width_m
from fieldmap.hazards.keep_away import keep_away
from fieldmap.hazards.looked import FieldLooking, Looking, field_looking, looking
from fieldmap.hazards.other_wishes import OtherWish, other_wishes
from fieldmap.hazards.search_plan import (
    Laid,
    Left,
    by_looking,
    ground_left,
    lay,
    spacing_for,
)
from fieldmap.hazards.search_words import NO_GROUND_M2, Wanted, why
from fieldmap.hazards.walk import Walk, walk
from fieldmap.tables import Tables
from fieldmap.units import M2_PER_HECTARE

MOST_CHANCE = 0.999
_TABLE = "hazard_kinds"
_Place = tuple[float, float] | None
_NAMED = 20


@dataclass(frozen=True, eq=False)
class FieldSearch:
    """What is left to look at in one field, and how to walk it. Metric, in the farm's system.

    ``looked_share`` is the share of the field that counts as looked at
    (``looking.enough_chance``), ``done_share`` the share that has the chance wished;
    ``chance_now`` is the mean over the field, ``chance_after`` that over the ground to walk.
    ``laid`` holds the lines by how far the ground was looked at before.
    ``slivers_ha`` is left out as too small for lines, ``kept_off_ha`` lies where nobody may
    walk. ``avoided`` are the marks to keep away from, with ``label, call, caution, keep_m``.
    ``gate`` is the gate the walk starts at ("" for none), ``start_off_m`` how far from it the
    first place is that may be walked on. ``others`` says what other wishes would take, where
    there is ground to look at.
    """

    field_id: str
    name: str
    level: Level
    why: str
    wanted: Wanted
    looked_share: float
    done_share: float
    chance_now: float
    left: Left
    laid: tuple[Laid, ...]
    walk: Walk
    walkers: int
    avoided: gpd.GeoDataFrame
    gate: str
    start_off_m: float
    others: tuple[OtherWish, ...]

    @property
    def chance_after(self) -> float:
        """Mean chance over the ground to walk once its lines are walked; NaN without lines."""
        areas = [one.ground.area for one in self.laid]
        if not areas:
            return math.nan
        return float(np.average([one.chance_after for one in self.laid], weights=areas))

    def facts(self) -> dict[str, Any]:
        """The figures of the field, in the order of ``search.csv``; unknown is ``None``.

        Spacing, bearing and passes are those of the largest part of the ground.
        """
        laid, path = self.laid, self.walk
        main = max(laid, key=lambda one: one.ground.area, default=None)
        return {
            "field_id": self.field_id,
            "name": self.name,
            "level": self.level,
            "why": self.why,
            "kind": self.wanted.kind,
            "sweep_width_m": round(self.wanted.sweep_m, 3),
            "chance_wished": self.wanted.chance,
            "looked_share": round(self.looked_share, 4),
            "done_share": round(self.done_share, 4),
            "chance_now": round(self.chance_now, 4),
            "chance_after": round(self.chance_after, 4) if laid else None,
            "left_ha": round(self.left.ground.area / M2_PER_HECTARE, 4),
            "slivers_ha": round(self.left.slivers_m2 / M2_PER_HECTARE, 4),
            "kept_off_ha": round(self.left.kept_off_m2 / M2_PER_HECTARE, 4),
            "spacing_m": round(main.spacing_m, 2) if main else None,
            "bearing_deg": round(main.bearing_deg, 1) if main else None,
            "passes": main.passes if main else 0,
            "line_count": len(path.lines),
            "lines_m": round(path.lines_m, 1),
            "joins_m": round(path.joins_m, 1),
            "walk_m": round(path.length_m, 1),
            "walkers": self.walkers,
            "minutes": round(path.minutes, 1),
            "crossings": path.crossings,
            "gate": self.gate,
            "start_off_m": round(self.start_off_m, 1),
            "avoided": ";".join(self.avoided["hazard_id"]),
        }


@dataclass(frozen=True, eq=False)
class Search:
    """A plan for the fields asked for, on a day."""

    farm: Farm
    day: date
    walkers: int
    fields: tuple[FieldSearch, ...]

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a field: the columns of ``search.csv``."""
        return pd.DataFrame([one.facts() for one in self.fields])


def plan_search(
    farm: Farm,
    *,
    day: date,
    chance: float | None = None,
    kind: str | None = None,
    field_ids: Sequence[str] = (),
    walkers: int = 1,
) -> Search:
    """Plan to look, on foot, at the ground that has not been looked at enough.

    Parameters
    ----------
    farm : Farm
    day : date
        Walks and floods later than this do not count.
    chance : float, optional
        Chance of seeing a thing that lies there, above 0 up to 0.999; ``looking.plan_chance``
        when not given.
    kind : str, optional
        Key of ``hazard_kinds.csv``; of the kinds a walker can be expected to see the hardest
        one when not given.
    field_ids : sequence of str
        Only these fields; all when empty.
    walkers : int
        How many people share each field's walk.

    Returns
    -------
    Search
        What is left, the lines and the walk of each field.

    Raises
    ------
    MisuseError
        No such field or kind, a chance or a number of walkers that cannot be; all at once.
    """
    tables = farm.tables
    wish = tables.number("looking.plan_chance") if chance is None else chance
    faults = [
        *_no_fields(farm, field_ids),
        *_no_kind(tables, kind),
        *_no_chance(wish),
        *_no_walkers(walkers),
    ]
    if faults:
        raise MisuseError(faults)
    farm = flooded(farm)
    evening = datetime.combine(day, time.max, farm.settings.zone())
    seen = looking(farm.tracks, farm.flood, day=evening, tables=tables)
    avoid = keep_away(farm.hazards, tables)
    ids = farm.fields["field_id"]
    rows = np.flatnonzero(ids.isin(field_ids) if len(field_ids) else np.ones(len(ids), bool))
    asked = _Asked(
        farm, seen, avoid, shapely.STRtree(avoid["keep"].to_numpy()), kind, float(wish), walkers
    )
    return Search(farm, day, walkers, tuple(_field(asked, int(row)) for row in rows))


class _Asked(NamedTuple):
    """What is the same for every field of a run."""

    farm: Farm
    seen: Looking
    avoid: gpd.GeoDataFrame
    tree: shapely.STRtree
    kind: str | None
    wish: float
    walkers: int


def _field(asked: _Asked, row: int) -> FieldSearch:
    farm, tables = asked.farm, asked.farm.tables
    record = farm.fields.iloc[row]
    outline = record.geometry
    known = field_looking(outline, asked.seen, sward_m=_sward(record))
    wanted = _wanted(asked, known.sward_m)
    avoided = asked.avoid.iloc[np.sort(asked.tree.query(outline, predicate="intersects"))]
    walkable = shapely.difference(outline, shapely.union_all(avoided["keep"].to_numpy()))
    left = _left(known, walkable, wanted, sliver_m2=tables.number("looking.sliver_m2"))
    laid = _laid(left.ground, known, wanted, sliver_m2=tables.number("looking.sliver_m2"))
    gate, gate_xy = farm.gate_near(record["field_id"], left.ground) or ("", None)
    path = _walk(asked, laid, walkable, gate_xy)
    off_m = 0.0 if gate_xy is None or not laid else math.dist(gate_xy, path.start_xy)
    chance = known.chance(wanted.sweep_m)
    return FieldSearch(
        field_id=record["field_id"],
        name=record["name"] if isinstance(record["name"], str) else record["field_id"],
        level=_level(left, outline, tables),
        why=why(
            wanted,
            left,
            laid,
            area_m2=outline.area,
            crossings=path.crossings,
            start=(gate, off_m),
            height_known=not math.isnan(known.sward_m),
            units=farm.settings.units,
        ),
        wanted=wanted,
        looked_share=float(_looked(known, tables).mean()),
        done_share=float((chance >= wanted.chance).mean()),
        chance_now=float(chance.mean()),
        left=left,
        laid=laid,
        walk=path,
        walkers=asked.walkers,
        avoided=avoided.reset_index(drop=True),
        gate=gate,
        start_off_m=off_m,
        others=other_wishes(known, walkable, tables, kind=wanted.kind, chance=wanted.chance)
        if laid
        else (),
    )


def _walk(asked: _Asked, laid: Sequence[Laid], walkable: shapely.Geometry, gate_xy: _Place) -> Walk:
    return walk(
        np.concatenate([np.empty(0, dtype=object), *(one.lines for one in laid)]),
        inside=walkable,
        walk_kmh=asked.farm.tables.number("looking.walk_kmh"),
        gate_xy=gate_xy,
        walkers=asked.walkers,
    )


def _level(left: Left, outline: shapely.Geometry, tables: Tables) -> Level:
    """``ok`` when nothing is left but slivers, and of those less than a field may lack."""
    lacks_m2 = (1.0 - tables.number("looking.enough_share")) * outline.area
    nothing = left.ground.is_empty and left.kept_off_m2 < NO_GROUND_M2
    return "ok" if nothing and left.slivers_m2 <= lacks_m2 else "unknown"


def _sward(record: pd.Series) -> float:
    return float(record.get("sward_m", math.nan))


def _wanted(asked: _Asked, sward_m: float) -> Wanted:
    tables = asked.farm.tables
    kind = hardest_kind(sward_m, tables) if asked.kind is None else asked.kind
    words = tables[f"{_TABLE}.{kind}"].words
    return Wanted(
        kind=kind,
        label=words["label"],
        sweep_m=sweep_width_m(kind, sward_m, tables),
        chance=asked.wish,
        looked_for=words["looked_for"] == "yes",
    )


def _looked(known: FieldLooking, tables: Tables) -> np.ndarray:
    """Cells that count as looked at, by the hardest kind a walker can be expected to see."""
    sweep_m = sweep_width_m(hardest_kind(known.sward_m, tables), known.sward_m, tables)
    return known.chance(sweep_m) >= tables.number("looking.enough_chance")


def _left(
    known: FieldLooking, walkable: shapely.Geometry, wanted: Wanted, *, sliver_m2: float
) -> Left:
    spacing_m, _ = spacing_for(coverage_for(wanted.chance), wanted.sweep_m)
    return ground_left(
        known.outline,
        walkable,
        known.cells,
        known.chance(wanted.sweep_m) >= wanted.chance,
        spacing_m=spacing_m,
        sliver_m2=sliver_m2,
    )


def _laid(
    ground: shapely.Geometry, known: FieldLooking, wanted: Wanted, *, sliver_m2: float
) -> tuple[Laid, ...]:
    """Lines over the ground that is left, by how far it was looked at before."""
    if ground.is_empty:
        return ()
    sweep_m, cells = wanted.sweep_m, known.cells
    chance = known.chance(sweep_m)
    parts = by_looking(ground, cells, chance, sweep_m=sweep_m, sliver_m2=sliver_m2)
    return tuple(_lines(part, known, wanted) for part in parts)


def _lines(ground: shapely.Geometry, known: FieldLooking, wanted: Wanted) -> Laid:
    cells = known.cells
    shapely.prepare(ground)
    here = shapely.intersects_xy(ground, cells.x, cells.y)
    places = np.column_stack([cells.x[here], cells.y[here]])
    now = known.chance(wanted.sweep_m)[here]
    if not len(places):  # narrower than its cells
        places = shapely.get_coordinates(shapely.point_on_surface(ground))
        now = np.zeros(len(places))
    return lay(
        ground,
        places,
        now,
        wish=wanted.chance,
        sweep_m=wanted.sweep_m,
        line_chance=known.line_chance,
    )


def _no_fields(farm: Farm, field_ids: Sequence[str]) -> list[Fault]:
    ids = farm.fields["field_id"]
    return [
        Fault(
            "no such field",
            name,
            "there is nothing to look at",
            f"use one of {', '.join(ids.iloc[:_NAMED])}",
        )
        for name in field_ids
        if not (ids == name).any()
    ]


def _no_kind(tables: Tables, kind: str | None) -> list[Fault]:
    known = [row.key.split(".", 1)[1] for row in tables.rows(_TABLE)]
    if kind is None:
        return []
    if kind not in known:
        why, mend = "nothing says how well it is seen", f"use one of {', '.join(known)}"
        return [Fault("no such kind of hazard", kind, why, mend)]
    if sweep_width_m(kind, None, tables) > 0:
        return []
    return [
        Fault(
            "a kind without a sweep width",
            kind,
            "no spacing can be worked out for it",
            "give it one in hazard_kinds.csv, or look for another kind",
        )
    ]


def _no_chance(wish: float) -> list[Fault]:
    if 0 < wish <= MOST_CHANCE:
        return []
    return [
        Fault(
            "a chance that no search can be planned for",
            f"{wish:g}",
            "nothing is sure to be seen, and no chance needs no search",
            f"give one above 0 and up to {MOST_CHANCE:g}, such as 0.9",
        )
    ]


def _no_walkers(walkers: int) -> list[Fault]:
    if walkers >= 1:
        return []
    return [
        Fault("nobody to walk", str(walkers), "lines are walked by people", "give 1 walker or more")
    ]
