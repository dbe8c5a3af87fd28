"""The widest machine: by hand, against bisection with the search, against a spanning tree."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path

import networkx as nx
import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from pyproj import CRS
from small_roads import district, machine

from fieldmap.machine import Axle, Machine, Transport
from fieldmap.read.roads import read_roads
from fieldmap.roads.choose import fewest_costs, sure_costs
from fieldmap.roads.district import district_of, hold
from fieldmap.roads.room import MOST_M
from fieldmap.roads.rooms import rooms_in
from fieldmap.roads.search import OnLeg, find_way
from fieldmap.roads.widest import Ends, widest
from fieldmap.roads.width import span
from fieldmap.tables import load_tables

TABLES = load_tables()
SIDES = 2 * TABLES.number("clearances.side_m")
GATE = TABLES.number("clearances.gate_width_m")
#: Goes anywhere by its height, mass and length, so that only its width matters.
SMALL = machine(
    mass_kg=600.0, axles=(Axle(mass_kg=300, position_m=0), Axle(mass_kg=300, position_m=2))
)


def state(width_m):
    return Transport(name="road", width_m=width_m, height_m=1.0, length_m=3.0)


def found(data, start, goal, *, checks=None, whole=True, one: Machine = SMALL):
    """The widest machine from one leg's middle to another's."""
    place = district_of(data, checks)
    rooms = rooms_in(place, hold(place, one, state(1.0), tables=TABLES), whole=whole, tables=TABLES)
    ends = (Ends(at, at) for at in (on(data, start), on(data, goal)))
    return widest(place, rooms, next(ends), [*ends])[0]


def on(data, leg, fraction=0.5):
    return OnLeg(int(np.flatnonzero(data.edges["leg_id"] == leg)[0]), fraction)


def road(width=None, **tags):
    held = {"highway": "unclassified"} | tags
    return held if width is None else held | {"width": str(width)}


TWO_WAYS = {1: (0, 0), 2: (1, 0), 3: (2, 0), 4: (3, 0), 5: (1, 2), 6: (2, 2)}


def two_ways(tmp_path, short, long, **more):
    """From way 1 to way 3 by a short road and a long one."""
    ways = [
        (1, [1, 2], road(9)),
        (2, [2, 3], short),
        (3, [3, 4], road(9)),
        (4, [2, 5, 6, 3], long),
    ]
    return district(tmp_path, TWO_WAYS, ways, **more)


def test_by_hand_the_wider_road_is_taken_and_its_narrowest_place_decides(tmp_path):
    data = two_ways(tmp_path, road(4), road(6))
    answer = found(data, "1-0", "3-0")
    for bound in (answer.surely, answer.possibly):
        assert bound.width_m == pytest.approx(6 - SIDES, abs=1e-6)
        (one,) = bound.decides
        assert (one.place, one.kind, one.low_m, one.high_m) == ("way/4", "width", 6.0, 6.0)
        assert [leg // 2 for leg in bound.way.legs] == [
            on(data, leg).leg for leg in ("1-0", "4-0", "3-0")
        ]


def test_by_hand_a_guess_is_possible_and_not_sure(tmp_path):
    """By hand: a width that is only estimated never makes it wider for sure than its class."""
    sure = found(two_ways(tmp_path, road(4), road(est_width="8", highway="track")), "1-0", "3-0")
    assert sure.surely.width_m == pytest.approx(4 - SIDES, abs=1e-6)
    assert sure.possibly.width_m == pytest.approx(8 - SIDES, abs=1e-6)
    assert [one.place for one in sure.possibly.decides] == ["way/4"]


def test_by_hand_a_gate_decides_with_its_own_clearance(tmp_path):
    data = two_ways(
        tmp_path, road(4), road(9), node_tags={5: {"barrier": "gate", "maxwidth": "5.5"}}
    )
    answer = found(data, "1-0", "3-0")
    assert answer.surely.width_m == pytest.approx(5.5 - GATE, abs=1e-6)
    assert [one.place for one in answer.surely.decides] == ["node/5"]
    gate = two_ways(tmp_path, road(4), road(9), node_tags={5: {"barrier": "gate"}})
    answer = found(gate, "1-0", "3-0")
    assert answer.surely.width_m == pytest.approx(4 - SIDES, abs=1e-6)  # the gate is not known
    assert answer.possibly.width_m == pytest.approx(9 - SIDES, abs=1e-6)


def test_by_hand_nothing_known_is_nothing_sure(tmp_path):
    """By hand: a width that cannot be read; the answer names the place to measure."""
    data = district(tmp_path, {1: (0, 0), 2: (1, 0)}, [(1, [1, 2], road("narrow"))])
    answer = found(data, "1-0", "1-0")
    assert answer.surely.width_m == 0.0
    assert [one.place for one in answer.surely.decides] == ["way/1"]
    assert np.isnan(answer.surely.decides[0].low_m)
    assert answer.possibly.width_m == np.inf


def test_by_hand_a_measure_takes_the_place_of_what_is_mapped(tmp_path):
    checks = pd.DataFrame(
        {
            "place": ["way/4"],
            "kind": ["width"],
            "value": [7.0],
            "who": ["A"],
            "when": pd.to_datetime(["2026-05-02"]),
        }
    )
    answer = found(two_ways(tmp_path, road(4), road(3)), "1-0", "3-0", checks=checks)
    assert answer.surely.width_m == pytest.approx(7 - SIDES, abs=1e-6)
    assert answer.surely.decides[0].basis == "measured"


@pytest.mark.parametrize("whole", [True, False])
def test_by_hand_who_may_not_use_it_does_not_use_it(tmp_path, whole):
    data = two_ways(tmp_path, road(4), road(9, access="no"))
    assert found(data, "1-0", "3-0", whole=whole).possibly.width_m == pytest.approx(4 - SIDES)
    asked = two_ways(tmp_path, road(4), road(9, access="private"))
    answer = found(asked, "1-0", "3-0", whole=whole)
    assert answer.surely.width_m == pytest.approx(4 - SIDES)
    assert answer.possibly.width_m == pytest.approx(9 - SIDES)


def test_by_hand_the_other_checks_count_only_with_a_machine(tmp_path):
    data = two_ways(tmp_path, road(4), road(9, maxheight="0.5"))
    assert found(data, "1-0", "3-0").possibly.width_m == pytest.approx(4 - SIDES)
    assert found(data, "1-0", "3-0", whole=False).surely.width_m == pytest.approx(9 - SIDES)


@pytest.mark.parametrize("width", ["2", "2.5"])
def test_by_hand_a_limit_under_conditions(tmp_path, width):
    """By hand: one that holds for wide machines only lets the narrow ones through."""
    data = two_ways(
        tmp_path, road(2), road(9, **{"maxwidth:conditional": f"1.8 @ (width>{width})"})
    )
    answer = found(data, "1-0", "3-0")
    assert 0.0 < answer.surely.width_m <= float(width)
    assert answer.possibly.width_m == pytest.approx(9 - SIDES, abs=1e-6)


def test_by_hand_one_ways_and_forbidden_turns_hold(tmp_path):
    against = two_ways(tmp_path, road(4), road(9, oneway="-1"))
    assert found(against, "1-0", "3-0").possibly.width_m == pytest.approx(4 - SIDES)
    assert found(against, "3-0", "1-0").possibly.width_m == pytest.approx(9 - SIDES)
    barred = two_ways(
        tmp_path,
        road(4),
        road(9),
        relations=[
            (
                1,
                [("way", 1, "from"), ("node", 2, "via"), ("way", 4, "to")],
                {"type": "restriction", "restriction": "no_left_turn"},
            )
        ],
    )
    assert found(barred, "1-0", "3-0").possibly.width_m == pytest.approx(4 - SIDES)


def test_by_hand_nobody_starts_against_a_one_way(tmp_path):
    """By hand: the start's own leg leads away from the goal; and back on it to a place behind."""
    ways = [(1, [1, 2], road(9, oneway="-1")), (2, [2, 3], road(9))]
    data = district(tmp_path, {1: (0, 0), 2: (1, 0), 3: (2, 0)}, ways)
    assert np.isnan(found(data, "1-0", "2-0").possibly.width_m)
    assert found(data, "2-0", "1-0").possibly.width_m == pytest.approx(9 - SIDES)
    place = district_of(data, None)
    held = hold(place, SMALL, state(1.0), tables=TABLES)
    rooms = rooms_in(place, held, whole=True, tables=TABLES)
    early, late = (Ends(one, one) for one in (on(data, "1-0", 0.2), on(data, "1-0", 0.8)))
    (ahead,) = widest(place, rooms, late, [early])
    (behind,) = widest(place, rooms, early, [late])
    assert ahead.possibly.width_m == pytest.approx(9 - SIDES)
    assert np.isnan(behind.possibly.width_m)


