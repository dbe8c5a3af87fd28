"""The demo's own pages in the system's Chromium, the network cut."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def page(browser: Any) -> Iterator[Page]:
    context = browser.new_context(offline=True)
    yield context.new_page()
    context.close()


def opened(page: Page, path: Path) -> tuple[list[str], list[str]]:
    """Open a page; what it asked for beyond itself, and what it complained of."""
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("dialog", lambda dialog: (said.append("a dialog"), dialog.dismiss()))
    page.goto(path.resolve().as_uri())
    sheet = path.stem.endswith("-sheet")  # a cab sheet draws its map itself, without a script
    page.wait_for_selector("figure.drawing" if sheet else ".leaflet-container")
    page.wait_for_timeout(150)
    own = path.resolve().as_uri()
    return [url for url in asked if url != own and not url.startswith("data:")], said


def pages_of(demo_out: Path) -> list[Path]:
    found = [
        demo_out / "index.html",
        demo_out / "search" / "index.html",
        *sorted((demo_out / "fields").glob("*.html")),
        *sorted((demo_out / "moves").glob("*.html")),
    ]
    assert len(found) >= 11
    return found


def test_no_page_makes_a_request_or_complains(page: Page, demo_out: Path) -> None:
    """Property: every page of the demo opens whole with the network cut."""
    for path in pages_of(demo_out):
        asked, said = opened(page, path)
        assert asked == [], path.name
        assert said == [], path.name


def test_links_between_the_pages_lead_somewhere(page: Page, demo_out: Path) -> None:
    """Property: every relative link is a file that was written."""
    checked = 0
    for path in pages_of(demo_out):
        page.goto(path.resolve().as_uri())
        links = page.eval_on_selector_all(
            "a[href]", "all => all.map(one => one.getAttribute('href'))"
        )
        for link in links:
            if link and not link.startswith(("#", "http:", "https:")):
                assert (path.parent / link.split("#")[0]).is_file(), (path.name, link)
                checked += 1
    assert checked > 20


def test_a_note_with_markup_stays_text(page: Page, demo_out: Path) -> None:
    """By hand: the demo's note with a script and a template is shown letter by letter."""
    note = '<script>alert("note")</script> ${1+1} `tick`'
    seen = 0
    for path in (demo_out / "index.html", *sorted((demo_out / "fields").glob("*.html"))):
        asked, said = opened(page, path)
        assert (asked, said) == ([], [])
        cells = page.eval_on_selector_all("td", "all => all.map(one => one.textContent)")
        seen += sum(note in cell for cell in cells)
        assert page.evaluate("document.querySelectorAll('td script').length") == 0
    assert seen >= 2


def test_nothing_runs_off_a_phone(page: Page, demo_out: Path) -> None:
    """Property: no page scrolls sideways at 390 px."""
    page.set_viewport_size({"width": 390, "height": 844})
    for path in pages_of(demo_out):
        page.goto(path.resolve().as_uri())
        width = page.evaluate("document.documentElement.scrollWidth")
        assert width <= 390, (path.name, width)
