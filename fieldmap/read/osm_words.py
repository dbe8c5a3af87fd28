"""What the tags of ways, points and relations mean for the one pass over a map file."""

from __future__ import annotations

import re

from fieldmap.read.road_tags import Tags

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
_IN_THE_AIR = ("overhead", "overground")
#: Keys of ways that may be above a road.
ABOVE_KEYS = ("bridge", "power", "electrified", "man_made", "aerialway", "communication")
#: Restrictions that may bind a farm machine; one by the hour counts at every hour.
RULES = tuple(
    f"restriction{whom}{when}"
    for whom in ("", ":vehicle", ":motor_vehicle", ":agricultural")
    for when in ("", ":conditional")
)
_BY_HOUR = re.compile(r"([^@;()]+)@\s*(\([^)]*\)|[^;]*)")


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


def above_as(tags: Tags) -> str:
    """What a way may be above a road: a bridge, a power line, another line overhead, or "".

    Pipes and conveyors on stilts count as bridges. Rails under a contact wire are a power line
    where a road crosses them on their own level, see :func:`has_wire`.

    Examples
    --------
    >>> above_as({"power": "line"}), above_as({"power": "line", "location": "underground"})
    ('power line', '')
    >>> above_as({"railway": "rail", "electrified": "contact_line"}), above_as({})
    ('power line', '')
    >>> above_as({"man_made": "pipeline", "location": "overhead"}), above_as({"aerialway": "t-bar"})
    ('bridge', 'overhead line')
    """
    if tags.get("power") in _LINES:
        return "" if tags.get("location") in ("underground", "underwater") else "power line"
    if tags.get("power") == "cable" and tags.get("location") in _IN_THE_AIR:
        return "power line"
    if tags.get("bridge", "no") != "no":
        return "bridge"
    if has_wire(tags):
        return "power line"
    return _other_above(tags)


def _other_above(tags: Tags) -> str:
    if tags.get("man_made") in ("pipeline", "goods_conveyor"):
        return "bridge" if tags.get("location") in _IN_THE_AIR else ""
    hung = tags.get("communication") == "line" and tags.get("location", "overhead") in _IN_THE_AIR
    rope = tags.get("aerialway", "no") not in ("no", "station", "pylon", "zip_line_station")
    return "overhead line" if hung or rope else ""


def has_wire(tags: Tags) -> bool:
    """Whether rails run under a contact wire.

    Examples
    --------
    >>> has_wire({"railway": "rail", "electrified": "contact_line"}), has_wire({"railway": "rail"})
    (True, False)
    """
    return "railway" in tags and tags.get("electrified") in ("contact_line", "yes")


def with_ford(tags: Tags) -> Tags:
    """Tags in which the old way to map a ford (``highway=ford``) says what the new one says.

    Examples
    --------
    >>> with_ford({"highway": "ford"})
    {'highway': 'ford', 'ford': 'yes'}
    """
    return {**tags, "ford": tags.get("ford", "yes")} if tags.get("highway") == "ford" else tags


def rules_said(text: str) -> list[tuple[str, str]]:
    """The rules that a tag gives, each with the condition it stands under.

    Examples
    --------
    >>> rules_said("no_left_turn"), rules_said("")
    ([('no_left_turn', '')], [])
    >>> rules_said("no_left_turn @ (Mo-Fr 07:00-09:00; Sa); only_straight_on @ wet")
    [('no_left_turn', 'Mo-Fr 07:00-09:00; Sa'), ('only_straight_on', 'wet')]
    """
    if "@" not in text:
        return [(part.strip(), "") for part in text.split(";") if part.strip()]
    found = [
        (rule.strip(), when.strip().removeprefix("(").removesuffix(")").strip())
        for rule, when in _BY_HOUR.findall(text)
        if rule.strip()
    ]
    return found or [(text, "")]
