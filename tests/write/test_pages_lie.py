"""The lie of a field on its page: lines of travel, runs, hollows, drop-offs, places to look at."""

from __future__ import annotations

import copy
import json
import math
import re
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import page_payloads
import pytest
import shapely
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS, Geod

from fieldmap.grid import Grid
from fieldmap.machine import Machine
from fieldmap.risk.side_slope import Heading, limits_for
from fieldmap.risk.work import Work, work_over
from fieldmap.tables import load_tables
from fieldmap.write.lie_items import both_ways, drop_item, hollow_item, rose, small_area
from fieldmap.write.lie_payload import (
    FEW_RUNS,
    MOST_RUNS,
    _drop_offs,
    _first_places,
    _hollows,
    _runs,
    travel,
)
from fieldmap.write.pages import field_page

UTM = CRS(32615)
TABLES = load_tables()
MOWER = Machine.model_validate(
    {"id": "m", "name": "m", "kind": "pull-type", "working_width_m": 3.0, "turning_radius_m": 5.0}
)
CORNER = (500_000.0, 4_500_000.0)


def groups(page: str) -> dict[str, Any]:
    """The map's groups by key, read back from the finished page."""
    block = re.search(r'id="page-data">(.*?)</script>', page, re.DOTALL)
    assert block
    return {group["key"]: group for group in json.loads(block[1])["groups"]}


def table(page: str, name: str) -> list[list[str]]:
    """The rows of a table as words."""
    found = re.search(rf'<table id="{name}".*?<tbody[^>]*>(.*?)</tbody>', page, re.DOTALL)
    if not found:
        return []
    rows = re.findall(r"<tr[^>]*>(.*?)</tr>", found[1], re.DOTALL)
    return [
        [re.sub(r"<[^>]*>", "", cell).strip() for cell in re.findall(r"<t[hd].*?</t[hd]>", row)]
        for row in rows
    ]


def heading_over(work: Work, stop: list[float], care: list[float], best: float) -> Heading:
    return Heading(
        best, 0.0, 0.0, None, None, None, (best,), np.array(stop), np.array(care)
    )  # fmt: skip


def work_of(lines: list[float], runs: list[float]) -> Work:
    held = np.array(runs, float)
    made = work_over(shapely.box(0, 0, 100, 100), MOWER, tables=TABLES)
    return made._replace(
        lines_deg=np.array(lines, float), runs=held, turns=held - 1, minutes=held * 2
    )


def test_lines_of_travel_stand_from_best_to_worst() -> None:
    """By hand: over the limit counts first, then care, then runs; the chosen line leads ties."""
    work = work_of([0, 45, 90, 135], [30, 30, 20, 10])
    heading = heading_over(work, [0.1, 0.0, 0.0, 0.0], [0.2, 0.1, 0.1, 0.3], 45.0)
    lines = travel(heading, work, limits_for(None, tables=TABLES))["lines"]
    assert [one["deg"] for one in lines] == [45.0, 90.0, 135.0, 0.0]
    assert [one["runs"] for one in lines] == [30.0, 20.0, 10.0, 30.0]
    assert lines[0]["minutes"] == 60.0


def test_lines_without_a_working_width_have_no_runs() -> None:
    """By hand: what is not known is nothing, not nought."""
    work = work_of([0, 90], [math.nan, math.nan])
    lines = travel(
        heading_over(work, [0, 0], [0, 0.1], 0.0), work, limits_for(None, tables=TABLES)
    )["lines"]
    assert [(one["runs"], one["turns"], one["minutes"]) for one in lines] == [(None,) * 3] * 2


def test_a_wide_field_carries_no_more_runs_than_a_page_can() -> None:
    """Referee: pyproj's geodesic length; a kilometre at 3 m has over 300 runs, every other kept."""
    field = shapely.box(CORNER[0], CORNER[1], CORNER[0] + 400, CORNER[1] + 1_100)
    work = work_over(field, MOWER, tables=TABLES)
    heading = heading_over(work, [0.0] * 36, [0.0] * 36, 90.0)
    feature = _runs(heading, work, UTM, TABLES)["features"][0]
    props, lines = feature["properties"], feature["geometry"]["coordinates"]
    assert props["count"] == work.runs[work.lines_deg == 90.0][0] > MOST_RUNS
    assert props["every"] == 2
    assert len(lines) == math.ceil(props["count"] / 2) <= MOST_RUNS
    assert len(props["sketch"]["coordinates"]) <= FEW_RUNS
    _, _, length_m = Geod(ellps="WGS84").inv(*lines[5][0], *lines[5][1])
    laps_m = 2 * work.laps * 3.0 if work.laps else 0.0
    assert length_m == pytest.approx(400 - laps_m, rel=2e-3)
    page = page_payloads.field_payload()
    page["lie"]["runs"] = _runs(heading, work, UTM, TABLES)
    assert f"the {props['count']} runs along the best heading, one in 2 of them" in field_page(page)


