"""Writing in a farm's hazard log: what was seen, cleared, hit or moved, and by whom."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

import geopandas as gpd
import pandas as pd
import shapely

from fieldmap.crs import WGS84
from fieldmap.errors import Fault, MisuseError
from fieldmap.farm import Farm
from fieldmap.hazards import events as ev
from fieldmap.hazards.fold import fold
from fieldmap.hazards.labels import START_DIGITS, called
from fieldmap.hazards.reach import fields_of, reach_m
from fieldmap.hazards.sayable import (
    SAYINGS,
    cleared_too_early,
    misplaced,
    moved_notes,
    unsayable,
)
from fieldmap.hazards.store import append
from fieldmap.hazards.twins import told_as, twins, unlike, unmergeable
from fieldmap.read.kinds import UNKNOWN_KIND, asked_kind, kind_of, near_kinds

__all__ = [
    "SAYINGS", "Place", "Word", "Written", "add", "book", "book_on", "clear",
    "fields_reached", "merge", "proposed_twins", "say", "unmerge",
]  # fmt: skip

_NEAR, _SOME = 5, 20


class Word(NamedTuple):
    """Who says something of a mark, when (aware), and in what words."""

    who: str
    time: datetime
    note: str = ""


class Place(NamedTuple):
    """Degrees, WGS 84, and the 95 % radius of the position in metres, when it is known."""

    lon: float
    lat: float
    radius_m: float | None = None


class Written(NamedTuple):
    """What was written: how many events, the marks they speak of, and what people should know."""

    new: int
    marks: tuple[str, ...]
    notes: tuple[str, ...]


def book(farm: Farm) -> gpd.GeoDataFrame:
    """Every mark of the farm's log, cleared ones too (see :func:`fieldmap.hazards.fold.fold`)."""
    return fold(farm.events, tables=farm.tables)


def book_on(farm: Farm, moment: datetime | None) -> gpd.GeoDataFrame:
    """Every mark as the log stood at a moment; as it stands when none is given.

    What was told up to ``looking.clock_slack_h`` later counts as told: clocks are wrong.
    """
    if moment is None:
        return book(farm)
    slack = timedelta(hours=farm.tables.number("looking.clock_slack_h"))
    return fold(farm.events, tables=farm.tables, known_by=moment + slack, closed_by=moment)


def fields_reached(
    farm: Farm, marks: gpd.GeoDataFrame, *, only: Sequence[str] = ()
) -> list[list[str]]:
    """The fields that each mark reaches, with its uncertainty and half the machine's width.

    Parameters
    ----------
    farm : Farm
    marks : GeoDataFrame
        Rows of the fold.
    only : sequence of str
        Fields that are asked for.

    Raises
    ------
    MisuseError
        A field that is asked for is not the farm's.
    """
    names = ", ".join(farm.fields["field_id"].head(_SOME))
    strange = [name for name in only if not (farm.fields["field_id"] == name).any()]
    why, mend = "nothing can be listed", f"use one of {names}"
    _refuse([Fault("no such field", name, why, mend) for name in strange])
    ground = marks.to_crs(farm.crs)
    return fields_of(ground, reach_m(ground, farm.machine(None), tables=farm.tables), farm.fields)


def add(
    farm: Farm,
    words: str,
    place: Place,
    word: Word,
    *,
    height_m: float | None = None,
    hit: bool = False,
) -> Written:
    """Log one thing that was found, or hit.

    Parameters
    ----------
    farm : Farm
    words : str
        What it is, in the finder's words; ``unknown`` when they name no kind.
    place : Place
    word : Word
    height_m : float, optional
        Height over the ground.
    hit : bool
        A machine struck it: a mark all the same, until somebody has looked and cleared it.

    Raises
    ------
    MisuseError
        A place that is not on earth, or far from every field.
    StoreError
        Disk, permission or lock.
    """
    _placed_well(farm, place)
    kind = kind_of(words, farm.tables)
    label = farm.tables[f"hazard_kinds.{kind}"].words["label"]
    plain = words.strip().lower() in (kind, label)
    note = word.note if word.note.strip() else ""
    find = gpd.GeoDataFrame(
        {
            "hazard_id": [""],
            "kind": [kind],
            "note": [note if plain else " - ".join(filter(None, (words, note)))],
            "who": [word.who],
            "time": pd.Series([word.time], dtype="datetime64[us, UTC]"),
            "radius_m": [float("nan") if place.radius_m is None else place.radius_m],
            "height_m": [float("nan") if height_m is None else height_m],
        },
        geometry=[shapely.Point(place.lon, place.lat)],
        crs=WGS84,
    )
    event = ev.add_events(find, file="")
    if hit:
        event = event.assign(verb=ev.HIT, event_id=ev.digest((ev.HIT, *event["event_id"])))
    new = append(_log(farm), event)
    near = near_kinds(words, farm.tables) if kind == UNKNOWN_KIND and not plain else []
    perhaps = f"; perhaps {' or '.join(near)}" if near else ""
    notes = () if kind == words else (f"'{words}' taken as {kind}{perhaps}",)
    return Written(new, (event["hazard_id"].iloc[0][:START_DIGITS],), notes)


