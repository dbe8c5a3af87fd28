"""What is left in a field, out of the farm's own tables: walks, floods, log and roads."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldmap.finding import Finding, rank
from fieldmap.hazards import events as ev
from fieldmap.hazards.fold import fold
from fieldmap.hazards.looked import FieldLooking, field_looking, looking
from fieldmap.risk.left import what_is_left
from fieldmap.risk.left_ground import (
    Log,
    ground_of,
    log_of,
    marks_of_field,
    placed_marks,
    road_zone,
    roads_of,
    who_saw,
)
from fieldmap.tables import load_tables

TABLES = load_tables()
UTM = 32615
WEST, SOUTH = 500_000.0, 4_500_000.0
DAY = datetime(2026, 6, 9, 23, 59, tzinfo=UTC)
SINCE = DAY - timedelta(days=21)
FIELD = shapely.box(WEST, SOUTH, WEST + 100, SOUTH + 60)


def at(east: float, north: float) -> shapely.Point:
    return shapely.Point(WEST + east, SOUTH + north)


def line(*points: tuple[float, float]) -> shapely.LineString:
    return shapely.LineString([(WEST + x, SOUTH + y) for x, y in points])


def seen(
    walks: dict[float, int], wet: shapely.Geometry | None = None, *, flood_ago: int = 3
) -> FieldLooking:
    """Walks from west to east at these northings, so many days ago; a flood."""
    lines = [shapely.segmentize(line((-20, north), (120, north)), 10.0) for north in walks]
    days = [DAY - timedelta(days=ago) for ago in walks.values()]
    started = pd.Series(days, dtype="datetime64[us, UTC]")
    tracks = gpd.GeoDataFrame({"started": started}, geometry=lines, crs=UTM)
    dates = pd.Series([DAY - timedelta(days=flood_ago)], dtype="datetime64[us, UTC]")
    flood = gpd.GeoDataFrame({"date": dates}, geometry=[wet or shapely.Polygon()], crs=UTM)
    return field_looking(FIELD, looking(tracks, flood, day=DAY, tables=TABLES))


def legs(*held: tuple[str, shapely.Geometry, dict[str, str]]) -> gpd.GeoDataFrame:
    """Roads, with a far frame that makes the network reach round the field."""
    frame = [("track", line((-900, -900), (900, 900)), {})]
    names, shapes, tags = zip(*(*frame, *held), strict=True)
    table = {"highway": list(names), "tags": list(tags)}
    return gpd.GeoDataFrame(table, geometry=list(shapes), crs=UTM)


def marks(*rows: dict[str, object]) -> gpd.GeoDataFrame:
    """Marks as the fold gives them, in metres."""
    empty = {"kind": "post", "hits": 0, "stands": True, "radius_m": np.nan, "place": at(50, 30)}
    empty |= {"time": None, "last_seen": None, "closed": None}
    table = pd.DataFrame([empty | row for row in rows], columns=list(empty))
    for name in ("time", "last_seen", "closed"):
        table[name] = pd.to_datetime(table[name], utc=True).astype("datetime64[us, UTC]")
    table["key"] = table["members"] = [f"k{number}" for number in range(len(table))]
    kinds = {"hits": int, "stands": bool, "radius_m": float}
    shapes = gpd.GeoSeries(list(table.pop("place")), crs=UTM)
    return gpd.GeoDataFrame(table.astype(kinds), geometry=shapes, crs=UTM)


def ready(lying: gpd.GeoDataFrame | None) -> Log:
    """The log of these marks, of which nobody knows who told."""
    return log_of("log.gpkg", ev.no_events(), lying, day=DAY, tables=TABLES)


def zone_of(edges: gpd.GeoDataFrame | None) -> shapely.Geometry | None:
    return road_zone(FIELD, roads_of(edges, tables=TABLES))


def told(
    looked: FieldLooking,
    lying: gpd.GeoDataFrame | None = None,
    *,
    seen_by: dict[str, set[str]] | None = None,
    roads: gpd.GeoDataFrame | None = None,
) -> dict[str, Finding]:
    lying = marks() if lying is None else lying
    log = ready(lying)._replace(seen_by=seen_by or {})
    network = roads_of(legs() if roads is None else roads, tables=TABLES)
    out = what_is_left("F", looked, log, network, stoniness=0.0, tables=TABLES).told
    return {one.finding.what: one.finding for one in out}


def test_beside_a_road_by_hand() -> None:
    """By hand: 10 m and half of 5.486 m from the middle of a lane along the south rim."""
    zone = zone_of(legs(("unclassified", line((-50, 0), (150, 0)), {})))
    assert shapely.intersection(zone, FIELD).area == pytest.approx(100 * (10 + 5.486 / 2))


@pytest.mark.parametrize(
    ("highway", "tags", "counts"),
    [
        ("secondary", {}, True),
        ("service", {}, True),
        ("a word of the future", {}, True),
        ("track", {}, False),
        ("path", {}, False),
        ("service", {"access": "private"}, False),
        ("unclassified", {"access": "no"}, False),
    ],
)
def test_which_roads_gather_litter_by_hand(
    highway: str, tags: dict[str, str], counts: bool
) -> None:
    """By hand: public roads, and those of a class that nobody knows."""
    zone = zone_of(legs((highway, line((0, 30), (100, 30)), tags)))
    assert shapely.intersects(zone, FIELD) == counts


def test_a_network_that_does_not_reach_round_the_field_is_no_knowledge_by_hand() -> None:
    """By hand: no roads, an empty network, one that ends inside the field."""
    short = legs(("secondary", line((10, 10), (20, 20)), {})).iloc[1:]
    for edges in (None, short.iloc[:0], short):
        assert zone_of(edges) is None
    for edges in (short.iloc[:0], short):
        assert told(seen({}), roads=edges)["road litter left"].value is None


def test_which_marks_count_by_hand() -> None:
    """By hand: what stands always; what was cleared when it was told of since, or never dated."""
    old, new = "2026-01-01T00:00Z", "2026-06-01T00:00Z"
    rows = [
        ({"time": old}, True),
        ({"stands": False, "time": old, "closed": old}, False),
        ({"stands": False, "time": old, "closed": new}, True),
        ({"stands": False, "time": new, "closed": old}, True),
        ({"stands": False, "time": old, "last_seen": new}, True),
        ({"stands": False}, True),
        ({"place": at(50, -11)}, False),
        ({"place": at(50, -9)}, True),
        ({"place": at(50, -11), "radius_m": 12.0}, True),
        ({"place": at(50, -9), "radius_m": 1.0}, True),
    ]
    log = ready(marks(*(row for row, _ in rows)))
    kept = log.key[marks_of_field(FIELD, log)]
    assert kept.tolist() == [f"k{n}" for n, (_, counts) in enumerate(rows) if counts]
    assert marks_of_field(FIELD, ready(marks())).tolist() == []


def test_a_mark_near_a_border_counts_on_both_sides_by_hand() -> None:
    """By hand: the west half wet; 10.19 m of doubt about each place."""
    looked = seen({30.0: 1}, shapely.box(WEST, SOUTH, WEST + 50, SOUTH + 60))
    log = ready(marks(*({"place": at(x, 30)} for x in (10, 45, 55, 90))))
    rows = marks_of_field(FIELD, log)
    road = shapely.box(WEST + 80, SOUTH, WEST + 90, SOUTH + 60)
    got = placed_marks(log, rows, looked, road, tables=TABLES)
    assert got.flooded.tolist() == [True, True, True, False]
    assert got.dry.tolist() == [False, True, True, True]
    assert got.road_edge.tolist() == [False, False, False, True]
    assert placed_marks(log, rows, looked, None, tables=TABLES).road_edge.tolist() == [False] * 4


def test_what_was_marked_in_passing_tells_nothing_of_the_rest_by_hand() -> None:
    """By hand: a line walked at y = 10; a find 5 m beside it is the walk's own, one 45 m off not.

    Forty more marks where nobody walked are found all right, and leave as much unseen as before;
    it may be more, for nobody knows how little of the ground was looked at for them.
    """
    looked = seen({10.0: 1}, shapely.Polygon())
    log = ready(marks(*({"kind": "stone", "place": at(50, y)} for y in (15, 55))))
    rows = marks_of_field(FIELD, log)
    assert placed_marks(log, rows, looked, None, tables=TABLES).walked.tolist() == [True, False]
    few = ready(marks({"kind": "stone", "place": at(50, 15)}))
    many = ready(marks(*({"kind": "stone", "place": at(50, y)} for y in (15, *[55] * 40))))
    one, other = (
        what_is_left("F", looked, held, None, stoniness=1.0, tables=TABLES).estimates[0]
        for held in (few, many)
    )
    assert (one.found, other.found) == (1, 41)
    assert other.left == one.left
    assert other.left_high > one.left_high


def test_a_find_counts_on_its_own_ground_only_by_hand() -> None:
    """By hand: two posts in the wet west, a tyre by the road in the dry east, a stone there."""
    looked = seen({30.0: 1}, shapely.box(WEST, SOUTH, WEST + 50, SOUTH + 60))
    rows = [("post", 10, 30), ("post", 20, 30), ("tyre", 80, 5), ("stone", 80, 30)]
    held = marks(*({"kind": kind, "place": at(x, y)} for kind, x, y in rows))
    out = told(looked, held, roads=legs(("secondary", line((-50, 0), (150, 0)), {})))
    found = {what: int(re.search(r": (\d+) found", one.why)[1]) for what, one in out.items()}
    assert found == {
        "stones left": 1,
        "flood debris left": 2,
        "loose things left": 1,
        "road litter left": 1,
    }


def test_ground_nobody_walked_is_told_in_whole_pieces_by_hand() -> None:
    """By hand: 100 m x 60 m; 20 m wide under water, 10 m along the south by the road."""
    wet, road = (shapely.box(WEST, SOUTH, WEST + x, SOUTH + y) for x, y in ((20, 60), (100, 10)))
    ground = ground_of(seen({}, wet), road)
    got = sorted(zip(ground.area_m2, ground.flooded, ground.road_edge, strict=True))
    assert got == [(200, True, True), (800, False, True), (1000, True, False), (4000, False, False)]
    assert ground_of(seen({}, wet), None).road_edge is None


def test_cells_and_pieces_say_the_same_areas_by_hand() -> None:
    """By hand: with a walk the field comes in cells, without one in whole pieces."""
    wet, road = (shapely.box(WEST, SOUTH, WEST + x, SOUTH + y) for x, y in ((20, 60), (100, 10)))
    cells, pieces = ground_of(seen({30.0: 1}, wet), road), ground_of(seen({}, wet), road)
    assert len(cells.area_m2) > len(pieces.area_m2)
    for one in (cells, pieces):
        assert one.area_m2.sum() == pytest.approx(6000)
        assert one.area_m2[one.road_edge].sum() == pytest.approx(1000)
        # a cell that water touches is wet: up to a cell's width more
        assert one.area_m2[one.flooded].sum() == pytest.approx(1200, abs=61)


def test_walked_ground_is_better_known_than_unwalked_by_hand() -> None:
    """By hand: every 2 m walked yesterday; the half under water since was not."""
    close = dict.fromkeys(np.arange(1.0, 60.0, 2.0).tolist(), 1)
    dry = told(seen(close))
    assert {one.level for one in dry.values()} == {"ok"}
    wet = told(seen(close, shapely.box(WEST, SOUTH, WEST + 50, SOUTH + 60), flood_ago=0))
    assert wet["flood debris left"].level == "unknown"
    assert wet["loose things left"].level == "ok"
    nobody = told(seen({}))
    assert {one.level for one in nobody.values()} == {"unknown"}
    assert nobody["loose things left"].value == pytest.approx(
        0.6 * TABLES.number("density.elsewhere")
    )


def test_without_a_log_by_hand() -> None:
    """By hand: one unknown, and no figure."""
    network = roads_of(legs(), tables=TABLES)
    out = what_is_left("F", seen({}), ready(None), network, stoniness=0.0, tables=TABLES).told
    assert [(one.finding.level, one.finding.value) for one in out] == [("unknown", None)]


def test_two_people_are_counted_on_this_field_only_by_hand() -> None:
    """By hand: of six marks four lie here; Ann found three, Bo two, both one: 4 x 3 / 2 - 1."""
    places = [at(10, 30), at(30, 30), at(50, 30), at(70, 30), at(400, 30), at(500, 30)]
    held = marks(*({"place": place} for place in places))
    names = ({"Ann"}, {"Ann"}, {"Ann", "Bo"}, {"Bo"}, {"Bo"}, {"Cy"})
    out = told(seen({30.0: 1}), held, seen_by=dict(zip(held["key"], names, strict=True)))
    two = out["things in the field by two people's finds"]
    assert (two.value, two.low) == (5.0, 4.0)


def adds(*rows: tuple[str, str, str]) -> pd.DataFrame:
    """One find for each (who, time, note), all at one place."""
    table = pd.DataFrame(rows, columns=["who", "time", "note"]).assign(
        hazard_id="", kind="post", radius_m=np.nan, height_m=np.nan, heading_deg=np.nan, photo=b""
    )
    table["time"] = pd.to_datetime(table["time"], utc=True).astype("datetime64[us, UTC]")
    finds = gpd.GeoDataFrame(table, geometry=[shapely.Point(-93, 40.6)] * len(table), crs=4326)
    return ev.add_events(finds, file="walk.csv")


def test_who_told_of_a_mark_by_hand() -> None:
    """By hand: finds and merged twins count; who sees a mark again knew of it, so he does not."""
    first = adds(
        ("Ann", "2026-06-01T10:00Z", "one"),
        ("Bo", "2026-06-02T10:00Z", "twin"),
        ("Cy", "2025-06-02T10:00Z", "old"),
    )
    ann, bo, cy = first["hazard_id"]
    more = [("seen again", ann, "Di", "2026-06-03T10:00:00+00:00", "")]
    more += [("seen again", cy, "Eve", "", ""), ("hit", cy, "Flo", "2026-06-03T10:00:00+00:00", "")]
    more += [("merged", ann, "Gus", "2026-06-03T10:00:00+00:00", bo)]
    later = [
        ev.told_event(verb, key, who=who, time=time, others=others, sequence=9, lon=-93, lat=40.6)
        for verb, key, who, time, others in more
    ]
    events = pd.concat([first, *later], ignore_index=True)
    folded = fold(events, tables=TABLES)
    got = who_saw(events, folded, since=SINCE)
    assert got == {min(ann, bo): {"Ann", "Bo"}}
    log = log_of("log.gpkg", events, folded, day=DAY, tables=TABLES)
    assert (log.seen_by, log.name) == (got, "log.gpkg")
    assert not log_of("log.gpkg", events, None, day=DAY, tables=TABLES).known


def test_an_empty_log_by_hand() -> None:
    """By hand: a log that nobody wrote in is a log."""
    none = ev.no_events()
    folded = fold(none, tables=TABLES).to_crs(UTM)
    log = log_of("log.gpkg", none, folded, day=DAY, tables=TABLES)
    network = roads_of(legs(), tables=TABLES)
    out = what_is_left("F", seen({30.0: 1}), log, network, stoniness=1.0, tables=TABLES).told
    assert [one.finding.what for one in out] == ["stones left", "loose things left"]


walked = st.dictionaries(
    st.floats(0, 60).map(lambda y: round(y, 1)), st.integers(0, 25), max_size=20
)


@settings(max_examples=30, deadline=None)
@given(walks=walked, drop=st.integers(0, 19), east=st.floats(20, 80), wet=st.booleans())
def test_a_walk_taken_away_never_improves_property(
    walks: dict[float, int], drop: int, east: float, wet: bool
) -> None:
    """Property: through cells, floods and whole pieces: no level better, no lower high end.

    The mean may fall: what a walk found tells of the ground beside it, and without the walk the
    same find tells only that one thing lies there.
    """
    water = shapely.box(WEST, SOUTH, WEST + east, SOUTH + 60) if wet else None
    less = {y: ago for number, (y, ago) in enumerate(walks.items()) if number != drop}
    held = marks({"place": at(20, 30)}, {"place": at(80, 30), "kind": "stone"})
    lane = legs(("unclassified", line((-50, 0), (150, 0)), {}))
    before, after = (told(seen(some, water), held, roads=lane) for some in (walks, less))
    assert set(before) == set(after)
    for what, one in before.items():
        assert rank(after[what].level) >= rank(one.level)
        # cells on the water's rim are wet whole: whole pieces may differ by a cell's width
        assert after[what].high >= one.high * 0.9
