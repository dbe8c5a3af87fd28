"""Ground that somebody walked: the chance that they saw a thing, and whether it was since a flood.

Where water stood only the walks that began after the last flood of that very place count;
elsewhere all walks that are not too old do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray
from rasterio.features import rasterize

from fieldmap.hazards.chance import exposure, line_exposure, spread_m
from fieldmap.hazards.walks import Flood, Looking, Steps, looking

__all__ = ["Cells", "FieldLooking", "Flood", "Looking", "Steps", "field_looking", "looking"]

MOST_CELLS = 5_000_000
_LEAST_CELL_M = 0.25


class Cells(NamedTuple):
    """A field's cells: middles in metres, the area each stands for, and its last flood.

    ``flood`` counts the field's floods from 1, 0 is dry ground.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    area_m2: float
    side_m: float
    flood: NDArray[np.int16]


@dataclass(frozen=True, eq=False)
class FieldLooking:
    """What is known of the looking in one field: ask it for the chance that a thing was seen.

    Cells are made, and chances worked out, only when they are asked for, and held from then on;
    :meth:`light` is a copy that holds none.

    Parameters
    ----------
    outline : shapely geometry
        The field, in metres.
    steps : Steps
        The walks that come near it and count on the day.
    floods : tuple of Flood
        Its own ground that stood under water, by date; the field's cells name them from 1.
    sward_m : float
        Height of the standing crop, NaN unknown.
    cell_m, line_chance : float
        ``looking.cell_m`` and ``looking.line_chance``.
    """

    outline: shapely.Geometry
    steps: Steps
    floods: tuple[Flood, ...]
    sward_m: float
    cell_m: float
    line_chance: float
    _chances: dict[float, NDArray[np.float64]] = field(default_factory=dict, repr=False)

    @property
    def walked(self) -> bool:
        """Whether any walk came near."""
        return len(self.steps.xy) > 0

    @cached_property
    def cells(self) -> Cells:
        """The field's cells, row by row from the north-west.

        A cell is the field's when its middle is; a field that holds no middle has those it
        touches. A cell that a flood touches stood under water. The cells share the field's area
        evenly. Sides are ``cell_m``, but more where a field would have over five million cells.
        """
        side = max(self.cell_m, _LEAST_CELL_M, math.sqrt(self.outline.area / MOST_CELLS))
        west, south, east, north = self.outline.bounds
        left, top = math.floor(west / side), math.ceil(north / side)
        shape = (top - math.floor(south / side) + 1, math.ceil(east / side) - left + 1)
        affine = Affine(side, 0.0, left * side, 0.0, -side, top * side)
        inside = _burnt([self.outline], shape, affine, touched=False) > 0
        if not inside.any():
            inside = _burnt([self.outline], shape, affine, touched=True) > 0
        water = _burnt([one.ground for one in self.floods], shape, affine, touched=True)
        rows, columns = np.nonzero(inside)
        x, y = (left + columns + 0.5) * side, (top - rows - 0.5) * side
        area = self.outline.area / max(rows.size, 1)
        return Cells(x, y, area, side, water[rows, columns])

    def flooded_on(self) -> NDArray[np.datetime64]:
        """When water last stood on each cell, NaT where it never did; shape (cells,)."""
        never = np.datetime64("NaT", "us")
        dates = np.array([never, *(one.date for one in self.floods)], "datetime64[us]")
        return dates[self.cells.flood]

    def chance(self, sweep_m: float) -> NDArray[np.float64]:
        """Chance that a thing of this sweep width was seen, for each cell; shape (cells,)."""
        held = self._chances.get(sweep_m)
        if held is None:
            cells = self.cells
            held = self.chance_at(cells.x, cells.y, cells.flood, sweep_m)
            held.flags.writeable = False
            self._chances[sweep_m] = held
        return held

    def chance_at(
        self,
        x: NDArray[np.float64],
        y: NDArray[np.float64],
        flood: NDArray[np.int16],
        sweep_m: float,
    ) -> NDArray[np.float64]:
        """Chance that a thing was seen at places of one's own.

        Parameters
        ----------
        x, y : ndarray, shape (places,)
            Metres.
        flood : ndarray of int, shape (places,)
            Number of the place's last flood, from 1; 0 is dry.
        sweep_m : float
            Effective sweep width of the thing.

        Returns
        -------
        ndarray, shape (places,)
            0 to 1.
        """
        seen = np.zeros(len(x))
        if not self.walked or not sweep_m > 0:
            return seen
        spread, strength = spread_m(sweep_m, self.line_chance), line_exposure(self.line_chance)
        points = np.column_stack([x, y])
        for numbers, kept in self._walks_by_flood(np.unique(flood)):
            if kept.any():
                here = np.isin(flood, numbers)
                steps = self.steps.xy[kept]
                seen[here] = exposure(points[here], steps, spread_m=spread, strength=strength)
        return -np.expm1(-seen)

    def _walks_by_flood(
        self, numbers: NDArray[np.int16]
    ) -> list[tuple[list[int], NDArray[np.bool_]]]:
        """The steps that count after each flood; floods after which the same count are together.

        Later floods leave fewer, so that the number of steps tells the sets apart.
        """
        found: dict[int, tuple[list[int], NDArray[np.bool_]]] = {}
        for number in numbers.tolist():
            kept = np.ones(len(self.steps.xy), bool)
            if number > 0:
                kept = self.steps.started > self.floods[number - 1].date
            found.setdefault(int(kept.sum()), ([], kept))[0].append(number)
        return list(found.values())

    def walks_by_flood(
        self, numbers: NDArray[np.int16]
    ) -> list[tuple[list[int], shapely.Geometry]]:
        """The walks that count after each flood, as lines; floods with the same ones together.

        Parameters
        ----------
        numbers : ndarray of int
            Floods, numbered from 1; 0 is dry ground.
        """
        return [
            (held, shapely.multilinestrings(self.steps.xy[kept].reshape(-1, 2, 2)))
            for held, kept in self._walks_by_flood(numbers)
        ]

    def mean_chance(self, sweep_m: float) -> float:
        """Mean chance over the field that a thing of this sweep width was seen."""
        return float(self.chance(sweep_m).mean()) if self.walked else 0.0

    def light(self) -> FieldLooking:
        """The same, without the cells and chances held."""
        return replace(self, _chances={})


