"""Places on the field's page: a table on a desk and on paper, short cards on a phone."""

from __future__ import annotations

from typing import Any

import page_payloads
import pytest
from page_pieces import collection, point, polygon

from fieldmap.write.pages import field_page

TABLES = ("#hazard-table", "#zone-table", "#gate-table")


def places() -> dict[str, Any]:
    """Nine marks with a place, a note and a step to each, and seven pieces of ground."""
    marks = [
        (
            point(40 + 50 * n, 100),
            page_payloads.hazard(
                n, "stone", "stone", "stop", action="pick up first", lat=40.62, lon=-82.96,
                note="too big to lift" if n % 2 else "", step_m=150.0, group="a pair of gloves",
                time="2026-06-05 07:45", since="not looked at since the flood",
            ),
        )
        for n in range(9)
    ]  # fmt: skip
    zones = [
        (
            polygon((20 + 40 * n, 20), (55 + 40 * n, 20), (55 + 40 * n, 380), (20 + 40 * n, 380)),
            {"action": "up and down only", "level": "stop", "area_ha": 0.02 * (1 + 10 * n),
             "cause": "x", "reason": "too steep to turn on: every turn stands across the slope"},
        )
        for n in range(7)
    ]  # fmt: skip
    return page_payloads.field_payload() | {
        "hazards": collection(*marks),
        "zones": collection(*zones),
    }


def test_a_small_piece_of_ground_has_a_size() -> None:
    """By hand: 0.02 ha are 200 m2, 2,153 sq ft, told to two digits; 1.22 ha are 3.0 ac."""
    page = field_page(places())
    assert 'class="num">2,200 sq ft</td>' in page
    assert 'class="num">3.0 ac</td>' in page
    assert ">0.0 ac<" not in page
    assert 'class="num">200 sq m</td>' in field_page(places() | {"units": "metric"})
    unknown = places()
    unknown["zones"]["features"][0]["properties"]["area_ha"] = None
    assert 'data-label="Area" class="num">unknown</td>' in field_page(unknown)


@pytest.mark.browser
def test_cards_of_a_phone_are_short_and_whole(opened: Any) -> None:
    """By hand: a mark in nine lines of 22 px, ground in five; every word of a row is seen."""
    with opened(field_page(places()), width=390, height=844) as (page, seen):
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        for table, most in zip(TABLES, (9 * 22, 5 * 22, 3 * 22), strict=True):
            rows = page.locator(f"{table} tbody tr[id]")
            heights = rows.evaluate_all("all => all.map(e => e.offsetHeight)")
            assert len(heights) > 0
            assert max(heights) <= most
            shown = rows.evaluate_all(
                "all => all.flatMap(row => [...row.children]).filter(e => e.textContent.trim()"
                " && !e.getClientRects().length).map(e => e.textContent)"
            )
            assert shown == []
            buttons = page.locator(f"{table} .show").evaluate_all(
                "all => all.map(e => Math.min(e.offsetHeight, e.offsetWidth))"
            )
            assert min(buttons) >= 44
        rects = page.locator("#row-h2 > *").evaluate_all(
            "all => all.map(e => e.getBoundingClientRect()).filter(r => r.width)"
            ".map(r => [r.left, r.top, r.right, r.bottom])"
        )
        for n, one in enumerate(rects):
            for other in rects[n + 1 :]:
                apart = one[2] <= other[0] + 0.5 or other[2] <= one[0] + 0.5
                assert apart or one[3] <= other[1] + 0.5 or other[3] <= one[1] + 0.5
        assert seen.said == []


@pytest.mark.browser
def test_on_paper_and_on_a_desk_they_stay_tables(opened: Any) -> None:
    """By hand: headings over columns, all words there, no dot between lines of a cell."""
    with opened(field_page(places()), width=1280) as (page, _):
        for medium in ("screen", "print"):
            page.emulate_media(media=medium)
            for table in TABLES:
                assert page.locator(f"{table} thead").evaluate("e => e.offsetHeight") > 10
                cells = page.locator(f"{table} tbody td[data-label]").evaluate_all(
                    "all => all.map(e => getComputedStyle(e).display)"
                )
                assert set(cells) == {"table-cell"}
            assert page.locator(".dot:visible").count() == 0
        text = page.locator("#row-h2").inner_text()
        for words in ("stone", "mark hz-1", "40.620000, -82.960000", "not looked at since",
                      "too big to lift", "R. Marsh", "pick up first"):  # fmt: skip
            assert words in text
