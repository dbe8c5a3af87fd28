"""How fast cars come on each leg: the mapped limit, else what roads of its class have."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from fieldmap.roads.facts import Tags
from fieldmap.roads.verdict import Floats
from fieldmap.tables import Tables
from fieldmap.units import METRE_PER_MILE

_LIMIT = re.compile(r"([0-9]+(?:\.[0-9]+)?)(?: (mph|km/h|kmh))?")
_KEYS = ("maxspeed", "maxspeed:forward", "maxspeed:backward")
_ROWS = {
    "motorway": "primary",
    "trunk": "primary",
    "primary": "primary",
    "secondary": "secondary",
    "tertiary": "tertiary",
    "unclassified": "unclassified",
    "road": "unclassified",
    "residential": "residential",
}


def limit_kmh(text: str | None) -> float:
    """A speed limit in km/h; NaN where there is none or it is no figure.

    Examples
    --------
    >>> limit_kmh("50"), round(limit_kmh("30 mph"), 2), limit_kmh("none"), limit_kmh(None)
    (50.0, 48.28, nan, nan)
    """
    found = _LIMIT.fullmatch(text or "")
    if found is None or float(found[1]) <= 0:
        return float("nan")
    return float(found[1]) * (METRE_PER_MILE / 1000.0 if found[2] == "mph" else 1.0)


def car_speeds_kmh(tags: Sequence[Tags], highway: Sequence[str], *, tables: Tables) -> Floats:
    """How fast cars come on each leg, the higher of both directions.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> car_speeds_kmh([{"maxspeed": "50"}, {}, {}], ["tertiary", "tertiary", "track"],
    ...                tables=load_tables())
    array([ 50., 100.,  50.])
    """
    speeds = np.empty(len(tags))
    for place, (one, kind) in enumerate(zip(tags, highway, strict=True)):
        posted = [limit_kmh(one.get(key)) for key in _KEYS]
        speeds[place] = np.fmax.reduce(posted)
        if np.isnan(speeds[place]):
            row = tables[f"meeting.car_{_ROWS.get(kind.removesuffix('_link'), 'other')}_kmh"]
            speeds[place] = row.number() if row.high is None else row.high
    return speeds
