"""The cab sheet: what stands on it, in which order, and that it is one page of paper."""

from __future__ import annotations

import copy
import math
import re
from typing import Any

import page_payloads
import pytest
import shapely
import sheet_payloads
from hypothesis import given
from hypothesis import strategies as st
from page_pieces import collection, polygon

from fieldmap.write import sheet_fit, sheet_items
from fieldmap.write.cautions import gathered, said_once
from fieldmap.write.sheet import sheet_page
from fieldmap.write.sheet_labels import Spots
from fieldmap.write.sheet_map import scale, sheet_map

HOSTILE = "<script>window.hit=1</script><img src=x onerror=window.hit=2>{{7*7}}"


def plain_text(page: str) -> str:
    """What a reader sees, in one line."""
    body = re.sub(r"<style.*?</style>|<svg.*?</svg>", " ", page, flags=re.DOTALL)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", body)).replace("&#39;", "'")


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


def test_settings_stand_in_the_order_in_which_they_are_made() -> None:
    """By hand: knives first, then shoe, bar, conditioner, tyres; tests; then what is driven."""
    page = sheet_page(sheet_payloads.crowded())
    whats = re.findall(r'<li class="entry"><span class="n">(\d+)</span><div>([^:]+):', page)
    assert [int(number) for number, _ in whats] == list(range(1, len(whats) + 1))
    names = [what for _, what in whats]
    order = [
        "knives since the last change", "knife", "cut height and skid shoe", "cutterbar tilt",
        "cutterbar float", "conditioner", "roll gap to start with", "roll gap check",
        "axle load", "tyre pressure",
        "power needed", "hitch height nobody expected", "set-up compared", "nitrate test",
        "regrowth after the water", "side slope on the best heading", "field speed", "work rate",
        "turning on the headland", "sight ahead",
    ]  # fmt: skip
    assert names == order
    heads = [page.index(words) for words in sheet_items.GROUPS.values()]
    assert heads == sorted(heads)
    assert heads[1] < page.index("nitrate test:") < heads[2] < page.index("field speed:")


@given(
    whats=st.lists(st.text(min_size=1, max_size=30), min_size=1, max_size=12, unique=True),
    levels=st.data(),
)
def test_no_setting_is_ever_dropped(whats: list[str], levels: Any) -> None:
    """Property: whatever a setting is called, it is printed once."""
    payload = page_payloads.field_payload()
    payload["findings"] = []
    payload["settings"] = [
        sheet_payloads.setting(
            what, levels.draw(st.sampled_from(["ok", "care", "unknown", "stop"]))
        )
        for what in whats
    ]
    held = sheet_items.chosen(payload)
    told = [one["what"] for group in held.values() for one in group]
    assert sorted(told) == sorted(whats)


def test_figures_are_said_in_the_readers_units_with_range_and_source() -> None:
    """By hand: 0.1016 m is 4.0 in and 10.2 cm; 340 of money is 340 USD; no source is said so."""
    text = plain_text(sheet_page(sheet_payloads.crowded()))
    assert re.search(r"cut height and skid shoe: +care: skid shoe: high \(4\.0 in\)", text)
    assert "3.0 to 5.0 in" in text
    assert "high shoe, low-lift (ahead by 340 USD)" in text
    assert "money" not in text.replace("money puts", "")
    assert "axle 1 11,023 lb (8,818 to 13,228 lb); axle 2 11,023 lb" in text
    assert re.search(r"tyre pressure: +unknown: axle 1 unknown; axle 2 unknown no source", text)
    assert "common practice, no source" in text.lower()
    metric = plain_text(sheet_page(sheet_payloads.crowded() | {"units": "metric"}))
    assert "skid shoe: high (10.2 cm)" in metric


def test_axles_that_differ_stand_apart() -> None:
    """By hand: the second axle is too heavy, the third is like the first."""
    payload = page_payloads.field_payload()
    payload["settings"] = [
        sheet_payloads.setting(f"axle load, axle {n}", level)
        for n, level in enumerate(("ok", "care", "ok", "ok"), start=1)
    ]
    whats = re.findall(r'class="n">\d+</span><div>([^:]+):', sheet_page(payload))
    assert whats == ["axle load, axle 1", "axle load, axle 2", "axle load"]


def test_every_number_of_a_source_is_in_the_list_at_the_foot() -> None:
    """Property: the numbers in brackets at the settings are those that begin the sources."""
    for payload in (sheet_payloads.crowded(), page_payloads.field_payload()):
        page = sheet_page(payload)
        used = {
            n for held in re.findall(r'class="refs">\[([^\]]+)\]', page) for n in held.split(", ")
        }
        listed = re.findall(r'<span class="n">\[(\d+)\]', page)
        assert used == set(listed)
        assert len(listed) == len(set(listed)) > 0


