"""Fields shared out to processes: the same answers in the same order, and errors as they are."""

from __future__ import annotations

import dataclasses
import os
import signal
import threading
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import rasterio
from farm_pieces import copied_farm

from fieldmap import processes
from fieldmap.assessment import Assessment, assess
from fieldmap.errors import Fault, InputError, MisuseError, StoreError
from fieldmap.farm import Farm
from fieldmap.processes import FIELDS_A_PROCESS, pool, processes_for

DAY = date(2026, 6, 9)


@pytest.fixture(scope="module")
def packed_farm(tmp_path_factory: pytest.TempPathFactory, demo_geodata: Path) -> Farm:
    """The invented farm on packed elevation, which GDAL unpacks with threads of its own."""
    farm = copied_farm(tmp_path_factory.mktemp("shared"), demo_geodata)
    path = farm.folder / "elevation.tif"
    with rasterio.open(path) as file:
        profile, heights, units = file.profile, file.read(1), file.units
    profile |= {"compress": "deflate", "tiled": True, "blockxsize": 64, "blockysize": 64}
    with rasterio.open(path, "w", **profile) as file:
        file.write(heights, 1)
        file.units = units
    return farm


@pytest.fixture(scope="module")
def alone(packed_farm: Farm) -> Assessment:
    return assess(packed_farm, day=DAY, workers=1)


@pytest.fixture
def small_turns(monkeypatch: pytest.MonkeyPatch) -> None:
    """So that twelve fields are several helpings."""
    monkeypatch.setattr(processes, "_LEAST_A_TURN", 2)


@pytest.mark.usefixtures("small_turns")
def test_the_answers_are_those_of_one_process(packed_farm: Farm, alone: Assessment) -> None:
    """Property: every finding, cell, zone and list alike, in the order of the fields; the packed
    raster was read here before, with threads that a fork would lack."""
    shared = assess(packed_farm, day=DAY, workers=2)
    pd.testing.assert_frame_equal(shared.table, alone.table)
    for one, two in zip(shared.answers, alone.answers, strict=True):
        assert (one.findings, one.settings) == (two.findings, two.settings)
        assert (one.to_change, one.ground, one.marks) == (two.to_change, two.ground, two.marks)
        for ours, theirs in zip(one.layers.bands(), two.layers.bands(), strict=True):
            assert np.array_equal(ours.values, theirs.values, equal_nan=True)
            assert not ours.values.flags.writeable
        assert one.zones.to_wkb().equals(two.zones.to_wkb())
        pd.testing.assert_frame_equal(one.pick_up, two.pick_up)
        assert one.first_places.to_wkb().equals(two.first_places.to_wkb())


@pytest.mark.usefixtures("small_turns")
def test_an_error_comes_through_as_it_is(packed_farm: Farm, alone: Assessment) -> None:
    """By hand: a table row that is not there stops one process and two alike, with its words."""
    assert alone.answers
    lacking = {
        key: row
        for key, row in packed_farm.tables.constants.items()
        if key != "looking.sliver_m2"  # asked for in each field
    }
    tables = dataclasses.replace(packed_farm.tables, constants=lacking)
    farm = dataclasses.replace(packed_farm, tables=tables)
    told = []
    for workers in (1, 2):
        with pytest.raises(MisuseError, match="no such trade constant") as error:
            assess(farm, day=DAY, workers=workers)
        told.append(error.value.faults)
    assert told[0] == told[1]


def test_the_first_error_in_the_order_of_the_rows_is_raised() -> None:
    """By hand: two helpings fail at once; what is told is what one process would have told."""
    turns = processes._Turns(list(range(200)), 2)
    both = threading.Barrier(2, timeout=20)

    def fail(part: list[int]) -> list[Any]:
        both.wait()
        raise InputError(Fault(f"row {part[0]}", "", "", ""))

    threads = [threading.Thread(target=turns.work, args=(fail,)) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with pytest.raises(InputError, match="row 0"):
        turns.answers()
    assert len(turns._failed) == 2  # and nothing was begun after them


def test_a_process_that_is_killed_is_told() -> None:
    """By hand: no answer is waited for in vain, and none is made up."""
    with pool(2) as begun:
        (other,) = begun._others
        os.kill(other._process.pid, signal.SIGKILL)
        with pytest.raises(StoreError, match="ended before it had answered"):
            other.ask([0])


@pytest.mark.parametrize(
    ("workers", "fields", "processors", "taken"),
    [
        (None, FIELDS_A_PROCESS - 1, 8, 1),
        (None, 2 * FIELDS_A_PROCESS, 8, 2),
        (None, 100 * FIELDS_A_PROCESS, 4, 4),
        (3, 2, 1, 2),
        (0, 10, 4, 1),
        (2, 0, 4, 1),
    ],
)
def test_few_fields_stay_in_one_process(
    monkeypatch: pytest.MonkeyPatch, workers: int | None, fields: int, processors: int, taken: int
) -> None:
    """By hand: as many as there are processors, but never more than pay, nor more than fields."""
    monkeypatch.setattr(os, "cpu_count", lambda: processors)
    assert processes_for(workers, fields) == taken


@pytest.mark.parametrize("count", [0, 1, 63, 64, 1000])
def test_helpings_hold_every_row_once(count: int) -> None:
    """Property: in order, large ones first, none small but the last."""
    rows = list(range(count))
    found = list(processes._helpings(rows, 2))
    assert [row for part in found for row in part] == rows
    sizes = [len(part) for part in found]
    assert sizes == sorted(sizes, reverse=True)
    assert all(size >= processes._LEAST_A_TURN for size in sizes[:-1])
