"""``fieldmap values``: the trade constants with their sources."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Any

import typer

from fieldmap.cli.options import Debug, Json
from fieldmap.cli.reply import Reply, columns
from fieldmap.errors import Fault, MisuseError


def values(
    key: Annotated[
        str | None,
        typer.Argument(
            metavar="KEY", help="A table, a row, or a part of either.", show_default=False
        ),
    ] = None,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Show the trade figures, and where each comes from."""
    del json, debug
    from fieldmap.tables import load_tables

    tables = load_tables()
    rows = [row for row in tables.constants.values() if key is None or key in row.key]
    if not rows:
        raise MisuseError(
            Fault(
                "no table or row has this in its name",
                str(key),
                "there is nothing to show",
                f"use one of {', '.join(dict.fromkeys(k.split('.')[0] for k in tables.constants))}",
            )
        )
    shown: list[dict[str, Any]] = [
        asdict(row) | {"words": dict(row.words), "source": asdict(tables.sources[row.source])}
        for row in rows
    ]
    table = [
        (row.key, _figures(row.value, row.low, row.high), row.unit, row.source, row.place)
        for row in rows
    ]
    used = {row.source: tables.sources[row.source] for row in rows}
    notes = [
        f"{name}: {one.title}. {one.publisher} {one.year} {one.url}".rstrip()
        for name, one in sorted(used.items())
    ]
    return Reply(
        result={"values": shown},
        lines=[*columns(table, head=("key", "value", "unit", "source", "place")), "", *notes],
    )


def _figures(value: float | None, low: float | None, high: float | None) -> str:
    if value is None:
        return ""
    spread = f" ({_bound(low)} to {_bound(high)})" if low is not None or high is not None else ""
    return f"{value:g}{spread}"


def _bound(figure: float | None) -> str:
    return "?" if figure is None else f"{figure:g}"
