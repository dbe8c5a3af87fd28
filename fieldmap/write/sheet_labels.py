"""Free spots for the numbers and letters of a small map: near their place, over nothing else."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely

from fieldmap.write.sheet_fit import BOLD, em

Box = tuple[float, float, float, float]
XY = tuple[float, float]

#: Height of a label and of its letters (pixels).
LABEL_HEIGHT, FONT = 14.0, 12.0
_RINGS = (13.0, 19.0, 27.0, 37.0, 50.0, 66.0)  # from a place to its label (pixels)
_AROUND = tuple(
    math.radians(deg) for deg in (0, 180, 90, 270, 45, 135, 225, 315, 22, 158, 202, 338)
)
_LEADER = 17.0  # from this far on a thin line leads from the place to its label
_ALONG = tuple(np.linspace(-1.0, 1.0, 7).tolist())  # places along an arrow
_GRID = 9  # spots tried along each side of a shape


class Spots:
    """What of a drawing is taken; each new label is told where it may stand.

    Parameters
    ----------
    size : (float, float)
        Width and height of the drawing (pixels).
    """

    def __init__(self, size: tuple[float, float]) -> None:
        self._size = size
        self._taken: list[Box] = []

    def take(self, point: shapely.Point, width: float, height: float) -> None:
        """Let nothing stand on a sign round a point."""
        self._taken.append(_box(point.x, point.y, width, height))

    def near(self, point: shapely.Point, text: str, kind: str) -> dict[str, Any]:
        """A spot beside a point; far off, a line leads there.

        Returns
        -------
        dict
            ``x`` and ``y`` of the label's middle, ``text``, ``kind``, ``width``, and ``from_x``,
            ``from_y`` where a line starts, or ``None``.
        """
        tried = [
            (point.x + ring * math.cos(way), point.y - ring * math.sin(way))
            for ring in _RINGS
            for way in _AROUND
        ]
        return self._placed(tried, text, kind, start=point)

    def inside(self, area: shapely.Geometry, text: str) -> dict[str, Any]:
        """A spot inside an area, else beside it with a line that leads there."""
        middle = largest(area).representative_point()
        within = _grid(area)
        order = np.argsort(shapely.distance(middle, shapely.points(within)))
        tried = [(middle.x, middle.y), *(tuple(within[at]) for at in order)]
        free = [spot for spot in tried if self._is_free(_sized(spot, text))]
        if free:
            return self._placed(free[:1], text, "zone", start=None)
        return self.near(middle, text, "zone")

    def arrow(self, field: shapely.Geometry, half: XY, words: str) -> tuple[XY, XY]:
        """Middle of an arrow and of its words, where both cover least; in the field if it can."""
        middle = largest(field).representative_point()
        within = [(middle.x, middle.y), *map(tuple, _grid(field))]
        beside = [tuple(spot) for spot in _grid(shapely.box(0.0, 0.0, *self._size))]
        tried = [
            (self._covered(spot, half, words, side), outside, far, spot, side)
            for outside, spots in enumerate((within, beside))
            for spot in spots
            for far in (math.hypot(spot[0] - middle.x, spot[1] - middle.y),)
            for side in (1.0, -1.0)
        ]
        _, _, _, spot, side = min(tried, key=lambda one: one[:3])
        named = _words_by(spot, half, side)
        self._taken.append(_sized(named, words))
        return spot, named

    def _covered(self, spot: XY, half: XY, words: str, side: float) -> int:
        """How many labels an arrow and its words would lie on; leaving the drawing is worse."""
        boxes = [_box(spot[0] + t * half[0], spot[1] + t * half[1], 12.0, 12.0) for t in _ALONG]
        boxes.append(_sized(_words_by(spot, half, side), words))
        hits = sum(not self._is_free(box) for box in boxes)
        return hits + len(boxes) * sum(not self._holds(box) for box in boxes)

    def _placed(
        self,
        tried: list[tuple[float, float]],
        text: str,
        kind: str,
        *,
        start: shapely.Point | None,
    ) -> dict[str, Any]:
        """The first free spot, or the first when none is."""
        spot = next((one for one in tried if self._is_free(_sized(one, text))), tried[0])
        box = _sized(spot, text)
        self._taken.append(box)
        far = start is not None and math.hypot(spot[0] - start.x, spot[1] - start.y) > _LEADER
        return {
            "x": round(spot[0], 1),
            "y": round(spot[1], 1),
            "text": text,
            "kind": kind,
            "width": box[2] - box[0],
            "from_x": round(start.x, 1) if far and start is not None else None,
            "from_y": round(start.y, 1) if far and start is not None else None,
        }

    def _is_free(self, box: Box) -> bool:
        return self._holds(box) and not any(_meet(box, other) for other in self._taken)

    def _holds(self, box: Box) -> bool:
        return box[0] >= 0 and box[1] >= 0 and box[2] <= self._size[0] and box[3] <= self._size[1]


def largest(area: shapely.Geometry) -> shapely.Geometry:
    """The largest piece of a shape."""
    parts = shapely.get_parts(area)
    return max(parts, key=shapely.area) if len(parts) else area


def _grid(area: shapely.Geometry) -> np.ndarray:
    """Spots inside a shape on a coarse grid, x and y."""
    west, top, east, low = area.bounds
    x, y = np.meshgrid(
        np.linspace(west, east, _GRID + 2)[1:-1], np.linspace(top, low, _GRID + 2)[1:-1]
    )
    spots = np.column_stack([x.ravel(), y.ravel()])
    return spots[shapely.contains_xy(area, spots[:, 0], spots[:, 1])]


def _words_by(spot: XY, half: XY, side: float) -> XY:
    """Where an arrow's words stand: across its line, on one side of it or the other."""
    length = math.hypot(*half) or 1.0
    across = (-half[1] / length * side, half[0] / length * side)
    away = 14.0 + 30.0 * abs(across[0])
    return spot[0] + away * across[0], spot[1] + away * across[1]


def _sized(spot: tuple[float, float], text: str) -> Box:
    wide = em(text) * FONT * BOLD + 5.0
    return _box(*spot, max(wide, LABEL_HEIGHT), LABEL_HEIGHT)


def _box(x: float, y: float, width: float, height: float) -> Box:
    return x - width / 2, y - height / 2, x + width / 2, y + height / 2


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
