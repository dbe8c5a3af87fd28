"""Make README's pictures from the demo's pages: ``python make_pictures.py DEMO_OUTPUT``.

Needs the system's Chromium. The pictures show the invented farm.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve().parent / "pictures"
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]


def main(out: Path) -> None:
    HERE.mkdir(exist_ok=True)
    moves = sorted((out / "moves").glob("home-to-S5*.html"))
    shots = {
        "farm": out / "index.html",
        "field": out / "fields" / "S2.html",
        "slopes": out / "slopes.html",
        "search": out / "search" / "index.html",
        "move": moves[0],
    }
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=ARGUMENTS)
        for name, page in shots.items():
            view = browser.new_page(
                viewport={"width": 1000, "height": 1000}, device_scale_factor=0.8
            )
            view.goto(page.resolve().as_uri())
            view.wait_for_timeout(600)
            view.screenshot(path=HERE / f"{name}.png")
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
