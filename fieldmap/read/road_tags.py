"""Which tags of the map a road move reads: the one list for cutting, for fetching and for tests.

Keys are told by their first part: ``maxheight`` stands for ``maxheight:physical``,
``maxheight:forward:conditional`` and whatever else mappers hang on it.
"""

from __future__ import annotations

from collections.abc import Iterable

#: Limits on signs and figures of what fits, on ways and at points.
LIMITS = (
    "maxwidth",
    "maxheight",
    "maxlength",
    "maxweight",
    "maxaxleload",
    "maxbogieweight",
    "maxweightrating",
    "maxgcweight",
    "maxgcweightrating",
)
#: Who may use it, from the general to the special.
WHO = (
    "access",
    "vehicle",
    "motor_vehicle",
    "agricultural",
    "agricultural_vehicles",
    "tractor",
    "trailer",
)

#: First parts of the node tags at which a leg is cut in two, whatever their value.
CUT = (
    *LIMITS,
    *WHO,
    "barrier",
    "covered",
    "est_width",
    "ferry",
    "flood_prone",
    "ford",
    "ice_road",
    "locked",
    "minspeed",
    "seasonal",
    "tidal",
    "toll",
    "traffic_calming",
    "width",
    "winter_road",
)
#: Node tags at which a leg is cut in two when they have one of these values.
CUT_VALUES = {
    "railway": frozenset(("level_crossing", "tram_level_crossing")),
    "highway": frozenset(
        ("ford", "passing_place", "turning_circle", "turning_loop", "turning_point")
    ),
}

#: First parts of every tag of a way that is read somewhere on the way to an answer.
WAY = (
    *LIMITS,
    *WHO,
    "aerialway",
    "area",
    "barrier",
    "bridge",
    "communication",
    "covered",
    "cutting",
    "electrified",
    "embankment",
    "est_width",
    "ferry",
    "flood_prone",
    "ford",
    "hazard",
    "highway",
    "ice_road",
    "incline",
    "junction",
    "lane_markings",
    "lanes",
    "layer",
    "lit",
    "location",
    "locked",
    "man_made",
    "maxspeed",
    "minspeed",
    "motorroad",
    "name",
    "narrow",
    "oneway",
    "passing_places",
    "power",
    "railway",
    "ref",
    "seasonal",
    "service",
    "shoulder",
    "smoothness",
    "surface",
    "tidal",
    "toll",
    "tracktype",
    "traffic_calming",
    "tunnel",
    "waterway",
    "width",
    "winter_road",
)
#: First parts of every tag of a point on a way that is read somewhere.
NODE = (
    *CUT,
    *CUT_VALUES,
    "crossing",
    "direction",
    "layer",
    "opening_hours",
    "smoothness",
    "surface",
)
_CUT, _WAY, _NODE = frozenset(CUT), frozenset(WAY), frozenset(NODE)

Tags = dict[str, str]


def says_something(tags: Tags) -> bool:
    """Whether a point's tags tell something about passing it.

    Examples
    --------
    >>> says_something({"barrier": "gate"}), says_something({"maxheight:physical": "3"})
    (True, True)
    >>> says_something({"highway": "crossing"}), says_something({})
    (False, False)
    """
    return any(key.partition(":")[0] in _CUT for key in tags) or any(
        tags.get(key) in values for key, values in CUT_VALUES.items()
    )


def of_way(keys: Iterable[str]) -> list[str]:
    """Those of the keys that are read of a way.

    Examples
    --------
    >>> of_way(["maxheight:forward", "colour", "source:width"])
    ['maxheight:forward']
    """
    return [key for key in keys if key.partition(":")[0] in _WAY]


def of_node(keys: Iterable[str]) -> list[str]:
    """Those of the keys that are read of a point.

    Examples
    --------
    >>> of_node(["barrier", "colour"])
    ['barrier']
    """
    return [key for key in keys if key.partition(":")[0] in _NODE]
