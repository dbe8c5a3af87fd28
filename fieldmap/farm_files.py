"""One pass over a farm's files: every fault is gathered, and what can be read is read."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import astuple, dataclass
from pathlib import Path
from typing import Any, TypeVar

import geopandas as gpd
import pandas as pd
from pyproj import CRS
from shapely.errors import ShapelyError

from fieldmap.crs import metric_crs
from fieldmap.errors import Fault, FieldmapError, InputError, StoreError, raise_all
from fieldmap.hazards.events import no_events
from fieldmap.hazards.fold import standing
from fieldmap.hazards.pace import Paced, paced
from fieldmap.hazards.store import is_log, read_events
from fieldmap.machine import Machine
from fieldmap.network import RoadData
from fieldmap.read.elevation import ElevationFile
from fieldmap.read.fields import read_fields, read_gates
from fieldmap.read.flood import read_flood
from fieldmap.read.gpx import read_tracks
from fieldmap.read.ledger import LEDGER_FILE, Known, read_ledger
from fieldmap.read.road_cache import FOLDER as CACHE_FOLDER
from fieldmap.read.road_checks import ROAD_CHECKS_FILE, read_road_checks
from fieldmap.read.road_checks import Known as KnownMachines
from fieldmap.read.roads import read_roads
from fieldmap.read.settings import FarmSettings, read_machines
from fieldmap.read.vectors import Layer
from fieldmap.tables import Tables

_Read = TypeVar("_Read")
FARM_FILE = "farm.toml"
_WILD = "*?["
_LEAST_TOLD_M = 50.0  # shorter stretches of a track that are no look are not worth a word
ANY_METRIC = CRS.from_epsg(6933)  # equal area, all of the earth; nothing is measured in it


class DiskFault(Fault):
    """A fault that the disk, a permission or a lock made, and not what is in a file."""


def raise_found(faults: Iterable[Fault]) -> None:
    """Raise one error with every fault, or do nothing when there is none.

    Raises
    ------
    StoreError
        Nothing but the disk, a permission or a lock stood in the way.
    InputError
        Something in a file is wrong, whatever else there is.
    """
    gathered = tuple(faults)
    if gathered and all(isinstance(fault, DiskFault) for fault in gathered):
        raise StoreError(gathered)
    raise_all(gathered)


@dataclass(frozen=True)
class Reading:
    """One pass over a farm's files: what cannot be read is told in ``faults``, the rest goes on."""

    folder: Path
    settings: FarmSettings
    faults: list[Fault]

    def attempt(self, action: Callable[[], _Read], fallback: _Read) -> _Read:
        """What an action gives; the fallback, and its faults gathered, when it fails."""
        try:
            return action()
        except StoreError as error:
            self.faults.extend(DiskFault(*astuple(fault)) for fault in error.faults)
            return fallback
        except FieldmapError as error:
            self.faults.extend(error.faults)
            return fallback

    def at(self, name: str) -> str:
        """The path of a file of the folder."""
        return str(self.folder / name)

    def _file(self, name: str | None, read: Callable[[str], _Read], none: _Read) -> _Read:
        return none if name is None else self.attempt(lambda: read(self.at(name)), none)

    def _swap(self, key: str) -> bool:
        return key in self.settings.files.swap_xy

    def fields(self) -> Layer | None:
        """Boundaries and what was mended; ``None`` when they cannot be read."""
        given = self.settings.crs
        wanted = self.attempt(lambda: None if given is None else metric_crs(given), None)
        return self._file(
            self.settings.files.fields,
            lambda name: read_fields(
                name,
                columns=self.settings.columns.get("fields"),
                crs=wanted,
                swap_xy=self._swap("fields"),
            ),
            None,
        )

    def gates(self, crs: CRS) -> gpd.GeoDataFrame:
        """Gates; none when the farm has no file of them."""
        return self._file(
            self.settings.files.gates,
            lambda name: read_gates(name, crs=crs, swap_xy=self._swap("gates")),
            _no_gates(crs),
        )

    def machines(self) -> tuple[Machine, ...]:
        """Machines; none when the farm has no file of them."""
        return self._file(self.settings.files.machines, lambda name: read_machines(Path(name)), ())

    def tracks(self, crs: CRS, tables: Tables) -> tuple[gpd.GeoDataFrame, tuple[str, ...]]:
        """Walked lines, and what was left out, in words."""
        nothing: tuple[list[Path], list[str]] = ([], [])
        patterns = self.settings.files.tracks
        names, absent = self.attempt(lambda: _globbed(self.folder, patterns), nothing)
        table, notes = self.attempt(lambda: read_tracks(names, crs=crs), read_tracks([], crs=crs))
        walked = paced(
            table,
            fastest_kmh=tables.number("looking.fastest_kmh"),
            standing_m=tables.number("looking.position_radius_m"),
            standing_s=tables.number("looking.standing_s"),
        )
        return walked.tracks, (*absent, *notes, *_not_walked(table, walked, tables))

    def events(self) -> pd.DataFrame:
        """The events of the hazard log; none when there is no log."""
        log = Path(self.at(self.settings.files.hazards))
        return self.attempt(lambda: read_events(log), no_events())

    def log_known(self) -> bool:
        """Whether there is a log; one that could not be read is not waited for a second time."""
        log = self.at(self.settings.files.hazards)
        barred = any(isinstance(one, DiskFault) and one.where == log for one in self.faults)
        return not barred and is_log(Path(log))

    def hazards(self, events: pd.DataFrame, crs: CRS, tables: Tables) -> gpd.GeoDataFrame:
        """What stands in the log now; nothing when it cannot be read."""
        log = self.at(self.settings.files.hazards)
        nothing = standing(no_events(), tables=tables).to_crs(crs)
        return self.attempt(lambda: _folded(events, tables, log).to_crs(crs), nothing)

    def flood(self, crs: CRS) -> gpd.GeoDataFrame:
        """Flood outlines; none when the farm has no file of them."""
        zone = self.settings.zone()
        return self._file(
            self.settings.files.flood,
            lambda name: read_flood(name, crs=crs, zone=zone, swap_xy=self._swap("flood")),
            _no_flood(crs),
        )

    def elevation(self) -> Path | None:
        """The raster's path, once it was opened and understood."""
        files = self.settings.files

        def opened(name: str) -> Path | None:
            ElevationFile(name, unit=files.elevation_unit).close()
            return Path(name)

        return self._file(files.elevation, opened, None)

    def roads(self, crs: CRS) -> RoadData | None:
        """The road network; ``None`` when there is none."""
        kept = self.folder / CACHE_FOLDER
        return self._file(
            self.settings.files.roads, lambda name: read_roads(name, crs=crs, cache=kept), None
        )

    def road_checks(self, machines: Sequence[Machine] = ()) -> pd.DataFrame | None:
        """What was measured on the roads; ``None`` when nothing was."""
        known = KnownMachines(on_the_road(machines) or None)
        name: str | None = road_checks_name(self.settings)
        if self.settings.files.road_checks is None and not Path(self.at(str(name))).exists():
            name = None
        return self._file(name, lambda path: read_road_checks(path, known=known), None)

    def ledger(self, known: Known) -> tuple[pd.DataFrame | None, tuple[str, ...]]:
        """What was mown and changed, and notes on it; ``None`` while nobody has written any."""
        nothing: tuple[pd.DataFrame | None, tuple[str, ...]] = (None, ())
        name = ledger_name(self.settings)
        if not Path(self.at(name)).exists():
            return nothing
        return self._file(name, lambda path: read_ledger(path, known=known), nothing)


