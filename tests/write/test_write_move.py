"""A move's files on disk: GPX for the cab, JSON, the layer of legs; from the demo farm."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import gpxpy
import move_payloads
import pyogrio
import pytest

from fieldmap.farm import Farm, load_farm
from fieldmap.journey import plan_move
from fieldmap.read.gpx_plan import PLANNED
from fieldmap.roads.move import Move
from fieldmap.write.move import move_json, move_name, write_move
from fieldmap.write.move_gpx_parts import gpx_name, spots

DAY = "2026-06-09"
DEMO = Path(__file__).resolve().parents[2] / "demo_geodata"
GPX = "{http://www.topografix.com/GPX/1/1}"


@pytest.fixture(scope="module")
def farm() -> Farm:
    return load_farm(DEMO)


@pytest.fixture(scope="module")
def move(farm: Farm) -> Move:
    return plan_move(farm, start="home", goal="S5", machine_id="wide-87")


@pytest.fixture(scope="module")
def other(farm: Farm) -> Move:
    return plan_move(farm, start="home", goal="S1", machine_id="rear-3")


def test_files_of_a_move(move: Move, farm: Farm, tmp_path: Path) -> None:
    """By hand: the page first; sheet and page lead to each other; no link to an index not there."""
    written = write_move(move, farm, tmp_path, day=DAY)
    assert [path.name.rpartition(".")[2] for path in written] == [
        "html", "html", "gpx", "json", "csv", "gpkg"
    ]  # fmt: skip
    page, sheet, gpx = (path for path in written[:3])
    assert f'href="{sheet.name}"' in page.read_text("utf-8")
    assert f'href="{gpx.name}"' in page.read_text("utf-8")
    assert f'href="{page.name}"' in sheet.read_text("utf-8")
    for path in (page, sheet):
        assert "../index.html" not in path.read_text("utf-8")
        assert not re.search(r"\bsafe\b", path.read_text("utf-8").split("<body")[1], re.IGNORECASE)
    held = json.loads(written[3].read_text("utf-8"))
    assert held == json.loads(json.dumps(move_json(move, farm, day=DAY)))
    assert [one["n"] for one in held["steps"]] == list(range(1, len(held["steps"]) + 1))
    assert held["steps"][-1]["words"] == "Arrive at S5"


def test_gpx_is_in_the_order_of_its_schema_and_reads_back(
    move: Move, farm: Farm, tmp_path: Path
) -> None:
    """Referee: gpxpy reads it; GPX 1.1's schema wants wpt, rte, trk in this order."""
    text = write_move(move, farm, tmp_path, day=DAY)[2].read_text("utf-8")
    order = [one.tag.removeprefix(GPX) for one in ET.fromstring(text)]  # noqa: S314
    assert order == sorted(order, key=["metadata", "wpt", "rte", "trk"].index)
    for point in ET.fromstring(text).iter(f"{GPX}rtept"):  # noqa: S314
        inner = [one.tag.removeprefix(GPX) for one in point]
        assert inner == ["name", "desc", "src"]
    read = gpxpy.parse(text)
    held = move_json(move, farm, day=DAY)
    (route,) = read.routes
    assert [point.name.split(" ")[0] for point in route.points] == [
        str(one["n"]) for one in held["steps"]
    ]
    assert route.points[-1].description.startswith("Arrive at S5.")
    track = read.tracks[0]
    assert track.name == f"NOT SETTLED: {move_name(move)}"
    assert track.length_2d() == pytest.approx(1000 * held["move"]["length_km"], rel=0.01)
    measured = [spot.name for spot in read.waypoints if spot.name.startswith("M")]
    assert len(measured) == len([row for row in move.survey if row["lon"] is not None]) > 0
    for spot in (*read.waypoints, *route.points):
        assert len(spot.name) <= 90
        assert spot.description.endswith(PLANNED)
        assert spot.source == PLANNED


