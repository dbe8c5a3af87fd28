"""Marks taken as cleared on paper: which ones a person means, and a farm without them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, time
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd

from fieldmap.crs import WGS84
from fieldmap.errors import Fault, MisuseError
from fieldmap.farm import Farm
from fieldmap.field_answer import history_on
from fieldmap.hazards import events as ev
from fieldmap.hazards.labels import called
from fieldmap.hazards.reach import fields_of, reach_m
from fieldmap.machine import Machine

#: Instead of the ids of marks: everything that may be picked up.
ALL_MARKS = "all"
_PICK_UP = "pick up first"
_NEAR, _NAMED = 5, 12
_NOON = time(12)


class Cleared(NamedTuple):
    """A mark that is taken as cleared: what people call it, its kind in words, its fields."""

    hazard_id: str
    label: str
    fields: tuple[str, ...]


class PaperMarks(NamedTuple):
    """Marks taken as cleared: rows of the fold, the same for people, and what to know of it."""

    gone: gpd.GeoDataFrame
    told: tuple[Cleared, ...]
    notes: tuple[str, ...]


def paper_marks(
    farm: Farm,
    names: Sequence[str],
    *,
    day: date,
    field_ids: Sequence[str],
    machines: Sequence[Machine | None],
) -> PaperMarks:
    """The marks that a person wants to be gone.

    Parameters
    ----------
    farm : Farm
    names : sequence of str
        As the log's own clearing takes them; :data:`ALL_MARKS` stands for every mark that
        reaches these fields and may be picked up: the table of kinds lets it be touched, and its
        action is to pick it up.
    day : date
        Only what stands on its evening can be cleared.
    field_ids : sequence of str
        The fields asked for; all when empty.
    machines : sequence of Machine or None
        How far a mark reaches is by the wider of them.

    Raises
    ------
    MisuseError
        Names that fit no mark, or several.
    """
    marks = history_on(farm, day)
    asked = set(field_ids or farm.fields["field_id"])
    own = list(dict.fromkeys(name for name in names if name != ALL_MARKS))
    rows = _named(farm, marks, own)
    reached = fields_reached(farm, marks, machines)
    near = np.array([not asked.isdisjoint(ids) for ids in reached], bool)
    wished = np.isin(np.arange(len(marks)), rows)
    if ALL_MARKS in names:
        wished |= near & _may_be_picked_up(farm, marks)
    stands = marks["stands"].to_numpy(bool)
    gone = np.flatnonzero(wished & stands)
    labels = [_label(farm, kind) for kind in marks["kind"]]
    ids = marks["hazard_id"].tolist()
    told = [Cleared(ids[row], labels[row], tuple(reached[row])) for row in gone]
    left = np.flatnonzero(near & stands & ~wished)
    notes = [
        *_on_named(farm, marks, rows, near),
        *(_on_all(farm, ids, labels, left) if ALL_MARKS in names else ()),
    ]
    return PaperMarks(marks.iloc[gone], tuple(told), tuple(notes))


def fields_reached(
    farm: Farm, marks: gpd.GeoDataFrame, machines: Sequence[Machine | None]
) -> list[list[str]]:
    """The fields that each mark (metric) reaches with the widest of several machines."""
    if marks.empty:
        return []
    radius_m = np.max([reach_m(marks, one, tables=farm.tables) for one in machines], axis=0)
    return fields_of(marks, radius_m, farm.fields)


def with_cleared(farm: Farm, gone: gpd.GeoDataFrame, day: date) -> Farm:
    """The farm with a log in which these marks were cleared on a day; its file is not touched.

    Parameters
    ----------
    farm : Farm
    gone : GeoDataFrame
        Rows of the fold.
    day : date
    """
    if gone.empty:
        return farm
    moment = ev.iso(datetime.combine(day, _NOON, farm.settings.zone()))
    rows = gone.to_crs(WGS84).to_dict("records")
    said = [
        ev.told_event(ev.CLEARED, row["key"], **ev.said_of(row), seen=row["events"], time=moment)
        for row in rows
    ]
    told = pd.concat(said, ignore_index=True)
    told["sequence"] = int(farm.events["sequence"].max()) + 1 + np.arange(len(told))
    return replace(farm, events=pd.concat([farm.events, told], ignore_index=True))


def fields_touched(
    farm: Farm, gone: gpd.GeoDataFrame, day: date, machines: Sequence[Machine | None]
) -> set[str]:
    """The fields that marks reach, where they stand and where the log has them once cleared.

    Parameters
    ----------
    farm : Farm
        With the marks cleared.
    gone : GeoDataFrame
        The marks as they stood.
    day : date
    machines : sequence of Machine or None
    """
    after = history_on(farm, day)
    after = after[after["key"].isin(gone["key"])]
    found = (fields_reached(farm, marks, machines) for marks in (gone, after))
    return {name for reached in found for ids in reached for name in ids}


def listed(names: Sequence[str]) -> str:
    """Names as a list that people read to its end.

    Examples
    --------
    >>> listed(["F01 timber", "F02 stone"])
    'F01 timber, F02 stone'
    >>> listed([str(number) for number in range(15)]).endswith("10, 11 and 3 more")
    True
    """
    shown = ", ".join(names[:_NAMED])
    return shown if len(names) <= _NAMED else f"{shown} and {len(names) - _NAMED} more"


def _named(farm: Farm, marks: gpd.GeoDataFrame, names: Sequence[str]) -> list[int]:
    """The row of each name."""
    faults, rows = [], []
    for name in names:
        fits = called(marks, farm.events, name)
        if len(fits) == 1:
            rows += fits
            continue
        ids = marks["hazard_id"]
        near = ", ".join(ids.iloc[fits[:_NEAR]])
        some = ", ".join(ids[marks["stands"]].iloc[:_NEAR]) or "none stands on that day"
        faults.append(
            Fault(
                "several marks of this name" if near else "no such mark",
                name,
                "nobody knows what would be cleared",
                f"say which: {near}"
                if near
                else f"use an id as 'fieldmap hazards list' shows it ({some}, ...), or 'all'",
            )
        )
    if faults:
        raise MisuseError(faults)
    return list(dict.fromkeys(rows))


def _words(farm: Farm, kind: str) -> Mapping[str, str]:
    return farm.tables[f"hazard_kinds.{kind}"].words


def _label(farm: Farm, kind: str) -> str:
    return _words(farm, kind)["label"]


def _may_be_picked_up(farm: Farm, marks: gpd.GeoDataFrame) -> np.ndarray:
    held = [_words(farm, kind) for kind in marks["kind"]]
    loose = [one["touch"] == "yes" and one["action"] == _PICK_UP for one in held]
    return np.array(loose, bool)


def _on_named(farm: Farm, marks: gpd.GeoDataFrame, rows: list[int], near: np.ndarray) -> list[str]:
    """What to know of the marks that were named one by one."""
    notes = []
    for row, mark in zip(rows, marks.iloc[rows].to_dict("records"), strict=True):
        name, words = mark["hazard_id"], _words(farm, mark["kind"])
        if not mark["stands"]:
            notes.append(f"{name} was cleared before: nothing changes by it")
        elif not near[row]:
            notes.append(f"{name} reaches none of the fields asked for: nothing changes by it")
        elif words["touch"] == "no":
            notes.append(
                f"{name} ({words['label']}) is for {words['call']}: it is gone only on their word"
            )
    return notes


def _on_all(farm: Farm, ids: list[str], labels: list[str], left: np.ndarray) -> list[str]:
    """What "all" leaves standing, and what it was not taken for."""
    notes = [] if farm.log_read else ["there is no hazard log yet: there is nothing to clear"]
    if ALL_MARKS in ids:
        notes.append(
            f"'{ALL_MARKS}' is taken for all that may be picked up, not for the mark of that name"
        )
    if len(left):
        kept = listed([f"{ids[row]} {labels[row]}" for row in left])
        notes.append(
            f"{len(left)} marks stay, since they must not be touched or are not for picking up; "
            f"each can only be named by its own id: {kept}"
        )
    return notes
