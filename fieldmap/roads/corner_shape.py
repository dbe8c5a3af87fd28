"""A corner as it is drawn: the roads at both widths, the swept ground and the line driven.

Everything is reckoned for a turn to the right that comes in northward, with the corner of land
at 0, 0; then mirrored for a turn to the left and turned the way the road runs.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import shapely

from fieldmap.roads.answer import Outline
from fieldmap.roads.corner import Kerb, best_line
from fieldmap.roads.swept import outline
from fieldmap.roads.tractrix import Path, corner_path, driven
from fieldmap.roads.train import Train
from fieldmap.roads.verdict import Floats

#: No outline has more points than this.
MOST_POINTS = 80
_LEG_M = 25.0  # of road drawn on both sides
_RUN_M = 14.0
_STEP_M = 0.5
_STEPS_A_RADIUS = 16.0
_ARC_POINTS = 7
_FIRST_WITHIN_M = 0.05


class Place(NamedTuple):
    """A corner: change of heading (degrees, right positive), bearing of the road in (degrees)."""

    deflection_deg: float
    bearing_deg: float


class Drawing(NamedTuple):
    """Outlines in metres from the corner, x east and y north; empty where nothing is known."""

    lane_low: Outline
    lane_high: Outline
    swept: Outline
    path: Outline


def draw(
    place: Place,
    low: tuple[tuple[float, float], Kerb],
    high: tuple[tuple[float, float], Kerb],
    *,
    train: Train | None,
    clear_m: float,
) -> Drawing:
    """Draw a corner with the line that leaves most room at the low widths.

    Parameters
    ----------
    place : Place
        Of 5 to 175 degrees; of others nothing is drawn.
    low, high : tuple
        Widths of the road in and the road out (m), and the kerb between them.
    train : Train or None
    clear_m : float
        What the line keeps free at each side.
    """
    turn = math.radians(abs(place.deflection_deg))
    if not 0.08 < turn < 3.06:
        return Drawing([], [], [], [])
    lane_low, lane_high = (_told(_lane(turn, *one), turn, one[0], place) for one in (low, high))
    if train is None or not all(map(math.isfinite, low[0])):
        return Drawing(lane_low, lane_high, [], [])
    line = best_line(train, math.degrees(turn), low[1], widths_m=low[0], clear_m=clear_m)
    radius = max(line.radius_m, _STEP_M)
    path = corner_path(
        math.degrees(turn),
        radius,
        run_in_m=_RUN_M,
        run_out_m=_RUN_M + train.reach_m(),
        step_m=min(_STEP_M, radius / _STEPS_A_RADIUS),
    )
    shift = _spot(line.in_m, line.out_m, turn)
    path = Path(path.x + shift[0], path.y + shift[1], path.bearing)
    swept = _few(outline(driven(train, path), train.bodies, within_m=_FIRST_WITHIN_M))
    driven_line = shapely.simplify(shapely.LineString(np.column_stack(path[:2])), 0.02)
    return Drawing(
        lane_low,
        lane_high,
        _told(swept, turn, low[0], place),
        _told(shapely.get_coordinates(driven_line), turn, low[0], place),
    )


def _spot(a: float, c: float, turn: float) -> tuple[float, float]:
    """Where a point lies that is ``a`` outside the road in's inner edge, ``c`` the road out's."""
    return -a, (c - a * math.cos(turn)) / math.sin(turn)


def _lane(turn: float, widths_m: tuple[float, float], kerb: Kerb) -> Floats:
    """Outline of the two roads."""
    if not all(map(math.isfinite, widths_m)):
        return np.zeros((0, 2))
    wide_in, wide_out = widths_m
    out = np.array([math.sin(turn), math.cos(turn)])
    left = np.array([-math.cos(turn), math.sin(turn)])
    round_m = min(kerb.radius_m, 0.8 * _LEG_M / math.tan(turn / 2.0))
    middle = np.array(_spot(-round_m, -round_m, turn))
    bearings = np.linspace(-math.pi / 2.0, turn - math.pi / 2.0, _ARC_POINTS)
    arc = middle + round_m * np.column_stack([np.sin(bearings), np.cos(bearings)])
    far_in = min(0.0, float(_spot(wide_in, wide_out, turn)[1])) - _LEG_M
    return np.array(
        [
            (-wide_in, far_in),
            *_outer(turn, widths_m, kerb),
            *(out * _LEG_M + left * one for one in (wide_out, 0.0)),
            *(arc[::-1] if round_m > 0.0 else [(0.0, 0.0)]),
            (0.0, far_in),
        ]
    )


def _outer(turn: float, widths_m: tuple[float, float], kerb: Kerb) -> list[tuple[float, float]]:
    """The outer corner, or the two ends of what cuts it off."""
    wide_in, wide_out = widths_m
    reach = 2.0 * math.cos(turn / 2.0) * kerb.cut * max(widths_m)
    if reach >= wide_in + wide_out:
        return [_spot(wide_in, wide_out, turn)]
    return [_spot(wide_in, reach - wide_in, turn), _spot(reach - wide_out, wide_out, turn)]


def _few(area: shapely.Polygon) -> Floats:
    within = _FIRST_WITHIN_M
    while shapely.get_num_coordinates(area) > MOST_POINTS:
        area, within = shapely.simplify(area, within), within * 1.5
    return shapely.get_coordinates(area)


def _told(points: Floats, turn: float, widths_m: tuple[float, float], place: Place) -> Outline:
    """Points as they lie on the ground, counted from where the middles of the roads meet."""
    if not len(points):
        return []
    moved = points - np.array(_spot(widths_m[0] / 2.0, widths_m[1] / 2.0, turn))
    east = moved[:, 0] * math.copysign(1.0, place.deflection_deg)
    sine, cosine = (
        math.sin(math.radians(place.bearing_deg)),
        math.cos(math.radians(place.bearing_deg)),
    )
    x, y = east * cosine + moved[:, 1] * sine, moved[:, 1] * cosine - east * sine
    return [[round(float(one), 2), round(float(other), 2)] for one, other in zip(x, y, strict=True)]
