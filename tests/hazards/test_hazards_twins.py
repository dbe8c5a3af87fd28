"""Near-duplicates are proposed by the radii of their places, and never merged by themselves."""

from __future__ import annotations

import numpy as np
import pytest
from event_pieces import TABLES, adds, both, folded, told
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.hazards import events as ev
from fieldmap.hazards.twins import twins

UTM = 32632


def apart(metres: float, *, kinds: tuple[str, str] = ("stone", "stone"), radius_m: float = 3.0):
    """Two marks so many metres apart, east of each other."""
    there = 11.5 + metres / (111_319.49 * np.cos(np.radians(49.9)))
    rows = [
        {"kind": kind, "at": (lon, 49.9), "radius_m": radius_m, "who": who, "note": who}
        for kind, lon, who in zip(kinds, (11.5, there), "ab", strict=True)
    ]
    return adds(*rows)


def proposed(events, *more):
    log = both(events, *more)
    return twins(folded(log).to_crs(UTM), log, tables=TABLES)


def test_by_hand_nearer_than_both_radii_together() -> None:
    """k sqrt(r1^2 + r2^2) with k = 1 and r = 3 and 3: 4.24 m."""
    (pair,) = proposed(apart(4.0)).to_dict("records")
    assert pair["distance_m"] == pytest.approx(4.0, abs=0.03)
    assert pair["within_m"] == pytest.approx(np.hypot(3, 3))
    assert pair["same_teller"] is False
    assert proposed(apart(4.5)).empty


def test_by_hand_another_kind_is_another_thing() -> None:
    assert proposed(apart(1.0, kinds=("stone", "post"))).empty


def test_by_hand_a_place_of_unknown_radius_is_reckoned_wide() -> None:
    """Each 10.19 m (looking.position_radius_m): 14.4 m together."""
    assert len(proposed(apart(14.0, radius_m=float("nan")))) == 1
    assert proposed(apart(15.0, radius_m=float("nan"))).empty


def test_by_hand_a_pair_taken_apart_is_not_proposed_again() -> None:
    pair = apart(1.0)
    merge = told(ev.MERGED, pair, others=ev.joined(pair["hazard_id"]))
    assert proposed(pair, merge).empty  # one mark
    assert proposed(pair, merge, told(ev.UNMERGED, merge)).empty
    assert len(proposed(pair)) == 1


@given(
    places=st.lists(
        st.tuples(st.floats(0, 60), st.floats(0, 60), st.floats(0.5, 12)), min_size=2, max_size=12
    )
)
def test_property_the_pairs_are_those_of_the_plain_rule(places) -> None:
    """Property: beside every pair tried one by one."""
    import geopandas as gpd
    import shapely

    table = gpd.GeoDataFrame(
        {
            "hazard_id": [str(at) for at in range(len(places))],
            "key": [str(at) for at in range(len(places))],
            "kind": "stone",
            "who": "",
            "file": "",
            "radius_m": [radius for *_, radius in places],
        },
        geometry=[shapely.Point(x, y) for x, y, _ in places],
        crs=UTM,
    )
    found = twins(table, ev.no_events(), tables=TABLES)
    plain = {
        (str(a), str(b))
        for a in range(len(places))
        for b in range(a + 1, len(places))
        if np.hypot(places[a][0] - places[b][0], places[a][1] - places[b][1])
        <= np.hypot(places[a][2], places[b][2])
    }
    assert set(zip(found["one"], found["other"], strict=True)) == plain
