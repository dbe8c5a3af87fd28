"""New rows at the end of the ledger."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from fieldmap.read.ledger import COLUMNS, column_roles
from fieldmap.write.appended import Kept, append_rows

_LEDGER = Kept("the ledger", COLUMNS, column_roles, ("area_ha",))


def append_to_ledger(path: Path, rows: Sequence[Mapping[str, str]]) -> None:
    """Add rows at the end of the ledger, all of them or none; it is made when it is not there.

    Parameters
    ----------
    path : Path
        The ledger.
    rows : sequence of mapping
        Texts by column of :data:`fieldmap.read.ledger.COLUMNS`; what is left out is empty.

    Raises
    ------
    InputError
        What stands there cannot be read as CSV.
    StoreError
        Disk or permission; the file is then as it was.
    """
    append_rows(path, rows, kept=_LEDGER)
