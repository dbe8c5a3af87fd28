"""Turn restrictions out of relations: small invented files, by hand."""

from __future__ import annotations

import pytest
from small_osm import read, relation, row_of

from fieldmap.read.osm_words import rules_said

TRACK = {"highway": "track"}
FROM, VIA, TO = ("way", 7, "from"), ("node", 2, "via"), ("way", 8, "to")


def turns(tmp_path, *relations):
    ways = {7: ([1, 2], TRACK), 8: ([2, 3], TRACK), 9: ([3, 4], TRACK), 6: ([2, 5], TRACK)}
    nodes = row_of(4) | {5: (11.502, 50.001, {})}
    data = read(tmp_path, nodes, ways | {5: ([4, 5], {"railway": "rail"})}, "".join(relations))
    rows = [
        (row["relation_id"], row["rule"], row["condition"], row["except_for"])
        for row in data.turns.to_dict("records")
    ]
    return rows, data.warnings


def test_by_hand_a_restriction_by_the_hour_holds_and_keeps_its_words(tmp_path):
    rule = {"restriction:conditional": "no_left_turn @ (Mo-Fr 07:00-09:00; Sa 08:00-10:00)"}
    rows, warnings = turns(tmp_path, relation(1, None, FROM, VIA, TO, **rule))
    assert rows == [(1, "no_left_turn", "Mo-Fr 07:00-09:00; Sa 08:00-10:00", "")]
    assert warnings == ()


def test_by_hand_every_rule_of_a_relation_is_taken(tmp_path):
    rule = {
        "restriction:conditional": "no_right_turn @ (Su); only_straight_on @ wet",
        "restriction:agricultural": "no_u_turn",
        "except": "psv",
    }
    rows, _ = turns(tmp_path, relation(1, "no_left_turn", FROM, VIA, TO, **rule))
    assert rows == [
        (1, "no_left_turn", "", "psv"),
        (1, "no_right_turn", "Su", "psv"),
        (1, "only_straight_on", "wet", "psv"),
        (1, "no_u_turn", "", "psv"),
    ]


@pytest.mark.parametrize(
    ("members", "rule", "said"),
    [
        ((FROM, TO), "no_left_turn", "without a via point or way in the file: left out"),
        ((FROM, ("node", 99, "via"), TO), "no_left_turn", "without a via point"),
        ((FROM, ("node", 2, "via"), ("node", 3, "via"), TO), "no_left_turn", "without a via point"),
        ((FROM, VIA), "no_left_turn", "without a way to come from or to go to: left out"),
        ((VIA, TO), "no_left_turn", "without a way to come from or to go to: left out"),
        ((FROM, VIA, TO), "left", "with a rule that cannot be read: left out"),
        ((FROM, VIA, ("way", 5, "to")), "only_left_turn", "with a way that is no road"),
        ((FROM, VIA, ("way", 99, "to")), "only_left_turn", "with a way that is no road"),
    ],
)
def test_by_hand_what_cannot_be_used_is_told_with_its_reason(tmp_path, members, rule, said):
    rows, warnings = turns(tmp_path, relation(1, rule, *members))
    assert len(warnings) == 1
    assert warnings[0].startswith(f"1 turn restriction {said}")
    kept = said == "with a way that is no road"  # what must be driven there bars the rest
    assert rows == ([(1, rule, "", "")] if kept else [])


def test_by_hand_several_of_a_kind_are_counted(tmp_path):
    lost = [relation(key, "no_left_turn", FROM, TO) for key in (1, 2, 3)]
    assert turns(tmp_path, *lost)[1] == (
        "3 turn restrictions without a via point or way in the file: left out",
    )


def test_by_hand_every_pair_of_from_and_to(tmp_path):
    members = (FROM, ("way", 6, "from"), VIA, TO)
    assert len(turns(tmp_path, relation(1, "no_entry", *members))[0]) == 2


@pytest.mark.parametrize(
    ("text", "wished"),
    [
        ("no_left_turn @ (weight>7.5)", [("no_left_turn", "weight>7.5")]),
        ("no_left_turn@22:00-06:00", [("no_left_turn", "22:00-06:00")]),
        ("no_left_turn;no_u_turn", [("no_left_turn", ""), ("no_u_turn", "")]),
        ("@ (Mo)", [("@ (Mo)", "")]),
    ],
)
def test_by_hand_rules_with_conditions(text, wished):
    assert rules_said(text) == wished
