"""New rows at the end of a farm's road checks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from fieldmap.read.road_checks import COLUMNS, column_roles
from fieldmap.write.appended import Kept, append_rows

_CHECKS = Kept("road checks", COLUMNS, column_roles, ("value",))


def append_to_road_checks(path: Path, rows: Sequence[Mapping[str, str]]) -> None:
    """Add rows at the end of the road checks, all or none; the file is made when it is not there.

    Parameters
    ----------
    path : Path
    rows : sequence of mapping
        Texts by column of :data:`fieldmap.read.road_checks.COLUMNS`; what is left out is empty.

    Raises
    ------
    InputError
        What stands there cannot be read as CSV.
    StoreError
        Disk or permission; the file is then as it was.
    """
    append_rows(path, rows, kept=_CHECKS)
