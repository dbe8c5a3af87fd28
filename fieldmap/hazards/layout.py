"""The tables of the log's file, and how an older log becomes a newer one.

The number of the layout stands in a table of our own: ``user_version`` is GeoPackage's.
Everything here runs inside the caller's transaction.
"""

from __future__ import annotations

import secrets
import sqlite3

from fieldmap.hazards.events import EVENT_COLUMNS

LAYOUT = 2
_APPLICATION_ID = 0x47504B47  # "GPKG", GeoPackage 1.2 and later
_GEOPACKAGE_VERSION = 10300
_FIRST_COLUMNS = (
    "event_id TEXT NOT NULL, hazard_id TEXT NOT NULL, verb TEXT NOT NULL, kind TEXT NOT NULL, "
    "note TEXT NOT NULL, who TEXT NOT NULL, time TEXT NOT NULL, radius_m REAL, height_m REAL, "
    "lon REAL NOT NULL, lat REAL NOT NULL, wkt TEXT NOT NULL, file TEXT NOT NULL"
)
#: What the second layout added, with what an older event has there.
_ADDED = {
    "name": ("TEXT NOT NULL DEFAULT ''", "hazard_id"),
    "device": ("TEXT NOT NULL DEFAULT ''", "''"),
    "sequence": ("INTEGER NOT NULL DEFAULT 0", "fid"),
    "heading_deg": ("REAL", "NULL"),
    "others": ("TEXT NOT NULL DEFAULT ''", "''"),
    "seen": ("TEXT NOT NULL DEFAULT ''", "''"),
    "photo": ("TEXT NOT NULL DEFAULT ''", "''"),
}
#: The first layout had people's names for marks as their ids, and finds only.
_FIRST_KEY = "substr(event_id, 1, 16)"
# the table of geometry columns stays empty, but readers take the file for rasters without it
_FIRST = """
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
CREATE TABLE events (fid INTEGER PRIMARY KEY AUTOINCREMENT, {columns}, UNIQUE (event_id));
INSERT INTO gpkg_contents (table_name, data_type, identifier, description)
  VALUES ('events', 'attributes', 'events', 'hazard events, append only; lon and lat are WGS 84')
"""
_SECOND = """
CREATE TABLE log_facts (key TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE photos (fid INTEGER PRIMARY KEY AUTOINCREMENT, photo_id TEXT NOT NULL UNIQUE,
  jpeg BLOB NOT NULL);
INSERT INTO gpkg_contents (table_name, data_type, identifier, description)
  VALUES ('photos', 'attributes', 'photos', 'small pictures that came with events')
"""


def make(log: sqlite3.Connection) -> None:
    """The first tables, when there are none."""
    if layout_of(log):
        return
    log.execute(f"PRAGMA application_id = {_APPLICATION_ID}")
    log.execute(f"PRAGMA user_version = {_GEOPACKAGE_VERSION}")
    _each(log, _FIRST.replace("{columns}", _FIRST_COLUMNS))


def migrate(log: sqlite3.Connection) -> None:
    """Bring an older log to the present layout."""
    if layout_of(log) == 1:
        _each(log, _SECOND)
        for name, (kind, held) in _ADDED.items():
            log.execute(f"ALTER TABLE events ADD COLUMN {name} {kind}")
            log.execute(f"UPDATE events SET {name} = {held}")  # noqa: S608
        log.execute(f"UPDATE events SET hazard_id = {_FIRST_KEY}")  # noqa: S608
        facts = {"layout": "2", "device": secrets.token_hex(4)}
        log.executemany("INSERT INTO log_facts VALUES (?, ?)", facts.items())


def layout_of(log: sqlite3.Connection) -> int:
    """Which layout a log has; 0 when it has no tables yet."""
    tables = _tables(log)
    if "log_facts" in tables:
        found = log.execute("SELECT value FROM log_facts WHERE key = 'layout'").fetchone()
        return int(found[0])
    return int("events" in tables)


def foreign(log: sqlite3.Connection) -> str | None:
    """What speaks against a file's being a log of ours, or a new one; ``None``: nothing does."""
    tables = _tables(log)
    if not tables:
        return None
    columns = {row[1] for row in log.execute("PRAGMA table_info(events)")}
    if not columns.issuperset(set(EVENT_COLUMNS) - set(_ADDED)):
        return "no table of events"
    layout = layout_of(log)
    return None if layout <= LAYOUT else f"layout {layout}, written by a newer fieldmap"


def missing_columns(log: sqlite3.Connection) -> dict[str, str]:
    """Columns an older log does not have, each with what stands for it."""
    columns = {row[1] for row in log.execute("PRAGMA table_info(events)")}
    missing = {name: held for name, (_, held) in _ADDED.items() if name not in columns}
    return missing | ({"hazard_id": _FIRST_KEY} if "name" in missing else {})


def _tables(log: sqlite3.Connection) -> set[str]:
    found = log.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
    return {row[0] for row in found} - {"sqlite_sequence"}


def _each(log: sqlite3.Connection, script: str) -> None:
    """One statement after the other: ``executescript`` would end the caller's transaction."""
    for statement in script.split(";\n"):
        if statement.strip():
            log.execute(statement)
