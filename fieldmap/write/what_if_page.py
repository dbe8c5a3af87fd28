"""The page of two assessments side by side: cautions first, then the fields, then each change."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldmap import __version__
from fieldmap.machine import Machine
from fieldmap.supposing import WhatIf
from fieldmap.units import System
from fieldmap.what_changed import CHANGES, FindingChange
from fieldmap.write.frame import render
from fieldmap.write.page_findings import answer, footnotes, said, signal, source_list
from fieldmap.write.payload import described, named
from fieldmap.write.set_up_items import in_currency
from fieldmap.write.what_if_items import figures_shown, level_words

#: So many fields are told in full on the page; the files beside it have all.
DETAILED = 200
_IN_A_CELL = 4
_CHANGE_WORDS = {
    "worse": "get worse",
    "better": "get better",
    "figures": "keep their answer, with other findings or figures",
    "none": "do not change",
}
_ABOUT = {"ground": "ground", "setting": "setting"}


def what_if_payload(found: WhatIf) -> dict[str, Any]:
    """What :func:`what_if_page` is given: JSON types only, user text untouched."""
    farm = found.before.farm
    records = found.table.to_dict("records")
    currency = farm.settings.prices.currency
    rows = [
        _row(row, found.findings[row["field_id"]], farm.settings.units, currency) for row in records
    ]
    cited = [key for held in found.findings.values() for one in held for key in one.sources]
    return {
        "title": f"{farm.settings.name}: what if",
        "farm": farm.settings.name,
        "note": farm.settings.note,
        "units": farm.settings.units,
        "currency": currency,
        "made": {"date": found.before.day.isoformat(), "version": __version__},
        "machine": _name(found.before.machine),
        "machine_then": _name(found.after.machine),
        "assumed": list(found.assumed),
        "cautions": list(found.cautions),
        "notes": list(found.notes),
        "counts": found.counts(),
        "fields": rows,
        "sources": described(farm, cited),
    }


def what_if_page(payload: Mapping[str, Any]) -> str:
    """One page: what was assumed, every field before and after, and what of it changed.

    Parameters
    ----------
    payload : mapping
        As :func:`what_if_payload` makes it.
    """
    units: System = payload["units"]
    changed = [row for row in payload["fields"] if row["change"] != "none"]
    told = changed[:DETAILED]
    notes = footnotes(one for row in told for one in row["findings"])
    keys = ("title", "farm", "note", "made", "machine", "machine_then", "assumed", "notes")
    page = {key: payload[key] for key in keys}
    page |= {
        "map": "",
        "credit": "",
        "cautions": [signal(text) for text in payload["cautions"]],
        "counts": [
            {"change": change, "n": payload["counts"][change], "words": _CHANGE_WORDS[change]}
            for change in CHANGES
        ],
        "rows": [_shown(row) for row in payload["fields"]],
        "details": [_shown(row) | _detail(row, notes, payload) for row in told],
        "more": len(changed) - len(told),
        "ground": [],
        "sources": source_list(notes, {key: payload["sources"][key] for key in notes}),
    }
    return render("what_if.html.j2", page, {"units": units}, mapped=False)


def _name(machine: Machine | None) -> str:
    return "no machine named" if machine is None else machine.name


def _row(
    row: Mapping[Any, Any], findings: tuple[FindingChange, ...], units: System, currency: str
) -> dict[str, Any]:
    keys = (
        "change", "level_before", "level_after", "reason_before", "reason_after",
        "findings_worse", "findings_better",
    )  # fmt: skip
    return {
        **{key: row[key] for key in keys},
        "title": named(row["name"], str(row["field_id"])),
        "figures": [list(one) for one in figures_shown(row, units, currency=currency)],
        "gone": list(row["gone"]),
        "new": list(row["new"]),
        "findings": [one._asdict() | {"sources": list(one.sources)} for one in findings],
    }


def _shown(row: Mapping[str, Any]) -> dict[str, Any]:
    figures = row["figures"]
    more = len(figures) - _IN_A_CELL
    return {
        "title": row["title"],
        "change": row["change"],
        "before": said(row["level_before"]),
        "after": said(row["level_after"]),
        "level": said(row["level_after"])["level"],
        "why": "unchanged" if row["change"] == "none" else row["reason_after"],
        "findings": _counted(row),
        "figures": [f"{what}: {one}, then {two}" for what, one, two, _ in figures[:_IN_A_CELL]],
        "more_figures": max(more, 0),
    }


def _counted(row: Mapping[str, Any]) -> str:
    """How many findings got worse and better, in words."""
    rest = len(row["findings"]) - row["findings_worse"] - row["findings_better"]
    counts = ((row["findings_worse"], "worse"), (row["findings_better"], "better"), (rest, "other"))
    return ", ".join(f"{number} {word}" for number, word in counts if number)


def _detail(
    row: Mapping[str, Any], notes: Mapping[str, int], payload: Mapping[str, Any]
) -> dict[str, Any]:
    return {
        "reasons": (row["reason_before"], row["reason_after"]),
        "table": row["figures"],
        "gone": row["gone"],
        "new": row["new"],
        "told": [_finding(one, notes, payload) for one in row["findings"]],
    }


def _finding(
    one: Mapping[str, Any], notes: Mapping[str, int], payload: Mapping[str, Any]
) -> dict[str, Any]:
    return {
        "what": one["what"],
        "about": _ABOUT[one["about"]],
        "way": one["way"],
        "sides": [_side(one, when, payload) for when in ("before", "after")],
        "notes": [notes[key] for key in one["sources"]],
    }


def _side(one: Mapping[str, Any], when: str, payload: Mapping[str, Any]) -> dict[str, str]:
    """A finding's level and answer on one side; where it is not there it says so."""
    level = one[f"level_{when}"]
    if not level:
        return {"level": "", "word": level_words(level), "answer": ""}
    held = {key: one[f"{key}_{when}"] for key in ("value", "unit", "choice")}
    words = {"answer": answer(held | {"level": level, "limit": None}, payload["units"])}
    return said(level) | in_currency(words, str(held["unit"]), payload.get("currency", ""))
