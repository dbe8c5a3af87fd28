"""The slopes of many fields at once: one row a field, straight from the elevation."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from fieldmap.crs import transformer
from fieldmap.errors import Fault, MisuseError
from fieldmap.farm import Farm
from fieldmap.machine import Machine
from fieldmap.read.elevation import ElevationFile, small_cache
from fieldmap.risk.side_slope import bump_roll_deg
from fieldmap.tables import Tables
from fieldmap.terrain.field_slopes import FieldSlopes, field_slopes

_FEW_CELLS = 250_000  # a box this small is read whole, whatever lies between
_MARGIN = 2  # cells round a field, as a reading by window has them


@dataclass(frozen=True, eq=False)
class Survey:
    """Slope figures of a farm's fields, with the machine they hold for.

    ``slopes`` has the figures by row of ``rows``, the fields asked for.
    """

    farm: Farm
    machine: Machine | None
    rows: NDArray[np.int64]
    slopes: FieldSlopes

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a field, unknown empty.

        ``field_id, area_ha, slope_known_share, slope_mean_pct, slope_p95_pct, slope_max_pct,
        share_slope_0`` and on (classes by the breaks ``terrain.break_*``), ``share_use_0`` and on
        (side-slope use by ``survey.use_break_*``), ``cell_m``. Class shares are of the whole
        field: what is unknown is in none of them.
        """
        fields, slopes = self.farm.fields.iloc[self.rows], self.slopes
        columns: dict[str, Any] = {
            "field_id": fields["field_id"].to_numpy(),
            "area_ha": fields["area_ha"].to_numpy(float),
            "slope_known_share": slopes.known_share,
            "slope_mean_pct": slopes.mean_pct,
            "slope_p95_pct": slopes.p95_pct,
            "slope_max_pct": slopes.max_pct,
        }
        for name, shares in (("slope", slopes.class_shares), ("use", slopes.use_shares)):
            columns |= {f"share_{name}_{k}": shares[:, k] for k in range(shares.shape[1])}
        return pd.DataFrame(columns | {"cell_m": slopes.cell_m})


def survey_slopes(
    farm: Farm,
    *,
    machine: Machine | None = None,
    headings_deg: Mapping[str, float] | None = None,
    field_ids: Sequence[str] = (),
) -> Survey:
    """Slope figures of a farm's fields, however many, from elevation of any size.

    Parameters
    ----------
    farm : Farm
    machine : Machine, optional
        For the shares of side-slope use; without it, or without its track width or height of the
        centre of gravity, these are unknown.
    headings_deg : mapping of field_id to float, optional
        The line of travel in compass degrees; a field without one may be driven any way, so that
        the whole slope may lie across.
    field_ids : sequence of str
        Only these fields; all when empty.

    Raises
    ------
    MisuseError
        No such field.
    InputError
        The elevation cannot be read, or one field holds more cells than fit in memory.

    Notes
    -----
    Fields near each other are read together, at most ``survey.read_cells`` cells at once, so
    that memory does not grow with the raster; the ground between fields far apart is not read.
    Each field is worked on whole.
    """
    rows = _rows(farm, (*field_ids, *(headings_deg or ())), field_ids)
    ids = farm.fields["field_id"].iloc[rows]
    lines = np.array([float((headings_deg or {}).get(name, math.nan)) for name in ids])
    asked = _questions(machine, farm.tables)
    classes, uses = len(asked["breaks_pct"]) + 1, len(asked["use_breaks"]) + 1
    held = _nothing_known(len(rows), classes, uses)
    with small_cache(), farm.open_elevation() or nullcontext() as elevation:
        if elevation is not None:
            shapes = _shapes(farm, rows, elevation)
            for group in _groups(shapes, elevation, farm.tables):
                west, south, east, north = map(float, shapely.total_bounds(shapes[group]))
                found = field_slopes(
                    shapes[group],
                    elevation.window((west, south, east, north)),
                    crs=farm.crs,
                    lines_deg=lines[group],
                    **asked,
                )
                for mine, theirs in zip(held, found, strict=True):
                    mine[group] = theirs
    return Survey(farm, machine, rows, held)