def test_a_caution_is_printed_once_and_names_all_it_belongs_to() -> None:
    """By hand: the key is to be out for knife, shoe, rolls; what is said of rolls stands apart."""
    payload = page_payloads.field_payload()
    stop, rolls = sheet_payloads.STOP, sheet_payloads.ROLLS
    payload["settings"] = [
        sheet_payloads.setting("knife", caution=stop),
        sheet_payloads.setting("conditioner", caution=rolls),
        sheet_payloads.setting("cut height and skid shoe", caution=stop),
    ]
    text = plain_text(sheet_page(payload))
    assert text.count("shut down and take the key out") == 1
    assert re.search(r"WARNING 1, 2, 3: shut down", text)
    assert re.search(r"WARNING 3: Rolls grab twine", text)


CAUTIONS = ("Ask.", "WARNING: a.", "WARNING: a. b.", "CAUTION: c.", "WARNING: a. b. d.", "")


@given(st.lists(st.tuples(st.sampled_from(CAUTIONS), st.sampled_from("xyz"))))
def test_no_caution_and_no_owner_is_lost(told: list[tuple[str, str]]) -> None:
    """Property: every word of every caution is there for every one it belongs to."""
    held = gathered(told)
    for text, owner in told:
        said = " ".join(f"{one['word']} {one['text']}" for one in held if owner in one["of"])
        assert all(word in said for word in text.replace(":", "").split())
    assert len({(one["word"], one["text"]) for one in held}) == len(held)


def test_findings_of_a_section_share_a_caution() -> None:
    """By hand: two of three need the same one; it is taken out and both refer to it."""
    caution = {"word": "WARNING", "text": "Look."}
    views = [{"what": what, "caution": caution} for what in ("hollows", "stones left")]
    views.append({"what": "silt", "caution": {"word": "", "text": "The office decides."}})
    views, shared = said_once(views, "found")
    assert [(one["id"], one["text"], one["of"]) for one in shared] == [
        ("found-A", "Look.", ["hollows", "stones left"])
    ]
    assert [len(view["see"]) for view in views] == [1, 1, 0]
    assert [view["caution"]["text"] for view in views] == ["", "", "The office decides."]


def test_what_is_left_out_is_counted() -> None:
    """By hand: 14 steps, 25 marks; what stands there and what is counted makes up all."""
    text = plain_text(sheet_page(sheet_payloads.crowded()))
    steps = len(re.findall(r"Step \d+:", text))
    more = re.search(r"and (\d+) more on the field's page", text)
    assert more is not None
    assert steps + int(more[1]) == 14
    view = sheet_page(sheet_payloads.crowded())
    lines = re.findall(r'<li class="mark">.*?<b>([\d, to]+)</b>', view)
    shown = sum(
        sum(int(b) - int(a) + 1 for a, b in re.findall(r"(\d+) to (\d+)", one))
        + len(re.findall(r"\d+", re.sub(r"\d+ to \d+", "", one)))
        for one in lines
    )
    left = re.search(r"and (\d+) more marks? on the field's page", text)
    assert shown + (int(left[1]) if left else 0) == 25
    assert "notes of marks" in text


def test_every_finding_that_is_not_fine_is_counted_or_said() -> None:
    """By hand: 9 kinds of marks and 3 findings; each by name or counted, each with its caution."""
    page = sheet_page(sheet_payloads.crowded())
    text = plain_text(page)
    told = re.search(r"Not fine, on the field's page: (.*?)(?:and (\d+) more)? \d+ nitrate", text)
    assert told is not None
    others = [*(f"kind {n}" for n in range(9)), "ground looked at", "hollows", "stones left"]
    listed = [one for one in others if f"{one}: pick up first" in text or f"{one} (" in told[1]]
    assert len(listed) + int(told[2] or 0) == len(others)
    for number in range(9):
        owner = f"kind {number}"
        assert re.search(rf"(WARNING {owner}:|{owner}: pick up first.*?WARNING) The {owner}", text)
    assert text.count("a clear log is not a") == 1


