"""The options for the set-up on the field's page, and cautions that are said once there."""

from __future__ import annotations

import re
from typing import Any

import page_payloads
import pytest
import sheet_payloads
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.write.pages import field_page, index_page
from fieldmap.write.set_up_items import figure, set_up_view


def field(**more: Any) -> dict[str, Any]:
    return page_payloads.field_payload() | {"set_up": sheet_payloads.set_up(), **more}


def test_options_stand_advised_first_then_by_cost_then_outside() -> None:
    """By hand: 640 is advised, 905 is inside, 300 is cheaper than both and outside."""
    view = set_up_view(sheet_payloads.set_up(), "us")
    assert view is not None
    assert [row["name"] for row in view["rows"]] == [
        "high shoe, low-lift knives", "middle shoe, low-lift knives", "low shoe, high-lift knives",
    ]  # fmt: skip
    assert [row["advised"] for row in view["rows"]] == [True, False, False]
    assert [row["inside"] for row in view["rows"]] == [True, True, False]
    assert [row["cut"] for row in view["rows"]] == ["4.0 in", "3.0 in", "2.0 in"]
    assert view["rows"][2]["why_not"].startswith("2.0 in is under")


def test_figures_of_an_option_are_in_the_readers_units() -> None:
    """By hand: 2.36 t are 2.6 short tons; money in the farm's own currency; no end is said so."""
    view = set_up_view(sheet_payloads.set_up(), "us")
    assert view is not None
    cells = {one["name"]: one for one in view["rows"][0]["cells"]}
    assert cells["Yield given up"]["value"] == "2.6 short tons"
    assert (cells["Strikes"]["value"], cells["Strikes"]["range"]) == ("1.2", "0.5 to 3.0")
    assert cells["Cost in all"] == {
        "name": "Cost in all", "value": "640 USD", "range": "upper end unknown",
    }  # fmt: skip
    assert "Stand left" not in cells
    assert figure([0.0, 2.36, 4.0], "t", "metric", "")["value"] == "2.4 t"


@given(st.lists(st.none() | st.floats(0, 1e6), min_size=3, max_size=3), st.sampled_from("uwm"))
def test_an_unknown_figure_is_never_nought(three: list[float | None], pick: str) -> None:
    """Property: what is not known is said in words."""
    unit = {"u": "things", "w": "t", "m": "money"}[pick]
    words = figure(three, unit, "us", "USD")
    assert (three[1] is None) == (words["value"] == "unknown")
    assert (three[2] is None) == (words["range"] == "upper end unknown")


def test_nothing_compared_leaves_no_table() -> None:
    """By hand: no payload, an empty one, and one without options."""
    for held in ({}, {"options": []}, None):
        assert set_up_view(held or {}, "us") is None
    assert "option-table" not in field_page(page_payloads.field_payload())


def test_margin_says_what_is_missing() -> None:
    """By hand: one option inside has no second; none advised is said."""
    held = sheet_payloads.set_up()
    assert "saves 265 USD (range 40 to 900 USD)" in str(set_up_view(held, "us"))
    alone = set_up_view(held | {"margin": None, "second": ""}, "us")
    assert alone is not None
    assert alone["margin"].startswith("No second option")
    for one in held["options"]:
        one["best"] = False
    none = set_up_view(held, "us")
    assert none is not None
    assert none["margin"] == "No option is advised."


def test_page_shows_the_options_and_what_would_change_them() -> None:
    """By hand: three rows, the reason of the one outside, the sentence, the parts of the cost."""
    page = field_page(field())
    table = re.search(r'<table id="option-table".*?</table>', page, re.DOTALL)
    assert table is not None
    assert table[0].count('scope="row"') == 3
    assert table[0].index("advised") < table[0].index("Outside the limits")
    assert table[0].index("Outside the limits") < table[0].index("under the crop&#39;s 3.0 in")
    assert "A strike would have to cost less than 60 USD." in page
    assert "what knives are fitted" in page
    parts = re.search(r'<table id="cost-table".*?</table>', page, re.DOTALL)
    assert parts is not None
    assert parts[0].count('<tr role="row"><th role="rowheader"') == 6


def test_words_of_people_stay_words() -> None:
    """By hand: a shoe named in markup."""
    held = sheet_payloads.set_up()
    held["options"][0]["shoe"] = "<script>alert(1)</script>"
    page = field_page(field(set_up=held))
    assert "&lt;script&gt;alert(1)" in page
    assert "<script>alert(1)" not in page


def test_a_caution_of_several_findings_stands_once_in_its_section() -> None:
    """By hand: three settings need the key out; it is at the section's head, thrice referred to."""
    stop = sheet_payloads.STOP
    settings = [sheet_payloads.setting(what, caution=stop) for what in ("knife", "shoe", "tilt")]
    page = field_page(field(settings=settings))
    assert page.count("shut down and take the key out") == 1
    assert page.count('href="#set-A"') == 3
    assert page.count('id="set-A"') == 1
    assert "For: knife, shoe, tilt." in page


def test_what_is_fine_is_folded_and_what_is_not_stands_open() -> None:
    """By hand: of the four findings one is fine."""
    page = field_page(field())
    section = page[page.index('id="findings-title"') :]
    folded = section.index("<details><summary>1 looked at, nothing found against it</summary>")
    assert section.index("Ground nobody looked at") < folded < section.index("Hollows")
    assert field_page(field(findings=[])).count("nothing is known") == 1


def test_pages_lead_to_the_sheet() -> None:
    """By hand: the field's page and the row of the index, when there is a sheet, else not."""
    links = {"index": "../index.html", "gpx": "", "sheet": "../sheets/LS-1.html"}
    assert 'href="../sheets/LS-1.html"' in field_page(field(links=links))
    assert "sheets/" not in field_page(field())
    payload = page_payloads.index_payload()
    assert "sheets/" not in index_page(payload)
    payload["fields"]["features"][0]["properties"]["sheet"] = "sheets/F0.html"
    assert 'href="sheets/F0.html"' in index_page(payload)


@pytest.mark.browser
def test_options_on_a_phone_and_on_paper(opened: Any) -> None:
    """By hand: every cell named by its column at 390 px, none cut off; on paper all is open."""
    stand = sheet_payloads.set_up()
    for one in stand["options"]:
        one["stand_left_pct"] = [60.0, 71.0, 80.0]
    with opened(field_page(field(set_up=stand)), width=390, height=844) as (page, seen):
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        names = page.evaluate(
            "[...document.querySelectorAll('#option-table td[data-label]')].slice(0, 8)"
            ".map(e => getComputedStyle(e, '::before').content)"
        )
        assert names[0] == '"Strikes"'
        assert names[-1] == '"Cost in all"'
        small = page.locator("a.ref").evaluate_all("all => all.map(e => e.offsetHeight)")
        assert min(small) >= 44
        assert seen.said == []
        page.set_viewport_size({"width": 703, "height": 1000})
        page.emulate_media(media="print")
        page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
        assert page.evaluate("document.documentElement.scrollWidth") <= 703
        assert page.locator("#cost-table").is_visible()
        assert page.locator(".finding").count() == page.locator(".finding:visible").count()
