"""The country roads: a loose grid with river bridges and a railway through it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from makers.ground import RIVER_FAR_M, river
from makers.net import Net, Piece, split
from makers.place import rng
from shapely.geometry import LineString

COLUMNS_X = (-2300, -1500, -700, 150, 950, 1750, 2600, 3400, 4300, 5150, 5700, 6650, 7600, 8400)
ROWS_Y = (-2300, -1450, -650, 430, 2020, 2850, 3550, 4250, 5000, 5800, 6600, 7400)
VALLEY = 3  # the row south of the river; its legs north cross the valley floor
Stop = tuple[float, int, bool]  # distance along the railway, node, a bridge opens here
Key = tuple[str, int, int]  # "h" east or "v" north from the crossing (column, row)

COLUMN_NAMES = (
    "Farthing Road", "Pale Road", "Cobnut Road", "Teasel Road", "Weir Road",
    "Marl Road", "Reed Road", "Spoil Lane", "Sallow Road", "County Highway 9",
    "Gander Road", "Pinfold Road", "Long Acre Road", "Drover Road",
)  # fmt: skip
ROW_NAMES = (
    "Far South Road", "Lark Road", "Stook Road", "South Bluff Road", "Levee Road", "Quarry Lane",
    "Withy Road", "Ridge Road", "Whin Road", "Harrow Road", "Tithe Road", "North Line Road",
)  # fmt: skip
COLUMN_CLASS = {9: "secondary", 1: "tertiary", 8: "tertiary", 12: "tertiary"}
ROW_CLASS = {2: "tertiary", 4: "tertiary", 8: "secondary", 10: "tertiary"}

BRIDGES: dict[int, dict[str, str]] = {  # over the river, by column
    1: {"maxweight": "20"},
    4: {"maxweight": "8"},
    6: {},
    9: {"maxweight": "40"},
    12: {"maxweight": "30", "width": "6.4"},
}
#: How the railway meets each row: on the level, over it, or the road stops.
RAIL = (
    "level",
    "level",
    "none",
    "level",
    "over",
    "low",
    "none",
    "level",
    "below",
    "none",
    "level",
    "level",
)
NO_ROAD: set[Key] = {("v", i, j) for i in (5, 6) for j in (4, 5, 6)}
NO_ROAD |= {("h", i, j) for i in (4, 5, 6) for j in (5, 6)}
MORE_TAGS: dict[Key, dict[str, str]] = {
    ("h", 2, 2): {"width": "6.2"},
    ("h", 3, 2): {"width": "6.2"},
    ("h", 8, 4): {"width": "6.7"},
    ("v", 8, 4): {"lanes": "2"},
    ("v", 10, 5): {"est_width": "4.5"},
    ("h", 10, 6): {"est_width": "5"},
    ("h", 1, 5): {"lanes": "1"},
    ("v", 3, 6): {"surface": "gravel", "width": "16 ft"},
    ("h", 11, 9): {"surface": "gravel", "lanes": "1"},
    ("v", 11, 8): {"surface": "gravel"},
    ("h", 4, 9): {"width": "4.8"},
}


@dataclass
class Country:
    """The grid while it is drawn: crossings, and the pieces of each leg."""

    net: Net
    crossings: dict[tuple[int, int], int]
    legs: dict[Key, list[Piece]]
    cuts: set[int] = field(default_factory=set)
    way_of: dict[Key, int] = field(default_factory=dict)

    def put_on(self, key: Key, at: tuple[float, float], **tags: str) -> int:
        """A node on a leg of the grid, nearest to a place."""
        pieces = self.legs[key]
        spot = LineString([at, at])
        piece = min(pieces, key=lambda one: self.net.line(one.nodes).distance(spot))
        return self.net.put_on(piece, at, **tags)


def lay_grid(net: Net) -> Country:
    """Crossings and legs, with bridges over the river; not yet ways."""
    crossings = _crossings(net)
    land = Country(net, crossings, {})
    dice = rng("legs")
    for i in range(len(COLUMNS_X)):
        for j in range(len(ROWS_Y)):
            for kind, other in (("h", (i + 1, j)), ("v", (i, j + 1))):
                if other in crossings:
                    key = (kind, i, j)
                    bow, luck = dice.uniform(-22, 22, 2), dice.random()
                    if not _missing(key, luck):
                        land.legs[key] = _leg(net, key, (crossings[i, j], crossings[other]), bow)
    return land


def _crossings(net: Net) -> dict[tuple[int, int], int]:
    dice = rng("crossings")
    out = {}
    for i, x in enumerate(COLUMNS_X):
        for j, y in enumerate(ROWS_Y):
            core = 4 <= i <= 10 and 3 <= j <= 7
            dx, dy = dice.uniform(-1, 1, 2) * ((18, 12) if core else (70, 60))
            out[i, j] = net.node(x + dx, y + (0 if j in (VALLEY, VALLEY + 1) else dy))
    return out


def _missing(key: Key, luck: float) -> bool:
    kind, i, j = key
    if key in NO_ROAD or (kind == "h" and i == 7 and RAIL[j] == "none"):
        return True
    if kind == "v" and j == VALLEY:
        return i not in BRIDGES
    if kind == "h" and i == 7:
        return False
    outskirts = i <= 1 or i >= 11 or j <= 1 or j >= 8
    return outskirts and luck < 0.08


def _leg(net: Net, key: Key, ends: tuple[int, int], bow: np.ndarray) -> list[Piece]:
    kind, i, j = key
    tags = _tags(key)
    (ax, ay), (bx, by) = net.places[ends[0]], net.places[ends[1]]
    if kind == "v" and j == VALLEY:
        piece = Piece(list(ends), tags)
        meets = net.line(piece.nodes).intersection(river())
        along = meets.y - ay
        return split(net, piece, along - 26, along + 26, bridge="yes", layer="1", **BRIDGES[i])
    length = float(np.hypot(bx - ax, by - ay))
    east, north = (bx - ax) / length, (by - ay) / length
    bends = [
        net.node(ax + part * (bx - ax) - north * off, ay + part * (by - ay) + east * off)
        for part, off in ((0.34, bow[0]), (0.68, bow[1]))
    ]
    return [Piece([ends[0], *bends, ends[1]], tags)]


def _tags(key: Key) -> dict[str, str]:
    kind, i, j = key
    highway = (COLUMN_CLASS.get(i) if kind == "v" else ROW_CLASS.get(j)) or "unclassified"
    name = COLUMN_NAMES[i] if kind == "v" else ROW_NAMES[j]
    tags = {"highway": highway, "name": name, **MORE_TAGS.get(key, {})}
    return {**tags, "lanes": "2", "surface": "asphalt"} if highway == "secondary" else tags


def lay_railway(land: Country) -> None:
    """A railway from south to north: level crossings, bridges over roads and river."""
    net = land.net
    y = np.arange(-2600.0, 7701.0, 300.0)
    track = LineString(np.column_stack([3950 + 45 * np.sin(y / 900.0), y]))
    stops: list[Stop] = [
        (track.project(spot), net.node(spot.x, spot.y), False)
        for spot in map(track.interpolate, np.arange(0.0, track.length, 300.0))
    ]
    for row, how in enumerate(RAIL):
        if how != "none":
            stops += _meet(land, ("h", 7, row), track, how)
    spot = track.intersection(river())
    stops += _span(net, track, track.project(spot), 34)
    _rail_ways(net, sorted(stops))


def _meet(land: Country, key: Key, track: LineString, how: str) -> list[Stop]:
    net = land.net
    road = net.line(land.legs[key][0].nodes)
    spot = track.intersection(road)
    along = track.project(spot)
    if how == "level":
        node = land.put_on(key, (spot.x, spot.y), railway="level_crossing")
        net.places[node] = (spot.x, spot.y)
        return [(along, node, False)]
    if how != "over":
        height = "11'6\"" if how == "low" else "below_default"
        middle = road.project(spot)
        land.legs[key] = split(net, land.legs[key][0], middle - 22, middle + 22, maxheight=height)
    return _span(net, track, along, 16)


def _span(net: Net, track: LineString, along: float, half_m: float) -> list[Stop]:
    ends = [(at, track.interpolate(at)) for at in (along - half_m, along + half_m)]
    return [
        (at, net.node(p.x, p.y), first) for (at, p), first in zip(ends, (True, False), strict=True)
    ]


def _rail_ways(net: Net, stops: list[Stop]) -> None:
    """Plain track and bridges in turn; a bridge runs from its mark to the next stop."""
    run: list[int] = []
    plain = {"railway": "rail", "name": "Sallow Valley Line"}
    closing = False
    for _, node, opens in stops:
        run.append(node)
        if opens or closing:
            more = {"bridge": "yes", "layer": "1"} if closing else {}
            net.way(run, **plain, **more)
            run, closing = [node], opens
    net.way(run, **plain)


def make_ways(land: Country) -> None:
    """Chain pieces with the same tags into ways; a cut node always ends one."""
    columns, rows = range(len(COLUMNS_X)), range(len(ROWS_Y))
    lines: list[list[Key]] = [[("h", i, j) for i in columns] for j in rows]
    lines += [[("v", i, j) for j in rows] for i in columns]
    for keys in lines:
        _chain(land, [key for key in keys if key in land.legs])


def _chain(land: Country, keys: list[Key]) -> None:
    run: Piece | None = None
    number = 0
    for key in keys:
        for piece in land.legs[key]:
            joins = run is not None and run.nodes[-1] == piece.nodes[0] and run.tags == piece.tags
            if run is not None and joins and piece.nodes[0] not in land.cuts:
                run.nodes.extend(piece.nodes[1:])
            else:
                run = Piece(list(piece.nodes), piece.tags)
                number = land.net.add(run)
            land.way_of.setdefault(key, number)


def river_way(net: Net) -> None:
    """The river itself, so that the road file shows why there are so few ways across."""
    course = river().simplify(3.0)
    ends = RIVER_FAR_M[0] + 200, RIVER_FAR_M[1] - 200
    spots = [place for place in course.coords if ends[0] < place[0] < ends[1]]
    net.way(net.path(*spots), waterway="river", name="Sallow River")