def clear(farm: Farm, names: Sequence[str], word: Word) -> Written:
    """Say that marks are gone: closes what this log knows of them, and nothing anybody else saw.

    Raises
    ------
    MisuseError
        A name that is not in the log, nobody named as the one who cleared, or a mark that was
        seen later, by more than ``looking.clock_slack_h``, than it is said to have been gone.
    StoreError
        Disk, permission or lock.
    """
    if not word.who.strip():
        raise MisuseError(
            Fault(
                "a clearing without a name",
                "nobody named",
                "others must be able to ask who looked",
                "say who cleared it: --who NAME",
            )
        )
    marks = _named(farm, names)
    done = marks[~marks["stands"]]
    notes = [f"{name} was cleared before" for name in done["hazard_id"]]
    left = marks[marks["stands"]]
    slack_h = farm.tables.number("looking.clock_slack_h")
    _refuse(cleared_too_early(_rows(left), word.time, slack_h=slack_h))
    for row in left.to_dict("records"):
        words = farm.tables[f"hazard_kinds.{row['kind']}"].words
        if words["touch"] == "no":
            notes.append(
                f"{row['hazard_id']} ({words['label']}) was for {words['call']}: "
                "clear it only on their word"
            )
    new = _append(farm, [_said(ev.CLEARED, row, word) for row in _rows(left)])
    return Written(new, tuple(left["hazard_id"]), tuple(notes))


def say(
    farm: Farm,
    verb: str,
    name: str,
    word: Word,
    *,
    place: Place | None = None,
    words: str | None = None,
    height_m: float | None = None,
) -> Written:
    """Say one more thing of a mark: seen again, not found, moved, hit, or a note.

    "not found" closes nothing: it only counts. "moved" needs the new place, and is told of when
    the mark leaves its field by it; nothing else takes a place. ``words`` gives the kind anew.

    Raises
    ------
    MisuseError
        No such mark, saying or kind; a move without a place, or far from every field; a place
        with any other word; a note without words.
    StoreError
        Disk, permission or lock.
    """
    anew = words is not None or height_m is not None
    _refuse(unsayable(verb, word.note, placed=place is not None, anew=anew))
    if place is not None:
        _placed_well(farm, place)
    row = _rows(_named(farm, [name]))[0]
    more: dict[str, Any] = {}
    if words is not None:
        more["kind"] = asked_kind(words, farm.tables)
    elif verb in (ev.NOT_FOUND, ev.NOTE):
        more["kind"] = ""
    if verb == ev.MOVED and place is not None:
        more |= {"lon": place.lon, "lat": place.lat, "wkt": "", "radius_m": place.radius_m}
    if height_m is not None:
        more["height_m"] = height_m
    new = _append(farm, [_said(verb, row, word, **more)])
    notes = _kind_notes(words, more, row, farm) + _move_notes(place, row, farm)
    if verb == ev.NOT_FOUND and row["stands"]:
        notes = (*notes, f"{row['hazard_id']} still stands: 'clear' it when it is known to be gone")
    if verb in ev.ASSERTIONS and not row["stands"]:
        notes = (*notes, f"{row['hazard_id']} had been cleared and stands again")
    return Written(new, (row["hazard_id"],), notes)


def _kind_notes(
    words: str | None, more: dict[str, Any], row: dict[str, Any], farm: Farm
) -> tuple[str, ...]:
    if words is None:
        return ()
    old, new = (farm.tables[f"hazard_kinds.{kind}"].words["level"] for kind in
                (row["kind"], more["kind"]))  # fmt: skip
    change = "" if old == new else f": from {old} to {new}"
    return (f"'{words}' taken as {more['kind']}{change}",)


def _move_notes(place: Place | None, row: dict[str, Any], farm: Farm) -> tuple[str, ...]:
    if place is None:
        return ()
    shapes = [row["geometry"], shapely.Point(place.lon, place.lat)]
    before, after = gpd.GeoSeries(shapes, crs=WGS84).to_crs(farm.crs)
    return moved_notes(row["hazard_id"], farm.fields, before, after)


