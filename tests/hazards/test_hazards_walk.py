"""One walk over all lines, from the gate, inside the ground; the shortest way inside a polygon."""

from __future__ import annotations

import itertools
import math

import networkx as nx
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.hazards.inside import Inside
from fieldmap.hazards.lines import search_lines
from fieldmap.hazards.order import short_order
from fieldmap.hazards.walk import Walk, walk

HAIR_M = 0.001


def walked(ground: shapely.Geometry, spacing_m: float, **asked: object) -> Walk:
    lines = search_lines(ground, spacing_m=spacing_m).lines
    return walk(lines, **{"inside": ground, "walk_kmh": 4.0} | asked)


def stays_inside(found: Walk, ground: shapely.Geometry) -> bool:
    grown = shapely.buffer(ground, HAIR_M)
    return bool(shapely.covers(grown, [found.line, *found.parts]).all())


def test_back_and_forth_from_the_corner() -> None:
    """By hand: gate in a corner of 100 x 60 m, 10 m apart: 5 m in, six lines, five turns of 10."""
    found = walked(shapely.box(0, 0, 100, 60), 10, gate_xy=(0, 0))
    assert (found.lines_m, found.joins_m, found.length_m) == pytest.approx((600, 55, 655))
    first = shapely.get_coordinates(found.line)[:3]
    assert first == pytest.approx(np.array([[0, 0], [0, 5], [100, 5]]))
    assert (found.crossings, found.crosses_outside) == (0, False)


def test_four_kilometres_take_an_hour() -> None:
    """By hand: at 4 km/h; two who share it and start at its middle take half of it."""
    lines = shapely.linestrings([[(0, 0), (2000, 0)], [(2000, 0), (4000, 0)]])
    strip = shapely.box(0, -1, 4000, 1)
    one = walk(lines, inside=strip, walk_kmh=4, gate_xy=(0, 0))
    assert one.minutes == pytest.approx(60)
    assert walk(lines, inside=strip, walk_kmh=8, gate_xy=(0, 0)).minutes == pytest.approx(30)
    two = walk(lines, inside=strip, walk_kmh=4, gate_xy=(0, 0), walkers=2)
    assert [part.length for part in two.parts] == pytest.approx([2000, 4000])
    assert two.minutes == pytest.approx(60)


def test_walkers_share_the_lines_evenly_and_all_start_at_the_gate() -> None:
    """By hand: three of 650 m, each the way to it on top: 222, 238 and 255 m, rounded."""
    found = walked(shapely.box(0, 0, 100, 60), 10, gate_xy=(0, 0), walkers=3)
    starts = [shapely.get_coordinates(part)[0].tolist() for part in found.parts]
    assert starts == [[0, 0]] * 3
    stretch = 650 / 3
    ends = [found.line.interpolate(5 + stretch * n) for n in (0, 1, 2)]
    expected = [stretch + math.hypot(end.x, end.y) for end in ends]
    assert [part.length for part in found.parts] == pytest.approx(expected)
    together = shapely.union_all(shapely.buffer(np.array(found.parts), HAIR_M))
    assert shapely.covers(together, found.lines).all()


def test_without_a_gate_the_walk_starts_at_the_edge() -> None:
    """By hand: the first line ends on the edge, so nothing is walked before it."""
    found = walked(shapely.box(0, 0, 100, 60), 10)
    assert found.length_m == pytest.approx(650)
    edge = shapely.boundary(shapely.box(0, 0, 100, 60))
    assert shapely.distance(edge, shapely.Point(found.start_xy)) == pytest.approx(0)


def test_a_gate_beside_the_ground_is_left_for_the_nearest_place_inside() -> None:
    """By hand: the gate stands 3 m off the edge."""
    found = walked(shapely.box(0, 0, 100, 60), 10, gate_xy=(-3, 20))
    assert found.start_xy == (0, 20)


def test_round_the_pond() -> None:
    """By hand: from one side of a square pond to the other along two of its corners."""
    ground = shapely.difference(shapely.box(0, 0, 100, 100), shapely.box(40, 40, 60, 60))
    way = Inside(ground).way((30, 55), (70, 55))
    assert way is not None
    assert way.tolist() == [[30, 55], [40, 60], [60, 60], [70, 55]]
    found = walked(ground, 10, gate_xy=(0, 0), walkers=2)
    assert stays_inside(found, ground)
    assert found.lines_m == pytest.approx(960)


def test_two_pieces_are_joined_straight_and_told() -> None:
    """By hand: pieces 20 m apart: one way leaves the ground; a second walker's way too."""
    two = shapely.union(shapely.box(0, 0, 100, 30), shapely.box(120, 0, 220, 30))
    one = walked(two, 10, gate_xy=(0, 0))
    assert (one.crossings, one.crosses_outside) == (1, True)
    assert not stays_inside(one, two)
    assert walked(two, 10, gate_xy=(0, 0), walkers=4).crossings == 3


def test_nothing_to_walk() -> None:
    """By hand: no lines, no walk, no time."""
    found = walk(np.empty(0, dtype=object), inside=shapely.Polygon(), walk_kmh=4, walkers=2)
    assert (found.length_m, found.minutes, found.crossings, found.parts) == (0, 0, 0, ())


