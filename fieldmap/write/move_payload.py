"""What the page and the cab sheet of a road move are given: plain JSON types."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

import geopandas as gpd
import shapely

from fieldmap import __version__
from fieldmap.crs import WGS84
from fieldmap.farm import Farm
from fieldmap.finding import Finding
from fieldmap.machine import Machine
from fieldmap.roads.answer import Move
from fieldmap.roads.checks import LEG_CHECKS
from fieldmap.roads.step_along import Along, Met
from fieldmap.roads.step_met import throughout
from fieldmap.roads.step_words import road_name
from fieldmap.roads.steps import AT_TURN_M, Step, steps
from fieldmap.roads.tell_legs import figure_column
from fieldmap.roads.wording import OTHER_STATE, WHOLE_WAY
from fieldmap.write.files import features, plain
from fieldmap.write.names import page_name
from fieldmap.write.payload import cited, credit, road_lines
from fieldmap.write.pictures import farm_images

Item = dict[str, Any]

_ROADS_AROUND_M = 600.0
_UNITS = ("m", "kg", "%")
_KEY = re.compile(r" \((way|node|leg|turn)/[^()]*\)$")
PLACE = ("n", "name", "way_id", "length_m", "level", "what")
_OUTLINES = ("lane_low", "lane_high", "swept", "path")
_OUTLINE_DIGITS = 2  # of a metre, for what is only drawn


def move_name(move: Move) -> str:
    """What a move is called: from, to, machine and transport state."""
    return f"{move.names[0]} to {move.names[1]}, {move.machine}, {move.state}"


def move_stem(move: Move) -> str:
    """The files of a move, without their endings."""
    return f"moves/{page_name(move_name(move))}"


def move_payload(move: Move, farm: Farm, *, day: str) -> Item:
    """Everything on the page of a move and on its cab sheet."""
    shown = (*move.findings, *move.refusals)
    box = _around(move, farm)
    driven = steps(move, farm.roads, tables=farm.tables)
    stem = move_stem(move).removeprefix("moves/")
    return {
        "title": f"{move.names[0]} to {move.names[1]}",
        "farm": farm.settings.name,
        "note": farm.settings.note,
        "units": farm.settings.units,
        "made": {"date": day, "version": __version__},
        "sources": cited(farm, shown),
        "credit": credit(farm),
        "move": head(move),
        "size": _size(move, farm),
        "machine_key": f"{machine_of(move, farm).id}/{move.state}",
        "steep_pct": farm.tables.number("steps.low_gear_pct"),
        "states": _states(move, farm),
        "steps": [step_told(one) for one in driven],
        "places": places_told(move, driven, near_m=farm.tables.number("steps.near_way_m")),
        "throughout": [one.as_dict() for one in throughout(move) if one.what != WHOLE_WAY],
        "corners": corners_told(move),
        "meeting": bare(move.meeting),
        "sun": bare(move.sun),
        "profile": bare(move.profile),
        "legs": features(_spread(told_legs(move.legs)), (*PLACE, "checks")),
        "direct": features(_refused_way(move), (*PLACE, "checks")),
        "direct_km": float(move.direct["length_m"].sum()) / 1000.0 if len(move.direct) else None,
        "is_direct": is_direct(move),
        "findings": [finding.as_dict() for finding in move.findings],
        "refusals": [finding.as_dict() for finding in move.refusals],
        "better": next((one.choice for one in move.findings if one.what == OTHER_STATE), ""),
        "survey": [_survey_shown(row) for row in move.survey],
        "cautions": _cautions(move.findings),
        "roads": road_lines(farm, box),
        "images": farm_images(farm, box),
        "ground": list(farm.roads.warnings) if farm.roads is not None else [],
        "links": {
            "index": "../index.html",
            "sheet": f"{stem}-sheet.html",
            "page": f"{stem}.html",
            "gpx": f"{stem}.gpx",
        },
    }


def head(move: Move) -> Item:
    """The answer of a move."""
    return _plain(
        {
            "name": move_name(move),
            "from": move.names[0],
            "to": move.names[1],
            "machine": move.machine,
            "state": move.state,
            "level": move.level,
            "reason": move.reason,
            "length_km": move.length_m / 1000.0,
            "minutes": move.minutes,
        }
    )


def step_told(step: Step) -> Item:
    """A step as plain JSON types."""
    return _plain(asdict(step) | {"ways": list(step.ways), "met": [], "legs": list(step.legs)}) | {
        "met": [_met_told(one) for one in step.met]
    }


def _met_told(met: Met) -> Item:
    return _plain(asdict(met))


def corners_told(move: Move) -> list[Item]:
    """Corners as plain JSON types, the worst first as they came; outlines to the centimetre."""
    return [
        _plain({key: held for key, held in asdict(one).items() if key not in _OUTLINES})
        | {
            key: [[round(x, _OUTLINE_DIGITS), round(y, _OUTLINE_DIGITS)] for x, y in held]
            for key in _OUTLINES
            for held in (getattr(one, key),)
        }
        for one in move.corners
    ]


def places_told(move: Move, driven: Iterable[Step], *, near_m: float) -> list[list[int]]:
    """For each place of the survey list the steps it lies on, none off the way.

    A figure for a whole way belongs to every step on it that is not settled.
    """
    made = [one for one in driven if one.ways]
    if not made:
        return [[] for _ in move.survey]
    along = Along(move.legs)
    return [
        _on_way(row["place"], made)
        or _step_at(along.at(row["lon"], row["lat"], near_m=near_m), made)
        for row in move.survey
    ]


def _on_way(place: str, made: list[Step]) -> list[int]:
    kind, _, key = place.partition("/")
    on = [one for one in made if kind == "way" and key in map(str, one.ways)]
    return [one.n for one in on if one.level != "ok"]


def _step_at(at_m: float | None, made: list[Step]) -> list[int]:
    if at_m is None:
        return []
    return [
        next((one.n for one in made if at_m < one.from_m + one.length_m - AT_TURN_M), made[-1].n)
    ]


def _size(move: Move, farm: Farm) -> Item:
    """The machine as it is checked: its outside size, mass and heaviest axle."""
    machine = machine_of(move, farm)
    state = next((one for one in machine.transport if one.name == move.state), None)
    axles = [axle.mass_kg for axle in machine.axles]
    return {
        "width_m": state and state.width_m,
        "height_m": state and state.height_m,
        "length_m": state and state.length_m,
        "mass_kg": machine.mass_kg,
        "axle_kg": max(axles) if axles else None,
    }


def _states(move: Move, farm: Farm) -> list[Item]:
    """Every transport state with its size and the level of its best way."""
    sizes = {one.name: one for one in machine_of(move, farm).transport}
    return [
        {
            "name": name,
            "level": level,
            "here": name == move.state,
            **{
                key: getattr(sizes.get(name), key, None)
                for key in ("width_m", "height_m", "length_m")
            },
        }
        for name, level in move.states.items()
    ]


def machine_of(move: Move, farm: Farm) -> Machine:
    """The machine that a move was checked for; a bare one when the farm has none of its name."""
    named = [one for one in farm.machines if one.name == move.machine]
    fits = [one for one in named if {state.name for state in one.transport} == set(move.states)]
    return next(iter([*fits, *named]), Machine(id="none", name=move.machine, kind="rear-mounted"))


def told_legs(legs: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Legs with what a table shows of them."""
    rows = legs.drop(columns="geometry").to_dict("records")
    return gpd.GeoDataFrame(
        {
            "n": range(1, len(legs) + 1),
            "name": list(legs["name"]),
            "way_id": list(legs["way_id"]),
            "length_m": [round(float(length), 1) for length in legs["length_m"]],
            "level": list(legs["level"]),
            "what": list(legs["why"]),
            "checks": [checked(row, LEG_CHECKS)["checks"] for row in rows],
        },
        geometry=legs.geometry.to_numpy(),
        crs=legs.crs,
    )


