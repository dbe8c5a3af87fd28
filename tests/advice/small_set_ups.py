"""Things in a field and set-ups that the tests of the comparison share."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
from small_fields import TABLES, field, mower

from fieldmap.advice.set_up import Option, SetUp, set_up
from fieldmap.finding import Finding
from fieldmap.risk.strikes import Things, no_things
from fieldmap.risk.things import logged_things
from fieldmap.tables import Tables


def marks(*kinds: str, height_m: float = np.nan) -> Things:
    """Marks of these kinds, of one height or none."""
    if not kinds:
        return no_things()
    table = gpd.GeoDataFrame({"kind": list(kinds), "height_m": [height_m] * len(kinds)})
    return logged_things(table, tables=TABLES)


def advise(
    *kinds: str,
    machine: dict[str, Any] | None = None,
    things: Things | None = None,
    area_ha: float = 8.0,
    missing: tuple[str, ...] = (),
    unlooked: bool = False,
    tables: Tables = TABLES,
    **row: Any,
) -> SetUp:
    """The set-up of a field in which these kinds are marked; ``row`` as in the boundary table."""
    here = field(**{"kinds": kinds, "tables": tables, **row})
    return set_up(
        here,
        mower(**(machine or {})),
        marks(*kinds) if things is None else things,
        area_ha=area_ha,
        missing=missing,
        unlooked=unlooked,
        tables=tables,
    )


def best(found: SetUp) -> Option:
    """The option advised."""
    assert found.best is not None
    return found.options[found.best]


def about(found: SetUp, what: str) -> Finding:
    """The one finding about something."""
    (one,) = (told.finding for told in found.told if told.finding.what == what)
    return one


def cost_of(found: SetUp, part: str) -> float:
    """Middle cost of a part of the option advised."""
    return best(found).parts[part][1]