def test_by_hand_no_way_at_all(tmp_path):
    data = district(
        tmp_path,
        {1: (0, 0), 2: (1, 0), 3: (4, 4), 4: (5, 4)},
        [(1, [1, 2], road(5)), (2, [3, 4], road(5))],
    )
    answer = found(data, "1-0", "2-0")
    assert np.isnan(answer.surely.width_m)
    assert np.isnan(answer.possibly.width_m)
    assert answer.surely.way is answer.possibly.way is None


# ---- referee: bisection over widths with the checks and the search themselves

WIDTHS = st.one_of(st.none(), st.integers(25, 90).map(lambda tenths: tenths / 10))
CLASSES = st.sampled_from(["unclassified", "tertiary", "residential", "road"])
ROADS = st.builds(
    lambda width, kind, more: ({} if width is None else {"width": f"{width}"})
    | {"highway": kind}
    | more,
    WIDTHS,
    CLASSES,
    st.sampled_from(
        [{}, {}, {"oneway": "yes"}, {"maxwidth": "3.1"}, {"access": "private"}, {"width": "narrow"},
         {"est_width": "5"}, {"lanes": "2"}, {"width:carriageway": "4.4"}]
    ),
)  # fmt: skip
GATES = st.sampled_from(
    [{}, {}, {}, {"barrier": "gate"}, {"barrier": "gate", "maxwidth": "4.2"},
     {"barrier": "bollard"}, {"barrier": "cattle_grid", "maxwidth": "4", "maxweight": "30"}]
)  # fmt: skip
SIDE = 3
SPOTS = {row * SIDE + column + 1: (column, row) for row in range(SIDE) for column in range(SIDE)}
STEPS = [(one, one + 1) for one in SPOTS if one % SIDE] + [
    (one, one + SIDE) for one in SPOTS if one + SIDE in SPOTS
]


