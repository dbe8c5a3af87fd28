"""Ledgers and hits that the tests of the knives share."""

from __future__ import annotations

from datetime import date

import pandas as pd

from fieldmap.read.ledger import COLUMNS

DAY = date(2026, 6, 30)
AREA_OF = {"A": 4.0, "B": 10.0, "C": 6.0}
NO_HITS = pd.DataFrame(
    {"day": pd.Series(dtype="datetime64[us]"), "fields": pd.Series(dtype=object)}
)

Row = tuple[object, ...]


def book(*rows: Row) -> pd.DataFrame:
    """Rows of (day of June, machine, did, field, hectares); what is left out is empty."""
    held = [
        {
            "note": "",
            "who": "",
            "date": pd.Timestamp(2026, 6, row[0]),
            "machine": row[1],
            "did": {"changed": "knives changed", "turned": "knives turned",
                    "looked": "knives looked at"}.get(row[2], row[2]),
            "field_id": row[3] if len(row) > 3 else "",
            "area_ha": row[4] if len(row) > 4 else float("nan"),
        }
        for row in rows
    ]  # fmt: skip
    table = pd.DataFrame(held, columns=list(COLUMNS))
    table["date"] = pd.to_datetime(table["date"]).astype("datetime64[us]")
    return table.astype({"area_ha": float})


def hits(*told: tuple[int | None, tuple[str, ...]]) -> pd.DataFrame:
    """Hits of (day of June or None, fields reached)."""
    days = [pd.NaT if day is None else pd.Timestamp(2026, 6, day) for day, _ in told]
    return pd.DataFrame(
        {
            "day": pd.Series(days, dtype="datetime64[ns]"),
            "fields": pd.Series([fields for _, fields in told], dtype=object),
        }
    )
