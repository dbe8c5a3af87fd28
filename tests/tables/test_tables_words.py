"""The columns that hold words: kinds, crops, knives, conditioners. Kinds come from the table."""

from __future__ import annotations

import ast
from collections import Counter
from pathlib import Path
from typing import get_args

import pytest

import fieldmap
from fieldmap.finding import LEVELS
from fieldmap.machine import Conditioner, Knife
from fieldmap.tables import load_tables

TABLES = load_tables()
KINDS = list(TABLES.rows("hazard_kinds"))
CROPS = list(TABLES.rows("cut_heights"))
FAMILIES = ("legume", "grass", "warm_season", "thick_stem", "cereal", "mixture")
ALLOWED = {
    "lies": {"point", "line", "area"},
    "action": {"pick up first", "keep out", "raise the cut", "slow", "go and look"},
    "level": {"stop", "care", "unknown"},
    "touch": {"yes", "no"},
    "moves_in_flood": {"yes", "no"},
    "rots": {"yes", "no"},
}
ENDANGERED = {"knives", "rotor", "forage", "people", "tyres"}
#: The kinds that METHODS names; more may be added with a CSV row.
NAMED = {
    "stone",
    "rock_outcrop",
    "loose_wire",
    "twine",
    "post",
    "sheet_metal",
    "drum",
    "glass",
    "timber",
    "tyre",
    "carcass",
    "hole",
    "washout",
    "silt",
    "guy_wire",
    "well",
    "overhead_line",
    "litter",
    "unknown",
}


def _key(row):
    return row.key.partition(".")[2]


def _list(text):
    return [word for word in text.split(";") if word]


def test_every_kind_the_method_names_is_there():
    """By hand: against the list of kinds in the method; further kinds are welcome."""
    assert {_key(row) for row in KINDS} >= NAMED


@pytest.mark.parametrize("row", KINDS, ids=lambda row: row.key)
def test_a_kind_speaks_the_few_words_that_code_understands(row):
    """By hand: a word outside the list would be passed over in silence."""
    for column, allowed in ALLOWED.items():
        assert row.words[column] in allowed, column
    endangered = _list(row.words["endangers"])
    assert endangered
    assert set(endangered) <= ENDANGERED
    assert len(set(endangered)) == len(endangered)
    assert row.words["level"] in LEVELS
    assert row.unit == "m"


@pytest.mark.parametrize("row", KINDS, ids=lambda row: row.key)
def test_a_kind_tells_a_person_what_it_is_and_who_must_come(row):
    """By hand: label, caller and one or two whole sentences with a source behind them."""
    assert row.words["label"]
    assert row.words["call"]
    caution = row.words["caution"]
    assert caution.endswith(".")
    assert 1 <= caution.count(". ") + 1 <= 2
    assert set(_list(row.words["caution_source"])) <= set(TABLES.sources)
    assert row.words["caution_source"]


@pytest.mark.parametrize(
    ("rows", "what"), [(KINDS, "kinds"), (CROPS, "crops")], ids=["kinds", "crops"]
)
def test_a_word_a_person_writes_means_one_thing(rows, what):
    """By hand: keys, labels and aliases, lower case, each belonging to one row only."""
    said = Counter()
    for row in rows:
        aliases = _list(row.words["aliases"])
        assert aliases == [alias.strip().lower() for alias in aliases]
        assert len(set(aliases)) == len(aliases)
        key = _key(row)
        said.update({key, key.replace("_", " "), row.words["label"].lower(), *aliases})
    assert [word for word, times in said.items() if times > 1] == [], what


def test_what_nobody_named_is_unknown_and_endangers_everything():
    """By hand: unknown is not fine, and has no height that anybody measured."""
    row = TABLES["hazard_kinds.unknown"]
    assert (row.words["level"], row.words["action"]) == ("unknown", "go and look")
    assert set(_list(row.words["endangers"])) == ENDANGERED
    assert row.value is None


def test_what_may_not_be_touched_is_not_to_be_picked_up_with_gloves():
    """By hand: drum, carcass, line, well and the unknown are for others; nothing contradicts."""
    for row in KINDS:
        if row.words["touch"] == "no":
            assert "gloves" not in row.words["call"], row.key
    for key in ("drum", "carcass", "overhead_line", "guy_wire", "well", "unknown"):
        assert TABLES[f"hazard_kinds.{key}"].words["touch"] == "no", key


def test_a_line_overhead_is_no_keep_out_and_endangers_people():
    """By hand: it crosses fields, so it is passed under slowly, with the 10 ft yardstick."""
    words = TABLES["hazard_kinds.overhead_line"].words
    assert (words["level"], words["action"], words["endangers"]) == (
        "care",
        "slow",
        "people",
    )
    assert "10 ft (3.05 m)" in words["caution"]


@pytest.mark.parametrize("row", CROPS, ids=lambda row: row.key)
def test_a_crop_has_a_height_a_family_and_a_word_on_nitrate(row):
    """By hand: and its family can be conditioned."""
    assert row.value is not None
    assert row.low is not None
    assert row.unit == "m cut"
    assert row.words["label"]
    assert row.words["family"] in FAMILIES
    assert row.words["nitrate"] in {"yes", "no"}
    assert f"conditioning.{row.words['family']}" in TABLES.constants


def test_crops_that_gather_nitrate_say_so():
    """Referee: corn, sorghums and cereals gather it; bermudagrass, timothy, brome and native
    grasses are not counted important gatherers (agproud.com, article 51681)."""
    by_key = {_key(row): row.words["nitrate"] for row in CROPS}
    assert {by_key[k] for k in ("sorghum_sudan", "drought_sorghum", "cereal_rye")} == {"yes"}
    clean = ("bermudagrass", "timothy", "bromegrass", "native_warm_season")
    assert {by_key[k] for k in clean} == {"no"}


@pytest.mark.parametrize("family", FAMILIES)
def test_a_family_has_one_choice_that_machines_can_carry(family):
    """By hand: words of the machine file; what is chosen is never also advised against."""
    words = TABLES[f"conditioning.{family}"].words
    allowed = set(get_args(Conditioner))
    also, against = set(_list(words["also"])), set(_list(words["against"]))
    assert words["choice"] in allowed
    assert also | against <= allowed
    assert not ({words["choice"]} | also) & against
    assert words["choice"] not in also
    assert words["why"].endswith(".")


def test_both_knives_of_a_machine_have_a_row():
    """By hand: each says when to pick it and what speaks against it."""
    for knife in get_args(Knife):
        row = TABLES[f"knives.{knife}"]
        assert row.value is None
        assert row.words["for"] != row.words["against"]
        assert row.words["label"]


def _kinds_written_in(text, kinds):
    """Kinds that stand as whole strings in a Python source."""
    nodes = ast.walk(ast.parse(text))
    return kinds & {
        node.value
        for node in nodes
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }


def test_no_code_lists_the_kinds():
    """By hand: a new kind is one CSV row, so no module may hold a list of its own."""
    kinds = {_key(row) for row in KINDS} - {"unknown"}
    room = Path(fieldmap.__file__).parent
    listing = {
        str(file.relative_to(room)): sorted(found)
        for file in room.rglob("*.py")
        if len(found := _kinds_written_in(file.read_text("utf-8"), kinds)) > 3
    }
    assert listing == {}


def test_the_watch_for_such_lists_sees_one():
    """By hand: the check above can fail."""
    text = 'KINDS = ("stone", "glass", "drum", "timber", "tyre")'
    assert len(_kinds_written_in(text, NAMED)) == 5
