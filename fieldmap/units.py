"""Units that are true by definition, and how a quantity is shown to a person.

Everything inside is SI; feet, miles, acres and pounds exist only here and at the edges.
"""

from __future__ import annotations

import math
from typing import Literal

System = Literal["us", "metric"]

METRE_PER_INCH = 0.0254
METRE_PER_FOOT = 0.3048
METRE_PER_US_SURVEY_FOOT = 1200.0 / 3937.0
METRE_PER_MILE = 1609.344
KG_PER_POUND = 0.45359237
KG_PER_TONNE = 1000.0
KG_PER_SHORT_TON = 2000.0 * KG_PER_POUND
M2_PER_HECTARE = 10_000.0
M2_PER_ACRE = 4046.8564224
GRAVITY = 9.80665  # m/s2, the standard value
NEWTON_PER_POUND_FORCE = KG_PER_POUND * GRAVITY
PASCAL_PER_PSI = NEWTON_PER_POUND_FORCE / METRE_PER_INCH**2
WATT_PER_HORSEPOWER = 550.0 * METRE_PER_FOOT * NEWTON_PER_POUND_FORCE

#: Metres in one unit of height, by the names a farm folder may use.
HEIGHT_UNITS: dict[str, float] = {
    "m": 1.0,
    "ft": METRE_PER_FOOT,
    "us-ft": METRE_PER_US_SURVEY_FOOT,
}

# unit inside -> (factor to the US unit, its name, digits) ; the unit inside is shown for metric
_SHOWN_US: dict[str, tuple[float, str, int]] = {
    "m": (1 / METRE_PER_FOOT, "ft", 1),
    "km": (1000.0 / METRE_PER_MILE, "mi", 1),
    "kg": (1 / KG_PER_POUND, "lb", 0),
    "ha": (M2_PER_HECTARE / M2_PER_ACRE, "ac", 1),
    "km/h": (1000.0 / METRE_PER_MILE, "mph", 0),
    "m cut": (1 / METRE_PER_INCH, "in", 1),
    "m gap": (1 / METRE_PER_INCH, "in", 3),
    "t": (1000.0 / KG_PER_SHORT_TON, "short tons", 1),
    "t/ha": (1000.0 / KG_PER_SHORT_TON * M2_PER_ACRE / M2_PER_HECTARE, "short tons/ac", 2),
    "ha/h": (M2_PER_HECTARE / M2_PER_ACRE, "ac/h", 1),
    "/ha": (M2_PER_ACRE / M2_PER_HECTARE, "/ac", 2),
    "kPa": (1000.0 / PASCAL_PER_PSI, "psi", 0),
    "kW": (1000.0 / WATT_PER_HORSEPOWER, "hp", 0),
    "N": (1 / NEWTON_PER_POUND_FORCE, "lbf", 0),
}
_SHOWN_METRIC: dict[str, tuple[float, str, int]] = {
    "m": (1.0, "m", 2),
    "km": (1.0, "km", 1),
    "kg": (1.0 / KG_PER_TONNE, "t", 2),
    "ha": (1.0, "ha", 2),
    "km/h": (1.0, "km/h", 0),
    "m cut": (100.0, "cm", 1),
    "m gap": (1000.0, "mm", 1),
    "t": (1.0, "t", 1),
    "t/ha": (1.0, "t/ha", 2),
    "ha/h": (1.0, "ha/h", 2),
    "/ha": (1.0, "/ha", 2),
    "kPa": (1.0, "kPa", 0),
    "kW": (1.0, "kW", 0),
    "N": (1.0, "N", 0),
}
_SAME_EVERYWHERE: dict[str, int] = {
    "%": 0,
    "deg": 1,
    "": 2,
    "count": 0,
    "things": 1,
    "money": 0,
    "money/t": 0,
    "points": 1,
    "days": 0,
    "min": 0,
    "s": 0,
}


def degrees_from_percent(slope_pct: float) -> float:
    """Angle of a slope given in percent of rise over run.

    Examples
    --------
    >>> round(degrees_from_percent(15.0), 3)
    8.531
    >>> degrees_from_percent(0.0)
    0.0
    >>> degrees_from_percent(float("nan"))
    nan
    """
    return math.degrees(math.atan(slope_pct / 100.0))


def percent_from_degrees(slope_deg: float) -> float:
    """Rise over run in percent of a slope given in degrees.

    Examples
    --------
    >>> round(percent_from_degrees(10.0), 3)
    17.633
    """
    return 100.0 * math.tan(math.radians(slope_deg))


def shown(value: float | None, unit: str, system: System) -> str:
    """A quantity as a person reads it: number and unit, or the word ``unknown``.

    Parameters
    ----------
    value : float or None
        The quantity in the unit it has inside; ``None`` and NaN are unknown.
    unit : str
        Unit inside: ``m``, ``m cut`` (a cut height), ``m gap``, ``km``, ``kg``, ``ha``,
        ``km/h``, ``t``, ``t/ha``, ``ha/h``, ``/ha``, ``kPa``, ``kW``, ``N``, ``%``, ``deg``,
        ``count``, ``things`` (with a digit), ``money``, ``days``, ``min`` or nothing.
        Another word is shown as it is.
    system : {"us", "metric"}
        What the person reads.

    Examples
    --------
    >>> shown(3.6576, "m", "us")
    '12.0 ft'
    >>> shown(0.0762, "m cut", "us"), shown(0.0762, "m cut", "metric")
    ('3.0 in', '7.6 cm')
    >>> shown(None, "m", "us")
    'unknown'
    """
    if value is None or math.isnan(value):
        return "unknown"
    table = _SHOWN_US if system == "us" else _SHOWN_METRIC
    if unit in table:
        factor, name, digits = table[unit]
        return f"{value * factor:,.{digits}f} {name}"
    digits = _SAME_EVERYWHERE.get(unit, 2)
    name = "" if unit == "count" else unit
    gap = "" if name in ("", "%") else " "
    return f"{value:,.{digits}f}{gap}{name}"
