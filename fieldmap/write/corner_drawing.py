"""Drawings of corners: the lane, the ground a train sweeps, and the line that is driven.

Outlines come in metres from the corner, x east and y north, and leave as paths in pixels.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import shapely

from fieldmap.units import System, shown
from fieldmap.write.page_findings import said, worst_first
from fieldmap.write.sheet_map import path, scale

#: Side of a drawing (pixels), what is kept free at its edge, and how many are drawn.
SIDE, MARGIN, MOST = 250.0, 10.0, 12
_REACH_M = 30.0  # what lies further from the corner than this is not drawn
_LEAST_M = 8.0  # half of the least ground drawn

Corner = Mapping[str, Any]


def corner_views(corners: Sequence[Corner], units: System) -> list[dict[str, Any]]:
    """Corners for the page, the worst first: words of each, and a drawing of the first twelve.

    Parameters
    ----------
    corners : sequence of mapping
        As :func:`fieldmap.write.move_payload.corners_told` makes them.
    units : {"us", "metric"}
    """
    views = []
    for number, one in enumerate(worst_first(corners), start=1):
        drawing = corner_drawing(one, units) if number <= MOST else None
        views.append({**_words(one, units), "n": number, "drawing": drawing})
    return views


def _words(one: Corner, units: System) -> dict[str, Any]:
    side = "right" if (one["deflection_deg"] or 0.0) > 0 else "left"
    turn = one["deflection_deg"]
    return {
        **said(one["level"]),
        "where": one["where"][:1].upper() + one["where"][1:],
        "place": one["place"],
        "why": one["why"],
        "turn": "unknown" if turn is None else f"{abs(turn):.0f} deg to the {side}",
        "room": _room(one, units),
        "need": shown(one["need_m"], "m", units),
    }


def _room(one: Corner, units: System) -> str:
    """The room at both ends of the widths; one figure where they are the same."""
    low, high = (shown(one[key], "m", units) for key in ("low_m", "high_m"))
    return low if low == high else f"{low} to {high}"


def corner_drawing(one: Corner, units: System) -> dict[str, Any] | None:
    """Paths of one corner in pixels; ``None`` where there is no outline to draw.

    Examples
    --------
    >>> square = [[-10, -10], [10, -10], [10, 10], [-10, 10]]
    >>> blank = {"lane_high": [], "swept": [], "path": []}
    >>> corner_drawing({"lane_low": square, **blank}, "metric")["lane_low"]
    'M10 240L10 10L240 10L240 240Z'
    >>> corner_drawing({"lane_low": [], **blank}, "metric") is None
    True
    """
    areas = {key: _area(one[key]) for key in ("lane_high", "lane_low", "swept")}
    line = _line(one["path"])
    held = [shape for shape in (*areas.values(), line) if not shape.is_empty]
    if not held:
        return None
    frame = shapely.box(-_REACH_M, -_REACH_M, _REACH_M, _REACH_M)
    west, south, east, north = shapely.union_all(held).intersection(frame).bounds
    half = max(east - west, north - south, 2 * _LEAST_M) / 2.0
    pixel_m = 2.0 * half / (SIDE - 2 * MARGIN)
    middle = (west + east) / 2.0, (south + north) / 2.0
    seen = shapely.box(middle[0] - half, middle[1] - half, middle[0] + half, middle[1] + half)

    def drawn(shape: shapely.Geometry) -> str:
        moved = shapely.transform(
            shape.intersection(seen),
            lambda xy: (xy - middle) * (1.0, -1.0) / pixel_m + (SIDE / 2.0, SIDE / 2.0),
        )
        return path(moved) if not moved.is_empty else ""

    over = areas["swept"].difference(areas["lane_high"])
    return {
        "side": SIDE,
        **{key: drawn(shape) for key, shape in areas.items()},
        "over": "" if areas["lane_high"].is_empty else drawn(over),
        "path": drawn(line),
        "scale": scale(pixel_m, units),
    }


def _area(outline: Sequence[Sequence[float]]) -> shapely.Geometry:
    """A polygon; one that crosses itself is mended, one of too few corners is empty."""
    if len(outline) < 3:
        return shapely.Polygon()
    held = shapely.Polygon(outline)
    return held if held.is_valid else shapely.make_valid(held, method="structure")


def _line(outline: Sequence[Sequence[float]]) -> shapely.LineString:
    return shapely.LineString(outline) if len(outline) > 1 else shapely.LineString()
