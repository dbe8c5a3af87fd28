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
from fieldmap.hazards.store import append
from fieldmap.hazards.twins import twins, unlike
from fieldmap.read.finds import kind_of

#: Words a person may say of a mark that is in the log.
SAYINGS = (ev.SEEN_AGAIN, ev.NOT_FOUND, ev.MOVED, ev.HIT, ev.NOTE)
_NEAR = 5
_KEY_SHOWN = 8  # digits of a key that stand for it


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
    find = gpd.GeoDataFrame(
        {
            "hazard_id": [""],
            "kind": [kind],
            "note": [word.note if plain else " - ".join(filter(None, (words, word.note)))],
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
    notes = () if kind == words else (f"'{words}' taken as {kind}",)
    return Written(new, (event["hazard_id"].iloc[0][:8],), notes)


def clear(farm: Farm, names: Sequence[str], word: Word) -> Written:
    """Say that marks are gone: closes what this log knows of them, and nothing anybody else saw.

    Raises
    ------
    MisuseError
        A name that is not in the log, or nobody named as the one who cleared.
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

    "not found" closes nothing: it only counts. "moved" needs the new place. ``words`` gives the
    kind anew.

    Raises
    ------
    MisuseError
        No such mark or saying; a move without a place; a note without words.
    StoreError
        Disk, permission or lock.
    """
    _sayable(verb, place, word.note, anew=words is not None or height_m is not None)
    if place is not None:
        _placed_well(farm, place)
    row = _rows(_named(farm, [name]))[0]
    more: dict[str, Any] = {}
    if words is not None:
        more["kind"] = kind_of(words, farm.tables)
    elif verb in (ev.NOT_FOUND, ev.NOTE):
        more["kind"] = ""
    if verb == ev.MOVED and place is not None:
        more |= {"lon": place.lon, "lat": place.lat, "wkt": "", "radius_m": place.radius_m}
    if height_m is not None:
        more["height_m"] = height_m
    new = _append(farm, [_said(verb, row, word, **more)])
    notes = () if words is None else (f"'{words}' taken as {more['kind']}",)
    if verb == ev.NOT_FOUND and row["stands"]:
        notes = (*notes, f"{row['hazard_id']} still stands: 'clear' it when it is known to be gone")
    if verb in ev.ASSERTIONS and not row["stands"]:
        notes = (*notes, f"{row['hazard_id']} had been cleared and stands again")
    return Written(new, (row["hazard_id"],), notes)


def merge(farm: Farm, names: Sequence[str], word: Word) -> Written:
    """Say that several marks are one thing; the one whose place is known best gives the place.

    Raises
    ------
    MisuseError
        Fewer than two different marks, or a name that is not in the log.
    StoreError
        Disk, permission or lock.
    """
    marks = _named(farm, names)
    if len(marks) < 2:
        raise MisuseError(
            Fault(
                "merging takes two marks or more",
                ", ".join(names),
                "one thing is one mark already",
                "name two marks that stand near each other, see 'fieldmap hazards twins'",
            )
        )
    gone = marks[~marks["stands"]]
    if len(gone):
        raise MisuseError(
            Fault(
                "merging with what was cleared",
                ", ".join(gone["hazard_id"]),
                "a thing that is gone says nothing of where another one lies",
                "merge marks that stand",
            )
        )
    best = marks.sort_values(["radius_m", "hazard_id"]).iloc[0]
    keys = [key for text in marks["members"] for key in ev.ids(text)]
    event = ev.told_event(
        ev.MERGED,
        best["key"],
        **ev.said_of(best) | {"kind": "", "name": ""},
        others=ev.joined(keys),
        seen=ev.joined(one for text in marks["events"] for one in ev.ids(text)),
        **_by(word),
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
    """The marks of these names, each once; every name that fits none, or several, is told."""
    marks = book(farm)
    faults, rows = [], []
    for name in dict.fromkeys(names):
        fits = marks["hazard_id"] == name
        if not fits.any():
            whole = len(name) >= _KEY_SHOWN
            fits = (marks["name"] == name) | (marks["key"].str.startswith(name) & whole)
        if int(fits.sum()) == 1:
            rows.append(int(fits.idxmax()))
            continue
        near = ", ".join(marks.loc[fits, "hazard_id"].head(_NEAR))
        faults.append(
            Fault(
                "no such mark" if not near else "several marks of this name",
                name,
                "nothing was written",
                f"say which: {near}" if near else "see 'fieldmap hazards list'",
            )
        )
    if faults:
        raise MisuseError(faults)
    return marks.iloc[list(dict.fromkeys(rows))]


def _sayable(verb: str, place: Place | None, note: str, *, anew: bool) -> None:
    faults = []
    if verb not in SAYINGS:
        faults.append(
            Fault(
                "nothing that can be said of a mark",
                verb,
                "the log keeps to few words, so that everybody reads them alike",
                f"use one of {', '.join(SAYINGS)}",
            )
        )
    if verb == ev.MOVED and place is None:
        faults.append(
            Fault(
                "moved, but where to is not said",
                "no place",
                "the mark would be lost",
                "give --lon and --lat, or clear it and log it anew",
            )
        )
    if verb in (ev.NOT_FOUND, ev.NOTE) and anew:
        faults.append(
            Fault(
                f"'{verb}' with a kind or a height",
                verb,
                "what a thing is, is said by somebody who saw it",
                f"use '{ev.SEEN_AGAIN}' to give its kind or height",
            )
        )
    if verb == ev.NOTE and not note.strip():
        faults.append(Fault("a note without words", "empty", "it says nothing", "give --note TEXT"))
    if faults:
        raise MisuseError(faults)


def _placed_well(farm: Farm, place: Place) -> None:
    lon, lat, _ = place
    beyond_m = farm.tables.number("looking.far_m")
    if not (abs(lon) <= 180 and abs(lat) <= 90):
        raise MisuseError(
            Fault(
                "a position that is not on earth",
                f"lon {lon:g}, lat {lat:g}",
                "a find without a place cannot be mapped",
                "give degrees east as --lon and degrees north as --lat",
            )
        )
    point = gpd.GeoSeries([shapely.Point(lon, lat)], crs=WGS84).to_crs(farm.crs).iloc[0]
    far_m = shapely.distance(point, shapely.box(*farm.fields.total_bounds))
    if not far_m <= beyond_m:
        raise MisuseError(
            Fault(
                "a find far from every field",
                f"lon {lon:g}, lat {lat:g}",
                "it would be logged where nobody mows",
                "see whether --lon and --lat are swapped",
            )
        )