@st.composite
def districts(draw):
    """A grid of three by three with some roads missing, tags, gates and forbidden turns."""
    kept = [step for step in STEPS if draw(st.integers(0, 5)) > 0]
    ways = [(10 + n, list(step), draw(ROADS)) for n, step in enumerate(kept)]
    tags = {node: draw(GATES) for node in SPOTS}
    turns = []
    for n in range(draw(st.integers(0, 2))):
        node = draw(st.sampled_from(sorted(SPOTS)))
        meet = [way for way, step, _ in ways if node in step]
        if len(meet) > 1:
            one, other = draw(st.permutations(meet))[:2]
            members = [("way", one, "from"), ("node", node, "via"), ("way", other, "to")]
            turns.append((n, members, {"type": "restriction", "restriction": "no_left_turn"}))
    return ways, tags, turns


def bisected(place, start, goal, costs_of):
    """The largest width of a machine for which the search finds a way, by halving."""

    @cache
    def gets_there(width_m):
        held = hold(place, SMALL, state(width_m), tables=TABLES)
        checked = replace(held.checked, turns=None)
        return find_way(place.net, costs_of(place, checked, held), start, goal) is not None

    low, high = 1e-6, MOST_M - 1.0
    if not gets_there(low):
        return np.nan
    if gets_there(high):
        return np.inf
    while high - low > 1e-6:
        middle = (low + high) / 2
        low, high = (middle, high) if gets_there(middle) else (low, middle)
    return low


def surely(place, checked, held):
    return sure_costs(place.net, checked)


def possibly(place, checked, held):
    return fewest_costs(place.net, checked, held.fewest.leg_place)


@settings(deadline=None, max_examples=25)
@given(held=districts(), data=st.data())
def test_referee_bisection_with_the_search_itself(tmp_path_factory, held, data):
    """Referee: the checks of a machine of each width, and the search over them."""
    ways, tags, turns = held
    assume(len(ways) > 2)
    roads = district(tmp_path_factory.mktemp("w"), SPOTS, ways, node_tags=tags, relations=turns)
    legs = st.sampled_from(roads.edges["leg_id"].tolist())
    start, goal = data.draw(legs), data.draw(legs)
    place = district_of(roads, None)
    answer = found(roads, start, goal)
    ends = on(roads, start), on(roads, goal)
    sure, possible = (bisected(place, *ends, costs_of) for costs_of in (surely, possibly))
    told = answer.surely.width_m
    assert (0.0 if np.isnan(told) else told) == pytest.approx(np.nan_to_num(sure), abs=1e-5)
    assert answer.possibly.width_m == pytest.approx(possible, abs=1e-5, nan_ok=True)
    for bound in (answer.surely, answer.possibly):
        assert (bound.way is None) == bool(np.isnan(bound.width_m))
        assert bool(bound.decides) == bool(np.isfinite(bound.width_m))


