"""Real ground: the shared district, with invented machines. Skipped where the data is absent."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from fieldmap.assessment import Assessment, assess
from fieldmap.farm import Farm, load_farm
from fieldmap.journey import plan_move
from fieldmap.write.move import move_json, write_move

pytestmark = pytest.mark.real_ground
DAY = date(2026, 6, 9)

FARM = """
name = "District, real ground with invented machines"
units = "metric"
time_zone = "Europe/Berlin"
[files]
fields = "{data}/bayreuth_landuse_fields.gpkg"
elevation = "{data}/bayreuth_srtm3_utm32_30m.tif"
elevation_unit = "m"
elevation_made_from_cell_m = 90
roads = "{data}/bayreuth.osm.pbf"
machines = "machines.toml"
[columns.fields]
crop = "landuse"
"""
MACHINES = """
[[machine]]
id = "slim"
name = "rear-mounted mower, invented"
kind = "rear-mounted"
working_width_m = 3.0
mass_kg = 6500
track_width_m = 1.8
cg_height_m = 0.95
road_speed_kmh = 30
[[machine.transport]]
name = "folded"
width_m = 1.9
height_m = 2.9
length_m = 6.0
[[machine]]
id = "wide"
name = "front and rear mowers, invented"
kind = "front-and-rear"
working_width_m = 8.7
mass_kg = 13000
road_speed_kmh = 40
[[machine.transport]]
name = "folded"
width_m = 3.0
height_m = 3.9
length_m = 9.0
"""


@pytest.fixture(scope="module")
def district(bayreuth: Path, tmp_path_factory: pytest.TempPathFactory) -> Farm:
    folder = tmp_path_factory.mktemp("district")
    (folder / "farm.toml").write_text(FARM.format(data=bayreuth), "utf-8")
    (folder / "machines.toml").write_text(MACHINES, "utf-8")
    return load_farm(folder)


@pytest.fixture(scope="module")
def assessed(district: Farm) -> Assessment:
    some = district.fields["field_id"].iloc[::12].tolist()
    return assess(district, day=DAY, field_ids=some)


def test_coarse_ground_is_never_called_fine(assessed: Assessment) -> None:
    """Property: on cells made from 90 m no field and no cell comes back as ok or care."""
    assert len(assessed.answers) > 25
    for answer in assessed.answers:
        assert answer.level in ("unknown", "stop")
        assert (answer.layers.level.values[answer.layers.inside] >= 2).all()


def test_the_page_says_what_the_elevation_cannot_tell(assessed: Assessment) -> None:
    """By hand: the sentence about 90 m cells stands in what the page is given."""
    from fieldmap.write.payload import field_payload, shown_of

    words = " ".join(field_payload(assessed, assessed.answers[0], shown_of(assessed))["ground"])
    assert "made from cells of 90 m" in words
    assert "lower bound" in words


def test_a_raster_of_coarse_cells_is_asked_what_it_was_made_from(district: Farm) -> None:
    """By hand: the same raster without the word on 90 m; the page asks for it."""
    import dataclasses

    files = district.settings.files.model_copy(update={"elevation_made_from_cell_m": None})
    settings = district.settings.model_copy(update={"files": files})
    silent = dataclasses.replace(district, settings=settings)
    (answer,) = assess(silent, day=DAY, field_ids=["3"]).answers
    assert any("elevation_made_from_cell_m" in sentence for sentence in answer.ground)


def test_every_leg_without_a_width_is_assumed_and_held_to_its_class(district: Farm) -> None:
    """Property over random moves: no width tag, then basis assumed, and ok only when the class's
    low end clears the machine."""
    rng = np.random.default_rng(20260609)
    nodes = district.roads.nodes
    checked = 0
    tags = dict(zip(district.roads.edges["leg_id"], district.roads.edges["tags"], strict=True))
    for machine, width_m in (("slim", 1.9), ("wide", 3.0)):
        for start, goal in rng.integers(0, len(nodes), (12, 2)):
            move = plan_move(
                district, start=lat_lon(district, start), goal=lat_lon(district, goal),
                machine_id=machine,
            )  # fmt: skip
            need = width_m + 2 * district.tables.number("clearances.side_m")
            for leg in (*move.legs.to_dict("records"), *move.direct.to_dict("records")):
                if not any("width" in key for key in tags[leg["leg_id"]]):
                    assert leg["width_basis"] == "assumed"
                    assert leg["width"] != "ok" or leg["width_low_m"] >= need
                    checked += 1
    assert checked > 300


def lat_lon(district: Farm, row: int) -> str:
    from fieldmap.crs import WGS84, transformer

    node = district.roads.nodes.iloc[row]
    lon, lat = transformer(district.crs, WGS84).transform(node["x"], node["y"])
    return f"{lat},{lon}"


def test_a_move_is_written_whole(district: Farm, tmp_path: Path) -> None:
    """By hand: page, sheet, GPX, JSON, CSV and layer; refusals name a tag or an assumption."""
    move = plan_move(
        district, start=lat_lon(district, 100), goal=lat_lon(district, 2000), machine_id="wide"
    )
    written = write_move(move, district, tmp_path, day=DAY.isoformat())
    kinds = [".csv", ".gpkg", ".gpx", ".html", ".html", ".json"]
    assert sorted(path.suffix for path in written) == kinds
    held = json.loads(next(path for path in written if path.suffix == ".json").read_text("utf-8"))
    assert held == json.loads(json.dumps(move_json(move, district, day=DAY.isoformat())))
    for refusal in held["refusals"]:
        assert refusal["basis"] in ("mapped", "assumed", "measured")
        assert refusal["why"]
