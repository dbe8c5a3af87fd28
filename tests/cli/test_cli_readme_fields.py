"""The README's tables of JSON fields say what the schemas say. By hand: the two are compared."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from json_tables import readme_section, tables

_HEADING = re.compile(r"^### JSON: (.+)$")
_ROW = re.compile(r"^\| `([^`]+)` \| (.+) \| (.+) \|$")


def documented(text: str) -> dict[str, list[tuple[str, str]]]:
    """Heading -> rows of field and type, out of the section ``## JSON``."""
    section = text.partition("\n## JSON\n")[2].partition("\n## ")[0]
    found: dict[str, list[tuple[str, str]]] = {}
    heading = ""
    for line in section.splitlines():
        if match := _HEADING.match(line):
            heading = match[1]
            found[heading] = []
        elif match := _ROW.match(line):
            found[heading].append((match[1], match[2]))
    return found


def expected() -> dict[str, list[tuple[str, str]]]:
    return {heading: [(path, kind) for path, kind, _ in held] for heading, held in tables().items()}


def test_by_hand_every_field_is_documented_and_no_other(project_root: Path) -> None:
    assert documented((project_root / "README.md").read_text("utf-8")) == expected()


def test_by_hand_the_comparison_sees_a_lost_row_and_a_lost_table() -> None:
    text = f"\n{readme_section()}\n## Next\n"
    assert documented(text) == expected()
    assert documented(text.replace("| `ok` | true or false | no errors |\n", "")) != expected()
    assert documented(text.replace("### JSON: `fieldmap move`", "### other")) != expected()


@pytest.mark.parametrize("heading", sorted(tables()))
def test_by_hand_every_field_has_a_meaning_and_stands_once(heading: str) -> None:
    held = tables()[heading]
    assert all(meaning and "|" not in meaning for _, _, meaning in held)
    assert len({path for path, _, _ in held}) == len(held)
