"""``fieldmap hazards``: import finds into the log, and list what stands in it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fieldmap.cli.options import Debug, Folder, Json, SwapXy
from fieldmap.cli.reply import Reply, columns

app = typer.Typer(help="The hazard log.", no_args_is_help=True, rich_markup_mode=None)


@app.command("import")
def import_(
    folder: Folder,
    files: Annotated[
        list[Path], typer.Argument(help="GeoJSON, GeoPackage, Shapefile, CSV or GPX.")
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
    kind: Annotated[str | None, typer.Option("--kind", help="Only this kind.")] = None,
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
    if kind is not None:
        farm.tables[f"hazard_kinds.{kind}"]
        shown = shown[shown["kind"] == kind]
    names = ("hazard_id", "kind", "level", "time", "who", "action", "note")
    held = features(shown, (*names, "radius_m", "height_m"))
    rows = [tuple(str(one["properties"][name] or "") for name in names) for one in held["features"]]
    return Reply(
        result={"hazards": held},
        lines=[
            *columns(rows, head=("id", "kind", "level", "found", "who", "do", "note")),
            "",
            f"{len(rows)} in the log. A clear log is not a clear field.",
        ],
        warnings=() if farm.log_read else ("there is no hazard log yet",),
    )
