"""The words of a step: what to do at what is met, and whom to ask."""

from __future__ import annotations

from collections.abc import Iterable

#: What to do at a node, by the name it has in :func:`fieldmap.roads.tell_legs.node_table`.
DO_AT = {
    "gate": "Stop; open the gate, fix it open, drive through, close it.",
    "swing gate": "Stop; open the gate, fix it open, drive through, close it.",
    "sliding gate": "Stop; open the gate, drive through, close it.",
    "hampshire gate": "Stop; open the gate, drive through, close it.",
    "bump gate": "Stop; open the gate by hand, fix it open, drive through, close it.",
    "chain": "Stop; take the chain down, drive through, put it back.",
    "lift gate": "Stop before the bar; ask how it is opened and whether it stays up.",
    "cattle grid": "Cross the grid slowly and straight; what it carries is not mapped.",
    "level crossing": "Stop, look and listen; drive only when the far side is clear for the whole "
    "train of machines. Never stop on the rails.",
    "ford": "Stop; look at depth, bed and far bank before driving in.",
    "height restrictor": "Stop before the bar and look at the posted height.",
}
#: Who decides, by check; CAUTION in wording.py says the same in a sentence.
ASK = {
    "width": "road authority",
    "width_limit": "road authority",
    "height": "road authority or bridge's owner",
    "height_limit": "road authority or bridge's owner",
    "line": "power line's owner",
    "mass": "bridge's owner or county engineer",
    "axles": "bridge's owner or county engineer",
    "length": "road authority",
    "access": "owner of the road or road authority",
    "water": "owner of the ford or road authority",
    "opening": "owner of the gate",
    "crossing": "railway",
    "turn": "road authority; owner of the corner's ground",
}
_SLOW = "Slow to walking pace."
DO_AT |= dict.fromkeys(("hump", "bump", "table", "cushion", "double dip", "yes"), _SLOW)
SINGLE_FILE = "There may be no room for a car beside the machine: look ahead, go in turn."
PULL_INS = "Places to pull in: {sure} sure, {maybe} to look at first."
NO_PULL_IN = "No place to pull in is known on it."
#: Which way it goes -> what it is called and what to do.
LOW_GEAR = {
    -1: ("steep descent", "Low gear before it, not in it: down to {pct}% falling{often}."),
    1: ("steep climb", "Low gear before it: up to {pct}% rising{often}."),
}


def ask_of(check: str, under: Iterable[str] = ()) -> str:
    """Whom to ask about a check; about a power line its owner and nobody else.

    Examples
    --------
    >>> ask_of("mass"), ask_of("height", ["power line 7"]), ask_of("surface")
    ("bridge's owner or county engineer", "power line's owner", '')
    """
    lines = check == "height" and any(one.startswith("power line") for one in under)
    return ASK.get("line" if lines else check, "")


def corner_name(place: str, deflection_deg: float) -> str:
    """What kind of corner it is.

    Examples
    --------
    >>> corner_name("node/12", 88.0), corner_name("leg/12-0", -40.0), corner_name("gate/G3", 90.0)
    ('corner to the right', 'bend to the left', 'turn through the gate')
    """
    if place.startswith("gate/"):
        return "turn through the gate"
    kind = "bend" if place.startswith("leg/") else "corner"
    return f"{kind} to the {'right' if deflection_deg > 0 else 'left'}"


_UNNAMED = "unnamed "


def road_name(name: str) -> str:
    """A road's name; one without a name by the word people have for its class.

    Examples
    --------
    >>> road_name("Elm Road"), road_name("unnamed track"), road_name("unnamed service")
    ('Elm Road', 'unnamed track', 'unnamed service road')
    >>> road_name("unnamed unclassified"), road_name("unnamed primary link"), road_name("")
    ('unnamed road', 'unnamed slip road', 'road without a name')
    """
    if not name.startswith(_UNNAMED):
        return name or "road without a name"
    kind = name.removeprefix(_UNNAMED)
    if kind.endswith(" link"):
        return "unnamed slip road"
    word = {"track": "track", "service": "service road", "living street": "street"}
    return f"unnamed {word.get(kind, 'road')}"


def on_road_name(name: str) -> str:
    """The same as it stands behind "onto".

    Examples
    --------
    >>> on_road_name("Elm Road"), on_road_name("unnamed track")
    ('Elm Road', 'an unnamed track')
    """
    return f"an {road_name(name)}" if name.startswith(_UNNAMED) else road_name(name)
