"""The farm folder, read whole: every file, every fault at once."""

from __future__ import annotations

import dataclasses
from contextlib import nullcontext
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.crs import WGS84
from fieldmap.errors import Fault, FieldmapError, InputError, MisuseError
from fieldmap.farm_files import (
    ANY_METRIC,
    FARM_FILE,
    Reading,
    ledger_name,
    no_fields,
    raise_found,
)
from fieldmap.machine import Machine
from fieldmap.network import RoadData
from fieldmap.read.elevation import ElevationFile
from fieldmap.read.ledger import Known
from fieldmap.read.settings import FarmSettings, read_farm_settings
from fieldmap.tables import Tables, load_tables

__all__ = ["FARM_FILE", "Farm", "check_farm", "far_apart", "load_farm"]

_NAMED = 5


@dataclass(frozen=True, eq=False)
class Farm:
    """A farm folder, read: settings, tables and what its files hold, in one metric system.

    ``events`` is the hazard log as it was written, ``hazards`` what stands in it now;
    ``log_read`` is false when there is no log. ``ledger`` is what was mown and when knives were
    changed (:func:`fieldmap.read.ledger.read_ledger`), ``None`` when nobody keeps one.
    ``notes`` are things mended or left out on the way, in words.
    """

    folder: Path
    settings: FarmSettings
    tables: Tables
    crs: CRS
    fields: gpd.GeoDataFrame
    gates: gpd.GeoDataFrame
    machines: tuple[Machine, ...]
    events: pd.DataFrame
    hazards: gpd.GeoDataFrame
    log_read: bool
    tracks: gpd.GeoDataFrame
    flood: gpd.GeoDataFrame
    elevation: Path | None
    roads: RoadData | None
    road_checks: pd.DataFrame | None
    ledger: pd.DataFrame | None
    notes: tuple[str, ...]

    def machine(self, machine_id: str | None) -> Machine | None:
        """The machine asked for; the first of the file when none is named, ``None`` without a file.

        Raises
        ------
        MisuseError
            No machine has this id.
        """
        if machine_id is None:
            return self.machines[0] if self.machines else None
        for machine in self.machines:
            if machine.id == machine_id:
                return machine
        raise MisuseError(
            Fault(
                "no such machine",
                machine_id,
                "limits and widths are the machine's",
                f"use one of {', '.join(one.id for one in self.machines) or 'none in the folder'}",
            )
        )

    def gate_near(
        self, field_id: str, ground: shapely.Geometry
    ) -> tuple[str, tuple[float, float]] | None:
        """Name and place (metric) of the field's gate nearest to some ground; ``None`` without."""
        gates = self._gates_of.get(field_id)
        if gates is None:
            return None
        names, points = gates
        away = np.nan_to_num(shapely.distance(points, ground))
        nearest = int(np.argmin(np.round(away, 3)))
        point = points[nearest]
        return str(names[nearest]), (float(point.x), float(point.y))

    @cached_property
    def _gates_of(self) -> dict[str, tuple[list[str], NDArray[np.object_]]]:
        """Names and places of each field's gates, by name."""
        gates = self.gates.sort_values("gate_id", kind="stable")
        return {
            str(field_id): (rows["gate_id"].tolist(), rows.geometry.to_numpy())
            for field_id, rows in gates.groupby("field_id")
        }

    def with_flood(self, flood: gpd.GeoDataFrame, note: str) -> Farm:
        """The farm with other flooded ground, and a note on where that comes from."""
        return dataclasses.replace(self, flood=flood, notes=(*self.notes, note))

    def open_elevation(self) -> ElevationFile | None:
        """The elevation, opened; ``None`` when the farm has none."""
        if self.elevation is None:
            return None
        return ElevationFile(self.elevation, unit=self.settings.files.elevation_unit)


def load_farm(folder: str | Path, *, with_roads: bool = True) -> Farm:
    """Read a farm folder.

    Parameters
    ----------
    folder : str or Path
        Holds ``farm.toml``.
    with_roads : bool
        Read the road network too.

    Raises
    ------
    InputError
        Every fault of every file at once.
    StoreError
        Nothing is wrong but that the disk, a permission or a lock stood in the way.
    """
    farm, faults = _read(Path(folder), with_roads=with_roads)
    raise_found(faults)
    if farm is None:  # a folder without a farm always has faults
        raise InputError(
            Fault("no farm here", str(folder), "nothing was read", "name a farm folder")
        )
    return farm


def check_farm(folder: str | Path) -> tuple[tuple[Fault, ...], tuple[str, ...]]:
    """Read every input of a farm folder and list what is wrong, without raising.

    Returns
    -------
    tuple of Fault, tuple of str
        Every fault; and notes on what was mended, lies far off or is not there.
    """
    farm, faults = _read(Path(folder), with_roads=True)
    if farm is None:
        return tuple(faults), ()
    try:
        heights = _heights_known(farm)
    except FieldmapError as error:
        return (*faults, *error.faults), farm.notes
    return tuple(faults), (*farm.notes, *heights, *_absent(farm))


def _heights_known(farm: Farm) -> list[str]:
    """A word when no field has a height under it; raises when the raster breaks off there."""
    with farm.open_elevation() or nullcontext() as elevation:
        if elevation is None:
            return []
        box = gpd.GeoSeries([shapely.box(*farm.fields.total_bounds)], crs=farm.crs)
        if elevation.readable(tuple(box.to_crs(elevation.info.crs).total_bounds)):
            return []
        return [f"{elevation.info.path.name}: no height is known where the fields lie"]


