"""The pages in Chromium, the network cut: they draw, ask nobody, and can be read and reached."""

from __future__ import annotations

import re
from typing import Any

import move_payloads
import page_payloads
import pytest
from playwright.sync_api import expect

from fieldmap.write.pages import field_page, index_page, move_page

pytestmark = pytest.mark.browser
KINDS = ("index", "field", "move", "search")
HOSTILE = "<script>window.hit=1</script><img src=x onerror=window.hit=2> `${alert(1)}` {{7*7}}"

CONTRAST = """() => {
  const parse = (text) => {
    const held = text.match(/rgba?\\(([^)]+)\\)/);
    if (!held) { return null; }
    const parts = held[1].split(/[ ,/]+/).filter(Boolean).map(Number);
    return parts.length === 3 ? [...parts, 1] : parts;
  };
  const over = (top, under) => [0, 1, 2].map((i) => top[i] * top[3] + under[i] * (1 - top[3]));
  const curve = (c) => c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
  const light = (rgb) => {
    const [r, g, b] = rgb.map((c) => curve(c / 255));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = (element) => {
    const stack = [];
    for (let at = element; at; at = at.parentElement) {
      const own = parse(getComputedStyle(at).backgroundColor);
      if (own && own[3] > 0) { stack.push(own); }
      if (at.classList.contains("pin")) {
        const before = getComputedStyle(at, "::before");
        const flat = parse(before.backgroundColor);
        stack.push(flat && flat[3] > 0 ? flat : parse(before.backgroundImage));
      }
    }
    return stack.reverse().reduce((under, top) => over(top, under), [255, 255, 255]);
  };
  const found = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const element = walk.currentNode.parentElement;
    if (!walk.currentNode.textContent.trim() || !element.checkVisibility()) { continue; }
    if (["SCRIPT", "STYLE", "NOSCRIPT"].includes(element.tagName)) { continue; }
    const ink = over(parse(getComputedStyle(element).color), ground(element));
    const [a, b] = [light(ink), light(ground(element))].sort((x, y) => y - x);
    const words = walk.currentNode.textContent.trim().slice(0, 40);
    found.push([(a + 0.05) / (b + 0.05), element.tagName + "." + element.className, words]);
  }
  return found;
}"""

FIRST_WORDS = """e => {
  const walk = document.createTreeWalker(e, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) { if (walk.currentNode.textContent.trim()) { break; } }
  return walk.currentNode.textContent.trim();
}"""

TARGETS = """() => [...document.querySelectorAll("button, a[href], summary, input")]
  .filter((e) => e.checkVisibility() && !e.matches(".skip"))
  .map((e) => [(e.closest("label") || e).getBoundingClientRect(), e])
  .map(([r, e]) => [r.width, r.height, e.tagName + " " + e.className + " " + e.textContent])"""


@pytest.mark.parametrize("kind", KINDS)
def test_page_asks_nobody_and_draws(kind: str, payloads: Any, made: Any, opened: Any) -> None:
    """By hand: no request, no complaint, and shapes on the map in view."""
    with opened(made[kind](payloads[kind])) as (page, seen):
        if page.locator(".more-layers").count():
            page.click(".more-layers summary")
        page.check('[data-image="1"]')
        page.evaluate("document.getElementById('whole').click()")
        assert seen.asked == []
        assert seen.said == []
        assert page.evaluate("window.broken") == []
        frame = page.locator("#map_ground").bounding_box()
        drawn = page.locator("#map_ground path.leaflet-interactive").all()
        assert len(drawn) >= 4
        box = drawn[0].bounding_box()
        assert frame["x"] <= box["x"] and box["x"] + box["width"] <= frame["x"] + frame["width"]  # noqa: PT018
        assert page.evaluate("fieldmapState.map.getZoom()") > 12


