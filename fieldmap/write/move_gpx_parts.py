"""What the GPX of a move is made of: its name, its line, its steps and the places to measure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd

from fieldmap.crs import WGS84
from fieldmap.finding import LEVEL_WORDS
from fieldmap.roads.answer import Move
from fieldmap.units import System, shown
from fieldmap.write.move_items import driven

Spot = dict[str, Any]
_NAME = 30  # letters a device shows of a place


def gpx_name(payload: Mapping[str, Any]) -> str:
    """The track's name: the answer first, so that nobody follows a refused way unawares.

    Examples
    --------
    >>> move = {"name": "home to S5, mower, folded", "level": "stop"}
    >>> gpx_name({"move": move}), gpx_name({"move": move | {"level": "unknown"}})
    ('REFUSED: home to S5, mower, folded', 'NOT SETTLED: home to S5, mower, folded')
    """
    move = payload["move"]
    words = {"stop": "REFUSED", "unknown": "NOT SETTLED"}
    word = words.get(move["level"], LEVEL_WORDS[move["level"]].upper())
    return f"{word}: {move['name']}"


def way_of(move: Move) -> gpd.GeoSeries | list[Any]:
    """The lines of the legs in driving order, degrees."""
    return move.legs.geometry.to_crs(WGS84) if len(move.legs) else []


def spots(payload: Mapping[str, Any]) -> tuple[list[Spot], list[Spot]]:
    """Waypoints (what is met, and where to measure), and points of the route (its steps)."""
    units = payload["units"]
    steps = [_step(one, units) for one in payload["steps"]]
    met = [
        _met(one, step["n"]) for step in payload["steps"] for one in step["met"] if _is_told(one)
    ]
    return [*met, *(_measure(*pair, units) for pair in _placed(payload["survey"]))], steps


def _is_told(met: Mapping[str, Any]) -> bool:
    return met["lon"] is not None and (met["level"] != "ok" or bool(met["words"]))


def _step(one: Mapping[str, Any], units: System) -> Spot:
    level = "" if one["level"] == "ok" else f" Answer here: {LEVEL_WORDS[one['level']]}."
    way = "" if not one["length_m"] else f" Then {driven(one['length_m'], units)}."
    place = {"lon": one["lon"], "lat": one["lat"]}
    return place | {
        "name": f"{one['n']} {_brief(one['words'])}",
        "text": one["words"] + "." + way + level,
    }


def _met(one: Mapping[str, Any], step: int) -> Spot:
    said = [
        f"Step {step}, {one['what']} ({LEVEL_WORDS[one['level']]}).",
        one["words"],
        one["caution"],
    ]
    asked = f"Ask: {one['ask']}." if one["ask"] else ""
    text = " ".join(part for part in (*said, asked) if part)
    place = {"lon": one["lon"], "lat": one["lat"]}
    return place | {"name": _brief(one["what"]), "text": text}


def _placed(survey: list[Mapping[str, Any]]) -> list[tuple[int, Mapping[str, Any]]]:
    return [(n, one) for n, one in enumerate(survey, 1) if one["lon"] is not None]


def _measure(number: int, row: Mapping[str, Any], units: System) -> Spot:
    beat = ""
    if row["must_beat"] is not None:
        beat = f"must beat {shown(row['must_beat'], row['unit'], units)}. "
    text = f"{row['place']} ({row['where']}): {row['measure']}; {beat}{row['why']}"
    return {
        "lon": row["lon"],
        "lat": row["lat"],
        "name": f"M{number} measure: {row['measure']}",
        "text": text,
    }


def _brief(words: str) -> str:
    """A name short enough for a small screen."""
    return words if len(words) <= _NAME else words[: _NAME - 3].rpartition(" ")[0] + " ..."
