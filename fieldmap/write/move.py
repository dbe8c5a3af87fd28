"""A road move as files: page, GPX for the cab, JSON and CSV."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from fieldmap import JSON_SCHEMA, __version__
from fieldmap.crs import WGS84
from fieldmap.farm import Farm
from fieldmap.finding import Finding
from fieldmap.roads.checks import LEG_CHECKS, NODE_CHECKS
from fieldmap.roads.move import Move
from fieldmap.roads.wording import OTHER_STATE, WHOLE_WAY
from fieldmap.units import System, shown
from fieldmap.write.files import features, plain
from fieldmap.write.gpx import move_gpx
from fieldmap.write.names import page_name
from fieldmap.write.outputs import Outputs
from fieldmap.write.pages import move_page
from fieldmap.write.payload import cited, credit, road_lines
from fieldmap.write.pictures import farm_images

_ROADS_AROUND_M = 600.0
_UNITS = ("m", "kg")


def write_move(
    move: Move,
    farm: Farm,
    out: str | Path,
    *,
    day: str,
    index_follows: bool = False,
    overwrite: bool = False,
) -> tuple[Path, ...]:
    """Write a move into ``moves/`` of a folder: ``.html``, ``.gpx``, ``.json`` and ``.csv``.

    Parameters
    ----------
    move : Move
    farm : Farm
        Whose roads and words they are.
    out : str or Path
        The folder; made when it is not there.
    day : str
        ISO date the move was checked on.
    index_follows : bool
        The farm's own page is about to be written beside it: link to it already.
    overwrite : bool
        Also over files that fieldmap did not write.

    Returns
    -------
    tuple of Path
        The page first.

    Raises
    ------
    StoreError
        Disk or permission.
    InputError
        A file in the way is not ours.
    """
    folder = Path(out)
    name = move_name(move)
    stem = f"moves/{page_name(name)}"
    with Outputs(folder, group=f"move {name}", overwrite=overwrite) as files:
        payload = move_payload(move, farm, day=day)
        if not index_follows and not (folder / "index.html").is_file():
            payload["links"]["index"] = ""
        files.text(f"{stem}.html", move_page(payload))
        files.text(f"{stem}.gpx", _gpx(move, name, farm.settings.units))
        files.json(f"{stem}.json", move_json(move, farm, day=day))
        files.text(f"{stem}.csv", legs_csv(move))
    return tuple(folder / path for path in files.names)


def move_name(move: Move) -> str:
    """What a move is called: from, to, machine and transport state."""
    return f"{move.names[0]} to {move.names[1]}, {move.machine}, {move.state}"


def move_json(move: Move, farm: Farm, *, day: str) -> dict[str, Any]:
    """The move as plain JSON types."""
    return {
        "schema": JSON_SCHEMA,
        "farm": farm.settings.name,
        "note": farm.settings.note,
        "day": day,
        "move": _head(move),
        "legs": features(_told(move.legs), (*_PLACE, "checks")),
        "nodes": [_checked(row, NODE_CHECKS) for row in move.nodes.to_dict("records")],
        "direct": features(_told(move.direct), (*_PLACE, "checks")),
        "findings": [finding.as_dict() for finding in move.findings],
        "refusals": [finding.as_dict() for finding in move.refusals],
        "survey": [_plain(row) for row in move.survey],
        "states": dict(move.states),
        "sources": cited(farm, (*move.findings, *move.refusals)),
    }


def legs_csv(move: Move) -> str:
    """``moves/<name>.csv``: one row a leg with every check's figures."""
    table = pd.DataFrame(move.legs.drop(columns="geometry"))
    table["under"] = [";".join(held) for held in table["under"]]
    table.insert(0, "n", range(1, len(table) + 1))
    return str(table.round(3).to_csv(index=False, lineterminator="\n"))


def move_payload(move: Move, farm: Farm, *, day: str) -> dict[str, Any]:
    """Everything on the page of a move."""
    shown = (*move.findings, *move.refusals)
    box = _around(move, farm)
    return {
        "title": f"{move.names[0]} to {move.names[1]}",
        "farm": farm.settings.name,
        "note": farm.settings.note,
        "units": farm.settings.units,
        "made": {"date": day, "version": __version__},
        "sources": cited(farm, shown),
        "credit": credit(farm),
        "move": _head(move),
        "legs": features(_spread(_told(move.legs)), (*_PLACE, "checks")),
        "direct": features(
            _told(move.direct)
            if move.refusals and not _is_direct(move)
            else _told(move.direct).iloc[:0],
            (*_PLACE, "checks"),
        ),
        "findings": [finding.as_dict() for finding in (*move.findings, *_on_direct(move))],
        "better": next((one.choice for one in move.findings if one.what == OTHER_STATE), ""),
        "survey": [_survey_shown(row) for row in move.survey],
        "cautions": _cautions(move.findings),
        "roads": road_lines(farm, box),
        "images": farm_images(farm, box),
        "ground": list(farm.roads.warnings) if farm.roads is not None else [],
        "links": {"index": "../index.html"},
    }