def merge(farm: Farm, names: Sequence[str], word: Word, *, unlike_kinds: bool = False) -> Written:
    """Say that several marks are one thing; the one whose place is known best gives the place.

    Parameters
    ----------
    farm : Farm
    names : sequence of str
    word : Word
    unlike_kinds : bool
        Also marks of different kinds: the worse kind holds, and the note names the others.

    Raises
    ------
    MisuseError
        Fewer than two different marks, a name that is not in the log, marks that were cleared, or
        of different kinds: a mark has one kind, and the dangers of the others would be hidden.
    StoreError
        Disk, permission or lock.
    """
    marks = _named(farm, names)
    _refuse(unmergeable(marks, tables=farm.tables, unlike_kinds=unlike_kinds))
    best = marks.sort_values(["radius_m", "hazard_id"]).iloc[0]
    keys = [key for text in marks["members"] for key in ev.ids(text)]
    event = ev.told_event(
        ev.MERGED,
        best["key"],
        **ev.said_of(best) | {"kind": "", "name": ""},
        others=ev.joined(keys),
        seen=ev.joined(one for text in marks["events"] for one in ev.ids(text)),
        **_by(word) | {"note": " - ".join(filter(None, (told_as(marks, farm.tables), word.note)))},
    )
    return Written(
        _append(farm, [event]),
        tuple(marks["hazard_id"]),
        unlike(marks.to_crs(farm.crs), tables=farm.tables),
    )


def unmerge(farm: Farm, name: str, word: Word) -> Written:
    """Take a merged mark apart again; what was cleared meanwhile stays cleared.

    Raises
    ------
    MisuseError
        No such mark, or one that was not merged.
    StoreError
        Disk, permission or lock.
    """
    row = _rows(_named(farm, [name]))[0]
    known = farm.events[farm.events["event_id"].isin(ev.ids(row["events"]))]
    merges = known[known["verb"] == ev.MERGED]["event_id"]
    if merges.empty or " " not in row["members"]:
        raise MisuseError(
            Fault(
                "not a merged mark",
                name,
                "there is nothing to take apart",
                "see 'fieldmap hazards list'",
            )
        )
    event = ev.told_event(
        ev.UNMERGED,
        row["key"],
        **ev.said_of(row) | {"kind": "", "name": ""},
        seen=ev.joined(merges),
        **_by(word),
    )
    return Written(_append(farm, [event]), tuple(ev.ids(row["members"])), ())


def proposed_twins(farm: Farm) -> pd.DataFrame:
    """Marks that may be one thing told twice (see :func:`fieldmap.hazards.twins.twins`)."""
    return twins(farm.hazards, farm.events, tables=farm.tables)


def _said(verb: str, row: dict[str, Any], word: Word, **more: Any) -> pd.DataFrame:
    said = ev.said_of(row) | {"seen": row["events"]} | _by(word) | more
    return ev.told_event(verb, row["key"], **said)


def _by(word: Word) -> dict[str, str]:
    return {"who": word.who, "time": ev.iso(word.time), "note": word.note}


def _append(farm: Farm, events: list[pd.DataFrame]) -> int:
    if not events:
        return 0
    return append(_log(farm), pd.concat(events, ignore_index=True))


def _log(farm: Farm) -> Path:
    return farm.folder / farm.settings.files.hazards


def _rows(marks: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    return list(marks.to_dict("records"))


def _named(farm: Farm, names: Sequence[str]) -> gpd.GeoDataFrame:
    """The marks of these names, each once; every name that fits none, or several, is told.

    A mark that was merged into another goes by its old label too.
    """
    marks = book(farm)
    faults, rows = [], []
    for name in dict.fromkeys(names):
        fits = called(marks, farm.events, name)
        if len(fits) == 1:
            rows += fits
            continue
        near = ", ".join(marks["hazard_id"].iloc[fits[:_NEAR]])
        faults.append(
            Fault(
                "no such mark" if not near else "several marks of this name",
                name,
                "nothing was written",
                f"say which: {near}" if near else "see 'fieldmap hazards list'",
            )
        )
    _refuse(faults)
    return marks.iloc[list(dict.fromkeys(rows))]


def _placed_well(farm: Farm, place: Place) -> None:
    beyond_m = farm.tables.number("looking.far_m")
    _refuse(misplaced(place.lon, place.lat, farm.fields, beyond_m=beyond_m))


def _refuse(faults: Sequence[Fault]) -> None:
    if faults:
        raise MisuseError(faults)