@pytest.mark.parametrize(
    ("kind", "table", "key"),
    [
        ("index", "field-table", "fields"), ("index", "hazard-table", "hazards"),
        ("field", "hazard-table", "hazards"), ("field", "zone-table", "zones"),
        ("field", "gate-table", "gates"), ("move", "leg-table", "legs"),
        ("move", "survey-table", "survey"), ("search", "field-table", "fields"),
    ],
)  # fmt: skip
def test_table_has_a_row_for_each_item_of_the_map(
    kind: str, table: str, key: str, payloads: Any, made: Any, opened: Any
) -> None:
    """By hand: as many rows as features, and every row opens its own item."""
    held = payloads[kind][key]
    count = len(held["features"]) if isinstance(held, dict) else len(held)
    with opened(made[kind](payloads[kind])) as (page, seen):
        rows = page.locator(f"#{table} tbody tr")
        assert rows.count() == count
        for number in range(count):
            name = rows.nth(number).locator("th").evaluate(FIRST_WORDS)
            rows.nth(number).locator("button.show").click()
            title = page.locator(".leaflet-popup .note-title").last
            assert name in title.inner_text()
        assert seen.said == []


def test_words_of_people_stay_words(opened: Any) -> None:
    """By hand: markup in a note is read out, in the row, in the map's note and in the list."""
    payload = page_payloads.field_payload()
    payload["hazards"]["features"][0]["properties"] |= {"note": HOSTILE, "label": HOSTILE}
    payload["to_change"][0] = HOSTILE
    payload["field"]["name"] = payload["title"] = HOSTILE
    with opened(field_page(payload)) as (page, seen):
        page.click('[data-show="h1"]')
        line = page.locator(".note-line", has_text="Note:").locator("span")
        assert line.text_content() == HOSTILE
        assert page.locator(".note-title").text_content() == f"1. {HOSTILE}"
        assert page.locator("#row-h1 .note").text_content() == HOSTILE
        assert page.locator(".steps li").first.text_content() == HOSTILE
        assert page.locator("h1").text_content() == HOSTILE
        assert page.title() == HOSTILE
        assert page.evaluate("window.hit") is None
        assert page.locator("img[src='x']").count() == 0
        assert (seen.dialogs, seen.asked, seen.said) == ([], [], [])


def test_field_names_on_the_map_stay_words(opened: Any) -> None:
    """By hand: the name tags of the index are text."""
    payload = page_payloads.index_payload()
    payload["fields"]["features"][0]["properties"]["name"] = HOSTILE
    with opened(index_page(payload)) as (page, seen):
        assert HOSTILE in page.locator(".name-tag").all_text_contents()
        assert (page.evaluate("window.hit"), seen.said) == (None, [])


@pytest.mark.parametrize("kind", KINDS)
def test_everything_is_reached_by_keyboard(
    kind: str, payloads: Any, made: Any, opened: Any
) -> None:
    """By hand: Tab from the skip link through every control, and the ring can be seen."""
    with opened(made[kind](payloads[kind])) as (page, _):
        wanted = page.evaluate(
            "[...document.querySelectorAll('button, a[href], input, summary')]"
            ".filter(e => e.checkVisibility()).map((e, i) => { e.dataset.stop = i; return i; })"
        )
        met = []
        for step in range(len(wanted) + 8):
            page.keyboard.press("Tab")
            at, ring = page.evaluate(
                "[document.activeElement.dataset.stop,"
                " getComputedStyle(document.activeElement).outlineStyle]"
            )
            met.append(at)
            if step == 0:
                assert page.evaluate("document.activeElement.className") == "skip"
            if at is not None:
                assert ring == "solid"
        assert {str(number) for number in wanted} <= set(met)


def test_row_opens_its_item_from_the_keyboard_and_comes_back(payloads: Any, opened: Any) -> None:
    """By hand: Enter on a row's button opens the note; its button leads back to the row."""
    with opened(field_page(payloads["field"])) as (page, _):
        page.uncheck('[data-layer="hazards"]')
        page.focus('[data-show="h2"]')
        page.keyboard.press("Enter")
        assert "Gas cylinder" in page.locator(".leaflet-popup").inner_text()
        assert page.is_checked('[data-layer="hazards"]')
        assert "Gas cylinder" in page.locator("#said").inner_text()
        page.focus(".note-box button")
        page.keyboard.press("Enter")
        assert page.evaluate("document.activeElement.dataset.show") == "h2"


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("kind", KINDS)
def test_targets_are_wide_enough_for_a_thumb(
    kind: str, width: int, payloads: Any, made: Any, opened: Any
) -> None:
    """By hand: 44 px both ways, the map's own buttons and an open note included."""
    with opened(made[kind](payloads[kind]), width=width) as (page, _):
        page.locator("button.show").first.click()
        small = [found for found in page.evaluate(TARGETS) if min(found[:2]) < 43.9]
        assert small == []