def field_looking(
    outline: shapely.Geometry, seen: Looking, *, sward_m: float | None = None
) -> FieldLooking:
    """The looking in one field.

    Parameters
    ----------
    outline : shapely geometry
        The field, in the same metric system.
    seen : Looking
    sward_m : float, optional
        Height of the standing crop; unknown when not given.
    """
    floods = (Flood(one.date, _wet_part(one.ground, outline)) for one in seen.floods)
    return FieldLooking(
        outline=outline,
        steps=seen.steps_near(outline.bounds),
        floods=tuple(one for one in floods if not one.ground.is_empty),
        sward_m=math.nan if sward_m is None else float(sward_m),
        cell_m=seen.cell_m,
        line_chance=seen.line_chance,
    )


def _wet_part(ground: shapely.Geometry, outline: shapely.Geometry) -> shapely.Geometry:
    """The areas that two shapes share; where they only touch nothing is wet."""
    parts = shapely.get_parts(shapely.get_parts(shapely.intersection(ground, outline)))
    return shapely.MultiPolygon(list(parts[shapely.get_type_id(parts) == 3]))


def _burnt(
    shapes: list[shapely.Geometry], size: tuple[int, int], affine: Affine, *, touched: bool
) -> NDArray[np.int16]:
    """Number of the last shape on each cell, from 1; 0 where there is none."""
    pairs = [(shape, number) for number, shape in enumerate(shapes, 1) if not shape.is_empty]
    if not pairs:
        return np.zeros(size, np.int16)
    return rasterize(
        pairs, out_shape=size, transform=affine, fill=0, all_touched=touched, dtype="int16"
    )
