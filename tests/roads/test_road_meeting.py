"""Where no car fits beside the machine, how far that goes on, and where one pulls in."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from small_roads import district

from fieldmap.roads.meeting import meeting_on, room_needed_m
from fieldmap.tables import load_tables

TABLES = load_tables()


@pytest.fixture(scope="module")
def road(tmp_path_factory):
    """Five legs in a row; side roads at the second, third and fourth node."""
    nodes = {one: (one, 0) for one in range(1, 7)} | {12: (2, 1), 13: (3, 1), 14: (4, 1)}
    ways = [
        (7, [1, 2, 3, 4, 5, 6], {"highway": "tertiary", "maxspeed": "72"}),
        (8, [2, 12], {"highway": "unclassified"}),
        (9, [3, 13], {"highway": "track"}),
        (10, [4, 14], {"highway": "residential", "access": "private"}),
    ]
    more = {5: {"barrier": "gate"}}
    return district(tmp_path_factory.mktemp("meeting"), nodes, ways, node_tags=more)


def way(data, widths, *, way_id=7, back=False):
    """The legs of a way in order, with the widths given: (low, high) each."""
    mine = data.edges[data.edges["way_id"] == way_id]
    mine = mine.iloc[::-1] if back else mine
    lines = mine.geometry.to_numpy()
    return gpd.GeoDataFrame(
        {
            "leg_id": mine["leg_id"].to_numpy(),
            "name": [f"leg {one}" for one in mine["leg_id"]],
            "highway": mine["highway"].to_numpy(),
            "along": not back,
            "length_m": 100.0,
            "width_low_m": [low for low, _ in widths],
            "width_high_m": [high for _, high in widths],
            "width_basis": "assumed",
        },
        geometry=shapely.reverse(lines) if back else lines,
        crs=data.crs,
    )


WIDE, NARROW, MAYBE = (6.5, 8.0), (3.0, 4.0), (5.0, 7.0)
BLANK = (np.nan, np.nan)


def met(data, widths, *, width=3.0, speed=36.0, **more):
    legs = way(data, widths, **more)
    return meeting_on(data, legs, machine_width_m=width, speed_kmh=speed, tables=TABLES)


def lengths(found, sure):
    return [one["length_m"] for one in found.runs if one["sure"] == sure]


def test_by_hand_the_room_that_both_need():
    assert room_needed_m(3.0, tables=TABLES) == pytest.approx(3.0 + 2.0 + 0.5 + 2 * 0.25)


def test_by_hand_a_wide_road_leaves_room(road):
    found = met(road, [WIDE] * 5)
    assert [one.level for one in found.findings] == ["ok"]
    assert found.runs == []
    assert found.alone.tolist() == [False] * 5


def test_by_hand_narrow_runs_end_at_side_roads(road):
    """By hand: a public road ends both kinds of run, a track only the sure ones."""
    found = met(road, [NARROW] * 5)
    assert lengths(found, "surely") == [100.0, 100.0, 300.0]
    assert lengths(found, "possibly") == [100.0, 400.0]
    one = found.findings[0]
    assert (one.level, one.low, one.high) == ("care", 300.0, 400.0)
    assert one.where == "leg 7-1"
    # 400 m at 36 km/h; a car at the posted 72 km/h
    assert "40 s at road speed" in one.why
    assert "in 20 s" in one.why
    assert [(pull["sure"], pull["kind"], pull["at_m"]) for pull in found.pull_ins] == [
        ("surely", "side road", 100.0),
        ("possibly", "side road", 200.0),
    ]


def test_by_hand_a_private_drive_is_no_place_to_pull_in(road):
    assert 300.0 not in [one["at_m"] for one in met(road, [NARROW] * 5).pull_ins]


def test_by_hand_widths_that_may_do_are_possibly_too_narrow(road):
    found = met(road, [MAYBE] * 5)
    assert lengths(found, "surely") == []
    assert lengths(found, "possibly") == [100.0, 400.0]
    assert found.findings[0].low == 0.0


def test_by_hand_a_wide_stretch_parts_the_runs_and_is_a_place_to_pull_in(road):
    found = met(road, [NARROW, NARROW, WIDE, NARROW, NARROW])
    assert lengths(found, "possibly") == [100.0, 100.0, 200.0]
    assert ("surely", "wide road", 200.0) in [
        (pull["sure"], pull["kind"], pull["at_m"]) for pull in found.pull_ins
    ]


def test_by_hand_driven_the_other_way_the_side_roads_lie_as_far_from_the_end(road):
    found = met(road, [NARROW] * 5, back=True)
    assert lengths(found, "possibly") == [400.0, 100.0]
    assert lengths(found, "surely") == [300.0, 100.0, 100.0]


def test_by_hand_a_mapped_passing_place_ends_every_run(tmp_path):
    data = district(
        tmp_path,
        {one: (one, 0) for one in range(1, 4)},
        [(7, [1, 2, 3], {"highway": "unclassified"})],
        node_tags={2: {"highway": "passing_place"}},
    )
    found = met(data, [NARROW] * 2)
    assert lengths(found, "possibly") == [100.0, 100.0]
    assert [(one["sure"], one["kind"]) for one in found.pull_ins] == [("surely", "passing place")]


def test_by_hand_passing_places_somewhere_on_the_way_end_only_the_sure_runs(tmp_path):
    data = district(
        tmp_path,
        {one: (one, 0) for one in range(1, 4)},
        [(7, [1, 2, 3], {"highway": "unclassified", "passing_places": "yes"})],
        node_tags={2: {"barrier": "gate"}},
    )
    found = met(data, [NARROW] * 2)
    assert lengths(found, "surely") == [100.0, 100.0]
    assert lengths(found, "possibly") == [200.0]
    assert [(one["sure"], one["kind"]) for one in found.pull_ins] == [("possibly", "passing place")]


def test_by_hand_what_is_missing(road):
    assert met(road, [WIDE] * 5, width=None).findings[0].level == "unknown"
    assert met(road, [BLANK] * 5).findings[0].level == "care"
    assert "not known" in met(road, [NARROW] * 5, speed=None).findings[0].why
    assert met(road, [NARROW] * 5, speed=None).runs[0]["minutes"] is None
    empty = way(road, [WIDE] * 5).iloc[:0]
    found = meeting_on(road, empty, machine_width_m=3.0, speed_kmh=30.0, tables=TABLES)
    assert (found.findings, found.runs, found.pull_ins) == ([], [], [])


_WIDTHS = st.tuples(st.floats(2, 9), st.floats(0, 5)).map(lambda one: (one[0], one[0] + one[1]))


@given(
    st.lists(_WIDTHS, min_size=5, max_size=5), st.floats(1, 5), st.floats(0, 3), st.integers(0, 4)
)
def test_property_wider_or_less_known_never_shortens_a_run(road, widths, width, more, gone):
    def longest(found, sure):
        return max(lengths(found, sure), default=0.0)

    here = met(road, widths, width=width)
    wider = met(road, widths, width=width + more)
    blank = met(road, [*widths[:gone], BLANK, *widths[gone + 1 :]], width=width)
    for sure in ("surely", "possibly"):
        assert longest(wider, sure) >= longest(here, sure)
    assert longest(blank, "possibly") >= longest(here, "possibly")
    assert longest(here, "surely") <= longest(here, "possibly")
    assert here.alone.sum() * 100.0 == sum(lengths(here, "possibly"))
