"""A full disk is told as that, whatever library was writing, and nothing is left. By hand."""

from __future__ import annotations

import resource
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import pytest
from log_pieces import TABLES, marks

from fieldmap.errors import StoreError
from fieldmap.write.log_export import export_log

DAY = date(2026, 6, 9)


@contextmanager
def no_file_over(size: int) -> Iterator[None]:
    """No file of this process may grow past so many bytes: what a full disk does to a writer."""
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, before)


@pytest.mark.parametrize("ending", ["gpkg", "geojson", "gpx", "kml", "csv"])
def test_by_hand_an_export_that_does_not_fit(tmp_path: Path, ending: str) -> None:
    table = marks([{"hazard_id": f"m{number}", "note": "x" * 400} for number in range(60)])
    path = tmp_path / f"out.{ending}"
    with no_file_over(9_000), pytest.raises(StoreError, match="cannot be written"):
        export_log(table, path, tables=TABLES, day=DAY)
    assert list(tmp_path.iterdir()) == []
    export_log(table, path, tables=TABLES, day=DAY)
    assert [found.name for found in tmp_path.iterdir()] == [path.name]
