"""The page of a search: what it answers first, what it draws and what it says of other wishes."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
import search_payloads as invented
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.write import search_items
from fieldmap.write.pages import search_page

DATA = re.compile(r'<script type="application/json" id="page-data">(.*?)</script>', re.DOTALL)
HOSTILE = "<script>window.hit=1</script><img src=x onerror=window.hit=2>"


def groups(payload: dict[str, Any]) -> dict[str, list[dict[str, Any]]]:
    held = DATA.search(search_page(payload))
    assert held is not None
    return {one["key"]: one["items"] for one in json.loads(held[1])["groups"]}


def read(payload: dict[str, Any]) -> str:
    """What a person reads: no scripts, styles or tags."""
    text = re.sub(r"<(script|style).*?</\1>", "", search_page(payload), flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


def test_fields_stand_with_the_most_to_look_at_first() -> None:
    """By hand: 33, 18, 17, 15 and 7.5 ha left; the one with nothing left comes last."""
    titles = [item["title"] for item in groups(invented.search_payload())["fields"]]
    names = [title.split(" (")[0] for title in titles]
    assert names == ["Upper Sallow", "The Tongue", "Church Piece", "Withy Bed", "Long Acre",
                     "Lower Sallow"]  # fmt: skip


def test_a_row_says_how_much_how_long_and_from_where() -> None:
    """By hand: 33 ha are 81.5 acres, 9.6 km 6.0 miles, 144 minutes 2.4 h; 29.96 % is 29 %."""
    lines = dict(groups(invented.search_payload())["fields"][0]["lines"])
    assert lines["To look at"] == "81.5 ac"
    assert (lines["Walk"], lines["Each"]) == ("6.0 mi", "2.4 h")
    assert (lines["Looked at"], lines["Chance now"]) == ("25%", "29%")
    assert lines["Lines"] == "26.2 ft and 39.4 ft"
    assert lines["Start"] == "gate south, then 393.7 ft"
    church = dict(groups(invented.search_payload())["fields"][2]["lines"])
    assert (church["Each"], church["Start"]) == ("45 min", "no gate known: at the edge")


def test_the_answer_adds_up() -> None:
    """By hand: 90.5 ha are 223.6 acres; five walks of 9.6 km are 48 km: 29.8 miles, 12 h."""
    words = read(invented.search_payload())
    assert "223.6 ac in 5 of 6 fields" in words
    assert "29.8 mi to walk, 12.0 h for one person in all, shared by 2 in each field." in words


def test_a_mark_by_two_fields_stands_once_and_names_both() -> None:
    """By hand: the tank; who to call and the caution stand with it."""
    marks = groups(invented.search_payload())["marks"]
    assert [item["title"] for item in marks] == ["drop", "tank"]
    tank = dict(marks[1]["lines"])
    assert tank["By"] == "The Tongue, Long Acre"
    assert (tank["Call"], tank["Keep away"]) == ("fire service", "131.9 ft")
    assert "Nobody goes near the tank." in read(invented.search_payload())


def test_other_wishes_are_told_with_what_they_miss() -> None:
    """By hand: 38.4 h planned, 16.7 h at 60 % with 40 of 100 missed; none left of the easiest."""
    words = read(invented.search_payload())
    assert "60% , 40 of 100 missed 90% , 10 of 100 missed" in words
    assert "pebble 9.8 ft 16.7 h 38.4 h planned" in words
    assert "barge 32.8 ft no line left 30 min" in words
    assert "lines only, without the ways between them" in words


def test_unknown_height_is_the_first_thing_asked_for() -> None:
    """By hand: one field without a height: named, and before every other way to walk less."""
    words = read(invented.search_payload())
    assert words.index("give sward_m") < words.index("Where to look")
    assert "It is not known for The Tongue (F2)" in words
    assert words.index("It is not known for") < words.index("A shorter sward")
    payload = invented.search_payload()
    payload["fields"] = [one for one in payload["fields"] if one["sward_m"] is not None]
    assert "sward_m" not in read(payload)


def test_nothing_left_is_not_said_to_be_clear() -> None:
    """By hand: only looked-at fields: no line, no hours, and the words that it says little."""
    payload = invented.search_payload()
    payload["fields"] = payload["fields"][:1]
    words = read(payload)
    assert "What cannot be seen on a walk may lie there all the same." in words
    assert "a walked field is not a clear field" in words
    assert "planned" not in words


def test_no_fields_at_all_still_make_a_page() -> None:
    """By hand: the answer to nothing asked is unknown."""
    payload = invented.search_payload()
    payload["fields"] = []
    page = search_page(payload)
    assert "No fields." in page
    assert 'class="tag tag-unknown"' in page


def test_links_lead_beside_the_page_and_nowhere_else() -> None:
    """By hand: GPX relative, the farm's page only when it is there, no foreign address."""
    payload = invented.search_payload()
    payload["fields"][1]["gpx"] = "javascript:alert(1)"
    links = re.findall(r'<a [^>]*href="([^"#]*)"', search_page(payload))
    assert {"../index.html", "F2.gpx", "F3.gpx"} <= set(links)
    assert not [link for link in links if link.startswith("javascript")]
    payload["links"]["index"] = ""
    assert "../index.html" not in search_page(payload)


