"""One answer a field: cells, zones, findings and settings, for a machine on a day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from fieldmap.errors import Fault, MisuseError
from fieldmap.farm import Farm
from fieldmap.field_answer import Asked, FieldAnswer, answer_fields, asked_of
from fieldmap.finding import rank
from fieldmap.machine import Machine
from fieldmap.risk.lie import Lie
from fieldmap.risk.marks import flood_share
from fieldmap.tables import Tables

FIELDS_A_CHUNK = 64


@dataclass(frozen=True, eq=False)
class Assessment:
    """The answers of a run, with the farm, the machine and the day they hold for."""

    farm: Farm
    machine: Machine | None
    day: date
    answers: tuple[FieldAnswer, ...]

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a field: the columns of ``fields.csv``.

        ``field_id, name, crop, area_ha, level, reason, slope_known_share, slope_p95_pct,
        slope_max_pct, slope_error_pct, heading_deg, runs, turns, mowing_min,
        side_slope_max_pct, side_slope_use_max, sight_ahead_min_m, speed_limit_kmh, hollows,
        drop_offs, wet_share, unknown_share, looked_share, flooded_share, marks, cut_height_m,
        skid_shoe, knife, conditioner``; unknown is empty.
        """
        fields = self.farm.fields.set_index("field_id")
        tables = self.farm.tables
        rows = [_summary_row(fields.loc[one.field_id], one, tables) for one in self.answers]
        return pd.DataFrame(rows)

    def counts(self) -> dict[str, int]:
        """How many fields have each level."""
        levels = [answer.level for answer in self.answers]
        return {level: levels.count(level) for level in ("stop", "unknown", "care", "ok")}


def assess(
    farm: Farm,
    *,
    day: date,
    machine_id: str | None = None,
    field_ids: Sequence[str] = (),
    cluster: str | None = None,
) -> Assessment:
    """Assess the fields of a farm before a cut.

    Parameters
    ----------
    farm : Farm
    day : date
        The day the question is asked: what was walked or flooded later does not count.
    machine_id : str, optional
        The machine; the first of machines.toml when none is named.
    field_ids : sequence of str
        Only these fields; all when empty.
    cluster : str, optional
        Address of a Dask scheduler that shares the farm's files; fields are sent in chunks.

    Raises
    ------
    MisuseError
        No such field or machine, or a cluster without the ``cluster`` extra.
    """
    machine = farm.machine(machine_id)
    asked = asked_of(farm, machine, day)
    rows = _rows(farm, field_ids)
    answers = answer_fields(asked, rows) if cluster is None else _on_cluster(asked, rows, cluster)
    return Assessment(asked.farm, machine, day, tuple(answers))


def _rows(farm: Farm, field_ids: Sequence[str]) -> list[int]:
    ids = farm.fields["field_id"]
    missing = [name for name in field_ids if not (ids == name).any()]
    if missing:
        raise MisuseError(
            Fault(
                "no such field",
                name,
                "there is nothing to assess",
                f"use one of {', '.join(ids.iloc[:20])}",
            )
            for name in missing
        )
    wanted = ids.isin(field_ids) if field_ids else np.ones(len(ids), bool)
    return np.flatnonzero(wanted).tolist()


def _on_cluster(asked: Asked, rows: list[int], address: str) -> list[FieldAnswer]:
    try:
        from distributed import Client  # noqa: PLC0415
    except ImportError:
        raise MisuseError(
            Fault(
                "--cluster without Dask",
                address,
                "the fields cannot be sent out",
                "install fieldmap with its cluster extra",
            )
        ) from None
    chunks = [rows[at : at + FIELDS_A_CHUNK] for at in range(0, len(rows), FIELDS_A_CHUNK)]
    with Client(address) as client:
        sent = client.scatter(asked, broadcast=True)
        waiting = [client.submit(answer_fields, sent, chunk) for chunk in chunks]
        return [answer for part in client.gather(waiting) for answer in part]


def _summary_row(record: Any, answer: FieldAnswer, tables: Tables) -> dict[str, Any]:
    layers = answer.layers
    inside = layers.inside
    lie = layers.lie
    percent = lie.ground.percent.values[inside]
    settings = {finding.what: finding for finding in answer.settings}
    cut, knife = settings["cut height and skid shoe"], settings["knife"]
    level = layers.level.values[inside]
    return {
        "field_id": answer.field_id,
        "name": record["name"],
        "crop": record["crop"],
        "area_ha": round(float(record["area_ha"]), 3),
        "level": answer.level,
        "reason": answer.reason,
        "slope_known_share": round(float(np.isfinite(percent).mean()), 4),
        "slope_p95_pct": _percentile(percent, 95),
        "slope_max_pct": _percentile(percent, 100),
        "slope_error_pct": _rounded(100 * lie.sigma, 3),
        **_driving(lie),
        "side_slope_max_pct": _percentile(np.abs(lie.across.values[inside]), 100),
        "side_slope_use_max": _percentile(lie.use.values[inside], 100),
        "sight_ahead_min_m": _percentile(lie.speed.sight_m[inside], 0),
        "speed_limit_kmh": _percentile(lie.speed.limit_kmh[inside], 50),
        "hollows": len(lie.hollows),
        "drop_offs": len(lie.edges),
        "wet_share": _wet_share(lie.water.rank[inside], tables),
        "unknown_share": round(float((level == rank("unknown")).mean()), 4),
        "looked_share": round(float(layers.enough[inside].mean()), 4),
        "flooded_share": round(flood_share(layers), 4),
        "marks": len(answer.marks),
        "cut_height_m": cut.value,
        "skid_shoe": cut.choice.removeprefix("skid shoe: "),
        "knife": knife.choice,
        "conditioner": settings["conditioner"].choice.partition(";")[0],
    }


def _driving(lie: Lie) -> dict[str, Any]:
    """The best line of travel and what it takes; unknown is ``None``."""
    if lie.heading is None:
        return dict.fromkeys(("heading_deg", "runs", "turns", "mowing_min"))
    took = lie.heading.minutes
    return {
        "heading_deg": lie.heading.degrees,
        "runs": lie.heading.runs,
        "turns": lie.heading.turns,
        "mowing_min": None if took is None else _rounded(took, 1),
    }


def _wet_share(rank_: np.ndarray, tables: Tables) -> float | None:
    """Share of the field among the farm's wettest ground; ``None`` when some has no rank."""
    if not np.isfinite(rank_).all():
        return None
    return round(float((rank_ >= tables.number("drainage.wet_rank")).mean()), 4)


def _rounded(value: float, digits: int) -> float | None:
    return round(value, digits) if np.isfinite(value) else None


def _percentile(values: np.ndarray, share: float) -> float | None:
    known = values[np.isfinite(values)]
    return round(float(np.percentile(known, share)), 3) if known.size else None