@pytest.mark.parametrize(
    ("level", "word"),
    [("stop", "REFUSED"), ("unknown", "NOT SETTLED"), ("care", "CARE"),
     ("ok", "NOTHING FOUND AGAINST IT")],
)  # fmt: skip
def test_the_track_is_named_by_its_answer(level: str, word: str) -> None:
    """By hand: a device shows the name alone, so the answer stands in it first."""
    payload = move_payloads.whole_move()
    payload["move"]["level"] = level
    assert gpx_name(payload) == f"{word}: Yard to Cold Ash"


def test_spots_of_the_gpx_are_told_in_words() -> None:
    """By hand: steps as a route; what is met with its caution and whom to ask; what to measure."""
    places, route = spots(move_payloads.whole_move())
    assert [one["name"] for one in route][:2] == ["1 From Yard go east on Mill road",
                                                  "2 Turn left onto Bank lane"]  # fmt: skip
    assert route[1]["text"] == "Turn left onto Bank lane. Then 0.8 mi. Answer here: unknown."
    names = [one["name"] for one in places]
    assert names == ["road width", "gate", "clear height", "single file", "steep descent",
                     "M1 measure: width between the rails"]  # fmt: skip
    line = places[2]["text"]
    assert line == (
        "Step 2, clear height (unknown). Lines cross the road. WARNING: the line's owner answers "
        "for lines. Ask: power line's owner."
    )
    assert "must beat 11.2 ft" in places[-1]["text"]


def test_the_layer_of_legs_keeps_other_moves_and_other_layers(
    move: Move, other: Move, farm: Farm, tmp_path: Path
) -> None:
    """By hand: two moves in one layer; written again, a move stands there once."""
    package = tmp_path / "farm.gpkg"
    write_move(move, farm, tmp_path, day=DAY)
    write_move(other, farm, tmp_path, day=DAY)
    first = package.read_bytes()
    write_move(move, farm, tmp_path, day=DAY)
    write_move(other, farm, tmp_path, day=DAY)
    assert package.read_bytes() == first
    table = pyogrio.read_dataframe(package, layer="legs")
    assert table["move"].value_counts().to_dict() == {
        move_name(move): len(move.legs), move_name(other): len(other.legs)
    }  # fmt: skip
    mine = table[table["move"] == move_name(move)]
    assert mine["n"].tolist() == list(range(1, len(move.legs) + 1))
    assert mine["level"].tolist() == move.legs["level"].tolist()
    assert mine["step"].is_monotonic_increasing
    assert mine["step"].min() == 1
    assert mine.geometry.length.sum() == pytest.approx(move.legs.geometry.length.sum(), rel=1e-6)
    assert table.crs == farm.crs


def test_the_layer_leaves_what_stands_in_the_package(
    move: Move, other: Move, farm: Farm, tmp_path: Path
) -> None:
    """By hand: a search's lines stay when a move is written after them."""
    from datetime import date

    from fieldmap.search import plan_search
    from fieldmap.write.search import write_search

    write_search(plan_search(farm, day=date(2026, 6, 9), field_ids=["S5"]), tmp_path)
    lines = pyogrio.read_dataframe(tmp_path / "farm.gpkg", layer="search_lines")
    write_move(move, farm, tmp_path, day=DAY)
    layers = {name for name, _ in pyogrio.list_layers(tmp_path / "farm.gpkg")}
    assert layers == {"search_lines", "legs"}
    assert pyogrio.read_dataframe(tmp_path / "farm.gpkg", layer="search_lines").equals(lines)


def test_a_move_without_a_way_writes_no_layer_and_no_route(
    move: Move, farm: Farm, tmp_path: Path
) -> None:
    """By hand: nothing to drive is a file that says REFUSED, with no line to follow."""
    none: Any = replace(
        move, legs=move.legs.iloc[:0], nodes=move.nodes.iloc[:0], level="stop", survey=[],
        length_m=float("nan"), minutes=None,
    )  # fmt: skip
    written = write_move(none, farm, tmp_path, day=DAY)
    assert not (tmp_path / "farm.gpkg").exists()
    read = gpxpy.parse(written[2].read_text("utf-8"))
    assert (read.routes, read.tracks[0].get_points_no()) == ([], 0)
    assert read.tracks[0].name.startswith("REFUSED: ")
    assert "No way was found on the mapped roads." in written[1].read_text("utf-8")
