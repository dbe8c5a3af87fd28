"""Small pieces of ground and machines that the risk tests share."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import shapely
from affine import Affine
from pyproj import CRS

from fieldmap.grid import Grid
from fieldmap.hazards.looked import FieldLooking, Flood, Steps
from fieldmap.machine import Machine
from fieldmap.risk.layers import Layers, field_layers
from fieldmap.risk.lie import Heights
from fieldmap.tables import Tables, load_tables

UTM = CRS.from_epsg(32615)
WEST, SOUTH = 500_000.0, 4_500_000.0
TABLES = load_tables()
BEFORE, FLOOD, AFTER, AGAIN, LAST = np.array(
    ["2026-05-20", "2026-05-28", "2026-06-02", "2026-06-04", "2026-06-06"], "datetime64[us]"
)


def mower(**given: object) -> Machine:
    """A machine of which all is known that the slopes ask for."""
    known = {
        "id": "m",
        "name": "the mower",
        "kind": "pull-type",
        "track_width_m": 2.0,
        "cg_height_m": 1.0,
        "working_width_m": 4.0,
        "turning_radius_m": 5.0,
        "field_speed_kmh": 11.0,
    }
    return Machine.model_validate({**known, **given})


def heights(
    values: object, *, cell_m: float = 5.0, source_cell_m: float = 0.0, error_m: float = 1e-6
) -> Heights:
    """Heights whose lower left corner is the corner of the fields below; all but exact."""
    held = np.asarray(values, np.float32)
    top = SOUTH + held.shape[0] * cell_m
    grid = Grid(held, Affine(cell_m, 0, WEST, 0, -cell_m, top), UTM, "m", "elevation")
    return Heights(grid, cell_m, max(cell_m, source_cell_m), "elevation.tif", error_m, "farm")


def plane(east: float, north: float, *, cells: int = 24, cell_m: float = 5.0) -> np.ndarray:
    """A plane that rises by so much a metre to the east and to the north."""
    row, column = np.indices((cells, cells), dtype=float)
    return cell_m * (east * column - north * row)


def box(west: float, south: float, east: float, north: float) -> shapely.Polygon:
    """A box in metres from the lower left corner."""
    return shapely.box(WEST + west, SOUTH + south, WEST + east, SOUTH + north)


def marks(*held: tuple[str, shapely.Geometry]) -> gpd.GeoDataFrame:
    """Hazards as kinds and the ground that they reach."""
    return gpd.GeoDataFrame(
        {"kind": [kind for kind, _ in held]},
        geometry=gpd.GeoSeries([shape for _, shape in held], crs=UTM),
        crs=UTM,
    )


def seen_in(
    field: shapely.Geometry,
    *walked: tuple[np.datetime64, list[tuple[float, float]]],
    floods: tuple[tuple[np.datetime64, shapely.Geometry], ...] = (),
    sward_m: float = math.nan,
    cell_m: float = 1.0,
) -> FieldLooking:
    """Walks by when they began, through places in metres from the lower left corner."""
    paths = [np.array(path, float) + np.array([WEST, SOUTH]) for _, path in walked]
    steps = [np.hstack([path[:-1], path[1:]]) for path in paths]
    begun = [np.full(len(held), when) for held, (when, _) in zip(steps, walked, strict=True)]
    return FieldLooking(
        outline=field,
        steps=Steps(
            np.vstack([np.zeros((0, 4)), *steps]),
            np.concatenate([np.array([], "datetime64[us]"), *begun]),
        ),
        floods=tuple(
            Flood(when, shapely.MultiPolygon([ground]))
            for when, ground in ((when, shapely.intersection(wet, field)) for when, wet in floods)
            if ground.area > 0
        ),
        sward_m=sward_m,
        cell_m=cell_m,
        line_chance=TABLES.number("looking.line_chance"),
    )


def there_and_back(
    west: float, south: float, east: float, north: float, *, apart_m: float = 2.0
) -> list[tuple[float, float]]:
    """Lines from west to east and back, so far apart, over a box."""
    path: list[tuple[float, float]] = []
    for number, y in enumerate(np.arange(south + apart_m / 2, north, apart_m)):
        ends = [(west, float(y)), (east, float(y))]
        path += ends if number % 2 == 0 else ends[::-1]
    return path


def layers_of(
    field: shapely.Geometry,
    ground: Heights,
    *,
    lying: gpd.GeoDataFrame | None = None,
    seen: FieldLooking | None = None,
    machine: Machine | None = None,
    tables: Tables = TABLES,
    known: bool = True,
) -> Layers:
    """All bands of a field; of a known machine unless ``known`` is false."""
    return field_layers(
        field,
        ground,
        marks() if lying is None else lying,
        seen_in(field) if seen is None else seen,
        crs=UTM,
        machine=mower() if machine is None and known else machine,
        tables=tables,
    )
