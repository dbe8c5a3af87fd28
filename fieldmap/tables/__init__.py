"""Trade constants: every number that somebody could argue with, with its source beside it."""

from fieldmap.tables.loader import Constant, Source, Tables, kept_by_tables, load_tables

__all__ = ["Constant", "Source", "Tables", "kept_by_tables", "load_tables"]
