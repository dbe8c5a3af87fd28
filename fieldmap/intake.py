"""Finds from files into the farm's hazard log: all of them, or none."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import pandas as pd
import shapely

from fieldmap.errors import Fault, FieldmapError, raise_all
from fieldmap.farm import Farm
from fieldmap.hazards.events import add_events
from fieldmap.hazards.reach import reach_m, reached
from fieldmap.hazards.store import append, read_events
from fieldmap.read.finds import distant, read_finds
from fieldmap.read.vectors import Layer

_ROWS_NAMED = 5


class Taken(NamedTuple):
    """One file: finds it holds, those that differ from each other, those new to the log."""

    file: str
    read: int
    told: int
    new: int


class Intake(NamedTuple):
    """What an import did: the log, each file, and what people should know."""

    log: Path
    files: tuple[Taken, ...]
    notes: tuple[str, ...]


def take_in(farm: Farm, files: Sequence[Path], *, swap_xy: bool = False) -> Intake:
    """Import finds into the farm's log.

    Parameters
    ----------
    farm : Farm
    files : sequence of Path
        GeoJSON, GeoPackage, Shapefile, CSV or GPX.
    swap_xy : bool
        The files have latitude where longitude belongs.

    Raises
    ------
    InputError
        Every bad row of every file, or finds far from every field; nothing was written.
    StoreError
        Disk, permission or lock.
    """
    faults: list[Fault] = []
    layers: list[tuple[Path, Layer]] = []
    for path in files:
        try:
            layer = read_finds(path, tables=farm.tables, swap_xy=swap_xy, zone=farm.settings.zone())
        except FieldmapError as error:
            faults.extend(error.faults)
            continue
        faults.extend(_too_far(farm, path, layer))
        layers.append((path, layer))
    raise_all(faults)
    return _written(farm, layers)


def _written(farm: Farm, layers: Sequence[tuple[Path, Layer]]) -> Intake:
    log = farm.folder / farm.settings.files.hazards
    standing = read_events(log)
    known, taken = set(standing["event_id"]), set(standing["hazard_id"])
    counts, parts = [], []
    for path, layer in layers:
        events = add_events(layer.table, file=path.name, taken=taken)
        fresh = events[~events["event_id"].isin(known)]
        known |= set(fresh["event_id"])
        taken |= set(fresh["hazard_id"])
        parts.append(fresh)
        counts.append(Taken(path.name, len(layer.table), len(events), len(fresh)))
    if any(len(part) for part in parts):
        append(log, pd.concat(parts, ignore_index=True))
    notes = [note for _, layer in layers for note in layer.notes]
    notes += [
        f"{one.file}: {one.read - one.told} finds say the same as another and count once"
        for one in counts
        if one.told < one.read
    ]
    notes += [note for path, layer in layers for note in _in_no_field(farm, path, layer)]
    return Intake(log, tuple(counts), tuple(notes))


def _in_no_field(farm: Farm, path: Path, layer: Layer) -> list[str]:
    """How many finds reach no field: they are logged, and stand on no field's page."""
    tables = farm.tables
    ground = layer.table.to_crs(farm.crs)
    radius_m = reach_m(ground, farm.machine(None), tables=tables)
    fields = shapely.union_all(farm.fields.geometry.to_numpy())
    lone = int((~reached(ground, radius_m).intersects(fields)).sum())
    if lone == 0:
        return []
    return [
        f"{path.name}: {lone} of {len(ground)} finds reach no field; they are on the index only"
    ]


def _too_far(farm: Farm, path: Path, layer: Layer) -> list[Fault]:
    beyond_m = farm.tables.number("looking.far_m")
    rows, swap_would_cure = distant(layer.table, farm.fields, beyond_m=beyond_m)
    if not rows:
        return []
    shown = ", ".join(map(str, rows[:_ROWS_NAMED])) + (" ..." if len(rows) > _ROWS_NAMED else "")
    return [
        Fault(
            "finds far from every field",
            f"{len(rows)} of {len(layer.table)} lie over {beyond_m / 1000:.0f} km away",
            "they would be logged where nobody mows",
            "give --swap-xy: latitude and longitude look swapped"
            if swap_would_cure
            else "check that it is the right file, or take those rows out",
            where=f"{path} row {shown}",
        )
    ]
