"""Properties of the checks: more machine never passes more, less map never answers better.

Two sorts of tags. FIGURES and TRACKTYPES tell how much there is; taking one away takes knowledge
away, and no check may then pass where it was unknown. What stays says what the road or sign is:

- ``highway``, ``service``: the class is what an assumption rests on; without it nothing is a road.
- ``bridge``, ``tunnel``, ``covered``, ``ford``, ``flood_prone``, ``barrier``: a thing in the way. A
  map without it shows another place, and nobody can ask for every ford that is not mapped.
- access tags, conditions, and limits that cannot be read: a sign. Every road may have one that
  nobody mapped; that is what the caution on each answer says.
- ``lanes=1``, ``narrow``, ``surface``, ``smoothness``, and ``tracktype`` on what is no track: say
  that a road is worse than its class.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldmap.roads.access import HIERARCHY
from fieldmap.roads.checks import LEG_CHECKS, NODE_CHECKS, Ground, check_ground
from fieldmap.roads.facts import OnAxle, OnRoad, directed, places_of
from fieldmap.roads.measured import KINDS, Measured
from fieldmap.roads.verdict import FAIL, PASS, UNKNOWN
from fieldmap.tables import load_tables

TABLES = load_tables()
#: Grades are looked at with the elevation, in a file of their own.
CHECKS = [one for one in LEG_CHECKS if one != "grade"]
LENGTHS = st.floats(0.5, 12).map(lambda value: f"{value:.2f}")
MASSES = st.floats(1, 60).map(lambda value: f"{value:.1f}")
OF_LENGTH = ("maxwidth", "maxheight", "maxlength")
OF_MASS = ("maxweight", "maxgcweight", "maxaxleload", "maxbogieweight")
BOUND = ("", ":forward", ":backward", ":agricultural", ":motor_vehicle", ":hgv")
LIMITS = {f"{key}{more}": LENGTHS for key in OF_LENGTH for more in (*BOUND, ":physical")} | {
    f"{key}{more}": MASSES for key in OF_MASS for more in BOUND
}
#: Tags that say how much there is. Taking one away takes knowledge away.
FIGURES = {
    "width": LENGTHS,
    "width:carriageway": LENGTHS,
    "est_width": LENGTHS,
    "lanes": st.sampled_from(["2", "3", "4"]),
    **LIMITS,
}
TRACKTYPES = st.sampled_from([f"grade{number}" for number in range(1, 6)])
WORDS = {
    "surface": st.sampled_from(["asphalt", "gravel", "dirt", "mud"]),
    "smoothness": st.sampled_from(["good", "horrible", "impassable"]),
    "narrow": st.just("yes"),
}
#: Tags that say what the road is; they stay.
KINDS_OF_ROAD = {
    "bridge": st.just("yes"),
    "tunnel": st.just("yes"),
    "covered": st.just("yes"),
    "ford": st.just("yes"),
    "service": st.sampled_from(["driveway", "alley"]),
    "toll": st.sampled_from(["yes", "no"]),
    **{key: st.sampled_from(["yes", "no", "private", "agricultural"]) for key in HIERARCHY},
    **{f"{key}:forward": st.sampled_from(["yes", "no"]) for key in HIERARCHY},
}
CLASSES = st.sampled_from(["primary", "tertiary", "unclassified", "track", "motorway", "service"])


def _some(tags, most):
    """A few of many tags at once."""
    keys = st.lists(st.sampled_from(sorted(tags)), max_size=most, unique=True)
    return keys.flatmap(lambda held: st.fixed_dictionaries({key: tags[key] for key in held}))


def _roads(*parts):
    return st.tuples(CLASSES, *parts).map(
        lambda drawn: (
            {key: said for held in drawn[1:] for key, said in held.items()} | {"highway": drawn[0]}
        )
    )


ROADS = _roads(_some(FIGURES, 6), _some(KINDS_OF_ROAD, 3))
UNREADABLE = st.sampled_from(["narrow", "3,5", "below_default", "none", "2;3"])
CONDITIONS = st.sampled_from(
    [
        "2 @ wet",
        "40 @ (Mo-Fr)",
        "none @ agricultural",
        "3 @ hgv",
        "3 @ (weight>7.5)",
        "no",
        "3 @ (width>3)",
    ]
)
ODD = dict.fromkeys(FIGURES, UNREADABLE)
BY_HOUR = {f"{key}:conditional": CONDITIONS for key in (*OF_LENGTH, *OF_MASS)}
WHEN = {
    f"{key}:conditional": st.sampled_from(["no @ (weight>9)", "yes @ (Sa)", "no @ (length>12)"])
    for key in HIERARCHY
}
RATED = {"maxweightrating": MASSES, "trailer": st.just("no")}
ANY_ROADS = _roads(
    _some(FIGURES, 4),
    _some(ODD | WHEN | RATED, 2),
    _some(BY_HOUR, 3),
    _some(KINDS_OF_ROAD | WORDS, 2),
)
NODE_FIGURES = LIMITS | {"width": LENGTHS, "est_width": LENGTHS}
NODE_KINDS = {
    "barrier": st.sampled_from(["gate", "bollard", "cattle_grid", "height_restrictor", "log"]),
    "ford": st.just("yes"),
    "locked": st.just("yes"),
    "traffic_calming": st.sampled_from(["choker", "hump"]),
    "access": st.sampled_from(["yes", "no", "private"]),
}
NODES = st.tuples(_some(NODE_FIGURES, 4), _some(NODE_KINDS, 2)).map(lambda two: two[0] | two[1])
ANY_NODES = st.tuples(NODES, _some(ODD | WHEN, 2), _some(BY_HOUR, 2)).map(
    lambda drawn: drawn[0] | drawn[1] | drawn[2]
)

AXLES = st.lists(st.tuples(st.floats(0, 12), st.floats(300, 12_000)), min_size=1, max_size=5).map(
    lambda found: tuple(sorted(OnAxle(*one) for one in found))
)


def _machine(width_m, height_m, length_m, axles):
    mass_kg = sum(one.mass_kg for one in axles)
    heaviest = max(one.mass_kg for one in axles)
    return OnRoad(width_m, height_m, length_m, mass_kg, heaviest, axles)


MACHINES = st.builds(_machine, st.floats(1, 8), st.floats(1, 6), st.floats(2, 25), AXLES)
ABOVE = st.sampled_from(["", "bridge", "line"])


def measured_nowhere(legs, nodes):
    return Measured(
        {kind: np.full(legs, np.nan) for kind in KINDS},
        {kind: np.full(nodes, np.nan) for kind in KINDS},
        (),
    )


def checked(machine, above="", roads=(), nodes=(), measured=None):
    """All checks on roads, along and against each line, and on nodes."""
    roads = list(roads) or [{"highway": "road"}]
    nothing = np.zeros(2 * len(roads), dtype=bool)
    spots = np.arange(len(nodes))
    ground = Ground(
        legs=places_of(directed(roads)),
        kinds=np.repeat(np.array([one["highway"] for one in roads], dtype=object), 2),
        one_way=nothing,
        under_bridge=nothing | (above == "bridge"),
        under_line=nothing | (above == "line"),
        spots=spots,
        spot=spots,
        nodes=places_of(list(nodes)),
        crossing=np.zeros(len(nodes), dtype=bool),
        hump=np.zeros(len(nodes), dtype=bool),
    )
    said = measured or measured_nowhere(len(roads), len(nodes))
    return check_ground(ground, machine, said, tables=TABLES)


def levels(roads, machine, above):
    found = checked(machine, above, roads=roads)
    return np.array([found.legs[check].level for check in CHECKS])


def node_levels(nodes, machine):
    found = checked(machine, nodes=nodes)
    return np.array([found.nodes[check].level for check in NODE_CHECKS])


def bigger(machine, what, more):
    """The machine with one of its sizes grown; heavier is heavier on every axle."""
    if what == "mass_kg":
        axles = tuple(one._replace(mass_kg=one.mass_kg * more) for one in machine.axles)
        heavier = {"mass_kg": machine.mass_kg * more, "axle_kg": machine.axle_kg * more}
        return dataclasses.replace(machine, axles=axles, **heavier)
    return dataclasses.replace(machine, **{what: getattr(machine, what) * more})


SIZES = st.sampled_from(["width_m", "height_m", "length_m", "mass_kg"])


@settings(deadline=None, max_examples=300)
@given(
    road=ANY_ROADS,
    machine=MACHINES,
    above=ABOVE,
    more=st.floats(1, 4),
    what=SIZES,
    axles_known=st.booleans(),
)
def test_property_a_bigger_machine_never_answers_better(
    road, machine, above, more, what, axles_known
):
    one = machine if axles_known else dataclasses.replace(machine, axles=(), axle_kg=np.nan)
    before = levels([road], one, above)
    after = levels([road], bigger(one, what, more), above)
    assert (after >= before).all()
    assert not ((before == FAIL) & (after == PASS)).any()


@settings(deadline=None, max_examples=200)
@given(node=ANY_NODES, machine=MACHINES, more=st.floats(1, 4), what=SIZES)
def test_property_a_bigger_machine_never_passes_more_nodes(node, machine, more, what):
    before, after = node_levels([node], machine), node_levels([node], bigger(machine, what, more))
    assert (after >= before).all()


def without_one(held, keys):
    return [
        {key: said for key, said in held.items() if key != gone} for gone in held if gone in keys
    ]


@settings(deadline=None, max_examples=400)
@given(road=ROADS, machine=MACHINES, above=ABOVE)
def test_property_taking_a_figure_away_never_turns_unknown_into_pass(road, machine, above):
    poorer = without_one(road, FIGURES)
    found = levels([road, *poorer], machine, above)
    for row in range(1, len(poorer) + 1):
        whole, left = found[:, :2], found[:, 2 * row : 2 * row + 2]
        better = (whole == UNKNOWN) & (left == PASS)
        # a kept mass limit settles the axles too; behind one that refuses there may be a kept one
        better[CHECKS.index("axles")] &= whole[CHECKS.index("mass")] != FAIL
        assert not better.any()
        assert not ((whole.max(axis=0) == UNKNOWN) & (left.max(axis=0) == PASS)).any()


@settings(deadline=None, max_examples=200)
@given(node=NODES, machine=MACHINES)
def test_property_taking_a_figure_away_at_a_node_never_turns_unknown_into_pass(node, machine):
    poorer = without_one(node, NODE_FIGURES)
    found = node_levels([node, *poorer], machine)
    assert not ((found[:, :1] == UNKNOWN) & (found[:, 1:] == PASS)).any()


@settings(deadline=None, max_examples=100)
@given(more=_some(WORDS, 3), kind=TRACKTYPES, machine=MACHINES)
def test_property_taking_the_tracktype_away_never_answers_better(more, kind, machine):
    """Whatever else a track says of itself: that it is soft is no reason to leave it unmapped."""
    track = more | {"highway": "track"}
    found = levels([track | {"tracktype": kind}, track], machine, "")
    assert (found[:, 2:] >= found[:, :2]).all()


@settings(deadline=None, max_examples=200)
@given(
    road=ANY_ROADS,
    machine=MACHINES,
    above=ABOVE,
    what=st.sampled_from(["width_m", "height_m", "mass_kg", "length_m", "axle_kg"]),
)
def test_property_a_missing_figure_of_the_machine_never_answers(road, machine, above, what):
    gone = {"axles": ()} if what == "axle_kg" else {}
    before = levels([road], machine, above)
    found = levels([road], dataclasses.replace(machine, **{what: np.nan}, **gone), above)
    check = {"width_m": "width", "height_m": "height", "mass_kg": "mass"}.get(what)
    if check:
        assert (found[CHECKS.index(check)] == UNKNOWN).all()
    assert not ((before > PASS) & (found == PASS)).any()


@settings(deadline=None, max_examples=100)
@given(road=ANY_ROADS, machine=MACHINES)
def test_property_turning_a_line_about_turns_the_answers_about(road, machine):
    turned = {
        key.replace("forward", "?").replace("backward", "forward").replace("?", "backward"): said
        for key, said in road.items()
    }
    found = levels([road, turned], machine, "")
    assert (found[:, 0] == found[:, 3]).all()
    assert (found[:, 1] == found[:, 2]).all()


@pytest.mark.parametrize(
    ("kind", "signs"),
    [
        ("width", ["width_limit"]),
        ("opening", ["width_limit"]),
        ("height", ["height_limit"]),
        ("surface", ["width_limit", "height_limit", "length", "mass", "axles", "access"]),
    ],
)
def test_property_what_was_measured_never_lifts_a_sign(kind, signs):
    @settings(deadline=None, max_examples=60)
    @given(road=ANY_ROADS, node=ANY_NODES, machine=MACHINES)
    def holds(road, node, machine):
        seen = measured_nowhere(1, 1)
        seen.legs[kind][:] = seen.nodes[kind][:] = 50.0 if kind != "surface" else 1.0
        before = checked(machine, roads=[road], nodes=[node])
        after = checked(machine, roads=[road], nodes=[node], measured=seen)
        for sign in signs:
            assert (before.legs[sign].level == after.legs[sign].level).all()
            assert (before.nodes[sign].level == after.nodes[sign].level).all()

    holds()
