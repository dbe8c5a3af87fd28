"""The ground under the maps: hillshade, slope classes, and what nobody looked at."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import geometry_mask

from fieldmap.crs import moved
from fieldmap.farm import Farm
from fieldmap.field_answer import FieldAnswer
from fieldmap.grid import Grid
from fieldmap.read.elevation import cell_size_m
from fieldmap.risk.layers import Layers
from fieldmap.tables import Tables
from fieldmap.units import degrees_from_percent
from fieldmap.write.rasters import hatched, hillshade, picture

_WIDEST_PX = 900
_INK = (58, 66, 74)
# one tint a slope class, gentle to steep: paper to dark umber
_TINTS = (
    (246, 239, 222),
    (232, 214, 178),
    (213, 180, 132),
    (184, 140, 92),
    (140, 96, 62),
    (88, 56, 38),
)
_FINEST = 4


def field_images(
    farm: Farm, answer: FieldAnswer, field: shapely.Geometry, box: shapely.Polygon
) -> list[dict[str, Any]]:
    """Pictures for a field's map: the lie of the land, slope by class, ground not looked at.

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
        images.append(_slopes(layers.ground.percent, ground, farm.tables))
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


def _slopes(percent: Grid, ground: shapely.Geometry, tables: Tables) -> dict[str, Any]:
    breaks = [tables.number(f"terrain.break_{number}") for number in range(1, 6)]
    values = np.where(np.isnan(percent.values), -1, percent.values)
    classes = np.digitize(values, breaks)
    rgba = np.zeros((4, *percent.shape), np.uint8)
    for number, tint in enumerate(_TINTS):
        for channel in range(3):
            rgba[channel][classes == number] = tint[channel]
    rgba[3] = np.where(values >= 0, 215, 0)
    fine = percent.finer(_FINEST)
    drawn = _only_on(ground, fine, _with_hatch(rgba, values < 0))
    src, bounds = picture(drawn, fine, widest_px=_WIDEST_PX)
    edges = [0.0, *breaks]
    legend = [
        {"colour": _hex(tint), "text": _class_words(low, high), "hatched": False}
        for tint, low, high in zip(_TINTS, edges, [*breaks, None], strict=True)
    ]
    legend.append({"colour": _hex(_INK), "text": "slope unknown", "hatched": True})
    return {"name": "Slope", "src": src, "bounds": bounds, "shown": False, "legend": legend}


def _class_words(low: float, high: float | None) -> str:
    degrees = degrees_from_percent(low)
    if high is None:
        return f"{low:.0f}% and more ({degrees:.0f} deg)"
    return f"{low:.0f} to {high:.0f}% ({degrees:.0f} to {degrees_from_percent(high):.0f} deg)"


def _unlooked(layers: Layers, ground: shapely.Geometry) -> dict[str, Any]:
    """Ground not looked at well enough; where it was flooded its zone says so already."""
    looked = layers.looked
    where = ~layers.enough & (layers.flooded.values <= 0)
    fine = looked.finer(_FINEST)
    rgba = _with_hatch(np.zeros((4, *looked.shape), np.uint8), where, every=20)
    src, bounds = picture(_only_on(ground, fine, rgba), fine, widest_px=_WIDEST_PX)
    legend = [{"colour": _hex(_INK), "text": "not looked at well enough lately", "hatched": True}]
    return {"name": "Not looked at", "src": src, "bounds": bounds, "shown": True, "legend": legend}


def _with_hatch(
    rgba: NDArray[np.uint8], where: NDArray[np.bool_], *, every: int = 8
) -> NDArray[np.uint8]:
    fine = rgba.repeat(_FINEST, axis=1).repeat(_FINEST, axis=2)
    lines = where.repeat(_FINEST, axis=0).repeat(_FINEST, axis=1)
    lines &= hatched(lines.shape, every=every)
    for channel in range(3):
        fine[channel][lines] = _INK[channel]
    fine[3][lines] = 255
    return fine


def _hex(tint: tuple[int, int, int]) -> str:
    return "#{:02x}{:02x}{:02x}".format(*tint)
