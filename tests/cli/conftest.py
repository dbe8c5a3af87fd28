"""One imported demo farm for all commands, and a way to run a command and see what it printed."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from cli_printed import Printed

from fieldmap.cli.main import answer
from fieldmap.farm import load_farm
from fieldmap.intake import take_in


def copied(source: Path, folder: Path) -> Path:
    left_out = shutil.ignore_patterns("makers", "pictures", "*.py", "outputs", "hazards.gpkg*")
    shutil.copytree(source, folder, ignore=left_out)
    return folder


@pytest.fixture(scope="session")
def demo_farm(demo_geodata: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo farm with its finds imported; tests must not write into it."""
    folder = copied(demo_geodata, tmp_path_factory.mktemp("farm") / "Höfe und Wiesen")
    take_in(load_farm(folder, with_roads=False), sorted((folder / "found").glob("*.*")))
    return folder


@pytest.fixture
def own_farm(demo_geodata: Path, tmp_path: Path) -> Path:
    """A copy of the demo farm that a test may spoil; no log, no roads, no elevation."""
    folder = copied(demo_geodata, tmp_path / "own farm")
    (folder / "farm.toml").write_text(
        'name = "Own"\ntime_zone = "America/Chicago"\n[files]\nfields = "fields.gpkg"\n'
        'machines = "machines.toml"\n[columns.fields]\nfield_id = "FLD_NO"\n',
        "utf-8",
    )
    return folder


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., Printed]:
    """Run a command: ``run("check", folder)``."""

    def asked(*words: str | Path) -> Printed:
        capsys.readouterr()
        code = answer([str(word) for word in words])
        out, err = capsys.readouterr()
        assert "Traceback" not in err or "--debug" in words
        return Printed(code, out, err)

    return asked
