"""The cab sheet of a move: what stands on it, in which order, and how much paper it takes."""

from __future__ import annotations

import copy
import re
from typing import Any

import move_payloads
import pytest
from hypothesis import given
from hypothesis import strategies as st
from page_pieces import at

from fieldmap.write.move_map import move_map
from fieldmap.write.move_sheet import FOOT, move_sheet

HOSTILE = "<script>window.hit=1</script><img src=x onerror=window.hit=2>{{7*7}}"


MORE = (
    "What roads of this class have here lies between what is too narrow for this machine and what "
    "would be wide enough for two of them side by side, so that nobody can say without measuring."
)


def plain_text(page: str) -> str:
    """What a reader sees, in one line."""
    body = re.sub(r"<style.*?</style>|<svg.*?</svg>", " ", page, flags=re.DOTALL)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", body)).replace("&#39;", "'")


def long_move(count: int) -> dict[str, Any]:
    """A move of so many steps, each with a place to measure and two things met."""
    payload = move_payloads.whole_move()
    steps = []
    for n in range(1, count + 1):
        held = (
            move_payloads.met(
                100.0 * n, "unknown", "road width", f"No width is mapped on road {n}. {MORE}",
                caution="CAUTION: the road authority decides on wide loads.", ask="road authority",
            ),
            move_payloads.met(100.0 * n + 5, "ok", "gate", "Stop; open it. Close it."),
        )  # fmt: skip
        span = (100.0 * n, 100.0)
        steps.append(
            move_payloads.step(n, f"Turn right onto Lane {n}", f"Lane {n}", span, "unknown", *held)
        )
    place = payload["survey"][0]
    lon, lat = at(0, 0)
    survey = [
        place | {"place": f"Lane {n}", "lon": lon + n / 500, "lat": lat} for n in range(count)
    ]
    return payload | {
        "steps": steps,
        "survey": survey,
        "places": [[n] for n in range(1, count + 1)],
    }


def printed(browser: Any, page: str, tmp_path: Any) -> dict[str, int]:
    """Pages of paper by format, as Chromium prints them."""
    path = tmp_path / "sheet.html"
    path.write_text(page, encoding="utf-8")
    view = browser.new_page()
    view.goto(path.as_uri())
    found = {
        paper: len(re.findall(rb"/Type\s*/Page\b", view.pdf(format=paper, print_background=False)))
        for paper in ("A4", "Letter")
    }
    view.close()
    return found


def test_head_size_light_and_foot_are_there() -> None:
    """By hand: 3.4 m are 11.2 ft, 8,500 kg 18,739 lb; what is not known says unknown."""
    text = plain_text(move_sheet(move_payloads.whole_move()))
    for words in (
        "NOT SETTLED: 1 place to measure first",
        "Do not drive it before what is unknown is settled",
        "Invented 9 ft trailed mower", "folded", "height 11.2 ft", "mass 18,739 lb",
        "heaviest axle unknown", "sunrise 05:36", "sunset 20:41", "signs win", FOOT,
    ):  # fmt: skip
        assert words in text, words
    assert not re.search(r"\bsafe\b", text, re.IGNORECASE)


def test_a_refused_move_says_so_in_big_letters() -> None:
    """By hand: REFUSED on top, and that it is not to be driven."""
    payload = move_payloads.whole_move()
    payload["move"]["level"] = "stop"
    page = move_sheet(payload)
    assert re.search(r'class="tag-word">.*?<span>REFUSED</span>', page, re.DOTALL)
    assert "Do not drive this way." in page
    payload["move"]["level"] = "ok"
    assert "Do not drive" not in move_sheet(payload)


def test_steps_stand_in_driving_order_with_what_to_do() -> None:
    """By hand: the four steps with number, turn, way, and what is met on each."""
    page = move_sheet(move_payloads.whole_move())
    assert re.findall(r'<p class="turn">(.*?)</p>', page) == [
        "From Yard go east on Mill road", "Turn left onto Bank lane",
        "At the roundabout take the 2nd exit onto Ash hill", "Arrive at Cold Ash",
    ]  # fmt: skip
    text = plain_text(page)
    assert re.search(r"after 0\.4 mi; then 0\.8 mi unknown; measure first: M1", text)
    assert "gate at 200 ft: Stop; open the gate, drive through, close it." in text
    assert "Low gear before the descent" in text
    assert re.search(r"All the way axle limit \(unknown\): The axle masses", text)
    assert text.index("All the way") < text.index("From Yard go east")


def test_what_may_kill_comes_first_and_names_its_steps() -> None:
    """By hand: two warnings before the caution; the line's is of step 2."""
    text = plain_text(move_sheet(move_payloads.whole_move()))
    words = re.findall(r"(WARNING|CAUTION|NOTICE) ", text.split("Before the road")[1])
    assert words == ["WARNING", "WARNING", "CAUTION"]
    assert "WARNING Step 2: the line's owner answers for lines." in text
    assert "power line's owner : clear height (step 2)" in text


