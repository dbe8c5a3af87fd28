"""The ledger of the year so far: what was mown, and when the knives were changed."""

from __future__ import annotations

import csv
from pathlib import Path

_NOTE = "invented demo data"
ROWS = (
    ("date", "machine", "did", "field_id", "area_ha", "note", "who"),
    ("2026-04-20", "pull-39", "knives changed", "", "", f"{_NOTE}; winter's set off", "Tobias"),
    ("2026-04-22", "rear-3", "knives changed", "", "", _NOTE, "Tobias"),
    ("2026-05-13", "pull-39", "mown", "S1", "", _NOTE, "Ada"),
    ("2026-05-15", "pull-39", "mown", "S8", "", _NOTE, "Ada"),
    ("2026-05-15", "pull-39", "knives turned", "", "", f"{_NOTE}; edges round", "Ada"),
    ("2026-05-16", "pull-39", "mown", "S6", "15.0", f"{_NOTE}; north of the pond", "Ada"),
    ("2026-05-16", "rear-3", "mown", "S6", "9.4", f"{_NOTE}; south of the pond", "Ines"),
    ("2026-05-19", "pull-39", "mown", "S4", "", _NOTE, "Ada"),
    ("2026-05-19", "pull-39", "knives looked at", "", "", _NOTE, "Ada"),
)


def write_ledger(path: Path) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(ROWS)
