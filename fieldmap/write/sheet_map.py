"""The map of a cab sheet: shapes for a drawing that stands in the page, without any script.

Places come as GeoJSON in degrees and leave as pixels of the drawing, x to the right and y down,
true north up. Numbers and letters look for a free spot near their place.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np
import shapely
from shapely.geometry import shape

from fieldmap.finding import rank
from fieldmap.units import METRE_PER_FOOT, METRE_PER_MILE, System
from fieldmap.write.lie_items import both_ways
from fieldmap.write.page_findings import said
from fieldmap.write.sheet_labels import Spots

Payload = Mapping[str, Any]
Project = Callable[[np.ndarray], np.ndarray]

#: Width of the drawing and the least height of it (pixels; 96 to the inch, as browsers count).
WIDTH, LEAST_HEIGHT = 340.0, 150.0
_MARGIN, _SMOOTH = 14.0, 0.5  # pixels
_METRE_PER_DEGREE = 111_195.0  # of latitude, on a sphere of 6,371 km
_TURN_DEG = 10.0  # grid north is never further than this from true north
_ARROW = 34.0  # half the arrow of the heading (pixels)
_STEPS = (1, 2, 5)


def sheet_map(
    payload: Payload, zones: Iterable[Payload], marks: Iterable[Payload], *, most_height: float
) -> dict[str, Any] | None:
    """Everything the drawing shows, in pixels.

    Parameters
    ----------
    payload : mapping
        A field page's: ``boundary``, ``gates``, ``roads``, ``lie``, ``units``.
    zones : items with ``geometry``, ``level``, ``letter`` (may be empty)
    marks : items with ``geometry``, ``level``, ``n``
    most_height : float
        The drawing is no taller than this (pixels).

    Returns
    -------
    dict or None
        ``width``, ``height``; paths with their level in ``areas`` and ``marks``, bare paths in
        ``outline``, ``headland``, ``roads``; ``labels``; ``heading`` (``None`` without one) and
        ``scale``. ``None`` when the field has no outline.
    """
    outline = shapes(payload["boundary"])
    if not outline:
        return None
    gates = shapes(payload["gates"])
    ground = [(zone, shape(zone["geometry"])) for zone in zones if zone["geometry"]]
    lying = [(mark, shape(mark["geometry"])) for mark in marks if mark["geometry"]]
    seen = shapely.union_all([*outline, *gates, *(held for _, held in lying)]).bounds
    project, size, pixel_m = frame(seen, most_height)
    field = moved(shapely.union_all(outline), project)
    ground = [(zone, moved(held, project)) for zone, held in ground]
    lying = [(mark, moved(held, project)) for mark, held in lying]
    gates = [moved(gate, project).representative_point() for gate in gates]
    drawn = {
        "width": size[0],
        "height": size[1],
        "outline": path(field),
        "headland": [path(moved(held, project)) for held in _headlands(payload)],
        "roads": roads_drawn(payload, project, size),
        "areas": _drawn(ground),
        "marks": [_mark(mark, held) for mark, held in lying],
        "gates": [_at(gate) for gate in gates],
        "scale": scale(pixel_m, payload["units"]),
    }
    return drawn | _named(payload, field, (ground, lying, gates), project, size)


def frame(
    bounds: tuple[float, float, float, float], most_height: float
) -> tuple[Project, tuple[float, float], float]:
    """From degrees to pixels, the size of the drawing, and the metres of a pixel."""
    west, south, east, north = bounds
    squeeze = math.cos(math.radians((south + north) / 2.0))
    wide_m = max((east - west) * squeeze * _METRE_PER_DEGREE, 1.0)
    tall_m = max((north - south) * _METRE_PER_DEGREE, 1.0)
    room = WIDTH - 2 * _MARGIN
    height = round(min(max(room * tall_m / wide_m + 2 * _MARGIN, LEAST_HEIGHT), most_height), 1)
    pixel_m = max(wide_m / room, tall_m / (height - 2 * _MARGIN))
    middle = np.array([(west + east) / 2.0, (south + north) / 2.0])
    factor = np.array([squeeze, -1.0]) * _METRE_PER_DEGREE / pixel_m

    def project(places: np.ndarray) -> np.ndarray:
        return (places - middle) * factor + np.array([WIDTH / 2.0, height / 2.0])

    return project, (WIDTH, height), pixel_m


def moved(held: shapely.Geometry, project: Project) -> shapely.Geometry:
    """A shape in pixels; rings that rounded degrees made cross themselves are mended."""
    moved = shapely.transform(held, project)
    if not moved.is_valid:
        mended = shapely.make_valid(moved, method="structure", keep_collapsed=False)
        moved = shapely.convex_hull(moved) if mended.is_empty else mended
    return shapely.simplify(moved, _SMOOTH, preserve_topology=True)


def shapes(collection: Payload | None) -> list[shapely.Geometry]:
    """The shapes of a feature collection, degrees; those without one left out."""
    found = [one["geometry"] for one in (collection or {"features": []})["features"]]
    return [shape(held) for held in found if held]


def _headlands(payload: Payload) -> list[shapely.Geometry]:
    """Inner edges of the headland: the lines at which a machine turns in."""
    held = shapes((payload.get("lie") or {}).get("headland"))
    rings = [ring for one in shapely.get_parts(held) for ring in getattr(one, "interiors", ())]
    return [shapely.LineString(ring.coords) for ring in rings]


def roads_drawn(payload: Payload, project: Project, size: tuple[float, float]) -> list[str]:
    """Paths of the roads, as far as they lie on the drawing."""
    sheet = shapely.box(0.0, 0.0, *size)
    lines = [moved(line, project).intersection(sheet) for line in shapes(payload.get("roads"))]
    return [path(line) for line in lines if not line.is_empty]


def _drawn(ground: list[tuple[Payload, shapely.Geometry]]) -> list[dict[str, str]]:
    """Areas, the worst on top."""
    order = sorted(ground, key=lambda pair: rank(said(pair[0]["level"])["level"]))  # type: ignore[arg-type]
    return [{"d": path(held), "level": zone["level"]} for zone, held in order]


def _mark(mark: Payload, held: shapely.Geometry) -> dict[str, Any]:
    """A mark: where its sign stands, and its shape when it is more than a point."""
    where = _at(held.representative_point())
    kind = "" if held.geom_type == "Point" else path(held)
    return {**where, "d": kind, "level": mark["level"], "n": mark["n"]}


def _at(point: shapely.Point) -> dict[str, float]:
    return {"x": round(point.x, 1), "y": round(point.y, 1)}


def path(held: shapely.Geometry) -> str:
    """A shape as the drawing writes it, to a tenth of a pixel.

    Examples
    --------
    >>> path(shapely.LineString([(0, 0), (10, 2.54)]))
    'M0 0L10 2.5'
    >>> path(shapely.box(0, 0, 1, 1))
    'M1 0L1 1L0 1L0 0Z'
    """
    pieces = []
    for part in shapely.get_parts(held, return_index=False):
        if part.geom_type == "Polygon":
            rings = (part.exterior, *part.interiors)
            pieces += [_line(ring.coords[:-1]) + "Z" for ring in rings]
        elif part.geom_type in ("LineString", "LinearRing"):
            pieces.append(_line(part.coords))
        elif part.geom_type != "Point":
            pieces.append(path(part))
    return "".join(pieces)


def _line(places: Iterable[tuple[float, ...]]) -> str:
    return "M" + "L".join(f"{round(x, 1):g} {round(y, 1):g}" for x, y in places)


def _named(
    payload: Payload,
    field: shapely.Geometry,
    held: tuple[Any, Any, list[shapely.Point]],
    project: Project,
    size: tuple[float, float],
) -> dict[str, Any]:
    """Numbers, letters and the arrow of the heading, each where it covers nothing else."""
    ground, lying, gates = held
    spots = Spots(size)
    places = [mark.representative_point() for _, mark in lying]
    for point in (*places, *gates):
        spots.take(point, 10.0, 10.0)
    labels = [spots.near(gate, f"G{number}", "gate") for number, gate in enumerate(gates, 1)]
    labels += [
        spots.near(point, mark["n"], "mark") for (mark, _), point in zip(lying, places, strict=True)
    ]
    labels += [spots.inside(area, zone["letter"]) for zone, area in ground if zone["letter"]]
    return {"labels": labels, "heading": _heading(payload, field, spots, project)}


def _heading(
    payload: Payload, field: shapely.Geometry, spots: Spots, project: Project
) -> dict[str, Any] | None:
    """The best line of travel as an arrow, where it covers least."""
    lie = payload.get("lie") or {}
    if not lie.get("travel"):
        return None
    deg = lie["travel"]["lines"][0]["deg"]
    lean = _lean(lie.get("runs"), deg, project)
    east, north = math.sin(math.radians(lean)), math.cos(math.radians(lean))
    words = f"{both_ways(deg)} deg"
    (x, y), named = spots.arrow(field, (_ARROW * east, -_ARROW * north), words)
    ends = (x - _ARROW * east, y + _ARROW * north, x + _ARROW * east, y - _ARROW * north)
    names = ("x1", "y1", "x2", "y2", "x", "y")
    return {
        **{name: round(at, 1) for name, at in zip(names, (*ends, *named), strict=True)},
        "words": words,
        "lean": round(lean, 1),
    }


def _lean(runs: Payload | None, deg: float, project: Project) -> float:
    """Degrees from true north of the line of travel; ``deg`` counts from the map's grid north.

    The runs themselves say how far the two norths are apart; without runs they are taken as one.
    """
    held = shapely.get_parts(shapes(runs)) if runs else np.array([])
    if not len(held):
        return deg
    longest = shapely.transform(max(held, key=shapely.length), project)
    (x0, y0), (x1, y1) = longest.coords[0], longest.coords[-1]
    turn = (math.degrees(math.atan2(x1 - x0, y0 - y1)) - deg + 90.0) % 180.0 - 90.0
    return deg + turn if abs(turn) <= _TURN_DEG else deg


def scale(pixel_m: float, units: System) -> dict[str, Any]:
    """A bar of a round length, at most a third of the drawing.

    Examples
    --------
    >>> scale(1.0, "metric"), scale(1.0, "us")["words"]
    ({'px': 100.0, 'words': '100 m'}, '200 ft')
    >>> scale(60.0, "metric")["words"], scale(60.0, "us")["words"]
    ('5 km', '2 mi')
    """
    small, large = ("ft", "mi") if units == "us" else ("m", "km")
    unit_m, name = (METRE_PER_FOOT if units == "us" else 1.0), small
    large_m = METRE_PER_MILE if units == "us" else 1000.0
    if pixel_m * WIDTH / 3.0 >= large_m:
        unit_m, name = large_m, large
    most = pixel_m * WIDTH / 3.0 / unit_m
    power = 10.0 ** math.floor(math.log10(most))
    length = max(step * power for step in _STEPS if step * power <= most)
    return {"px": round(length * unit_m / pixel_m, 1), "words": f"{length:,.4g} {name}"}
