"""A small drawing board for a road network: nodes, pieces of road, ways, restrictions."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import osmium
from makers.place import INVENTED, lonlat
from osmium.osm.mutable import Node, Relation, Way
from shapely.geometry import LineString, Point

FIRST_NODE, FIRST_WAY, FIRST_RELATION = 10_001, 2_001, 9_001
Tags = dict[str, str]


@dataclass
class Piece:
    """A stretch of road with one set of tags, not yet a way."""

    nodes: list[int]
    tags: Tags


@dataclass
class Net:
    """Everything drawn so far, in local metres; identities count up as things are drawn."""

    places: dict[int, tuple[float, float]] = field(default_factory=dict)
    node_tags: dict[int, Tags] = field(default_factory=dict)
    ways: dict[int, Piece] = field(default_factory=dict)
    relations: list[tuple[Tags, list[tuple[str, int, str]]]] = field(default_factory=list)

    def node(self, x: float, y: float, **tags: str) -> int:
        """A new node at a local place."""
        number = FIRST_NODE + len(self.places)
        self.places[number] = (x, y)
        self.node_tags[number] = tags
        return number

    def path(self, *stops: int | tuple[float, float]) -> list[int]:
        """Node numbers of a line through nodes and bare places."""
        return [stop if isinstance(stop, int) else self.node(*stop) for stop in stops]

    def way(self, nodes: list[int], **tags: str) -> int:
        """A new way along these nodes."""
        return self.add(Piece(nodes, tags))

    def add(self, piece: Piece) -> int:
        """A piece of road as a way."""
        number = FIRST_WAY + len(self.ways)
        self.ways[number] = piece
        return number

    def line(self, nodes: list[int]) -> LineString:
        """The line through these nodes, local metres."""
        return LineString([self.places[node] for node in nodes])

    def put_on(self, piece: Piece, at: tuple[float, float], **tags: str) -> int:
        """A new node on a piece of road, where it passes nearest to a place."""
        line = self.line(piece.nodes)
        along = line.project(Point(at))
        spot = line.interpolate(along)
        number = self.node(spot.x, spot.y, **tags)
        before = [line.project(Point(self.places[node])) <= along for node in piece.nodes]
        before[0], before[-1] = True, False
        piece.nodes.insert(before.index(False), number)
        return number

    def restrict(self, rule: str, start: int, via: tuple[str, int], end: int, **more: str) -> None:
        """A turn restriction from one way to another by a node (``"n"``) or a way (``"w"``)."""
        members = [("w", start, "from"), (via[0], via[1], "via"), ("w", end, "to")]
        self.relations.append(({"type": "restriction", "restriction": rule, **more}, members))

    def write(self, path: Path) -> None:
        """Write all of it, nodes before ways before relations."""
        header = osmium.io.Header()
        header.set("generator", INVENTED)
        path.unlink(missing_ok=True)
        with osmium.SimpleWriter(str(path), header=header) as out:
            for number, place in self.places.items():
                tags = self.node_tags[number]
                out.add_node(Node(id=number, location=lonlat(*place), tags=tags))
            for number, piece in self.ways.items():
                out.add_way(Way(id=number, nodes=piece.nodes, tags=piece.tags))
            for place_in_file, (tags, members) in enumerate(self.relations):
                number = FIRST_RELATION + place_in_file
                out.add_relation(Relation(id=number, members=members, tags=tags))


def split(net: Net, piece: Piece, start: float, end: float, **tags: str) -> list[Piece]:
    """A piece as up to three, the part between two distances (m) with more tags."""
    line = net.line(piece.nodes)
    first, second = line.interpolate(start), line.interpolate(end)
    a = net.put_on(piece, (first.x, first.y))
    b = net.put_on(piece, (second.x, second.y))
    i, j = piece.nodes.index(a), piece.nodes.index(b)
    return [
        Piece(piece.nodes[: i + 1], dict(piece.tags)),
        Piece(piece.nodes[i : j + 1], {**piece.tags, **tags}),
        Piece(piece.nodes[j:], dict(piece.tags)),
    ]
