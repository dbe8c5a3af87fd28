"""Labels are never used twice; an edited export finds its marks; merged marks keep their names."""

from __future__ import annotations

import pytest
from event_pieces import TABLES, adds, both, finds, folded, told
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.hazards import events as ev
from fieldmap.hazards.labels import called, carries_key, labels
from fieldmap.hazards.news import news

NAMELESS = {"note": "no name", "who": "Ada"}
KEYS = st.lists(st.text("0a", min_size=16, max_size=16), min_size=1, max_size=6, unique=True)


@given(keys=KEYS, draw=st.data())
def test_no_two_labels_are_the_same_property(keys: list[str], draw: st.DataObject) -> None:
    """Property: whatever people call their marks, also when a name looks like another's label."""
    likely = ["", "A", *keys, *(f"A~{key[:6]}" for key in keys), *(f"A~{key}" for key in keys)]
    likely += [key[:8] for key in keys]
    names = [draw.draw(st.sampled_from(likely)) for _ in keys]
    made = labels(names, keys)
    assert len(set(made)) == len(made)
    turned = labels(names[::-1], keys[::-1])
    assert turned[::-1] == made  # the order in which they came says nothing


@pytest.mark.parametrize("times", [1, 2])
@pytest.mark.parametrize(
    "edit", [{"note": "by the oak"}, {"kind": "drum"}, {"at": (11.6, 49.8)}, {"height_m": 0.4}]
)
def test_an_edited_export_of_a_nameless_mark_says_more_of_it_by_hand(
    edit: dict[str, object], times: int
) -> None:
    """By hand: the label that the export wrote is the start of the key; nothing is doubled."""
    known = adds(NAMELESS)
    (label,) = folded(known)["hazard_id"]
    for at in range(times):
        found = NAMELESS | {"hazard_id": label} | edit | {"radius_m": 1.0 + at}
        new = news(finds(found), known, file=f"out{at}.geojson", tables=TABLES)
        assert (len(new.events), new.edits) == (1, 1)
        known = both(known, new.events.assign(sequence=at + 1))
    (row,) = folded(known).to_dict("records")
    assert row["hazard_id"] == label
    if "at" in edit:
        assert (row["geometry"].x, row["geometry"].y) == edit["at"]


def test_a_label_with_a_tail_finds_its_mark_later_by_hand() -> None:
    """By hand: two marks called A; one export of them; the other A is gone from the log since."""
    known = both(
        adds({"hazard_id": "A"}), adds({"hazard_id": "A", "kind": "post", "at": (11.6, 50)})
    )
    marks = folded(known)
    assert all(label.startswith("A~") for label in marks["hazard_id"])
    label = marks.loc[marks["kind"] == "stone", "hazard_id"].iloc[0]
    alone = adds({"hazard_id": "A"})
    new = news(finds({"hazard_id": label, "note": "more"}), alone, file="o.csv", tables=TABLES)
    assert (new.edits, len(folded(alone, new.events))) == (1, 1)


def test_a_cleared_mark_that_an_edit_brings_back_is_told_by_hand() -> None:
    known = adds({"hazard_id": "A"})
    gone = both(known, told(ev.CLEARED, known))
    edited = news(finds({"hazard_id": "A", "kind": "drum"}), gone, file="walk.csv", tables=TABLES)
    assert edited.revived == ("A",)
    still = news(finds({"hazard_id": "A", "kind": "drum"}), known, file="walk.csv", tables=TABLES)
    assert still.revived == ()


def test_a_merged_mark_goes_by_its_old_names_by_hand() -> None:
    """By hand: label, name and key of either find the one mark; a strange word finds none."""
    known = both(adds({"hazard_id": "oak"}), adds({"at": (11.6, 49.9)}))
    old = folded(known)
    merged = both(
        known,
        told(ev.MERGED, known, others=ev.joined(known["hazard_id"])),
    )
    marks = folded(merged)
    assert len(marks) == 1
    words = [*old["hazard_id"], *known["hazard_id"], *(key[:8] for key in known["hazard_id"])]
    assert [called(marks, merged, word) for word in words] == [[0]] * len(words)
    assert called(marks, merged, "elm") == []
    assert called(marks, merged, known["hazard_id"].iloc[0][:5]) == []


@given(name=st.text(max_size=20), key=st.text("0123456789abcdef", min_size=16, max_size=16))
def test_a_short_word_carries_no_key_property(name: str, key: str) -> None:
    """Property: fewer digits than a label shows never stand for a mark."""
    assert not carries_key(name[:5], "", [key])
    assert not carries_key(key[:7], "", [key])
    assert carries_key(key[:8], name, [key])
