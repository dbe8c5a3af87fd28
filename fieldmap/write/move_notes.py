"""What the form of a move's page offers: places on the way, kinds of road checks, units."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldmap.read.road_kinds import KINDS, UNITS, sort_of
from fieldmap.units import System

Payload = Mapping[str, Any]

#: The columns of the file that the form saves, as ``fieldmap road-checks FOLDER import`` reads it.
COLUMNS = ("place", "kind", "value", "unit", "who", "when", "machine")
_FIRST = {"us": ("ft", "lb"), "metric": ("m", "t")}


def notes_view(payload: Payload, survey: list[dict[str, Any]]) -> dict[str, Any]:
    """Choices of the form; no places where there is no way and nothing to measure.

    Parameters
    ----------
    payload : mapping
        A move's: ``survey``, ``legs``, ``units``, ``move``, ``machine_key``.
    survey : list of dict
        Its survey list as the page shows it.
    """
    asked = [
        {
            "place": row["where"],
            "kind": row.get("kind", ""),
            "words": f"{view['n']} {view['title']}: {view['measure']}",
            "beat": f"{view['wanted'][0].upper()}{view['wanted'][1:]}.",
        }
        for row, view in zip(payload["survey"], survey, strict=True)
        if sort_of(row["where"])
    ]
    return {
        "asked": asked,
        "ways": _ways(payload),
        "kinds": [_kind(key, payload["units"]) for key in KINDS],
        "columns": ",".join(COLUMNS),
        "machine": payload.get("machine_key", ""),
        "file": f"road-checks-{payload['made']['date']}.csv",
    }


def _ways(payload: Payload) -> list[dict[str, str]]:
    """The ways of the way, each once, in driving order."""
    props = [feature["properties"] for feature in payload["legs"]["features"]]
    names = {f"way/{one['way_id']}": one["name"] or "road without a name" for one in props}
    return [{"place": place, "words": f"{name} ({place})"} for place, name in names.items()]


def _kind(key: str, units: System) -> dict[str, Any]:
    kind = KINDS[key]
    held = list(UNITS.get(kind.unit, ()))
    first = next((one for one in _FIRST[units] if one in held), "")
    return {
        "key": key,
        "words": kind.words,
        "units": " ".join(sorted(held, key=lambda one: one != first)),
        "machine": kind.needs_machine,
        "at": " ".join(kind.at),
    }
