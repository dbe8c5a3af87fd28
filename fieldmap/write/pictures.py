"""The ground under the maps: hillshade, slope, speed, wetness, and what nobody looked at."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import geometry_mask

from fieldmap.crs import moved
from fieldmap.farm import Farm
from fieldmap.field_answer import FieldAnswer
from fieldmap.grid import Grid
from fieldmap.read.elevation import cell_size_m
from fieldmap.risk.causes import OVERLAID
from fieldmap.risk.layers import Layers
from fieldmap.tables import Tables
from fieldmap.units import METRE_PER_MILE, System, shown
from fieldmap.write import tints
from fieldmap.write.page_findings import spread
from fieldmap.write.rasters import hatched, hillshade, picture

_WIDEST_PX = 900
_FINEST = 4
_OPAQUE = 215
# in the reader's own units, so that a class ends on a whole number
_SPEED_BREAKS = {"us": (2, 4, 6, 8), "metric": (3, 6, 9, 12)}
_ROUNDING = 1e-9
_KMH = {"us": METRE_PER_MILE / 1000.0, "metric": 1.0}
# ranks where the wettest tenth and the next fifth begin
_WETTEST, _WET = 0.9, 0.7
_WET_WORDS = (
    "the wettest tenth of the farm's ground",
    "the next fifth",
    "the rest: a rank, it can be wet too",
)


def field_images(
    farm: Farm, answer: FieldAnswer, field: shapely.Geometry, box: shapely.Polygon
) -> list[dict[str, Any]]:
    """Pictures for a field's map: the land, slope, speed and wetness by class, what is not seen.

    Parameters
    ----------
    farm : Farm
    answer : FieldAnswer
    field : shapely geometry
        Its boundary, in the run's metric system.
    box : shapely.Polygon
        How far round the field the land is drawn, in the same system.
    """
    layers = answer.layers
    images = farm_images(farm, box)
    ground = moved(field, farm.crs, layers.level.crs)
    if np.isfinite(answer.elevation.values).any():
        images += [
            _slopes(layers.lie.ground.percent, ground, farm.tables),
            _speeds(layers, ground, farm.settings.units),
            _wet(layers, ground),
        ]
    images.append(_unlooked(layers, ground))
    return images


def farm_images(farm: Farm, box: shapely.Polygon) -> list[dict[str, Any]]:
    """The lie of the land in a box of the run's system; none without elevation."""
    opened = farm.open_elevation()
    if opened is None:
        return []
    with opened as elevation:
        info = elevation.info
        outline = moved(box, farm.crs, info.crs)
        grid = elevation.overview(outline.bounds, most_px=_WIDEST_PX)
        middle = outline.centroid
        native = cell_size_m(info, farm.crs, middle.x, middle.y)
    side = native * abs(grid.transform.a / info.transform.a)
    return [_shade(grid, side)] if np.isfinite(grid.values).any() else []


