"""The demo folder as files: made again it is the same, small, and says that it is invented."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

DEMO = Path(__file__).resolve().parents[2] / "demo_geodata"
MADE = {
    "elevation.tif", "farm.toml", "fields.gpkg", "flood.geojson", "gates.geojson", "ledger.csv",
    "machines.toml", "road_checks.csv", "roads.osm.pbf", "found/after_flood.geojson",
    "found/phone.gpx",
    "found/ridge_walk.csv", "found/levee_office.kml", "found/twine on the headland.jpg",
    "walks/before_flood.gpx", "walks/orchard_piece.gpx",
    "walks/river_crook_west.gpx",
    "walks/south_flat.gpx", "walks/third_bench.gpx",
}  # fmt: skip
BY_HAND = {".py", ".md", ".csv", ".png"}


@pytest.fixture(scope="module")
def made_again(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("demo")
    clean = {
        key: held for key, held in os.environ.items() if not key.startswith(("GDAL", "OGR", "CPL"))
    }
    subprocess.run(
        [sys.executable, "-W", "error", str(DEMO / "make_demo.py"), str(out)], check=True, env=clean
    )
    return out


def test_the_script_makes_every_file_and_no_other(made_again: Path) -> None:
    """By hand: the list above."""
    made = {
        path.relative_to(made_again).as_posix() for path in made_again.rglob("*") if path.is_file()
    }
    assert made == MADE


@pytest.mark.parametrize("name", sorted(MADE))
def test_made_again_the_bytes_are_the_same(made_again: Path, name: str) -> None:
    """Regression: the committed file against a fresh one. Run make_demo.py after a change."""
    assert (made_again / name).read_bytes() == (DEMO / name).read_bytes()


def test_the_folder_is_small() -> None:
    """By hand: under 3 MB, and no file beside the made ones but scripts and words."""
    files = [path for path in DEMO.rglob("*") if path.is_file() and "__pycache__" not in path.parts]
    assert sum(path.stat().st_size for path in files) < 3_000_000
    others = {path for path in files if path.relative_to(DEMO).as_posix() not in MADE}
    # hazards.gpkg and outputs/ are what a user makes here; they are not part of the folder
    made_by_users = {
        path for path in others if path.name == "hazards.gpkg" or "outputs" in path.parts
    }
    assert {path.suffix for path in others - made_by_users} <= BY_HAND


def test_scripts_stay_under_four_hundred_lines() -> None:
    """By hand: the house rule."""
    scripts = list(DEMO.rglob("*.py"))
    assert len(scripts) > 5
    assert all(len(path.read_text(encoding="utf-8").splitlines()) <= 400 for path in scripts)


@pytest.mark.parametrize("name", ["README.md", "farm.toml", "machines.toml", "flood.geojson"])
def test_it_says_that_it_is_invented(name: str) -> None:
    """By hand: a person who opens one file alone must be able to tell."""
    assert "invented" in (DEMO / name).read_text(encoding="utf-8").lower()


@pytest.mark.parametrize("name", sorted(name for name in MADE if name.endswith(".gpx")))
def test_tracks_and_waypoints_say_that_they_are_invented(name: str) -> None:
    """By hand: in the head of the file."""
    assert "Invented demo data" in (DEMO / name).read_text(encoding="utf-8")[:300]


def test_readme_tells_every_file_and_the_licence() -> None:
    """By hand: nothing lies there unexplained."""
    text = (DEMO / "README.md").read_text(encoding="utf-8")
    for name in MADE:
        assert (name if not name.startswith("walks/") else "walks/*.gpx") in text
    assert "## Licence" in text
