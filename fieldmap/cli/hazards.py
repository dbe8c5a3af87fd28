"""``fieldmap hazards``: the log: import finds, say what became of them, list what stands."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fieldmap.cli import hazards_export, hazards_say
from fieldmap.cli.options import Debug, Folder, Json, SwapXy
from fieldmap.cli.reply import Reply, columns

if TYPE_CHECKING:
    from datetime import datetime, tzinfo

    import geopandas as gpd

_PROPERTIES = (
    "hazard_id",
    "kind",
    "level",
    "field_ids",
    "time",
    "who",
    "action",
    "note",
    "radius_m",
    "height_m",
    "heading_deg",
    "last_seen",
    "hits",
    "not_found",
    "stands",
    "closed",
    "closed_by",
)

#: What a listing shows of a mark, and under which heading.
_SHOWN = {
    "hazard_id": "id",
    "kind": "kind",
    "level": "level",
    "field_ids": "fields",
    "lat": "north",
    "lon": "east",
    "time": "found",
    "who": "who",
    "action": "do",
    "since": "since then",
    "note": "note",
}

app = typer.Typer(help="The hazard log: finds, what became of them, what stands.")


@app.command("import", short_help="Add finds from files to the log: all of them, or none.")
def import_(
    folder: Folder,
    files: Annotated[
        list[Path],
        typer.Argument(
            metavar="FILE...",
            help="GPX, KML, KMZ, GeoJSON, GeoPackage, Shapefile, CSV, photos, or another log.",
        ),
    ],
    swap_xy: SwapXy = False,
    skip_unplaced: Annotated[
        bool,
        typer.Option("--skip-unplaced", help="Leave out photos without a place, and name them."),
    ] = False,
    look: Annotated[
        bool, typer.Option("--look", help="Only show how the files are understood; write nothing.")
    ] = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Add finds to the log: all of the files, or none. The same file twice adds nothing."""
    del json, debug
    from datetime import UTC, datetime

    from fieldmap.farm import load_farm
    from fieldmap.intake import take_in
    from fieldmap.write.files import features

    farm = load_farm(folder, with_roads=False)
    taken = take_in(
        farm,
        files,
        swap_xy=swap_xy,
        skip_unplaced=skip_unplaced,
        write=not look,
        now=datetime.now(UTC),
    )
    would = "would be new" if look else "new"
    lines = [f"{one.file}: {one.read} finds read, {one.new} {would}" for one in taken.files]
    return Reply(
        result={
            "files": [
                {"file": one.file, "read": one.read, "new": one.new, "edits": one.edits}
                for one in taken.files
            ],
            "left_out": list(taken.left_out),
            "log": str(taken.log),
            "written": not look,
            "finds": features(taken.finds, ("hazard_id", "kind", "note", "time")),
        },
        lines=[*lines, *(_understood(taken.finds) if look else ())],
        warnings=taken.notes,
    )


def _understood(finds: gpd.GeoDataFrame) -> list[str]:
    """Each find as it would be logged, for a person to read before it is."""
    middle = finds.geometry.representative_point()
    rows = [
        (name, kind, f"{place.y:.6f}", f"{place.x:.6f}", note)
        for name, kind, place, note in zip(
            finds["hazard_id"], finds["kind"], middle, finds["note"], strict=True
        )
    ]
    return ["", *columns(rows, head=("id", "kind", "north", "east", "note")), "nothing was written"]


@app.command("list")
def list_(
    folder: Folder,
    kind: Annotated[
        str | None, typer.Option("--kind", metavar="WORDS", help="Only this kind.")
    ] = None,
    field: Annotated[
        list[str] | None,
        typer.Option("--field", metavar="ID", help="Only what reaches this field; repeatable."),
    ] = None,
    cleared: Annotated[bool, typer.Option("--cleared", help="Cleared marks too.")] = False,
    on: Annotated[
        str | None,
        typer.Option("--on", metavar="YYYY-MM-DD", help="As the log stood that evening."),
    ] = None,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """List the hazards that stand in the log now, and the fields that each one reaches."""
    del json, debug
    from fieldmap.farm import load_farm
    from fieldmap.logbook import book_on, fields_reached
    from fieldmap.read.kinds import asked_kind
    from fieldmap.write.files import features
    from fieldmap.write.marks import hazards_shown

    farm = load_farm(folder, with_roads=False)
    marks = book_on(farm, _evening(on, farm.settings.zone()))
    marks = marks if cleared else marks[marks["stands"]]
    if kind is not None:
        marks = marks[marks["kind"] == asked_kind(kind, farm.tables)]
    marks = marks.assign(field_ids=fields_reached(farm, marks, only=field or ()))
    if field:
        marks = marks[[bool(set(held) & set(field)) for held in marks["field_ids"]]]
    shown = hazards_shown(marks, farm.tables, farm.settings.zone())
    rows = shown[list(_SHOWN)].assign(field_ids=shown["field_ids"].map(", ".join))
    rows["lat"], rows["lon"] = (shown[axis].map("{:.6f}".format) for axis in ("lat", "lon"))
    told = shown.assign(**{name: marks[name] for name in ("time", "last_seen", "closed")})
    count = int(shown["stands"].sum())
    return Reply(
        result={"hazards": features(told, _PROPERTIES)},
        lines=[
            *columns(rows.fillna("").to_numpy().tolist(), head=tuple(_SHOWN.values())),
            "",
            f"{count} in the log. A clear log is not a clear field.",
        ],
        warnings=() if farm.log_read else ("there is no hazard log yet",),
    )


def _evening(text: str | None, zone: tzinfo) -> datetime | None:
    if text is None:
        return None
    from datetime import datetime, time

    from fieldmap.cli.asked_day import asked_day

    return datetime.combine(asked_day(text, zone, option="--on"), time.max, zone)


for _name, _command, _help in (
    ("add", hazards_say.add, "Log one thing at a place."),
    ("say", hazards_say.say, "Say more of a mark: seen again, not found, moved, hit, a note."),
    ("clear", hazards_say.clear, "Say that marks are gone, and who says so."),
    ("twins", hazards_say.twins, "Marks that may be one thing told twice."),
    ("merge", hazards_say.merge, "Say that several marks are one thing."),
    ("unmerge", hazards_say.unmerge, "Take a merged mark apart again."),
    ("export", hazards_export.export, "What stands, as GPKG, GeoJSON, GPX, KML or CSV."),
):
    app.command(_name, short_help=_help)(_command)