def test_nothing_is_drawn_without_a_heading_or_a_width() -> None:
    """By hand: unknown lines of travel are not drawn."""
    field = shapely.box(CORNER[0], CORNER[1], CORNER[0] + 100, CORNER[1] + 100)
    work = work_over(field, None, tables=TABLES)
    assert _runs(None, work, UTM, TABLES)["features"] == []
    heading = heading_over(work, [0.0] * 36, [0.0] * 36, 90.0)
    assert _runs(heading, work, UTM, TABLES)["features"] == []


def test_drop_offs_keep_their_own_crest_and_buffer() -> None:
    """By hand: highest first; a highwall keeps the wide buffer, a bank the narrow one."""
    x, y = CORNER
    crests = [shapely.LineString([(x + at, y), (x + at, y + 50)]) for at in (0, 200)]
    edges = gpd.GeoDataFrame(
        {
            "height_m": [2.0, 9.0],
            "highwall": [False, True],
            "open": [False, True],
            "zone": gpd.GeoSeries([one.buffer(5) for one in crests], crs=UTM),
        },
        geometry=crests,
        crs=UTM,
    )
    found = [one["properties"] for one in _drop_offs(edges, UTM, TABLES)["features"]]
    assert [one["height_m"] for one in found] == [9.0, 2.0]
    assert [one["keep_m"] for one in found] == [
        TABLES.number("edges.highwall_buffer_m"),
        TABLES.number("edges.buffer_m"),
    ]
    east = [one["crest"]["coordinates"][0][0] for one in found]
    assert east[0] > east[1]
    assert _drop_offs(edges.iloc[:0], UTM, TABLES)["features"] == []


def test_a_hollow_is_looked_at_only_when_all_of_it_in_the_field_is() -> None:
    """By hand, cells of 10 m: the west half was looked at, the easternmost column is no field."""
    x, y = CORNER
    place = Affine(10, 0, x, 0, -10, y + 100)
    grid = Grid(np.zeros((10, 10), np.float32), place, UTM, "%", "slope_pct")
    ends = ((11, 29), (41, 59), (71, 99))
    west, over, beyond = (shapely.box(x + a, y + 31, x + b, y + 49) for a, b in ends)
    inside, enough = np.ones((2, 10, 10), bool)
    inside[:, 9] = False
    enough[:, 5:7] = False
    table = gpd.GeoDataFrame(
        {"depth_m": [3.0, 2.0, 1.0], "area_m2": [324.0] * 3, "open": [False, True, False]},
        geometry=[west, over, beyond],
        crs=UTM,
    )
    lie = SimpleNamespace(hollows=table, ground=SimpleNamespace(percent=grid))
    layers: Any = SimpleNamespace(lie=lie, inside=inside, enough=enough)
    found = [one["properties"] for one in _hollows(layers, UTM)["features"]]
    assert [one["looked"] for one in found] == [True, False, True]
    assert [one["open"] for one in found] == [False, True, False]


def test_first_places_keep_the_order_to_look_in() -> None:
    """By hand: the table's order, the farm's own day (evening there, next day in UTC), empty."""
    x, y = CORNER
    places = gpd.GeoDataFrame(
        {
            "kind": ["low", "wrack band"],
            "reason": ["stood deep", "edge"],
            "area_m2": [40.0, np.nan],
            "length_m": [np.nan, 12.0],
            "flood_day": np.array(["2026-05-30T04:59", "NaT"], "datetime64[us]"),
        },
        geometry=[shapely.Point(x, y).buffer(9), shapely.LineString([(x, y), (x + 12, y)])],
        crs=UTM,
    )
    answer: Any = SimpleNamespace(first_places=places)
    found = [
        one["properties"]
        for one in _first_places(answer, UTM, ZoneInfo("America/Chicago"))["features"]
    ]
    assert [(one["kind"], one["area_m2"], one["length_m"]) for one in found] == [
        ("low", 40.0, None),
        ("wrack band", None, 12.0),
    ]
    assert [one["flood_day"] for one in found] == ["2026-05-29", None]


