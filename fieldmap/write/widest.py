"""How wide a machine gets where, and which machine does: the page, the table and the JSON."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pandas as pd

from fieldmap import JSON_SCHEMA
from fieldmap.reaching import Cell, Reached, Reaching
from fieldmap.roads.deciding import Deciding
from fieldmap.roads.widest import Bound
from fieldmap.roads.wording import CAUTION
from fieldmap.write.names import page_name
from fieldmap.write.outputs import Outputs
from fieldmap.write.widest_page import widest_page

_DIGITS = 3  # a width to the millimetre, a length to the metre
_TURNING = (
    "CAUTION: how the train turns is not in these widths. Check the move of a machine before it is "
    "on the road."
)
_ALONE = (
    "CAUTION: the widths go by width and by who may use the road alone; height, mass and what else "
    "a machine asks for are not in them. Name a machine and they are."
)


def write_widest(
    found: Reaching, out: str | Path, *, day: str, overwrite: bool = False
) -> tuple[Path, ...]:
    """Write ``moves/widest-<start>.html``, ``.csv`` and ``.json`` into a folder.

    Parameters
    ----------
    found : Reaching
    out : str or Path
        The folder; made when it is not there.
    day : str
        ISO date it was asked on.
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
    stem = f"moves/{page_name(f'widest-{found.start.name}')}"
    held = widest_json(found, day=day)
    with Outputs(folder, group=stem, overwrite=overwrite) as files:
        files.text(f"{stem}.html", widest_page(held, found.farm.settings.units))
        files.text(f"{stem}.csv", widest_csv(found))
        files.json(f"{stem}.json", held)
    return tuple(folder / name for name in files.names)


def widest_json(found: Reaching, *, day: str) -> dict[str, Any]:
    """The answer as plain JSON types, SI."""
    settings = found.farm.settings
    alone = [] if found.machine else [_ALONE]
    return {
        "schema": JSON_SCHEMA,
        "farm": settings.name,
        "note": settings.note,
        "day": day,
        "from": found.start.name,
        "machine": None if found.machine is None else found.machine.id,
        "state": found.state,
        "places": [_place(one) for one in found.places],
        "cautions": [CAUTION["way"], _TURNING, *alone],
        "notes": list(found.notes),
    }


def _place(one: Reached) -> dict[str, Any]:
    nothing = Bound(math.nan, None, ())
    widths = one.widest
    return {
        "name": one.target.name,
        "lon": one.target.lon,
        "lat": one.target.lat,
        "far": one.far,
        "surely": _bound(nothing if widths is None else widths.surely),
        "possibly": _bound(nothing if widths is None else widths.possibly),
        "machines": [_cell(cell) for cell in one.cells],
    }


def _bound(bound: Bound) -> dict[str, Any]:
    return {
        "limited": _limited(bound),
        "width_m": _figure(bound.width_m),
        "length_km": None if bound.way is None else round(bound.way.length_m / 1000.0, _DIGITS),
        "decides": [_deciding(one) for one in bound.decides],
    }


def _limited(bound: Bound) -> str:
    """What sort of answer it is, in words."""
    if bound.way is None:
        return "no way"
    if bound.width_m == 0.0:
        return "no machine"
    return "by width" if math.isfinite(bound.width_m) else "by nothing known"


def _deciding(one: Deciding) -> dict[str, Any]:
    return {
        "place": one.place,
        "name": one.name,
        "check": one.check,
        "low_m": _figure(one.low_m),
        "high_m": _figure(one.high_m),
        "basis": one.basis,
        "why": one.why,
        "kind": one.kind,
        "measure": one.measure,
        "lon": one.lon,
        "lat": one.lat,
    }


def _cell(cell: Cell) -> dict[str, Any]:
    return {
        "machine": cell.machine,
        "name": cell.machine_name,
        "state": cell.state,
        "level": cell.level,
        "unknown_places": cell.places,
        "length_km": _figure(cell.length_km),
        "why": [one._asdict() for one in cell.why],
    }


def _figure(value: float) -> float | None:
    return round(float(value), _DIGITS) if math.isfinite(value) else None


def widest_csv(found: Reaching) -> str:
    """One row a place, machine and transport state; a place without machines has one row."""
    rows = [row for one in found.places for row in _rows(one)]
    return str(pd.DataFrame(rows).to_csv(index=False, lineterminator="\n"))


def _rows(one: Reached) -> list[dict[str, Any]]:
    held = _place(one)
    row = {"place": held["name"], "far": held["far"]}
    for side in ("surely", "possibly"):
        row[f"{side}_limited"] = held[side]["limited"]
        row[f"{side}_m"] = held[side]["width_m"]
        row[f"{side}_decides"] = " | ".join(each["place"] for each in held[side]["decides"])
    names = ("machine", "state", "level", "unknown_places", "length_km")
    cells = held["machines"] or [dict.fromkeys(names) | {"why": []}]
    return [
        row
        | {name: cell[name] for name in names}
        | {"why": " | ".join(f"{each['place']}: {each['check']}" for each in cell["why"])}
        for cell in cells
    ]
