"""Finds from files into the farm's hazard log: all of them, or none."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

import geopandas as gpd
import pandas as pd
import shapely
from shapely.errors import ShapelyError

from fieldmap.errors import Fault, FieldmapError, raise_all
from fieldmap.farm import Farm
from fieldmap.hazards.events import CLEARED, VERBS, no_events, photos_of
from fieldmap.hazards.fold import fold, standing
from fieldmap.hazards.news import news
from fieldmap.hazards.reach import reach_m, reached
from fieldmap.hazards.store import append, is_log, read_events, read_photos
from fieldmap.read.finds import distant, read_finds
from fieldmap.read.photos import UnplacedError
from fieldmap.read.vectors import Layer

_ROWS_NAMED = 5


class Taken(NamedTuple):
    """One file: what it holds, how many events of it are new, and how many of those edit marks.

    ``read`` counts finds, or events of another log; ``told`` those that differ from each other.
    """

    file: str
    read: int
    told: int
    new: int
    edits: int


class Intake(NamedTuple):
    """What an import did: the log, each file, what people should know, and photos left out."""

    log: Path
    files: tuple[Taken, ...]
    notes: tuple[str, ...]
    finds: gpd.GeoDataFrame
    left_out: tuple[str, ...] = ()


class _Part(NamedTuple):
    """What one file brings to the log."""

    taken: Taken
    events: pd.DataFrame
    photos: dict[str, bytes]
    finds: gpd.GeoDataFrame
    notes: tuple[str, ...]


def take_in(
    farm: Farm,
    files: Sequence[Path],
    *,
    swap_xy: bool = False,
    skip_unplaced: bool = False,
    write: bool = True,
    now: datetime | None = None,
) -> Intake:
    """Import finds, or other people's logs, into the farm's log.

    Parameters
    ----------
    farm : Farm
    files : sequence of Path
        GeoJSON, GeoPackage, Shapefile, KML, KMZ, CSV, GPX, photos, or another hazard log: its
        events join this one's.
    swap_xy : bool
        The files have latitude where longitude belongs.
    skip_unplaced : bool
        Photos whose place cannot be told are left out and named; else they are bad input.
    write : bool
        False only reads: what would be taken, and how it was understood.
    now : datetime, optional
        Aware. What is dated later than this and ``looking.clock_slack_h`` is told of.

    Returns
    -------
    Intake
        ``finds`` in WGS 84, as they were understood.

    Raises
    ------
    InputError
        Every bad row of every file, or finds far from every field; nothing was written.
    StoreError
        Disk, permission or lock.
    """
    faults: list[Fault] = []
    held: list[tuple[Path, Layer | None]] = []
    unplaced: list[UnplacedError] = []
    for path in files:
        try:
            layer = _layer(farm, path, swap_xy=swap_xy)
        except UnplacedError as error:
            if skip_unplaced:
                unplaced.append(error)
            else:
                faults.extend(error.faults)
            continue
        except FieldmapError as error:
            faults.extend(error.faults)
            continue
        if layer is not None:
            faults.extend(_too_far(farm, path, layer))
        held.append((path, layer))
    raise_all(faults)
    parts = _parts(farm, held, now)
    log = farm.folder / farm.settings.files.hazards
    events = [part.events for part in parts if len(part.events)]
    if write and events:
        photos = {name: jpeg for part in parts for name, jpeg in part.photos.items()}
        append(log, pd.concat(events, ignore_index=True), photos=photos)
    finds = [part.finds for part in parts if len(part.finds)]
    return Intake(
        log,
        tuple(part.taken for part in parts),
        (*(note for part in parts for note in part.notes), *map(_left_out, unplaced)),
        pd.concat(finds, ignore_index=True) if finds else standing(no_events(), tables=farm.tables),
        tuple(Path(error.faults[0].where).name for error in unplaced),
    )


def _left_out(error: UnplacedError) -> str:
    fault = error.faults[0]
    return f"{Path(fault.where).name} left out: {fault.what} ({fault.value}); {fault.mend}"


def _layer(farm: Farm, path: Path, *, swap_xy: bool) -> Layer | None:
    """The finds of a file; ``None`` for another hazard log that this farm can live with."""
    if is_log(path):
        _hold_to_ours(farm, path)
        return None
    return _read(farm, path, swap_xy=swap_xy)


def _hold_to_ours(farm: Farm, path: Path) -> None:
    """Refuse another log whose events this farm could not live with; nothing of it is taken.

    Raises
    ------
    InputError
        An event that cannot be read, of a kind or word nobody here knows, or far from the fields.
    """
    events = read_events(path)
    kinds = {row.key.split(".", 1)[1] for row in farm.tables.rows("hazard_kinds")} | {""}
    strange = {
        "a word that the log does not have": set(events["verb"]) - set(VERBS),
        "a hazard kind that the tables do not have": set(events["kind"]) - kinds,
    }
    faults = [
        Fault(what, seen, "nobody could answer for it", "use the same fieldmap and tables",
              where=str(path))
        for what, held in strange.items()
        for seen in sorted(held)
    ]  # fmt: skip
    try:
        marks = fold(events, tables=farm.tables)
    except (ShapelyError, ValueError) as error:
        said = str(error).splitlines()[0]
        faults.append(
            Fault("an event that cannot be read", said, "marks would go missing unseen",
                  "take the last copy of that log", where=str(path))
        )  # fmt: skip
        marks = None
    if marks is not None:
        west, south, east, north = marks.geometry.bounds.to_numpy(float).T
        on_earth = (west >= -180) & (east <= 180) & (south >= -90) & (north <= 90)
        faults += [
            Fault("a position that is not on earth", name, "a mark without a place is never seen",
                  "see in that log whether latitude and longitude are swapped", where=str(path))
            for name in marks.loc[~on_earth, "hazard_id"]
        ]  # fmt: skip
        if on_earth.all():
            faults += _too_far(farm, path, Layer(marks, ()))
    raise_all(faults)


def _read(farm: Farm, path: Path, *, swap_xy: bool) -> Layer:
    return read_finds(path, tables=farm.tables, swap_xy=swap_xy, zone=farm.settings.zone())


def _parts(
    farm: Farm, held: Sequence[tuple[Path, Layer | None]], now: datetime | None
) -> list[_Part]:
    """Each file's part, held against the log and against the files before it."""
    known = farm.events
    parts = []
    for path, layer in held:
        part = (
            _from_log(path, known, farm) if layer is None else _from_finds(farm, path, layer, known)
        )
        part = part._replace(notes=(*part.notes, *_misdated(farm, path, part.events, now)))
        known = pd.concat([known, part.events], ignore_index=True) if len(part.events) else known
        parts.append(part)
    return parts