@settings(deadline=None, max_examples=20)
@given(seed=st.integers(0, 10_000))
def test_referee_maximum_spanning_tree(tmp_path_factory, seed):
    """Referee: networkx; on a maximum spanning tree the least edge between two nodes is widest."""
    rng = np.random.default_rng(seed)
    widths = {step: round(float(rng.uniform(3, 12)), 2) for step in STEPS}
    ways = [(10 + n, list(step), road(widths[step])) for n, step in enumerate(STEPS)]
    ends = [(90, [1, 101], road(20)), (91, [9, 102], road(20))]
    spots = SPOTS | {101: (-1, 0), 102: (SIDE, SIDE - 1)}
    roads = district(tmp_path_factory.mktemp("t"), spots, [*ways, *ends])
    graph = nx.Graph()
    graph.add_weighted_edges_from((*step, width) for step, width in widths.items())
    tree = nx.maximum_spanning_tree(graph)
    path = nx.shortest_path(tree, 1, 9)
    least = min(tree.edges[step]["weight"] for step in pairwise(path))
    answer = found(roads, "90-0", "91-0")
    assert answer.surely.width_m == pytest.approx(least - SIDES, abs=1e-6)
    assert answer.possibly.width_m == pytest.approx(least - SIDES, abs=1e-6)


def says_less_than_its_class(tagged):
    """Whether a mapped width is less than roads of its class have, or another tag says more."""
    row = TABLES.constants.get(f"road_widths.{tagged['highway']}")
    least = 0.0 if row is None else span(row)[0]
    return "lanes" in tagged or not tagged["width"][0].isdigit() or float(tagged["width"]) < least


@settings(deadline=None, max_examples=40)
@given(held=districts(), data=st.data())
def test_property_taking_a_width_away_never_widens_what_is_sure(tmp_path_factory, held, data):
    """Property; a width below its class's range is left: it refuses, and that may be lifted."""
    ways, tags, turns = held
    told = {way: tagged for way, _, tagged in ways if "width" in tagged}
    may_go = [way for way, tagged in told.items() if not says_less_than_its_class(tagged)]
    assume(may_go)
    gone = data.draw(st.sampled_from(may_go))
    poorer = [
        (way, refs, {key: one for key, one in tagged.items() if way != gone or key != "width"})
        for way, refs, tagged in ways
    ]
    folder = tmp_path_factory.mktemp("p")
    before, after = (
        district(folder, SPOTS, one, node_tags=tags, relations=turns) for one in (ways, poorer)
    )
    start, goal = (data.draw(st.sampled_from(before.edges["leg_id"].tolist())) for _ in range(2))
    one, other = (found(roads, start, goal).surely.width_m for roads in (before, after))
    assert np.nan_to_num(other, nan=-1.0) <= np.nan_to_num(one, nan=-1.0) + 1e-6


FILE = Path(__file__).parents[2] / ".." / "shared" / "data" / "bayreuth" / "bayreuth.osm.pbf"


@pytest.mark.real_ground
@pytest.mark.skipif(not FILE.is_file(), reason="the district is not here")
def test_referee_a_hair_wider_finds_no_way_on_real_ground():
    """Referee: the search itself, with a machine just as wide and one a millimetre wider."""
    roads = read_roads(FILE, crs=CRS.from_epsg(32632))
    place = district_of(roads, None)
    rooms = rooms_in(
        place, hold(place, SMALL, state(1.0), tables=TABLES), whole=True, tables=TABLES
    )
    rng = np.random.default_rng(20261125)
    legs = rng.integers(0, len(roads.edges), 13).tolist()
    start, *goals = [OnLeg(leg, 0.5) for leg in legs]
    told = widest(place, rooms, Ends(start, start), [Ends(one, one) for one in goals])

    @cache
    def costs(width_m):
        held = hold(place, SMALL, state(width_m), tables=TABLES)
        checked = replace(held.checked, turns=None)
        return surely(place, checked, held), possibly(place, checked, held)

    met = 0
    for one, goal in zip(told, goals, strict=True):
        for side, bound in enumerate((one.surely, one.possibly)):
            if 0.0 < bound.width_m < MOST_M:
                met += 1
                fits, over = (costs(bound.width_m + more)[side] for more in (-0.001, 0.001))
                assert find_way(place.net, fits, start, goal) is not None
                assert find_way(place.net, over, start, goal) is None
    assert met >= 10
