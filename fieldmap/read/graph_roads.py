"""Ways out of a road graph, put in order again and handed on like a pass over a map file."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from fieldmap.read.graphml import ASKED_OF_NODES, ASKED_OF_WAYS, Graph, GraphWay, Pair, read_graph
from fieldmap.read.osm_scan import PER_DEGREE, Scan, Ways
from fieldmap.read.osm_words import above_as, is_road, with_ford
from fieldmap.read.road_tags import LIMITS, Tags, says_something

RESTRICTIONS = "turn restrictions"
POWER_LINES = "power lines"
BRIDGES = "bridges that carry no road"
SIGNS = "limits and rules on signs"
POINTS = "gates, bars and limits at points"
#: What a graph that holds it must have asked of ways, and of points.
_SIGNS_ASKED = (*LIMITS[:5], "access", "motor_vehicle", "ford", "tunnel", "bridge", "oneway")
_POINTS_ASKED = ("barrier", "maxwidth", "maxheight", "maxweight", "access", "ford")


def scan_graph(path: str | Path) -> tuple[Scan, tuple[str, ...]]:
    """The ways and points of a GraphML file, and what such a file cannot hold.

    A graph that was not fetched by fieldmap does not say which tags were asked for: a limit
    that stands nowhere in it may stand on the road. What it lacks is then told.

    Raises
    ------
    InputError
        See :func:`fieldmap.read.graphml.read_graph`.
    """
    graph = read_graph(path)
    found = Scan()
    shared = _shared(graph)
    for way_id in sorted(graph.ways):
        way = graph.ways[way_id]
        tags = _tags(way)
        parts = trails(way.along, shared)
        if tags.get("oneway") in ("-1", "reverse"):  # such a line was turned about on fetching
            parts = [part[::-1] for part in parts]
        for part in parts:
            if is_road(tags):
                _take(found.roads, way_id, with_ford(tags), part, graph)
            if above_as(tags):
                _take(found.above, way_id, tags, part, graph)
    found.node_tags = {
        key: with_ford(tags) for key, (_, _, tags) in graph.nodes.items() if says_something(tags)
    }
    return found, lacks_of(graph)


def lacks_of(graph: Graph) -> tuple[str, ...]:
    """What kinds of fact a graph does not hold, or may not hold.

    Examples
    --------
    >>> lacks_of(Graph())[:2]
    ('turn restrictions', 'power lines')
    >>> asked = {ASKED_OF_WAYS: " ".join(("power", "railway", *_SIGNS_ASKED)),
    ...          ASKED_OF_NODES: " ".join(_POINTS_ASKED)}
    >>> lacks_of(Graph(about=asked))
    ('turn restrictions',)
    """
    ways = set(graph.about.get(ASKED_OF_WAYS, "").split())
    points = set(graph.about.get(ASKED_OF_NODES, "").split())
    lacks = {
        RESTRICTIONS: True,
        POWER_LINES: "power" not in ways,
        BRIDGES: not ways >= {"bridge", "railway"},
        SIGNS: not ways >= set(_SIGNS_ASKED),
        POINTS: not points >= set(_POINTS_ASKED),
    }
    return tuple(words for words, missing in lacks.items() if missing)


def _tags(way: GraphWay) -> Tags:
    """The way's tags; a one-way sign is what the graph's edges say, else what was mapped."""
    tags = dict(way.tags)
    if way.one_way not in ("True", "False"):
        return tags if way.one_way is None else {**tags, "oneway": way.one_way}
    if way.one_way == "False" and way.against >= set(way.along):
        return tags  # open both ways, unless its class says otherwise
    return {**_either_way(tags), "oneway": "yes"}


def _either_way(tags: Tags) -> Tags:
    """Tags of a line that may have been turned about: what binds one direction binds both."""
    both = dict(tags)
    for key, text in tags.items():
        name, _, bound = key.rpartition(":")
        if bound in ("forward", "backward"):
            other = f"{name}:{'backward' if bound == 'forward' else 'forward'}"
            said = tags.get(other, text)
            both[key] = text if said == text else f"{min(text, said)};{max(text, said)}"
            both[other] = both[key]
    return both


def _shared(graph: Graph) -> frozenset[int]:
    """Points on more than one road."""
    roads = (way.along for way in graph.ways.values() if is_road(way.tags))
    ways = Counter(one for along in roads for one in {end for pair in along for end in pair})
    return frozenset(one for one, count in ways.items() if count > 1)


def trails(pairs: list[Pair], shared: frozenset[int] = frozenset()) -> list[list[int]]:
    """Points in the order of the line, one list for each piece of it.

    A line that runs round has no first point in a graph; it begins at a point that is
    ``shared`` with other ways, if it has any.

    Examples
    --------
    >>> trails([(2, 3), (1, 2)]), trails([]), trails([(1, 2), (8, 9)])
    ([[1, 2, 3]], [], [[1, 2], [8, 9]])
    >>> trails([(3, 4), (4, 2), (2, 3), (1, 2)])  # a line that ends on itself
    [[1, 2, 3, 4, 2]]
    >>> trails([(1, 2), (2, 3), (3, 1)], frozenset([3]))
    [[3, 1, 2, 3]]
    """
    ahead: dict[int, list[int]] = {}
    for one, other in sorted(pairs, reverse=True):
        ahead.setdefault(one, []).append(other)
    more = Counter(one for one, _ in pairs)
    more.subtract(Counter(other for _, other in pairs))
    starts = [one for one in sorted(ahead) for _ in range(more[one])]
    found = [_walk(ahead, start) for start in starts]
    met = set().union(*found)
    rounds = sorted(ahead, key=lambda one: (one not in met, one not in shared, one))
    found.extend(_walk(ahead, start) for start in rounds if ahead[start])
    return found


def _walk(ahead: dict[int, list[int]], start: int) -> list[int]:
    part = [start]
    while ahead.get(part[-1]):
        part.append(ahead[part[-1]].pop())
    return part


def _take(ways: Ways, way_id: int, tags: Tags, part: list[int], graph: Graph) -> None:
    ways.ids.append(way_id)
    ways.tags.append(tags)
    ways.refs.extend(part)
    for one in part:
        lon, lat, _ = graph.nodes[one]
        ways.x.append(round(lon * PER_DEGREE))
        ways.y.append(round(lat * PER_DEGREE))
    ways.start.append(len(ways.refs))
