"""``fieldmap slopes``: slope and side-slope use of many fields, straight from the elevation."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fieldmap.cli.options import Debug, FieldIds, Folder, Json, MachineId, Out, Overwrite, target
from fieldmap.cli.reply import Reply, columns, err

if TYPE_CHECKING:
    from fieldmap.survey import Survey

_SHOWN = 40


def slopes(
    folder: Folder,
    field: FieldIds = None,
    machine: MachineId = None,
    rasters: Annotated[
        bool, typer.Option("--rasters", help="Slope and aspect of the whole elevation, as GeoTIFF.")
    ] = False,
    out: Out = None,
    overwrite: Overwrite = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Slope and side-slope use by field, as a table and a plot; quick for thousands of fields."""
    del json, debug
    from fieldmap.cli.asked_day import asked_day
    from fieldmap.farm import load_farm
    from fieldmap.survey import survey_slopes
    from fieldmap.write.survey import survey_json, write_survey

    farm = load_farm(folder, with_roads=False)
    err(f"measuring {len(field or farm.fields)} fields ...")
    found = survey_slopes(farm, machine=farm.machine(machine), field_ids=field or ())
    where = out or target(folder, field or [])
    day = asked_day(None, farm.settings.zone())
    written = write_survey(found, where, day=day, overwrite=overwrite)
    if rasters:
        err("writing slope and aspect of the whole elevation ...")
        written = (*written, *_rasters(found, where, overwrite=overwrite))
    return Reply(
        result=survey_json(found) | {"files": [str(path) for path in written]},
        lines=[
            *_rows(found),
            "",
            "The side slope is that of driving straight across the fall.",
            "A slope worked out from a map is never leave to drive there.",
            f"open {written[0]}",
        ],
        warnings=farm.notes,
    )


def _rasters(found: Survey, where: Path, *, overwrite: bool) -> tuple[Path, ...]:
    from fieldmap.write.slope_rasters import write_slope_rasters

    with_heights = found.farm.open_elevation()
    if with_heights is None:
        return ()
    with with_heights as elevation:
        return write_slope_rasters(elevation, where, crs=found.farm.crs, overwrite=overwrite)


def _rows(found: Survey) -> list[str]:
    from fieldmap.units import shown

    units = found.farm.settings.units
    table = found.table.sort_values("slope_max_pct", ascending=False, na_position="first")
    rows = [
        (
            str(row["field_id"]),
            shown(row["area_ha"], "ha", units),
            *(shown(row[f"slope_{what}_pct"], "%", units) for what in ("mean", "p95", "max")),
            f"{100 * row['slope_known_share']:.0f}%",
        )
        for row in table.head(_SHOWN).to_dict("records")
    ]
    more = [] if len(table) <= _SHOWN else [f"and {len(table) - _SHOWN} more in slopes.csv"]
    head = ("field", "area", "mean", "19 in 20 under", "steepest", "known")
    return [*columns(rows, head=head), *more]
