"""``fieldmap hazards add, say, clear, twins, merge, unmerge``: writing in the log."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from fieldmap.cli.options import Debug, Folder, Json
from fieldmap.cli.reply import Reply, columns
from fieldmap.errors import Fault, MisuseError

if TYPE_CHECKING:
    from fieldmap.farm import Farm
    from fieldmap.logbook import Place, Word, Written

_FIRST_YEAR, _LAST_YEAR = 1970, 2100  # others are slips of the finger

Names = Annotated[list[str], typer.Argument(metavar="ID...", help="As 'hazards list' shows them.")]
Name = Annotated[str, typer.Argument(metavar="ID", help="As 'hazards list' shows it.")]
Who = Annotated[str, typer.Option("--who", metavar="NAME", help="Who says so.")]
When = Annotated[
    str | None,
    typer.Option("--time", metavar="TIME", help="2026-06-01T09:30, the farm's [default: now]."),
]
Note = Annotated[str, typer.Option("--note", metavar="TEXT", help="In your own words.")]
Kind = Annotated[str | None, typer.Option("--kind", metavar="WORDS", help="What it is after all.")]


def _east(text: str) -> float:
    return _degrees(text, "lon")


def _north(text: str) -> float:
    return _degrees(text, "lat")


def _degrees(text: str, axis: str) -> float:
    """Degrees as people write them: a point or a comma, minutes and seconds, compass letters."""
    from fieldmap.read.positions import PositionError, degrees

    try:
        return degrees(text, axis)
    except PositionError as error:
        raise typer.BadParameter(f"{text}: {error.what}; {error.mend}") from None


Lon = Annotated[
    float | None,
    typer.Option("--lon", parser=_east, metavar="DEG", help="Degrees east (west is negative)."),
]
Lat = Annotated[
    float | None,
    typer.Option("--lat", parser=_north, metavar="DEG", help="Degrees north (south is negative)."),
]
Radius = Annotated[
    float | None, typer.Option("--radius-m", min=0, max=1000, help="95 % radius of the place, m.")
]
UnlikeKinds = Annotated[
    bool,
    typer.Option(
        "--unlike-kinds", help="Also marks of different kinds: the worse one holds, both are noted."
    ),
]
Height = Annotated[
    float | None, typer.Option("--height-m", min=0, max=60, help="Height over the ground, m.")
]


def add(
    folder: Folder,
    words: Annotated[str, typer.Argument(metavar="WHAT", help="In your own words.")],
    lon: Lon = None,
    lat: Lat = None,
    who: Who = "",
    time: When = None,
    note: Note = "",
    radius_m: Radius = None,
    height_m: Height = None,
    hit: Annotated[bool, typer.Option("--hit", help="It was hit by a machine.")] = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Log one thing at a place."""
    del json, debug
    from fieldmap.logbook import add as write

    farm = _farm(folder)
    place = _place(lon, lat, radius_m)
    if place is None:
        raise _no_place("a find without a place cannot be mapped")
    word = _word(farm, who, time, note)
    return _reply(farm, write(farm, words, place, word, height_m=height_m, hit=hit), "logged")


