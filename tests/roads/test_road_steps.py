"""A way as driving steps, on small invented districts. By hand, unless a test says otherwise."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from small_roads import district, machine, spot

from fieldmap.finding import LEVELS, Finding, rank
from fieldmap.roads.answer import Corner
from fieldmap.roads.move import plan
from fieldmap.roads.step_met import AT_ENDS, throughout
from fieldmap.roads.steps import steps
from fieldmap.roads.wording import WHAT
from fieldmap.tables import load_tables

TABLES = load_tables()
ROAD = {"highway": "tertiary", "width": "7"}


def named(name, **more):
    return ROAD | {"name": name} | more


def bare(move):
    """A move with the checks of its legs and nodes alone; the rest is put in by hand."""
    own = tuple(one for one in move.findings if one.what in (*WHAT.values(), *AT_ENDS))
    return replace(move, corners=(), meeting={}, profile=None, findings=own)


def driven(tmp_path, nodes, ways, start, goal, *, known=True, **more):
    """A move on a small district and its steps."""
    size = more.pop("machine", {})
    data = district(tmp_path, nodes, ways, **more)
    move = plan(
        data, None, machine(**size), state=None, start=spot(*start), goal=spot(*goal),
        tables=TABLES, names=("yard", "far field"),
    )  # fmt: skip
    move = bare(move)
    return move, steps(move, data if known else None, tables=TABLES)


#: East on Long Road, left up Hill Lane, right on Top Road; a stub leaves each corner.
CROSS = {1: (0, 0), 2: (2, 0), 3: (2, 2), 4: (4, 2), 5: (3, 0), 6: (2, 3)}
CROSS_WAYS = [
    (11, [1, 2], named("Long Road")),
    (12, [2, 3], named("Hill Lane")),
    (13, [3, 4], named("Top Road")),
    (14, [2, 5], named("Long Road")),
    (15, [3, 6], named("Hill Lane")),
]


def test_turns_are_said_with_side_and_road(tmp_path):
    """A column is about 143 m of longitude at 50 degrees, a row 222 m."""
    _, told = driven(tmp_path, CROSS, CROSS_WAYS, (0.5, 0), (3.5, 2))
    assert [one.words for one in told] == [
        "From yard go east on Long Road",
        "Turn left onto Hill Lane",
        "Turn right onto Top Road",
        "Arrive at far field",
    ]
    assert [one.n for one in told] == [1, 2, 3, 4]
    assert [one.ways for one in told] == [(11,), (12,), (13,), ()]
    assert [round(one.length_m, -1) for one in told] == [220, 440, 220, 0]
    assert [round(one.turn_deg) for one in told[1:3]] == [-90, 90]
    assert [round(one.bearing_deg / 90) % 4 for one in told[:3]] == [1, 0, 1]
    assert told[1].lon == pytest.approx(spot(2, 0)[0], abs=1e-6)
    assert told[1].lat == pytest.approx(spot(2, 0)[1], abs=1e-6)
    assert {one.level for one in told} == {"ok"}


def test_steps_cover_the_way_without_gap_or_overlap(tmp_path):
    """Property on one way: legs and metres of the steps are those of the move, each once."""
    move, told = driven(tmp_path, CROSS, CROSS_WAYS, (0.5, 0), (3.5, 2))
    rows = [row for one in told for row in range(*one.legs)]
    assert rows == list(range(len(move.legs)))
    assert sum(one.length_m for one in told) == pytest.approx(move.legs.geometry.length.sum())
    ends = [one.from_m + one.length_m for one in told]
    assert [one.from_m for one in told[1:]] == pytest.approx(ends[:-1])


def test_a_road_that_only_bends_is_one_step(tmp_path):
    """At node 3 the road turns by 90 degrees and nothing else leaves: no step."""
    nodes = {1: (0, 0), 2: (1, 0), 3: (2, 0), 4: (2, 1)}
    ways = [(11, [1, 2, 3], named("Long Road")), (12, [3, 4], named("Long Road"))]
    _, told = driven(tmp_path, nodes, ways, (0.5, 0), (2, 0.9))
    assert [one.words for one in told] == ["From yard go east on Long Road", "Arrive at far field"]
    assert told[0].ways == (11, 12)


def test_a_turn_within_one_road_is_a_step_where_another_road_leaves(tmp_path):
    nodes = {1: (0, 0), 3: (2, 0), 4: (2, 1), 5: (3, 0)}
    ways = [
        (11, [1, 3], named("Long Road")),
        (12, [3, 4], named("Long Road")),
        (13, [3, 5], named("Other Road")),
    ]
    move, told = driven(tmp_path, nodes, ways, (0.5, 0), (2, 0.9))
    assert told[1].words == "Turn left to stay on Long Road"
    # Without the roads a turn of 90 degrees is a step all the same.
    assert steps(move, None, tables=TABLES)[1].words == "Turn left to stay on Long Road"


def test_a_road_that_bends_where_a_side_road_leaves_is_one_step(tmp_path):
    """The road bears 35 degrees to the left; the side road leaves at 90 to the right."""
    far = 2 + math.cos(math.radians(35)) / 0.6428
    nodes = {1: (0, 0), 2: (2, 0), 3: (far, math.sin(math.radians(35))), 4: (2, -1)}
    ways = [
        (11, [1, 2], named("Long Road")),
        (12, [2, 3], named("Long Road")),
        (13, [2, 4], named("Other Road")),
    ]
    _, told = driven(tmp_path, nodes, ways, (0.5, 0), nodes[3])
    assert [one.words for one in told] == ["From yard go east on Long Road", "Arrive at far field"]


@pytest.mark.parametrize(
    ("ours", "other", "words"),
    [
        (35, 0, "Bear left to stay on Long Road"),
        (10, -12, "Keep left to stay on Long Road"),
        (-12, 10, "Keep right to stay on Long Road"),
        (5, 20, "Keep right to stay on Long Road"),
    ],
)
def test_at_a_fork_the_side_is_said(tmp_path, ours, other, words):
    """Degrees to the left of east; another road goes ahead as well."""

    def spoke(deg):
        return 2 + math.cos(math.radians(deg)) / 0.6428, math.sin(math.radians(deg))

    nodes = {1: (0, 0), 2: (2, 0), 3: spoke(ours), 4: spoke(other)}
    ways = [
        (11, [1, 2], named("Long Road")),
        (12, [2, 3], named("Long Road")),
        (13, [4, 2], named("Other Road")),
    ]
    _, told = driven(tmp_path, nodes, ways, (0.5, 0), nodes[3])
    assert told[1].words == words
    ways[2] = (13, [4, 2], named("Other Road", oneway="yes"))  # nobody may drive into it
    _, told = driven(tmp_path, nodes, ways, (0.5, 0), nodes[3])
    assert len(told) == 2


def test_a_new_name_straight_ahead_and_a_road_without_a_name(tmp_path):
    nodes = {1: (0, 0), 2: (2, 0), 3: (4, 0.05), 4: (5, 1.2)}
    ways = [
        (11, [1, 2], named("Long Road")),
        (12, [2, 3], named("Dale Road")),
        (13, [3, 4], {"highway": "track", "tracktype": "grade1", "width": "7"}),
    ]
    _, told = driven(tmp_path, nodes, ways, (0.5, 0), (4.9, 1.1))
    assert told[1].words == "Straight on, now on Dale Road"
    assert told[2].words == "Turn left onto an unnamed track"  # 62 degrees off east, less 4


def test_bear_and_sharp(tmp_path):
    """35 degrees is bearing, 144 degrees is sharp; a column is 0.644 of a row."""
    far = 2 + math.cos(math.radians(35)) / 0.6428
    nodes = {1: (0, 0), 2: (2, 0), 3: (far, math.sin(math.radians(35)))}
    ways = [(11, [1, 2], named("Long Road")), (12, [2, 3], named("Hill Lane"))]
    _, told = driven(tmp_path, nodes, ways, (0.5, 0), (far, math.sin(math.radians(35))))
    assert told[1].words == "Bear left onto Hill Lane"
    nodes[3] = (2 - math.cos(math.radians(36)) / 0.6428, -math.sin(math.radians(36)))
    _, told = driven(tmp_path, nodes, ways, (0.5, 0), nodes[3])
    assert told[1].words == "Turn sharp right onto Hill Lane"


#: A roundabout 10-11-12-13 driven against the clock; roads leave to the east, north and west.
RING = {1: (0, -2), 10: (0, -0.3), 11: (0.45, 0), 12: (0, 0.3), 13: (-0.45, 0),
        2: (3, 0), 3: (0, 3), 4: (-3, 0)}  # fmt: skip
RING_WAYS = [
    (20, [1, 10], named("South Road")),
    (21, [10, 11, 12, 13, 10], named("", junction="roundabout")),
    (22, [11, 2], named("East Road")),
    (23, [12, 3], named("North Road")),
    (24, [13, 4], named("West Road")),
]


@pytest.mark.parametrize(
    ("goal", "words"),
    [
        ((2.5, 0), "At the roundabout take the 1st exit onto East Road"),
        ((0, 2.5), "At the roundabout take the 2nd exit onto North Road"),
        ((-2.5, 0), "At the roundabout take the 3rd exit onto West Road"),
    ],
)
def test_the_exit_of_a_roundabout_is_counted(tmp_path, goal, words):
    _, told = driven(tmp_path, RING, RING_WAYS, (0, -1.5), goal)
    assert [one.words for one in told] == [
        "From yard go north on South Road", words, "Arrive at far field"
    ]  # fmt: skip
    assert told[1].road == words.rpartition("onto ")[2]
    assert told[1].ways[0] == 21


def test_an_exit_that_is_closed_to_traffic_is_not_counted(tmp_path):
    """The east road is one-way towards the roundabout: the north road is the first exit."""
    ways = [*RING_WAYS]
    ways[2] = (22, [2, 11], named("East Road", oneway="yes"))
    _, told = driven(tmp_path, RING, ways, (0, -1.5), (0, 2.5))
    assert told[1].words == "At the roundabout take the 1st exit onto North Road"


#: One road of three pieces with a gate, a crossing and a ford at its nodes.
ROW = {1: (0, 0), 2: (1, 0), 3: (2, 0), 4: (3, 0), 5: (4, 0)}
ROW_WAYS = [(31, [1, 2, 3, 4, 5], named("Long Road"))]


def test_what_is_met_stands_at_its_step_in_order(tmp_path):
    tags = {
        2: {"barrier": "gate", "maxwidth": "6"},
        3: {"railway": "level_crossing"},
        4: {"ford": "yes"},
    }
    _, told = driven(tmp_path, ROW, ROW_WAYS, (0.5, 0), (3.5, 0), node_tags=tags)
    assert [one.what for one in told[0].met] == ["gate", "level crossing", "ford"]
    gate, rails, ford = told[0].met
    assert gate.words.startswith("Stop; open the gate, fix it open, drive through, close it.")
    assert rails.level == "care"
    assert rails.words.startswith("Stop, look and listen")
    assert (rails.ask, rails.caution.partition(":")[0]) == ("railway", "WARNING")
    assert (ford.level, told[0].level) == ("unknown", "unknown")
    assert [one.at_m for one in told[0].met] == pytest.approx([70, 215, 360], abs=5)


def test_a_refused_leg_is_told_where_it_begins_with_whom_to_ask(tmp_path):
    """The middle way carries 3 t; there is no other way, so the direct one is told."""
    ways = [
        (31, [1, 2], named("Long Road")),
        (32, [2, 3], named("Long Road", maxweight="3")),
        (33, [3, 4, 5], named("Long Road")),
    ]
    move, told = driven(tmp_path, ROW, ways, (0.5, 0), (3.5, 0))
    assert move.level == told[0].level == "stop"
    (mass,) = [one for one in told[0].met if one.what == "mass limit"]
    assert mass.level == "stop"
    assert mass.ask == "bridge's owner or county engineer"
    assert mass.at_m == pytest.approx(71.5, abs=2)
    assert mass.long_m == pytest.approx(143, abs=3)
    assert mass.caution.startswith("WARNING")


def test_a_power_line_is_asked_of_its_owner(tmp_path):
    nodes = ROW | {8: (1.5, -1), 9: (1.5, 1)}
    ways = [*ROW_WAYS, (90, [8, 9], {"power": "line"})]
    _, told = driven(tmp_path, nodes, ways, (0.5, 0), (3.5, 0))
    (line,) = [one for one in told[0].met if one.what == "clear height"]
    assert (line.level, line.ask) == ("unknown", "power line's owner")


def test_a_figure_the_machine_lacks_is_told_once_and_not_at_every_step(tmp_path):
    """Height not given: no step repeats it, but no step is better than unknown."""
    from fieldmap.machine import Transport

    size = {"transport": (Transport(name="folded", width_m=2.5, length_m=9.0),)}
    move, told = driven(tmp_path, CROSS, CROSS_WAYS, (0.5, 0), (3.5, 2), machine=size)
    assert [one.what for step in told for one in step.met] == []
    assert {one.level for one in told[:-1]} == {"unknown"}
    assert "clear height" in [one.what for one in throughout(move)]


def a_corner(level, lon, lat, **more):
    figures = {
        "place": "node/2",
        "low_m": 4.0,
        "high_m": 6.0,
        "need_m": 5.0,
        "deflection_deg": -90.0,
    }
    blank = {"lane_low": [], "lane_high": [], "swept": [], "path": []}
    return Corner(
        where="Long Road into Hill Lane", level=level, why="Not known.",
        lon=lon, lat=lat, **(figures | blank | more),
    )  # fmt: skip


def test_corners_meetings_and_findings_with_a_place_stand_at_their_step(tmp_path):
    move, _ = driven(tmp_path, CROSS, CROSS_WAYS, (0.5, 0), (3.5, 2))
    data = district(tmp_path, CROSS, CROSS_WAYS)
    corner, fine = a_corner("unknown", *spot(2, 0)), a_corner("ok", *spot(2, 2))
    crest = Finding(
        level="care", what="sight at a crest", where="Hill Lane", why="A car is seen late.",
        basis="assumed", caution="CAUTION: lights on.", lon=spot(2, 1)[0], lat=spot(2, 1)[1],
    )  # fmt: skip
    away = replace(crest, what="far off", lat=spot(9, 9)[1])
    runs = [
        {"sure": "possibly", "from_m": 540.0, "to_m": 740.0},
        {"sure": "surely", "from_m": 540.0, "to_m": 600.0},
        {"sure": "possibly", "from_m": 760.0, "to_m": 860.0},
    ]
    aside = [
        {"sure": "surely", "at_m": 540.0},
        {"sure": "possibly", "at_m": 600.0},
        {"sure": "surely", "at_m": 860.0},
    ]
    more = replace(
        move.with_more([crest, away]), corners=(corner, fine),
        meeting={"runs": runs, "pull_ins": aside},
    )  # fmt: skip
    told = steps(more, data, tables=TABLES)
    met = [(step.n, one.what, one.level) for step in told for one in step.met]
    assert met == [
        (2, "corner to the left", "unknown"),
        (2, "sight at a crest", "care"),
        (2, "single file", "care"),
        (3, "single file", "care"),
    ]
    assert [one.level for one in told] == ["ok", "unknown", "care", "ok"]
    single = [one for step in told for one in step.met if one.what == "single file"]
    turn_m = told[2].from_m  # where Top Road begins, about 660 m
    assert single[0].at_m == pytest.approx(540.0, abs=1)
    assert single[0].long_m == pytest.approx(turn_m - 540.0, abs=1)
    assert single[1].at_m == pytest.approx(turn_m)
    assert single[1].long_m == pytest.approx(740.0 - turn_m + 100.0, abs=1)
    assert single[0].words.endswith("Places to pull in: 1 sure, 1 to look at first.")
    assert single[1].words.endswith("Places to pull in: 1 sure, 0 to look at first.")


def test_what_lies_at_a_turn_belongs_to_the_step_it_begins(tmp_path):
    """A corner 30 cm before the turn, as rounded places are; the farm gate at the arrival."""
    move, _ = driven(tmp_path, CROSS, CROSS_WAYS, (0.5, 0), (3.5, 2))
    before = a_corner("unknown", spot(2, 0)[0] - 0.3 / 71_500, spot(2, 0)[1])
    gate = a_corner("unknown", *spot(3.5, 2), place="gate/G1")
    told = steps(replace(move, corners=(before, gate)), None, tables=TABLES)
    met = [(step.n, one.what) for step in told for one in step.met]
    assert met == [(2, "corner to the left"), (4, "turn through the gate")]


def test_low_gear_is_told_where_the_first_descent_begins(tmp_path):
    """9 % down over 100 m from 200 m on, 8 % up over 60 m, down again; 20 m is too short."""
    move, _ = driven(tmp_path, ROW, ROW_WAYS, (0.5, 0), (3.5, 0))
    chain = [0.0, 50.0, 70.0, 200.0, 250.0, 300.0, 360.0, 400.0, 429.0]
    grade = [0.0, -12.0, 1.0, -7.0, -9.0, 8.0, -6.0, math.nan, None]
    profile = {"chainage_m": chain, "height_m": [0.0] * 9, "grade_pct": grade}
    told = steps(replace(move, profile=profile), None, tables=TABLES)
    down, up = told[0].met
    assert (down.what, up.what) == ("steep descent", "steep climb")
    assert (down.at_m, down.long_m) == (pytest.approx(200, abs=0.5), pytest.approx(140, abs=0.5))
    assert (up.at_m, up.long_m) == (pytest.approx(300, abs=0.5), pytest.approx(60, abs=0.5))
    assert down.words.endswith("down to 9% falling, 2 times.")
    assert up.words.endswith("up to 8% rising.")
    assert told[0].level == "care"


def test_what_was_found_at_the_ends_stands_at_the_first_and_last_step(tmp_path):
    move, _ = driven(tmp_path, ROW, ROW_WAYS, (0.5, 0), (3.5, 0))
    gate = Finding(
        level="stop", what="farm gate", where="G1", why="Too narrow.", basis="measured",
        lon=move.goal[0], lat=move.goal[1],
    )  # fmt: skip
    verge = replace(gate, level="care", what="ground off the roads", where="yard", lon=None)
    told = steps(move.with_more([gate, verge]), None, tables=TABLES)
    assert [(one.what, one.level) for one in told[0].met] == [("ground off the roads", "care")]
    assert [(one.what, one.level) for one in told[-1].met] == [("farm gate", "stop")]
    assert [one.level for one in told] == ["care", "stop"]


def test_no_way_no_steps(tmp_path):
    nodes = {1: (0, 0), 2: (1, 0), 3: (0, 2), 4: (1, 2)}
    ways = [(11, [1, 2], named("Long Road")), (12, [3, 4], named("Other Road"))]
    move, told = driven(tmp_path, nodes, ways, (0.5, 0), (0.5, 2))
    assert (len(move.legs), told) == (0, ())


@pytest.mark.parametrize("level", LEVELS)
def test_a_step_is_never_better_than_its_legs(tmp_path, level):
    """Property: whatever level a leg has, its step has it or a worse one."""
    move, _ = driven(tmp_path, CROSS, CROSS_WAYS, (0.5, 0), (3.5, 2))
    legs = move.legs.copy()
    legs.loc[1, "level"] = level
    told = steps(replace(move, legs=legs), None, tables=TABLES)
    for one in told:
        for row in range(*one.legs):
            assert rank(one.level) >= rank(legs["level"].iloc[row])
