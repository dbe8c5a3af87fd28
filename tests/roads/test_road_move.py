"""A whole move on a small invented district, by hand."""

from __future__ import annotations

import pandas as pd
import pytest
from small_roads import LAT, LON, district, machine, spot

from fieldmap.errors import InputError, MisuseError
from fieldmap.roads.move import plan
from fieldmap.tables import load_tables

TABLES = load_tables()
#: Firm, as far as the map says; how wide it is nobody knows.
TRACK = {"highway": "track", "tracktype": "grade2"}
WIDE = {"highway": "tertiary", "width": "14", "name": "Long Road"}
#: A short way 1-2-3-4 with something in the middle, and a long way round by 5 and 6.
NODES = {1: (0, 0), 2: (1, 0), 3: (2, 0), 4: (3, 0), 5: (1, 2), 6: (2, 2)}


def ways(middle, round_):
    return [
        (21, [1, 2], WIDE),
        (22, [2, 3], middle),
        (23, [3, 4], WIDE),
        (24, [2, 5], round_),
        (25, [5, 6], round_),
        (26, [6, 3], round_),
    ]


def move(tmp_path, middle, round_=None, *, checks=None, state=None, node_tags=None, **changes):
    data = district(tmp_path, NODES, ways(middle, round_ or WIDE), node_tags=node_tags)
    return plan(
        data,
        checks,
        machine(**changes),
        state=state,
        start=spot(0.5, 0),
        goal=spot(2.5, 0),
        tables=TABLES,
    )


def driven(found):
    return found.legs["way_id"].tolist()


def test_the_shortest_way_when_everything_passes(tmp_path):
    found = move(tmp_path, WIDE)
    assert (found.level, driven(found)) == ("ok", [21, 22, 23])
    assert found.survey == []
    assert found.refusals == ()
    assert {one.level for one in found.findings} == {"ok"}
    assert all(one.caution for one in found.findings)
    assert not any("safe" in f"{one.why} {one.caution}".lower() for one in found.findings)
    assert found.length_m == pytest.approx(found.legs["length_m"].sum(), abs=1e-6)
    assert found.length_m == pytest.approx(found.legs.geometry.length.sum(), rel=1e-3)
    assert found.minutes == pytest.approx(found.length_m / 500.0)  # 30 km/h is 500 m a minute


def test_a_refusal_is_driven_round_and_told(tmp_path):
    found = move(tmp_path, {"highway": "tertiary", "width": "3"})
    assert (found.level, driven(found)) == ("ok", [21, 24, 25, 26, 23])
    assert found.direct["way_id"].tolist() == [21, 22, 23]
    assert [(one.what, one.value, one.limit) for one in found.refusals] == [
        ("road width", 3.0, 3.5)
    ]


def test_a_sure_way_round_beats_an_unknown_short_one(tmp_path):
    found = move(tmp_path, {"highway": "track"})
    assert (found.level, driven(found)) == ("ok", [21, 24, 25, 26, 23])
    assert set(found.legs["level"]) == {"ok"}


def test_the_fewest_unknown_places_and_what_to_measure(tmp_path):
    found = move(tmp_path, TRACK | {"name": "Lane"}, TRACK)
    assert (found.level, driven(found)) == ("unknown", [21, 22, 23])
    [item] = found.survey
    assert (item["place"], item["must_beat"], item["unit"]) == ("way/22", 3.5, "m")
    lon, lat = spot(1.5, 0)
    assert (item["lon"], item["lat"]) == (
        pytest.approx(lon, abs=1e-5),
        pytest.approx(lat, abs=1e-5),
    )
    assert "Lane" in item["where"]


def test_measuring_what_the_survey_asks_for_settles_it(tmp_path):
    first = move(tmp_path, TRACK, TRACK)
    item = first.survey[0]
    for value, level in ((item["must_beat"], "ok"), (item["must_beat"] - 0.1, "unknown")):
        checks = pd.DataFrame(
            {
                "place": [item["place"]],
                "kind": ["width"],
                "value": [value],
                "who": ["A"],
                "when": pd.to_datetime(["2026-05-02"]),
            }
        )
        again = move(tmp_path, TRACK, TRACK, checks=checks)
        assert again.level == level


def test_stop_names_what_refuses_on_the_direct_way(tmp_path):
    narrow = {"highway": "tertiary", "width": "3"}
    found = move(tmp_path, narrow, narrow)
    assert (found.level, driven(found)) == ("stop", [21, 22, 23])
    assert [one.where for one in found.refusals] == ["unnamed tertiary (way/22)"]
    assert found.survey == []


def test_the_state_asked_for_and_the_one_that_would_pass(tmp_path):
    narrow = {"highway": "tertiary", "width": "4"}
    found = move(tmp_path, narrow, narrow, state="swung")
    assert found.states == {"folded": "ok", "swung": "stop"}
    assert found.level == "stop"
    assert [one.choice for one in found.findings if one.choice] == [
        "folded: nothing found against it"
    ]
    with pytest.raises(MisuseError, match="folded, swung"):
        move(tmp_path, narrow, state="flying")


