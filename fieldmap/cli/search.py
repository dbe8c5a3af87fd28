"""``fieldmap search``: what has been looked at, what not, and lines to walk."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fieldmap.cli.options import Day, Debug, FieldIds, Folder, Json, Out, Overwrite, Strict, target
from fieldmap.cli.reply import Reply, columns, err

if TYPE_CHECKING:
    from fieldmap.search import FieldSearch
    from fieldmap.units import System

_MINUTES_AN_HOUR = 60.0
_LONG_MIN = 8 * _MINUTES_AN_HOUR
_HEAD = ("field", "looked at", "as wished", "to look at", "lines", "walk", "each", "from")


def search(
    folder: Folder,
    chance: Annotated[
        float | None,
        typer.Option("--chance", metavar="P", help="Chance wished, such as 0.9 [default: 0.9]."),
    ] = None,
    kind: Annotated[
        str | None,
        typer.Option(
            "--kind", metavar="WORDS", help="Look for this [default: the hardest a walker can see]."
        ),
    ] = None,
    field: FieldIds = None,
    walkers: Annotated[
        int, typer.Option("--walkers", metavar="N", help="How many people share each walk.")
    ] = 1,
    date: Day = None,
    out: Out = None,
    overwrite: Overwrite = False,
    strict: Strict = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Plan to look at the ground that nobody has looked at well enough, as lines to walk."""
    del json, debug, strict
    from fieldmap.cli.asked_day import asked_day
    from fieldmap.farm import load_farm
    from fieldmap.read.kinds import asked_kind
    from fieldmap.search import plan_search
    from fieldmap.write.search import search_json, write_search

    farm = load_farm(folder)
    err(f"laying lines over {len(field or farm.fields)} fields ...")
    plan = plan_search(
        farm,
        day=asked_day(date, farm.settings.zone()),
        chance=chance,
        kind=None if kind is None else asked_kind(kind, farm.tables),
        field_ids=field or (),
        walkers=walkers,
    )
    written = write_search(plan, out or target(folder, field or []), overwrite=overwrite)
    rows = [_row(one, farm.settings.units) for one in plan.fields]
    return Reply(
        result=search_json(plan) | {"files": [str(path) for path in written]},
        lines=[
            *columns(rows, head=_HEAD),
            "",
            *_long(plan.fields),
            "A walk finds what can be seen from it. What is buried or wrapped in the sward stays.",
            f"open {written[0]}",
        ],
        warnings=farm.notes,
        attention=any(one.level in ("stop", "unknown") for one in plan.fields),
    )


def _long(fields: tuple[FieldSearch, ...]) -> list[str]:
    """What helps against walks that take longer than a day."""
    if all(one.walk.minutes <= _LONG_MIN for one in fields):
        return []
    return [
        "Walks of more than a day: look for bigger things first (--kind), share the walk",
        "(--walkers), ask for a lower --chance, or look again when the sward is short (sward_m).",
    ]


def _row(one: FieldSearch, units: System) -> tuple[str, ...]:
    from fieldmap.units import shown

    facts = one.facts()
    spacing, walk_m = facts["spacing_m"], facts["walk_m"]
    return (
        one.field_id,
        f"{100 * one.looked_share:.0f}%",
        f"{100 * one.done_share:.0f}%",
        shown(facts["left_ha"], "ha", units),
        "" if spacing is None else f"{shown(spacing, 'm', units)} apart",
        "" if not walk_m else shown(walk_m / 1000.0, "km", units),
        "" if not walk_m else f"{facts['minutes'] / _MINUTES_AN_HOUR:.1f} h",
        f"gate {one.gate}" if one.gate else "",
    )
