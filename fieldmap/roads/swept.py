"""What the bodies of a train sweep on its way: points, radii and an outline."""

from __future__ import annotations

import math

import numpy as np
import shapely

from fieldmap.roads.train import Body
from fieldmap.roads.verdict import Floats


def side_points(poses: Floats, bodies: tuple[Body, ...], *, spacing_m: float) -> Floats:
    """Points along both sides of every body in every pose, corners included.

    Parameters
    ----------
    poses : ndarray
        As :func:`fieldmap.roads.tractrix.driven` gives them.
    bodies : tuple of Body
    spacing_m : float
        At most this far from point to point along a side, counted from the axle.

    Returns
    -------
    ndarray
        One row a pose, one column a point: x and y (m).
    """
    columns = []
    for body in bodies:
        unit = poses[:, body.unit]
        ahead = _along(body, spacing_m)
        sine, cosine = np.sin(unit[:, 2:3]), np.cos(unit[:, 2:3])
        for side in (-body.half_m, body.half_m):
            x = unit[:, 0:1] + sine * ahead + cosine * side
            y = unit[:, 1:2] + cosine * ahead - sine * side
            columns.append(np.stack([x, y], axis=-1))
    return np.concatenate(columns, axis=1)


def _along(body: Body, spacing_m: float) -> Floats:
    first, last = math.ceil(-body.behind_m / spacing_m), math.floor(body.ahead_m / spacing_m)
    between = spacing_m * np.arange(first, last + 1)
    return np.unique(np.concatenate([[-body.behind_m], between, [body.ahead_m]]))


def ring(points: Floats, centre: tuple[float, float]) -> tuple[float, float]:
    """The least and the greatest distance of points from a centre (m)."""
    away = np.hypot(points[..., 0] - centre[0], points[..., 1] - centre[1])
    return float(away.min()), float(away.max())


def outline(poses: Floats, bodies: tuple[Body, ...], *, within_m: float) -> shapely.Polygon:
    """The swept area as one polygon, simplified by at most ``within_m``.

    Bodies are joined from pose to pose by the hull of both, so poses must be close.
    """
    pieces = [piece for body in bodies for piece in _pieces(poses[:, body.unit], body)]
    area = shapely.union_all(pieces)
    if area.geom_type == "MultiPolygon":
        area = shapely.union_all([area, shapely.LineString(poses[:, 0, :2]).buffer(within_m)])
    if area.geom_type == "MultiPolygon":
        area = area.convex_hull
    return shapely.simplify(shapely.Polygon(area.exterior), within_m)


def _pieces(unit: Floats, body: Body) -> list[shapely.Geometry]:
    ahead = np.array([body.ahead_m, body.ahead_m, -body.behind_m, -body.behind_m])
    side = np.array([-1.0, 1.0, 1.0, -1.0]) * body.half_m
    sine, cosine = np.sin(unit[:, 2:3]), np.cos(unit[:, 2:3])
    corners = np.stack(
        [
            unit[:, 0:1] + sine * ahead + cosine * side,
            unit[:, 1:2] + cosine * ahead - sine * side,
        ],
        axis=-1,
    )
    both = np.concatenate([corners[:-1], corners[1:]], axis=1)
    return list(shapely.convex_hull(shapely.multipoints(both)))