def test_legs_of_one_way_with_the_same_tags_are_one_place(tmp_path):
    track = TRACK
    data = district(
        tmp_path,
        NODES | {7: (2, 1), 8: (1, 1)},
        [(31, [1, 2, 3, 4], track), (32, [3, 7], track), (33, [2, 8], track)],
    )
    found = plan(
        data, None, machine(), state=None, start=spot(0.5, 0), goal=spot(2.5, 0), tables=TABLES
    )
    assert len(found.legs) == 3
    assert [one["place"] for one in found.survey] == ["way/31"]
    assert len([one for one in found.findings if one.what == "road width"]) == 1


def test_gates_are_met_measured_and_crossings_told(tmp_path):
    found = move(
        tmp_path,
        WIDE,
        {"highway": "track"},
        node_tags={2: {"barrier": "gate"}, 3: {"railway": "level_crossing"}},
    )
    assert found.nodes["node_id"].tolist() == [2, 3]
    assert [(one["place"], one["must_beat"]) for one in found.survey] == [
        ("node/2", pytest.approx(3.1))
    ]
    assert [one.level for one in found.findings if one.what == "railway crossing"] == ["care"]


def test_under_a_bridge_and_a_power_line(tmp_path):
    data = district(
        tmp_path,
        NODES | {8: (0.5, -1), 9: (0.5, 1), 10: (1.5, -1), 11: (1.5, 1)},
        [
            (41, [1, 2], WIDE),
            (42, [2, 3], WIDE),
            (43, [8, 9], {"railway": "rail", "bridge": "yes"}),
            (44, [10, 11], {"power": "line"}),
        ],
    )
    found = plan(
        data, None, machine(), state=None, start=spot(0.1, 0), goal=spot(1.9, 0), tables=TABLES
    )
    assert found.legs["under"].tolist() == [("bridge way/43",), ("power line way/44",)]
    assert [(one["place"], one["must_beat"]) for one in found.survey] == [
        ("leg/41-0", pytest.approx(3.7)),
        ("leg/42-0", pytest.approx(3.4 + 3.05)),
    ]
    assert "never measure it yourself" in found.survey[1]["measure"]


def test_two_bridges_over_one_way_are_two_places(tmp_path):
    data = district(
        tmp_path,
        NODES | {8: (0.5, -1), 9: (0.5, 1), 10: (1.5, -1), 11: (1.5, 1), 12: (1, 1)},
        [
            (41, [1, 2, 3], WIDE),
            (42, [2, 12], WIDE),
            (43, [8, 9], {"railway": "rail", "bridge": "yes"}),
            (44, [10, 11], {"railway": "rail", "bridge": "yes"}),
        ],
    )
    found = plan(
        data, None, machine(), state=None, start=spot(0.1, 0), goal=spot(1.9, 0), tables=TABLES
    )
    assert [one["place"] for one in found.survey] == ["leg/41-0", "leg/41-1"]
    assert len([one for one in found.findings if one.what == "clear height"]) == 2


def test_a_missing_figure_of_the_machine_is_one_thing_to_measure(tmp_path):
    found = move(tmp_path, WIDE, transport=())
    assert found.level == "unknown"
    assert driven(found) == [21, 22, 23]
    assert {one["place"] for one in found.survey} == {"machine"}
    assert len(found.survey) == 2  # width and height; the mass is known


def test_off_the_roads_is_unknown_and_too_far_is_refused(tmp_path):
    data = district(tmp_path, NODES, ways(WIDE, WIDE))
    off = (LON + 0.001, LAT - 0.0005)  # about 56 m south of the road
    found = plan(data, None, machine(), state=None, start=off, goal=spot(2.5, 0), tables=TABLES)
    assert found.level == "unknown"
    [stretch] = [one for one in found.findings if one.what == "ground off the roads"]
    assert stretch.value == pytest.approx(55.6, abs=0.3)
    named = plan(
        data,
        None,
        machine(),
        state=None,
        start=off,
        goal=spot(2.5, 0),
        tables=TABLES,
        names=("Old Barn", "Top Field"),
    )
    assert [one.where for one in named.findings if one.what == "ground off the roads"] == [
        "Old Barn"
    ]
    with pytest.raises(InputError, match=r"222 m|223 m"):
        plan(
            data,
            None,
            machine(),
            state=None,
            start=(LON, LAT - 0.002),
            goal=spot(2.5, 0),
            tables=TABLES,
        )


def test_no_way_on_the_map_is_unknown(tmp_path):
    data = district(tmp_path, NODES, [(51, [1, 2], WIDE), (52, [5, 6], WIDE)])
    found = plan(
        data, None, machine(), state=None, start=spot(0.5, 0), goal=spot(1.5, 2), tables=TABLES
    )
    assert found.level == "unknown"
    assert len(found.legs) == 0
    assert found.minutes is None
