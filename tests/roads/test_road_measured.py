"""What was measured on its places: the newest, the own, the least favourable, the machine's."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_roads import district

from fieldmap.roads.known_places import RoadPlaces
from fieldmap.roads.measured import KINDS, Teller, lay


@pytest.fixture(scope="module")
def roads(tmp_path_factory):
    """Way 7 of two legs through node 2, way 8 of one leg off it, way 9 far from both."""
    return district(
        tmp_path_factory.mktemp("roads"),
        {1: (0, 0), 2: (1, 0), 3: (2, 0), 4: (1, 1), 5: (5, 5), 6: (6, 5)},
        [
            (7, [1, 2, 3], {"highway": "track", "name": "Elm Road"}),
            (8, [2, 4], {"highway": "track"}),
            (9, [5, 6], {"highway": "track"}),
        ],
        node_tags={2: {"barrier": "gate"}},
    )


def checks(*rows):
    table = pd.DataFrame(rows, columns=["place", "kind", "value", "when", "machine"])
    return table.assign(who="Ines", when=pd.to_datetime(table["when"]))


def row(place="way/7", kind="width", value=4.0, when="2026-05-03", machine=""):
    return (place, kind, value, when, machine)


def laid(roads, *rows, **more):
    found = lay(checks(*rows), roads, **more)
    legs = dict(zip(roads.edges["leg_id"], range(len(roads.edges)), strict=True))
    return found, lambda kind: [found.legs[kind][legs[one]] for one in ("7-0", "7-1")]


def test_by_hand_a_ways_figure_is_on_all_its_legs(roads):
    found, width = laid(roads, row())
    assert width("width") == [4.0, 4.0]
    assert np.isfinite(found.legs["width"]).sum() == 2
    assert found.told["leg/7-1", "width"] == Teller("Ines", date(2026, 5, 3))
    assert found.by("leg/7-0", "width") == "measured by Ines, 2026-05-03"
    assert found.by("leg/8-0", "width") == ""


@pytest.mark.parametrize(
    ("own", "own_day", "expected"),
    [
        (5.0, "2026-05-04", 5.0),  # newer than the way's
        (5.0, "2026-05-03", 5.0),  # of the same day: it is the one that was measured here
        (5.0, "2026-05-02", 4.0),  # the narrowest along the way was taken later and is less
        (3.0, "2026-05-02", 3.0),  # older, but less
    ],
)
def test_by_hand_a_legs_own_against_its_ways(roads, own, own_day, expected):
    rows = (row("leg/7-1", value=own, when=own_day), row())
    for order in (rows, rows[::-1]):
        assert laid(roads, *order)[1]("width") == [4.0, expected]


def test_by_hand_the_newest_counts_in_any_order(roads):
    old, new = row(value=3.0, when="2026-05-01"), row(value=4.0)
    assert laid(roads, old, new)[1]("width") == laid(roads, new, old)[1]("width") == [4.0, 4.0]


@pytest.mark.parametrize(("kind", "least", "most"), [("width", 3.0, 4.0), ("access", 0.0, 1.0)])
def test_by_hand_of_one_day_the_least_favourable_counts_and_is_told(roads, kind, least, most):
    one, other = row(kind=kind, value=least), row(kind=kind, value=most)
    for rows in ((one, other), (other, one)):
        found, figures = laid(roads, *rows)
        assert figures(kind) == [least, least]
        (note,) = found.lost
        assert "the least favourable one counts" in note
    assert laid(roads, one, one)[0].lost == ()


def test_by_hand_a_width_at_a_node_is_its_opening(roads):
    found, _ = laid(roads, row("node/2", "width", 4.0), row("node/2", "opening", 3.0, "2026-05-01"))
    assert np.nanmax(found.nodes["opening"]) == 4.0
    assert np.isnan(found.nodes["width"]).all()


def test_by_hand_a_turn_is_by_its_two_legs(roads):
    found, _ = laid(roads, row("turn/7-0/8-0", "turn", 1.0), row("turn/8-0/99-0", "turn", 1.0))
    assert found.turns == {("7-0", "8-0"): 1.0}
    assert found.by("turn/7-0/8-0", "turn") == "answered by Ines, 2026-05-03"
    assert found.lost == (
        "road check for turn/8-0/99-0: no such place on the roads that were read",
    )


@pytest.mark.parametrize(
    ("bound", "asked", "counts"),
    [
        ("", {}, True),
        ("m", {}, False),
        ("m", {"machine": "m"}, True),
        ("m", {"machine": "other"}, False),
        ("m/folded", {"machine": "m"}, False),
        ("m/folded", {"machine": "m", "state": "folded"}, True),
        ("m/folded", {"machine": "m", "state": "swung"}, False),
    ],
)
def test_by_hand_one_machines_trial_counts_for_no_other(roads, bound, asked, counts):
    found, _ = laid(roads, row("turn/7-0/8-0", "turn", 1.0, machine=bound), **asked)
    assert bool(found.turns) is counts


def test_by_hand_nothing_measured_is_nothing_known(roads):
    for none in (None, checks()):
        found = lay(none, roads)
        assert all(np.isnan(held).all() for held in (*found.legs.values(), *found.nodes.values()))
        assert set(found.legs) == set(found.nodes) == set(KINDS)
        assert found.turns == found.told == {}


ROWS = st.lists(
    st.builds(
        row,
        place=st.sampled_from(["way/7", "leg/7-0", "leg/7-1"]),
        kind=st.sampled_from(["width", "ford"]),
        value=st.sampled_from([0.0, 1.0, 2.0]),
        when=st.sampled_from(["2026-05-01", "2026-05-02"]),
    ),
    min_size=1,
    max_size=6,
)


@settings(deadline=None, max_examples=150)
@given(rows=ROWS, seed=st.randoms())
def test_property_the_order_of_rows_does_not_matter(roads, rows, seed):
    turned = list(rows)
    seed.shuffle(turned)
    one, other = laid(roads, *rows)[1], laid(roads, *turned)[1]
    for kind in ("width", "ford"):
        np.testing.assert_array_equal(one(kind), other(kind))


@settings(deadline=None, max_examples=150)
@given(rows=ROWS)
def test_property_every_figure_laid_says_who_told_it(roads, rows):
    found, figures = laid(roads, *rows)
    for kind in ("width", "ford"):
        told = [(f"leg/{leg}", kind) in found.told for leg in ("7-0", "7-1")]
        assert told == np.isfinite(figures(kind)).tolist()


@pytest.mark.parametrize(
    ("place", "what", "mend"),
    [
        ("way/70", "no such way", "way/7"),
        ("leg/7-5", "no such leg", "leg/7-0, leg/7-1"),
        ("node/33", "no such node", "node/3"),
        ("turn/7-0/9-0", "do not meet", "turn/7-0/8-0"),
        ("turn/7-0/7-0", "do not meet", "turn/7-0/7-1"),
        ("turn/7-0/77-0", "no such leg", "leg/7-0"),
    ],
)
def test_by_hand_a_place_astray_and_those_like_it(roads, place, what, mend):
    found = RoadPlaces(roads).astray(place)
    assert what in found.what
    assert mend in found.mend


@pytest.mark.parametrize("place", ["way/7", "leg/7-1", "node/2", "turn/7-0/8-0", "turn/8-0/7-0"])
def test_by_hand_a_place_on_the_roads(roads, place):
    assert RoadPlaces(roads).astray(place) is None
    assert RoadPlaces(roads).name_of("leg/7-1") == "Elm Road"