def test_missing_things_are_said_and_never_look_fine() -> None:
    """By hand: an empty field has no map, no mark, no ground, and says what that does not mean."""
    payload = page_payloads.field_payload()
    nothing: dict[str, Any] = {"features": []}
    payload |= dict.fromkeys(("boundary", "hazards", "zones", "gates"), nothing)
    payload |= {"settings": [], "findings": [], "to_change": [], "lie": {}, "machine": None}
    page = sheet_page(payload)
    text = plain_text(page)
    assert "No setting was worked out for this machine." in text
    assert "Nothing is marked in the log. That says nothing about ground nobody" in text
    assert "No ground was marked off. That says nothing about ground nobody" in text
    assert '<svg role="img"' not in page
    assert not re.search(r"\bsafe\b|\bdanger\b", text, re.IGNORECASE)


def test_words_of_people_stay_words_and_nothing_runs() -> None:
    """By hand: markup in a note, a name and a step; no script, no handler, no address to fetch."""
    payload = sheet_payloads.crowded()
    payload["field"]["name"] = payload["to_change"][0] = HOSTILE
    payload["hazards"]["features"][0]["properties"]["label"] = HOSTILE
    page = sheet_page(payload)
    assert "<script" not in page
    assert "<img" not in page
    assert "&lt;script&gt;" in page
    assert "49" not in re.findall(r"<h1>(.*?)</h1>", page)[0]
    assert not re.search(r"<[^>]+\s(on\w+|style)=", page)
    assert "default-src 'none'" in page.replace("&#39;", "'")
    assert not re.search(r"(src|href)=\"(?!#|data:,|\.\./)", page)


def test_same_payload_same_sheet_and_the_payload_is_left_alone() -> None:
    """Property: order of keys does not matter, nothing is written into the payload."""
    payload = sheet_payloads.crowded()
    before = copy.deepcopy(payload)
    turned = dict(reversed(copy.deepcopy(payload).items()))
    assert sheet_page(payload) == sheet_page(turned)
    assert payload == before


def map_of(payload: dict[str, Any], most_height: float = 340.0) -> dict[str, Any]:
    marks = sheet_items.marks(payload)
    drawn = sheet_map(payload, sheet_items.zones(payload, marks), marks, most_height=most_height)
    assert drawn is not None
    return drawn


def test_map_keeps_its_shape_and_the_bar_its_length() -> None:
    """By hand: a field of 400 by 200 m; the bar of n ft is as long as n ft of the field's edge."""
    payload = page_payloads.field_payload()
    payload["boundary"] = collection((polygon((0, 0), (400, 0), (400, 200), (0, 200)), {}))
    for name in ("hazards", "gates", "zones", "roads"):
        payload[name] = {"features": []}
    drawn = map_of(payload | {"lie": {}})
    xy = [tuple(map(float, one.split())) for one in re.split("[MLZ]", drawn["outline"]) if one]
    wide, tall = (max(p[at] for p in xy) - min(p[at] for p in xy) for at in (0, 1))
    assert wide / tall == pytest.approx(2.0, rel=0.01)
    feet = float(drawn["scale"]["words"].removesuffix(" ft").replace(",", ""))
    assert drawn["scale"]["px"] / wide == pytest.approx(feet * 0.3048 / 400.0, rel=0.01)
    north = [p for p in xy if p[1] == min(q[1] for q in xy)]
    assert len(north) >= 2


def test_arrow_points_along_the_runs() -> None:
    """By hand: runs to the east; grid north 1.5 degrees off turns the figure, not the arrow."""
    payload = page_payloads.field_payload()
    drawn = map_of(payload)["heading"]
    assert drawn["words"] == "90 / 270 deg"
    angle = math.degrees(math.atan2(drawn["x2"] - drawn["x1"], drawn["y1"] - drawn["y2"]))
    assert angle % 180 == pytest.approx(90.0, abs=0.5)
    payload["lie"]["travel"]["lines"][0]["deg"] = 88.5
    off = map_of(payload)["heading"]
    assert (off["words"], off["lean"]) == ("88 / 268 deg", pytest.approx(90.0, abs=0.5))
    payload["lie"]["travel"] = None
    assert map_of(payload)["heading"] is None


def test_letters_and_numbers_do_not_lie_over_each_other() -> None:
    """By hand: 25 marks, 12 pieces of ground, 2 gates on one map; every label on its own spot."""
    drawn = map_of(sheet_payloads.crowded())
    boxes = [
        shapely.box(one["x"] - one["width"] / 2, one["y"] - 7, one["x"] + one["width"] / 2,
                    one["y"] + 7)
        for one in drawn["labels"]
    ]  # fmt: skip
    assert len(boxes) == 25 + 12 + 2
    pairs = [a.intersection(b).area for n, a in enumerate(boxes) for b in boxes[n + 1 :]]
    assert max(pairs) == 0.0
    assert {one["text"] for one in drawn["labels"] if one["kind"] == "zone"} == set("ABCDEFGHIJKL")