_PLACE = ("n", "name", "way_id", "length_m", "level", "what")


def _told(legs: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    rows = legs.drop(columns="geometry").to_dict("records")
    return gpd.GeoDataFrame(
        {
            "n": range(1, len(legs) + 1),
            "name": list(legs["name"]),
            "way_id": list(legs["way_id"]),
            "length_m": [round(float(length), 1) for length in legs["length_m"]],
            "level": list(legs["level"]),
            "what": list(legs["why"]),
            "checks": [_checked(row, LEG_CHECKS)["checks"] for row in rows],
        },
        geometry=legs.geometry.to_numpy(),
        crs=legs.crs,
    )


def _checked(row: dict[Any, Any], names: tuple[str, ...]) -> dict[str, Any]:
    checks = []
    for name in names:
        unit = next((unit for unit in _UNITS if f"{name}_low_{unit}" in row), "")
        low, high, need = (row.get(f"{name}_{part}_{unit}") for part in ("low", "high", "need"))
        checks.append(
            _plain(
                {
                    "check": name,
                    "level": row[name],
                    "low": low,
                    "high": high,
                    "need": need,
                    "unit": unit,
                    "basis": row[f"{name}_basis"],
                    "why": row[f"{name}_why"],
                }
            )
        )
    kept = ("place", "name", "level", "lon", "lat", "why")
    return _plain({key: row[key] for key in kept if key in row}) | {"checks": checks}


def _head(move: Move) -> dict[str, Any]:
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


def _plain(row: dict[Any, Any]) -> dict[str, Any]:
    return {key: plain(held) for key, held in row.items()}


def _spread(told: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Checks with their two ends as one value, as the page shows them."""
    told["checks"] = [
        [check | {"value": _shown_value(check)} for check in checks] for checks in told["checks"]
    ]
    return told


def _shown_value(check: dict[str, Any]) -> Any:
    """Both ends; where no figure is mapped and none is missed, no "unknown" is claimed."""
    if check["low"] is None and check["high"] is None and check["level"] == "ok":
        return "no figure mapped" if check["unit"] else ""
    return [check["low"], check["high"]]


def _survey_shown(row: dict[str, Any]) -> dict[str, Any]:
    """A place by the name people know it by; its map key stands beside it."""
    name = row["where"].removesuffix(f" ({row['place']})")
    return _plain(row | {"place": name, "where": row["place"]})


def _cautions(findings: tuple[Finding, ...]) -> list[str]:
    """Cautions of what is not settled, and of the way as a whole."""
    told = [one for one in findings if one.level != "ok" or one.what == WHOLE_WAY]
    told.sort(key=lambda one: one.what != WHOLE_WAY)
    return list(dict.fromkeys(one.caution for one in told if one.caution))


def _is_direct(move: Move) -> bool:
    """Whether the way told of is the direct way itself, because every way is refused."""
    return list(move.legs["leg_id"]) == list(move.direct["leg_id"])


def _on_direct(move: Move) -> list[Finding]:
    if _is_direct(move):
        return []
    return [replace(one, what=f"{one.what}, on the direct way") for one in move.refusals]


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


def _beat(row: dict[str, Any], units: System) -> str:
    if row["must_beat"] is None:
        return ""
    return f"must beat {shown(row['must_beat'], row['unit'], units)}. "


def _gpx(move: Move, name: str, units: System) -> str:
    places = [
        {
            "lon": row["lon"],
            "lat": row["lat"],
            "name": f"measure: {row['measure']}",
            "text": f"{row['where']}: {_beat(row, units)}{row['why']}",
        }
        for row in move.survey
        if row["lon"] is not None and math.isfinite(row["lon"])
    ]
    lines = move.legs.geometry.to_crs(WGS84) if len(move.legs) else []
    return move_gpx(f"{move.level.upper()}: {name}", move.reason, lines, places)
