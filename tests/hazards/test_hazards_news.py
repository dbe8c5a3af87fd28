"""Finds held against the log: what is new, what is known, what edits a mark. By hand."""

from __future__ import annotations

import pandas as pd
import pytest
from event_pieces import TABLES, adds, both, finds, folded, told

from fieldmap.hazards import events as ev
from fieldmap.hazards.news import News, news

A = {"hazard_id": "A", "note": "by the gate", "who": "Ada", "time": "2026-06-01T08:00:00Z"}


def held(known: pd.DataFrame, *rows: dict[str, object], file: str = "walk.csv") -> News:
    return news(finds(*rows), known, file=file, tables=TABLES)


def test_by_hand_the_same_file_again_is_nothing_new() -> None:
    known = adds(A, {"note": "other"})
    assert len(held(known, A, {"note": "other"}).events) == 0
    here = A | {"at": (11.5, 49.9)}
    assert len(held(ev.no_events(), here, here).events) == 1


def test_by_hand_an_edited_find_of_the_same_file_says_more_of_its_mark() -> None:
    known = adds(A)
    changed = held(known, A | {"kind": "drum"})
    assert changed.edits == 1
    assert changed.events["verb"].tolist() == [ev.SEEN_AGAIN]
    (row,) = folded(known, changed.events).to_dict("records")
    assert (row["hazard_id"], row["kind"]) == ("A", "drum")
    assert held(both(known, changed.events), A | {"kind": "drum"}).events.empty
    assert held(both(known, changed.events), A).events.empty


def test_by_hand_a_find_put_elsewhere_is_moved() -> None:
    known = adds(A)
    changed = held(known, A | {"at": (11.6, 49.8)})
    assert changed.events["verb"].tolist() == [ev.MOVED]
    (row,) = folded(known, changed.events).to_dict("records")
    assert (row["geometry"].x, row["geometry"].y) == (11.6, 49.8)


def test_by_hand_another_files_find_of_the_same_name_is_another_thing() -> None:
    known = adds(A)
    other = {"hazard_id": "A", "kind": "post", "who": "Bo", "at": (11.9, 49.1)}
    new = held(known, other, file="bo.csv")
    assert (new.edits, new.events["verb"].tolist()) == (0, [ev.ADD])
    assert len(folded(known, new.events)) == 2


def test_by_hand_an_export_read_back_is_nothing_new() -> None:
    """Another file name, and another id: the mark had none of its own."""
    known = adds({"note": "no name", "who": "Ada"})
    label = folded(known)["hazard_id"].iloc[0]
    named = adds(A)
    assert held(named, A, file="out.geojson").events.empty
    again = held(known, {"hazard_id": label, "note": "no name", "who": "Ada"}, file="out.geojson")
    assert again.events.empty


def test_by_hand_a_cleared_mark_stays_cleared_when_its_file_comes_again() -> None:
    known = adds(A)
    gone = both(known, told(ev.CLEARED, known))
    assert held(gone, A).events.empty
    edited = held(gone, A | {"kind": "drum"})
    assert folded(gone, edited.events)["stands"].tolist() == [True]


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 0, 1), (0, 2, 0)])
def test_by_hand_a_version_read_before_adds_nothing(order: tuple[int, ...]) -> None:
    versions = [A, A | {"kind": "drum"}, A | {"height_m": 0.4}]
    known = ev.no_events()
    for at in (*order, *order):
        before = len(known)
        found = held(known, versions[at]).events
        known = both(known, found.assign(sequence=before + 1)) if len(found) else known
    assert len(known) == len(set(order))
