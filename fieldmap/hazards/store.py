"""The log's file: append-only events in a GeoPackage (an attributes table, standard SQLite)."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pandas as pd

from fieldmap.errors import Fault, InputError, StoreError
from fieldmap.hazards.events import EVENT_COLUMNS

_APPLICATION_ID = 0x47504B47  # "GPKG", GeoPackage 1.2 and later
_GEOPACKAGE_VERSION = 10300
_BUSY_MS = 10_000
_TYPES = {"radius_m": "REAL", "height_m": "REAL", "lon": "REAL NOT NULL", "lat": "REAL NOT NULL"}
_EVENT_COLUMNS = ", ".join(f"{name} {_TYPES.get(name, 'TEXT NOT NULL')}" for name in EVENT_COLUMNS)
# the table of geometry columns stays empty, but readers take the file for rasters without it
_SCHEMA = """
CREATE TABLE gpkg_spatial_ref_sys (
  srs_name TEXT NOT NULL, srs_id INTEGER PRIMARY KEY, organization TEXT NOT NULL,
  organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
INSERT INTO gpkg_spatial_ref_sys VALUES
  ('Undefined Cartesian', -1, 'NONE', -1, 'undefined', NULL),
  ('Undefined geographic', 0, 'NONE', 0, 'undefined', NULL),
  ('WGS 84', 4326, 'EPSG', 4326, 'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,'
   || '298.257223563]],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433],'
   || 'AUTHORITY["EPSG","4326"]]', NULL);
CREATE TABLE gpkg_contents (
  table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE,
  description TEXT DEFAULT '', last_change DATETIME NOT NULL
  DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')), min_x DOUBLE, min_y DOUBLE, max_x DOUBLE,
  max_y DOUBLE, srs_id INTEGER,
  CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
CREATE TABLE gpkg_geometry_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL,
  srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL,
  CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name));
CREATE TABLE events (
  fid INTEGER PRIMARY KEY AUTOINCREMENT,
  {columns},
  UNIQUE (event_id));
INSERT INTO gpkg_contents (table_name, data_type, identifier, description)
  VALUES ('events', 'attributes', 'events', 'hazard events, append only; lon and lat are WGS 84');
"""


def append(path: Path, events: pd.DataFrame) -> int:
    """Add events to the log, made when it is not there; events already in it are left alone.

    Parameters
    ----------
    path : Path
        The log.
    events : DataFrame
        Columns :data:`fieldmap.hazards.events.EVENT_COLUMNS`.

    Returns
    -------
    int
        How many were new. All are written, or none.

    Raises
    ------
    StoreError
        Disk, permission or lock.
    InputError
        The file is there and is not a hazard log.
    """
    names = ", ".join(EVENT_COLUMNS)
    marks = ", ".join("?" * len(EVENT_COLUMNS))
    rows = (
        events[list(EVENT_COLUMNS)].astype(object).where(events[list(EVENT_COLUMNS)].notna(), None)
    )
    with _opened(path) as log, log:
        before = log.execute("SELECT count(*) FROM events").fetchone()[0]
        log.executemany(
            f"INSERT INTO events ({names}) VALUES ({marks}) "  # noqa: S608
            "ON CONFLICT (event_id) DO NOTHING",
            rows.itertuples(index=False, name=None),
        )
        after = log.execute("SELECT count(*) FROM events").fetchone()[0]
    return int(after - before)


def read_events(path: Path) -> pd.DataFrame:
    """All events of a log in the order they were written; none when there is no log yet.

    Raises
    ------
    StoreError
        Disk, permission or lock.
    InputError
        The file is not a hazard log.
    """
    if not path.exists() or path.stat().st_size == 0:
        return pd.DataFrame(columns=list(EVENT_COLUMNS))
    with _opened(path) as log:
        found = log.execute(f"SELECT {', '.join(EVENT_COLUMNS)} FROM events ORDER BY fid")  # noqa: S608
        return pd.DataFrame(found.fetchall(), columns=list(EVENT_COLUMNS))


@contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    new = not path.exists() or path.stat().st_size == 0  # an empty file: a making broken off
    try:
        with closing(sqlite3.connect(path, timeout=_BUSY_MS / 1000, isolation_level=None)) as log:
            log.execute("PRAGMA synchronous = FULL")
            if new:
                _make(log)
            _is_ours(log, path)
            log.isolation_level = "IMMEDIATE"
            yield log
    except sqlite3.DatabaseError as error:
        if isinstance(error, sqlite3.OperationalError):
            raise StoreError(
                Fault(
                    "the hazard log cannot be written or read",
                    str(error),
                    "nothing was added",
                    "free the disk, the lock or the permission",
                    where=str(path),
                )
            ) from error
        raise InputError(_not_a_log(path, str(error))) from error


def _make(log: sqlite3.Connection) -> None:
    log.execute(f"PRAGMA application_id = {_APPLICATION_ID}")
    log.execute(f"PRAGMA user_version = {_GEOPACKAGE_VERSION}")
    log.executescript(f"BEGIN IMMEDIATE; {_SCHEMA.replace('{columns}', _EVENT_COLUMNS)} COMMIT;")


def _is_ours(log: sqlite3.Connection, path: Path) -> None:
    names = {row[1] for row in log.execute("PRAGMA table_info(events)")}
    if not names.issuperset(EVENT_COLUMNS):
        raise InputError(_not_a_log(path, "no table of events"))


def _not_a_log(path: Path, seen: str) -> Fault:
    return Fault(
        "not a hazard log",
        seen,
        "marks would go astray",
        "name another file in farm.toml, or use 'fieldmap hazards import' to read this one",
        where=str(path),
    )