def test_page_tells_the_lines_of_travel() -> None:
    """By hand: best, next, worst; a share below one percent is not none; ties are named."""
    page = field_page(page_payloads.field_payload())
    rows = table(page, "line-table")
    assert rows == [
        ["90 / 270 best", "none", "5%", "160", "159", "61"],
        ["45 / 225", "none", "5%", "160", "159", "61"],
        ["135 / 315", "under 1%", "10%", "90", "89", "61"],
        ["0 / 180 worst", "8%", "12%", "120", "119", "61"],
    ]
    assert "As good as the best in these figures is 45 / 225 deg" in page
    assert "Held against 25% across the line of travel, care from 15% on" in page
    assert "20% or more" not in page


def test_long_list_of_lines_is_cut_to_the_next_five_and_the_worst() -> None:
    """By hand: 36 lines become one best, five next, one worst."""
    payload = page_payloads.field_payload()
    one = payload["lie"]["travel"]["lines"][0]
    payload["lie"]["travel"]["lines"] = [{**one, "deg": 5.0 * n} for n in range(36)]
    ways = [row[0] for row in table(field_page(payload), "line-table")]
    assert ways == [
        "0 / 180 best", "5 / 185", "10 / 190", "15 / 195", "20 / 200", "25 / 205",
        "175 / 355 worst",
    ]  # fmt: skip


def test_hollows_drops_and_places_are_told_in_the_readers_units() -> None:
    """By hand: 0.9144 m is 3 ft, 30 m 98.4 ft, 381 m 1,250 ft, 8093.7 m2 2 acres."""
    page = field_page(page_payloads.field_payload())
    hollows = [row[:4] for row in table(page, "hollow-table")]
    assert hollows[0][:3] == ["H1", "3.0 ft *", "6,500 sq ft"]
    assert hollows[0][3].endswith("unknown")
    assert hollows[1][:3] == ["H2", "1.5 ft", "2.0 ac"]
    assert hollows[1][3].endswith("care")
    assert "it may be deeper or wider, or none" in page
    drops = [row[:4] for row in table(page, "drop-table")]
    assert drops == [
        ["E1", "highwall", "24.6 ft or more", "98.4 ft"],
        ["E2", "bank or bench edge", "6.6 ft", "16.4 ft"],
    ]
    places = table(page, "first-table")
    assert places[0] == ["Wrack band Left along the edge."]
    assert places[1][:3] == ["L1", "0.6 ac", "2026-05-30"]
    assert places[3][:3] == ["L2", "1,250 ft", "2026-05-30"]


def test_metric_reader_gets_metres() -> None:
    """By hand."""
    payload = page_payloads.field_payload() | {"units": "metric"}
    page = field_page(payload)
    assert table(page, "hollow-table")[0][1:3] == ["0.91 m *", "600 sq m"]
    assert table(page, "first-table")[3][1] == "381 m"


def test_empty_tables_are_not_shown() -> None:
    """By hand: nothing is headed that has no rows."""
    payload = page_payloads.field_payload()
    for name in ("hollows", "drop_offs", "first_places", "runs", "headland"):
        payload["lie"][name] = {"features": []}
    page = field_page(payload)
    assert "Lines of travel" in page
    for words in ("hollow-table", "drop-table", "first-table", "The map can show the"):
        assert words not in page
    assert not {"hollows", "drops", "first", "runs", "headland"} & set(groups(page))


def test_field_without_slopes_says_why_there_is_no_line() -> None:
    """By hand: unknown is a sentence; a page without any lie has no such section."""
    payload = page_payloads.field_payload()
    payload["lie"] |= {"known": False, "travel": None, "runs": {"features": []}}
    page = field_page(payload)
    assert "no slope is known in this field" in page
    assert table(page, "line-table") == []
    del payload["lie"]
    assert "Lie of the land</h2>" not in field_page(payload)


def test_long_tables_are_folded() -> None:
    """By hand: 12 drop-offs: six stand there, six are folded; eight would all stand there."""
    payload = page_payloads.field_payload()
    drops = payload["lie"]["drop_offs"]
    one = drops["features"][1]
    drops["features"] = [copy.deepcopy(one) for _ in range(12)]
    page = field_page(payload)
    assert (len(table(page, "drop-table")), len(table(page, "drop-table-more"))) == (6, 6)
    assert "<summary>6 more</summary>" in page
    drops["features"] = drops["features"][:8]
    page = field_page(payload)
    assert (len(table(page, "drop-table")), len(table(page, "drop-table-more"))) == (8, 0)


def test_unlooked_hollow_is_unknown_and_a_drop_is_a_stop() -> None:
    """By hand: nobody looked, so nobody knows."""
    hollow = {"depth_m": 0.4, "area_m2": 30.0, "open": False, "looked": False}
    assert hollow_item(hollow, "1", "us")["level"] == "unknown"
    assert hollow_item({**hollow, "looked": True}, "1", "us")["level"] == "care"
    drop = {"height_m": 2.0, "highwall": False, "keep_m": 5.0, "open": False, "crest": None}
    assert drop_item(drop, "1", "us")["level"] == "stop"


