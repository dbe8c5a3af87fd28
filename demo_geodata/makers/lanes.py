"""Lanes, yards, the hamlet, the power line and the turn restrictions of the invented district."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from makers.grid_roads import Country, lay_grid, lay_railway, make_ways, river_way
from makers.ground import river
from makers.net import Net
from makers.place import rng
from shapely.geometry import LineString, Polygon
from shapely.ops import unary_union

HOME = (4565.0, 3055.0)
QUARRY_YARD = (2450.0, 2900.0)
LEVEE_BARN = (1240.0, 2075.0)
ELM_YARD = (5895.0, 2930.0)
HAMLET_X = (5235.0, 5318.0, 5404.0, 5482.0, 5571.0)
HAMLET_Y = (3652.0, 3741.0, 3822.0, 3909.0)
HAMLET_EAST = ("Loom Row", "Chandler Street", "Green Street", "Cooper Row")
HAMLET_NORTH = ("Teal Street", "Mill Row", "Walnut Row", "Pump Street", "Orchard Row")


@dataclass
class Roads:
    """The finished network, and what other makers need to find on it."""

    net: Net
    way_of: dict[str, int]
    node_of: dict[str, int]

    def no_go(self) -> Polygon:
        """Ground that no field may cover: roads, railway and river, with room beside them."""
        room = {"railway": 16.0, "highway": 9.0}
        parts = [
            self.net.line(piece.nodes).buffer(reach, quad_segs=2)
            for piece in self.net.ways.values()
            for key, reach in room.items()
            if key in piece.tags
        ]
        return unary_union([*parts, river().buffer(52.0)])


def build() -> Roads:
    """The whole network."""
    net = Net()
    land = lay_grid(net)
    lay_railway(land)
    ways: dict[str, int] = {}
    nodes: dict[str, int] = {}
    _home(land, ways, nodes)
    _bench(land, ways, nodes)
    _flat(land, nodes)
    hamlet = _hamlet(land, nodes)
    _driveways(land)
    land.cuts |= {land.crossings[at] for at in ((9, 4), (9, 5), (11, 5))}
    make_ways(land)
    _restrictions(land, hamlet)
    _power(net)
    river_way(net)
    for name, key in (("gravel", ("v", 3, 6)), ("highway 9", ("v", 9, 2)), ("reed", ("v", 6, 1))):
        ways[name] = land.way_of[key]
    ways["long acre bridge"] = _named(net, "Long Acre Road", "maxweight")
    return Roads(net, ways, nodes)


def _named(net: Net, name: str, key: str) -> int:
    return next(
        n for n, one in net.ways.items() if one.tags.get("name") == name and key in one.tags
    )


def _home(land: Country, ways: dict[str, int], nodes: dict[str, int]) -> None:
    net = land.net
    nodes["home"] = net.node(*HOME)
    sallow = land.put_on(("v", 8, 5), (4300, 3040))
    net.way(net.path(sallow, (4430, 3062), nodes["home"]), highway="service", width="5")
    over = land.put_on(("h", 8, 5), (4655, 2850))
    nodes["levee east"] = land.put_on(("h", 8, 4), (4705, 2020))
    stops = ((4600, 2960), over, (4690, 2600), (4640, 2310), nodes["levee east"])
    ways["cider"] = net.way(
        net.path(nodes["home"], *stops), highway="unclassified", name="Cider Lane", surface="gravel"
    )
    nodes["by the orchard"] = land.put_on(("h", 8, 6), (4760, 3550))
    nodes["ridge"] = land.put_on(("h", 8, 7), (4700, 4250))


def _bench(land: Country, ways: dict[str, int], nodes: dict[str, int]) -> None:
    net = land.net
    yard = nodes["quarry yard"] = net.node(*QUARRY_YARD)
    turn_off = net.node(2880, 2872)
    nodes["quarry lane"] = net.node(3010, 2868)
    lane = {"highway": "unclassified", "surface": "gravel"}
    narrow = net.path(land.crossings[7, 5], (3180, 2832), nodes["quarry lane"])
    ways["quarry lane"] = net.way(narrow, name="Quarry Lane", width="2.8", **lane)
    net.way(
        net.path(nodes["quarry lane"], turn_off, (2660, 2876), yard), name="Quarry Lane", **lane
    )
    down = ((2690, 4060), (2570, 3850), (2630, 3600), (2520, 3350), (2575, 3110), yard)
    ways["bench road"] = net.way(net.path(land.crossings[6, 7], *down), name="Bench Road", **lane)
    fork = net.node(1900, 3130)
    up = ((1210, 2890), (1420, 3010), (1225, 3125), (1520, 3245), fork, (2210, 3010), yard)
    net.way(net.path(land.crossings[4, 5], *up), name="Switchback Lane", **lane)
    track = {"highway": "track", "tracktype": "grade2"}
    nodes["s7 track"], nodes["s5 track"] = net.node(2205, 2735), net.node(2850, 2735)
    nodes["bench gate"] = net.node(2330, 2828, barrier="gate")
    net.way([yard, nodes["bench gate"], nodes["s7 track"]], width="5", **track)
    net.way(net.path(turn_off, (2890, 2800), nodes["s5 track"]), width="4.6", **track)
    pit = net.path(fork, (1930, 3330), (1850, 3560))
    net.way(pit, highway="track", tracktype="grade4", access="private")


def _flat(land: Country, nodes: dict[str, int]) -> None:
    net = land.net
    nodes["barn"] = net.node(*LEVEE_BARN)
    barn = land.put_on(("h", 4, 4), (LEVEE_BARN[0], 2020))
    net.way([barn, nodes["barn"]], highway="service", width="6")
    nodes["levee west"] = land.put_on(("h", 4, 4), (1430, 2020))
    nodes["levee middle"] = land.put_on(("h", 6, 4), (3240, 2020))
    off = land.put_on(("h", 5, 4), (2020, 2020))
    nodes["river gate"] = net.node(2022, 1985, barrier="gate")
    net.way(
        net.path(off, nodes["river gate"], (2030, 1760), (1990, 1610)),
        highway="track", tracktype="grade3", width="2,5",
    )  # fmt: skip
    south = land.put_on(("h", 6, 3), (2890, 430))
    grid = net.node(2893, 520, barrier="cattle_grid")
    nodes["s4 track"] = net.node(2896, 606)
    net.way([south, grid, nodes["s4 track"]], highway="track", tracktype="grade2")
    levee = land.put_on(("v", 9, 3), (5150, 1700))
    walk = net.path(levee, (5330, 1640), (5560, 1700), (5800, 1640))
    net.way(walk, highway="track", tracktype="grade3", motor_vehicle="no")
    nodes["elm yard"] = net.node(*ELM_YARD)
    barrier = net.node(5800, 2915, barrier="lift_gate")
    gander = land.put_on(("v", 10, 5), (5700, 2905))
    net.way([gander, barrier, nodes["elm yard"]], highway="service")
    nodes["s12 track"] = net.node(5905, 3015)
    net.way([nodes["elm yard"], nodes["s12 track"]], highway="track")
    nodes["gander"] = land.put_on(("v", 10, 4), (5700, 2440))
    nodes["teasel"] = land.put_on(("v", 3, 5), (150, 3200))


def _hamlet(land: Country, nodes: dict[str, int]) -> dict[str, int]:
    """A hamlet of short blocks; returns the ways that a restriction names."""
    net = land.net
    at = {
        (i, j): net.node(x + 7 * np.sin(2.1 * j + i), y + 6 * np.cos(1.7 * i + j))
        for i, x in enumerate(HAMLET_X)
        for j, y in enumerate(HAMLET_Y)
    }
    east, north = {}, {}
    for (i, j), node in at.items():
        if (i + 1, j) in at:
            tags = {"highway": "residential", "name": HAMLET_EAST[j]}
            more = {"oneway": "yes"} if j == 1 else {}
            east[i, j] = net.way([node, at[i + 1, j]], **tags, **more)
        if (i, j + 1) in at:
            tags = {"highway": "residential", "name": HAMLET_NORTH[i]}
            more = {"oneway": "yes"} if i == 3 else {"width": "5.2"} if i == 0 else {}
            north[i, j] = net.way([node, at[i, j + 1]], **tags, **more)
    for j in (0, 2):
        street = land.put_on(("v", 9, 6), (5150, HAMLET_Y[j]))
        net.way([street, at[0, j]], highway="residential", name=HAMLET_EAST[j])
    down = land.put_on(("h", 9, 6), (HAMLET_X[2], 3550))
    net.way([down, at[2, 0]], highway="residential", name=HAMLET_NORTH[2])
    gander = land.put_on(("v", 10, 6), (5700, HAMLET_Y[1]))
    bollard = net.node(5645, 3748, barrier="bollard")
    net.way([at[4, 1], bollard, gander], highway="service")
    for number, (i, j) in enumerate(((0, 3), (2, 3), (4, 3), (4, 2), (4, 0), (1, 3))):
        x, y = net.places[at[i, j]]
        end = (x + 12, y + 38) if j == 3 else (x + 40, y - 9)
        net.way(
            net.path(at[i, j], end), highway="service", **({"width": "3"} if number == 2 else {})
        )
    nodes["hamlet"] = at[2, 2]
    return {"from": east[0, 2], "via": east[1, 2], "to": north[2, 1]}


def _driveways(land: Country) -> None:
    """Yards along the outer roads: one short drive each."""
    dice = rng("driveways")
    outer = [key for key in land.legs if not (3 <= key[1] <= 10 and 3 <= key[2] <= 7)]
    for number, chosen in enumerate(dice.permutation(len(outer))[:30]):
        key = outer[int(chosen)]
        piece = land.legs[key][0]
        line = land.net.line(piece.nodes)
        spot = line.interpolate(float(dice.uniform(0.3, 0.7)), normalized=True)
        door = land.put_on(key, (spot.x, spot.y))
        reach = float(dice.uniform(55, 130)) * (1 if number % 2 else -1)
        east, north = (12.0, reach) if key[0] == "h" else (reach, 12.0)
        if not river().dwithin(spot, 300):
            tags = {"width": "4"} if number % 6 == 0 else {}
            land.net.way(
                land.net.path(door, (spot.x + east, spot.y + north)), highway="service", **tags
            )


def _restrictions(land: Country, hamlet: dict[str, int]) -> None:
    net, way, at = land.net, land.way_of, land.crossings
    net.restrict("no_left_turn", way["h", 8, 4], ("n", at[9, 4]), way["v", 9, 4])
    net.restrict("only_straight_on", way["h", 8, 5], ("n", at[9, 5]), way["h", 9, 5])
    net.restrict("no_right_turn", hamlet["from"], ("w", hamlet["via"]), hamlet["to"])
    net.restrict(
        "no_left_turn",
        way["h", 10, 5],
        ("n", at[11, 5]),
        way["v", 11, 5],
        **{"except": "agricultural"},
    )


def _power(net: Net) -> None:
    line = LineString([(-2500, 6300), (1800, 4640), (8500, 2260)])
    spots = map(line.interpolate, np.append(np.arange(0.0, line.length, 260.0), line.length))
    net.way([net.node(p.x, p.y, power="tower") for p in spots], power="line", cables="3")
