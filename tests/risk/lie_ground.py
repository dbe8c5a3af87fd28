"""Small grounds with a brow, a pit or a wall, judged for a machine, that several tests share."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely
from small_ground import (
    AFTER,
    SOUTH,
    TABLES,
    WEST,
    box,
    heights,
    layers_of,
    seen_in,
    there_and_back,
)

from fieldmap.finding import Level, rank
from fieldmap.hazards.looked import FieldLooking
from fieldmap.machine import Machine
from fieldmap.risk import causes
from fieldmap.risk.ground import slope_findings
from fieldmap.risk.layers import Layers
from fieldmap.risk.lie import Heights
from fieldmap.risk.lie_findings import lie_findings
from fieldmap.tables import Tables

CELL_M, CELLS = 4.0, 30
FIELD = box(30, 30, 90, 86)
SEEN = seen_in(FIELD, (AFTER, there_and_back(28, 28, 92, 90, apart_m=1.0)), sward_m=0.1)
UNKNOWN = rank("unknown")
ALL = causes.all_causes(TABLES)
ALL_LEVELS = {cause.key: cause.level for cause in ALL.values()}


def told(layers: Layers, ground: Heights, machine: Machine | None) -> dict[str, Level]:
    """Levels of all that the ground is said to be, by what it is about."""
    found = [
        *slope_findings("F", layers, ground, machine, tables=TABLES),
        *lie_findings("F", layers, ground, machine, tables=TABLES),
    ]
    return {one.finding.what: one.finding.level for one in found}


def judged(
    values: np.ndarray, machine: Machine | None, *, error_m: float, tables: Tables = TABLES
) -> tuple[Layers, dict[str, Level]]:
    ground = heights(values, cell_m=CELL_M, error_m=error_m)
    known = machine is not None
    layers = layers_of(FIELD, ground, seen=SEEN, machine=machine, tables=tables, known=known)
    return layers, told(layers, ground, machine)


def assert_not_better(
    after: tuple[Layers, dict[str, Level]], before: tuple[Layers, dict[str, Level]]
) -> None:
    """A stop may become unknown; nothing else gets better, neither cell nor finding."""
    inside = before[0].inside
    was, now = before[0].level.values[inside], after[0].level.values[inside]
    bad = np.flatnonzero(now < np.minimum(was, UNKNOWN))
    named = {
        (ALL[int(one)].key, ALL[int(other)].key)
        for one, other in zip(
            before[0].cause.values[inside][bad], after[0].cause.values[inside][bad], strict=True
        )
    }
    assert not named
    for what, level in after[1].items():
        if what in before[1]:
            assert rank(level) >= min(rank(before[1][what]), UNKNOWN), what


def shaped(parts: dict[str, Any]) -> np.ndarray:
    """A plane with a brow, a pit, a wall and some roughness on it, in metres."""
    row, column = np.indices((CELLS, CELLS), dtype=float)
    x, y = CELL_M * column, -CELL_M * row
    out = parts["east"] * x + parts["north"] * y
    out += parts["brow_m"] * np.exp(-(((column - parts["brow_at"]) / 3.0) ** 2))
    near = (column - parts["pit_x"]) ** 2 + (row - parts["pit_y"]) ** 2
    out -= parts["pit_m"] * (near <= parts["pit_r"] ** 2)
    out += parts["wall_m"] * (row < parts["wall_at"])
    rng = np.random.default_rng(parts["seed"])
    return out + rng.normal(0.0, parts["rough_m"], out.shape)


PLAIN = {
    "east": 0.0, "north": 0.0, "brow_m": 0.0, "brow_at": 5, "pit_m": 0.0, "pit_x": 6, "pit_y": 6,
    "pit_r": 1, "wall_m": 0.0, "wall_at": 2, "rough_m": 0.0, "seed": 0,
}  # fmt: skip
USUAL = {
    "working_width_m": 3.0,
    "turning_radius_m": 5.0,
    "field_speed_kmh": 11.0,
    "cg_height_m": 1.0,
}


def governs(layers: Layers, x: float, y: float) -> str:
    """What governs the cell at a place in metres from the lower left corner."""
    column, row = ~layers.cause.transform @ (WEST + x, SOUTH + y)
    return ALL[int(layers.cause.values[math.floor(row), math.floor(column)])].key


def wide_look(field: shapely.Geometry) -> FieldLooking:
    west, south, east, north = (
        one - base for one, base in zip(field.bounds, (WEST, SOUTH) * 2, strict=True)
    )
    path = there_and_back(west - 2, south - 2, east + 2, north + 4, apart_m=1.0)
    return seen_in(field, (AFTER, path), sward_m=0.1)
