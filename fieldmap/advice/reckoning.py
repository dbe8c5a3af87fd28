"""From a field, its things and the machine to the amounts and prices of every setting."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldmap.advice.agronomy import ash_points, per_cut, stand_left, yield_given_up
from fieldmap.advice.conditions import Conditions
from fieldmap.advice.costs import CHANGING, CROP_LEFT, SHARES, Costs, amounts
from fieldmap.advice.limits import Settings
from fieldmap.machine import Machine
from fieldmap.risk.strikes import Expected, Things, expected, span
from fieldmap.tables import Tables

Figures = NDArray[np.float64]

_PER_CENT = 100.0


class Reckoned(NamedTuple):
    """What every setting leads to: arrays (options, 3), and ``stand_left`` where it is known.

    ``yield_t`` is the hay given up by the height in tonnes of dry matter of the whole field.
    ``doubt`` of shape (options, options, shares) is how much more or less of each amount the one
    may take than the other, where nobody knows what is fitted.
    """

    met: Expected
    yield_t: Figures
    ash: Figures
    tdn: Figures
    stand_left: Figures | None
    costs: Costs
    doubt: Figures


def reckoned(
    field: Conditions,
    machine: Machine,
    held: Settings,
    things: Things,
    *,
    area_ha: float,
    tables: Tables,
) -> Reckoned:
    """Everything the settings of a machine lead to in one cut of a field.

    Parameters
    ----------
    field : Conditions
    machine : Machine
        What is fitted now.
    held : Settings
        The options.
    things : Things
        What may be met.
    area_ha : float
    tables : Tables
        ``strikes``, ``set_up``, ``knives``, ``prices``.
    """
    met = expected(things, held.cut_m, lifts_m(held.high_lift, tables), tables=tables)
    whole_t = yield_of(field, tables) * area_ha
    given_up = np.minimum(_given_up(field, held.cut_m, tables) * area_ha, whole_t)
    ash = _ash(field, held, tables)
    tdn = ash * span(tables["set_up.tdn_per_ash_point"])
    worth = np.minimum(tdn / span(tables["set_up.tdn_base"])[::-1], 1.0)
    left = _crop_left(field, held.high_lift, tables)
    costs = Costs(
        amounts(
            strikes=met.strikes,
            wraps=met.wraps,
            forage=met.forage,
            broken=(
                span(tables["set_up.repaired"]) / _PER_CENT,
                _ruined(held.high_lift, tables),
            ),
            strike_h=span(tables["set_up.strike_h"]),
            wrap_h=span(tables["set_up.wrap_h"]),
            crop=(given_up, worth * whole_t, left * whole_t),
            changing_h=_changing(machine, held, tables),
        ),
        np.stack([span(tables[f"prices.{share.price}"]) for share in SHARES]),
    )
    stand = _stand(field, held.cut_m, tables)
    doubt = _doubt(machine, held, tables)
    return Reckoned(met, given_up, ash, tdn, stand, costs, doubt)


def lifts_m(high_lift: NDArray[np.bool_], tables: Tables) -> Figures:
    """How far the knives of each option reach below the bar."""
    low, high = (tables.number(f"strikes.lift_{knife}_lift") for knife in ("low", "high"))
    return np.where(high_lift, high, low)


def yield_of(field: Conditions, tables: Tables) -> Figures:
    """Dry matter of this cutting, t/ha: what was said, else the table's wide range."""
    if field.yield_t_ha is not None:
        return np.full(3, field.yield_t_ha)
    return span(tables["set_up.yield_t_ha"])


def measured_on(words: str, field: Conditions) -> bool:
    """Whether a row's crop is the field's."""
    return field.crop is not None and field.crop.key == f"cut_heights.{words}"


def with_crop_left(
    costs: Costs, field: Conditions, high_lift: NDArray[np.bool_], *, area_ha: float, tables: Tables
) -> Costs:
    """The same costs, had the crop lain or stood as ``field`` says."""
    left = _crop_left(field, high_lift, tables) * yield_of(field, tables) * area_ha
    held = costs.amounts.copy()
    held[CROP_LEFT] = left
    return costs._replace(amounts=held)


