"""The functions a Python user calls, from the front door only."""

from __future__ import annotations

import inspect
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

import fieldmap

CALLS = {
    "load_tables", "load_farm", "check_farm", "take_in", "assess", "plan_move", "plan_search",
    "survey_slopes", "write_assessment", "write_move", "write_search", "write_survey",
    "what_if", "write_what_if",
}  # fmt: skip


def test_by_hand_every_call_is_there_and_documented() -> None:
    assert set(fieldmap.__all__) - {"__version__"} == CALLS
    for name in CALLS:
        function = getattr(fieldmap, name)
        assert callable(function)
        assert inspect.getdoc(function)
    with pytest.raises(AttributeError, match="nosuch"):
        getattr(fieldmap, "nosuch")  # noqa: B009 - the attribute is not there


def test_by_hand_the_whole_job(demo_geodata: Path, tmp_path: Path) -> None:
    assert fieldmap.check_farm(demo_geodata)[0] == ()
    farm = fieldmap.load_farm(demo_geodata)
    done = fieldmap.assess(
        farm, day=date(2026, 6, 9), machine_id="pull-39", field_ids=["S3", "S12"]
    )
    assert [answer.field_id for answer in done.answers] == ["S3", "S12"]
    assert sum(done.counts().values()) == 2
    written = fieldmap.write_assessment(done, tmp_path)
    assert written[0] == tmp_path / "index.html"
    assert all(path.is_file() for path in written)
    move = fieldmap.plan_move(farm, start="home", goal="S1", machine_id="rear-3")
    assert move.level in ("ok", "care", "unknown", "stop")
    page, *_ = fieldmap.write_move(move, farm, tmp_path, day="2026-06-09")
    assert page.suffix == ".html"
    assert page.is_file()
    found = fieldmap.survey_slopes(farm, machine=farm.machine("rear-3"), field_ids=["S5"])
    page, table = fieldmap.write_survey(found, tmp_path / "slopes", day=date(2026, 6, 9))
    assert (page.name, table.name) == ("slopes.html", "slopes.csv")
    assert fieldmap.load_tables().number("side_slopes.stop_pct") > 0


def test_by_hand_the_virtual_drivers_are_off_before_the_first_read() -> None:
    look = (
        "import fieldmap; from fieldmap.read.elevation import ElevationFile; import rasterio, "
        "pyogrio; from rasterio.drivers import raster_driver_extensions; "
        "env = rasterio.Env(); env.__enter__(); "
        "print('VRT' in env.drivers(), 'OGR_VRT' in pyogrio.list_drivers(), "
        "'GPKG' in pyogrio.list_drivers())"
    )
    done = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False", "True"]
    assert done.stderr == ""