def _rows(farm: Farm, named: Sequence[str], field_ids: Sequence[str]) -> NDArray[np.int64]:
    ids = farm.fields["field_id"]
    missing = [name for name in dict.fromkeys(named) if not (ids == name).any()]
    if missing:
        raise MisuseError(
            Fault(
                "no such field",
                name,
                "there is no slope to tell",
                f"use one of {', '.join(ids.iloc[:20])}",
            )
            for name in missing
        )
    wanted = ids.isin(field_ids).to_numpy() if field_ids else np.ones(len(ids), bool)
    return np.flatnonzero(wanted)


def _questions(machine: Machine | None, tables: Tables) -> dict[str, Any]:
    """The breaks and the machine's figures, as the kernel wants them."""
    stability = None if machine is None else machine.static_stability()
    bump_deg = math.nan if machine is None else bump_roll_deg(machine, tables=tables)
    return {
        "breaks_pct": _breaks(tables, "terrain.break_"),
        "use_breaks": _breaks(tables, "survey.use_break_"),
        "bump_roll_rad": math.radians(bump_deg),
        "stability": math.nan if stability is None else stability,
    }


def _breaks(tables: Tables, start: str) -> list[float]:
    rows = tables.rows(start.partition(".")[0])
    return sorted(row.number() for row in rows if row.key.startswith(start))


def _nothing_known(fields: int, classes: int, uses: int) -> FieldSlopes:
    mean, high, most, cell_m = np.full((4, fields), np.nan)
    shares = np.full((fields, classes), np.nan), np.full((fields, uses), np.nan)
    return FieldSlopes(np.zeros(fields), np.ones(fields), mean, high, most, *shares, cell_m)


def _shapes(farm: Farm, rows: NDArray[np.int64], elevation: ElevationFile) -> NDArray[np.object_]:
    """The boundaries in the raster's own system."""
    shapes = farm.fields.geometry.to_numpy()[rows]
    source, target = farm.crs, elevation.info.crs
    if source == target:
        return shapes
    move = transformer(source, target)
    return shapely.transform(shapes, lambda xy: np.column_stack(move.transform(xy[:, 0], xy[:, 1])))


def _groups(
    shapes: NDArray[np.object_], elevation: ElevationFile, tables: Tables
) -> Iterator[NDArray[np.int64]]:
    """Fields to be read together; those that do not reach the raster are in no group."""
    boxes = _cell_boxes(shapes, elevation)
    height, width = elevation.info.shape
    reach = (boxes[:, 0] < width) & (boxes[:, 1] < height) & (boxes[:, 2:] > 0).all(axis=1)
    most, waste = tables.number("survey.read_cells"), tables.number("survey.waste")
    waiting = [np.flatnonzero(reach)]
    while waiting:
        group = waiting.pop()
        if not group.size:
            continue
        own = boxes[group]
        sides = own[:, 2:].max(axis=0) - own[:, :2].min(axis=0)
        cells, needed = sides.prod(), (own[:, 2:] - own[:, :2]).prod(axis=1).sum()
        if len(group) == 1 or cells <= min(most, max(_FEW_CELLS, waste * needed)):
            yield group
            continue
        # halves by the middle field along the longer side
        middles = (own[:, :2] + own[:, 2:])[:, int(np.argmax(sides))]
        order = group[np.argsort(middles, kind="stable")]
        waiting += [order[len(order) // 2 :], order[: len(order) // 2]]


def _cell_boxes(shapes: NDArray[np.object_], elevation: ElevationFile) -> NDArray[np.float64]:
    """Left, top, right and bottom of each shape in cells, margin and all; NaN for a lost one."""
    west, south, east, north = shapely.bounds(shapes).T
    inverse = ~elevation.info.transform
    x, y = np.stack([west, west, east, east]), np.stack([south, north, south, north])
    with np.errstate(invalid="ignore"):
        columns = inverse.a * x + inverse.b * y + inverse.c
        rows = inverse.d * x + inverse.e * y + inverse.f
    corners = np.stack([columns, rows], axis=2)
    boxes = np.hstack([corners.min(axis=0) - _MARGIN, corners.max(axis=0) + _MARGIN])
    return np.where(np.isfinite(boxes), boxes, np.nan)
