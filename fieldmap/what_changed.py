"""Two assessments of the same fields side by side: which field got worse, which better, and why."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Literal, NamedTuple

import pandas as pd

from fieldmap.field_answer import FieldAnswer
from fieldmap.finding import Finding, Level, rank

#: How a field, or a finding, came out of the change; the order in which people read them.
Change = Literal["worse", "better", "figures", "none"]
CHANGES: tuple[Change, ...] = ("worse", "better", "figures", "none")


class Figure(NamedTuple):
    """A column of the summary that is held side by side.

    ``words`` are what a person calls it; ``unit`` is as in :func:`fieldmap.units.shown`, of the
    value times ``scale``; a ``line`` of travel is the same as the one that runs the other way.
    """

    column: str
    words: str
    unit: str
    scale: float = 1.0
    line: bool = False


#: Columns of ``Assessment.table`` that are compared, those of them that both tables have.
FIGURES = (
    Figure("marks", "marks that reach the field", "count"),
    Figure("strikes", "expected strikes", "things"),
    Figure("strikes_low", "expected strikes, low end", "things"),
    Figure("strikes_high", "expected strikes, high end", "things"),
    Figure("wraps", "expected wraps", "things"),
    Figure("forage_things", "things that end in the forage", "things"),
    Figure("set_up_cost", "cost of the set-up advised", "money"),
    Figure("cut_height_m", "cut height", "m cut"),
    Figure("mowing_min", "mowing time", "min"),
    Figure("runs", "runs", "count"),
    Figure("turns", "turns", "count"),
    Figure("heading_deg", "line of travel", "deg", line=True),
    Figure("side_slope_max_pct", "steepest side slope on it", "%"),
    Figure("side_slope_use_max", "most side-slope use, of the tipping limit", "%", 100.0),
    Figure("sight_ahead_min_m", "shortest sight ahead", "m"),
    Figure("speed_limit_kmh", "field speed limit", "km/h"),
    Figure("drop_offs", "drop-offs whose buffer reaches the field", "count"),
    Figure("unknown_share", "ground whose answer is unknown", "%", 100.0),
)
#: Columns that hold a word, and what a person calls them.
CHOICES = {"skid_shoe": "skid shoe", "knife": "knife", "conditioner": "conditioner"}


class FindingChange(NamedTuple):
    """One finding before and after; where one of them is not there its level is empty."""

    field_id: str
    about: str
    what: str
    way: Change
    level_before: Level | Literal[""]
    level_after: Level | Literal[""]
    value_before: float | None
    value_after: float | None
    choice_before: str
    choice_after: str
    unit_before: str
    unit_after: str
    sources: tuple[str, ...]


def way_of(before: Level | Literal[""], after: Level | Literal[""]) -> Change:
    """Worse, better, or neither; what is not there weighs as much as ``ok``.

    Examples
    --------
    >>> way_of("care", "unknown"), way_of("stop", ""), way_of("", "ok")
    ('worse', 'better', 'figures')
    """
    step = _weight(after) - _weight(before)
    if step == 0:
        return "figures"
    return "worse" if step > 0 else "better"


def difference(before: float | None, after: float | None, *, line: bool = False) -> float | None:
    """After less before; unknown as soon as one of them is.

    Parameters
    ----------
    before, after : float or None
    line : bool
        Both are lines of travel in degrees: 175 and 5 are 10 apart.

    Examples
    --------
    >>> difference(0.05, None) is None
    True
    >>> difference(175.0, 5.0, line=True), difference(5.0, 175.0, line=True)
    (10.0, -10.0)
    """
    if before is None or after is None:
        return None
    if line:
        return (after - before + 90.0) % 180.0 - 90.0
    return after - before


def finding_changes(before: FieldAnswer, after: FieldAnswer) -> list[FindingChange]:
    """Findings of one field whose level, figures or choice are not the same; the worst first.

    Findings go together by what they are about; several of one name by their order. Words alone
    make no change.
    """
    if before is after:
        return []
    old, new = _by_name(before), _by_name(after)
    keys = dict.fromkeys((*old, *new))
    pairs = ((key, old.get(key), new.get(key)) for key in keys)
    out = [
        _finding_change(before.field_id, key, one, two)
        for key, one, two in pairs
        if _told(one) != _told(two)
    ]
    return sorted(out, key=lambda one: (CHANGES.index(one.way), -_weight(one.level_after)))


def field_row(
    before: Mapping[str, Any], after: Mapping[str, Any], findings: Sequence[FindingChange]
) -> dict[str, Any]:
    """One row of the comparison: levels, reasons, figures, choices, counts of findings.

    Parameters
    ----------
    before, after : mapping
        The field's row of ``Assessment.table``.
    findings : sequence of FindingChange
    """
    row: dict[str, Any] = {"field_id": before["field_id"], "name": before["name"], "change": "none"}
    for key in ("level", "reason"):
        row |= {f"{key}_before": before[key], f"{key}_after": after[key]}
    ways = Counter(one.way for one in findings)
    row |= {"findings_worse": ways["worse"], "findings_better": ways["better"]}
    for figure in shared_figures(before, after):
        one, two = _figure(before[figure.column]), _figure(after[figure.column])
        step = difference(one, two, line=figure.line)
        held = (("before", one), ("after", two), ("difference", step))
        row |= {f"{figure.column}_{when}": value for when, value in held}
    for column in shared_choices(before, after):
        row |= {f"{column}_before": before[column], f"{column}_after": after[column]}
    row["change"] = _change(row, before, after, findings)
    return row


def shared_figures(before: Iterable[Any], after: Iterable[Any]) -> list[Figure]:
    """The figures that both tables have."""
    both = set(before) & set(after)
    return [figure for figure in FIGURES if figure.column in both]


def shared_choices(before: Iterable[Any], after: Iterable[Any]) -> list[str]:
    """The columns of words that both tables have."""
    both = set(before) & set(after)
    return [column for column in CHOICES if column in both]


def in_reading_order(table: pd.DataFrame) -> pd.DataFrame:
    """Fields that got worse first, then better, then only figures, the unchanged last.

    Within each the worst answer and the most findings that got worse first, else as they came.
    """
    order = pd.DataFrame(
        {
            "change": table["change"].map(CHANGES.index),
            "level": [-rank(level) for level in table["level_after"]],
            "worse": -table["findings_worse"],
        }
    ).sort_values(["change", "level", "worse"], kind="stable")
    return table.loc[order.index].reset_index(drop=True)


def _change(
    row: Mapping[str, Any],
    before: Mapping[str, Any],
    after: Mapping[str, Any],
    findings: Sequence[FindingChange],
) -> Change:
    way = way_of(before["level"], after["level"])
    if way != "figures":
        return way
    figures = [figure.column for figure in shared_figures(before, after)]
    columns = ("reason", *figures, *shared_choices(before, after))
    moved = any(row[f"{name}_before"] != row[f"{name}_after"] for name in columns)
    return "figures" if moved or findings else "none"


def _weight(level: Level | Literal[""]) -> int:
    return rank(level) if level else rank("ok")


def _by_name(answer: FieldAnswer) -> dict[tuple[str, str, int], Finding]:
    """Findings by whether they are of the ground or a setting, their name, and which of several."""
    out: dict[tuple[str, str, int], Finding] = {}
    seen: Counter[tuple[str, str]] = Counter()
    for about, held in (("ground", answer.findings), ("setting", answer.settings)):
        for one in held:
            name = (about, one.what)
            out[(*name, seen[name])] = one
            seen[name] += 1
    return out


def _told(one: Finding | None) -> tuple[Any, ...] | None:
    """What makes two findings the same."""
    if one is None:
        return None
    figures = (_figure(held) for held in (one.value, one.low, one.high, one.limit))
    return (one.level, one.choice, one.unit, one.basis, *figures)


def _finding_change(
    field_id: str, key: tuple[str, str, int], one: Finding | None, two: Finding | None
) -> FindingChange:
    about, what, _ = key
    levels = ("" if one is None else one.level, "" if two is None else two.level)
    told = [held for held in (two, one) if held is not None]
    return FindingChange(
        field_id=field_id,
        about=about,
        what=what,
        way=way_of(*levels),
        level_before=levels[0],
        level_after=levels[1],
        value_before=None if one is None else _figure(one.value),
        value_after=None if two is None else _figure(two.value),
        choice_before="" if one is None else one.choice,
        choice_after="" if two is None else two.choice,
        unit_before="" if one is None else one.unit,
        unit_after="" if two is None else two.unit,
        sources=tuple(dict.fromkeys(key for held in told for key in held.sources)),
    )


def _figure(held: Any) -> float | None:
    """A figure, or ``None`` when it is not known."""
    if held is None or not math.isfinite(held):
        return None
    return float(held)
