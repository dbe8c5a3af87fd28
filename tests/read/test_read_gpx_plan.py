"""What this tool planned comes back as no find; what somebody logged beside it does. By hand."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
import shapely
from small_geodata import GPX

from fieldmap.errors import InputError
from fieldmap.read.finds import read_finds
from fieldmap.read.gpx_plan import PLANNED
from fieldmap.tables import load_tables
from fieldmap.write.gpx import move_gpx
from fieldmap.write.marks import pick_up_gpx
from fieldmap.write.search_gpx import Spot, search_gpx

TABLES = load_tables()
WALK = shapely.LineString([(11.5, 49.9), (11.6, 49.9)])
OWN = '<wpt lat="49.9" lon="11.5"><name>post</name></wpt>'


def pick_up_list() -> str:
    row = {
        "action": "pick up first", "note": "", "group": "two people", "caution": "Heavy.",
        "height_m": 0.2, "lat": 49.9, "lon": 11.5, "label": "stone", "kind": "stone",
        "hazard_id": "S1-03",
    }  # fmt: skip
    return pick_up_gpx("S1", pd.DataFrame([row]), "metric")


PLANS = {
    "pick-up list": pick_up_list(),
    "search": search_gpx("S1", "All of it.", [WALK], [Spot(11.5, 49.9, "start", "Gate G1.")]),
    "move": move_gpx(
        "m", "d", [WALK], [{"lat": 49.9, "lon": 11.5, "name": "look", "text": "Measure."}]
    ),
}


def refused(path: Path, text: str) -> str:
    path.write_text(text, "utf-8")
    with pytest.raises(InputError) as caught:
        read_finds(path, tables=TABLES)
    (fault,) = caught.value.faults
    return fault.what


@pytest.mark.parametrize("text", PLANS.values(), ids=PLANS.keys())
def test_by_hand_a_plan_is_refused(tmp_path: Path, text: str) -> None:
    """By hand: as it was written; and written anew by programs that keep little of it."""
    by_another = text.replace('creator="fieldmap"', 'creator="a device"')
    without_src = by_another.replace(f"<src>{PLANNED}</src>", "")
    without_words = by_another.replace(f" {PLANNED}</desc>", "</desc>")
    assert without_src != by_another != without_words
    for n, written in enumerate((text, by_another, without_src, without_words)):
        assert refused(tmp_path / f"{n}.gpx", written) == "a plan of this tool, not finds"


def test_by_hand_an_older_plan_is_known_by_its_maker(tmp_path: Path) -> None:
    """By hand: plans of before carry neither word, but nothing of the log either."""
    for n, text in enumerate(PLANS.values()):
        bare = text.replace(f"<src>{PLANNED}</src>", "").replace(PLANNED, "")
        assert refused(tmp_path / f"{n}.gpx", bare) == "a plan of this tool, not finds"


@pytest.mark.parametrize("text", PLANS.values(), ids=PLANS.keys())
def test_by_hand_finds_beside_a_plan_are_taken(tmp_path: Path, text: str) -> None:
    path = tmp_path / "both.gpx"
    written = text.replace('creator="fieldmap"', 'creator="a device"')
    path.write_text(written.replace("</gpx>", f"{OWN}</gpx>"), "utf-8")
    table, notes = read_finds(path, tables=TABLES)
    assert table["kind"].tolist() == ["post"]
    assert any(note.startswith("both.gpx: 1 places that this tool planned") for note in notes)


def test_by_hand_a_list_names_its_marks() -> None:
    assert "Mark S1-03" in pick_up_list()


def test_by_hand_a_find_that_names_no_plan_is_a_find(tmp_path: Path) -> None:
    path = tmp_path / "f.gpx"
    path.write_text(f"{GPX}{OWN}</gpx>", "utf-8")
    assert len(read_finds(path, tables=TABLES).table) == 1