def say(
    folder: Folder,
    verb: Annotated[
        str, typer.Argument(metavar="WORD", help="seen-again, not-found, moved, hit or note.")
    ],
    name: Name,
    who: Who = "",
    time: When = None,
    note: Note = "",
    kind: Kind = None,
    lon: Lon = None,
    lat: Lat = None,
    radius_m: Radius = None,
    height_m: Height = None,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Say more of a mark. 'not-found' closes nothing: it counts; 'clear' closes."""
    del json, debug
    from fieldmap.logbook import say as write

    farm = _farm(folder)
    said = verb.strip().lower().replace("-", " ").replace("_", " ")
    word = _word(farm, who, time, note)
    place = _place(lon, lat, radius_m)
    done = write(farm, said, name, word, place=place, words=kind, height_m=height_m)
    return _reply(farm, done, said)


def clear(
    folder: Folder,
    names: Names,
    who: Who = "",
    time: When = None,
    note: Note = "",
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Say that marks are gone. Closes what this log knows of them, not what others saw since."""
    del json, debug
    from fieldmap.logbook import clear as write

    farm = _farm(folder)
    return _reply(farm, write(farm, names, _word(farm, who, time, note)), "cleared")


def merge(
    folder: Folder,
    names: Names,
    who: Who = "",
    time: When = None,
    unlike_kinds: UnlikeKinds = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Say that several marks are one thing; 'unmerge' takes it back."""
    del json, debug
    from fieldmap.logbook import merge as write

    farm = _farm(folder)
    done = write(farm, names, _word(farm, who, time, ""), unlike_kinds=unlike_kinds)
    return _reply(farm, done, "merged")


def unmerge(
    folder: Folder,
    name: Name,
    who: Who = "",
    time: When = None,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Take a merged mark apart again; what was cleared meanwhile stays cleared."""
    del json, debug
    from fieldmap.logbook import unmerge as write

    farm = _farm(folder)
    return _reply(farm, write(farm, name, _word(farm, who, time, "")), "taken apart")


def twins(folder: Folder, json: Json = False, debug: Debug = False) -> Reply:
    """Propose marks that may be one thing told twice; nothing is merged by itself."""
    del json, debug
    from fieldmap.logbook import proposed_twins
    from fieldmap.units import shown

    farm = _farm(folder)
    pairs = proposed_twins(farm)
    rows = [
        (
            one["one"],
            one["other"],
            one["kind"],
            shown(one["distance_m"], "m", farm.settings.units),
            "one person told both" if one["same_teller"] else "",
        )
        for one in pairs.to_dict("records")
    ]
    return Reply(
        result={"twins": pairs.to_dict("records")},
        lines=[
            *columns(rows, head=("one", "other", "kind", "apart", "but")),
            "",
            f"{len(rows)} pairs nearer than their places are known.",
            "'fieldmap hazards merge' makes one of two.",
        ],
        warnings=() if farm.log_read else ("there is no hazard log yet",),
    )


def _farm(folder: object) -> Farm:
    from fieldmap.farm import load_farm

    return load_farm(str(folder), with_roads=False)


def _place(lon: float | None, lat: float | None, radius_m: float | None) -> Place | None:
    from fieldmap.logbook import Place

    if lon is None and lat is None:
        if radius_m is not None:
            raise _no_place("--radius-m says how well a place is known")
        return None
    if lon is None or lat is None:
        raise _no_place("half a position is none")
    return Place(lon, lat, radius_m)


def _no_place(why: str) -> MisuseError:
    return MisuseError(
        Fault("no place", "--lon or --lat is not given", why, "give both, in degrees")
    )


def _word(farm: Farm, who: str, time: str | None, note: str) -> Word:
    from fieldmap.logbook import Word

    now = _now()
    if time is None:
        return Word(who.strip(), now, note)
    moment = _moment(farm, time)
    if moment > now + timedelta(hours=farm.tables.number("looking.clock_slack_h")):
        raise MisuseError(
            Fault(
                "a time that has not come yet",
                time,
                "what will be seen is not known",
                "give the day on which it was seen or done",
            )
        )
    return Word(who.strip(), moment, note)


def _now() -> datetime:
    return datetime.now(UTC)


def _moment(farm: Farm, time: str) -> datetime:
    """The moment that somebody wrote, by the farm's clock where it names no zone."""
    from fieldmap.read.cells import CellError, moment
    from fieldmap.read.gpx import aware

    mend = "write it as 2026-06-01T09:30"
    try:
        read = moment(time)
        known = None if read is None else aware(read, farm.settings.zone())
    except CellError as error:
        known, mend = None, f"{error.what}: {error.mend}; or {mend}"
    except ValueError:
        known = None
    if known is None or not _FIRST_YEAR <= known.year <= _LAST_YEAR:
        raise MisuseError(
            Fault("a time that cannot be read", time, "the order of things would be lost", mend)
        )
    return known


def _reply(farm: Farm, done: Written, said: str) -> Reply:
    log = farm.settings.files.hazards
    return Reply(
        result={"log": log, "new": done.new, "marks": list(done.marks)},
        lines=[f"{name}: {said}" for name in done.marks] or ["nothing to write"],
        warnings=done.notes,
    )
