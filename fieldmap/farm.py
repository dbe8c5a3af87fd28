"""The farm folder, read whole: every file, every fault at once."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import geopandas as gpd
import pandas as pd
from pyproj import CRS

from fieldmap.crs import metric_crs
from fieldmap.errors import Fault, FieldmapError, InputError, MisuseError, raise_all
from fieldmap.hazards.events import standing
from fieldmap.hazards.store import read_events
from fieldmap.machine import Machine
from fieldmap.network import RoadData
from fieldmap.read.elevation import ElevationFile
from fieldmap.read.fields import read_fields, read_gates
from fieldmap.read.flood import read_flood
from fieldmap.read.gpx import read_tracks
from fieldmap.read.road_checks import read_road_checks
from fieldmap.read.roads import read_roads
from fieldmap.read.settings import FarmSettings, read_farm_settings, read_machines
from fieldmap.tables import Tables, load_tables

_Read = TypeVar("_Read")
FARM_FILE = "farm.toml"


@dataclass(frozen=True, eq=False)
class Farm:
    """A farm folder, read: settings, tables and what its files hold, in one metric system.

    ``hazards`` is what stands in the log now; ``log_read`` is false when there is no log.
    ``notes`` are things mended or left out on the way, in words.
    """

    folder: Path
    settings: FarmSettings
    tables: Tables
    crs: CRS
    fields: gpd.GeoDataFrame
    gates: gpd.GeoDataFrame
    machines: tuple[Machine, ...]
    hazards: gpd.GeoDataFrame
    log_read: bool
    tracks: gpd.GeoDataFrame
    flood: gpd.GeoDataFrame
    elevation: Path | None
    roads: RoadData | None
    road_checks: pd.DataFrame | None
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
    """
    farm, faults = _read(Path(folder), with_roads=with_roads)
    raise_all(faults)
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
        Every fault; and notes on what was mended or is not there.
    """
    farm, faults = _read(Path(folder), with_roads=True)
    if farm is None:
        return tuple(faults), ()
    return tuple(faults), (*farm.notes, *_absent(farm))


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
        if getattr(files, key) is None
    ]
    if not farm.log_read:
        notes.append(f"no hazard log ({files.hazards}) yet: what lies in the fields is unknown")
    if not files.tracks:
        notes.append("no tracks in farm.toml: no ground counts as looked at")
    return notes


def _read(folder: Path, *, with_roads: bool) -> tuple[Farm | None, list[Fault]]:
    faults: list[Fault] = []

    def attempt(action: Callable[[], _Read], fallback: _Read) -> _Read:
        try:
            return action()
        except FieldmapError as error:
            faults.extend(error.faults)
            return fallback

    settings = attempt(lambda: read_farm_settings(folder / FARM_FILE), None)
    if settings is None:
        return None, faults
    files = settings.files
    tables = attempt(lambda: load_tables().with_overrides(settings.tables), load_tables())
    wanted = attempt(lambda: None if settings.crs is None else metric_crs(settings.crs), None)
    layer = attempt(
        lambda: read_fields(
            _at(folder, files.fields), columns=settings.columns.get("fields"), crs=wanted
        ),
        None,
    )
    if layer is None:
        return None, faults
    crs = CRS.from_user_input(layer.table.crs)
    notes = list(layer.notes)
    walks = attempt(lambda: read_tracks(_globbed(folder, files.tracks), crs=crs), None)
    tracks, track_notes = walks or (read_tracks([], crs=crs)[0], ())
    log = Path(_at(folder, files.hazards))
    farm = Farm(
        folder=folder,
        settings=settings,
        tables=tables,
        crs=crs,
        fields=layer.table,
        gates=_optional(
            files.gates,
            lambda name: attempt(lambda: read_gates(_at(folder, name), crs=crs), _no_gates(crs)),
            _no_gates(crs),
        ),
        machines=_optional(
            files.machines,
            lambda name: attempt(lambda: read_machines(Path(_at(folder, name))), ()),
            (),
        ),
        hazards=attempt(lambda: standing(read_events(log)).to_crs(crs), _no_hazards(crs)),
        log_read=log.exists(),
        tracks=tracks,
        flood=_optional(
            files.flood,
            lambda name: attempt(lambda: read_flood(_at(folder, name), crs=crs), _no_flood(crs)),
            _no_flood(crs),
        ),
        elevation=None if files.elevation is None else Path(_at(folder, files.elevation)),
        roads=None,
        road_checks=None,
        notes=(*notes, *track_notes),
    )
    faults.extend(_unknown_kinds(farm, log))
    attempt(lambda: _opens(farm), None)
    if with_roads and files.roads is not None:
        name, checks = files.roads, files.road_checks
        roads = attempt(lambda: read_roads(_at(folder, name), crs=crs), None)
        measured = (
            None if checks is None else attempt(lambda: read_road_checks(_at(folder, checks)), None)
        )
        farm = dataclasses.replace(
            farm,
            roads=roads,
            road_checks=measured,
            notes=(*farm.notes, *(() if roads is None else roads.warnings)),
        )
    return farm, faults


def _optional(name: str | None, read: Callable[[str], _Read], fallback: _Read) -> _Read:
    return fallback if name is None else read(name)


def _opens(farm: Farm) -> None:
    opened = farm.open_elevation()
    if opened is not None:
        opened.close()


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


def _at(folder: Path, name: str) -> str:
    return name if "://" in name or name.startswith("/vsi") else str(folder / name)


def _globbed(folder: Path, patterns: Iterable[str]) -> list[Path]:
    faults, found = [], []
    for pattern in patterns:
        names = sorted(folder.glob(pattern))
        if not names:
            faults.append(
                Fault(
                    "tracks that are not there",
                    pattern,
                    "the ground walked would count as unseen",
                    "correct the pattern, or take it out of farm.toml",
                    where=str(folder / FARM_FILE),
                )
            )
        found.extend(names)
    raise_all(faults)
    return found


def _empty(crs: CRS, **columns: Any) -> gpd.GeoDataFrame:
    held = {name: pd.Series(dtype=kind) for name, kind in columns.items()}
    return gpd.GeoDataFrame(held, geometry=gpd.GeoSeries([], crs=crs), crs=crs)


def _no_gates(crs: CRS) -> gpd.GeoDataFrame:
    return _empty(crs, gate_id=str, field_id=str, width_m=float)


def _no_flood(crs: CRS) -> gpd.GeoDataFrame:
    return _empty(crs, date="datetime64[us, UTC]")


def _no_hazards(crs: CRS) -> gpd.GeoDataFrame:
    return _empty(
        crs,
        hazard_id=str,
        kind=str,
        note=str,
        who=str,
        time="datetime64[us, UTC]",
        radius_m=float,
        height_m=float,
    )
