"""A road move as files: page, cab sheet, GPX for the cab, JSON, CSV and a layer."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pandas as pd

from fieldmap import JSON_SCHEMA
from fieldmap.farm import Farm
from fieldmap.roads.answer import Move
from fieldmap.roads.checks import NODE_CHECKS
from fieldmap.roads.steps import steps
from fieldmap.write.files import features, plain
from fieldmap.write.geopackage import add_layer, keep_layers, stamp
from fieldmap.write.gpx import move_gpx
from fieldmap.write.move_gpx_parts import gpx_name, spots, way_of
from fieldmap.write.move_layer import LAYER, PACKAGE, legs_layer
from fieldmap.write.move_payload import (
    PLACE,
    bare,
    checked,
    corners_told,
    head,
    move_name,
    move_payload,
    move_stem,
    step_told,
    told_legs,
)
from fieldmap.write.move_sheet import move_sheet
from fieldmap.write.outputs import Outputs
from fieldmap.write.pages import move_page
from fieldmap.write.payload import cited

__all__ = ["legs_csv", "move_json", "move_name", "move_payload", "write_move"]


def write_move(
    move: Move,
    farm: Farm,
    out: str | Path,
    *,
    day: str,
    index_follows: bool = False,
    overwrite: bool = False,
) -> tuple[Path, ...]:
    """Write a move into a folder.

    ``moves/<name>.html`` is the page, ``moves/<name>-sheet.html`` the sheet for the cab,
    ``.gpx`` the way with its steps and the places to measure, ``.json`` and ``.csv`` every
    figure; ``farm.gpkg`` gets the legs in its layer ``legs``, beside those of other moves, and
    keeps its other layers.

    Parameters
    ----------
    move : Move
    farm : Farm
        Whose roads and words they are.
    out : str or Path
        The folder; made when it is not there.
    day : str
        ISO date the move was checked on.
    index_follows : bool
        The farm's own page is about to be written beside it: link to it already.
    overwrite : bool
        Also over files that fieldmap did not write.

    Returns
    -------
    tuple of Path
        The page first.

    Raises
    ------
    StoreError
        Disk or permission.
    InputError
        A file in the way is not ours.
    """
    folder = Path(out)
    name, stem = move_name(move), move_stem(move)
    with Outputs(folder, group=f"move {name}", overwrite=overwrite) as files:
        payload = move_payload(move, farm, day=day)
        if not index_follows and not (folder / "index.html").is_file():
            payload["links"]["index"] = ""
        files.text(f"{stem}.html", move_page(payload))
        files.text(f"{stem}-sheet.html", move_sheet(payload))
        files.text(f"{stem}.gpx", _gpx(move, payload))
        files.json(f"{stem}.json", move_json(move, farm, day=day))
        files.text(f"{stem}.csv", legs_csv(move))
        _add_legs(files, move, payload, day)
    return tuple(folder / path for path in files.names)


def _add_legs(files: Outputs, move: Move, payload: dict[str, Any], day: str) -> None:
    """The layer of legs, this move's new, those of other moves as they stand."""
    if not len(move.legs):
        return
    standing, package = files.standing(PACKAGE), files.path(PACKAGE)
    keep_layers(standing, package, but=(LAYER,))
    table = legs_layer(move, payload["steps"], standing)
    moment = stamp(dt.date.fromisoformat(day))
    add_layer(package, table, LAYER, moment=moment, kind="LineString")


def move_json(move: Move, farm: Farm, *, day: str) -> dict[str, Any]:
    """The move as plain JSON types."""
    driven = steps(move, farm.roads, tables=farm.tables)
    return {
        "schema": JSON_SCHEMA,
        "farm": farm.settings.name,
        "note": farm.settings.note,
        "day": day,
        "move": head(move),
        "steps": [step_told(one) for one in driven],
        "legs": features(told_legs(move.legs), (*PLACE, "checks")),
        "nodes": [checked(row, NODE_CHECKS) for row in move.nodes.to_dict("records")],
        "direct": features(told_legs(move.direct), (*PLACE, "checks")),
        "findings": [finding.as_dict() for finding in move.findings],
        "refusals": [finding.as_dict() for finding in move.refusals],
        "survey": [{key: plain(value) for key, value in row.items()} for row in move.survey],
        "states": dict(move.states),
        "corners": corners_told(move),
        "meeting": bare(move.meeting),
        "sun": bare(move.sun),
        "profile": bare(move.profile),
        "sources": cited(farm, (*move.findings, *move.refusals)),
    }


def legs_csv(move: Move) -> str:
    """``moves/<name>.csv``: one row a leg with every check's figures."""
    table = pd.DataFrame(move.legs.drop(columns="geometry"))
    table["under"] = [";".join(held) for held in table["under"]]
    table.insert(0, "n", range(1, len(table) + 1))
    return str(table.round(3).to_csv(index=False, lineterminator="\n"))


def _gpx(move: Move, payload: dict[str, Any]) -> str:
    return move_gpx(gpx_name(payload), move.reason, way_of(move), *spots(payload))
