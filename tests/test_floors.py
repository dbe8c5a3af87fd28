"""The house rules that a reader cannot see by reading one file. Property tests over the source."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "fieldmap"
FILES = sorted(PACKAGE.rglob("*.py"))

FLOORS: dict[str, float] = {
    "errors": 0, "units": 0, "words": 0,
    "tables": 0.5,
    "crs": 1, "schemas": 1, "grid": 1, "machine": 1, "finding": 1, "network": 1, "hours": 1,
    "read": 2, "terrain": 2, "hazards": 2, "roads": 2,
    "risk": 3,
    "advice": 4,
    "farm_files": 4.4, "farm": 4.5, "farm_ground": 4.52, "ledger": 4.53, "field_settings": 4.53,
    "field_answer": 4.55, "road_ground": 4.54, "summary": 4.57, "processes": 4.58,
    "intake": 4.6, "logbook": 4.6, "search": 4.6, "assessment": 4.6, "journey": 4.6,
    "survey": 4.6, "measuring": 4.6, "reaching_ends": 4.63, "reaching": 4.65,
    "paper_marks": 4.65, "what_changed": 4.65, "supposing": 4.7,
    "day_clock": 4.63, "day_jobs": 4.63, "day_teams": 4.63, "day_roads": 4.64,
    "day_left": 4.65, "day_answer": 4.66, "day_plan": 4.67,
    "write": 5,
    "cli": 7,
}  # fmt: skip
#: Rooms on floor 2 do not know each other; the joining files and floor 1 may know their own floor.
MAY_KNOW_THEIR_FLOOR = {
    "crs",
    "schemas",
    "grid",
    "machine",
    "finding",
    "network",
    "errors",
    "units",
}
DOORS = {
    "typer": {"cli"}, "click": {"cli"}, "rich": {"cli"},
    "folium": {"write"}, "branca": {"write"}, "jinja2": {"write"},
    "pyogrio": {"read", "write"}, "osmium": {"read"}, "osmnx": {"read", "roads"},
    "sqlite3": {"hazards/store.py", "hazards/layout.py"}, "gpxpy": {"read", "write"},
    "distributed": {"assessment.py"}, "PIL": {"read"}, "defusedxml": {"read"},
    "pyflwdir": {"terrain"}, "pyvrp": {"roads"}, "astral": {"roads"},
}  # fmt: skip
#: rasterio opens files only behind these doors; its array functions are used by risk as well.
RASTER_OPENERS = {"read", "write"}


def room_of(path: Path) -> str:
    first = path.relative_to(PACKAGE).parts[0]
    return first.removesuffix(".py")


def imports(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


def names(paths: list[Path]) -> list[str]:
    return [str(path.relative_to(PACKAGE)) for path in paths]


#: The front door names every room, lazily; it has no floor.
IN_ROOMS = [path for path in FILES if path != PACKAGE / "__init__.py"]


@pytest.mark.parametrize("path", IN_ROOMS, ids=names(IN_ROOMS))
def test_imports_run_down_only(path: Path) -> None:
    room = room_of(path)
    for module in imports(path):
        if not module.startswith("fieldmap."):
            continue
        other = module.split(".")[1]
        if other == room:
            continue
        above = FLOORS[other] > FLOORS[room]
        neighbour = FLOORS[other] == FLOORS[room] and room not in MAY_KNOW_THEIR_FLOOR
        assert not above, f"{room} must not know {other}"
        assert not neighbour, f"{room} and {other} are neighbours"


@pytest.mark.parametrize("path", FILES, ids=names(FILES))
def test_third_party_doors(path: Path) -> None:
    where = {room_of(path), str(path.relative_to(PACKAGE))}
    for module in imports(path):
        allowed = DOORS.get(module.split(".")[0])
        assert allowed is None or allowed & where, f"{module} does not belong in {where}"
    if room_of(path) not in RASTER_OPENERS:
        assert "rasterio.open" not in path.read_text("utf-8")


SOURCES = [
    *FILES,
    *sorted((ROOT / "tests").rglob("*.py")),
    *sorted((ROOT / "demo_geodata").rglob("*.py")),
]


@pytest.mark.parametrize("path", SOURCES, ids=[str(path.relative_to(ROOT)) for path in SOURCES])
def test_no_file_is_two_files(path: Path) -> None:
    lines = path.read_text("utf-8").count("\n")
    assert lines <= 400, f"{lines} lines"
    banned = {"utils", "helpers", "common", "core", "manager", "base"}
    assert path.stem not in banned


def test_top_level_holds_what_it_may() -> None:
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "fieldmap", "tests", "demo_geodata",
               "outputs", "Makefile", "LICENSE", "requirements.lock"}  # fmt: skip
    seen = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert seen <= allowed, seen - allowed
    assert allowed - seen == set()


def test_every_lock_line_has_a_hash_and_no_address() -> None:
    text = (ROOT / "requirements.lock").read_text("utf-8")
    pins = re.findall(r"^([A-Za-z0-9_.-]+)==\S+ \\$", text, re.MULTILINE)
    assert len(pins) > 50
    assert text.count("--hash=sha256:") >= len(pins)
    assert not re.search(r"https?://|--(extra-)?index-url|file://", text)


def test_the_lock_holds_what_pyproject_asks_for() -> None:
    """By hand: every dependency named in pyproject has a pin."""
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    extras = project["optional-dependencies"]
    asked = [*project["dependencies"], *extras["test"], *extras["cluster"]]
    text = (ROOT / "requirements.lock").read_text("utf-8").lower()
    for line in asked:
        name = re.split(r"[<>=\[]", line)[0].lower()
        assert f"\n{name}==" in text.replace("_", "-"), name


def test_the_tool_never_says_safe() -> None:
    """Property: no answer, label or page calls anything safe."""
    word = re.compile(r"\bsafe(ly)?\b", re.IGNORECASE)
    allowed = {'#: How a level is said. ``ok`` is never "safe".'}
    for path in [*FILES, *PACKAGE.rglob("*.j2"), *PACKAGE.rglob("*.js"), *PACKAGE.rglob("*.csv")]:
        for line in path.read_text("utf-8").splitlines():
            assert not word.search(line) or line in allowed, f"{path.name}: {line.strip()}"


def test_every_library_that_is_imported_is_asked_for() -> None:
    """Property: a library that only comes along with another one may be gone tomorrow."""
    import sys
    import tomllib
    from importlib.metadata import packages_distributions

    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    extras = project["optional-dependencies"]
    asked = {
        re.split(r"[<>=\[]", line)[0].lower().replace("_", "-")
        for line in (*project["dependencies"], *extras["cluster"])
    }
    comes_as = packages_distributions()
    for path in FILES:
        for module in imports(path):
            top = module.split(".")[0]
            if top in sys.stdlib_module_names or top in ("fieldmap", "__future__"):
                continue
            names = {name.lower().replace("_", "-") for name in comes_as.get(top, [top])}
            assert names & asked, f"{path.name} imports {top}, which pyproject does not ask for"