@pytest.mark.parametrize("kind", KINDS)
def test_text_stands_out_from_its_ground(kind: str, payloads: Any, made: Any, opened: Any) -> None:
    """By hand: contrast of at least 7 to 1 (WCAG 2.2, success criterion 1.4.6), measured."""
    with opened(made[kind](payloads[kind])) as (page, _):
        page.locator("button.show").first.click()
        found = page.evaluate(CONTRAST)
        assert len(found) > 60
        assert [entry for entry in found if entry[0] < 7.0] == []


@pytest.mark.parametrize("kind", KINDS)
def test_phone_needs_no_sideways_scroll(kind: str, payloads: Any, made: Any, opened: Any) -> None:
    """By hand: 390 px, with a word of 300 letters in a note."""
    payload = payloads[kind]
    if "hazards" in payload:
        payload["hazards"]["features"][0]["properties"]["note"] = "w" * 300
    with opened(made[kind](payload), width=390, height=844) as (page, _):
        assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_first_screen_of_a_field_answers(payloads: Any, opened: Any) -> None:
    """By hand: on desk and phone the level, the first step and the cut height need no scroll."""
    for width, height in ((1280, 800), (390, 844)):
        with opened(field_page(payloads["field"]), width=width, height=height) as (page, _):
            for words in (".tag-word", ".steps li >> nth=0", ".short-set dd >> nth=0"):
                box = page.locator(words).bounding_box()
                assert box["y"] + box["height"] <= height


@pytest.mark.parametrize("kind", KINDS)
def test_sheet_prints_whole(kind: str, payloads: Any, made: Any, opened: Any) -> None:
    """By hand: a PDF comes out on both papers; no column of the tables is cut off."""
    with opened(made[kind](payloads[kind])) as (page, _):
        for paper in ("A4", "Letter"):
            sheet = page.pdf(format=paper, print_background=False)
            assert sheet.startswith(b"%PDF")
            assert 2 <= len(re.findall(rb"/Type\s*/Page\b", sheet)) <= 6
        page.set_viewport_size({"width": 703, "height": 1000})
        page.emulate_media(media="print")
        page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
        assert page.evaluate("document.documentElement.scrollWidth") <= 703
        assert page.locator("#map_ground").bounding_box()["width"] == 680
        assert page.locator("button:visible, input:visible").count() == 0
        edges = page.evaluate(
            "[...document.querySelectorAll('th:not(.on-screen), td:not(.on-screen)')]"
            ".map(e => [e.checkVisibility(), e.getBoundingClientRect().right])"
        )
        assert edges
        assert all(seen and right <= 704 for seen, right in edges)
        # what passed stays folded inside the rows of a table; everything else is opened
        assert page.evaluate(
            "[...document.querySelectorAll('details')].every(e => e.open || e.closest('tr'))"
        )
        if kind == "move":
            legs = payloads[kind]["legs"]["features"]
            checks = [check for leg in legs for check in leg["properties"]["checks"]]
            bad = sum(check["level"] != "ok" for check in checks)
            assert page.locator("#leg-table .checks li:visible").count() == bad > 0


def test_print_leaves_the_screen_as_it_was(payloads: Any, opened: Any) -> None:
    """By hand: the view before printing comes back after it."""
    with opened(field_page(payloads["field"])) as (page, _):
        where = "(m => [m.getCenter().lat, m.getCenter().lng, m.getZoom()])(fieldmapState.map)"
        before = page.evaluate(where)
        page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
        assert page.evaluate(where) != before
        page.evaluate("window.dispatchEvent(new Event('afterprint'))")
        assert page.evaluate(where) == pytest.approx(before)


