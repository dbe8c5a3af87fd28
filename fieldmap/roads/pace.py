"""How long a drive takes: the machine's road speed, and slower where the class of road asks it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fieldmap.roads.district import District
from fieldmap.roads.search import OnLeg, Way
from fieldmap.tables import Tables

#: Classes of road that have a row of their own in ``day.csv``; all others go at road speed.
SLOW = {"service": "day.service_kmh", "track": "day.track_kmh"}
_S_PER_H = 3600.0


def road_kmh(speed_kmh: float | None, tables: Tables) -> float:
    """Road speed of a machine: its own, else the slow end of the table's.

    What is not known never makes a day longer.

    Parameters
    ----------
    speed_kmh : float or None
    tables : Tables
        ``day.road_kmh``.
    """
    usual = tables["day.road_kmh"]
    slow = usual.number() if usual.low is None else usual.low
    return slow if speed_kmh is None else speed_kmh


def way_s(
    district: District,
    way: Way,
    *,
    start: OnLeg,
    goal: OnLeg,
    speed_kmh: float | None,
    tables: Tables,
) -> int:
    """Seconds that a way takes, rounded up.

    Parameters
    ----------
    district : District
    way : Way
    start, goal : OnLeg
        Where it begins and ends.
    speed_kmh : float or None
        Road speed of the machine.
    tables : Tables
        ``day.*``.
    """
    metres = _driven_m(district, way, start, goal)
    kinds = district.data.edges["highway"].to_numpy(dtype=object)[way.legs // 2]
    fast = road_kmh(speed_kmh, tables)
    most = {kind: min(fast, tables.number(key)) for kind, key in SLOW.items()}
    kmh = np.array([most.get(kind, fast) for kind in kinds])
    return math.ceil(float((metres / 1000.0 / kmh).sum()) * _S_PER_H - 1e-6)


def _driven_m(district: District, way: Way, start: OnLeg, goal: OnLeg) -> NDArray[np.float64]:
    """Metres driven of each leg; the first and the last are not driven whole."""
    whole = district.net.length_m[way.legs // 2]
    metres = whole.copy()
    first, last = way.legs[0], way.legs[-1]
    before = _share(first, start.fraction) * whole[0]
    after = (1.0 - _share(last, goal.fraction)) * whole[-1]
    metres[0] -= before
    metres[-1] -= after
    return np.maximum(metres, 0.0)


def _share(directed: int, fraction: float) -> float:
    return fraction if directed % 2 == 0 else 1.0 - fraction
