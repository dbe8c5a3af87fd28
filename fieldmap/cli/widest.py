"""``fieldmap widest``: how wide a machine gets from here to there, and which machine does."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fieldmap.cli.options import Day, Debug, Folder, Json, Out, Overwrite, Strict
from fieldmap.cli.reply import Reply, columns

if TYPE_CHECKING:
    from fieldmap.reaching import Cell, Reached, Reaching
    from fieldmap.roads.widest import Bound
    from fieldmap.units import System

_TOLD = 2


def widest(
    folder: Folder,
    start: Annotated[
        str, typer.Option("--from", metavar="PLACE", help="Place, gate, field, or lat,lon.")
    ],
    goal: Annotated[
        list[str] | None,
        typer.Option(
            "--to", metavar="PLACE", help="The same; may be repeated. 'all': every field [default]."
        ),
    ] = None,
    machine: Annotated[
        str | None,
        typer.Option("--machine", metavar="ID", help="For a machine as high and heavy as this."),
    ] = None,
    state: Annotated[
        str | None, typer.Option("--state", metavar="NAME", help="Only this transport state.")
    ] = None,
    date: Day = None,
    out: Out = None,
    overwrite: Overwrite = False,
    strict: Strict = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Tell how wide a machine gets to each place, what decides, and which machine gets there."""
    del json, debug, strict
    from fieldmap.cli.asked_day import asked_day
    from fieldmap.farm import load_farm
    from fieldmap.reaching import who_reaches
    from fieldmap.write.widest import widest_json, write_widest

    farm = load_farm(folder)
    day = asked_day(date, farm.settings.zone()).isoformat()
    found = who_reaches(farm, start=start, goals=goal or (), machine_id=machine, state=state)
    written = write_widest(found, out or folder / "outputs", day=day, overwrite=overwrite)
    held = widest_json(found, day=day)
    cells = [cell for one in found.places for cell in one.cells]
    return Reply(
        result=held | {"files": [str(path) for path in written]},
        lines=[*_lines(found), "", *held["cautions"], f"open {written[0]}"],
        warnings=(*farm.notes, *found.notes),
        attention=any(cell.level in ("stop", "unknown") for cell in cells),
    )


def _lines(found: Reaching) -> list[str]:
    units = found.farm.settings.units
    wide = [_wide(one, units) for one in found.places]
    reached = [row for one in found.places for row in _reached(one, units)]
    heads = (
        ("from " + found.start.name, "surely up to", "decided by", "possibly up to", "decided by"),
        ("to", "machine", "answer", "way", "why"),
    )
    return [
        *columns(wide, head=heads[0]),
        *(["", *columns(reached, head=heads[1])] if reached else []),
    ]


def _wide(one: Reached, units: System) -> tuple[str, ...]:
    if one.widest is None:
        return one.target.name, "unknown", one.far, "unknown", ""
    sides = (one.widest.surely, one.widest.possibly)
    return one.target.name, *(word for side in sides for word in _side(side, units))


def _side(bound: Bound, units: System) -> tuple[str, str]:
    from fieldmap.units import shown

    if bound.way is None:
        return "no way", ""
    places = _some([f"{one.name} ({one.place})" for one in bound.decides])
    if bound.width_m == 0.0:
        return "no machine", places
    if bound.width_m == float("inf"):
        return "nothing known limits it", ""
    return shown(bound.width_m, "m", units), places


def _reached(one: Reached, units: System) -> list[tuple[str, ...]]:
    return [_cell(one, cell, units) for cell in one.cells]


def _cell(one: Reached, cell: Cell, units: System) -> tuple[str, ...]:
    from fieldmap.finding import LEVEL_WORDS
    from fieldmap.units import shown

    words = LEVEL_WORDS[cell.level]
    if cell.level == "unknown" and cell.places:
        words += f" ({cell.places} {'place' if cell.places == 1 else 'places'})"
    way = "none" if cell.length_km != cell.length_km else shown(cell.length_km, "km", units)
    why = _some([f"{each.name} ({each.place}): {each.check}" for each in cell.why])
    return one.target.name, f"{cell.machine}, {cell.state}", words, way, why or one.far


def _some(words: list[str]) -> str:
    more = f" and {len(words) - _TOLD} more" if len(words) > _TOLD else ""
    return "; ".join(words[:_TOLD]) + more
