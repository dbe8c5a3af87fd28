"""The turns of a move: drawn, told, and what of them to measure or try."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd

from fieldmap.finding import Finding
from fieldmap.roads.answer import Corner
from fieldmap.roads.corner_told import CAUTION, GateAt, corner_findings, corners_on
from fieldmap.roads.district import District, Held
from fieldmap.roads.search import Way
from fieldmap.roads.survey import bend_rows, turn_rows
from fieldmap.roads.tell import Record
from fieldmap.roads.turn_check import Widths
from fieldmap.roads.verdict import MEASURED, PASS
from fieldmap.tables import Tables

WHAT = "turn"
_TRIED = "It was driven on trial with this train."


def corners_of(
    district: District, held: Held, way: Way | None, gates: Sequence[GateAt], *, tables: Tables
) -> tuple[Corner, ...]:
    """Corners, sharp bends and farm gates of a way, in driving order; none without a way."""
    if way is None:
        return ()
    width = held.checked.legs["width"]
    found = corners_on(
        district.data,
        district.net,
        way,
        widths=Widths(width.low, width.high),
        trains=held.trains,
        tables=tables,
        trials=held.trials,
        gates=gates,
    )
    tried = _bends_tried(district, held, way)
    return tuple(
        replace(one, level="ok", why=_TRIED) if one.place in tried else one for one in found
    )


def _bends_tried(district: District, held: Held, way: Way) -> set[str]:
    """Legs into which a trial drive turned on this way: it went round their own bends too."""
    verdict = held.checked.turns
    if verdict is None:
        return set()
    driven = (verdict.basis[way.turns] == MEASURED) & (verdict.level[way.turns] == PASS)
    names = district.data.edges["leg_id"].to_numpy()[way.legs[1:] // 2]
    return {f"leg/{one}" for one in names[driven]}


def turn_findings(held: Held, corners: Sequence[Corner], *, tables: Tables) -> list[Finding]:
    """What is to be said of the turns: one finding where the machine's figures are missing."""
    if not held.trains.lacks or all(one.level == "ok" for one in corners):
        return corner_findings(corners, tables=tables)
    refused = [one for one in corners if one.level == "stop"]
    return [
        *corner_findings(refused, tables=tables),
        Finding(
            level="unknown",
            what=WHAT,
            where="the machine",
            why=f"{len(corners)} corners on the way. {lacking(held)}",
            basis="assumed",
            sources=tables.source_of("turning.straight_deg"),
            caution=CAUTION,
        ),
    ]


def turns_to_try(
    district: District,
    held: Held,
    way: Way | None,
    *,
    corners: Sequence[Corner],
    legs: gpd.GeoDataFrame,
) -> list[Record]:
    """The turns that the survey list asks for; none where the machine's own figures lack.

    A bend inside a leg is tried with the turn into the leg; that of the first leg by itself.
    """
    if held.trains.lacks or way is None:
        return []
    return [*bend_rows(corners, legs.iloc[:1]), *turn_rows(district.data, held.checked, way)]


def with_machine(
    survey: list[dict[str, Any]], held: Held, corners: Sequence[Corner]
) -> list[dict[str, Any]]:
    """The survey list with what of the machine itself is missing for a turn, asked for once."""
    asked = [str(item["measure"]) for item in survey if item["place"] == "machine"]
    missing = [one for one in held.trains.lacks if not any(said.startswith(one) for said in asked)]
    if not missing or all(one.level == "ok" for one in corners):
        return survey
    own = {
        "place": "machine",
        "where": "the machine",
        "kind": "",
        "measure": ", ".join(missing),
        "must_beat": None,
        "unit": "",
        "why": "Without it no turn can be reckoned.",
        "lon": None,
        "lat": None,
    }
    return [*survey[: len(asked)], own, *survey[len(asked) :]]


def lacking(held: Held) -> str:
    """What the machine file lacks for a turn, as a sentence."""
    return f"The machine file lacks for a turn: {', '.join(held.trains.lacks)}."
