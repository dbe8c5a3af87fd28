"""The fields to mow as jobs of a day: what the ground says and how long the mowing takes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from fieldmap.assessment import assess
from fieldmap.farm import Farm
from fieldmap.field_answer import FieldAnswer
from fieldmap.finding import Level
from fieldmap.machine import Machine

_MINUTE_PER_HOUR = 60.0


@dataclass(frozen=True, slots=True)
class FieldJob:
    """One field to be mown by one machine.

    ``level`` and ``reason`` are the field's own answer. ``minutes`` is what laps, runs and turns
    over its outline take at the chosen heading, at the speeds the field allows; where no heading
    can be chosen, ``heading_deg`` is NaN and the slowest of all lines of travel is taken.
    ``low_min`` and ``high_min`` take in the fast and the slow end of what machines do in an hour.
    NaN is unknown.
    """

    field_id: str
    name: str
    area_ha: float
    level: Level
    reason: str
    minutes: float
    low_min: float
    high_min: float
    heading_deg: float
    runs: float
    turns: float


def field_jobs(
    farm: Farm, machine: Machine, *, day: date, field_ids: Sequence[str] = ()
) -> list[FieldJob]:
    """The jobs of a machine, each with the answer that the assessment gives for the field.

    Parameters
    ----------
    farm : Farm
    machine : Machine
    day : date
    field_ids : sequence of str
        Only these fields; all when empty.

    Raises
    ------
    MisuseError
        No such field.
    """
    done = assess(farm, day=day, machine_id=machine.id, field_ids=field_ids)
    records = farm.fields.set_index("field_id").to_dict("index")
    return [_job(one, records[one.field_id]) for one in done.answers]


def _job(answer: FieldAnswer, record: dict[Any, Any]) -> FieldJob:
    heading = answer.layers.lie.heading
    minutes = _minutes(answer)
    area_ha = float(record["area_ha"])
    fast, slow = _by_rate(answer, area_ha)
    name = record["name"]
    return FieldJob(
        field_id=answer.field_id,
        name=name if isinstance(name, str) else "",
        area_ha=area_ha,
        level=answer.level,
        reason=answer.reason,
        minutes=minutes,
        low_min=min(minutes, fast) if math.isfinite(fast) else minutes,
        high_min=max(minutes, slow) if math.isfinite(slow) else minutes,
        heading_deg=_or_nan(None if heading is None else heading.degrees),
        runs=_or_nan(None if heading is None else heading.runs),
        turns=_or_nan(None if heading is None else heading.turns),
    )


def _minutes(answer: FieldAnswer) -> float:
    lie = answer.layers.lie
    if lie.heading is not None:
        return _or_nan(lie.heading.minutes)
    known = lie.work.minutes[np.isfinite(lie.work.minutes)]
    return float(known.max()) if known.size else math.nan


def _by_rate(answer: FieldAnswer, area_ha: float) -> tuple[float, float]:
    """Minutes at the fast and at the slow end of the work rate; NaN unknown."""
    rate = next((one for one in answer.settings if one.what == "work rate"), None)
    if rate is None or not rate.low or not rate.high:
        return math.nan, math.nan
    return area_ha / rate.high * _MINUTE_PER_HOUR, area_ha / rate.low * _MINUTE_PER_HOUR


def _or_nan(figure: float | None) -> float:
    return math.nan if figure is None else float(figure)
