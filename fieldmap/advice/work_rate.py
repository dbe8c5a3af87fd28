"""How much ground a machine mows in an hour, by the handbook and over the field's own runs."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldmap.finding import Finding, Level
from fieldmap.machine import Machine
from fieldmap.risk.told import Told
from fieldmap.risk.work import field_speeds
from fieldmap.tables import Constant, Tables

_HECTARE_PER_M_KM = 0.1  # one metre wide and one kilometre long
_MINUTE_PER_HOUR = 60.0


def field_capacity_ha_h(
    speed_kmh: ArrayLike, *, width_m: ArrayLike, efficiency: ArrayLike
) -> NDArray[np.float64]:
    """Field capacity S W E / 10 in ha/h.

    Parameters
    ----------
    speed_kmh, width_m : array_like
        Field speed; working width.
    efficiency : array_like
        Share, 0 to 1, of speed times width that turns, stops and overlap leave.

    Returns
    -------
    ndarray
        NaN where anything is unknown.

    Notes
    -----
    ASABE EP496 as in Srivastava, Goering, Rohrbach and Buckmaster (2006), equation 15.1.

    Examples
    --------
    >>> round(float(field_capacity_ha_h(11.0, width_m=3.0, efficiency=0.8)), 2)
    2.64
    >>> float(field_capacity_ha_h(float("nan"), width_m=3.0, efficiency=0.8))
    nan
    """
    speed, width, share = (np.asarray(one, np.float64) for one in (speed_kmh, width_m, efficiency))
    return (speed * width * share * _HECTARE_PER_M_KM)[()]


def work_rate_findings(
    field_id: str,
    machine: Machine | None,
    *,
    area_ha: float,
    run_minutes: float | None,
    tables: Tables,
) -> list[Told]:
    """The hectares of an hour's mowing, and the minutes that follow beside those of the runs.

    Parameters
    ----------
    field_id : str
    machine : Machine or None
        Working width and field speed; without either the answer is unknown.
    area_ha : float
        Of the field.
    run_minutes : float or None
        What laps, runs and turns over the field's own outline take; ``None`` or NaN unknown.
    tables : Tables
        ``work_rate.*``, ``stopping.field_kmh``.
    """
    row = _efficiency(machine, tables)
    speed, _, own = field_speeds(machine, tables)
    slow, fast = (speed, speed) if own else _usual_kmh(tables)
    width = math.nan if machine is None else machine.working_width_m or math.nan
    low, value, high = (
        float(one)
        for one in field_capacity_ha_h(
            [slow, speed, fast], width_m=width, efficiency=[_low(row), row.number(), _high(row)]
        )
    )
    known = value > 0.0  # NaN is not
    level: Level = "ok" if known and own else "unknown"
    lacking = [] if known else ["working_width_m"]
    lacking += [] if own else ["field_speed_kmh"]
    told = Told(
        Finding(
            level=level,
            what="work rate",
            where=field_id,
            why=_words(area_ha, run_minutes, (low, value, high), own=own),
            basis="assumed",
            sources=_sources(row, tables, own=own),
            value=value if known else None,
            low=low if known else None,
            high=high if known else None,
            unit="ha/h",
        ),
        f"Give {' and '.join(lacking)} in machines.toml" if lacking else "",
        echo=True,
    )
    return [told]


def _efficiency(machine: Machine | None, tables: Tables) -> Constant:
    own_engine = machine is not None and machine.kind == "self-propelled"
    return tables["work_rate.efficiency_self_propelled" if own_engine else "work_rate.efficiency"]


def _usual_kmh(tables: Tables) -> tuple[float, float]:
    """From the slowest to the fastest that the handbook's pages say, and the tool's own default."""
    rows = [
        tables[key]
        for key in ("work_rate.handbook_kmh", "work_rate.reported_kmh", "stopping.field_kmh")
    ]
    return min(map(_low, rows)), max(map(_high, rows))


def _words(
    area_ha: float, run_minutes: float | None, rate: tuple[float, float, float], *, own: bool
) -> str:
    low, value, high = rate
    words = ["Speed times width times field efficiency; stops and unloading are in it."]
    if not own:
        words = [f"{words[0]} The field speed of the machine is not known: usual ones are taken."]
    if not value > 0.0:
        return "The working width of the machine is not known."
    least, usual, most = (area_ha / one * _MINUTE_PER_HOUR for one in (high, value, low))
    words.append(f"This field then takes {usual:.0f} min ({least:.0f} to {most:.0f}).")
    if run_minutes is None or math.isnan(run_minutes):
        words.append("What its own runs and turns take is not known.")
    elif run_minutes > most:
        words.append(
            f"Its own runs and turns take {run_minutes:.0f} min: its shape or its slopes cost "
            "more than usual. Plan with that."
        )
    elif run_minutes < least:
        words.append(
            f"Its own runs and turns take {run_minutes:.0f} min without any stop. Plan with the "
            "longer."
        )
    else:
        words.append(f"Its own runs and turns, without stops, take {run_minutes:.0f} min.")
    return " ".join(words)


def _sources(row: Constant, tables: Tables, *, own: bool) -> tuple[str, ...]:
    keys = () if own else ("stopping.field_kmh", "work_rate.handbook_kmh", "work_rate.reported_kmh")
    return tables.source_of(row.key, *keys)


def _low(row: Constant) -> float:
    return row.number() if row.low is None else row.low


def _high(row: Constant) -> float:
    return row.number() if row.high is None else row.high
