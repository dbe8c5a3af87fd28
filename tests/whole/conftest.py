"""The demo, run once as a person runs it, for the tests of the whole."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldmap.cli.main import answer


@pytest.fixture(scope="session")
def demo_out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("demo")
    assert answer(["demo", "--out", str(out)]) == 0
    return out
