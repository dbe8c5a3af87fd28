"""What stands in a machine's way on a way that was found, in few words."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldmap.finding import Level
from fieldmap.roads.choose import ASKED_FOR, FIGURE_OF, lacks_figure
from fieldmap.roads.district import District, Held
from fieldmap.roads.search import Way
from fieldmap.roads.verdict import LEVEL_OF, PASS, UNKNOWN, Codes, Verdict
from fieldmap.roads.wording import WHAT


class Hindrance(NamedTuple):
    """A place on a way, what it is called, the check that does not pass there, its level."""

    place: str
    name: str
    check: str
    level: Level


def hindrances(district: District, held: Held, way: Way | None) -> list[Hindrance]:
    """What does not pass on a way, in driving order; one way or node and check once.

    What the machine's own missing figure makes unknown everywhere stands first, for the place
    ``machine``.

    Parameters
    ----------
    district : District
    held : Held
        The machine on the same district.
    way : Way or None
        ``None`` when the map has none: then nothing stands in it.
    """
    if way is None:
        return []
    spots = district.ground.spot[district.net.end_node[way.legs[:-1]]]
    rows = [*_machine(held, way, spots), *_along(district, held, way)]
    met: dict[tuple[str, str], Hindrance] = {}
    for one in rows:
        before = met.get((one.place, one.check))
        if before is None or (before.level, one.level) == ("unknown", "stop"):
            met[one.place, one.check] = one
    return list(met.values())


def _machine(held: Held, way: Way, ends: NDArray[np.int64]) -> Iterator[Hindrance]:
    """What its own missing figures make unknown on this way, one check for each figure."""
    checked, told = held.checked, set()
    spots = ends[ends >= 0]
    for verdicts, rows in ((checked.legs, way.legs), (checked.nodes, spots)):
        for check, verdict in verdicts.items():
            figure = (FIGURE_OF | ASKED_FOR).get(check)
            asked = figure not in told and lacks_figure(held.size, check)
            if asked and (verdict.level[rows] != PASS).any():
                told.add(figure)
                yield Hindrance("machine", held.machine.name, WHAT[check], "unknown")


def _along(district: District, held: Held, way: Way) -> Iterator[Hindrance]:
    edges, nodes, net = district.data.edges, district.data.nodes, district.net
    ways, names = edges["way_id"].to_numpy(), edges["name"].to_numpy(dtype=object)
    checked = held.checked
    last = len(way.legs) - 1
    for order, leg in enumerate(way.legs.tolist()):
        row = leg // 2
        place, name = f"way/{ways[row]}", names[row] or f"unnamed {edges['highway'].iloc[row]}"
        yield from _at(held, checked.legs, checked.leg_level, leg, leg, (place, name))
        if order < last:
            node = int(net.end_node[leg])
            spot = int(district.ground.spot[node])
            place = f"node/{nodes['node_id'].iloc[node]}"
            tags = nodes["tags"].iloc[node]
            name = (tags.get("barrier") or "a point").replace("_", " ")
            yield from _at(held, checked.nodes, checked.node_level, node, spot, (place, name))
            yield from _turn(district, held, way, order)


def _at(
    held: Held,
    verdicts: dict[str, Verdict],
    worst: Codes,
    place: int,
    row: int,
    named: tuple[str, str],
) -> Iterator[Hindrance]:
    if worst[place] == PASS:
        return
    for check, verdict in verdicts.items():
        if verdict.level[row] != PASS and not lacks_figure(held.size, check):
            yield Hindrance(*named, WHAT[check], LEVEL_OF[verdict.level[row]])


def _turn(district: District, held: Held, way: Way, order: int) -> Iterator[Hindrance]:
    """A turn that does not pass; the machine, where its own figures for a turn are missing."""
    verdict = held.checked.turns
    level = PASS if verdict is None else int(verdict.level[way.turns[order]])
    if level == PASS:
        return
    if level == UNKNOWN and held.trains.lacks:
        yield Hindrance("machine", held.machine.name, "turn", "unknown")
        return
    one, other = (district.data.edges.iloc[leg // 2] for leg in way.legs[order : order + 2])
    place = f"turn/{one['leg_id']}/{other['leg_id']}"
    yield Hindrance(place, f"into {other['name'] or 'an unnamed road'}", "turn", LEVEL_OF[level])
