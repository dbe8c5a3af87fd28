"""What a way's tables and findings say: columns, runs, who measured, what is lacking. By hand."""

from __future__ import annotations

import pandas as pd
import pytest
from one_road import told
from small_roads import district, machine

from fieldmap.machine import Transport
from fieldmap.roads.choose import free_costs
from fieldmap.roads.district import district_of, hold
from fieldmap.roads.search import OnLeg, find_way
from fieldmap.roads.tell import runs, way_findings
from fieldmap.roads.tell_legs import leg_table, node_table
from fieldmap.tables import load_tables

TABLES = load_tables()
ROAD = {"highway": "tertiary"}


def driven(tmp_path, *tags, node_tags=None, checks=None, **more):
    """Tables and findings of a way over roads in a row, with ids from 21."""
    nodes = {at + 1: (at, 0) for at in range(len(tags) + 1)}
    roads = [(21 + at, [at + 1, at + 2], ROAD | one) for at, one in enumerate(tags)]
    data = district(tmp_path, nodes, roads, node_tags=node_tags)
    place = district_of(data, checks)
    one = machine(**more)
    held = hold(place, one, one.transport[0], tables=TABLES)
    ends = OnLeg(0, 0.0), OnLeg(len(tags) - 1, 1.0)
    way = find_way(place.net, free_costs(place.net, len(data.nodes)), *ends)
    legs = leg_table(data, held.checked, way, *ends, measured=held.measured)
    nodes = node_table(data, place.ground, held.checked, place.net, way, measured=held.measured)
    return legs, nodes, way_findings(legs, nodes, held.size, tables=TABLES, source="small.osm")


def test_the_columns_of_a_check_have_its_name_and_unit(tmp_path):
    legs, nodes, _ = driven(tmp_path, {"maxwidth": "3"}, {}, node_tags={2: {"maxheight": "9"}})
    assert legs["width_limit_low_m"].iloc[0] == 3.0
    assert legs["width_limit_need_m"].tolist() == [2.5, 2.5]
    assert legs["width_limit_why"].iloc[0] == "The posted width limit is kept (maxwidth=3)."
    assert nodes["height_limit"].tolist() == ["ok"]
    assert "grade" not in legs  # nobody looked at the lie of the ground


def test_who_measured_stands_behind_what_rests_on_it(tmp_path):
    checks = pd.concat([told("way/21", "width", 6.0), told("node/2", "opening", 2.0)])
    legs, nodes, _ = driven(
        tmp_path, {"highway": "track"}, {}, node_tags={2: {"barrier": "gate"}}, checks=checks
    )
    assert legs["width_why"].iloc[0] == "The width was measured (measured by A, 2026-05-02)."
    assert "A, 2026-05-02" not in legs["width_why"].iloc[1]
    assert nodes["opening_why"].tolist() == [
        "The opening was measured (measured by A, 2026-05-02)."
    ]


def test_a_run_has_the_least_figure_in_it_and_the_whole_length(tmp_path):
    checks = pd.concat([told("leg/21-0", "width", 3.0), told("leg/21-1", "width", 2.0)])
    nodes = {1: (0, 0), 2: (1, 0), 3: (2, 0)}
    roads = [(21, [1, 2, 3], ROAD | {"width": "9"})]
    small = district(tmp_path, nodes, roads, node_tags={2: {"barrier": "gate"}})
    place = district_of(small, checks)
    one = machine()
    held = hold(place, one, one.transport[0], tables=TABLES)
    ends = OnLeg(0, 0.0), OnLeg(1, 1.0)
    way = find_way(place.net, free_costs(place.net, 3), *ends)
    [run] = runs(leg_table(small, held.checked, way, *ends), "width")
    assert (run["width_low_m"], run["width_need_m"], run["legs"]) == (2.0, 3.5, 2)
    assert run["length_m"] == pytest.approx(small.edges["length_m"].sum())


def test_a_figure_that_the_machine_lacks_is_told_once(tmp_path):
    bare = {"transport": (Transport(name="as it is", height_m=3.0, length_m=9.0),)}
    _, _, found = driven(tmp_path, {"maxwidth": "3"}, {}, **bare)
    lacking = [one for one in found if one.where == "the machine"]
    assert [(one.what, one.level) for one in lacking] == [("road width", "unknown")]


@pytest.mark.parametrize(
    ("tags", "more", "what"),
    [
        ({}, {"axles": ()}, []),
        ({"maxaxleload": "5"}, {"axles": ()}, ["axle loads"]),
        ({}, {"axles": (), "mass_kg": 14_000.0}, ["axle loads"]),
        ({}, {"transport": (Transport(name="a", width_m=2.5, height_m=3.4),)}, []),
        (
            {"maxlength": "9"},
            {"transport": (Transport(name="a", width_m=2.5, height_m=3.4),)},
            ["length limit"],
        ),
    ],
)
def test_axles_and_length_are_asked_for_only_where_something_asks(tmp_path, tags, more, what):
    _, _, found = driven(tmp_path, tags, {}, **more)
    assert [one.what for one in found if one.where == "the machine"] == what
    assert all(one.level == "unknown" for one in found if one.where == "the machine")


def test_every_finding_has_a_source_and_a_caution(tmp_path):
    _, _, found = driven(
        tmp_path,
        {"highway": "track", "tracktype": "grade5"},
        {"maxweight:conditional": "3 @ wet", "ford": "yes"},
        node_tags={2: {"barrier": "gate", "locked": "yes"}},
    )
    assert [one for one in found if not one.sources or not one.caution] == []
    ground = next(one for one in found if one.what == "surface")
    assert "osm_tracktype" in ground.sources
    assert "(tracktype=grade5)" in ground.why
    axles = next(one for one in found if one.what == "axle loads")
    assert {"us_weight_caps", "us_bridge_formula"} <= set(axles.sources)


def test_nothing_found_names_the_place_with_the_least_margin(tmp_path):
    _, _, found = driven(tmp_path, {"width": "9"}, {"width": "4"}, {"width": "7"})
    width = next(one for one in found if one.what == "road width")
    assert (width.level, width.value, width.limit) == ("ok", 4.0, 3.5)
    assert "way/22" in width.where
