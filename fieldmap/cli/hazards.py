"""``fieldmap hazards``: import finds into the log, and list what stands in it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fieldmap.cli.options import Debug, Folder, Json, SwapXy
from fieldmap.cli.reply import Reply, columns
from fieldmap.errors import Fault, MisuseError

if TYPE_CHECKING:
    from fieldmap.tables import Tables

_PROPERTIES = (
    "hazard_id",
    "kind",
    "level",
    "time",
    "who",
    "action",
    "note",
    "radius_m",
    "height_m",
)

app = typer.Typer(help="The hazard log: import finds, list what stands in it.")


@app.command("import", short_help="Add finds from files to the log: all of them, or none.")
def import_(
    folder: Folder,
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILE...", help="GeoJSON, GeoPackage, Shapefile, CSV or GPX."),
    ],
    swap_xy: SwapXy = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Add finds to the log: all of the files, or none. The same file twice adds nothing."""
    del json, debug
    from fieldmap.farm import load_farm
    from fieldmap.intake import take_in

    farm = load_farm(folder, with_roads=False)
    taken = take_in(farm, files, swap_xy=swap_xy)
    return Reply(
        result={
            "files": [{"file": one.file, "read": one.read, "new": one.new} for one in taken.files],
            "log": str(taken.log),
        },
        lines=[f"{one.file}: {one.read} finds read, {one.new} new" for one in taken.files],
        warnings=taken.notes,
    )


@app.command("list")
def list_(
    folder: Folder,
    kind: Annotated[
        str | None, typer.Option("--kind", metavar="KIND", help="Only this kind.")
    ] = None,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """List the hazards that stand in the log now."""
    del json, debug
    from fieldmap.farm import load_farm
    from fieldmap.write.files import features
    from fieldmap.write.payload import hazards_shown

    farm = load_farm(folder, with_roads=False)
    shown = hazards_shown(farm)
    shown["found"], shown["time"] = shown["time"], farm.hazards["time"]
    if kind is not None:
        shown = shown[shown["kind"] == _known(kind, farm.tables)]
    rows = shown[["hazard_id", "kind", "level", "found", "who", "action", "note"]]
    held = features(shown, _PROPERTIES)
    return Reply(
        result={"hazards": held},
        lines=[
            *columns(
                rows.fillna("").to_numpy().tolist(),
                head=("id", "kind", "level", "found", "who", "do", "note"),
            ),
            "",
            f"{len(rows)} in the log. A clear log is not a clear field.",
        ],
        warnings=() if farm.log_read else ("there is no hazard log yet",),
    )


def _known(kind: str, tables: Tables) -> str:
    kinds = [row.key.split(".", 1)[1] for row in tables.rows("hazard_kinds")]
    if kind in kinds:
        return kind
    raise MisuseError(
        Fault(
            "no such kind of hazard",
            kind,
            "nothing can be listed",
            f"use one of {', '.join(kinds)}",
        )
    )
