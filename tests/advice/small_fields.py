"""Fields and machines that the advice tests share."""

from __future__ import annotations

from typing import Any

from fieldmap.advice.conditions import Conditions, conditions
from fieldmap.finding import Finding
from fieldmap.machine import Machine
from fieldmap.risk.told import Told
from fieldmap.tables import Tables, load_tables

TABLES = load_tables()


def field(
    *,
    kinds: tuple[str, ...] | None = (),
    flooded: bool = False,
    tables: Tables = TABLES,
    **row: Any,
) -> Conditions:
    """A clean, standing field of alfalfa, but for what is said."""
    held = {"crop": "alfalfa", "cutting": 2.0, "stoniness": 0.0, "lodged": False}
    held |= {"drought": False, **row}
    return conditions({"field_id": "F", **held}, kinds=kinds, flooded=flooded, tables=tables)


def mower(**given: Any) -> Machine:
    """A mower with three shoes, both knives and rubber rolls, but for what is said."""
    known = {
        "id": "m",
        "name": "the mower",
        "kind": "pull-type",
        "skid_shoes": shoes(0.045, 0.075, 0.115),
        "knives": ["low_lift", "high_lift"],
        "conditioner": "rubber_rolls",
    }
    return Machine.model_validate({**known, **given})


def shoes(*heights_m: float) -> list[dict[str, Any]]:
    return [{"name": f"shoe {height_m:.3f}", "cut_height_m": height_m} for height_m in heights_m]


def told(held: list[Told], what: str) -> Finding:
    """The one finding about something."""
    (found,) = (one.finding for one in held if one.finding.what == what)
    return found
