"""Being seen as a slow machine: the emblem, the lights, the plates; what standards say of them."""

from __future__ import annotations

import math

from fieldmap.finding import Finding, Level
from fieldmap.tables import Tables

WHAT = "being seen"
_CAUTION = (
    "WARNING: slow machines are mostly hit from behind or at the side. What emblem, lamps and "
    "plates you must carry is for your own law to say; the road authority or the police answer."
)
_EMBLEM = (
    "A US standard asks for the emblem for slow vehicles at this speed: point up, at the rear near "
    "the centre, clean and not faded; lamps, reflectors and a beacon where they are fitted, "
    "seen past the folded machine."
)
_SYMBOL = (
    "A US standard asks for the emblem for slow vehicles together with its speed symbol at this "
    "speed; lamps, reflectors and a beacon where they are fitted, seen past the folded machine."
)
_FAST = (
    "Over the speed that the US standard on the emblem for slow vehicles is for; lamps and plates "
    "are as your law asks of vehicles of this speed."
)
_NO_SPEED = "The machine's road speed is not known, nor then which emblem belongs on it."


def seen_findings(speed_kmh: float | None, *, tables: Tables) -> list[Finding]:
    """How a machine of this road speed is to be marked: one finding.

    Parameters
    ----------
    speed_kmh : float or None
    tables : Tables
        ``meeting.emblem_kmh`` and ``meeting.symbol_kmh`` (ASABE S276).

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> [seen_findings(one, tables=load_tables())[0].level for one in (30.0, None)]
    ['care', 'unknown']
    """
    speed = math.nan if speed_kmh is None else speed_kmh
    emblem, symbol = (tables.number(f"meeting.{row}_kmh") for row in ("emblem", "symbol"))
    level: Level = "unknown" if math.isnan(speed) else "care"
    limit, why = emblem, _NO_SPEED
    if speed < emblem:
        why = _EMBLEM
    elif speed <= symbol:
        limit, why = symbol, _SYMBOL
    elif speed > symbol:
        limit, why = symbol, _FAST
    return [
        Finding(
            level=level,
            what=WHAT,
            where="the machine",
            why=why,
            basis="assumed",
            sources=tables.source_of(
                "meeting.emblem_kmh", "meeting.emblem_height_m", "meeting.emblem_seen_m"
            ),
            value=speed_kmh,
            limit=limit,
            unit="km/h",
            caution=_CAUTION,
        )
    ]