def test_layers_go_and_come(payloads: Any, opened: Any) -> None:
    """By hand: a box unticked takes its shapes off the map, a legend shows with its image."""
    with opened(field_page(payloads["field"])) as (page, _):
        shapes = page.locator(".leaflet-group-zones-pane path")
        assert shapes.count() == 4
        page.uncheck('[data-layer="zones"]')
        assert shapes.count() == 0
        page.check('[data-layer="zones"]')
        assert shapes.count() == 4
        legend = page.locator('[data-legend="1"]')
        page.click(".more-layers summary")
        assert legend.is_hidden()
        page.check('[data-image="1"]')
        assert "not known" in legend.inner_text()


def test_levels_differ_by_more_than_colour(payloads: Any, opened: Any) -> None:
    """By hand: four fills, the unknown one hatched and its edge broken."""
    with opened(field_page(payloads["field"])) as (page, _):
        looks = page.evaluate(
            "[...document.querySelectorAll('.leaflet-group-zones-pane path')].map(e =>"
            " [e.getAttribute('fill'), e.getAttribute('stroke-dasharray')])"
        )
        assert looks[0] == ["url(#hatch-unknown)", "7 5"]
        assert len({fill for fill, _ in looks}) == 4


def test_many_fields_are_painted_and_sifted(opened: Any) -> None:
    """By hand: 1,200 fields; 300 of each level; one is named Plot 777."""
    with opened(index_page(page_payloads.index_payload(1200))) as (page, seen):
        rows = page.locator("#field-table tbody tr")
        assert rows.count() == 1200
        assert page.locator(".leaflet-overlay-pane canvas").count() == 1
        ink = page.evaluate(
            "(c => { const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;"
            " let n = 0; for (let i = 3; i < d.length; i += 4) { n += d[i] > 0; } return n; })"
            "(document.querySelector('.leaflet-overlay-pane canvas'))"
        )
        assert ink > 20_000
        page.uncheck('[data-sift="field-table"] input[value="ok"]')
        expect(page.locator(".sift-count").first).to_have_text("900 of 1200 shown")
        page.fill('[data-sift="field-table"] input[type=search]', "plot 777")
        expect(page.locator(".sift-count").first).to_have_text("1 of 1200 shown")
        assert page.locator("#field-table tbody tr:visible th").inner_text() == "Plot 777"
        page.locator("#field-table tbody tr:visible .show").click()
        assert "Plot 777" in page.locator(".note-title").inner_text()
        assert seen.said == []


def test_move_without_a_way_says_so(opened: Any) -> None:
    """By hand: nothing to draw is a sentence on the map, not an empty sheet."""
    payload = move_payloads.move_payload()
    nothing: dict[str, Any] = {"features": []}
    payload |= {"legs": nothing, "direct": nothing, "roads": nothing, "survey": []}
    with opened(move_page(payload)) as (page, seen):
        assert page.locator(".map-none").inner_text() == "Nothing here has a place on the map."
        assert seen.said == []


def test_names_stand_only_where_there_is_room(payloads: Any, opened: Any) -> None:
    """By hand: on a phone no two names lie over each other; zoomed in, the name is there."""
    seen = (
        "[...document.querySelectorAll('.name-tag')].filter(e => e.style.visibility === 'visible')"
        ".map(e => e.getBoundingClientRect()).map(r => [r.left, r.right, r.top, r.bottom])"
    )
    with opened(index_page(payloads["index"]), width=390, height=844) as (page, _):
        boxes = page.evaluate(seen)
        page.click('[data-show="f1"]')
        page.wait_for_timeout(100)
        assert page.evaluate(seen)
    clear = [
        a[1] <= b[0] or b[1] <= a[0] or a[3] <= b[2] or b[3] <= a[2]
        for number, a in enumerate(boxes)
        for b in boxes[number + 1 :]
    ]
    assert all(clear)