def _only_on(ground: shapely.Geometry, grid: Grid, rgba: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Nothing drawn beyond the boundary: cells reach over it, the field does not."""
    rgba[3][~geometry_mask([ground], rgba.shape[1:], grid.transform, invert=True)] = 0
    return rgba


def _shade(elevation: Grid, cell_m: float) -> dict[str, Any]:
    lit = hillshade(elevation, cell_m)
    grey = np.where(np.isnan(lit), 0, 70 + 185 * lit).astype(np.uint8)
    rgba = np.stack([grey, grey, grey, np.where(np.isnan(lit), 0, 255).astype(np.uint8)])
    src, bounds = picture(rgba, elevation, widest_px=_WIDEST_PX, smooth=True)
    return {"name": "Lie of the land", "src": src, "bounds": bounds, "shown": True, "legend": []}


class _Classes(NamedTuple):
    """A class of each cell, -1 unknown, with the tint and the words of each and of unknown."""

    codes: NDArray[np.integer]
    colours: Sequence[tints.Tint]
    words: Sequence[str]
    unknown: str


def _slopes(percent: Grid, ground: shapely.Geometry, tables: Tables) -> dict[str, Any]:
    breaks = [tables.number(f"terrain.break_{number}") for number in range(1, 6)]
    codes = np.where(np.isnan(percent.values), -1, np.digitize(percent.values, breaks))
    classes = _Classes(codes, tints.SLOPE, tints.slope_words(breaks), "slope unknown")
    return _classed("Slope", percent, ground, classes)


def _speeds(layers: Layers, ground: shapely.Geometry, units: System) -> dict[str, Any]:
    """Field speed limit; a limit on a break counts to the slower class."""
    limit = layers.lie.speed.limit_kmh
    breaks = [one * _KMH[units] for one in _SPEED_BREAKS[units]]
    codes = np.digitize(limit, np.array(breaks) * (1 + _ROUNDING), right=True)
    codes = np.where(np.isnan(limit), -1, codes)
    words = [
        spread(None, breaks[0], "km/h", units),
        *(f"over {spread(low, high, 'km/h', units)}" for low, high in pairwise(breaks)),
        f"over {shown(breaks[-1], 'km/h', units)}",
    ]
    classes = _Classes(codes, tints.SPEED, words, "speed limit unknown")
    return _classed("Field speed limit", layers.lie.ground.percent, ground, classes)


def _wet(layers: Layers, ground: shapely.Geometry) -> dict[str, Any]:
    rank = layers.lie.water.rank
    codes = np.select([np.isnan(rank), rank >= _WETTEST, rank >= _WET], [-1, 0, 1], 2)
    classes = _Classes(codes, tints.WET, _WET_WORDS, "rank unknown")
    name = "Wet ground, rank within the farm"
    return _classed(name, layers.lie.ground.percent, ground, classes)


def _classed(name: str, grid: Grid, ground: shapely.Geometry, classes: _Classes) -> dict[str, Any]:
    """A picture of classes with its legend, unknown ground hatched."""
    rgba = np.zeros((4, *grid.shape), np.uint8)
    for number, tint in enumerate(classes.colours):
        rgba[:3, classes.codes == number] = np.array(tint, np.uint8)[:, None]
    rgba[3] = np.where(classes.codes >= 0, _OPAQUE, 0)
    fine = grid.finer(_FINEST)
    drawn = _only_on(ground, fine, _with_hatch(rgba, classes.codes < 0))
    src, bounds = picture(drawn, fine, widest_px=_WIDEST_PX)
    legend = [
        {"colour": tints.hex_of(tint), "text": text, "hatched": False}
        for tint, text in zip(classes.colours, classes.words, strict=True)
    ]
    legend.append({"colour": tints.hex_of(tints.INK), "text": classes.unknown, "hatched": True})
    return {"name": name, "src": src, "bounds": bounds, "shown": False, "legend": legend}


def _unlooked(layers: Layers, ground: shapely.Geometry) -> dict[str, Any]:
    """Ground that is unknown and makes no zone: not looked at, or a figure that nobody gave.

    Where it was flooded its zone says so already.
    """
    looked = layers.looked
    unlooked = ~layers.enough & (layers.flooded.values <= 0)
    bare = layers.enough & np.isin(layers.cause.values, [one.code for one in OVERLAID])
    where = unlooked | bare
    words = "not looked at well enough lately"
    if (bare & layers.inside).any():
        words += ", or a figure that the answer needs is missing"
    fine = looked.finer(_FINEST)
    rgba = _with_hatch(np.zeros((4, *looked.shape), np.uint8), where, every=20)
    src, bounds = picture(_only_on(ground, fine, rgba), fine, widest_px=_WIDEST_PX)
    legend = [
        {
            "colour": tints.hex_of(tints.INK),
            "text": words,
            "hatched": True,
        }
    ]
    return {"name": "Not looked at", "src": src, "bounds": bounds, "shown": True, "legend": legend}


def _with_hatch(
    rgba: NDArray[np.uint8], where: NDArray[np.bool_], *, every: int = 8
) -> NDArray[np.uint8]:
    fine = rgba.repeat(_FINEST, axis=1).repeat(_FINEST, axis=2)
    lines = where.repeat(_FINEST, axis=0).repeat(_FINEST, axis=1)
    lines &= hatched(lines.shape, every=every)
    for channel in range(3):
        fine[channel][lines] = tints.INK[channel]
    fine[3][lines] = 255
    return fine
