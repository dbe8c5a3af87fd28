"""What the axles and tyres press on the ground with, and how fast the tyres may roll."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldmap.finding import Finding, Level
from fieldmap.machine import Machine, Tyre
from fieldmap.risk.told import Told
from fieldmap.tables import Constant, Tables
from fieldmap.units import GRAVITY, METRE_PER_INCH

LOAD_CAUTION = (
    "NOTICE: stay off ground too wet to bear: a heavy axle packs soil deeper than it mends. "
    "The ground under your boot decides, not this figure."
)
PRESSURE_CAUTION = (
    "WARNING: the tyre maker's table of load, pressure and speed rules. Do not lower the pressure "
    "for the field and then drive on the road with it."
)
SPEED_CAUTION = (
    "WARNING: a tyre beyond its load or speed can burst and take the machine off the road. The "
    "speed on its side wall and its maker's table rule."
)
_PRESSURE_WORDS = (
    "The mean pressure under it, when pumped for its load; a hand's breadth down it peaks at the "
    "high end."
)
_PASCAL_PER_KPA = 1000.0


def contact_area_m2(load_kg: ArrayLike, *, pressure_kpa: ArrayLike) -> NDArray[np.float64]:
    """Ground that a tyre stands on: its load over the mean pressure under it, in m2.

    Parameters
    ----------
    load_kg, pressure_kpa : array_like
        On one tyre; its inflation, over 0. The pressure under it is about that only where the
        inflation is the one its maker's table gives for the load.

    Returns
    -------
    ndarray
        NaN where anything is unknown.

    Examples
    --------
    >>> round(float(contact_area_m2(1250.0, pressure_kpa=150.0)), 4)
    0.0817
    """
    load, pressure = np.asarray(load_kg, np.float64), np.asarray(pressure_kpa, np.float64)
    return (load * GRAVITY / (pressure * _PASCAL_PER_KPA))[()]


def tyre_findings(
    field_id: str, machine: Machine | None, *, wet: bool | None, tables: Tables
) -> list[Told]:
    """Load and pressure of every axle, and the speed of the tyres.

    Parameters
    ----------
    field_id : str
    machine : Machine or None
        Axles, tyres, mass, road and field speed.
    wet : bool or None
        Whether the soil is wet; where nobody said the wet limit counts, and both are told.
    tables : Tables
        ``tyres.*``.

    Returns
    -------
    list of Told
        An axle over its limit is care: it harms the ground. A speed over a tyre's own is care as
        well, with a warning: whoever drives slower on the road may mow the field. What is missing
        is unknown.
    """
    if machine is None or not (machine.axles or machine.tyres):
        return [_nothing_listed(field_id, machine)]
    tyred = [tyre.axle for tyre in machine.tyres]
    axles = range(1, max([len(machine.axles), *tyred]) + 1)
    told = [_load(field_id, machine, number, wet, tables) for number in axles]
    told += [_pressure(field_id, machine, number, tables) for number in axles]
    told.append(_speed(field_id, machine, list(axles)))
    told += _short(field_id, machine, tables)
    return told


def _nothing_listed(field_id: str, machine: Machine | None) -> Told:
    name = "the machine" if machine is None else machine.name
    return Told(
        Finding(
            level="unknown",
            what="axles and tyres",
            where=field_id,
            why=f"The axles and tyres of {name} are not known.",
            basis="assumed",
            caution=PRESSURE_CAUTION,
        ),
        "List axles and tyres in machines.toml: mass, load, inflation, speed category",
    )


def _load(field_id: str, machine: Machine, number: int, wet: bool | None, tables: Tables) -> Told:
    dry, soaked = tables["tyres.axle_kg"], tables["tyres.axle_wet_kg"]
    limits = {False: dry.number(), True: min(_low(soaked), dry.number())}
    limit = limits[wet is not False]
    mass = machine.axles[number - 1].mass_kg if number <= len(machine.axles) else None
    level: Level = "unknown" if mass is None else "care" if mass > limit else "ok"
    return Told(
        Finding(
            level=level,
            what=f"axle load, axle {number}",
            where=field_id,
            why=_load_words(mass, limits, wet),
            basis="assumed",
            sources=tables.source_of("tyres.axle_kg", "tyres.axle_wet_kg"),
            value=mass,
            limit=limit,
            unit="kg",
            caution=LOAD_CAUTION if level != "ok" else "",
        ),
        _load_change(mass, limits, wet),
    )


def _load_words(mass: float | None, limits: dict[bool, float], wet: bool | None) -> str:
    if mass is None:
        return "What it carries is not known."
    if wet is None:
        over = "over both limits" if mass > limits[False] else "over the wet one only"
        over = over if mass > limits[True] else "under both"
        return f"Nobody said whether the soil is wet. On dry soil more is borne; this is {over}."
    return f"Held to the limit for {'wet' if wet else 'dry'} soil."


def _load_change(mass: float | None, limits: dict[bool, float], wet: bool | None) -> str:
    if mass is None:
        return "Give the mass on every axle in machines.toml"
    if wet is not False and limits[True] < mass <= limits[False]:
        return "Wait until the soil has dried before driving on it"
    return "Take weight off the axle, or keep off this ground" if mass > limits[False] else ""


def _pressure(field_id: str, machine: Machine, number: int, tables: Tables) -> Told:
    tyres = [tyre for tyre in machine.tyres if tyre.axle == number]
    inflations = [tyre.inflation_kpa for tyre in tyres]
    known = [one for one in inflations if one is not None]
    most = max(known, default=None)
    whole = bool(tyres) and all(one.inflation_kpa and one.load_kg for one in tyres)
    peak = tables.number("tyres.peak_share")
    all_known = bool(tyres) and len(known) == len(tyres)
    return Told(
        Finding(
            level="ok" if whole else "unknown",
            what=f"tyre pressure, axle {number}",
            where=field_id,
            why=_pressure_words(tyres),
            basis="assumed",
            sources=tables.source_of("tyres.peak_share"),
            value=most,
            high=None if most is None or not all_known else max(most, most * peak),
            unit="kPa",
            caution=PRESSURE_CAUTION,
        ),
        "" if whole else "Give load_kg and inflation_kpa of every tyre in machines.toml",
    )


def _pressure_words(tyres: Sequence[Tyre]) -> str:
    if not tyres:
        return "Its tyres are not listed."
    words = [_PRESSURE_WORDS]
    areas = [
        float(contact_area_m2(tyre.load_kg, pressure_kpa=tyre.inflation_kpa))
        for tyre in tyres
        if tyre.load_kg and tyre.inflation_kpa
    ]
    if areas:
        inches = min(areas) / METRE_PER_INCH**2
        words.append(f"It stands on {min(areas):.3f} m2 ({inches:.0f} sq in).")
    if len(areas) < len(tyres):
        words.append("Load or inflation of a tyre is not known.")
    return " ".join(words)


def _speed(field_id: str, machine: Machine, axles: Sequence[int]) -> Told:
    categories = [tyre.speed_kmh for tyre in machine.tyres]
    known = [one for one in categories if one is not None]
    slowest = min(known, default=None)
    listed = set(axles) <= {tyre.axle for tyre in machine.tyres if tyre.speed_kmh is not None}
    driven = [one for one in (machine.road_speed_kmh, machine.field_speed_kmh) if one is not None]
    fastest = max(driven, default=None)
    over = fastest is not None and slowest is not None and fastest > slowest
    level: Level = "care" if over else "ok"
    if not listed or len(known) < len(categories) or len(driven) < 2:
        level = "unknown"
    return Told(
        Finding(
            level=level,
            what="tyre speed",
            where=field_id,
            why=_speed_words(level, over),
            basis="assumed",
            sources=("farm",),
            value=fastest,
            limit=slowest,
            unit="km/h",
            caution=SPEED_CAUTION if level != "ok" else "",
        ),
        _speed_change(level, over),
    )


def _speed_words(level: Level, over: bool) -> str:
    words = ["The machine's fastest, on the road or in the field, beside its slowest tyre."]
    if over:
        words.append("It is driven faster than that tyre is made for.")
    if level == "unknown":
        words.append("A tyre's speed, the road speed or the field speed is not known.")
    return " ".join(words)


def _speed_change(level: Level, over: bool) -> str:
    if over:
        return "Drive no faster than the slowest tyre allows, or fit tyres of a faster category"
    if level == "unknown":
        return "Give speed_kmh of every tyre, road_speed_kmh and field_speed_kmh in machines.toml"
    return ""


def _short(field_id: str, machine: Machine, tables: Tables) -> list[Told]:
    """Whether every axle is listed: their masses must make up the machine's."""
    carried = math.fsum(axle.mass_kg for axle in machine.axles)
    share = tables.number("tyres.short_share")
    if machine.mass_kg is not None and carried >= machine.mass_kg * (1.0 - share):
        return []
    return [
        Told(
            Finding(
                level="unknown",
                what="axles listed",
                where=field_id,
                why="The machine's mass is not known, so that an axle may be missing."
                if machine.mass_kg is None
                else "The axles carry less than the machine's mass: one is missing, or too light.",
                basis="assumed",
                sources=tables.source_of("tyres.short_share"),
                value=carried,
                limit=machine.mass_kg,
                unit="kg",
            ),
            "Give mass_kg and the mass on every axle in machines.toml",
        )
    ]


def _low(row: Constant) -> float:
    return row.number() if row.low is None else row.low
