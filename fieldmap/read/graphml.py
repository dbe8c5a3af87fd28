"""A road graph as OSMnx saves it (GraphML); a document type or an entity is refused."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from xml.parsers import expat

from fieldmap.errors import Fault, InputError
from fieldmap.read.osm_guard import guarded
from fieldmap.read.road_tags import Tags, of_node, of_way

SUFFIX = ".graphml"
#: Graph attributes in which a file fetched by fieldmap says which tags were asked for.
ASKED_OF_WAYS, ASKED_OF_NODES = "fieldmap_way_tags", "fieldmap_node_tags"
_CHUNK = 1 << 20
_DEGREES = ("4326", "crs84", "wgs 84", "wgs84")

Pair = tuple[int, int]


@dataclass(slots=True)
class GraphWay:
    """The edges of one way: ``along`` its line as the graph has it, ``against`` it."""

    tags: Tags
    one_way: str | None  # "True", "False", a raw tag value, or None when nothing stands there
    along: list[Pair] = field(default_factory=list)
    against: set[Pair] = field(default_factory=set)


@dataclass(slots=True)
class Graph:
    """What a file holds: attributes of the graph, its points and its ways."""

    about: Tags = field(default_factory=dict)
    nodes: dict[int, tuple[float, float, Tags]] = field(default_factory=dict)
    ways: dict[int, GraphWay] = field(default_factory=dict)


def read_graph(path: str | Path) -> Graph:
    """Parse a GraphML file of a road graph that was not simplified.

    Raises
    ------
    InputError
        Not a file, a document type or entity, XML that breaks off, a graph that was simplified,
        consolidated or projected, or one that OSMnx did not make.
    """
    file = guarded(path)
    taker = _Taker(file.name)
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler = taker.begin
    parser.EndElementHandler = taker.end
    parser.CharacterDataHandler = taker.text
    parser.StartDoctypeDeclHandler = taker.doctype
    parser.EntityDeclHandler = taker.doctype
    try:
        with file.open("rb") as stream:
            while chunk := stream.read(_CHUNK):
                parser.Parse(chunk, False)
        parser.Parse(b"", True)
    except expat.ExpatError as error:
        raise _refused(
            "XML that cannot be parsed", str(error), "save the graph again", file.name
        ) from None
    _hold(taker.graph, file.name)
    return taker.graph


class _Taker:
    """Takes what the parser comes upon; one element at a time is held."""

    def __init__(self, name: str) -> None:
        self.graph = Graph()
        self._name = name
        self._keys: dict[str, str] = {}
        self._of: tuple[str, ...] = ()
        self._held: Tags = {}
        self._key = ""
        self._words: list[str] = []

    def begin(self, tag: str, said: dict[str, str]) -> None:
        tag = tag.rpartition(":")[2]
        if tag == "data":
            self._key = self._keys.get(said.get("key", ""), "")
            self._words = []
        elif tag == "node":
            self._of, self._held = (said.get("id", ""),), {}
        elif tag == "edge":
            self._of, self._held = (said.get("source", ""), said.get("target", "")), {}
        elif tag == "key":
            self._keys[said.get("id", "")] = said.get("attr.name", "")

    def text(self, words: str) -> None:
        if self._key:
            self._words.append(words)

    def end(self, tag: str) -> None:
        tag = tag.rpartition(":")[2]
        if tag == "data":
            (self._held if self._of else self.graph.about)[self._key] = "".join(self._words)
            self._key = ""
        elif tag in ("node", "edge"):
            try:
                (self._node if tag == "node" else self._edge)()
            except (KeyError, ValueError, OverflowError):
                raise _refused(
                    f"{'a point' if tag == 'node' else 'an edge'} that OSMnx did not write",
                    " to ".join(self._of),
                    "save the graph with osmnx.save_graphml, not simplified",
                    self._name,
                ) from None
            self._of = ()

    def doctype(self, *_: Any) -> None:
        raise _refused("a document type or entity in XML", "DOCTYPE", "save it without", self._name)

    def _node(self) -> None:
        tags = {key: self._held[key] for key in of_node(self._held)}
        self.graph.nodes[int(self._of[0])] = (
            float(self._held["x"]),
            float(self._held["y"]),
            tags,
        )

    def _edge(self) -> None:
        held = self._held
        if held["osmid"].startswith("[") or "geometry" in held:
            raise _simplified(self._name)
        way_id, pair = int(held["osmid"]), (int(self._of[0]), int(self._of[1]))
        tags = {key: held[key] for key in of_way(held)}
        one_way = tags.pop("oneway", None)
        way = self.graph.ways.setdefault(way_id, GraphWay(tags, one_way))
        if way.tags != tags or way.one_way != one_way:
            raise _refused(
                "edges of one way that say different things",
                f"way/{way_id}",
                "save the graph as it was fetched; what you measured goes into road_checks.csv",
                self._name,
            )
        if {"True": True, "False": False}[held["reversed"]]:
            way.against.add((pair[1], pair[0]))
        else:
            way.along.append(pair)


def _hold(graph: Graph, name: str) -> None:
    """Refuse a graph that lost what a road check needs."""
    if graph.about.get("simplified") == "True" or graph.about.get("consolidated") == "True":
        raise _simplified(name)
    crs = graph.about.get("crs", "")
    if not any(word in crs.lower() for word in _DEGREES):
        raise _refused(
            "a graph that is not in degrees (WGS 84)",
            crs or "no crs in it",
            "save the graph before it is projected",
            name,
        )
    strange = [one for way in graph.ways.values() for pair in way.along for one in pair]
    if not all(one in graph.nodes for one in strange):
        raise _refused(
            "edges whose points are not in the file", "a point is gone", "save it again", name
        )


def _simplified(name: str) -> InputError:
    return _refused(
        "a simplified road graph",
        "edges that stand for several ways or points",
        "fetch it with simplify=False, or with 'fieldmap roads FOLDER --around KM --online'",
        name,
        why="gates, bars and limits along the way are no longer in it",
    )


def _refused(
    what: str, value: str, mend: str, where: str, *, why: str = "roads would be missing or wrong"
) -> InputError:
    return InputError(Fault(what, value, why, mend, where=where))