def visibility_graph(ground: shapely.Geometry, ends: list[tuple[float, float]]) -> nx.Graph:
    """Every corner and both ends, joined where the straight way is covered by the ground."""
    places = [*ends, *map(tuple, shapely.get_coordinates(ground).tolist())]
    net = nx.Graph()
    grown = shapely.buffer(ground, 1e-6, join_style="mitre")
    for one, two in itertools.combinations(dict.fromkeys(places), 2):
        if shapely.covers(grown, shapely.LineString([one, two])):
            net.add_edge(one, two, weight=math.dist(one, two))
    return net


corner = st.tuples(st.integers(0, 12), st.integers(0, 12))


@given(
    taken=st.lists(st.tuples(corner, corner), min_size=1, max_size=5),
    ends=st.tuples(corner, corner),
)
def test_the_shortest_way_inside_is_the_shortest(
    taken: list[tuple[tuple[int, int], tuple[int, int]]],
    ends: tuple[tuple[int, int], tuple[int, int]],
) -> None:
    """Referee: networkx's shortest path over the visibility graph of a square less some boxes."""
    boxes = [
        shapely.box(*np.minimum(a, b) + 0.25, *np.maximum(a, b) - 0.25)
        for a, b in taken
        if min(np.abs(np.subtract(a, b))) > 0
    ]
    ground = shapely.difference(shapely.box(0, 0, 12, 12), shapely.union_all(boxes))
    if not shapely.covers(ground, shapely.points(ends)).all():
        return
    way = Inside(ground).way(*ends)
    net = visibility_graph(ground, list(ends))
    if ends[0] == ends[1]:
        expected: float | None = 0.0
    elif ends[0] in net and ends[1] in net and nx.has_path(net, *ends):
        expected = nx.shortest_path_length(net, *ends, weight="weight")
    else:
        expected = None
    assert (way is None) == (expected is None)
    if way is not None:
        assert shapely.LineString(way).length == pytest.approx(expected)


spots = st.lists(
    st.tuples(st.floats(0, 100), st.floats(0, 100)), min_size=1, max_size=6, unique=True
)


@given(places=spots)
def test_an_order_is_near_the_shortest(places: list[tuple[float, float]]) -> None:
    """Referee: every order of up to six points tried; never beaten by more than 3 percent."""
    ends = np.repeat(np.array(places, float)[:, None], 2, axis=1)
    found = short_order(ends, (0.0, 0.0))
    every = np.array([[(0.0, 0.0), *some] for some in itertools.permutations(places)])
    shortest = np.hypot(*np.moveaxis(np.diff(every, axis=1), -1, 0)).sum(axis=1).min()
    assert sorted(found.rows.tolist()) == list(range(len(places)))
    assert shortest - 1e-9 <= found.length_m <= 1.03 * shortest + 1e-9


def test_orders_of_lines_are_near_the_shortest() -> None:
    """Referee: every order and sense of 5 lines tried, 40 times; at most 3 percent longer."""
    luck = np.random.default_rng(4)
    senses = list(itertools.product((False, True), repeat=5))
    for _ in range(40):
        ends = luck.uniform(0, 100, (5, 2, 2))
        found = short_order(ends, (0.0, 0.0))
        shortest = math.inf
        for rows in itertools.permutations(range(5)):
            for turned in senses:
                put = [
                    ends[row, ::-1] if t else ends[row] for row, t in zip(rows, turned, strict=True)
                ]
                come = [(0.0, 0.0), *(one[1] for one in put[:-1])]
                shortest = min(
                    shortest, sum(math.dist(a, one[0]) for a, one in zip(come, put, strict=True))
                )
        assert shortest - 1e-9 <= found.length_m <= 1.03 * shortest


discs = st.lists(
    st.tuples(st.floats(0, 200), st.floats(0, 200), st.floats(10, 60)), min_size=1, max_size=5
)


@given(made=discs, holes=discs, gate=st.tuples(st.floats(0, 200), st.floats(0, 200)))
def test_a_walk_has_all_lines_and_stays_inside(
    made: list[tuple[float, float, float]],
    holes: list[tuple[float, float, float]],
    gate: tuple[float, float],
) -> None:
    """Property: over any ground the walk holds every line, is inside but where it says so, is
    the same twice, and is as long as its lines and joins."""
    ground, taken = (
        shapely.union_all([shapely.Point(x, y).buffer(r, quad_segs=3) for x, y, r in some])
        for some in (made, holes)
    )
    ground = shapely.difference(ground, shapely.buffer(taken, -8))
    if ground.area < 1:
        return
    found = walked(ground, 12, gate_xy=gate, walkers=2)
    assert found.crosses_outside or stays_inside(found, ground)
    assert shapely.covers(shapely.buffer(found.line, HAIR_M), found.lines).all()
    assert found.length_m == pytest.approx(found.lines_m + found.joins_m)
    assert found.lines_m == pytest.approx(shapely.length(found.lines).sum())
    assert shapely.equals_exact(walked(ground, 12, gate_xy=gate, walkers=2).line, found.line)
    if len(shapely.get_parts(ground)) == 1:
        assert found.crossings == 0
