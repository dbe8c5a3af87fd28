"""What every room's tests share: where things lie, the tools a machine may lack, and saying so."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

# no test is timed; what is found once on the build machine can be found again
settings.register_profile(
    "fieldmap",
    deadline=None,
    database=None,
    derandomize=os.environ.get("CI") == "true",
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("fieldmap")

ROOT = Path(__file__).resolve().parents[1]
collect_ignore_glob = ["conftest.py", "*/conftest.py"]  # no doctests in them, one name for all
REQUIRE_ALL = os.environ.get("FIELDMAP_REQUIRE_ALL") == "1"
# tool -> (marker of the tests that need it, Debian package, what is left unchecked without it)
TOOLS = {
    "chromium": ("browser", "chromium", "the pages in a real browser"),
    "gdaldem": ("gdaldem", "gdal-bin", "slope and aspect against GDAL's command-line tools"),
}


BROWSER_ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


def _tool(name: str) -> str:
    found = shutil.which(name)
    if found is None:
        words = f"{name} is missing: apt-get install {TOOLS[name][1]}"
        if REQUIRE_ALL:
            pytest.fail(words)
        pytest.skip(words)
    return found


@pytest.fixture(scope="session")
def project_root() -> Path:
    return ROOT


@pytest.fixture(scope="session")
def demo_geodata() -> Path:
    return ROOT / "demo_geodata"


@pytest.fixture(scope="session")
def gdaldem() -> str:
    return _tool("gdaldem")


@pytest.fixture(scope="session")
def chromium() -> str:
    return _tool("chromium")


@pytest.fixture(scope="session")
def browser(chromium: str) -> Iterator[Any]:
    """The system's Chromium, one for all tests: a second one in the same process is refused."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=chromium, args=BROWSER_ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def bayreuth() -> Path:
    folder = ROOT.parent / "shared" / "data" / "bayreuth"
    if not folder.is_dir():
        pytest.skip("the shared district data is not on this machine")
    return folder


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say loudly what was left out, and how to get it."""
    missing = [name for name in TOOLS if shutil.which(name) is None]
    if not missing:
        return
    terminalreporter.section("LEFT OUT", sep="!", red=True, bold=True)
    for name in missing:
        _, package, unchecked = TOOLS[name]
        terminalreporter.line(f"{name} is not on this machine, so nobody checked {unchecked}.")
        terminalreporter.line(f"    get it with: apt-get install {package}")
