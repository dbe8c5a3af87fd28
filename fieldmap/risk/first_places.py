"""Where to look first after a flood: along its edge, in the lows, at what stood across the flow."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.crs import kept_by_system, same_system, transformer
from fieldmap.grid import Grid
from fieldmap.hazards.walks import Flood

if TYPE_CHECKING:
    from fieldmap.terrain.drainage import Drainage

WRACK, LOW, LINE = "wrack band", "low", "line across the flow"
COLUMNS = ("kind", "reason", "area_m2", "length_m", "flood_day", "geometry")

_TOUCH_M = 0.01  # an outline cut to the field lies on its boundary to less than this
_PIECE_M = 5.0  # a boundary is held against the flow in pieces no longer than this
_ASSUMED = (
    "A fence or hedge often stands on a field's boundary; that one stands here is an assumption."
)
_OUTWARD = f"The water left the field here, and what it carried is caught on this side. {_ASSUMED}"
_INWARD = (
    "The water came into the field here, and may have brought pieces of what stood across it. "
    f"{_ASSUMED}"
)
_WRACK = "Floating things are left along the edge of the water."


class FirstPlaces(NamedTuple):
    """Places in the order to look, and in words what could not be told.

    ``rows`` are the places, each with the columns of the table, which is made when asked for.
    """

    rows: list[dict[str, Any]]
    left_out: tuple[str, ...]
    crs: CRS

    @property
    def table(self) -> gpd.GeoDataFrame:
        """Columns :data:`COLUMNS`, one row a place."""
        return _table(self.rows, self.crs)


def first_places(
    field: shapely.Geometry,
    floods: Iterable[Flood],
    hollows_table: gpd.GeoDataFrame | None,
    drainage: Drainage | None,
    *,
    crs: CRS,
    wrack_m: float,
    across_deg: float,
) -> FirstPlaces:
    """The first places to look in one field after it was flooded.

    Parameters
    ----------
    field : shapely geometry
        Boundary in ``crs``, metric; polygons.
    floods : iterable of Flood
        Ground that stood under water and when; the part inside the field is enough.
    hollows_table : GeoDataFrame or None
        As :func:`fieldmap.terrain.hollows.hollows` gives it; ``None`` when the heights are not
        known.
    drainage : Drainage or None
        Whose ``channel_deg`` says which way a flood runs.
    crs : pyproj.CRS
        The run's metric system.
    wrack_m : float
        Width of the wrack band on each side of the water's edge.
    across_deg : float
        A stretch of boundary is across the flow when the line square to it is within so many
        degrees of the channel's bearing.

    Returns
    -------
    FirstPlaces
        Its table has the columns ``kind`` (wrack band, low, line across the flow), ``reason``,
        ``area_m2`` or ``length_m`` (the other is NaN), ``flood_day`` (as the flood has it), and the
        geometry, inside the field. The last flood comes first; of each flood the wrack bands
        (largest first), then the lows (deepest first), then the lines, those on the downstream side
        first (longest first).

    Notes
    -----
    Where the flooded ground ends on the field's own boundary there is no water's edge: there it
    goes on, or nobody drew it further. What is ``open`` of a hollow is said in its reason.

    Examples
    --------
    The west half of a field of 100 x 100 m stood under water, and no heights are known:

    >>> flood = Flood(np.datetime64("2026-05-28T23:59", "us"), shapely.box(-30, -30, 50, 130))
    >>> found = first_places(shapely.box(0, 0, 100, 100), [flood], None, None, crs=CRS(32615),
    ...                      wrack_m=5, across_deg=45)
    >>> found.table["kind"].tolist(), found.table["area_m2"].round(1).tolist()
    (['wrack band'], [1000.0])
    >>> len(found.left_out)
    2
    """
    rows: list[dict[str, Any]] = []
    blind_m = 0.0
    grounds = [(one.date, _areas(shapely.intersection(one.ground, field))) for one in floods]
    grounds = [(date, ground) for date, ground in grounds if ground]
    if not grounds:
        return FirstPlaces([], (), crs)
    for date, ground in sorted(grounds, key=lambda one: one[0], reverse=True):
        wet = shapely.multipolygons(ground)
        found = _wrack(field, wet, wrack_m)
        if hollows_table is not None:
            found += _lows(field, wet, hollows_table)
        if drainage is not None:
            lines, unknown_m = _lines(field, wet, drainage.channel_deg, crs, across_deg)
            found += lines
            blind_m += unknown_m
        rows += [{**row, "flood_day": date} for row in found]
    return FirstPlaces(rows, _left_out(hollows_table is None, drainage is None, blind_m), crs)


def _table(rows: list[dict[str, Any]], crs: CRS) -> gpd.GeoDataFrame:
    return _no_places(crs).copy() if not rows else _typed(rows, crs)


def _typed(rows: list[dict[str, Any]], crs: CRS) -> gpd.GeoDataFrame:
    table = gpd.GeoDataFrame(rows, columns=list(COLUMNS), geometry="geometry", crs=crs)
    return table.astype({"area_m2": float, "length_m": float, "flood_day": "datetime64[us]"})


@kept_by_system
def _no_places(crs: CRS) -> gpd.GeoDataFrame:
    return _typed([], crs)


def _left_out(no_hollows: bool, no_drainage: bool, blind_m: float) -> tuple[str, ...]:
    words = []
    if no_hollows:
        words.append("Lows are not told: no heights are known.")
    if no_drainage:
        words.append(
            "Lines across the flow are not told: without heights nobody can tell which way the "
            "flood ran."
        )
    if blind_m > 0:
        words.append(
            f"Along {blind_m:.0f} m of flooded boundary it is not known which way the flood ran: "
            "look there too."
        )
    return tuple(words)


def _wrack(field: shapely.Geometry, wet: shapely.Geometry, wrack_m: float) -> list[dict]:
    """Bands along the edge of the water, where it does not lie on the field's own boundary."""
    own = shapely.buffer(shapely.boundary(field), _TOUCH_M)
    edge = shapely.difference(shapely.boundary(wet), own)
    band = _areas(shapely.intersection(shapely.buffer(edge, wrack_m), field))
    bands = sorted(band, key=shapely.area, reverse=True)
    return [_row(WRACK, _WRACK, one) for one in bands]


