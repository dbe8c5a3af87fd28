"""What the page tests share: invented payloads and the system's Chromium, cut off from all."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import move_payloads
import page_payloads
import pytest
import search_payloads

from fieldmap.write import pages

WATCH = (
    "window.broken = [];"
    "document.addEventListener('securitypolicyviolation', (e) => window.broken.push("
    "e.violatedDirective + ' ' + e.blockedURI));"
)


@dataclass
class Seen:
    """What a page did while it was open."""

    asked: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    dialogs: list[str] = field(default_factory=list)


@pytest.fixture
def payloads() -> dict[str, dict[str, Any]]:
    return {
        "index": page_payloads.index_payload(),
        "field": page_payloads.field_payload(),
        "move": move_payloads.whole_move(),
        "search": search_payloads.search_payload(),
    }


@pytest.fixture
def made() -> dict[str, Callable[[dict[str, Any]], str]]:
    return {
        "index": pages.index_page,
        "field": pages.field_page,
        "move": pages.move_page,
        "search": pages.search_page,
    }


@pytest.fixture
def opened(browser: Any, tmp_path: Path) -> Callable[..., Any]:
    """A page opened from disk, every other request refused and written down."""

    @contextmanager
    def _open(text: str, *, width: int = 1280, height: int = 800) -> Iterator[tuple[Any, Seen]]:
        path = tmp_path / "page.html"
        path.write_text(text, encoding="utf-8", newline="")
        seen = Seen()

        def decide(route: Any) -> None:
            url = route.request.url
            if url == path.as_uri():
                route.continue_()
            else:
                seen.asked.append(url)
                route.abort()

        context = browser.new_context(viewport={"width": width, "height": height})
        context.add_init_script(WATCH)
        context.route("**/*", decide)
        page = context.new_page()
        page.on("request", lambda request: _note(seen, request.url, path.as_uri()))
        page.on("console", lambda message: seen.said.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: seen.said.append(f"error: {error}"))
        page.on("dialog", lambda dialog: (seen.dialogs.append(dialog.message), dialog.dismiss()))
        page.goto(path.as_uri())
        page.locator("#map_ground .leaflet-control-scale").wait_for()
        yield page, seen
        context.close()

    return _open


def _note(seen: Seen, url: str, own: str) -> None:
    if url != own and not url.startswith("data:"):
        seen.asked.append(url)