def test_every_letter_of_the_map_is_in_the_key() -> None:
    """Property: as many letters on the map as in the lists, however full the sheet is."""
    page = sheet_page(sheet_payloads.crowded())
    on_map = set(re.findall(r'<text class="zone"[^>]*>(\w+)</text>', page))
    assert on_map == set(re.findall(r'<b class="letter">(\w+)</b>', page)) == set("ABCDEFGHIJKL")


def test_a_full_drawing_still_places_a_label() -> None:
    """By hand: no spot is free, so the first is taken and nothing fails."""
    spots = Spots((20.0, 20.0))
    spots.take(shapely.Point(10, 10), 40, 40)
    assert spots.near(shapely.Point(10, 10), "7", "mark")["text"] == "7"


@given(st.floats(1e-3, 1e3), st.sampled_from(["us", "metric"]))
def test_bar_is_at_most_a_third_of_the_drawing(pixel_m: float, units: Any) -> None:
    """Property: neither longer than a third nor a dot."""
    assert 25.0 < scale(pixel_m, units)["px"] <= 340.0 / 3.0 + 0.1


@given(st.text(max_size=400), st.floats(20.0, 200.0))
def test_a_wider_column_never_takes_more_lines(text: str, width_mm: float) -> None:
    """Property: lines fall with the width, and rise with the text."""
    assert sheet_fit.lines(text, width_mm * 1.5) <= sheet_fit.lines(text, width_mm)
    assert sheet_fit.lines(text, width_mm) <= sheet_fit.lines(f"{text} more", width_mm)


@given(st.lists(st.floats(1.0, 30.0), min_size=1, max_size=12))
def test_flow_holds_every_piece(heights: list[float]) -> None:
    """Property: between half of all and all of it, and two columns of that height hold them."""
    high = sheet_fit.flowed(heights)
    assert max(*heights, sum(heights) / 2) - 1e-6 <= high <= sum(heights) + 1e-6
    left, count = high, 1
    for one in heights:
        if one > left + 1e-6:
            left, count = high, count + 1
        left -= one
    assert count <= 2


@pytest.mark.browser
@pytest.mark.parametrize("kind", ["plain", "crowded", "metric", "long words", "bare"])
def test_sheet_is_one_page_of_paper(kind: str, browser: Any, tmp_path: Any) -> None:
    """By hand: A4 and Letter, with 12 pieces of ground, 25 marks, long notes and 20 settings."""
    payload = page_payloads.field_payload() if kind == "plain" else sheet_payloads.crowded()
    if kind == "metric":
        payload["units"] = "metric"
    if kind == "long words":
        payload["field"] |= {"name": "Sallow " * 30, "reason": "Wire and glass and more. " * 40}
        payload["to_change"] = ["w" * 300] * 9
        payload["note"] = "An invented farm with a note that goes on. " * 4
    if kind == "bare":
        payload |= {"boundary": {"features": []}, "settings": [], "hazards": {"features": []}}
    assert printed(browser, sheet_page(payload), tmp_path) == {"A4": 1, "Letter": 1}


@pytest.mark.browser
def test_sheet_on_a_phone_and_the_size_of_its_letters(browser: Any, tmp_path: Any) -> None:
    """By hand: no sideways scroll at 390 px, links of 44 px; on paper nothing is under 9 pt."""
    path = tmp_path / "sheet.html"
    path.write_text(sheet_page(sheet_payloads.crowded()), encoding="utf-8")
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.goto(path.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    links = page.locator("nav a").all()
    assert links
    assert all(
        min(link.bounding_box()[side] for side in ("width", "height")) >= 44 for link in links
    )
    page.set_viewport_size({"width": 741, "height": 1000})
    page.emulate_media(media="print")
    sizes = page.evaluate(
        "[...document.querySelectorAll('body *')].filter(e => e.textContent.trim() &&"
        " !e.closest('nav')).map(e => parseFloat(getComputedStyle(e).fontSize) *"
        " (e.ownerSVGElement ? e.ownerSVGElement.getBoundingClientRect().width /"
        " e.ownerSVGElement.viewBox.baseVal.width : 1))"
    )
    assert len(sizes) > 100
    assert min(sizes) >= 12.0 - 0.05  # 9 pt are 12 px
    assert page.locator("nav").is_hidden()
    page.close()
