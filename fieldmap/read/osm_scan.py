"""One pass over an OpenStreetMap file: the ways, nodes and relations a road move needs."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import osmium
from numpy.typing import NDArray

from fieldmap.errors import Fault, InputError

#: Node tags at which a leg is cut in two.
NODE_KEYS = (
    "barrier",
    "maxwidth",
    "width",
    "maxheight",
    "maxheight:physical",
    "maxweight",
    "maxwidth:physical",
    "ford",
    "traffic_calming",
)
#: Never a road for a vehicle.
_NOT_A_ROAD = frozenset(
    (
        "steps",
        "corridor",
        "elevator",
        "construction",
        "proposed",
        "planned",
        "platform",
        "raceway",
        "rest_area",
        "services",
        "escape",
        "bus_guideway",
        "abandoned",
        "razed",
        "disused",
        "via_ferrata",
        "no",
        "ladder",
        "emergency_bay",
        "bus_stop",
        "crossing",
    )
)
#: A road only when a tag lets vehicles in.
_ASK_FIRST = frozenset(("footway", "path", "cycleway", "bridleway", "pedestrian", "busway"))
_LET_IN = frozenset(("yes", "designated", "agricultural", "permissive"))
_WHO = ("motor_vehicle", "agricultural", "vehicle", "access")
_LINES = ("line", "minor_line")
_RULES = (
    "restriction",
    "restriction:agricultural",
    "restriction:motor_vehicle",
    "restriction:vehicle",
    "restriction:conditional",
)
#: How a place that is not in the file is told from one that is (1e-7 degrees).
_NOWHERE = 2147483647
_PER_DEGREE = 1e7

Tags = dict[str, str]


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
        points = way.nodes
        self.ids.append(way.id)
        self.tags.append(tags)
        self.refs.extend([point.ref for point in points])
        self.x.extend([point.x for point in points])
        self.y.extend([point.y for point in points])
        self.start.append(len(self.refs))

    def lon_lat(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Degrees of all points, NaN where the file does not hold the point."""
        x = np.array(self.x, dtype=np.int64)
        y = np.array(self.y, dtype=np.int64)
        here = (x != _NOWHERE) & (y != _NOWHERE)
        return np.where(here, x / _PER_DEGREE, np.nan), np.where(here, y / _PER_DEGREE, np.nan)


@dataclass(slots=True)
class Rule:
    """A turn restriction as it stands in the file."""

    relation_id: int
    rule: str
    except_for: str
    members: list[tuple[str, int, str]]  # type, id, role


@dataclass(slots=True)
class Scan:
    """What one pass found: roads, what may cross above them, tagged nodes, turn rules."""

    roads: Ways = field(default_factory=Ways)
    above: Ways = field(default_factory=Ways)
    node_tags: dict[int, Tags] = field(default_factory=dict)
    rules: list[Rule] = field(default_factory=list)


def is_road(tags: Tags) -> bool:
    """Whether a way may be a road for a vehicle, by its class and who is let in.

    Examples
    --------
    >>> is_road({"highway": "track"}), is_road({"highway": "path"})
    (True, False)
    >>> is_road({"highway": "path", "agricultural": "yes"})
    True
    >>> is_road({})
    False
    """
    kind = tags.get("highway")
    if kind is None or kind in _NOT_A_ROAD or tags.get("area") == "yes":
        return False
    if kind in _ASK_FIRST:
        return any(not _LET_IN.isdisjoint(tags.get(who, "").split(";")) for who in _WHO)
    return True


def may_be_above(tags: Tags) -> bool:
    """Whether a way is a bridge or an overhead power line."""
    if tags.get("power") in _LINES:
        return tags.get("location") != "underground"
    return tags.get("bridge", "no") != "no"


def scan(path: Path) -> Scan:
    """Read the file once.

    Raises
    ------
    InputError
        The file cannot be parsed.
    """
    found = Scan()
    try:
        for thing in _things(path):
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
    return found


def _things(path: Path) -> osmium.FileProcessor:
    things = osmium.FileProcessor(str(path)).with_locations()
    wanted = (
        (osmium.osm.NODE, (*NODE_KEYS, "railway")),
        (osmium.osm.WAY, ("highway", "bridge", "power")),
        (osmium.osm.RELATION, _RULES),
    )
    for kind, keys in wanted:
        only = osmium.filter.KeyFilter(*keys)
        only.enable_for(kind)
        things = things.with_filter(only)
    return things


def _take_node(found: Scan, node: osmium.osm.Node) -> None:
    tags = dict(node.tags)
    if (
        "railway" not in tags
        or tags["railway"] == "level_crossing"
        or any(key in tags for key in NODE_KEYS)
    ):
        found.node_tags[node.id] = tags


def _take_way(found: Scan, way: osmium.osm.Way) -> None:
    tags = dict(way.tags)
    if is_road(tags):
        found.roads.take(way, tags)
    if may_be_above(tags):
        found.above.take(way, tags)


def _take_rule(found: Scan, relation: osmium.osm.Relation) -> None:
    tags = dict(relation.tags)
    if not tags.get("type", "").startswith("restriction"):
        return
    text = next(tags[key] for key in _RULES if key in tags)
    rule = text.split("@")[0].strip()
    members = [(one.type, one.ref, one.role) for one in relation.members]
    found.rules.append(Rule(relation.id, rule, tags.get("except", ""), members))
