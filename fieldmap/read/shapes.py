"""The shapes of finds: on earth, of one kind each, and whole."""

from __future__ import annotations

import numpy as np
import shapely

from fieldmap.errors import Fault

_COLLECTION = 7


def of_one_kind(shapes: np.ndarray) -> np.ndarray:
    """Shapes without heights; a collection of one kind becomes one shape of many parts.

    Examples
    --------
    >>> of_one_kind(shapely.from_wkt(["GEOMETRYCOLLECTION (POINT (1 2), POINT (3 4))"]))[0]
    <MULTIPOINT ((1 2), (3 4))>
    >>> of_one_kind(np.array([shapely.Point(1, 2, 3), None], dtype=object))
    array([<POINT (1 2)>, None], dtype=object)
    """
    out = np.array(shapely.force_2d(shapes), dtype=object)
    for row in np.flatnonzero(shapely.get_type_id(out) == _COLLECTION):
        out[row] = joined(_simple(out[row]))
    return out


def _simple(shape: shapely.Geometry) -> list[shapely.Geometry]:
    """Every single part of a shape, however deep the collections lie in each other."""
    parts = shapely.get_parts(np.asarray([shape]))
    while (shapely.get_type_id(parts) > 3).any():
        parts = shapely.get_parts(parts)
    return list(parts)


def joined(parts: list[shapely.Geometry]) -> shapely.Geometry:
    """Single points, lines or areas as one shape; a collection when they are mixed.

    Examples
    --------
    >>> joined([shapely.Point(1, 2)])
    <POINT (1 2)>
    >>> joined([shapely.Point(1, 2), shapely.LineString([(0, 0), (1, 1)])])
    <GEOMETRYCOLLECTION (POINT (1 2), LINESTRING (0 0, 1 1))>
    """
    if len(parts) == 1:
        return parts[0]
    kinds = {part.geom_type for part in parts}
    many = {
        "Point": shapely.multipoints,
        "LineString": shapely.multilinestrings,
        "Polygon": shapely.multipolygons,
    }
    make = many[kinds.pop()] if len(kinds) == 1 else shapely.geometrycollections
    return make(parts)


def place_faults(
    shapes: np.ndarray, places: list[str], *, told: frozenset[int] = frozenset()
) -> list[Fault]:
    """Positions off the earth, and shapes of several kinds in one; ``told`` rows are left out."""
    bounds = shapely.bounds(shapes)
    bad = ~np.isfinite(bounds).all(axis=1) | (np.abs(bounds[:, [0, 2]]) > 180).any(axis=1)
    bad |= (np.abs(bounds[:, [1, 3]]) > 90).any(axis=1)
    mixed = shapely.get_type_id(shapes) == _COLLECTION
    bad[sorted(told)] = False
    turned = (np.abs(bounds[:, 0]) <= 90) & (np.abs(bounds[:, 1]) > 90)
    off = [_off_earth(shapes[row], bool(turned[row]), places[row]) for row in np.flatnonzero(bad)]
    return off + [_mixed(shapes[row], places[row]) for row in np.flatnonzero(mixed & ~bad)]


def _off_earth(shape: shapely.Geometry | None, turned: bool, place: str) -> Fault:
    return Fault(
        "a position that is not on earth",
        f"{shape}"[:60],
        "a find without a place cannot be mapped",
        "give --swap-xy: latitude and longitude look swapped"
        if turned
        else "give degrees east and north",
        where=place,
    )


def _mixed(shape: shapely.Geometry, place: str) -> Fault:
    kinds = dict.fromkeys(part.geom_type.lower() for part in _simple(shape))
    return Fault(
        "points, lines and areas in one find",
        ", ".join(kinds),
        "it is not clear which of them is the thing that was found",
        "make one find of each",
        where=place,
    )


def mended(shapes: np.ndarray, places: list[str]) -> tuple[np.ndarray, list[str]]:
    """The shapes with self-crossing areas mended, and which, in words."""
    bad = np.flatnonzero(~shapely.is_valid(shapes))
    if not bad.size:
        return shapes, []
    whole = shapes.copy()
    whole[bad] = [_largest_kind(one) for one in shapely.make_valid(shapes[bad])]
    return whole, [f"{places[row]}: outline crossed itself, mended" for row in bad]


def _largest_kind(shape: shapely.Geometry) -> shapely.Geometry:
    """Of what mending leaves, the areas; a spike without width beside them is dropped."""
    if shape.geom_type != "GeometryCollection":
        return shape
    parts = _simple(shape)
    most = max(shapely.get_dimensions(part) for part in parts)
    return joined([part for part in parts if shapely.get_dimensions(part) == most])
