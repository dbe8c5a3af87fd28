"""What stands in a machine's way, by hand: in driving order, each place and check once."""

from __future__ import annotations

import numpy as np
import pytest
from small_roads import district, machine

from fieldmap.machine import Transport
from fieldmap.roads.choose import choose
from fieldmap.roads.district import district_of, hold
from fieldmap.roads.hindrance import hindrances
from fieldmap.roads.search import OnLeg
from fieldmap.tables import load_tables

TABLES = load_tables()
WIDE = {"highway": "tertiary", "width": "9", "name": "Long Road"}
FOLDED = Transport(name="folded", width_m=2.5, height_m=3.4, length_m=9.0)
BARE = Transport(name="folded")


def met(folder, tags, node=None, *, state=FOLDED, **changes):
    """Place, check and level of all that stands on a road of three ways, driven through."""
    ways = [(21 + n, [n + 1, n + 2], WIDE | one) for n, one in enumerate(tags)]
    nodes = {1: (0, 0), 2: (1, 0), 3: (2, 0), 4: (3, 0)}
    data = district(folder, nodes, ways, node_tags={2: node} if node else None)
    place = district_of(data, None)
    held = hold(place, machine(**changes), state, tables=TABLES)
    ends = [OnLeg(leg, 0.5) for leg in np.argsort(data.edges["leg_id"].to_numpy())[[0, -1]]]
    way = choose(place.net, held.sure, held.fewest, *ends).way
    return [(one.place, one.check, one.level) for one in hindrances(place, held, way)]


@pytest.mark.parametrize(
    ("tags", "node", "expected"),
    [
        (({}, {}, {}), None, []),
        (({}, {"width": "narrow"}, {}), None, [("way/22", "road width", "unknown")]),
        (({}, {"width": "3.4"}, {}), None, [("way/22", "road width", "stop")]),
        (({}, {}, {}), {"barrier": "gate"}, [("node/2", "opening", "unknown")]),
        (
            ({"ford": "yes"}, {}, {"ford": "yes"}),
            {"ford": "yes"},
            [("way/21", "ford", "unknown"), ("node/2", "ford", "unknown"),
             ("way/23", "ford", "unknown")],
        ),
    ],
)  # fmt: skip
def test_by_hand_what_stands_in_the_way(tmp_path, tags, node, expected):
    assert met(tmp_path, tags, node) == expected


def test_by_hand_a_figure_the_machine_lacks_is_told_once(tmp_path):
    found = met(tmp_path, ({}, {"ford": "yes"}, {}), {"barrier": "gate"}, state=BARE, mass_kg=None)
    assert [one for one in found if one[0] != "machine"] == [("way/22", "ford", "unknown")]
    assert [level for place, _, level in found if place == "machine"] == ["unknown"] * 3
    assert {check for place, check, _ in found if place == "machine"} == {
        "road width", "clear height", "mass limit",
    }  # fmt: skip


def test_by_hand_no_way_has_nothing_in_it(tmp_path):
    data = district(tmp_path, {1: (0, 0), 2: (1, 0)}, [(21, [1, 2], WIDE)])
    place = district_of(data, None)
    assert hindrances(place, hold(place, machine(), FOLDED, tables=TABLES), None) == []
