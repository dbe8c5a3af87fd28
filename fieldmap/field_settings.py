"""How the mower is set and driven in one field: the settings of every trade put together."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np

from fieldmap.advice.compared import COMPARED
from fieldmap.advice.conditions import Conditions, conditions
from fieldmap.advice.field_speed import crop_limit_kmh, field_speed_findings
from fieldmap.advice.power import climb_of, power_findings
from fieldmap.advice.set_up import SetUp, set_up
from fieldmap.advice.tyres import tyre_findings
from fieldmap.advice.work_rate import work_rate_findings
from fieldmap.hazards.looked import FieldLooking
from fieldmap.machine import Machine
from fieldmap.risk.left import Left
from fieldmap.risk.lie import Lie, Site
from fieldmap.risk.strike_cells import Struck
from fieldmap.risk.strike_findings import ByClass, by_class, strike_findings
from fieldmap.risk.strikes import Things, joined
from fieldmap.risk.things import left_things, logged_things
from fieldmap.risk.told import Told
from fieldmap.risk.water import FarmWater
from fieldmap.tables import Tables


class Mowing(NamedTuple):
    """What is known of mowing a field before its ground is looked at.

    ``known`` is the crop and the ground in words, ``things`` all that may be met, ``marks`` the
    logged ones among them, ``left`` what is reckoned to lie unseen, ``set_up`` the settings
    compared, ``unlooked`` whether some source of things was not looked for well enough, ``stony``
    what the stoniness class by itself means, ``wet`` whether water stood in the field,
    ``None`` when nobody said that.
    """

    known: Conditions
    things: Things
    marks: Things
    left: Left
    set_up: SetUp
    unlooked: bool
    stony: ByClass
    wet: bool | None

    @property
    def bar(self) -> tuple[float, float]:
        """Cut height and reach of the knives (m) as advised; NaN where nothing could be."""
        if not self.set_up.advised:
            return math.nan, math.nan
        return self.set_up.cut_m, self.set_up.lift_m

    @property
    def struck(self) -> Struck:
        """What the field's cells are reckoned with."""
        held = self.set_up
        taller = any(one.inside and one.cut_m > held.cut_m + 1e-6 for one in held.options)
        return Struck(self.left, self.marks, *self.bar, taller)

    def site(self, water: FarmWater | None, *, stony: bool | None, tables: Tables) -> Site:
        """What the lie of the land wants to know of the field."""
        return Site(stony, water, self.wet, crop_limit_kmh(self.known, tables=tables))


def mowing(
    record: Mapping[str, Any],
    marks: gpd.GeoDataFrame,
    seen: FieldLooking,
    left: Left,
    machine: Machine | None,
    *,
    log_read: bool,
    tables: Tables,
) -> Mowing:
    """Compare the settings of the mower for a field.

    Parameters
    ----------
    record : mapping
        Row of the boundary table.
    marks : GeoDataFrame
        Marks that reach the field, columns ``kind`` and ``height_m``.
    seen : FieldLooking
        Its floods.
    left : Left
        What is reckoned to lie unseen.
    machine : Machine or None
    log_read : bool
        Whether there is a log at all.
    tables : Tables
    """
    flooded = bool(seen.floods)
    known = conditions(
        record, kinds=marks["kind"] if log_read else None, flooded=flooded, tables=tables
    )
    logged = logged_things(marks, tables=tables)
    things = joined(logged, left_things(left.estimates, tables=tables))
    enough = tables.number("looking.enough_chance")
    poorly = {
        one.source_of_things for one in left.estimates if one.looked_ha < enough * one.area_ha
    }
    compared = set_up(
        known,
        machine,
        things,
        area_ha=float(record["area_ha"]),
        missing=left.missing,
        unlooked=bool(poorly),
        tables=tables,
    )
    return Mowing(
        known=known,
        things=things,
        marks=logged,
        left=left,
        set_up=compared,
        unlooked=bool(poorly),
        stony=by_class(left, compared.cut_m, tables=tables),
        wet=True if flooded or "silt" in set(marks["kind"]) else None,
    )


def settings_told(
    done: Mowing,
    lie: Lie,
    machine: Machine | None,
    knives: Iterable[Told],
    *,
    area_ha: float,
    tables: Tables,
) -> list[Told]:
    """Every setting, in the order in which a person makes them.

    Parameters
    ----------
    done : Mowing
    lie : Lie
        The lie of the field.
    machine : Machine or None
    knives : iterable of Told
        What the ledger says of the machine's knives.
    area_ha : float
    tables : Tables
    """
    field_id = done.known.field_id
    grade_pct, high_pct = climb_of(lie)
    set_up_told = done.set_up.told
    if done.stony.beyond:  # money says nothing there
        set_up_told = tuple(one for one in set_up_told if one.finding.what != COMPARED)
    minutes = None if lie.heading is None else lie.heading.minutes
    return [
        *knives,
        *set_up_told,
        *tyre_findings(field_id, machine, wet=done.wet, tables=tables),
        *power_findings(
            field_id,
            machine,
            grade_pct=grade_pct,
            grade_high_pct=high_pct,
            soft=done.wet,
            tables=tables,
        ),
        *field_speed_findings(field_id, lie.speed, lie.inside, work=lie.work, tables=tables),
        *work_rate_findings(
            field_id,
            _as_driven(machine, lie),
            area_ha=area_ha,
            run_minutes=minutes,
            tables=tables,
        ),
    ]


def _as_driven(machine: Machine | None, lie: Lie) -> Machine | None:
    """The machine at the speed that half of the field allows, where that is under its own."""
    limit = lie.speed.limit_kmh[lie.inside]
    if machine is None or machine.field_speed_kmh is None or not np.isfinite(limit).any():
        return machine
    usual = float(np.nanmedian(limit))
    if not 0.0 < usual < machine.field_speed_kmh:
        return machine
    return machine.model_copy(update={"field_speed_kmh": usual})


def met_told(done: Mowing, *, sources: Sequence[str], tables: Tables) -> list[Told]:
    """Strikes, wraps and things in the forage of one cut at the setting that is advised."""
    return strike_findings(
        done.known.field_id,
        done.things,
        done.left.missing,
        done.bar,
        unlooked=done.unlooked,
        stony=done.stony,
        sources=sources,
        tables=tables,
    )
