"""Turns of a network: what passes, what is refused, and that unknown is never fine."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_roads import invented
from small_roads import district, machine
from turning_grid import noisy_grid

from fieldmap.machine import Axle, Machine, Transport
from fieldmap.roads.deflections import leg_bearings, rows_of
from fieldmap.roads.measured import lay
from fieldmap.roads.train import trains_of
from fieldmap.roads.turn_check import trials_of, turn_check
from fieldmap.roads.turns import turn_net
from fieldmap.roads.verdict import FAIL, MEASURED, PASS, UNKNOWN
from fieldmap.tables import load_tables

TABLES = load_tables()
STATE = Transport(name="folded", width_m=3.0, height_m=3.0, length_m=11.2)
PULLED = machine(wheelbase_m=2.75, hitch_offset_m=0.9, tongue_length_m=5.4, turning_radius_m=5.4)
HUNG = Machine(id="h", name="h", kind="rear-mounted", wheelbase_m=2.4, turning_radius_m=4.6)
#: Nodes 1-2-3 run straight on eastward; at 2 a road goes off to the north.
CROSS = {1: (0, 0), 2: (1, 0), 3: (2, 0), 4: (1, 1)}
ROADS = [(12, [1, 2, 3], {"highway": "tertiary"}), (13, [2, 4], {"highway": "tertiary"})]


@pytest.fixture(name="cross")
def _cross(tmp_path):
    data = district(tmp_path, CROSS, ROADS)
    return data, turn_net(data)


def flat(data, low, high=None):
    legs = np.ones(2 * len(data.edges))
    return legs * low, legs * (low if high is None else high)


def found(cross, low, high=None, *, train=PULLED, state=STATE, tables=TABLES, **more):
    """Verdict by the two ways of the turn; the ways are named by their legs."""
    data, net = cross
    verdict = turn_check(data, net, *flat(data, low, high), train, state, tables=tables, **more)
    assert len(verdict.level) == len(net.follow)
    rows = rows_of(data, net, 12.0)
    ids = data.edges["leg_id"].to_numpy()
    return {
        (ids[one // 2], ids[other // 2]): (int(level), verdict.reasons[why])
        for one, other, level, why in zip(
            rows.before, rows.after, verdict.level, verdict.why, strict=True
        )
    }


def test_by_hand_headings_and_changes_of_heading(cross):
    """East in, north out is a quarter to the left; straight on is none. The grid turns a little."""
    data, net = cross
    rows = rows_of(data, net, 12.0)
    ids = data.edges["leg_id"].to_numpy()
    turned = {
        (ids[one // 2], ids[other // 2]): deg
        for one, other, deg in zip(rows.before, rows.after, rows.deflection_deg, strict=True)
    }
    assert turned["12-0", "12-1"] == pytest.approx(0.0, abs=0.1)
    assert turned["12-0", "13-0"] == pytest.approx(-90.0, abs=0.5)
    assert turned["12-1", "13-0"] == pytest.approx(90.0, abs=0.5)
    begin, end = leg_bearings(data, 12.0)
    assert np.allclose((begin[::2] - end[1::2]) % 360.0, 180.0)


def test_by_hand_straight_on_passes_and_the_corner_goes_by_its_width(cross):
    narrow, middle, wide = found(cross, 3.2), found(cross, 3.2, 9.0), found(cross, 9.0)
    for told in (narrow, middle, wide):
        assert told["12-0", "12-1"] == (PASS, "It goes on nearly straight.")
    corner = ("12-0", "13-0")
    assert [one[corner][0] for one in (narrow, middle, wide)] == [FAIL, UNKNOWN, PASS]
    assert "no line was found" in narrow[corner][1]
    assert "depends on how wide" in middle[corner][1]
    assert narrow["13-0", "12-0"][0] == FAIL


def test_by_hand_figures_are_widths_of_even_roads(cross):
    """Two roads of one width leave the room of that width, with and without what was measured."""
    data, net = cross
    verdict = turn_check(data, net, *flat(data, 5.0, 7.0), PULLED, STATE, tables=TABLES)
    corner = np.abs(rows_of(data, net, 12.0).deflection_deg) > 45
    assert verdict.low[corner] == pytest.approx(5.0)
    assert verdict.high[corner] == pytest.approx(7.0)
    assert ((verdict.need[corner] > 6.0) & (verdict.need[corner] < 8.0)).all()
    assert np.isnan(verdict.need[~corner]).all()
    assert (verdict.what, verdict.unit) == ("turn", "m")


def test_by_hand_of_two_roads_the_one_with_the_sharper_mouth_counts(tmp_path):
    """A track's corner is rounded by 1 m at least, a tertiary road's by 3."""

    def need(main, side):
        roads = [(12, [1, 2, 3], {"highway": main}), (13, [2, 4], {"highway": side})]
        data = district(tmp_path, CROSS, roads)
        net = turn_net(data)
        verdict = turn_check(data, net, *flat(data, 5.0), PULLED, STATE, tables=TABLES)
        return sorted(verdict.need[~np.isnan(verdict.need)].round(6).tolist())

    assert need("tertiary", "track") == need("track", "tertiary") == need("track", "track")
    assert need("tertiary", "tertiary")[0] < need("tertiary", "track")[0]
    assert need("motorway_of_its_own", "tertiary")[0] > need("track", "track")[0]


def test_by_hand_a_width_that_nobody_knows_is_unknown(cross):
    told = found(cross, math.nan)
    assert told["12-0", "13-0"] == (UNKNOWN, "The width of the road is not known.")
    assert told["12-0", "12-1"][0] == PASS


@pytest.mark.parametrize(
    ("lost", "word"),
    [
        ({"turning_radius_m": None}, "turning radius"),
        ({"wheelbase_m": None, "axles": ()}, "wheelbase"),
        ({"hitch_offset_m": None}, "hitch"),
        ({"tongue_length_m": None}, "tongue"),
        ({"width_m": None}, "transport width"),
        ({"length_m": None}, "transport length"),
        ({"length_m": 8.0}, "longer than its axles"),
        ({"turning_radius_m": 2.0}, "longer than the wheelbase"),
    ],
)
@pytest.mark.parametrize("width", [3.2, 5.0, 20.0])
def test_property_what_the_machine_file_lacks_never_passes_a_corner(cross, lost, word, width):
    own = {key: value for key, value in lost.items() if key in Machine.model_fields}
    state = STATE.model_copy(update={k: v for k, v in lost.items() if k not in own})
    level, why = found(cross, width, train=PULLED.model_copy(update=own), state=state)[
        "12-0", "13-0"
    ]
    assert level != PASS
    if level == UNKNOWN:
        assert word in why
    else:
        assert found(cross, width)["12-0", "13-0"][0] == FAIL


def test_by_hand_a_length_that_lacks_can_still_be_refused_but_never_passes(cross):
    state = STATE.model_copy(update={"length_m": None})
    assert found(cross, 3.2, state=state)["12-0", "13-0"][0] == FAIL
    assert found(cross, 30.0, state=state)["12-0", "13-0"][0] == UNKNOWN


@pytest.mark.parametrize(("answer", "level"), [(1.0, PASS), (0.0, FAIL)])
def test_by_hand_a_trial_drive_wins_over_the_reckoning(cross, answer, level):
    data, net = cross
    trials = {("12-0", "13-0"): answer, ("no-such", "leg"): 1.0}
    for width in (3.2, 5.0, 20.0, math.nan):
        told = found(cross, width, trials=trials)
        assert told["12-0", "13-0"][0] == level
    assert found(cross, 5.0, trials=trials)["13-0", "12-0"][0] == UNKNOWN
    verdict = turn_check(data, net, *flat(data, 5.0), PULLED, STATE, tables=TABLES, trials=trials)
    assert (verdict.basis == MEASURED).sum() == 1


def test_by_hand_trials_come_from_road_checks(cross):
    data, _ = cross
    when = pd.to_datetime(["2026-05-03"] * 2, utc=True)
    checks = pd.DataFrame(
        {
            "place": ["turn/12-0/13-0", "leg/12-1"],
            "kind": "turn",
            "value": [0.0, 1.0],
            "who": "Ines",
            "when": when,
        }
    )
    assert trials_of(data, lay(checks, data)) == {("12-0", "13-0"): 0.0, ("12-1", "12-1"): 1.0}


def test_by_hand_axles_stand_in_for_a_wheelbase_that_is_not_given():
    """Axles at 0, 2.75 and 9.05 m with a hitch at 0.9 m: tongue 9.05 - 2.75 - 0.9 = 5.4 m."""
    axles = tuple(Axle(mass_kg=1000, position_m=one) for one in (0.0, 2.75, 9.05))
    bare = PULLED.model_copy(update={"axles": axles, "wheelbase_m": None, "tongue_length_m": None})
    one, other = (trains_of(it, STATE, tables=TABLES) for it in (bare, PULLED))
    assert one.most.lead_m == other.most.lead_m
    assert one.most.links[0].tongue_m == pytest.approx(5.4)
    two = PULLED.model_copy(update={"axles": axles[:2], "wheelbase_m": None})
    assert trains_of(two, STATE, tables=TABLES).most is None


def test_by_hand_the_two_trains_of_a_trailed_mower():
    """11.2 m over all, 9.05 m between the axles: 2.15 m hang over, at most 1.65 of them behind."""
    trains = trains_of(PULLED, STATE, tables=TABLES)
    tractor, mower = trains.most.bodies
    assert (tractor.ahead_m, tractor.half_m) == pytest.approx((2.75 + 2.15, 1.5))
    assert (mower.ahead_m, mower.behind_m, mower.half_m) == pytest.approx((5.4, 1.65, 1.5))
    assert trains.most.longest_m() == pytest.approx(2.15 + 9.05 + 1.65)
    bar = trains.least.bodies[-1]
    assert (bar.unit, bar.ahead_m + bar.behind_m, bar.half_m) == (1, 0.0, 1.5)


def test_by_hand_a_self_propelled_mower_turns_about_its_front_axle():
    """Steered axle on 5 m, wheelbase 4 m: the drive axle goes round at 3 m."""
    one = Machine(id="s", name="s", kind="self-propelled", wheelbase_m=4, turning_radius_m=5)
    trains = trains_of(one, STATE, tables=TABLES)
    assert (trains.most.lead_m, trains.most.radius_m) == (0.0, 3.0)
    assert trains.most.bodies[0].ahead_m == 4.0


def test_by_hand_a_corner_behind_a_short_leg_is_not_reckoned_alone(tmp_path):
    """9 m from corner to corner: less than the train is long."""
    nodes = {1: (-1, 0), 2: (0, 0), 3: (0, 0.04), 4: (1, 0.04), 5: (0, -1), 6: (0, 1)}
    roads = [
        (20, [1, 2], {"highway": "primary"}),
        (21, [2, 3], {"highway": "primary"}),
        (22, [3, 4], {"highway": "primary"}),
        (23, [5, 2], {"highway": "primary"}),
        (24, [3, 6], {"highway": "primary"}),
    ]
    data = district(tmp_path, nodes, roads)
    told = found((data, turn_net(data)), 20.0)
    assert told["20-0", "21-0"][0] == PASS
    assert told["21-0", "22-0"][0] == UNKNOWN
    assert "Another corner" in told["21-0", "22-0"][1]
    assert told["21-0", "24-0"][0] == PASS


def test_by_hand_states_that_remember_have_a_verdict_too():
    """Restrictions over ways add rows to what may follow; each has its verdict."""
    data = invented(12, 12, kept=1.0, via_bans=15)
    net = turn_net(data)
    assert len(net.leg_of) > 2 * len(data.edges)
    verdict = turn_check(data, net, *flat(data, 4.0, 9.0), HUNG, STATE, tables=TABLES)
    assert len(verdict.level) == len(net.follow)
    rows = rows_of(data, net, 12.0)
    seen: dict[tuple[int, int], set[int]] = {}
    for one, other, level in zip(rows.before, rows.after, verdict.level, strict=True):
        seen.setdefault((int(one), int(other)), set()).add(int(level))
    assert max(len(levels) for levels in seen.values()) == 1


DATA = noisy_grid(9, 9)
NET = turn_net(DATA)


def sized(width, length=6.5, train=HUNG):
    state = Transport(name="a", width_m=width, length_m=length)

    def levels(low, high):
        return turn_check(DATA, NET, low, high, train, state, tables=TABLES).level

    return levels


@given(st.permutations([1.3, 1.9, 2.0, 2.8, 3.9]), st.integers(0, 2**31))
@settings(max_examples=30, deadline=None)
def test_property_a_wider_machine_never_turns_a_refusal_into_a_pass(widths, seed):
    width, wider = sorted(widths[:2])
    rng = np.random.default_rng(seed)
    low = rng.uniform(2.0, 9.0, 2 * len(DATA.edges))
    high = low + rng.uniform(0.0, 6.0, len(low))
    slim, wide = (sized(one)(low, high) for one in (width, wider))
    assert not ((slim == FAIL) & (wide == PASS)).any()
    assert len(set(slim.tolist())) > 1


@given(st.sampled_from([1.3, 2.0, 2.8, 3.9]), st.floats(0.0, 4.0), st.integers(0, 2**31))
@settings(max_examples=30, deadline=None)
def test_property_a_wider_road_is_never_worse_and_less_known_never_better(width, more, seed):
    rng = np.random.default_rng(seed)
    low = rng.uniform(2.0, 9.0, 2 * len(DATA.edges))
    high = low + rng.uniform(0.0, 6.0, len(low))
    levels = sized(width)
    here = levels(low, high)
    assert (levels(low + more, high + more) <= here).all()
    vague = levels(low - np.minimum(more, 1.0), high + more)
    assert not ((vague == PASS) & (here != PASS)).any()
    assert not ((vague == FAIL) & (here != FAIL)).any()
    blind = levels(np.where(rng.random(len(low)) < 0.5, low, np.nan), high)
    assert not ((blind == PASS) & (here != PASS)).any()


def test_property_rare_figures_of_the_tables_reach_the_answer(cross):
    """Each figure that the trade could argue with moves an answer when it moves."""
    base = found(cross, 7.2)["12-0", "13-0"][0]
    assert base == PASS
    for key, value in (
        ("turning.kerb_tertiary", {"value": 0.0, "low": 0.0, "high": 0.0}),
        ("clearances.side_m", {"value": 1.5}),
        ("turning.sharpest_deg", {"value": 60.0}),
        ("turning.nose_tractor_m", {"value": 3.0, "low": 0.1, "high": 9.0}),
    ):
        told = found(cross, 7.2, tables=_with(key, value))["12-0", "13-0"]
        if key != "turning.nose_tractor_m":
            assert told[0] != PASS, key
    assert (
        found(cross, 5.5, tables=_with("turning.line_slack_m", {"value": 9.0}))["12-0", "13-0"][0]
        == UNKNOWN
    )
    assert (
        found(cross, 3.2, tables=_with("turning.straight_deg", {"value": 95.0}))["12-0", "13-0"][0]
        == PASS
    )


def _with(key, change):
    from dataclasses import replace

    from fieldmap.tables import Tables

    changed = dict(TABLES.constants)
    changed[key] = replace(changed[key], **change)
    return Tables(changed, TABLES.sources)


def test_by_hand_no_sentence_promises_anything(cross):
    data, net = cross
    verdict = turn_check(data, net, *flat(data, 5.0), PULLED, STATE, tables=TABLES)
    assert not any("safe" in one.lower() for one in verdict.reasons)
