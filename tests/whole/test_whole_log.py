"""The grower's round, from the first mark to the next cut: each step moves the answer as it should.

By hand, on the invented farm, through the commands a person types.
"""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import gpxpy
import pyogrio
import pytest

from fieldmap.cli.main import answer
from fieldmap.write.files import LAYERS

DAY = "2026-06-09"


class Round:
    """A copy of the invented farm, and the commands run on it."""

    def __init__(self, folder: Path, out: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder, self.out, self._capsys = folder, out, capsys

    def run(self, *words: str) -> dict:
        self._capsys.readouterr()
        code = answer([*words, "--json"])
        printed = json.loads(self._capsys.readouterr().out)
        assert code == 0, printed["errors"]
        return printed["result"]

    def hazards(self, verb: str, *words: str) -> dict:
        return self.run("hazards", verb, str(self.folder), *words)

    def field(self, name: str) -> dict:
        where = ("--date", DAY, "--out", str(self.out), "--no-pages")
        (told,) = self.run("assess", str(self.folder), "--field", name, *where)["fields"]
        return told

    def marks(self, name: str) -> list[str]:
        return self.field(name)["hazards"]


@pytest.fixture
def farm(demo_geodata: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Round:
    left_out = shutil.ignore_patterns("makers", "pictures", "*.py", "outputs", "hazards.gpkg*")
    shutil.copytree(demo_geodata, tmp_path / "farm", ignore=left_out)
    held = Round(tmp_path / "farm", tmp_path / "out", capsys)
    held.hazards("import", *map(str, sorted((held.folder / "found").glob("*.*"))))
    return held


def levels(told: dict) -> dict[str, str]:
    return {one["what"]: one["level"] for one in told["findings"]}


def test_what_is_cleared_stops_nothing_any_more_and_what_is_hit_does(farm: Round) -> None:
    before = farm.field("S4")
    assert before["level"] == "stop"
    farm.hazards("clear", *before["hazards"], "--who", "Ada", "--time", "2026-06-08T18:00")
    after = farm.field("S4")
    assert (after["hazards"], after["pick_up"]) == ([], [])
    assert after["level"] != "stop"
    where = before["pick_up"][0]
    place = ("--lon", str(where["lon"]), "--lat", str(where["lat"]))
    told = ("--hit", "--who", "Bo", "--time", "2026-06-09T10:00")
    farm.hazards("add", "stone", *place, *told)
    assert farm.field("S4")["level"] == "stop"


def test_what_was_cleared_later_still_stood_on_the_day(farm: Round) -> None:
    marks = farm.marks("S4")
    farm.hazards("clear", *marks, "--who", "Ada", "--time", "2026-06-12T18:00")
    assert farm.marks("S4") == marks


def test_a_field_never_walked_since_the_water_stays_unknown_whatever_is_cleared(
    farm: Round,
) -> None:
    told = farm.field("S1")
    assert told["flooded_share"] > 0.5
    farm.hazards("clear", *told["hazards"], "--who", "Ada", "--time", "2026-06-08T18:00")
    after = farm.field("S1")
    assert after["hazards"] == []
    assert after["level"] == "unknown"
    assert levels(after)["flooded ground looked at since"] == "unknown"
    assert levels(after)["flood debris left"] == "unknown"


def test_walking_the_planned_lines_is_looking_at_the_ground(farm: Round) -> None:
    """The search's own GPX, walked and kept, goes into walks/ as a device writes it."""
    (plan,) = farm.run(
        "search", str(farm.folder), "--field", "S5", "--chance", "0.9", "--date", DAY,
        "--out", str(farm.out),
    )["fields"]  # fmt: skip
    assert plan["left_ha"] > 0
    track = gpxpy.parse((farm.out / "search" / "S5.gpx").read_text("utf-8"))
    moment = datetime(2026, 6, 8, 7, tzinfo=UTC)
    for segment in (part for one in track.tracks for part in one.segments):
        gap_m = 20.0
        points = segment.points
        walked = [points[0]]
        for point in points[1:]:
            steps = max(1, int(walked[-1].distance_2d(point) // gap_m) + 1)
            start = walked[-1]
            walked += [
                gpxpy.gpx.GPXTrackPoint(
                    start.latitude + (point.latitude - start.latitude) * at / steps,
                    start.longitude + (point.longitude - start.longitude) * at / steps,
                )
                for at in range(1, steps + 1)
            ]
        for number, point in enumerate(walked):
            point.time = moment + timedelta(seconds=15 * number)
        segment.points = walked
    (farm.folder / "walks" / "searched.gpx").write_text(track.to_xml(), "utf-8")
    (again,) = farm.run(
        "search", str(farm.folder), "--field", "S5", "--chance", "0.9", "--date", DAY,
        "--out", str(farm.out),
    )["fields"]  # fmt: skip
    assert again["chance_now"] >= max(plan["chance_now"], 0.9)
    assert again["done_share"] > plan["done_share"]
    assert again["left_ha"] < 0.2 * plan["left_ha"]
    assert farm.field("S5")["looked_share"] >= 0.9


def test_an_assessment_keeps_the_lines_of_a_search_and_the_other_way_round(farm: Round) -> None:
    where = ("--field", "S4", "--date", DAY, "--out", str(farm.out))
    farm.run("search", str(farm.folder), *where)
    farm.run("assess", str(farm.folder), *where, "--no-pages")
    layers = set(pyogrio.list_layers(farm.out / "farm.gpkg")[:, 0])
    assert layers == {*LAYERS, "search_lines"}
    first = (farm.out / "farm.gpkg").read_bytes()
    farm.run("search", str(farm.folder), *where)
    farm.run("assess", str(farm.folder), *where, "--no-pages")
    assert (farm.out / "farm.gpkg").read_bytes() == first
    lines = pyogrio.read_dataframe(farm.out / "farm.gpkg", layer="search_lines")
    assert set(lines["field_id"]) == {"S4"}


def test_the_list_to_walk_with_holds_each_mark_once_and_says_what_not_to_touch(
    farm: Round,
) -> None:
    told = farm.field("S2")
    listed = [one["hazard_id"] for one in told["pick_up"]]
    assert sorted(listed) == sorted(set(listed))
    assert set(listed) <= set(told["hazards"])
    first_touched = [one["touch"] for one in told["pick_up"]].index(True)
    assert not any(one["touch"] for one in told["pick_up"][:first_touched])
    gpx = gpxpy.parse((farm.out / "fields" / "S2.gpx").read_text("utf-8"))
    assert len(gpx.waypoints) == len(listed)
    drum = next(point for point in gpx.waypoints if point.type == "drum")
    assert "Do not touch" in drum.description
