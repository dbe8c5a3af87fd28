"""Asking for help loads none of the heavy libraries. By hand: the modules are counted."""

from __future__ import annotations

import json
import subprocess
import sys

HEAVY = ("geopandas", "rasterio", "numba", "pandas", "folium", "shapely", "osmium", "numpy")
LOOK = (
    "import json, sys; from fieldmap.cli.main import answer; code = answer({words!r}); "
    "print(json.dumps([code, sorted({{name.partition('.')[0] for name in sys.modules}})]))"
)


def loaded(*words: str) -> set[str]:
    asked = [sys.executable, "-c", LOOK.format(words=list(words))]
    printed = subprocess.run(asked, capture_output=True, text=True, check=True).stdout
    code, names = json.loads(printed.splitlines()[-1])
    assert code in (0, 2)
    return set(names)


def test_by_hand_help_is_light() -> None:
    for words in ((), ("--help",), ("assess", "--help"), ("hazards", "--help"), ("nosuch",)):
        names = loaded(*words)
        assert "fieldmap" in names
        assert not names & set(HEAVY)


def test_by_hand_the_tables_are_light_too() -> None:
    assert not loaded("values", "looking") & set(HEAVY)


def test_by_hand_the_look_itself_sees_a_heavy_module() -> None:
    assert "pyogrio" in loaded("version")


def test_by_hand_importing_the_package_is_light() -> None:
    look = "import fieldmap, sys, json; print(json.dumps(sorted(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True)
    assert not {name.partition(".")[0] for name in json.loads(done.stdout)} & set(HEAVY)
