"""One pass over an OpenStreetMap file: the ways, nodes and relations a road move needs."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import osmium
from numpy.typing import NDArray

from fieldmap.errors import Fault, InputError
from fieldmap.read.osm_words import ABOVE_KEYS, RULES, above_as, is_road, rules_said, with_ford
from fieldmap.read.road_tags import Tags, says_something

#: How a place that is not in the file is told from one that is (1e-7 degrees).
_NOWHERE = 2147483647
PER_DEGREE = 1e7


@dataclass(slots=True)
class Ways:
    """Ways with their points end to end; ``start[i]:start[i + 1]`` are the points of way i."""

    ids: list[int] = field(default_factory=list)
    tags: list[Tags] = field(default_factory=list)
    start: list[int] = field(default_factory=lambda: [0])
    refs: list[int] = field(default_factory=list)
    x: list[int] = field(default_factory=list)
    y: list[int] = field(default_factory=list)

    def take(self, way: osmium.osm.Way, tags: Tags) -> None:
        """Add one way as the reader hands it out."""
        self.ids.append(way.id)
        self.tags.append(tags)
        for point in way.nodes:  # one walk: to ask a point of the reader is what takes the time
            place = point.location
            self.refs.append(point.ref)
            self.x.append(place.x)
            self.y.append(place.y)
        self.start.append(len(self.refs))

    def lon_lat(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Degrees of all points, NaN where the file does not hold the point."""
        x = np.array(self.x, dtype=np.int64)
        y = np.array(self.y, dtype=np.int64)
        here = (x != _NOWHERE) & (y != _NOWHERE)
        return np.where(here, x / PER_DEGREE, np.nan), np.where(here, y / PER_DEGREE, np.nan)


@dataclass(slots=True)
class Rule:
    """A turn restriction as it stands in the file."""

    relation_id: int
    rule: str
    except_for: str
    members: list[tuple[str, int, str]]  # type, id, role
    condition: str = ""  # when it is in force, as it stands there; "" is always


@dataclass(slots=True)
class Scan:
    """What one pass found: roads, what may cross above them, tagged nodes, turn rules."""

    roads: Ways = field(default_factory=Ways)
    above: Ways = field(default_factory=Ways)
    node_tags: dict[int, Tags] = field(default_factory=dict)
    rules: list[Rule] = field(default_factory=list)


def scan(path: Path) -> Scan:
    """Read the file once.

    Raises
    ------
    InputError
        The file cannot be parsed, or a way is in it more than once.
    """
    found = Scan()
    try:
        for thing in _things(path):
            if isinstance(thing, osmium.osm.Changeset) or thing.deleted:
                continue
            if isinstance(thing, osmium.osm.Node):
                _take_node(found, thing)
            elif isinstance(thing, osmium.osm.Way):
                _take_way(found, thing)
            elif isinstance(thing, osmium.osm.Relation):
                _take_rule(found, thing)
    except (RuntimeError, ValueError) as error:
        raise InputError(
            Fault(
                "a road file that cannot be read",
                str(error),
                "roads would be missing",
                "fetch or export the file again",
                where=path.name,
            )
        ) from None
    _each_once(found.roads.ids, path)
    return found


def _each_once(ids: list[int], path: Path) -> None:
    if len(set(ids)) == len(ids):
        return
    twice = Counter(ids).most_common(1)[0][0]
    raise InputError(
        Fault(
            "a way that stands in the file twice",
            f"way/{twice}",
            "nobody can tell which of them is the road as it is",
            "merge extracts so that each way is in them once, or take one without its history",
            where=path.name,
        )
    )


def _things(path: Path) -> osmium.FileProcessor:
    things = osmium.FileProcessor(str(path)).with_locations()
    wanted = (
        (osmium.osm.NODE, osmium.filter.EmptyTagFilter()),
        (osmium.osm.WAY, osmium.filter.KeyFilter("highway", *ABOVE_KEYS)),
        (osmium.osm.RELATION, osmium.filter.KeyFilter(*RULES)),
    )
    for kind, only in wanted:
        only.enable_for(kind)
        things = things.with_filter(only)
    return things


def _take_node(found: Scan, node: osmium.osm.Node) -> None:
    tags = dict(node.tags)
    if says_something(tags):
        found.node_tags[node.id] = with_ford(tags)


def _take_way(found: Scan, way: osmium.osm.Way) -> None:
    tags = dict(way.tags)
    if is_road(tags):
        found.roads.take(way, with_ford(tags))
    if above_as(tags):
        found.above.take(way, tags)


def _take_rule(found: Scan, relation: osmium.osm.Relation) -> None:
    tags = dict(relation.tags)
    if not tags.get("type", "").startswith("restriction"):
        return
    members = [(one.type, one.ref, one.role) for one in relation.members]
    said = dict.fromkeys(one for key in RULES for one in rules_said(tags.get(key, "")))
    except_for = tags.get("except", "")
    found.rules += [
        Rule(relation.id, rule, except_for, members, condition) for rule, condition in said
    ]