def test_rose_draws_a_heading_where_the_compass_has_it() -> None:
    """By hand: 90 deg lies level, 0 deg upright; the rim of 25 % is not reached by 20 %."""
    held = rose(page_payloads.travel())
    assert held is not None
    assert held["scale"] == "25%"
    best = held["best"]
    assert (best["y1"], best["y2"]) == (0.0, 0.0)
    assert best["x2"] == held["rim"] == -best["x1"]
    upright = held["spokes"][0]["care"]
    assert (upright["x1"], upright["x2"]) == (0.0, 0.0)
    assert 0 < -upright["y2"] < held["rim"]
    assert "90 / 270 deg" in held["words"]
    flat = page_payloads.travel()
    for one in flat["lines"]:
        one["stop_share"] = one["care_share"] = 0.0
    assert rose(flat) is None


@given(low=st.floats(0, 0.5), more=st.floats(0, 0.5), deg=st.sampled_from([0.0, 35.0, 90.0, 145.0]))
def test_more_ground_never_draws_a_shorter_stroke(low: float, more: float, deg: float) -> None:
    """Property: within one rose a larger share is at least as long, and all stay on the rim."""
    line = {"stop_share": 0.0, "runs": None, "turns": None, "minutes": None}
    lines = [
        {**line, "deg": deg, "care_share": low},
        {**line, "deg": deg, "care_share": low + more},
        {**line, "deg": deg, "care_share": 1.0},
    ]
    held = rose({**page_payloads.travel(), "lines": lines})
    assert held is not None
    reach = [math.hypot(one["care"]["x2"], one["care"]["y2"]) for one in held["spokes"]]
    assert reach == sorted(reach)
    assert reach[2] <= held["rim"] + 0.1


def test_words_of_figures() -> None:
    """By hand: 100 m2 are 1,076 sq ft, said to two digits."""
    assert small_area(100.0, "us") == "1,100 sq ft"
    assert small_area(20_000.0, "metric") == "2.00 ha"
    assert both_ways(175.0) == "175 / 355"


@pytest.mark.browser
def test_groups_wait_until_they_are_ticked(opened: Any) -> None:
    """By hand: first places from the start, the rest when asked for; Show asks for it."""
    with opened(field_page(page_payloads.field_payload())) as (page, seen):

        def drawn(key: str) -> int:
            return int(page.locator(f".leaflet-group-{key}-pane path").count())

        assert drawn("first") > 0
        assert page.locator(".pin-first").count() == 2
        assert [drawn(key) for key in ("runs", "headland", "hollows", "drops")] == [0, 0, 0, 0]
        page.click(".more-layers summary")
        for key in ("runs", "headland"):
            page.check(f'[data-layer="{key}"]')
            assert drawn(key) > 0
        page.click('[data-show="e1"]')
        assert "Highwall" in page.locator(".leaflet-popup .note-title").inner_text()
        assert page.is_checked('[data-layer="drops"]')
        page.click(".note-box button")
        assert page.evaluate("document.activeElement.dataset.show") == "e1"
        page.click('[data-show="p2"]')
        assert "Line across the flow" in page.locator(".note-title").last.inner_text()
        assert (seen.said, seen.asked) == ([], [])


@pytest.mark.browser
def test_few_runs_stand_for_all_from_afar(opened: Any) -> None:
    """By hand: 80 runs 8 m apart: a fourth of them from afar, all when the map is near enough."""
    corners = "document.querySelector('.leaflet-group-runs-pane path:last-of-type')"
    count = f"({corners}.getAttribute('d').match(/M/g) || []).length"
    with opened(field_page(page_payloads.field_payload())) as (page, _):
        page.click(".more-layers summary")
        page.check('[data-layer="runs"]')
        page.evaluate("fieldmapState.map.setZoom(15.5, {animate: false})")
        assert page.evaluate(count) <= 20
        page.evaluate("fieldmapState.map.setZoom(17, {animate: false})")
        assert page.evaluate(count) > 20


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 390])
def test_lie_fits_a_phone(width: int, opened: Any) -> None:
    """By hand: no table of the section reaches over its edge."""
    with opened(field_page(page_payloads.field_payload()), width=width, height=844) as (page, _):
        rights = page.evaluate(
            "[...document.querySelectorAll('[aria-labelledby=lie-title] *')]"
            ".filter(e => e.checkVisibility()).map(e => e.getBoundingClientRect().right)"
        )
        assert len(rights) > 60
        assert max(rights) <= width - 24  # the edge of the sheet, and its padding
