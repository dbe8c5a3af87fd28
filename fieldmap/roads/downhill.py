"""Braking on the steepest fall of a way: how far the train runs from its road speed."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np

from fieldmap.finding import Finding, Level
from fieldmap.roads.profile import SHARE
from fieldmap.roads.sightline import StoppingM
from fieldmap.roads.way_profile import WayProfile
from fieldmap.tables import Tables

WHAT = "braking downhill"
_CAUTION = (
    "WARNING: reckoned on a wet or loose road with nothing on the mower braked. Low gear before "
    "the slope, both brake pedals latched together, four wheels driven; the machine's manual and "
    "the driver decide on the speed."
)


def downhill_findings(
    profile: WayProfile,
    *,
    speed_kmh: float | None,
    hold: float,
    error_m: float,
    tables: Tables,
    stopping_m: StoppingM,
) -> list[Finding]:
    """How far the train runs on the steepest fall of a way: one finding.

    Parameters
    ----------
    profile : WayProfile
    speed_kmh : float or None
        Of the machine on the road.
    hold : float
        What its brakes are known to hold, over gravity; NaN when masses are not known.
    error_m : float
        Standard error of a height, NaN when nobody said.
    tables : Tables
    stopping_m : callable
        Stopping distance (m) by speed, grade, reaction and friction.

    Notes
    -----
    The fall is the steep end of its band, over ``grades.base_m`` of road. ``value`` is the
    stopping distance there, ``low`` that on level road.
    """
    missing = _missing(profile, speed_kmh, hold, error_m)
    if missing or speed_kmh is None:
        return [_finding("unknown", missing, tables)]
    base_m = tables.number("grades.base_m")
    wide = NormalDist().inv_cdf(1.0 - (1.0 - SHARE) / 2.0) * math.sqrt(2.0) * error_m / base_m
    at = int(np.argmin(profile.grade_pct))
    grade = min(float(profile.grade_pct[at]) / 100.0 - wide, 0.0)
    reaction_s = tables.number("stopping.reaction_s")
    level_m, far_m = (
        float(stopping_m(speed_kmh, grade=one, reaction_s=reaction_s, friction=hold))
        for one in (0.0, grade)
    )
    if not math.isfinite(far_m):
        why = "On the steepest fall of the way the brakes known of do not stop the train."
        return [_finding("unknown", why, tables)]
    longer = far_m > tables.number("grades.longer") * level_m
    why = (
        f"Stopping distance from road speed on the steepest fall of the way, {-100.0 * grade:.0f}% "
        "by the steep end of its error; the low figure is that on level road."
    )
    return [_finding("care" if longer else "ok", why, tables, value=far_m, low=level_m)]


def _missing(profile: WayProfile, speed_kmh: float | None, hold: float, error_m: float) -> str:
    """What is not known, in words; "" when all is."""
    if speed_kmh is None:
        return "The machine's road speed is not known."
    if math.isnan(hold):
        return "The mass of the whole train or of the towed mower is not known."
    if not len(profile.grade_pct) or not np.isfinite(profile.grade_pct).all():
        return "How steep the way falls is not known all along."
    return "Nobody said how good the heights are." if math.isnan(error_m) else ""


def _finding(
    level: Level, why: str, tables: Tables, *, value: float | None = None, low: float | None = None
) -> Finding:
    return Finding(
        level=level,
        what=WHAT,
        where="the whole way",
        why=why,
        basis="assumed",
        sources=tables.source_of("grades.grip", "stopping.reaction_s"),
        value=value,
        low=low,
        high=value,
        unit="" if value is None else "m",
        caution=_CAUTION,
    )
