"""The order of the findings on marks: people and hands off first, then the risk matrix."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_ground import TABLES, box, marks

from fieldmap.finding import Finding
from fieldmap.risk.marks import mark_findings
from fieldmap.risk.matrix import ORDER, severity_of

KINDS = [row.key.partition(".")[2] for row in TABLES.rows("hazard_kinds")]


def found(*kinds: str) -> list[Finding]:
    """What is said of marks of these kinds."""
    held = marks(*((kind, box(0, 0, 1, 1)) for kind in kinds))
    told = mark_findings("F", held, log_name="log.gpkg", log_read=True, tables=TABLES)
    return [one.finding for one in told]


def test_the_order_by_hand() -> None:
    """By hand: the drum (hands off), the well (1, kept out of), stone (1), twine (2), glass (3)."""
    said = found("glass", "twine", "stone", "well", "drum")
    assert [one.what for one in said] == [
        "drum or cylinder", "well or casing", "stone", "twine or net", "glass",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("stone", "high by the risk matrix (1C)"),
        ("twine", "high by the risk matrix (2B)"),
        ("glass", "serious by the risk matrix (3A)"),
    ],
)
def test_the_rating_is_said_by_hand(kind: str, words: str) -> None:
    """By hand: what is marked is met once in a cut; one in 1,000, 100 or 3 comes to its harm."""
    (one,) = found(kind)
    assert one.why.endswith(f"; {words}.")
    assert one.sources[0] == "log.gpkg"
    assert "milstd_882e" in one.sources


def _rated(one: Finding) -> int:
    return next(number for number, word in enumerate(ORDER) if f"; {word.lower()} by" in one.why)


@given(kinds=st.lists(st.sampled_from(KINDS), min_size=1, max_size=12))
def test_nothing_grave_stands_behind_what_is_less_property(kinds: list[str]) -> None:
    """Property: behind the kinds that hurt people and must not be handled ratings never rise."""
    said = found(*kinds)
    rows = {row.words["label"]: row for row in TABLES.rows("hazard_kinds")}
    first = [
        "people" in rows[one.what].words["endangers"] and rows[one.what].words["touch"] == "no"
        for one in said
    ]
    assert first == sorted(first, reverse=True)
    rest = [one for one, early in zip(said, first, strict=True) if not early]
    assert [_rated(one) for one in rest] == sorted((_rated(one) for one in rest), reverse=True)
    grave = [severity_of(rows[one.what]) for one in rest]
    assert grave == sorted(grave)
