"""The fold: order, doubles and clocks change nothing; a word closes only what its writer saw."""

from __future__ import annotations

from datetime import UTC, datetime

import geopandas as gpd
import pandas as pd
import pytest
import shapely
from event_pieces import TABLES, adds, both, folded, standing_ids, told
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.hazards import events as ev
from fieldmap.hazards.fold import fold, standing, worse_kinds

ONE = adds({"hazard_id": "A", "note": "by the gate", "time": "2026-06-01T08:00:00Z"})
KEY = ONE["hazard_id"].iloc[0]


def test_by_hand_a_find_stands_under_its_name() -> None:
    (row,) = folded(ONE).to_dict("records")
    assert (row["hazard_id"], row["kind"], row["note"]) == ("A", "stone", "by the gate")
    assert row["stands"] is True
    assert row["time"] == pd.Timestamp("2026-06-01T08:00:00Z")
    assert (row["hits"], row["not_found"], row["closed_by"]) == (0, 0, "")


def test_by_hand_cleared_closes_what_its_writer_had_seen() -> None:
    gone = told(ev.CLEARED, ONE, who="Ada")
    (row,) = folded(ONE, gone).to_dict("records")
    assert row["stands"] is False
    assert row["closed_by"] == "Ada"
    assert row["closed"] == pd.Timestamp("2026-06-02T10:00:00Z")
    assert row["geometry"] == shapely.Point(11.5, 49.9)


def test_by_hand_what_the_clearer_had_not_seen_stands() -> None:
    """Bo sees it again while Ada, who does not know of that, clears it."""
    again = told(ev.SEEN_AGAIN, ONE, who="Bo")
    gone = told(ev.CLEARED, ONE, who="Ada")
    assert standing_ids(ONE, again, gone) == {KEY}
    knowing = told(ev.CLEARED, both(ONE, again), who="Ada")
    assert standing_ids(ONE, again, knowing) == set()


@pytest.mark.parametrize("days", [-400, -1, 0, 1, 400])
def test_by_hand_a_clock_that_is_wrong_loses_no_mark(days: int) -> None:
    """The find's clock, or the clearer's, is off: only what was seen counts."""
    moment = pd.Timestamp("2026-06-02T10:00:00Z") + pd.Timedelta(days=days)
    late = told(ev.SEEN_AGAIN, ONE, who="Bo", time=moment.isoformat())
    gone = told(ev.CLEARED, ONE, who="Ada")
    assert standing_ids(ONE, late, gone) == {KEY}
    strange = told(ev.CLEARED, ONE, who="Ada", time=moment.isoformat())
    assert standing_ids(ONE, strange) == set()
    assert standing_ids(ONE, late, strange) == {KEY}


def test_by_hand_a_clearing_that_comes_before_its_find() -> None:
    gone = told(ev.CLEARED, ONE)
    assert standing_ids(gone) == set()
    assert standing_ids(gone, ONE) == set()


def test_by_hand_not_found_closes_nothing_and_counts() -> None:
    missed = told(ev.NOT_FOUND, ONE)
    (row,) = folded(ONE, missed).to_dict("records")
    assert (row["stands"], row["not_found"]) == (True, 1)
    again = told(ev.SEEN_AGAIN, both(ONE, missed))
    (row,) = folded(ONE, missed, again).to_dict("records")
    assert row["not_found"] == 0


def test_by_hand_moved_replaces_the_place_it_had_seen_and_two_moves_keep_both() -> None:
    there = told(ev.MOVED, ONE, lon=11.6, lat=49.8)
    assert folded(ONE, there).geometry.iloc[0] == shapely.Point(11.6, 49.8)
    other = told(ev.MOVED, ONE, lon=11.7, lat=49.7)
    placed = folded(ONE, there, other).geometry.iloc[0]
    assert placed.equals(shapely.MultiPoint([(11.6, 49.8), (11.7, 49.7)]))
    settled = told(ev.MOVED, both(ONE, there, other), lon=11.65, lat=49.75)
    assert folded(ONE, there, other, settled).geometry.iloc[0] == shapely.Point(11.65, 49.75)


def test_by_hand_a_move_of_something_cleared_stands_where_it_was_moved_to() -> None:
    there = told(ev.MOVED, ONE, lon=11.6, lat=49.8)
    gone = told(ev.CLEARED, ONE)
    (row,) = folded(ONE, there, gone).to_dict("records")
    assert row["stands"] is True
    assert row["geometry"] == shapely.Point(11.6, 49.8)