def _lows(
    field: shapely.Geometry, wet: shapely.Geometry, hollows_table: gpd.GeoDataFrame
) -> list[dict]:
    """Hollows of which some stood under water, as far as they lie inside the field."""
    shapes = hollows_table.geometry.to_numpy()
    met = np.flatnonzero(shapely.area(shapely.intersection(shapes, wet)) > 0)
    depth = hollows_table["depth_m"].to_numpy(float)
    rows = []
    for at in met[np.argsort(-depth[met], kind="stable")]:
        reason = "A hollow that stood under water: things settle in it."
        if hollows_table["open"].iloc[at]:
            reason += " It touches ground of unknown height: it may be deeper, larger, or none."
        inside = _areas(shapely.intersection(shapes[at], field))
        rows.append(_row(LOW, reason, shapely.multipolygons(inside)))
    return rows


def _areas(shape: shapely.Geometry) -> list[shapely.Geometry]:
    """The polygons of a shape; what only touches is dropped."""
    parts = shapely.get_parts(shapely.get_parts(shape))
    return list(parts[(shapely.get_type_id(parts) == 3) & (shapely.area(parts) > 0)])


def _row(kind: str, reason: str, shape: shapely.Geometry) -> dict[str, Any]:
    line = kind == LINE
    return {
        "kind": kind,
        "reason": reason,
        "area_m2": np.nan if line else float(shape.area),
        "length_m": float(shape.length) if line else np.nan,
        "geometry": shape,
    }


def _lines(
    field: shapely.Geometry,
    wet: shapely.Geometry,
    channel_deg: Grid,
    crs: CRS,
    across_deg: float,
) -> tuple[list[dict], float]:
    """Flooded boundary across the flow, and metres of it where the flow is not known."""
    ends = _boundary_pieces(field)
    lines = shapely.linestrings(ends)
    wet_lines = shapely.intersection(lines, shapely.buffer(wet, _TOUCH_M))
    length = shapely.length(wet_lines)
    step = ends[:, 1] - ends[:, 0]
    outward = np.degrees(np.arctan2(step[:, 1], -step[:, 0]))  # a quarter turn to the right
    flow = _at(channel_deg, ends.mean(axis=1), crs)
    flooded = length > 2 * _TOUCH_M
    with np.errstate(invalid="ignore"):
        off = np.abs((outward - flow + 180.0) % 360.0 - 180.0)
    rows = []
    for here, words in ((off <= across_deg, _OUTWARD), (off >= 180.0 - across_deg, _INWARD)):
        stretches = _joined(wet_lines[flooded & here])
        rows += [_row(LINE, words, one) for one in stretches]
    return rows, float(length[flooded & np.isnan(flow)].sum())


def _joined(lines: NDArray[np.object_]) -> list[shapely.Geometry]:
    """Stretches of boundary from their pieces, longest first."""
    if len(lines) == 0:
        return []
    whole = shapely.get_parts(shapely.line_merge(shapely.union_all(lines)))
    return sorted(whole, key=shapely.length, reverse=True)


def _boundary_pieces(field: shapely.Geometry) -> NDArray[np.float64]:
    """Short pieces of all rings, the field on their left; shape (pieces, 2, 2)."""
    parts = shapely.get_parts(shapely.segmentize(field, _PIECE_M))
    rings, part = shapely.get_rings(parts, return_index=True)
    outer = np.append(True, part[1:] != part[:-1])
    wrong = shapely.is_ccw(rings) != outer
    rings[wrong] = shapely.reverse(rings[wrong])
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    same = ring[:-1] == ring[1:]
    return np.stack([xy[:-1][same], xy[1:][same]], axis=1)


def _at(grid: Grid, places: NDArray[np.float64], crs: CRS) -> NDArray[np.float64]:
    """The grid's value at places of the run's system, NaN outside; shape (places,)."""
    x, y = places[:, 0], places[:, 1]
    if not same_system(grid.crs, crs):
        x, y = transformer(crs, grid.crs).transform(x, y)
    column, row = (np.floor(held).astype(np.int64) for held in ~grid.transform @ (x, y))
    rows, columns = grid.shape
    within = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    values = np.full(len(places), np.nan)
    values[within] = grid.values[row[within], column[within]]
    return values
