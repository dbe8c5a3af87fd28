"""How many things there are by what two people both found, as a finding."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from fieldmap.finding import Finding, Level
from fieldmap.hazards.observers import ASSUMED, double_observer
from fieldmap.risk.told import GROUND_CAUTION, Told
from fieldmap.tables import Tables


def two_people_findings(
    field_id: str,
    seen_by: Mapping[str, Collection[str]],
    *,
    found: int,
    area_ha: float,
    log_name: str,
    tables: Tables,
) -> list[Told]:
    """How many things there are by what two people both found; nothing where only one looked.

    Parameters
    ----------
    field_id : str
    seen_by : mapping
        Mark -> the people who each told of it.
    found : int
        Marks that count in the field, whoever told of them.
    area_ha : float
        The field's area.
    log_name : str
    tables : Tables
        ``density.care_left_per_ha``.
    """
    looks = double_observer(seen_by)
    if looks.counted is None:
        return []
    count, care = looks.counted, tables["density.care_left_per_ha"]
    least = float(max(found, count.found))
    value, limit = max(count.chapman, least), least + care.number() * area_ha
    level: Level = "care" if value >= limit else "ok"
    apart = "" if count.both else " With nothing in common such a count says little."
    finding = Finding(
        level=level,
        what="things in the field by two people's finds",
        where=field_id,
        why=f"{looks.why} {ASSUMED}{apart}",
        basis="assumed",
        sources=(log_name, care.source),
        value=value,
        low=max(count.low, least),
        high=max(count.high, least),
        limit=limit,
        unit="count",
        caution=GROUND_CAUTION,
    )
    change = "Look once more: two people found different things here" if level == "care" else ""
    return [Told(finding, change)]
