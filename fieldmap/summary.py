"""One row a field: the answer in figures, as tables and pages show it."""

from __future__ import annotations

from typing import Any

import numpy as np

from fieldmap.field_answer import FieldAnswer
from fieldmap.finding import Finding, rank
from fieldmap.risk.lie import Lie
from fieldmap.risk.marks import flood_share
from fieldmap.tables import Tables


def summary_row(record: Any, answer: FieldAnswer, tables: Tables) -> dict[str, Any]:
    """The columns of ``fields.csv`` for one field; unknown is ``None``.

    Parameters
    ----------
    record : mapping
        Row of the boundary table.
    answer : FieldAnswer
    tables : Tables
        ``drainage.*``.
    """
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
        **_met(answer),
        "power_needed_kw": _figure(settings.get("power needed"), 1),
        "work_rate_ha_h": _figure(settings.get("work rate"), 2),
    }


def _met(answer: FieldAnswer) -> dict[str, Any]:
    """What one cut meets with the setting that is advised, and what that is reckoned to cost."""
    found = {finding.what: finding for finding in answer.findings}
    strikes = found["expected strikes"]
    held = answer.set_up
    best = None if held is None or held.best is None else held.options[held.best]
    margin = None if held is None else held.margin
    return {
        "strikes": _rounded(strikes.value, 3),
        "strikes_low": _rounded(strikes.low, 3),
        "strikes_high": _rounded(strikes.high, 3),
        "wraps": _figure(found["expected wraps"], 3),
        "forage_things": _figure(found["things that end in the forage"], 3),
        "set_up_cost": None if best is None else _rounded(best.cost[1], 0),
        "set_up_margin": None if margin is None else _rounded(margin[1], 0),
    }


def _figure(finding: Finding | None, digits: int) -> float | None:
    return None if finding is None else _rounded(finding.value, digits)


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


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None or not np.isfinite(value) else round(float(value), digits)


def _percentile(values: np.ndarray, share: float) -> float | None:
    known = values[np.isfinite(values)]
    return round(float(np.percentile(known, share)), 3) if known.size else None