def test_by_hand_of_two_kinds_the_worse_holds_and_a_later_one_settles_it() -> None:
    """A drum must not be touched; a stone may be."""
    drum = told(ev.SEEN_AGAIN, ONE, kind="drum")
    stone = told(ev.SEEN_AGAIN, ONE, kind="stone")
    assert folded(ONE, drum, stone)["kind"].tolist() == ["drum"]
    assert worse_kinds(TABLES)["drum"] > worse_kinds(TABLES)["stone"]
    knowing = told(ev.SEEN_AGAIN, both(ONE, drum, stone), kind="stone")
    assert folded(ONE, drum, stone, knowing)["kind"].tolist() == ["stone"]


def test_by_hand_notes_run_on_and_heights_are_the_last_given() -> None:
    first = adds({"note": "small", "height_m": 0.1})
    more = told(ev.NOTE, first, note="north of the oak")
    taller = told(ev.SEEN_AGAIN, first, height_m=0.4)
    lower = told(ev.SEEN_AGAIN, both(first, taller), height_m=0.2)
    assert folded(first, more)["note"].tolist() == ["small / north of the oak"]
    assert folded(first, taller)["height_m"].tolist() == [0.4]
    assert folded(first, taller, lower)["height_m"].tolist() == [0.2]


def test_by_hand_a_hit_is_a_mark_and_counts() -> None:
    hit = told(ev.HIT, ONE)
    assert folded(ONE, hit)["hits"].tolist() == [1]
    assert folded(told(ev.HIT, ONE, kind="stone"))["stands"].tolist() == [True]


def test_by_hand_two_things_of_one_name_are_told_apart() -> None:
    """Two people's logs, each with a "1": nothing is merged and both stand."""
    mine = adds({"hazard_id": "1"}, file="mine.csv")
    yours = adds({"hazard_id": "1", "at": (11.9, 49.2)}, file="yours.csv")
    table = folded(mine, yours)
    assert table["stands"].tolist() == [True, True]
    assert table["name"].tolist() == ["1", "1"]
    assert len(set(table["hazard_id"])) == 2
    assert all(name.startswith("1~") for name in table["hazard_id"])


def merged(one: pd.DataFrame, other: pd.DataFrame) -> pd.DataFrame:
    others = ev.joined([*one["hazard_id"], *other["hazard_id"]])
    return told(ev.MERGED, both(one, other), others=others)


def test_by_hand_merged_is_one_mark_and_unmerged_two_again() -> None:
    one, other = adds({"note": "a"}), adds({"note": "b", "at": (11.50001, 49.9)})
    merge = merged(one, other)
    (row,) = folded(one, other, merge).to_dict("records")
    assert set(row["members"].split()) == {one["hazard_id"][0], other["hazard_id"][0]}
    assert row["geometry"] == shapely.Point(11.5, 49.9)
    assert set(row["note"].split(" / ")) == {"a", "b"}
    apart = told(ev.UNMERGED, merge)
    again = folded(one, other, merge, apart)
    assert again["note"].tolist() in (["a", "b"], ["b", "a"])
    assert len(again) == 2


def test_by_hand_a_merge_made_beside_an_unmerge_stays() -> None:
    one, other = adds({"note": "a"}), adds({"note": "b"})
    first, second = merged(one, other), merged(other, one)
    assert len(folded(one, other, first, second, told(ev.UNMERGED, first))) == 1


def test_by_hand_clearing_a_merged_mark_clears_both_and_stays_when_taken_apart() -> None:
    one, other = adds({"note": "a"}), adds({"note": "b"})
    merge = merged(one, other)
    gone = told(ev.CLEARED, both(one, other, merge))
    assert standing_ids(one, other, merge, gone) == set()
    assert standing_ids(one, other, merge, gone, told(ev.UNMERGED, merge)) == set()


def test_by_hand_what_was_cleared_later_still_stood() -> None:
    gone = told(ev.CLEARED, ONE)
    before = datetime(2026, 6, 2, 9, tzinfo=UTC)
    after = datetime(2026, 6, 2, 11, tzinfo=UTC)
    assert folded(ONE, gone, closed_by=before)["stands"].tolist() == [True]
    assert folded(ONE, gone, closed_by=after)["stands"].tolist() == [False]
    # history leaves out what nobody had told yet; the answer for a day does not
    assert folded(ONE, known_by=datetime(2026, 5, 1, tzinfo=UTC)).empty
    assert folded(ONE, closed_by=datetime(2026, 5, 1, tzinfo=UTC))["stands"].tolist() == [True]


def test_by_hand_words_that_saw_each_other_in_a_ring_lose_nothing() -> None:
    """No honest log holds such a ring; a broken one must not hide a mark."""
    one = told(ev.MOVED, ONE, lon=11.6, lat=49.8)
    two = told(ev.MOVED, one, lon=11.7, lat=49.7)
    ring = one.assign(seen=two["event_id"].iloc[0])
    assert len(standing(both(ring, two), tables=TABLES)) == 1


# random logs: a few marks, words that saw any of what came before them

words = st.sampled_from(ev.VERBS[1:])


