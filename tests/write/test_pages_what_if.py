"""The page of two answers side by side: cautions on top, worse first, words that stay words."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from page_pieces import SOURCES

from fieldmap.supposing import MACHINE_CAUTION, MARK_CAUTION
from fieldmap.write.what_if_items import figures_shown, level_words
from fieldmap.write.what_if_page import DETAILED, what_if_page

HOSTILE = "<script>window.hit=1</script>"
STONE = {
    "field_id": "A", "about": "ground", "what": "stone", "way": "better",
    "level_before": "stop", "level_after": "", "value_before": 2.0, "value_after": None,
    "choice_before": "pick up first", "choice_after": "", "unit_before": "count",
    "unit_after": "", "sources": ["invented.mower"],
}  # fmt: skip
KNIFE = STONE | {
    "about": "setting", "what": "knife", "way": "worse", "level_before": "care",
    "level_after": "unknown", "value_before": None, "choice_before": "low-lift knife",
    "choice_after": "low-lift knife", "sources": ["practice"],
}  # fmt: skip


def field(title: str, change: str, before: str, after: str, **more: Any) -> dict[str, Any]:
    return {
        "title": title, "change": change, "level_before": before, "level_after": after,
        "reason_before": f"Was {before}.", "reason_after": f"Then {after}.",
        "findings_worse": 0, "findings_better": 0, "figures": [], "gone": [], "new": [],
        "findings": [], **more,
    }  # fmt: skip


def payload(*fields: dict[str, Any], **more: Any) -> dict[str, Any]:
    changes = [one["change"] for one in fields]
    return {
        "title": "Sallow Bottom: what if", "farm": "Sallow Bottom", "note": "Invented",
        "units": "us", "made": {"date": "2026-06-09", "version": "0.1.0"},
        "machine": "Invented mower", "machine_then": "Invented mower",
        "assumed": ["2 marks are taken as cleared: F1 stone, F2 stone."],
        "cautions": [MARK_CAUTION], "notes": [],
        "counts": {key: changes.count(key) for key in ("worse", "better", "figures", "none")},
        "fields": list(fields), "sources": SOURCES, **more,
    }  # fmt: skip


WORSE = field("Hang (A1)", "worse", "ok", "stop", findings_worse=1, findings=[KNIFE])
BETTER = field(
    "Mill Piece (A2)", "better", "stop", "unknown",
    findings_worse=1, findings_better=1, findings=[KNIFE, STONE],
    figures=[["cut height", "3.0 in", "1.8 in", "-1.2 in"]] * 6,
    gone=["Pick up first: 2 x stone (a pair of gloves)"], new=["Say the stoniness class"],
)  # fmt: skip
SAME = field("Far Tongue (A3)", "none", "care", "care")


def bare(text: str) -> str:
    return " ".join(re.sub(r"<[^>]*>", " ", text).split())


def rows(page: str) -> list[str]:
    body = page[page.index("<tbody") : page.index("</tbody")]
    return [bare(one) for one in re.findall(r"<tr .*?</tr>", body, re.DOTALL)]


def test_by_hand_the_caution_stands_before_any_field() -> None:
    """By hand: on top of the content, with its signal word; a machine has one of its own."""
    page = what_if_page(payload(BETTER, SAME, cautions=[MARK_CAUTION, MACHINE_CAUTION]))
    content = page[page.index('<main id="content"') :]
    first = content.index("a mark cleared on paper is not a cleared field")
    assert first < content.index("Mill Piece")
    assert first < content.index("2 marks are taken as cleared")
    assert '<strong class="signal">WARNING</strong>' in content
    assert '<strong class="signal">NOTICE</strong>' in content
    assert "safe" not in bare(content).lower()


def test_by_hand_every_field_before_and_after() -> None:
    """By hand: the order that was given, both levels by their words, what changed in numbers."""
    page = what_if_page(payload(WORSE, BETTER, SAME))
    told = rows(page)
    assert [one.split(" (")[0] for one in told] == ["Hang", "Mill Piece", "Far Tongue"]
    assert "nothing found against it stop Then stop. 1 worse" in told[0]
    assert "stop unknown Then unknown. 1 worse, 1 better" in told[1]
    assert "cut height: 3.0 in, then 1.8 in" in told[1]
    assert told[1].endswith("and 2 more")
    assert "unchanged none none" in told[2]
    assert "1 get worse" in bare(page)


def test_by_hand_each_change_is_told_in_full() -> None:
    """By hand: findings by side, a finding that is gone says so, figures, and what to do."""
    page = what_if_page(payload(WORSE, BETTER, SAME))
    assert page.count("<details") == 2  # not of the field that does not change
    text = bare(page[page.index("Mill Piece (A2): stop, then unknown") :])
    for words in (
        "No longer asked for: Pick up first: 2 x stone",
        "Asked for then: Say the stoniness class",
        "stone (ground) better stop pick up first (2) not there Source 2",
        "knife (setting) worse care low-lift knife unknown low-lift knife Source 1",
        "cut height 3.0 in 1.8 in -1.2 in",
    ):
        assert words in text
    sources = page[page.index('id="sources-title"') :]
    assert sources.index("What hay makers do") < sources.index("Invented mower manual")


def test_by_hand_words_of_people_stay_words() -> None:
    """By hand: markup in a name, a note or an assumption is shown, not run."""
    hostile = field(HOSTILE, "better", "stop", "care", gone=[HOSTILE], findings=[STONE])
    page = what_if_page(payload(hostile, farm=HOSTILE, assumed=[HOSTILE], notes=[HOSTILE]))
    assert HOSTILE not in page
    assert "&lt;script&gt;window.hit=1&lt;/script&gt;" in page


def test_by_hand_nothing_but_its_own_scripts_and_styles() -> None:
    """By hand: the policy names the hash of each script and style that stands in the page."""
    page = what_if_page(payload(BETTER))
    policy = page[page.index("Content-Security-Policy") :].partition(">")[0]
    assert "default-src &#39;none&#39;" in policy or "default-src 'none'" in policy
    for text in re.findall(r"<(?:script|style)>(.*?)</(?:script|style)>", page, re.DOTALL):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert digest in policy.replace("&#43;", "+")
    assert "L.map" not in page


def test_by_hand_very_many_fields_are_counted() -> None:
    """By hand: so many are told in full, the rest is counted; all stand in the table."""
    many = [field(f"F{n}", "worse", "ok", "stop", findings=[KNIFE]) for n in range(DETAILED + 3)]
    page = what_if_page(payload(*many))
    assert page.count("<details") == DETAILED
    assert "3 more fields that change are in what_if.csv" in page
    assert len(rows(page)) == DETAILED + 3
    assert "No fields." in what_if_page(payload())


def test_by_hand_figures_as_people_read_them() -> None:
    """By hand: inches, a sign, a share as percent; the same once rounded is left out."""
    row = {
        "cut_height_m_before": 0.0762, "cut_height_m_after": 0.1016,
        "cut_height_m_difference": 0.0254, "unknown_share_before": 0.5, "unknown_share_after": 0.25,
        "unknown_share_difference": -0.25, "mowing_min_before": 60.0, "mowing_min_after": 60.01,
        "mowing_min_difference": 0.01, "side_slope_use_max_before": float("nan"),
        "side_slope_use_max_after": 0.4, "side_slope_use_max_difference": None,
        "skid_shoe_before": "base", "skid_shoe_after": "",
    }  # fmt: skip
    assert figures_shown(row, "us") == [
        ("cut height", "3.0 in", "4.0 in", "+1.0 in"),
        ("most side-slope use, of the tipping limit", "unknown", "40%", "unknown"),
        ("ground whose answer is unknown", "50%", "25%", "-25%"),
        ("skid shoe", "base", "unknown", ""),
    ]
    assert figures_shown(row, "metric")[0] == ("cut height", "7.6 cm", "10.2 cm", "+2.5 cm")
    assert level_words("stop") == "stop"


def test_by_hand_money_is_in_the_farms_own_currency() -> None:
    """By hand: a figure and a finding that speak of money, with a currency and without one."""
    row = {"set_up_cost_before": 640.0, "set_up_cost_after": 905.0, "set_up_cost_difference": 265.0}
    told = ("cost of the set-up advised", "640 EUR", "905 EUR", "+265 EUR")
    assert figures_shown(row, "us", currency="EUR") == [told]
    assert figures_shown(row, "us")[0][1] == "640 money"
    compared = STONE | {"what": "set-up compared", "unit_before": "money", "unit_after": "money",
                        "value_before": 34.0, "value_after": 1234.0, "choice_before": "low shoe",
                        "choice_after": "", "level_after": "care"}  # fmt: skip
    changed = field("Long Acre", "figures", "stop", "stop", findings=[compared])
    page = what_if_page(payload(changed) | {"currency": "EUR"})
    assert "low shoe (ahead by 34 EUR)" in page
    assert "1,234 EUR" in page
    assert not re.search(r"\d money", page)


@pytest.fixture
def standing(browser: Any, tmp_path: Path) -> Iterator[Any]:
    """The page opened from disk; whatever it says or asks is an error."""
    path = tmp_path / "what_if.html"
    long = field(
        "Third Bench above the old tipple (S11)", "figures", "stop", "stop",
        findings=[STONE], figures=[["most side-slope use, of the tipping limit"] + ["38%"] * 3],
    )  # fmt: skip
    page_text = what_if_page(payload(WORSE, BETTER, *[long] * 6, SAME))
    path.write_text(page_text, encoding="utf-8", newline="")
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: said.append(request.url))
    page.goto(path.as_uri())
    yield page
    page.close()
    assert [one for one in said if one != path.as_uri()] == []


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 390, 1280])
def test_by_hand_it_fits_the_screen(width: int, standing: Any) -> None:
    """By hand: no sideways scroll, each detail opened; what opens them is 44 px high."""
    standing.set_viewport_size({"width": width, "height": 800})
    standing.evaluate("document.querySelectorAll('details').forEach(e => { e.open = true; })")
    assert standing.evaluate("document.documentElement.scrollWidth") <= width
    heights = standing.evaluate(
        "[...document.querySelectorAll('summary')].map(e => e.getBoundingClientRect().height)"
    )
    assert min(heights) >= 44


@pytest.mark.browser
def test_by_hand_fields_are_sifted_by_the_level_they_would_have(standing: Any) -> None:
    """By hand: of nine one would be unknown; without that level eight are left."""
    assert standing.locator("#field-table tbody tr:visible").count() == 9
    standing.locator('[data-sift="field-table"] input[value=unknown]').uncheck()
    assert standing.locator("#field-table tbody tr:visible").count() == 8
    standing.fill('[data-sift="field-table"] input[type=search]', "hang (a1")
    standing.wait_for_timeout(250)
    assert standing.locator("#field-table tbody tr:visible").count() == 1