def checked(row: Mapping[Any, Any], names: tuple[str, ...]) -> Item:
    """A leg or node with each of its checks as one object."""
    checks = []
    for name in (one for one in names if one in row):
        unit = next((unit for unit in _UNITS if figure_column(name, "low", unit) in row), "")
        parts = ("low", "high", "need")
        told = {"check": name, "level": row[name]}
        told |= {part: row.get(figure_column(name, part, unit)) for part in parts}
        told |= {"unit": unit, "basis": row[f"{name}_basis"], "why": row[f"{name}_why"]}
        checks.append(_plain(told))
    kept = ("place", "name", "level", "lon", "lat", "why")
    return _plain({key: row[key] for key in kept if key in row}) | {"checks": checks}


def is_direct(move: Move) -> bool:
    """Whether the way told of is the direct way itself, because every way is refused."""
    return list(move.legs["leg_id"]) == list(move.direct["leg_id"])


def _refused_way(move: Move) -> gpd.GeoDataFrame:
    """The direct way where it is refused and another one is taken; else nothing."""
    told = told_legs(move.direct)
    return told if move.refusals and not is_direct(move) else told.iloc[:0]


def _plain(row: Mapping[Any, Any]) -> Item:
    return {key: bare(held) for key, held in row.items()}


def bare(held: Any) -> Any:
    """Plain JSON types all the way down."""
    if isinstance(held, Mapping):
        return _plain(held)
    if isinstance(held, list | tuple):
        return [bare(one) for one in held]
    return plain(held)


def _spread(told: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Names in words, and checks with their two ends as one value, as the page shows them."""
    told["name"] = [road_name(name) for name in told["name"]]
    told["checks"] = [
        [check | {"value": _shown_value(check)} for check in checks] for checks in told["checks"]
    ]
    return told


def _shown_value(check: Item) -> Any:
    """Both ends; where no figure is mapped and none is missed, no "unknown" is claimed."""
    if check["low"] is None and check["high"] is None and check["level"] == "ok":
        return "no figure mapped" if check["unit"] else ""
    return [check["low"], check["high"]]


def _survey_shown(row: Item) -> Item:
    """A place by the name people know it by; its map key stands beside it."""
    name = road_name(_KEY.sub("", row["where"]))
    return _plain(row | {"place": name, "where": row["place"]})


def _cautions(findings: tuple[Finding, ...]) -> list[str]:
    """Cautions of what is not settled, and of the way as a whole."""
    told = [one for one in findings if one.level != "ok" or one.what == WHOLE_WAY]
    told.sort(key=lambda one: one.what != WHOLE_WAY)
    return list(dict.fromkeys(one.caution for one in told if one.caution))


def _around(move: Move, farm: Farm) -> shapely.Polygon:
    shapes = [*move.legs.geometry, *move.direct.geometry]
    if not shapes:
        ends = gpd.GeoSeries(
            gpd.points_from_xy(*zip(move.start, move.goal, strict=True)), crs=WGS84
        )
        shapes = list(ends.to_crs(farm.crs))
    return shapely.box(
        *shapely.buffer(shapely.box(*shapely.total_bounds(shapes)), _ROADS_AROUND_M).bounds
    )
