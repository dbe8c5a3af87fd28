"""The page of a day: times and levels first, what is left out with its reason. By hand."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable
from typing import Any

import pytest
from page_pieces import SOURCES, at, collection, common, images, line, polygon

from fieldmap.write.day_page import day_page
from fieldmap.write.day_payload import CAUTIONS

HOSTILE = "<script>window.hit=1</script>"
DATE = "2026-06-09"


def drive(start: str, goal: str, leave: str, arrive: str, level: str = "care") -> dict[str, Any]:
    return {
        "from": start, "to": goal, "leave": f"{DATE}T{leave}-05:00",
        "arrive": f"{DATE}T{arrive}-05:00", "minutes": 5.0, "length_km": 2.5, "level": level,
        "why": "Care: railway crossing at level crossing (node/7).",
    }  # fmt: skip


def stop(number: int, name: str, way: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {
        "n": number, "field_id": f"S{number}", "name": name, "area_ha": 4.0, "level": "unknown",
        "ground_level": "unknown", "ground_why": "Not known: hazard log.", "drive": way,
        "mow_from": f"{DATE}T08:15-05:00", "mow_to": f"{DATE}T09:15-05:00",
        "leave": f"{DATE}T09:20-05:00", "mowing_min": 60.0, "mowing_low_min": 50.0,
        "mowing_high_min": 75.2, "heading_deg": 90.0, "runs": 12.0, "turns": 11.0, **more,
    }  # fmt: skip


FOUND = {
    "level": "care", "what": "railway crossing", "where": "level crossing (node/7)",
    "why": "Rails cross the road.", "basis": "mapped", "sources": ["invented.roads"],
    "value": None, "low": None, "high": None, "limit": None, "unit": "", "choice": "",
    "caution": "WARNING: the railway decides. See it before crossing.", "lon": None, "lat": None,
    "drives": ["home to S1", "S1 to S2"],
}  # fmt: skip
MEASURE = {
    "place": "way/12", "where": "Hill Lane (way/12)", "measure": "narrowest width",
    "must_beat": 3.6, "unit": "m", "why": "No width is mapped.",
    "lon": at(100, 100)[0], "lat": at(100, 100)[1],
}  # fmt: skip
LEFT = {
    "field_id": "S3", "name": "Third Bench", "area_ha": 5.4,
    "reasons": [
        {"machine": "Invented mower", "kind": "road", "level": "unknown",
         "why": "The way there has something unknown: road width at Hill Lane (way/12).",
         "survey": [MEASURE]},
    ],
}  # fmt: skip
STOPS = [
    stop(1, "Long Levee", drive("home", "S1", "08:00", "08:05")),
    stop(2, "South Flat", drive("S1", "S2", "09:20", "09:25", "unknown"), mowing_high_min=60.0),
]
MACHINE = {
    "machine": "m", "name": "Invented mower", "state": "folded", "start": "home", "stops": STOPS,
    "home": drive("S2", "home", "10:40", "10:45"), "slow": ["At the slow end it is back at 11:15."],
    "drive_min": 15.0, "length_km": 7.5, "mowing_min": 120.0, "area_ha": 8.0,
}  # fmt: skip


def payload(**more: Any) -> dict[str, Any]:
    day = {
        "date": DATE, "level": "unknown", "time_zone": "America/Chicago",
        "from": f"{DATE}T05:41-05:00", "to": f"{DATE}T20:41-05:00",
        "sunrise": f"{DATE}T05:40-05:00", "sunset": f"{DATE}T20:41-05:00", "sun": "usual",
        "fields": 2, "left": 1, "area_ha": 8.0, "with_unknown": True,
    }  # fmt: skip
    ways = [
        (line((0, 0), (300, 0)), {"n": 1, "machine": "Invented mower", "title": "home to S1",
         "level": "care", "when": "08:00 to 08:05", "length_m": 2500.0, "why": "Care: rails.",
         "sheet": "../moves/a-sheet.html"}),
        (line((300, 0), (300, 400)), {"n": 2, "machine": "Invented mower", "title": "S1 to S2",
         "level": "unknown", "when": "09:20 to 09:25", "length_m": 2500.0, "why": "Unknown.",
         "sheet": ""}),
    ]  # fmt: skip
    fields = [
        (polygon((300, 0), (500, 0), (500, 200), (300, 200)),
         {"field_id": "S1", "name": "Long Levee", "level": "unknown", "when": "08:15 to 09:15"}),
        (polygon((300, 400), (500, 400), (500, 600)),
         {"field_id": "S3", "name": None, "level": "unknown", "when": "not in the day"}),
    ]  # fmt: skip
    places = [
        {"name": "home", "kind": "start", "n": "", "when": "", "lon": at(0, 0)[0],
         "lat": at(0, 0)[1]},
        {"name": "S1", "kind": "stop", "n": "1", "when": "08:15 to 09:15", "lon": at(300, 0)[0],
         "lat": at(300, 0)[1]},
    ]  # fmt: skip
    return {
        **common("Sallow Bottom: day"), "credit": "", "day": day,
        "notes": ["Ways with something unknown on them are in this plan.", "Dew is not given."],
        "cautions": [*CAUTIONS, FOUND["caution"]], "machines": [MACHINE], "left": [LEFT],
        "findings": [FOUND], "fields": collection(*fields), "drives": collection(*ways),
        "places": places, "survey": [MEASURE], "roads": collection(), "images": images(500, 600),
        "ground": [], "links": {"index": ""}, "sources": SOURCES, **more,
    }  # fmt: skip


def bare(text: str) -> str:
    return " ".join(re.sub(r"<[^>]*>", " ", text).split())


def part(page: str, begin: str) -> str:
    text = page[page.index(begin) :]
    return bare(text[: text.index("</section")])


def table(page: str, begin: str) -> list[str]:
    body = page[page.index(begin) :]
    body = body[body.index("<tbody") : body.index("</tbody")]
    return [bare(one) for one in re.findall(r"<tr .*?</tr>", body, re.DOTALL)]


def test_by_hand_the_answer_and_the_cautions_stand_before_the_timetable() -> None:
    page = day_page(payload())
    content = page[page.index('<main id="content"') :]
    order = [content.index(one) for one in ("2 of 3 fields", "an order on paper", "08:00")]
    assert order == sorted(order)
    assert "your own law win over it" in content[: content.index("08:00")]
    assert "safe" not in bare(page[page.index("<main") : page.index("</main")]).lower()


def test_by_hand_the_timetable_reads_as_a_day() -> None:
    rows = table(day_page(payload()), 'class="timetable"')
    assert rows[0].startswith("1 Long Levee (S1) 9.9 ac 08:00 08:05 1.6 mi, 5 min care")
    assert "08:15 to 09:15 60 min, slow end 75 min 09:20 unknown" in rows[0]
    assert "slow end" not in rows[1]
    assert rows[2].startswith("Back to home 10:40 10:45 1.6 mi, 5 min care")


def test_by_hand_what_is_left_out_has_its_reason_and_where_to_measure() -> None:
    page = day_page(payload())
    (row,) = table(page, 'id="left-table"')
    assert row.startswith("Third Bench (S3) 13.3 ac unknown the road: The way there has something")
    assert "1 to measure, listed below." in row
    (place,) = table(page, 'id="survey-table"')
    assert place.startswith("M1 Hill Lane (way/12)")
    assert "11.8 ft" in place


def test_by_hand_a_field_that_only_lacks_hours_carries_no_level() -> None:
    hours = {
        "machine": "m",
        "kind": "time",
        "level": "ok",
        "why": "It fits by itself.",
        "survey": [],
    }
    (row,) = table(day_page(payload(left=[LEFT | {"reasons": [hours]}])), 'id="left-table"')
    assert row == "Third Bench (S3) 13.3 ac the hours: It fits by itself."


def test_by_hand_each_finding_stands_once_with_its_source_and_caution() -> None:
    twice = FOUND | {"where": "level crossing (node/9)"}
    page = day_page(payload(findings=[FOUND, twice]))
    (row,) = table(page, 'id="finding-table"')
    assert "level crossing (node/7); level crossing (node/9)" in row
    assert row.endswith("Source 1")
    assert page.count("the railway decides") == 1


def test_by_hand_a_day_with_nothing_in_it() -> None:
    empty = MACHINE | {"stops": [], "home": None, "slow": []}
    day = payload()["day"] | {"fields": 0, "left": 3, "sun": "sun never rises", "sunrise": None}
    none = {"type": "FeatureCollection", "features": []}
    page = day_page(payload(machines=[empty], day=day, findings=[], drives=none, survey=[]))
    text = bare(page[page.index("<main") :])
    assert "Invented mower: nothing fits." in text
    assert "There are no drives, so nothing was looked at." in text
    assert "the sun does not rise" in bare(page)


def test_by_hand_a_drive_leads_to_its_sheet_where_one_was_written() -> None:
    page = day_page(payload())
    assert page.count('href="../moves/a-sheet.html"') == 1
    assert table(page, 'id="drive-table"')[1].startswith("S1 to S2 09:20")


def test_by_hand_two_machines_are_told_apart() -> None:
    other = MACHINE | {"name": "Second mower", "machine": "s"}
    page = day_page(payload(machines=[MACHINE, other]))
    assert page.count('class="timetable"') == 2
    assert "Invented mower: 19.8 ac mown" in bare(page)


def test_by_hand_words_of_people_stay_words() -> None:
    hostile = stop(1, HOSTILE, drive(HOSTILE, HOSTILE, "08:00", "08:05"), ground_why=HOSTILE)
    mower = MACHINE | {"name": HOSTILE, "state": HOSTILE, "start": HOSTILE, "stops": [hostile]}
    left = LEFT | {"name": HOSTILE, "reasons": [LEFT["reasons"][0] | {"why": HOSTILE}]}
    page = day_page(
        payload(machines=[mower], left=[left], notes=[HOSTILE], farm=HOSTILE, note=HOSTILE)
    )
    assert HOSTILE not in page
    assert "&lt;script&gt;window.hit=1&lt;/script&gt;" in page


def test_by_hand_nothing_but_its_own_scripts_and_styles() -> None:
    page = day_page(payload())
    policy = page[page.index("Content-Security-Policy") :].partition(">")[0]
    texts = re.findall(r"<(?:script|style)>(.*?)</(?:script|style)>", page, re.DOTALL)
    assert len(texts) > 3
    for text in texts:
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert digest in policy.replace("&#43;", "+")


def test_regression_the_same_day_gives_the_same_bytes() -> None:
    assert day_page(payload()) == day_page(payload())


Opened = Callable[..., Any]


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 390, 1280])
def test_by_hand_it_fits_the_screen_and_asks_nobody(width: int, opened: Opened) -> None:
    """By hand: no sideways scroll with everything opened; targets are 44 px high."""
    with opened(day_page(payload()), width=width) as (page, seen):
        page.evaluate("document.querySelectorAll('details').forEach(e => { e.open = true; })")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        heights = page.evaluate(
            "[...document.querySelectorAll('summary, button.show, button.plain')]"
            ".filter(e => e.offsetParent).map(e => e.getBoundingClientRect().height)"
        )
        assert min(heights) >= 44
        assert page.evaluate("window.broken") == []
        assert (seen.asked, seen.said, seen.dialogs) == ([], [], [])


@pytest.mark.browser
def test_by_hand_a_drive_is_shown_on_the_map(opened: Opened) -> None:
    """By hand: the button opens the note of its line; the note names the machine and the hours."""
    with opened(day_page(payload())) as (page, _):
        page.locator('#drive-table [data-show="l2"]').click()
        note = page.locator(".leaflet-popup .note-box")
        note.wait_for()
        text = note.inner_text()
        assert "S1 to S2" in text
        assert "09:20 to 09:25" in text
        assert "Invented mower" in text


@pytest.mark.browser
def test_by_hand_print_carries_the_whole_timetable(opened: Opened) -> None:
    with opened(day_page(payload())) as (page, _):
        page.emulate_media(media="print")
        assert page.locator(".timetable tbody tr:visible").count() == 3
        assert not page.locator("#print").is_visible()
        assert page.locator(".tag-word").is_visible()


@pytest.mark.browser
def test_by_hand_text_stands_out_and_targets_are_wide_enough(opened: Opened) -> None:
    """By hand: contrast of at least 7 to 1 and 44 px both ways, measured as on the other pages."""
    from test_pages_browser import CONTRAST, TARGETS

    with opened(day_page(payload())) as (page, _):
        page.locator("button.show").first.click()
        found = page.evaluate(CONTRAST)
        assert len(found) > 60
        assert [entry for entry in found if entry[0] < 7.0] == []
        assert [one for one in page.evaluate(TARGETS) if min(one[:2]) < 43.9] == []