@st.composite
def logs(draw: st.DrawFn) -> pd.DataFrame:
    number = draw(st.integers(1, 3))
    rows = [{"note": str(at), "at": (11.5 + at / 1000, 49.9)} for at in range(number)]
    events = adds(*rows)
    for at in range(draw(st.integers(0, 6))):
        mark = events["hazard_id"].iloc[draw(st.integers(0, number - 1))]
        known = events[events["hazard_id"] == mark]
        seen = known[draw(st.lists(st.booleans(), min_size=len(known), max_size=len(known)))]
        verb = draw(words)
        other = events["hazard_id"].iloc[draw(st.integers(0, number - 1))]
        moment = pd.Timestamp("2026-06-01", tz="UTC") + pd.Timedelta(days=draw(st.integers(-9, 9)))
        said = {
            "kind": draw(st.sampled_from(["", "stone", "drum", "twine"])),
            "note": draw(st.sampled_from(["", "x", "y"])),
            "height_m": draw(st.sampled_from([float("nan"), 0.2, 0.5])),
            "lon": 11.5 + draw(st.integers(0, 9)) / 1000,
            "lat": 49.9,
            "time": moment.isoformat(),
            "others": ev.joined({mark, other}) if verb == ev.MERGED else "",
            "seen": ev.joined(seen["event_id"]),
            "sequence": draw(st.integers(0, 5)),
            "who": str(at),
        }
        events = both(events, ev.told_event(verb, mark, **said))
    return events


def same(one: gpd.GeoDataFrame, other: gpd.GeoDataFrame) -> bool:
    """Equal in every column and place; the first difference is told."""
    pd.testing.assert_frame_equal(
        pd.DataFrame(one.drop(columns="geometry")), pd.DataFrame(other.drop(columns="geometry"))
    )
    return all(a.equals(b) for a, b in zip(one.geometry, other.geometry, strict=True))


@given(events=logs(), data=st.data())
def test_property_the_order_of_arrival_does_not_matter(
    events: pd.DataFrame, data: st.DataObject
) -> None:
    """Commutative and associative: any order, in any grouping, of the same events."""
    order = data.draw(st.permutations(range(len(events))))
    cut = data.draw(st.integers(0, len(events)))
    shuffled = events.iloc[list(order)]
    assert same(folded(events), folded(shuffled))
    assert same(folded(events), folded(shuffled.iloc[cut:], shuffled.iloc[:cut]))


@given(events=logs())
def test_property_the_same_events_twice_change_nothing(events: pd.DataFrame) -> None:
    """Idempotent."""
    assert same(folded(events), folded(events, events))


@given(events=logs())
def test_property_nothing_is_gone_that_nobody_closed(events: pd.DataFrame) -> None:
    """Each word that a thing is there stands, unless a clearing names it; its place is among
    those somebody gave it."""
    table = folded(events)
    closed = {
        name for text in events.loc[events["verb"] == ev.CLEARED, "seen"] for name in ev.ids(text)
    }
    open_ = events[events["verb"].isin(ev.ASSERTIONS) & ~events["event_id"].isin(closed)]
    stands = table[table["stands"]]
    members = {key for text in stands["members"] for key in ev.ids(text)}
    assert set(open_["hazard_id"]) <= members
    assert sum(len(ev.ids(text)) for text in table["events"]) == len(events)
    assert not table.geometry.is_empty.any()
    given = shapely.union_all(shapely.points(events["lon"].to_numpy(), events["lat"].to_numpy()))
    assert all(given.buffer(1e-9).covers(place) for place in table.geometry)


@given(events=logs(), days=st.lists(st.integers(-400, 400), min_size=9, max_size=9))
def test_property_clocks_change_no_answer(events: pd.DataFrame, days: list[int]) -> None:
    """Every clock wrong by any amount: the same marks stand, at the same places."""
    moments = pd.Timestamp("2026-06-01", tz="UTC") + pd.to_timedelta(days, "D")
    wrong = events.assign(time=[moments[at].isoformat() for at in range(len(events))])
    one, other = folded(events), folded(wrong)
    columns = ["hazard_id", "kind", "note", "height_m", "stands", "hits", "not_found"]
    pd.testing.assert_frame_equal(pd.DataFrame(one[columns]), pd.DataFrame(other[columns]))
    assert all(a.equals(b) for a, b in zip(one.geometry, other.geometry, strict=True))


@given(events=logs())
def test_property_the_columns_are_those_promised(events: pd.DataFrame) -> None:
    from fieldmap.hazards.fold import COLUMNS

    table = fold(events, tables=TABLES)
    empty = fold(events.iloc[:0], tables=TABLES)
    assert list(table.columns) == [*COLUMNS, "geometry"] == list(empty.columns)
    assert empty.empty
    assert (table["time"].dtype, table["stands"].dtype) == (empty["time"].dtype, bool)
