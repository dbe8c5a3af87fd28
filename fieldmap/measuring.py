"""A farm's road checks: new ones held against its roads and machines, and what stands."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from fieldmap.errors import Fault, InputError, MisuseError, raise_all
from fieldmap.farm import FARM_FILE, Farm
from fieldmap.farm_files import on_the_road, road_checks_name
from fieldmap.read.road_checks import COLUMNS, Known, checked_row, said_rows
from fieldmap.read.road_kinds import KINDS, UNITS
from fieldmap.roads.known_places import RoadPlaces

__all__ = ["checks_in", "checks_path", "new_checks", "standing_checks", "unit_named"]

Said = Mapping[str, str]


def checks_path(farm: Farm) -> Path:
    """The farm's file of road checks, there or not."""
    return farm.folder / road_checks_name(farm.settings)


def checks_in(path: str | Path, *, machine: str = "") -> list[tuple[str, Said]]:
    """The rows of a file of road checks as they were written, each with its place in the file.

    Parameters
    ----------
    path : str or Path
    machine : str
        For a kind that holds for one machine, where the row names none.

    Raises
    ------
    InputError
        The file cannot be read, or its columns are not ours.
    """
    rows = said_rows(Path(path))
    return [(where, {**said, "machine": _machine(said, machine)}) for where, said in rows]


def _machine(said: Said, machine: str) -> str:
    named = said.get("machine", "").strip()
    kind = KINDS.get(said.get("kind", "").strip())
    return machine if kind is not None and kind.needs_machine and not named else named


def new_checks(
    farm: Farm, rows: Sequence[tuple[str, Said]], *, today: date
) -> tuple[list[dict[str, str]], int]:
    """Rows for the farm's file, and how many stand there already.

    Parameters
    ----------
    farm : Farm
        Loaded with its roads.
    rows : sequence of (where, texts by column)
    today : date
        A later day is a fault.

    Raises
    ------
    InputError
        Every row that cannot be used or whose place is not on the farm's roads, at once; or
        the farm has no roads.
    """
    if farm.roads is None:
        raise InputError(
            Fault(
                "the farm has no roads",
                "none",
                "a measure needs the road it was taken on",
                "name a file under [files] roads in farm.toml",
                where=str(farm.folder / FARM_FILE),
            )
        )
    known = Known(on_the_road(farm.machines), today)
    places = RoadPlaces(farm.roads)
    faults: list[Fault] = []
    held: list[dict[str, str]] = []
    there = set() if farm.road_checks is None else {*map(_key, _records(farm.road_checks))}
    for where, said in rows:
        row, wrong = checked_row(said, known)
        wrong += _astray(places, row, wrong)
        faults += [
            Fault(what, seen or "nothing", why, mend, where=where)
            for what, seen, why, mend in wrong
        ]
        if wrong:
            continue
        key = _key({**row, "when": pd.Timestamp(row["when"])})
        if key not in there:
            there.add(key)
            held.append(_texts(said, row))
    raise_all(faults)
    return held, len(rows) - len(held)


def unit_named(farm: Farm, said: Said) -> Said:
    """A row that is told by hand; a farm that works in feet has to name the unit of a figure.

    Raises
    ------
    MisuseError
        It does not.
    """
    kind = KINDS.get(said.get("kind", "").strip())
    if farm.settings.units == "us" and kind is not None and kind.unit and not said.get("unit"):
        raise MisuseError(
            Fault(
                "a figure without its unit",
                said.get("value", ""),
                "feet taken for metres would clear a road that is too narrow",
                f"say which it is: --unit {' or '.join(UNITS[kind.unit])}",
            )
        )
    return said


def _records(table: pd.DataFrame) -> list[dict[Any, Any]]:
    return list(table.to_dict("records"))


def _key(row: Mapping[Any, Any]) -> tuple[Any, ...]:
    names = ("place", "kind", "who", "when", "machine")
    return (*(row[name] for name in names), round(float(row["value"]), 9))


def _astray(
    places: RoadPlaces, row: Mapping[str, Any], wrong: Sequence[tuple[str, ...]]
) -> list[tuple[str, str, str, str]]:
    if any(what == "not a place" for what, *_ in wrong):
        return []
    found = places.astray(row["place"])
    why = "it would be laid on no road"
    return [] if found is None else [(found.what, row["place"], why, found.mend)]


def _texts(said: Said, row: Mapping[str, Any]) -> dict[str, str]:
    """The row as it is written: as it was said, the day written year first."""
    held = {name: said.get(name, "").strip() for name in COLUMNS}
    return held | {"when": row["when"].isoformat()}


@dataclasses.dataclass(frozen=True)
class Standing:
    """A road check that stands: its row, the road's name, and whether it counts.

    ``counts`` is ``newest``, ``older`` (a newer one of the same place and kind counts) or
    ``not on the roads``.
    """

    place: str
    road: str
    kind: str
    value: float
    unit: str
    who: str
    when: date
    machine: str
    counts: str


def standing_checks(farm: Farm) -> list[Standing]:
    """What stands in the farm's file, in its order."""
    if farm.road_checks is None:
        return []
    places = None if farm.roads is None else RoadPlaces(farm.roads)
    rows = farm.road_checks.sort_values(["when", "value"], ascending=[True, False], kind="stable")
    newest = rows.drop_duplicates(["place", "kind", "machine"], keep="last").index
    return [
        Standing(
            row["place"],
            "" if places is None else places.name_of(row["place"]),
            row["kind"],
            float(row["value"]),
            KINDS[row["kind"]].unit,
            row["who"],
            row["when"].date(),
            row["machine"],
            _counts(places, row["place"], newest=index in newest),
        )
        for index, row in zip(farm.road_checks.index, _records(farm.road_checks), strict=True)
    ]


def _counts(places: RoadPlaces | None, place: str, *, newest: bool) -> str:
    if places is None or places.astray(place) is not None:
        return "not on the roads"
    return "newest" if newest else "older"