def _from_log(path: Path, known: pd.DataFrame, farm: Farm) -> _Part:
    events = read_events(path)
    new = events[~events["event_id"].isin(known["event_id"])]
    photos = read_photos(path, set(new["photo"]) - {""})
    finds = standing(new, tables=farm.tables)
    taken = Taken(path.name, len(events), len(events), len(new), 0)
    words = (f"{path.name}: a hazard log; what its writers said and cleared joins this one",)
    return _Part(taken, new, photos, finds, words)


def _from_finds(farm: Farm, path: Path, layer: Layer, known: pd.DataFrame) -> _Part:
    told, new, edits, revived = news(layer.table, known, file=path.name, tables=farm.tables)
    notes = list(layer.notes)
    if told < len(layer.table):
        doubles = len(layer.table) - told
        notes.append(f"{path.name}: {doubles} finds say the same as another and count once")
    if edits:
        notes.append(f"{path.name}: {edits} finds say more of marks that are in the log")
    if revived:
        shown = _some(list(revived))
        notes.append(f"{path.name}: had been cleared, and stands again by this file: {shown}")
    notes += _in_no_field(farm, path, layer)
    taken = Taken(path.name, len(layer.table), told, len(new), edits)
    return _Part(taken, new, photos_of(layer.table), layer.table, tuple(notes))


def _misdated(farm: Farm, path: Path, events: pd.DataFrame, now: datetime | None) -> list[str]:
    """New events dated later than now, and clearings before the thing was last told of."""
    if events.empty:
        return []
    slack = pd.Timedelta(hours=farm.tables.number("looking.clock_slack_h"))
    times = pd.to_datetime(events["time"].replace("", None), utc=True, format="ISO8601")
    notes = []
    if now is not None and (late := int((times > pd.Timestamp(now) + slack).sum())):
        notes.append(f"{path.name}: {late} dated later than now: see whether the day is right")
    if not (events["verb"] == CLEARED).any():
        return notes
    gone = fold(pd.concat([farm.events, events]), tables=farm.tables)
    gone = gone[gone["closed"].notna() & gone["key"].isin(events["hazard_id"])]
    early = gone.loc[gone["closed"] + slack < gone["last_seen"], "hazard_id"].tolist()
    if early:
        notes.append(f"{path.name}: cleared before they were last seen: {_some(early)}")
    return notes


def _some(names: Sequence[str | int]) -> str:
    """The first of several names, and whether there are more."""
    return ", ".join(map(str, names[:_ROWS_NAMED])) + (" ..." if len(names) > _ROWS_NAMED else "")


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
    shown = _some(rows)
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