def ledger_name(settings: FarmSettings) -> str:
    """The ledger's file: as farm.toml names it, else ``ledger.csv`` beside it.

    Without the line in farm.toml a file of that name is read all the same, so that nothing
    which was written is passed over.
    """
    return settings.files.ledger or LEDGER_FILE


def road_checks_name(settings: FarmSettings) -> str:
    """The road checks' file: as farm.toml names it, else ``road_checks.csv`` beside it."""
    return settings.files.road_checks or ROAD_CHECKS_FILE


def on_the_road(machines: Sequence[Machine]) -> list[str]:
    """What a road check may call a machine: its id, or the id and a transport state."""
    states = [f"{one.id}/{state.name}" for one in machines for state in one.transport]
    return [*(one.id for one in machines), *states]


def _folded(events: pd.DataFrame, tables: Tables, log: str) -> gpd.GeoDataFrame:
    try:
        return standing(events, tables=tables)
    except (ShapelyError, ValueError) as error:
        raise InputError(
            Fault(
                "an event in the hazard log that cannot be read",
                str(error).splitlines()[0],
                "marks would go missing unseen",
                "undo what was changed in the log by hand, or take its last copy",
                where=log,
            )
        ) from None


def _not_walked(table: gpd.GeoDataFrame, walked: Paced, tables: Tables) -> list[str]:
    """What of each file's tracks counts for no look, and why, in words."""
    limit = f"{tables.number('looking.fastest_kmh'):g} km/h"
    whole = pd.DataFrame({"file": table["file"], "m": table.length})
    parts = whole.assign(fast=walked.fast_m, untold=walked.untold_m).groupby("file").sum()
    notes = []
    for file, row in parts.iterrows():
        of = f"of {row['m'] / 1000:.1f} km do not count as looked at"
        if row["fast"] >= _LEAST_TOLD_M:
            notes.append(f"{file}: {row['fast'] / 1000:.1f} {of}: faster than {limit}")
        if row["untold"] >= _LEAST_TOLD_M:
            notes.append(
                f"{file}: {row['untold'] / 1000:.1f} {of}: its points have no times, or times "
                "out of order, so that nobody can tell a walk from a drive"
            )
    return notes


def _globbed(folder: Path, patterns: Iterable[str]) -> tuple[list[Path], list[str]]:
    """The files that patterns name, and words about the patterns that no file fits yet.

    Raises
    ------
    InputError
        A file that is named outright and is not there.
    """
    faults, found, notes = [], [], []
    for pattern in patterns:
        names = sorted(folder.glob(pattern))
        if not names and any(sign in pattern for sign in _WILD):
            notes.append(f"no file fits tracks '{pattern}': no ground counts as looked at by it")
        elif not names:
            faults.append(
                Fault(
                    "tracks that are not there",
                    pattern,
                    "the ground walked would count as unseen",
                    "correct the name, or take it out of farm.toml",
                    where=str(folder / FARM_FILE),
                )
            )
        found.extend(names)
    raise_all(faults)
    return list(dict.fromkeys(found)), notes


def _empty(crs: CRS, **columns: Any) -> gpd.GeoDataFrame:
    held = {name: pd.Series(dtype=kind) for name, kind in columns.items()}
    return gpd.GeoDataFrame(held, geometry=gpd.GeoSeries([], crs=crs), crs=crs)


def no_fields(crs: CRS) -> gpd.GeoDataFrame:
    """A table of fields with nothing in it."""
    return _empty(crs, field_id=str)


def _no_gates(crs: CRS) -> gpd.GeoDataFrame:
    return _empty(crs, gate_id=str, field_id=str, width_m=float)


def _no_flood(crs: CRS) -> gpd.GeoDataFrame:
    return _empty(crs, date="datetime64[us, UTC]")