def _given_up(field: Conditions, cut_m: Figures, tables: Tables) -> Figures:
    """Yield given up by the height, t/ha."""
    first = tables["knives.yield_loss_first_cut"]
    rate = per_cut(
        first.number(),
        tables.number("knives.yield_loss_season"),
        tables.number("set_up.yield_cuttings"),
        field.cutting,
    )
    floor, crop = tables["knives.ash_floor"], field.crop
    lowest = floor if crop is None else crop
    known = measured_on(first.words["crop"], field)
    return yield_given_up(
        cut_m,
        from_m=lowest.number() if lowest.low is None else lowest.low,
        t_ha_cm=rate,
        measured_m=(tables.number("set_up.yield_from"), tables.number("set_up.yield_to")),
        elsewhere=None if known else span(tables["set_up.yield_other_crops"]),
    )


def _ash(field: Conditions, held: Settings, tables: Tables) -> Figures:
    """Ash that a setting adds; without a log there may be silt, so the high end reckons with it."""
    times = span(tables["set_up.ash_silt_times"])
    if not field.soil:
        times = np.array([1.0, 1.0, 1.0 if field.log_read else times[2]])
    return ash_points(
        held.cut_m,
        held.high_lift,
        lift=span(tables["set_up.ash_high_lift"]),
        per_cm=span(tables["set_up.ash_under_floor"]),
        floor_m=span(tables["knives.ash_floor"]),
        times=times,
    )


def _stand(field: Conditions, cut_m: Figures, tables: Tables) -> Figures | None:
    rows = [row for row in tables.rows("set_up") if measured_on(row.words["crop"], field)]
    if not rows:
        return None
    rows.sort(key=lambda row: float(row.words["height_m"]))
    return stand_left(
        cut_m,
        heights_m=np.array([float(row.words["height_m"]) for row in rows]),
        left_pct=np.stack([span(row) for row in rows]),
    )


def _ruined(high_lift: NDArray[np.bool_], tables: Tables) -> Figures:
    """Share of the strikes that ruin a pair of knives, (options, 3)."""
    low, high = (span(tables[f"set_up.ruined_{knife}_lift"]) for knife in ("low", "high"))
    return np.where(high_lift[:, np.newaxis], high, low) / _PER_CENT


def _crop_left(field: Conditions, high_lift: NDArray[np.bool_], tables: Tables) -> Figures:
    """Share of the yield left lying; where nobody said how the crop stands, the high end only."""
    share = span(tables["set_up.left_by_low_lift"]) / _PER_CENT
    if field.lodged is None:
        share = share * [0.0, 0.0, 1.0]
    elif not field.lodged:
        share = np.zeros(3)
    return np.where(high_lift[:, np.newaxis], 0.0, share)


def _changing(machine: Machine, held: Settings, tables: Tables) -> Figures:
    """Hours to change what is fitted; where that is not known, the high end only."""
    shoe_h, knives_h = span(tables["set_up.change_shoes_h"]), span(tables["set_up.change_knives_h"])
    fitted = [machine.fitted_shoe is not None, machine.fitted_knives is not None]
    other_shoe = np.array([shoe.name != machine.fitted_shoe for shoe in held.shoes], float)
    other_knives = np.array([knife != machine.fitted_knives for knife in held.knives], float)
    hours = np.zeros((len(held.shoes), 3))
    for known, other, each in zip(
        fitted, (other_shoe, other_knives), (shoe_h, knives_h), strict=True
    ):
        hours += other[:, np.newaxis] * (each if known else each * [0.0, 0.0, 1.0])
    return hours


def _doubt(machine: Machine, held: Settings, tables: Tables) -> Figures:
    """Hours of changing that one option may take more than another: either may be on now."""
    shoes = np.array([shoe.name for shoe in held.shoes], object)
    doubt = np.zeros((len(shoes), len(shoes), len(SHARES)))
    for fitted, names, row in (
        (machine.fitted_shoe, shoes, "set_up.change_shoes_h"),
        (machine.fitted_knives, np.array(held.knives, object), "set_up.change_knives_h"),
    ):
        if fitted is None:
            differ = names[:, np.newaxis] != names
            doubt[:, :, CHANGING] += differ * span(tables[row])[2]
    return doubt
