"""Properties of the checks: more machine never passes more, less map never answers better."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldmap.roads.access import HIERARCHY
from fieldmap.roads.checks import LEG_CHECKS, Ground, check_ground
from fieldmap.roads.facts import OnRoad, places_of
from fieldmap.roads.measured import KINDS, Measured
from fieldmap.roads.verdict import FAIL, PASS, UNKNOWN
from fieldmap.tables import load_tables

TABLES = load_tables()
LENGTHS = st.floats(0.5, 12).map(lambda value: f"{value:.2f}")
MASSES = st.floats(1, 60).map(lambda value: f"{value:.1f}")
#: Tags that say how much there is. Taking one away takes knowledge away.
FIGURES = {
    "width": LENGTHS,
    "width:carriageway": LENGTHS,
    "est_width": LENGTHS,
    "maxwidth": LENGTHS,
    "maxwidth:physical": LENGTHS,
    "lanes": st.sampled_from(["2", "3", "4"]),
    "maxheight": LENGTHS,
    "maxheight:physical": LENGTHS,
    "maxheight:forward": LENGTHS,
    "maxweight": MASSES,
    "maxaxleload": MASSES,
    "maxlength": LENGTHS,
}
#: Tags that say what the road is; they stay.
KINDS_OF_ROAD = {
    "bridge": st.just("yes"),
    "tunnel": st.just("yes"),
    "covered": st.just("yes"),
    "ford": st.just("yes"),
    **{key: st.sampled_from(["yes", "no", "private", "agricultural"]) for key in HIERARCHY},
}
CLASSES = st.sampled_from(["primary", "tertiary", "unclassified", "track", "motorway", "service"])
ROADS = st.fixed_dictionaries({"highway": CLASSES}, optional=FIGURES | KINDS_OF_ROAD)
UNREADABLE = dict.fromkeys(FIGURES, st.sampled_from(["narrow", "3,5", "below_default"]))
ANY_ROADS = ROADS | st.fixed_dictionaries({"highway": CLASSES}, optional=UNREADABLE)
MACHINES = st.builds(
    OnRoad,
    width_m=st.floats(1, 8),
    height_m=st.floats(1, 6),
    length_m=st.floats(2, 25),
    mass_kg=st.floats(500, 50_000),
    axle_kg=st.floats(400, 15_000),
)
ABOVE = st.sampled_from(["", "bridge", "line"])


def levels(roads, machine, above):
    count = len(roads)
    nothing = np.zeros(count, dtype=bool)
    ground = Ground(
        legs=places_of(roads),
        kinds=np.array([one["highway"] for one in roads], dtype=object),
        one_way=nothing,
        under_bridge=nothing | (above == "bridge"),
        under_line=nothing | (above == "line"),
        spots=np.zeros(0, np.int64),
        spot=np.full(1, -1),
        nodes=places_of([]),
        crossing=np.zeros(0, dtype=bool),
    )
    none = Measured(
        {kind: np.full(count, np.nan) for kind in KINDS},
        {kind: np.full(1, np.nan) for kind in KINDS},
        (),
    )
    found = check_ground(ground, machine, none, tables=TABLES)
    return np.array([found.legs[check].level for check in LEG_CHECKS])


@settings(deadline=None, max_examples=300)
@given(
    road=ANY_ROADS,
    machine=MACHINES,
    above=ABOVE,
    more=st.floats(0, 3),
    what=st.sampled_from(["width_m", "height_m", "length_m", "mass_kg", "axle_kg"]),
)
def test_property_a_bigger_machine_never_answers_better(road, machine, above, more, what):
    figures = {name: getattr(machine, name) for name in machine.__slots__}
    bigger = OnRoad(**(figures | {what: figures[what] * (1 + more)}))
    before, after = levels([road], machine, above), levels([road], bigger, above)
    assert (after >= before).all()
    assert not ((before == FAIL) & (after == PASS)).any()


@settings(deadline=None, max_examples=400)
@given(road=ROADS, machine=MACHINES, above=ABOVE)
def test_property_taking_a_figure_away_never_turns_unknown_into_pass(road, machine, above):
    poorer = [
        {key: held for key, held in road.items() if key != gone} for gone in road if gone in FIGURES
    ]
    whole = levels([road], machine, above)
    for one in poorer:
        left = levels([one], machine, above)
        assert not ((whole == UNKNOWN) & (left == PASS)).any()


@settings(deadline=None, max_examples=200)
@given(
    road=ANY_ROADS,
    machine=MACHINES,
    above=ABOVE,
    what=st.sampled_from(["width_m", "height_m", "mass_kg"]),
)
def test_property_a_missing_figure_of_the_machine_never_answers(road, machine, above, what):
    figures = {name: getattr(machine, name) for name in machine.__slots__}
    found = levels([road], OnRoad(**(figures | {what: np.nan})), above)
    check = {"width_m": "width", "height_m": "height", "mass_kg": "mass"}[what]
    assert found[LEG_CHECKS.index(check), 0] == UNKNOWN