@given(st.integers(1, 40))
def test_no_step_and_no_place_is_ever_left_out(count: int) -> None:
    """Property: however long the way, every step and every place to measure is printed."""
    text = plain_text(move_sheet(long_move(count)))
    for n in range(1, count + 1):
        assert f"Turn right onto Lane {n} " in text
        assert f"No width is mapped on road {n}." in text
        assert re.search(rf"M{n} Lane {n - 1} ", text)


@pytest.mark.parametrize(("count", "most"), [(1, 1), (2, 1), (8, 2), (13, 2)])
def test_sheet_takes_one_page_or_two(count: int, most: int, browser: Any, tmp_path: Any) -> None:
    """By hand: as Chromium prints it, on both papers."""
    pages = printed(browser, move_sheet(long_move(count)), tmp_path)
    assert max(pages.values()) <= most, pages


def test_places_of_one_measure_and_figure_stand_under_one_head() -> None:
    """By hand: two widths of one figure, one of another; the key of the map beside each."""
    payload = move_payloads.whole_move()
    place = payload["survey"][0]
    more = (place | {"place": "Far lane", "where": "way/7"}, place | {"must_beat": 5.0, "why": ""})
    payload["survey"] = [place, *more]
    page = move_sheet(payload)
    assert page.count('class="want"') == 2
    text = plain_text(page)
    assert re.search(
        r"width between the rails ; must beat 11\.2 ft \(3\.40 m\) It decides the only way in\. "
        r"M1 Culvert on Bank lane way/9002 found: M2 Far lane way/7 found: "
        r"width between the rails ; must beat 16\.4 ft",
        text,
    )


def test_missing_things_are_said_and_never_look_fine() -> None:
    """By hand: no way, no size, no light: the sheet says so and is refused or unknown."""
    payload = move_payloads.move_payload()
    nothing: dict[str, Any] = {"features": []}
    payload |= {"legs": nothing, "direct": nothing, "survey": []}
    payload["move"] |= {"level": "stop", "length_km": None, "minutes": None}
    text = plain_text(move_sheet(payload))
    assert "REFUSED" in text
    assert "No way was found on the mapped roads." in text
    assert "unknown on mapped roads" in text
    assert text.count("width unknown") == 1


def test_words_of_people_stay_words_and_nothing_runs() -> None:
    """By hand: markup in names and words; no script, no handler, nothing to fetch."""
    payload = move_payloads.whole_move()
    payload["title"] = payload["steps"][0]["words"] = payload["move"]["machine"] = HOSTILE
    payload["steps"][1]["met"][0] |= {
        "words": HOSTILE,
        "what": HOSTILE,
        "caution": HOSTILE,
        "ask": HOSTILE,
    }
    payload["survey"][0]["place"] = HOSTILE
    page = move_sheet(payload)
    assert "<script" not in page
    assert "<img" not in page
    assert "&lt;script&gt;" in page
    assert "49" not in re.findall(r"<h1>(.*?)</h1>", page)[0]
    assert not re.search(r"<[^>]+\s(on\w+|style)=", re.sub(r'"[^"]*"', '""', page))
    assert not re.search(r'(src|href)="(?!#|data:,|\.\./|yard)', page)
    assert "default-src 'none'" in page.replace("&#39;", "'")


def test_same_payload_same_sheet_and_the_payload_is_left_alone() -> None:
    """Property: order of keys does not matter, nothing is written into the payload."""
    payload = move_payloads.whole_move()
    before = copy.deepcopy(payload)
    turned = dict(reversed(copy.deepcopy(payload).items()))
    assert move_sheet(payload) == move_sheet(turned)
    assert payload == before


def test_map_shows_every_leg_by_level_and_every_number() -> None:
    """By hand: four legs, four steps, one place; the number of a place stands by its sign."""
    drawn = move_map(move_payloads.whole_move(), most_height=300.0)
    assert [one["level"] for one in drawn["legs"]] == ["ok", "unknown", "care", "ok"]
    assert {one["text"] for one in drawn["labels"]} == {"1", "2", "3", "4", "M1"}
    (place,), label = drawn["places"], next(o for o in drawn["labels"] if o["text"] == "M1")
    assert abs(label["x"] - place["x"]) + abs(label["y"] - place["y"]) < 40
    nothing: dict[str, Any] = {"features": []}
    blank = move_payloads.move_payload() | {"legs": nothing, "direct": nothing, "survey": []}
    assert move_map(blank, most_height=300.0) is None


@pytest.mark.parametrize("width", [390, 1280])
def test_sheet_needs_no_sideways_scroll(width: int, browser: Any, tmp_path: Any) -> None:
    """By hand: on a phone and on a desk; links are wide enough for a thumb."""
    path = tmp_path / "sheet.html"
    path.write_text(move_sheet(long_move(9)), encoding="utf-8")
    view = browser.new_page(viewport={"width": width, "height": 844})
    view.goto(path.as_uri())
    assert view.evaluate("document.documentElement.scrollWidth") <= width
    for link in view.locator("a").all():
        box = link.bounding_box()
        assert min(box["width"], box["height"]) >= 43.9
    view.close()
