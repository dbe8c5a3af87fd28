"""``fieldmap start``: a farm folder from files."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Annotated

import typer

from fieldmap.cli.options import Debug, Json, SwapXy
from fieldmap.cli.reply import Reply
from fieldmap.errors import Fault, MisuseError


def start(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="The folder to make.", show_default=False)
    ],
    fields: Annotated[
        Path,
        typer.Option("--fields", metavar="FILE", help="Boundaries; FILE.gpkg:LAYER picks a layer."),
    ],
    elevation: Annotated[
        Path | None, typer.Option("--elevation", metavar="FILE", help="Elevation, GeoTIFF.")
    ] = None,
    elevation_unit: Annotated[
        str | None, typer.Option("--elevation-unit", metavar="UNIT", help="m, ft or us-ft.")
    ] = None,
    elevation_error_m: Annotated[
        float | None,
        typer.Option("--elevation-error-m", metavar="M", help="Standard error of a height."),
    ] = None,
    elevation_product: Annotated[
        str | None,
        typer.Option(
            "--elevation-product",
            metavar="WORD",
            help="Whose error is taken: see 'fieldmap values elevation_products'.",
        ),
    ] = None,
    roads: Annotated[
        Path | None, typer.Option("--roads", metavar="FILE", help="OpenStreetMap extract.")
    ] = None,
    road_checks: Annotated[
        Path | None, typer.Option("--road-checks", metavar="FILE", help="What was measured, CSV.")
    ] = None,
    gates: Annotated[
        Path | None, typer.Option("--gates", metavar="FILE", help="Gates as points.")
    ] = None,
    machines: Annotated[
        Path | None, typer.Option("--machines", metavar="FILE", help="machines.toml.")
    ] = None,
    flood: Annotated[
        Path | None, typer.Option("--flood", metavar="FILE", help="Flood outlines with dates.")
    ] = None,
    field_id: Annotated[
        str | None, typer.Option("--field-id", metavar="NAME", help="Column with the field's id.")
    ] = None,
    name: Annotated[
        str | None, typer.Option("--name", metavar="NAME", help="The farm [default: FOLDER].")
    ] = None,
    units: Annotated[
        str, typer.Option("--units", metavar="WORD", help="us or metric: what people read.")
    ] = "metric",
    time_zone: Annotated[
        str, typer.Option("--time-zone", metavar="NAME", help="Such as America/Chicago.")
    ] = "UTC",
    swap_xy: SwapXy = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Make a farm folder: copies of your files and a farm.toml that names them."""
    del json, debug
    from fieldmap.write.folder import start_folder

    _one_of("--units", units, ("us", "metric"))
    if elevation_unit is not None:
        _one_of("--elevation-unit", elevation_unit, ("m", "ft", "us-ft"))
    given = {
        "fields": fields,
        "elevation": elevation,
        "roads": roads,
        "road_checks": road_checks,
        "gates": gates,
        "machines": machines,
        "flood": flood,
    }
    words = {
        "elevation_unit": elevation_unit,
        "elevation_error_m": elevation_error_m,
        "elevation_product": elevation_product,
        "field_id": field_id,
        "swap_xy": swap_xy or None,
    }
    made, notes = start_folder(
        folder,
        {key: path for key, path in given.items() if path is not None},
        name=name or folder.resolve().name or "farm",
        units=units,
        time_zone=time_zone,
        settings={key: word for key, word in words.items() if word is not None},
    )
    if time_zone == "UTC":
        notes = (*notes, "days are counted in UTC; name your time_zone in farm.toml")
    return Reply(
        result={"farm": str(made), "notes": list(notes)},
        lines=[f"made {made}", f"next: fieldmap assess {shlex.quote(str(folder))}"],
        warnings=notes,
    )


def _one_of(option: str, word: str, words: tuple[str, ...]) -> None:
    if word not in words:
        raise MisuseError(
            Fault(
                f"{option} is not a word it takes",
                word,
                "figures would be read wrongly",
                f"say {' or '.join(words)}",
            )
        )
