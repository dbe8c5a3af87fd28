"""A day on real ground with an invented machine; skipped where the district is absent."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from day_farm import MACHINES

from fieldmap.day_plan import Wish, plan_day
from fieldmap.farm import load_farm
from fieldmap.finding import rank

DATA = Path(__file__).parents[3] / "shared" / "data" / "bayreuth"
pytestmark = [
    pytest.mark.real_ground,
    pytest.mark.skipif(not DATA.is_dir(), reason="the district is not here"),
]
FARM = f"""
name = "District, real ground with an invented machine"
units = "metric"
time_zone = "Europe/Berlin"
[files]
fields = "{DATA.as_posix()}/bayreuth_landuse_fields.gpkg"
elevation = "{DATA.as_posix()}/bayreuth_srtm3_utm32_30m.tif"
elevation_unit = "m"
elevation_made_from_cell_m = 90
roads = "{DATA.as_posix()}/bayreuth.osm.pbf"
machines = "machines.toml"
[columns.fields]
crop = "landuse"
"""


def test_property_a_day_of_four_real_fields_holds_what_it_promises(tmp_path):
    """Property: every field is in the day or left with a reason; no drive worse than asked for."""
    (tmp_path / "farm.toml").write_text(FARM, "utf-8")
    (tmp_path / "machines.toml").write_text(MACHINES, "utf-8")
    farm = load_farm(tmp_path)
    fields = farm.fields.sort_values("area_ha")
    chosen = tuple(fields[fields["area_ha"] > 1.0]["field_id"].iloc[:120:30])
    middle = farm.fields.to_crs("EPSG:4326").geometry.iloc[0].representative_point()
    wish = Wish(starts=(f"{middle.y},{middle.x}",), field_ids=chosen, with_unknown=True)
    plan = plan_day(farm, wish, day=date(2026, 6, 9))
    (team,) = plan.teams
    done = [stop.job.field_id for stop in team.stops]
    assert sorted([*done, *(one.field_id for one in plan.left)]) == sorted(chosen)
    assert all(why.why for one in plan.left for why in one.reasons)
    assert all(rank(one.level) <= rank("unknown") for one in team.drives)
    times = [moment for one in team.stops for moment in (one.drive.leave, one.mow_to, one.leave)]
    assert times == sorted(times)
