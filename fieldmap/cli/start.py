"""``fieldmap start``: a farm folder from files."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fieldmap.cli.options import Debug, Json
from fieldmap.cli.reply import Reply
from fieldmap.errors import Fault, MisuseError


def start(
    folder: Annotated[Path, typer.Argument(help="The folder to make.", show_default=False)],
    fields: Annotated[Path, typer.Option("--fields", help="Field boundaries.", show_default=False)],
    elevation: Annotated[
        Path | None, typer.Option("--elevation", help="Elevation, GeoTIFF.")
    ] = None,
    elevation_unit: Annotated[
        str | None, typer.Option("--elevation-unit", help="m, ft or us-ft.")
    ] = None,
    roads: Annotated[Path | None, typer.Option("--roads", help="OpenStreetMap extract.")] = None,
    gates: Annotated[Path | None, typer.Option("--gates", help="Gates as points.")] = None,
    machines: Annotated[Path | None, typer.Option("--machines", help="machines.toml.")] = None,
    flood: Annotated[
        Path | None, typer.Option("--flood", help="Flood outlines with dates.")
    ] = None,
    field_id: Annotated[
        str | None, typer.Option("--field-id", help="Column with the field's id.")
    ] = None,
    name: Annotated[
        str | None, typer.Option("--name", help="Name of the farm [default: FOLDER].")
    ] = None,
    units: Annotated[
        str, typer.Option("--units", help="us or metric: what people read.")
    ] = "metric",
    time_zone: Annotated[str, typer.Option("--time-zone", help="Such as America/Chicago.")] = "UTC",
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Make a farm folder: copies of your files and a farm.toml that names them."""
    del json, debug
    from fieldmap.write.folder import start_folder

    if units not in ("us", "metric"):
        raise MisuseError(
            Fault(
                "--units is neither us nor metric",
                units,
                "figures would be read wrongly",
                "say us or metric",
            )
        )
    given = {
        "fields": fields,
        "elevation": elevation,
        "roads": roads,
        "gates": gates,
        "machines": machines,
        "flood": flood,
    }
    words = {"elevation_unit": elevation_unit, "field_id": field_id}
    made, notes = start_folder(
        folder,
        {key: path for key, path in given.items() if path is not None},
        name=name or folder.resolve().name,
        units=units,
        time_zone=time_zone,
        settings={key: word for key, word in words.items() if word is not None},
    )
    return Reply(
        result={"farm": str(made), "notes": list(notes)},
        lines=[f"made {made}", f"next: fieldmap assess {folder}"],
        warnings=notes,
    )
