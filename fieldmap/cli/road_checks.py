"""``fieldmap road-checks``: writes down what was measured on the road, and lists what stands."""

from __future__ import annotations

import dataclasses
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fieldmap.cli.options import Debug, Folder, Json
from fieldmap.cli.reply import Reply, columns
from fieldmap.errors import Fault, MisuseError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fieldmap.farm import Farm
    from fieldmap.measuring import Standing


class Doing(StrEnum):
    """What is to be done with road checks."""

    list = "list"
    add = "add"
    import_ = "import"


Place = Annotated[
    str | None,
    typer.Option(
        "--place", metavar="PLACE", help="To add: way/12, node/12, leg/12-0, turn/.../..."
    ),
]
Kind = Annotated[
    str | None,
    typer.Option("--kind", metavar="KIND", help="To add: width, height, mass, access ..."),
]
Value = Annotated[
    str | None, typer.Option("--value", metavar="N", help="To add: the figure, or yes or no.")
]
Unit = Annotated[str, typer.Option("--unit", metavar="UNIT", help="m, ft, in; kg, t, lb, st.")]
Machine = Annotated[
    str,
    typer.Option("--machine", metavar="ID", help="It holds for this machine (or ID/STATE) only."),
]


def road_checks(
    folder: Folder,
    doing: Annotated[Doing, typer.Argument(metavar="list|add|import")] = Doing.list,
    file: Annotated[
        Path | None,
        typer.Argument(metavar="FILE", help="To import: a CSV file.", show_default=False),
    ] = None,
    place: Place = None,
    kind: Kind = None,
    value: Value = None,
    unit: Unit = "",
    who: Annotated[str, typer.Option("--who", metavar="NAME", help="Who measured it.")] = "",
    date: Annotated[
        str | None,
        typer.Option("--date", metavar="YYYY-MM-DD", help="When it was [default: today]."),
    ] = None,
    machine: Machine = "",
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="In your own words.")] = "",
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Write down what was measured or answered on the road; list what stands.

    All rows are written or none. What stands in the file stays.
    """
    del json, debug
    from fieldmap.farm import load_farm

    figures = {"place": place, "kind": kind, "value": value}
    said = {"unit": unit, "who": who, "note": note}
    _fits(doing, file, {**figures, **said, "date": date, "machine": machine})
    farm = load_farm(folder)
    if doing is Doing.list:
        return _reply(farm, [], (), farm.notes)
    cells = {name: text or "" for name, text in (figures | said).items()}
    return _taken(farm, file, cells | {"machine": machine}, date)


def _fits(doing: Doing, file: Path | None, options: Mapping[str, str | None]) -> None:
    """Refuse words that do not go together; nothing is passed over in silence."""
    given = [f"--{name}" for name, text in options.items() if text]
    wanted = {Doing.list: [], Doing.import_: ["--machine"], Doing.add: given}[doing]
    odd = [name for name in given if name not in wanted]
    lacking = [f"--{name}" for name in ("place", "kind", "value", "who") if not options[name]]
    if odd or (file is not None and doing is not Doing.import_):
        _refuse(f"{doing.value} takes no {', '.join(odd) or file}", "would be passed over", doing)
    if doing is Doing.import_ and file is None:
        _refuse("no file named", "there is nothing to import", doing)
    if doing is Doing.add and lacking:
        _refuse(f"{', '.join(lacking)} missing", "a figure needs its place and its name", doing)


def _refuse(what: str, why: str, doing: Doing) -> None:
    ways = {
        Doing.list: "fieldmap road-checks FOLDER list",
        Doing.add: "fieldmap road-checks FOLDER add --place way/12 --kind width --value 4.2 "
        "--unit m --who NAME",
        Doing.import_: "fieldmap road-checks FOLDER import FILE.csv",
    }
    raise MisuseError(Fault("the command's words are off", what, why, f"say: {ways[doing]}"))


def _taken(farm: Farm, file: Path | None, cells: dict[str, str], date: str | None) -> Reply:
    from fieldmap.cli.asked_day import asked_day
    from fieldmap.measuring import checks_in, new_checks, unit_named

    zone = farm.settings.zone()
    if file is None:
        day = asked_day(date, zone).isoformat()
        rows = [("", unit_named(farm, cells | {"when": day}))]
    else:
        rows = checks_in(file, machine=cells["machine"])
    new, there = new_checks(farm, rows, today=asked_day(None, zone))
    after, notes = _written(farm, new)
    stood = [f"{there} of {len(rows)} stood there already"] if there else []
    return _reply(after, new, stood, (*farm.notes, *notes))


def _written(farm: Farm, rows: list[dict[str, str]]) -> tuple[Farm, list[str]]:
    """The farm with the rows written and read again, and what to tell of that."""
    from fieldmap.measuring import checks_path
    from fieldmap.read.road_checks import read_road_checks
    from fieldmap.roads.measured import lay
    from fieldmap.write.road_checks import append_to_road_checks

    if not rows or farm.roads is None:
        return farm, []
    path = checks_path(farm)
    new = not path.exists()
    append_to_road_checks(path, rows)
    table = read_road_checks(path)
    notes = [*lay(table, farm.roads).lost]
    if new and farm.settings.files.road_checks is None:
        line = f'{path.name} was made; put road_checks = "{path.name}" under [files] in farm.toml'
        notes.append(f"{line} (it is read beside farm.toml without the line too)")
    return dataclasses.replace(farm, road_checks=table), notes


def _reply(
    farm: Farm, new: list[dict[str, str]], stood: list[str] | tuple[()], notes: tuple[str, ...]
) -> Reply:
    from fieldmap.measuring import checks_path, standing_checks

    standing = standing_checks(farm)
    shown = [one for one in standing if one.counts != "older"] if new else standing
    written = [f"written: {' '.join(filter(None, row.values()))}" for row in new]
    name = None if farm.road_checks is None else checks_path(farm).name
    table = columns(
        [_row(one, farm) for one in shown],
        head=("place", "road", "what", "figure", "who", "when", "counts"),
    )
    return Reply(
        result={
            "file": name,
            "written": [{key: row.get(key, "") for key in _WRITTEN} for row in new],
            "road_checks": [_json(one) for one in standing],
        },
        lines=[*written, *stood, *(table if standing else ["nobody measured anything yet"])],
        warnings=notes,
    )


_WRITTEN = ("place", "kind", "value", "unit", "who", "when", "machine", "note")


def _row(one: Standing, farm: Farm) -> tuple[str, ...]:
    from fieldmap.units import shown

    figure = shown(one.value, one.unit, farm.settings.units) if one.unit else _word(one.value)
    what = f"{one.kind} ({one.machine})" if one.machine else one.kind
    return one.place, one.road, what, figure, one.who, one.when.isoformat(), one.counts


def _word(value: float) -> str:
    return "yes" if value > 0 else "no"


def _json(one: Standing) -> dict[str, Any]:
    return dataclasses.asdict(one) | {"when": one.when.isoformat()}