def _absent(farm: Farm) -> list[str]:
    files = farm.settings.files
    lacks = {
        "elevation": "slopes stay unknown",
        "roads": "moves cannot be checked",
        "machines": "limits and settings stay unknown",
        "gates": "fields are reached at a point inside",
        "flood": "no ground is held to be flooded",
    }
    notes = [
        f"no {key} in farm.toml: {words}"
        for key, words in lacks.items()
        if getattr(files, key) is None and not (key == "flood" and files.flood_depth_m)
    ]
    if not farm.log_read:
        notes.append(f"no hazard log ({files.hazards}) yet: what lies in the fields is unknown")
    if farm.ledger is None:
        name = ledger_name(farm.settings)
        notes.append(f"no ledger ({name}) yet: how much the knives have mown is unknown")
    if not files.tracks:
        notes.append("no tracks in farm.toml: no ground counts as looked at")
    return notes


def _tables(settings: FarmSettings) -> Tables:
    """The trade's figures under the farm's own, and its prices."""
    tables = load_tables().with_overrides(settings.tables)
    return tables.with_overrides(settings.prices.overrides(), where=f"{FARM_FILE} [prices]")


def _read(folder: Path, *, with_roads: bool) -> tuple[Farm | None, list[Fault]]:
    faults: list[Fault] = []
    try:
        settings = read_farm_settings(folder / FARM_FILE)
    except FieldmapError as error:
        return None, list(error.faults)
    reading = Reading(folder, settings, faults)
    tables = reading.attempt(lambda: _tables(settings), load_tables())
    layer = reading.fields()
    # without fields the other files are read all the same, so that their faults are told too
    crs = ANY_METRIC if layer is None else CRS.from_user_input(layer.table.crs)
    tracks, track_notes = reading.tracks(crs, tables)
    log = folder / settings.files.hazards
    events = reading.events()
    gates = reading.gates(crs)
    machines = reading.machines()
    farm = Farm(
        folder=folder,
        settings=settings,
        tables=tables,
        crs=crs,
        fields=no_fields(crs) if layer is None else layer.table,
        gates=gates,
        machines=machines,
        events=events,
        hazards=reading.hazards(events, crs, tables),
        log_read=reading.log_known(),
        tracks=tracks,
        flood=reading.flood(crs),
        elevation=reading.elevation(),
        roads=reading.roads(crs) if with_roads else None,
        road_checks=reading.road_checks(machines) if with_roads else None,
        ledger=None,
        notes=(*(() if layer is None else layer.notes), *track_notes),
    )
    farm = _with_ledger(farm, reading)
    faults.extend((*_unknown_kinds(farm, log), *_unknown_product(settings, tables, folder)))
    if layer is None:
        return None, faults
    on_roads = () if farm.roads is None else farm.roads.warnings
    return dataclasses.replace(farm, notes=(*farm.notes, *far_apart(farm), *on_roads)), faults


def _with_ledger(farm: Farm, reading: Reading) -> Farm:
    """The farm with its ledger, held against the machines and fields that could be read."""
    names, fields = [machine.id for machine in farm.machines], farm.fields
    area_of = dict(zip(fields["field_id"], fields["area_ha"], strict=True)) if len(fields) else None
    ledger, notes = reading.ledger(Known(names or None, area_of))
    return dataclasses.replace(farm, ledger=ledger, notes=(*farm.notes, *notes))


def _unknown_kinds(farm: Farm, log: Path) -> list[Fault]:
    known = {row.key.split(".", 1)[1] for row in farm.tables.rows("hazard_kinds")}
    strange = sorted(set(farm.hazards["kind"]) - known)
    return [
        Fault(
            "a hazard kind that the tables do not have",
            kind,
            "nothing says what it endangers",
            "add a row to hazard_kinds.csv, or log it as unknown",
            where=str(log),
        )
        for kind in strange
    ]


def _unknown_product(settings: FarmSettings, tables: Tables, folder: Path) -> list[Fault]:
    given = settings.files.elevation_product
    names = [row.key.split(".", 1)[1] for row in tables.rows("elevation_products")]
    if given is None or given in names:
        return []
    return [
        Fault(
            "an elevation product that the tables do not have",
            given,
            "the error of the heights would be unknown",
            f"use one of {', '.join(names)}, or give elevation_error_m",
            where=str(folder / FARM_FILE),
        )
    ]


def far_apart(farm: Farm) -> list[str]:
    """What lies so far from every field that it may be the wrong file, in words.

    Gates and places one by one; the flood, the walks and the roads as a whole.
    """
    beyond_m = farm.tables.number("looking.far_m")
    box = shapely.box(*shapely.buffer(shapely.box(*farm.fields.total_bounds), beyond_m).bounds)
    places = farm.settings.places
    points = gpd.GeoSeries([shapely.Point(pair) for pair in places.values()], crs=WGS84)
    marks = {
        f"place {name}": point for name, point in zip(places, points.to_crs(farm.crs), strict=True)
    }
    marks |= {
        f"gate {name}": point
        for name, point in zip(farm.gates["gate_id"], farm.gates.geometry, strict=True)
    }
    wholes = {"flood": farm.flood, "tracks": farm.tracks}
    if farm.roads is not None:
        wholes["roads"] = farm.roads.edges
    marks |= {key: shapely.box(*table.total_bounds) for key, table in wholes.items() if len(table)}
    far = [
        f"{what} lies over {beyond_m / 1000:.0f} km from every field: is it the right one, "
        "or are latitude and longitude swapped?"
        for what, shape in marks.items()
        if not box.intersects(shape)
    ]
    named = farm.gates["field_id"].dropna()
    strange = list(dict.fromkeys(named[~named.isin(farm.fields["field_id"])]))
    return far if not strange else [*far, f"gates name {_some(strange)}, not among the fields"]


def _some(names: list[str]) -> str:
    shown = ", ".join(names[:_NAMED])
    return shown if len(names) <= _NAMED else f"{shown} and {len(names) - _NAMED} more"