def test_too_many_walks_leave_a_few_lines_of_each_field(monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: 210 corners, more than 100: one item a field, its lines few, and it says so."""
    whole = groups(invented.search_payload())["walks"]
    assert [item["walker"] for item in whole] == [1, 2] * 5
    monkeypatch.setattr(search_items, "MOST_CORNERS", 100)
    few = groups(invented.search_payload())["walks"]
    assert [item["walker"] for item in few] == [1] * 5
    assert all(item["geometry"]["type"] == "MultiLineString" for item in few)
    assert "the GPX has all" in read(invented.search_payload())


@given(count=st.integers(1, 400))
def test_few_lines_stay_few_and_are_the_fields_own(count: int) -> None:
    """Property: one to eight lines, each once, each from the plan."""
    plot = invented.plot(1, "A")
    one = plot["search_lines"]["features"][0]
    x, y = one["geometry"]["coordinates"][0]
    plot["search_lines"]["features"] = [
        {**one, "geometry": {"type": "LineString",
                             "coordinates": [[x, y + n * 1e-5], [x + 0.01, y + n * 1e-5]]}}
        for n in range(count)
    ]  # fmt: skip
    plot["parts"] = [{"spacing_m": 2.0, "passes": 1}]
    found, _ = search_items.walks([plot])
    few = found[0]["sketch"]["coordinates"]
    rows = [line[0][1] for line in few]
    assert 1 <= len(few) <= search_items.FEW_LINES
    assert rows == sorted(set(rows))
    assert found[0]["sketch_m"] >= 2.0


@pytest.mark.browser
def test_lines_appear_where_there_is_room_for_them(opened: Any) -> None:
    """By hand: lines 8 m apart: none at 28 m a pixel, all of them at 0.2 m."""
    with opened(search_page(invented.search_payload())) as (page, seen):
        shown = (
            "z => { fieldmapState.map.setZoom(z, {animate: false});"
            " return fieldmapState.walks.map(w => [w.to.hasLayer(w.whole),"
            " !!w.part && w.to.hasLayer(w.part)]); }"
        )
        assert page.evaluate(shown, 12) == [[False, False]] * 10
        assert page.evaluate(shown, 19) == [[True, False]] * 10
        assert [True, True] not in page.evaluate(shown, 16)
        assert seen.said == []


@pytest.mark.browser
def test_walkers_differ_by_more_than_colour(opened: Any) -> None:
    """By hand: two dashes, and a pin with the number on each; alone there is no pin."""
    payload = invented.search_payload()
    with opened(search_page(payload)) as (page, _):
        page.evaluate("fieldmapState.map.setZoom(19, {animate: false})")
        dashes = page.evaluate(
            "fieldmapState.walks.map(w => w.whole.getLayers()[1].getLayers()[0].options.dashArray)"
        )
        assert len(set(dashes)) == 2
        pins = page.locator(".pin b").all_text_contents()
        assert {"W1", "W2"} <= set(pins)
    for one in payload["fields"]:
        one["walks"]["features"] = one["walks"]["features"][:1]
    with opened(search_page(payload)) as (page, _):
        assert "W1" not in page.locator(".pin b").all_text_contents()


@pytest.mark.browser
def test_each_mark_has_its_row_and_words_stay_words(opened: Any) -> None:
    """By hand: a note with markup and a word of 300 letters, on a phone."""
    payload = invented.search_payload()
    marks = payload["fields"][1]["avoided_marks"]["features"]
    marks[0]["properties"] |= {"note": HOSTILE, "label": "a" * 300}
    payload["fields"][2]["name"] = HOSTILE
    with opened(search_page(payload), width=390, height=844) as (page, seen):
        assert page.locator("#mark-table tbody tr[data-level]").count() == 2
        page.click('[data-show="h1"]')
        assert HOSTILE in page.locator(".leaflet-popup").text_content()
        assert page.locator("#row-h1 .note").text_content() == HOSTILE
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        assert (page.evaluate("window.hit"), seen.asked, seen.said) == (None, [], [])


@pytest.mark.browser
def test_the_order_on_the_page_is_the_order_of_the_questions(opened: Any) -> None:
    """By hand: where and how long, the map, what to keep away from, what else, what it cannot."""
    with opened(search_page(invented.search_payload()), width=390, height=844) as (page, _):
        at = [
            page.locator(f"#{name}").bounding_box()["y"]
            for name in ("answer-title", "fields-title", "map-title", "marks-title", "else-title",
                         "cautions-title")
        ]  # fmt: skip
        assert at == sorted(at)
        box = page.locator(".tag-word").bounding_box()
        assert box["y"] + box["height"] <= 844
