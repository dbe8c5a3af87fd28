"""The way in steps of equal length: where each lies, how high, how steep, and round which bend."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.grid import Grid
from fieldmap.roads.profile import heights_at

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

_TURN_DEG = 45.0  # from here on, onto another way, it is a turn that is taken at a crawl
_ARM_M = 20.0  # along the road to each side of a place, over which its bend is measured


@dataclass(frozen=True, eq=False)
class WayProfile:
    """Places along a way, one entry each, in driving order.

    ``metres`` from the start; ``x``, ``y`` in ``crs``; ``leg`` the row of the way's table;
    ``stretch`` a number that changes where the way turns onto another; ``height_m`` and
    ``grade_pct`` (climbing positive) NaN where not known; ``radius_m`` of the bend there,
    infinite on a straight line.
    """

    crs: CRS
    metres: Floats
    x: Floats
    y: Floats
    leg: Ints
    stretch: Ints
    height_m: Floats
    grade_pct: Floats
    radius_m: Floats

    def as_dict(self) -> dict[str, Any]:
        """Chainage, heights and grades as plain lists, ``None`` where not known."""
        return {
            "chainage_m": [round(float(one), 1) for one in self.metres],
            "height_m": _plain(self.height_m, 2),
            "grade_pct": _plain(self.grade_pct, 1),
        }


def _plain(figures: Floats, digits: int) -> list[float | None]:
    return [round(float(one), digits) if np.isfinite(one) else None for one in figures]


def way_profile(
    lines: NDArray[np.object_],
    length_m: Floats,
    way_id: NDArray[Any],
    bridged: Mask,
    *,
    step_m: float,
    base_m: float,
    grid: Grid | None,
    crs: CRS,
) -> WayProfile:
    """Cut a way into steps.

    Parameters
    ----------
    lines : ndarray of LineString
        Legs as driven, in ``crs``.
    length_m : ndarray
        On the ground.
    way_id : ndarray
        Of which way each leg is.
    bridged : ndarray of bool
        Legs on bridges and in tunnels; heights there lie straight between the ends.
    step_m : float
        Between two places.
    base_m : float
        Length of road over which a grade is taken.
    grid : Grid or None
        Heights; ``None`` leaves height and grade unknown.
    crs : pyproj.CRS
    """
    ends = np.concatenate([[0.0], np.cumsum(length_m)])
    whole = float(ends[-1])
    metres = np.append(np.arange(0.0, whole, step_m), whole) if whole > 0 else np.zeros(1)
    leg = np.clip(np.searchsorted(ends, metres, side="right") - 1, 0, max(len(lines) - 1, 0))
    if not len(lines):
        nothing = np.zeros(0)
        none = np.zeros(0, dtype=np.int64)
        return WayProfile(crs, nothing, nothing, nothing, none, none, nothing, nothing, nothing)
    far = np.where(length_m[leg] > 0, length_m[leg], 1.0)
    share = np.clip((metres - ends[leg]) / far, 0.0, 1.0)
    points = shapely.line_interpolate_point(lines[leg], share, normalized=True)
    x, y = shapely.get_x(points), shapely.get_y(points)
    height = np.full(len(metres), np.nan) if grid is None else heights_at(grid, crs, x, y)
    height = _over_bridges(metres, height, bridged[leg])
    return WayProfile(
        crs=crs,
        metres=metres,
        x=x,
        y=y,
        leg=leg,
        stretch=_stretches(lines, way_id)[leg],
        height_m=height,
        grade_pct=_grades(metres, height, base_m),
        radius_m=_radii(metres, x, y),
    )


def _over_bridges(metres: Floats, height: Floats, bridged: Mask) -> Floats:
    if not bridged.any() or bridged.all():
        return np.where(bridged, np.nan, height)
    ground = ~bridged
    straight = np.interp(
        metres, metres[ground], height[ground], left=float("nan"), right=float("nan")
    )
    return np.where(bridged, straight, height)


def _grades(metres: Floats, height: Floats, base_m: float) -> Floats:
    """Rise over a base round each place, cut at the ends of the way."""
    first = np.clip(metres - base_m / 2.0, metres[0], metres[-1])
    last = np.clip(metres + base_m / 2.0, metres[0], metres[-1])
    far = np.where(last > first, last - first, np.nan)
    rise = np.interp(last, metres, height) - np.interp(first, metres, height)
    grades: Floats = 100.0 * rise / far
    return grades


def _stretches(lines: NDArray[np.object_], way_id: NDArray[Any]) -> Ints:
    """A number for each leg that goes up where the way turns onto another way."""
    begin = shapely.get_coordinates(shapely.get_point(lines, 1)) - shapely.get_coordinates(
        shapely.get_point(lines, 0)
    )
    end = shapely.get_coordinates(shapely.get_point(lines, -1)) - shapely.get_coordinates(
        shapely.get_point(lines, -2)
    )
    heading_in = np.degrees(np.arctan2(end[:-1, 0], end[:-1, 1]))
    heading_out = np.degrees(np.arctan2(begin[1:, 0], begin[1:, 1]))
    off = np.abs((heading_out - heading_in + 180.0) % 360.0 - 180.0)
    turns = (off > _TURN_DEG) & (way_id[1:] != way_id[:-1])
    return np.concatenate([[0], np.cumsum(turns)]).astype(np.int64)


def _radii(metres: Floats, x: Floats, y: Floats) -> Floats:
    """Radius of the circle through each place and one on the way to each side of it."""
    before = np.clip(metres - _ARM_M, metres[0], metres[-1])
    after = np.clip(metres + _ARM_M, metres[0], metres[-1])
    ax, ay = np.interp(before, metres, x), np.interp(before, metres, y)
    bx, by = np.interp(after, metres, x), np.interp(after, metres, y)
    sides = np.hypot(x - ax, y - ay) * np.hypot(bx - x, by - y) * np.hypot(bx - ax, by - ay)
    twice_area = np.abs((x - ax) * (by - ay) - (bx - ax) * (y - ay))
    bent = twice_area > 1e-6 * np.maximum(sides, 1e-12) ** (2.0 / 3.0)
    return np.where(bent, sides / (2.0 * np.where(bent, twice_area, 1.0)), np.inf)
