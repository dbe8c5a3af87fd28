"""A farm's knives on a day: its ledger, its log of hits and its machines put together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from fieldmap.advice.knife_change import knife_change_findings
from fieldmap.crs import WGS84
from fieldmap.errors import Fault, MisuseError
from fieldmap.farm import Farm
from fieldmap.hazards import events as ev
from fieldmap.hazards.reach import fields_of, reach_m
from fieldmap.machine import Machine
from fieldmap.read.ledger import CHANGED, LOOKED, MOWN, TURNED, Known, row_faults
from fieldmap.risk.told import Told

__all__ = ["KNIVES", "area_of", "hits_of", "knives_on", "new_rows"]

#: What is done to knives, as a command is told it.
KNIVES = {"changed": CHANGED, "turned": TURNED, "looked-at": LOOKED}


def knives_on(farm: Farm, machine: Machine | None, *, day: date) -> list[Told]:
    """Whether a machine's knives are due on a day; asked once a run, not once a field."""
    return knife_change_findings(
        machine,
        farm.ledger,
        hits_of(farm, machine),
        day=day,
        area_of=area_of(farm),
        tables=farm.tables,
    )


def area_of(farm: Farm) -> Mapping[str, float]:
    """Hectares of each of the farm's fields."""
    return dict(zip(farm.fields["field_id"], farm.fields["area_ha"].astype(float), strict=True))


def hits_of(farm: Farm, machine: Machine | None) -> pd.DataFrame | None:
    """What was hit, as the log tells it; ``None`` without a log.

    Returns
    -------
    DataFrame or None
        Column ``day``, by the farm's clock, NaT when no time was told; and ``fields``, a tuple
        of the fields that the place reaches with its uncertainty and half the machine's width.
    """
    if not farm.log_read:
        return None
    told = farm.events[farm.events["verb"] == ev.HIT].reset_index(drop=True)
    times = pd.to_datetime(told["time"].replace("", None), utc=True, format="ISO8601")
    days = times.dt.tz_convert(farm.settings.zone()).dt.tz_localize(None).dt.normalize()
    places = _places(told).to_crs(farm.crs)
    reached = fields_of(places, reach_m(places, machine, tables=farm.tables), farm.fields)
    return pd.DataFrame({"day": days, "fields": pd.Series(map(tuple, reached), dtype=object)})


def new_rows(
    farm: Farm,
    machine_id: str | None,
    *,
    day: date,
    mown: Sequence[str] = (),
    area_ha: float | None = None,
    knives: str | None = None,
    who: str = "",
    note: str = "",
) -> list[dict[str, str]]:
    """Rows for the ledger: the knives first, then the fields, for so they are counted.

    Parameters
    ----------
    farm : Farm
    machine_id : str or None
        May be left out where the farm has one machine.
    day : date
        When it was done.
    mown : sequence of str
        Field ids, each mown whole unless ``area_ha`` says how much of the one it was.
    knives : str, optional
        One of :data:`KNIVES`.

    Raises
    ------
    MisuseError
        A machine or field that the farm does not have, an area for several fields, or an area
        that cannot be right.
    """
    machine = farm.machine(machine_id)
    if machine is None or (machine_id is None and len(farm.machines) > 1):
        names = ", ".join(one.id for one in farm.machines) or "none in the folder"
        raise MisuseError(
            Fault("no machine named", names, "each has its own knives", "say --machine ID")
        )
    if area_ha is not None and len(mown) != 1:
        raise MisuseError(
            Fault(
                "an area that is not one field's",
                f"{len(mown)} fields",
                "it is not clear what was mown",
                "name the one field it was mown of with --mown",
            )
        )
    all_have = {"date": day.isoformat(), "machine": machine.id, "note": note, "who": who.strip()}
    area = "" if area_ha is None else f"{area_ha:.2f}"
    rows = [{**all_have, "did": KNIVES[knives]}] if knives else []
    rows += [{**all_have, "did": MOWN, "field_id": name, "area_ha": area} for name in mown]
    known = Known([one.id for one in farm.machines], area_of(farm))
    faults = [fault for row in rows for fault in row_faults(row, known, where="")]
    if faults:
        raise MisuseError(faults)
    return rows


def _places(told: pd.DataFrame) -> gpd.GeoDataFrame:
    """Where each was told to be: its shape, else its point; nowhere when neither was said."""
    at = told[["lon", "lat"]].to_numpy(float)
    shapes = np.asarray(shapely.points(at), dtype=object)
    shapes[np.isnan(at).any(axis=1)] = shapely.Point()
    drawn = (told["wkt"] != "").to_numpy(bool)
    shapes[drawn] = shapely.from_wkt(told["wkt"].to_numpy(dtype=object)[drawn])
    return gpd.GeoDataFrame({"radius_m": told["radius_m"]}, geometry=shapes, crs=WGS84)
