"""The small map of a move's cab sheet: the way by level, its steps and where to measure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import shapely
from shapely.geometry import shape

from fieldmap.write.sheet_labels import Spots
from fieldmap.write.sheet_map import frame, moved, path, roads_drawn, scale, shapes

Payload = Mapping[str, Any]

#: Places to measure nearer than this share a sign, steps a number (pixels).
_TOGETHER, _APART = 10.0, 24.0


def move_map(payload: Payload, *, most_height: float) -> dict[str, Any] | None:
    """Paths and labels in pixels; ``None`` when there is nothing to draw.

    Parameters
    ----------
    payload : mapping
        As :func:`fieldmap.write.move_payload.move_payload` makes it.
    most_height : float
        The drawing is no taller than this (pixels).
    """
    way, direct = shapes(payload["legs"]), shapes(payload["direct"])
    places = [
        (number, shapely.Point(one["lon"], one["lat"]))
        for number, one in enumerate(payload["survey"], start=1)
        if one["lon"] is not None and one["lat"] is not None
    ]
    if not way and not direct and not places:
        return None
    bounds = shapely.union_all([*way, *direct, *(point for _, point in places)]).bounds
    project, size, pixel_m = frame(bounds, most_height)
    measured = _gathered([(number, moved(point, project)) for number, point in places])
    steps = payload.get("steps") or ()
    turns = [moved(shapely.Point(one["lon"], one["lat"]), project) for one in steps]
    spots = Spots(size)
    for point in (*(point for _, point in measured), *turns):
        spots.take(point, 9.0, 9.0)
    labels = [spots.near(point, text, "mark") for text, point in measured]
    labels += [
        spots.near(turns[row], str(steps[row]["n"]), "zone") for row in _named_turns(steps, turns)
    ]
    return {
        "width": size[0],
        "height": size[1],
        "roads": roads_drawn(payload, project, size),
        "direct": [path(moved(line, project)) for line in direct],
        "legs": [_leg(feature, project) for feature in payload["legs"]["features"]],
        "turns": [_at(point) for point in turns],
        "places": [_at(point) for _, point in measured],
        "labels": labels,
        "scale": scale(pixel_m, payload["units"]),
    }


def _leg(feature: Payload, project: Any) -> dict[str, str]:
    return {
        "d": path(moved(shape(feature["geometry"]), project)),
        "level": feature["properties"]["level"],
    }


def _at(point: shapely.Point) -> dict[str, float]:
    return {"x": round(point.x, 1), "y": round(point.y, 1)}


def _gathered(places: list[tuple[int, shapely.Point]]) -> list[tuple[str, shapely.Point]]:
    """Places to measure with their numbers; those that lie together under one sign."""
    held: list[tuple[list[int], shapely.Point]] = []
    for number, point in places:
        near = next((one for one in held if one[1].distance(point) < _TOGETHER), None)
        if near is None:
            held.append(([number], point))
        else:
            near[0].append(number)
    return [("M" + ", ".join(map(str, numbers)), point) for numbers, point in held]


def _named_turns(steps: Sequence[Payload], turns: list[shapely.Point]) -> list[int]:
    """Rows of the steps whose number stands on the map: the ends, what is not fine, the rest.

    Where steps crowd only the first of them is named, so that every number can be read.
    """
    order = sorted(
        range(len(steps)),
        key=lambda row: (row not in (0, len(steps) - 1), steps[row]["level"] == "ok", row),
    )
    named: list[int] = []
    for row in order:
        if all(turns[row].distance(turns[other]) >= _APART for other in named):
            named.append(row)
    return sorted(named)
